"""The box of points in a LAS header: whether it can be believed, and which points lie outside it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from accuracy.findings import Finding, Severity
from accuracy.formats.las_header import EXPORT_AGAIN, STORED_REACH, LasHeader

ROUNDING_UNITS = 1  # a box written in decimals may cut a stored unit off


class HeaderBox:
    """The horizontal box of points in a header, in stored units.

    It decides that a file is not read at all, so it is believed only if nothing speaks against it.

    Attributes
    ----------
    problem : str or None
        Why the box cannot be believed.
    """

    def __init__(self, header: LasHeader, first_point: tuple[int, int] | None) -> None:
        self._header = header
        self.problem = _problem(header)
        self._limits = None if self.problem else _limits(header)
        if self.problem is None and first_point is not None:
            watch = BoxWatch(self)
            watch.see(*(np.array([value], dtype=np.int32) for value in first_point))
            if watch.findings():
                self.problem = "does not hold the file's first point"

    @property
    def header(self) -> LasHeader:
        """The header it stands in."""
        return self._header

    @property
    def limits(self) -> tuple[tuple[int, int], ...] | None:
        """Lowest and highest stored integer, rounding included, of x and y; None if it makes no box."""
        return self._limits

    def findings(self) -> tuple[Finding, ...]:
        """Say why the box is not believed."""
        if self.problem is None or not self._header.points:
            return ()
        return (
            Finding(
                "file-bounds-differ",
                Severity.WARNING,
                f"{self._header.path.name}: the box of points in the header {self.problem}; it is not "
                "used to decide what to read",
                remedy=EXPORT_AGAIN,
            ),
        )

    def meets(self, x: NDArray[np.float64], y: NDArray[np.float64], radius: float) -> bool:
        """Whether a point within `radius` (stored units) of any place may be in the file."""
        if self.problem is not None:
            return True
        (x0, y0), (x1, y1) = self._header.minimum[:2], self._header.maximum[:2]
        east, north = (radius + 2.0 * scale for scale in self._header.scale[:2])
        return bool(
            np.any((x >= x0 - east) & (x <= x1 + east) & (y >= y0 - north) & (y <= y1 + north))
        )


class BoxWatch:
    """Counts points outside a header's box while they stream past.

    Attributes
    ----------
    points : int
        Points outside.
    largest : float
        The largest distance, stored units.
    """

    def __init__(self, box: HeaderBox) -> None:
        self._box = box
        self.points = 0
        self.largest = 0.0

    def see(
        self,
        x: NDArray[np.int32],
        y: NDArray[np.int32],
        boxes: NDArray[np.int32] | None = None,
    ) -> None:
        """Take note of stored coordinates, each of shape (n,); their `boxes`, if known, save time."""
        if self._box.limits is None or not len(x):
            return
        if boxes is None:
            boxes = np.array([[x.min(), y.min(), x.max(), y.max()]], dtype=np.int32)
        least, most = boxes[:, :2].min(axis=0).tolist(), boxes[:, 2:].max(axis=0).tolist()
        outside = None
        for axis, stored in enumerate((x, y)):
            low, high = self._box.limits[axis]
            excess = max(low - least[axis], most[axis] - high)
            if excess > 0:
                distance = (excess + ROUNDING_UNITS) * self._box.header.scale[axis]
                self.largest = max(self.largest, distance)
                beyond = (stored < low) | (stored > high)
                outside = beyond if outside is None else outside | beyond
        if outside is not None:
            self.points += int(np.count_nonzero(outside))

    def add(self, points: int, largest: float) -> None:
        """Take note of what another watch saw."""
        self.points += points
        self.largest = max(self.largest, largest)

    def findings(self) -> list[Finding]:
        """Say what was seen."""
        if not self.points:
            return []
        header = self._box.header
        return [
            Finding(
                "file-bounds-differ",
                Severity.WARNING,
                f"{header.path.name}: {self.points} of {header.points} points lie outside the box in "
                f"the header, by up to {self.largest:.6g} stored units",
                evidence={
                    "points_outside": self.points,
                    "largest_distance_stored_units": self.largest,
                },
                remedy=EXPORT_AGAIN,
            )
        ]


def _problem(header: LasHeader) -> str | None:
    low, high = header.minimum[:2], header.maximum[:2]
    if not all(map(math.isfinite, (*low, *high))):
        return "is not finite"
    if low[0] > high[0] or low[1] > high[1]:
        return "has a minimum above its maximum"
    if low == high and header.points > 1:
        return "has no extent"
    for axis in (0, 1):
        for value in (low[axis], high[axis]):
            stored = abs((value - header.offset[axis]) / header.scale[axis])
            if stored > STORED_REACH + ROUNDING_UNITS:
                return "lies beyond what the file's scale and offset can express"
    return None


def _limits(header: LasHeader) -> tuple[tuple[int, int], ...]:
    limits = []
    for axis in (0, 1):
        low, high = (
            (value - header.offset[axis]) / header.scale[axis]
            for value in (header.minimum[axis], header.maximum[axis])
        )
        # a thousandth of a unit: what floating point leaves of a limit that stands on the grid
        lowest = math.floor(low + 1e-3) - ROUNDING_UNITS
        highest = math.ceil(high - 1e-3) + ROUNDING_UNITS
        limits.append((_stored(lowest), _stored(highest)))
    return tuple(limits)


def _stored(value: int) -> int:
    """Keep a limit within 32-bit integers, which numpy compares without a detour."""
    return max(-STORED_REACH, min(value, STORED_REACH - 1))
