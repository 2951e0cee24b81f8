"""What is counted of all points of a cloud in one pass, tile by tile."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from accuracy.formats import PointBatch
from accuracy.formats.las import SCANNED
from accuracy.inspection.bulk import Bins, PlaneCells

NOISE = (7, 18)


class PointCounter:
    """Counts, extremes and spread of points: a `accuracy.formats.scanning.Reducer`.

    Parameters
    ----------
    shifts : tuple of int
        Size of cells and bins along x, y and z: 2**shift stored units.
    timed : bool
        Whether points carry a time.
    """

    fields: Sequence[str] = SCANNED

    def __init__(self, shifts: tuple[int, int, int], *, timed: bool) -> None:
        self.timed = timed
        self.points = 0
        self.low = np.full(3, np.iinfo(np.int64).max)
        self.high = np.full(3, np.iinfo(np.int64).min)
        self.returns = np.zeros(16, dtype=np.int64)
        self.classes = np.zeros(256, dtype=np.int64)
        self.lines = np.zeros(1 << 16, dtype=np.int64)
        self.flags = np.zeros(3, dtype=np.int64)
        self.time = [math.inf, -math.inf]
        self.time_missing = self.time_zero = 0
        self.cells = PlaneCells(*shifts[:2])
        self.heights, self.ground = Bins(shifts[2]), Bins(shifts[2])

    def see(self, batch: PointBatch) -> None:
        """Count one batch."""
        self.points += len(batch.x)
        for axis, stored in enumerate((batch.x, batch.y, batch.z)):
            self.low[axis] = min(self.low[axis], stored.min())
            self.high[axis] = max(self.high[axis], stored.max())
        if batch.return_number is not None:
            self.returns += np.bincount(batch.return_number, minlength=16)
        self.classes += np.bincount(batch.classification, minlength=256)
        self.lines += np.bincount(batch.point_source_id, minlength=1 << 16)
        for at, flag in enumerate((batch.withheld, batch.synthetic, batch.overlap)):
            self.flags[at] += np.count_nonzero(flag)
        if self.timed:
            finite = batch.gps_time[np.isfinite(batch.gps_time)]
            self.time_missing += len(batch.x) - len(finite)
            self.time_zero += int(np.count_nonzero(finite == 0.0))
            if len(finite):
                self.time = [
                    min(self.time[0], float(finite.min())),
                    max(self.time[1], float(finite.max())),
                ]
        kept = ~batch.withheld & ~np.isin(batch.classification, NOISE)
        self.cells.see(batch.x[kept], batch.y[kept])
        self.heights.see(batch.z[kept])
        self.ground.see(batch.z[kept & (batch.classification == 2)])

    def merged(self, other: PointCounter) -> PointCounter:
        """Give what one counter would hold that had seen the points of both.

        Both must have been made with the same shifts, of clouds with the same scale and offset.
        """
        both = PointCounter((0, 0, 0), timed=self.timed or other.timed)
        both.points = self.points + other.points
        both.low, both.high = np.minimum(self.low, other.low), np.maximum(self.high, other.high)
        both.returns = self.returns + other.returns
        both.classes = self.classes + other.classes
        both.lines = self.lines + other.lines
        both.flags = self.flags + other.flags
        both.time = [min(self.time[0], other.time[0]), max(self.time[1], other.time[1])]
        both.time_missing = self.time_missing + other.time_missing
        both.time_zero = self.time_zero + other.time_zero
        both.cells = self.cells.joined(other.cells)
        both.heights = self.heights.joined(other.heights)
        both.ground = self.ground.joined(other.ground)
        return both
