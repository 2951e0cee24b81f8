"""A baseline: a result to keep in a repository and hold later runs against.

It is a ``result.json`` without what belongs to one machine (paths) and without what comparison does not use
(support of each value, curves, statements of single files), so that it stays small and differs only where
something did. It is read like any result.
"""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

from accuracy.errors import ResultError
from accuracy.result import FORMAT, Result


def as_baseline(result: Result) -> Result:
    """Leave out what a baseline does not need."""
    return replace(
        result,
        run=replace(
            result.run,
            paths=MappingProxyType({}),
            notes=(),
            started="",
            finished="",
            digest=None,
        ),
        inputs=tuple(replace(item, crs_evidence=()) for item in result.inputs),
        datasets=tuple(
            replace(
                dataset, residuals=tuple(replace(row, support=None) for row in dataset.residuals)
            )
            for dataset in result.datasets
        ),
        series=MappingProxyType({}),
        survey=MappingProxyType({}),
        side_files={},
    )


def write_baseline(path: Path, result: Result) -> None:
    """Write a baseline, whole or not at all; only a result or a new file is written over.

    Raises
    ------
    ResultError
        The path is something else, or cannot be written.
    """
    remedy = "name another file with --write-baseline"
    text = as_baseline(result).to_json()
    aside = path.with_name(f"~{path.name}")
    try:
        if path.exists() and not _is_result(path):
            raise ResultError(
                "is not a baseline of this tool; it is left alone", where=str(path), remedy=remedy
            )
        path.parent.mkdir(parents=True, exist_ok=True)
        aside.write_text(text, encoding="utf-8", newline="\n")
        aside.replace(path)
    except (OSError, ValueError) as error:
        with suppress(OSError, ValueError):
            aside.unlink(missing_ok=True)
        raise ResultError(
            f"cannot be written: {getattr(error, 'strerror', None) or error}",
            where=str(path),
            remedy=remedy,
        ) from error


def _is_result(path: Path) -> bool:
    try:
        data = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(data, dict) and data.get("format") == FORMAT
