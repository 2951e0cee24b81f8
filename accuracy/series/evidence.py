"""A picture of every checkpoint: which are drawn, under which names, and what the record says of them."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from accuracy.residuals import ResidualRow
from accuracy.sampling.seen import Seen
from accuracy.series.evidence_picture import draw

FOLDER = "evidence"

#: Most pictures of one result. No source: about 20 MB.
MOST_PICTURES = 2000


@dataclass(frozen=True)
class Evidences:
    """The record under each dataset's ``evidence`` in ``series``, and the pictures by their file names."""

    records: Mapping[str, dict[str, Any]]
    pictures: Mapping[str, bytes]


def draw_evidence(
    datasets: Sequence[tuple[str, Sequence[ResidualRow], Sequence[Seen | None]]],
    most: int = MOST_PICTURES,
) -> Evidences:
    """Draw what was seen at each point.

    Parameters
    ----------
    datasets : sequence of (name, rows, seen)
        Of each dataset, a row and what was seen for each surveyed point.
    most : int
        Most pictures; beyond it, points with the smallest differences go without, which the record says.
    """
    all_seen = [
        (_size(row), place, number)
        for place, (_, rows, seen) in enumerate(datasets)
        for number, (row, its) in enumerate(zip(rows, seen, strict=True))
        if its is not None
    ]
    largest = sorted(all_seen, key=lambda one: (-one[0], one[1:]))[:most]
    chosen = {(place, number) for _, place, number in largest}
    records: dict[str, dict[str, Any]] = {}
    pictures: dict[str, bytes] = {}
    for place, (name, rows, seen) in enumerate(datasets):
        points = []
        without = 0
        for number, (row, its) in enumerate(zip(rows, seen, strict=True)):
            if its is None:
                continue
            if (place, number) not in chosen:
                without += 1
                continue
            content = draw(row, its)
            file = f"{FOLDER}/{len(pictures) + 1}.svg"
            pictures[file] = content
            points.append(
                {"id": row.id, "file": file, "sha256": hashlib.sha256(content).hexdigest()}
            )
        if points or without:
            records[name] = {"points": points, "left_out": without}
    return Evidences(records, pictures)


def _size(row: ResidualRow) -> float:
    """Order points: those without a value first, then the largest differences."""
    if row.residual is None or row.residual.up_m is None:
        return float("inf")
    return abs(row.residual.up_m)
