"""The section of a job that keeps the settings of the processing: free keys, of simple values."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from accuracy.errors import Problem
from accuracy.job.files import matches, why_missing

_SIMPLE = (str, int, float, bool, date, datetime, time)
_ALLOWED = (
    "must be text, a number, true or false, a list of these, or (one level deep) a table of these"
)


def processing_problems(data: Mapping[str, Any], folder: Path) -> Iterator[Problem]:
    """Find settings that cannot be held against each other, and a file of settings that is not there."""
    section = data.get("processing")
    if not isinstance(section, dict):
        return
    for key, value in section.items():
        where = f"processing.{key}"
        if key == "file":
            yield from _file_problems(value, where, folder)
        elif isinstance(value, dict):
            for inner, setting in value.items():
                if not _plain(setting):
                    yield Problem(f"{where}.{inner}", "found more tables inside", _ALLOWED)
        elif not _plain(value):
            yield Problem(where, "found a list of tables or of lists", _ALLOWED)


def _plain(value: object) -> bool:
    if isinstance(value, list):
        return all(isinstance(item, _SIMPLE) for item in value)
    return isinstance(value, _SIMPLE)


def _file_problems(value: object, where: str, folder: Path) -> Iterator[Problem]:
    if not isinstance(value, str) or not value.strip():
        allowed = "must be the path of one file, relative to the job file"
        yield Problem(where, f"found {str(value)[:60]!r}", allowed)
        return
    found = matches(folder, value)
    if not found:
        yield Problem(where, f'"{value}" names no file', why_missing(folder, value))
    elif len(found) > 1:
        yield Problem(where, f'"{value}" names {len(found)} files', "must name one file")
