"""The delivered files: those that were tested, others, missing ones, and such as nobody tested."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from accuracy.errors import UsageError
from accuracy.findings import Finding, Severity
from accuracy.job.files import located
from accuracy.provenance import sha256_of
from accuracy.recheck.record import FileState
from accuracy.result import InputFile, Result


@dataclass(frozen=True)
class FilesChecked:
    """States of all files, findings on them, and where inputs were found unchanged, by their written path."""

    files: tuple[FileState, ...]
    findings: tuple[Finding, ...]
    places: Mapping[str, Path]


def check_files(
    result: Result, record: Path, folder: Path | None, progress: Callable[[str], None]
) -> FilesChecked:
    """Look for every input of a result and compare sizes and hashes.

    A file is looked for under the path that the job gave it, then under its bare name. A deliverable that is
    there under another name is found by its hash. Clouds and rasters that the record does not know are told.

    Parameters
    ----------
    folder : Path or None
        Where to look; None for the folder that holds the result's folder.

    Raises
    ------
    UsageError
        The folder is none.
    """
    base = folder or record.absolute().parent.parent
    if not base.is_dir():
        raise UsageError("is not a folder", where=str(base), remedy="name a folder with --files")
    here = _files_below(base, result)
    by_size: dict[int, list[Path]] = {}
    for path in here:
        by_size.setdefault(path.stat().st_size, []).append(path)
    hashes: dict[Path, str] = {}

    def hashed(path: Path) -> str:
        if path not in hashes:
            progress(f"hashing {path.name}")
            hashes[path] = sha256_of(path)
        return hashes[path]

    states: list[FileState] = []
    places: dict[str, Path] = {}
    known: set[Path] = set()
    for item in result.inputs:
        place = _place(base, item)
        if place and place.stat().st_size == item.bytes and hashed(place) == item.sha256:
            states.append(FileState(item.path, item.role, "same", _told(place, base)))
            places[item.path] = place
            known.add(place)
            continue
        moved = next((p for p in by_size.get(item.bytes, []) if hashed(p) == item.sha256), None)
        if moved is not None:
            states.append(FileState(item.path, item.role, "renamed", _told(moved, base)))
            places[item.path] = moved
            known |= {moved} | ({place} if place else set())
        elif place is not None:
            states.append(FileState(item.path, item.role, "differs", _told(place, base)))
            known.add(place)
        else:
            states.append(FileState(item.path, item.role, "missing"))
    suffixes = {
        Path(item.path).suffix.lower()
        for item in result.inputs
        if item.role == "deliverable" and item.format != "table"  # any list may be a .csv
    }
    extra = [path for path in here if path not in known and path.suffix.lower() in suffixes]
    states += [FileState(_told(path, base), "none", "extra", _told(path, base)) for path in extra]
    return FilesChecked(tuple(states), tuple(_findings(states, base)), places)


def _place(base: Path, item: InputFile) -> Path | None:
    for name in (item.path, Path(item.path.replace("\\", "/")).name):
        try:
            path = located(base, name)
            if path.is_file():
                return path
        except (OSError, ValueError):
            continue
    return None


def _files_below(base: Path, result: Result) -> list[Path]:
    """List files of the kinds that were tested, without results of this tool and indexes beside them."""
    suffixes = {Path(item.path).suffix.lower() for item in result.inputs}
    found = []
    for folder, names, files in os.walk(base):
        inside = Path(folder)
        names[:] = sorted(n for n in names if not n.startswith(".") and not _ours(inside / n))
        found += [inside / name for name in sorted(files) if Path(name).suffix.lower() in suffixes]
    return found


def _ours(folder: Path) -> bool:
    return (folder / "result.json").is_file() or folder.name.endswith(".accuracy-index")


def _told(path: Path, base: Path) -> str:
    return path.relative_to(base).as_posix() if path.is_relative_to(base) else path.as_posix()


def _findings(states: Sequence[FileState], base: Path) -> Iterator[Finding]:
    for state in states:
        if state.state == "differs":
            yield Finding(
                "recheck-file-differs",
                Severity.BLOCKING,
                f"{state.found} is not the file that was tested as {state.path} ({state.role}): size or "
                "SHA-256 differs",
                remedy="hand over the file that was tested, or verify the job again",
            )
        elif state.state == "missing":
            tested = state.role == "deliverable"
            yield Finding(
                "recheck-file-missing",
                Severity.BLOCKING if tested else Severity.NOTE,
                f"{state.path} ({state.role}) is not in {base.name}"
                + ("" if tested else ", so it was not compared"),
                remedy="name the folder of the delivered files with --files" if tested else "",
            )
        elif state.state == "renamed":
            yield Finding(
                "recheck-file-renamed",
                Severity.NOTE,
                f"{state.path} ({state.role}) was found unchanged as {state.found}",
            )
    extra = [state.path for state in states if state.state == "extra"]
    if extra:
        yield Finding(
            "recheck-file-extra",
            Severity.BLOCKING,
            f"{len(extra)} file{'s' * (len(extra) > 1)} of the kind that was delivered "
            f"{'were' if len(extra) > 1 else 'was'} never tested: "
            + ", ".join(extra[:10])
            + (" ..." if len(extra) > 10 else ""),
            evidence={"files": len(extra)},
            remedy="deliver only what was tested, or verify a job that names these files, too",
        )
