"""How points are spread over an area: shares of the quadrants, and the spacing between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from accuracy.layout.footprint import Floats, Footprint

QUADRANTS = ("north-east", "north-west", "south-west", "south-east")

#: A quadrant with less of the area than this is not asked to hold points. The rule speaks of a rectangle; an
#: area along a road may leave a quadrant of it almost empty. No source.
LEAST_PART = 0.10


@dataclass(frozen=True)
class Spread:
    """How points are spread.

    Attributes
    ----------
    quadrants : tuple of int
        Points in each of `QUADRANTS`; a point on a middle line counts to the north or east.
    asked : tuple of bool
        Whether the quadrant holds enough of the area to be asked for points.
    nearest_m : ndarray, shape (n,)
        From each point to the nearest other; infinite for a single one.
    """

    quadrants: tuple[int, ...]
    asked: tuple[bool, ...]
    nearest_m: Floats

    @property
    def least_share(self) -> float:
        """Smallest share of the points in a quadrant that is asked for some."""
        total = sum(self.quadrants)
        return min(n / total for n, asked in zip(self.quadrants, self.asked, strict=True) if asked)


def quadrant_of(area: Footprint, places_m: Floats) -> NDArray[np.int64]:
    """Give the number in `QUADRANTS` of places (n, 2); the middle is that of the rectangle around the area."""
    west, south, east, north = area.box_m
    right = places_m[:, 0] >= (west + east) / 2.0
    up = places_m[:, 1] >= (south + north) / 2.0
    return np.where(up, np.where(right, 0, 1), np.where(right, 3, 2)).astype(np.int64)


def spread(area: Footprint, places_m: Floats) -> Spread:
    """Measure how at least one point is spread over an area."""
    counts = np.bincount(quadrant_of(area, places_m), minlength=4)
    parts = np.bincount(quadrant_of(area, area.centres_m()), minlength=4)
    asked = parts >= LEAST_PART * parts.sum()
    return Spread(tuple(int(n) for n in counts), tuple(bool(a) for a in asked), nearest_m(places_m))


def nearest_m(places_m: Floats) -> Floats:
    """Give the distance from each place to the nearest other; infinite for a single one."""
    from scipy.spatial import cKDTree

    if len(places_m) < 2:
        return np.full(len(places_m), np.inf)
    distance = np.asarray(cKDTree(places_m).query(places_m, k=2)[0], dtype=np.float64)
    nearest: Floats = distance[:, 1]
    return nearest


def poor_quadrants(found: Spread, share: float) -> list[str]:
    """Name the quadrants with less than a share of the points; a share that is exactly met is enough."""
    total = sum(found.quadrants)
    return [
        f"{name} {n}"
        for name, n, asked in zip(QUADRANTS, found.quadrants, found.asked, strict=True)
        if asked and n < share * total - 1e-9
    ]


def too_near(ids: Sequence[str], found: Spread, least_m: float) -> tuple[str, ...]:
    """Name the points that are nearer to another than a distance."""
    return tuple(
        name for name, near in zip(ids, found.nearest_m.tolist(), strict=True) if near < least_m
    )
