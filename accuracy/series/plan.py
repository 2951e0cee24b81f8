"""What a plan needs: how much residuals are exaggerated on it, and the outline of the files."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Literal

import numpy as np

from accuracy.residuals import ResidualRow
from accuracy.series.numbers import round_number, rounded
from accuracy.stats import abs_percentile
from accuracy.units import LengthUnit, to_metres

Box = tuple[float, float, float, float]

#: Most boxes of a footprint; above it, one box around all.
MOST_BOXES = 500


def exaggeration(rows: Sequence[ResidualRow], part: Literal["horizontal", "vertical"]) -> float:
    """Give the round factor that makes a large residual about a tenth of the plan's longer side.

    Large: the 95th percentile of the sizes. 1 where nothing is known.
    """
    places = [
        (row.surveyed.east_m, row.surveyed.north_m)
        for row in rows
        if row.surveyed.east_m is not None and row.surveyed.north_m is not None
    ]
    sizes_m = [
        size_m
        for row in rows
        if row.used and row.residual is not None
        for size_m in [_size_m(row, part)]
        if size_m is not None
    ]
    if not places or not sizes_m:
        return 1.0
    side_m = float(np.ptp(np.array(places), axis=0).max())
    large_m = abs_percentile(np.array(sizes_m), 95.0)
    return round_number(0.1 * side_m / large_m) if side_m > 0.0 and large_m > 0.0 else 1.0


def _size_m(row: ResidualRow, part: str) -> float | None:
    if row.residual is None:
        return None
    if part == "vertical":
        return row.residual.up_m
    if row.residual.east_m is None or row.residual.north_m is None:
        return None
    return math.hypot(row.residual.east_m, row.residual.north_m)


def from_base(
    rows: Sequence[ResidualRow], base_m: tuple[float, float] | None
) -> dict[str, Any] | None:
    """Give how far each used point is from the base of the flight, in the plane; None without a base.

    Parameters
    ----------
    base_m : tuple of float or None
        East and north of the base in the frame of the deliverable, metres.
    """
    if base_m is None:
        return None
    distances_m = {
        row.id: math.hypot(row.surveyed.east_m - base_m[0], row.surveyed.north_m - base_m[1])
        for row in rows
        if row.used and row.surveyed.east_m is not None and row.surveyed.north_m is not None
    }
    return {
        "east_m": rounded(base_m[0]),
        "north_m": rounded(base_m[1]),
        "ids": list(distances_m),
        "distance_m": [rounded(v) for v in distances_m.values()],
    }


def footprint(boxes: tuple[Box, ...], unit: LengthUnit | None) -> dict[str, Any]:
    """Give the outlines of the files in stored units and in metres."""
    if len(boxes) > MOST_BOXES:
        west, south, east, north = zip(*boxes, strict=True)
        boxes = ((min(west), min(south), max(east), max(north)),)
    return {
        "boxes_native": [list(box) for box in boxes],
        "boxes_m": []
        if unit is None
        else [[rounded(to_metres(float(v), unit)) for v in box] for box in boxes],
    }
