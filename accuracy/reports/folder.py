"""The result folder: written aside, swapped in whole; an interrupted swap is finished or undone.

Three names side by side::

    site.accuracy          the result
    .site.accuracy.new     being written; holds the file `READY` once complete
    .site.accuracy.old     the former result during a swap

Whatever happens in between, the next start finds one complete result: the new one if it was complete, the
former one otherwise.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Mapping
from pathlib import Path

from accuracy.errors import ResultError
from accuracy.result import FORMAT

READY = ".ready"

#: Our own folder in a result: pictures of checkpoints, never carried over from a former one.
PICTURES = "evidence"

#: The record of a result.
MARK = "result.json"

#: A folder with one of these files was written by this tool and may be replaced: name and format of the file.
MARKS = {MARK: FORMAT, "lines.json": "accuracy-lines"}


def _aside(target: Path, suffix: str) -> Path:
    return target.with_name(f".{target.name}.{suffix}")


def result_folder(written: Path) -> Path:
    """Give the folder that a user's path means, so that it has a name beside which others can stand.

    Raises
    ------
    ResultError
        The path cannot be a folder of its own: a root, a link, or a name that the system refuses.
    """
    remedy = "name another folder with -o"
    try:
        if written.is_symlink():
            raise ResultError(
                "is a link; a result is swapped in whole and would replace it",
                where=str(written),
                remedy="name the folder itself with -o",
            )
        target = written.resolve()
        target.exists()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise ResultError(
            f"cannot be a folder: {reason}", where=str(written)[:200], remedy=remedy
        ) from error
    if not target.name:
        raise ResultError("is the root of a disk", where=str(written), remedy=remedy)
    return target


def recover(target: Path) -> str | None:
    """Finish or undo a swap that was interrupted.

    Returns
    -------
    str or None
        What was done, for people; None where there was nothing to do.
    """
    new, old = _aside(target, "new"), _aside(target, "old")
    done = None
    if new.exists() and not (new / READY).exists():
        shutil.rmtree(new)
        done = f"removed an unfinished result beside {target.name}"
    if new.exists():
        if target.exists() and not old.exists():
            target.rename(old)
        if not target.exists():
            new.rename(target)
        done = f"finished an interrupted write of {target.name}"
    if old.exists():
        if target.exists():
            shutil.rmtree(old)
        else:
            old.rename(target)
            done = f"put back the former {target.name}"
    if (target / READY).exists():
        (target / READY).unlink()
    return done


def check_replaceable(target: Path) -> None:
    """Refuse a target that this tool did not write.

    Raises
    ------
    ResultError
        The target is a file, or a folder with contents but without a result in it.
    """
    remedy = "name another folder with -o"
    if target.exists() and not target.is_dir():
        raise ResultError("is a file, not a folder", where=str(target), remedy=remedy)
    if target.is_dir() and any(target.iterdir()) and not _is_ours(target):
        raise ResultError(
            "holds files but no result of this tool; it is left alone",
            where=str(target),
            remedy=remedy,
        )


def _is_ours(folder: Path) -> bool:
    """Whether a folder holds a result of this tool, of whatever version."""
    for name, kind in MARKS.items():
        try:
            data = json.loads((folder / name).read_text("utf-8"))
        except (OSError, ValueError):
            continue
        if isinstance(data, dict) and data.get("format") == kind:
            return True
    return False


def write_folder(target: Path, files: Mapping[str, bytes | Path]) -> None:
    """Write all files of a result as one folder, all or nothing.

    A path in place of content is a file that is moved there. Files that somebody else put into a former result
    are carried over.

    Raises
    ------
    ResultError
        The folder cannot be written; the former result stays as it was.
    """
    recover(target)
    check_replaceable(target)
    new, old = _aside(target, "new"), _aside(target, "old")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        new.mkdir()
        try:
            for name, content in files.items():
                (new / name).parent.mkdir(exist_ok=True)
                if isinstance(content, Path):
                    shutil.move(content, new / name)
                else:
                    _write(new / name, content)
            if target.exists():
                _carry_over(target, new)
            _write(new / READY, b"")
        except BaseException:
            shutil.rmtree(new, ignore_errors=True)
            raise
        if target.exists():
            target.rename(old)
        new.rename(target)
        (target / READY).unlink()
        if old.exists():
            shutil.rmtree(old)
    except BaseException as error:
        recover(target)
        if not isinstance(error, OSError):
            raise
        raise ResultError(
            f"cannot be written: {error.strerror or error}",
            where=str(target),
            remedy="free space, close programs that hold its files open, or name another folder with -o",
        ) from error


def write_files(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write files into a folder, one by one; each is there whole or as it was. Names may have a folder in them.

    Raises
    ------
    ResultError
        The folder cannot be made, or a file cannot be written.
    """
    for name, content in files.items():
        path = folder / name
        new = _aside(path, "new")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            try:
                _write(new, content)
                new.replace(path)
            finally:
                new.unlink(missing_ok=True)
        except OSError as error:
            raise ResultError(
                f"cannot be written: {error.strerror or error}",
                where=str(path),
                remedy="free space, close programs that hold the file open, or name another folder with -o",
            ) from error


def _write(path: Path, content: bytes) -> None:
    with path.open("wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def _carry_over(former: Path, new: Path) -> None:
    for entry in former.iterdir():
        if entry.name in (READY, PICTURES) or (new / entry.name).exists():
            continue
        if entry.is_dir():
            shutil.copytree(entry, new / entry.name)
        else:
            shutil.copy2(entry, new / entry.name)
