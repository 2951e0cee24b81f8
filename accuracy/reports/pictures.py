"""Pictures beside the record: given out only where their bytes are those that the record names."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from accuracy.formats.png import SIGNATURE
from accuracy.reports.words import printable
from accuracy.result import Result


@dataclass(frozen=True)
class Relief:
    """The ground under a plan.

    Attributes
    ----------
    picture : bytes or None
        PNG; None where there is none to show.
    box_m : tuple of float
        West, south, east, north of the picture; empty without one.
    told : str
        What it is, or why it is not there, in words.
    """

    picture: bytes | None
    box_m: tuple[float, ...]
    told: str


def relief_of(result: Result, dataset: str) -> Relief | None:
    """Give the shaded relief under a dataset's plan; None where the record knows of none."""
    record = _record(result.series.get(dataset))
    if record is None:
        return None
    try:
        return _relief(result, record)
    except (KeyError, TypeError, ValueError):
        return Relief(None, (), "No relief under the plan: what the record says of it is damaged.")


def _relief(result: Result, record: Mapping[str, Any]) -> Relief:
    if record.get("file") is None:
        return Relief(None, (), f"No relief under the plan: {printable(str(record.get('why')))}.")
    name = str(record["file"])
    content = result.side_files.get(name)
    told = f"{printable(name)}, the relief of {printable(str(record['of']))}"
    if content is None:
        return Relief(None, (), f"No relief under the plan: {told}, is not beside the record.")
    if not _is(content, record):
        return Relief(
            None,
            (),
            f"No relief under the plan: the file {told}, is not the one that the record names; its SHA-256 "
            "differs.",
        )
    west, south, east, north = (float(v) for v in record["box_m"])
    if not (-math.inf < west < east < math.inf and -math.inf < south < north < math.inf):
        raise ValueError("no box")
    return Relief(
        content,
        (west, south, east, north),
        f"Ground: relief of {printable(str(record['of']))}, lit from the north-west, heights exaggerated "
        f"{record['exaggeration']:g} times.",
    )


def side_files(result: Result) -> dict[str, bytes]:
    """Give the pictures that belong to the record, by file name; none whose hash differs."""
    records = [_record(result.series.get(dataset.name)) for dataset in result.datasets]
    records += [its for lines in result.lines.values() for its in lines["maps"]]
    return {
        record["file"]: result.side_files[record["file"]]
        for record in records
        if record is not None
        and record.get("file") in result.side_files
        and _is(result.side_files[record["file"]], record)
    }


def _record(series: Any) -> Mapping[str, Any] | None:
    """Find the record of the relief in a dataset's series."""
    plan = series.get("plan") if isinstance(series, Mapping) else None
    found = plan.get("relief") if isinstance(plan, Mapping) else None
    return found if isinstance(found, Mapping) else None


def _is(content: bytes, record: Mapping[str, Any]) -> bool:
    return content.startswith(SIGNATURE) and hashlib.sha256(content).hexdigest() == record.get(
        "sha256"
    )
