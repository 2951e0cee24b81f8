"""What the paths and patterns of a job name, seen from the folder of the job file."""

from __future__ import annotations

import difflib
import glob
import os
import re
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import TypeVar

AnyPath = TypeVar("AnyPath", bound=PurePath)

_MAGIC = re.compile(r"[*?[]")


@dataclass(frozen=True)
class JobFile:
    """One file of a job.

    Attributes
    ----------
    written : str
        As the job names it, with forward slashes; relative to the job file's folder unless the job gives an
        absolute path outside it.
    path : Path
        Where it is on this machine, absolute.
    """

    written: str
    path: Path


def located(folder: AnyPath, written: str) -> AnyPath:
    r"""Give the place of a path written in a job.

    Both slashes separate, so that a job written on Windows works elsewhere. Drive letters and network shares
    (``\\server\share``) count where the folder's kind of path knows them.

    Examples
    --------
    >>> from pathlib import PureWindowsPath
    >>> str(located(PureWindowsPath("C:/jobs/site"), "cloud/a.laz"))
    'C:\\jobs\\site\\cloud\\a.laz'
    """
    return folder / written.replace("\\", "/")


def as_written(folder: PurePath, path: str) -> str:
    """Give a path with forward slashes, without ``.`` parts, relative to the folder where it is inside."""
    pure = type(folder)(path.replace("\\", "/"))
    if pure.is_absolute() and pure.is_relative_to(folder):
        pure = pure.relative_to(folder)
    return pure.as_posix()


def matches(folder: Path, pattern: str) -> tuple[JobFile, ...]:
    """Find the files of one path or pattern (``*``, ``?``, ``[...]``, ``**`` for any depth), sorted.

    A name that exists as written is taken as it is, even with brackets in it.
    """
    if _control(pattern):
        return ()
    text = pattern.replace("\\", "/")
    names = (
        [text]
        if located(folder, text).is_file()
        else glob.glob(text, root_dir=folder, recursive=True)  # noqa: PTH207  Path.glob refuses absolute patterns
    )
    found = (JobFile(as_written(folder, name), located(folder, name).absolute()) for name in names)
    return tuple(
        sorted((file for file in found if file.path.is_file()), key=lambda file: file.written)
    )


def distinct(files: list[JobFile]) -> tuple[JobFile, ...]:
    """Give each file once, by its shortest name, sorted, however often and by whatever path it was named."""
    first: dict[str, JobFile] = {}
    for file in sorted(files, key=lambda file: (len(file.written), file.written)):
        first.setdefault(os.path.normcase(file.path.resolve()), file)
    return tuple(sorted(first.values(), key=lambda file: file.written))


def why_missing(folder: Path, pattern: str) -> str:
    """Say what to do where a path or pattern names no file."""
    if _control(pattern):
        return (
            "a backslash made a control character: write / in paths, or single quotes around them"
        )
    place = located(folder, pattern)
    if place.is_dir():
        return f"this is a folder; name its files, such as {pattern.rstrip('/')}/*.laz"
    if os.name != "nt" and re.match(r"[A-Za-z]:[\\/]|\\\\", pattern):
        return "this is a Windows path; write one relative to the job file"
    parent = place.parent
    if _MAGIC.search(str(parent)):
        return f"a pattern, seen from {folder}, must match at least one file"
    if not parent.is_dir():
        return f"there is no folder {parent}; paths are relative to the job file"
    here = {entry.name.lower(): entry.name for entry in parent.iterdir() if entry.is_file()}
    close = difflib.get_close_matches(place.name.lower(), sorted(here), 1)
    hint = f"; did you mean {here[close[0]]}?" if close else ""
    return f"there is no such file in {parent}{hint}"


def _control(text: str) -> bool:
    return any(ord(character) < 32 for character in text)
