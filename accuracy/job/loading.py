"""Read a job file."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from accuracy.errors import JobError, Problem
from accuracy.job.base import FILE_KEYS
from accuracy.job.files import distinct, matches
from accuracy.job.mistakes import CheckClaim, problems_of
from accuracy.job.sections import Job


def load_job(
    path: Path | str, check_claim: CheckClaim | None = None, *, planning: bool = False
) -> Job:
    """Read a job file; the data files it names are found but not opened.

    Parameters
    ----------
    path : Path
        TOML file. Relative paths in it start from its folder.
    check_claim : callable, optional
        Checks the keys of a claim, (standard, keys, where, folder) -> problems; by default against the
        standard's own file.
    planning : bool
        Whether the job may come without a table of checkpoints, since there is none before the survey; and
        without the files of a dataset, before the flight, if it declares their ``crs`` and an ``[area]``.

    Raises
    ------
    JobError
        The file cannot be read or is not TOML; or all its mistakes at once, each with the path of its key,
        what was found, and what is allowed.
    """
    path = Path(path)
    data = _parsed(path)
    if check_claim is None:
        from accuracy.standards import (
            library,
        )  # only here, so that a job can be read by other rules

        check_claim = library.check_claim
    problems = problems_of(data, path.absolute().parent, check_claim, planning=planning)
    if problems:
        count = len(problems)
        raise JobError(
            f"{count} mistake{'s' if count > 1 else ''} in the job",
            where=str(path),
            problems=problems,
        )
    return _located(Job.model_validate(data), path.absolute())


def _located(job: Job, path: Path) -> Job:
    """Complete a job without mistakes by its place and its files."""
    job._path = path
    if job.checkpoints.file is not None:
        (job.checkpoints._located,) = matches(path.parent, job.checkpoints.file)
    if job.local_grid is not None and job.local_grid.pairs is not None:
        (job.local_grid._located,) = matches(path.parent, job.local_grid.pairs)
    if job.base is not None:
        for key in FILE_KEYS:
            if (written := getattr(job.base, key)) is not None:
                (job.base._located[key],) = matches(path.parent, written)
    if job.trajectory is not None:
        (job.trajectory._located,) = matches(path.parent, job.trajectory.file)
    if "file" in job.processing:
        (job._processing_file,) = matches(path.parent, job.processing["file"])
    if job.area is not None:
        (job.area._located,) = matches(path.parent, job.area.file)
    for dataset in job.dataset:
        dataset._located = distinct(
            [file for pattern in dataset.files for file in matches(path.parent, pattern)]
        )
    return job


def _parsed(path: Path) -> Mapping[str, Any]:
    try:
        data = path.read_bytes()
    except OSError as error:
        missing = isinstance(error, FileNotFoundError)
        reason = "no such file" if missing else str(error.strerror)
        raise JobError(f"cannot be read: {reason}", where=str(path)) from error
    try:
        text = data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise JobError(
            "a job file must be UTF-8 text",
            where=f"{path}, line {line}",
            remedy="save it again in an editor as UTF-8",
        ) from error
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _syntax_error(path, text, str(error)) from error


def _syntax_error(path: Path, text: str, message: str) -> JobError:
    """Say where the TOML breaks, with the line itself."""
    place = re.search(r" \(at line (\d+), column (\d+)\)", message)
    lines = text.rstrip("\n").split("\n")
    number = int(place[1]) if place else len(lines)
    line = lines[number - 1] if number <= len(lines) else ""
    where = f"{path}, line {number}" + (f", column {place[2]}" if place else "")
    what = re.sub(r" \(at [^)]*\)$", "", message)
    remedy = "in paths write / or put them in single quotes" if "\\" in line else None
    problem = Problem(where, f"found {line.strip()!r}", what[:1].lower() + what[1:])
    return JobError("not valid TOML: " + what, where=where, remedy=remedy, problems=(problem,))
