"""A trajectory as a curve in time: in order, in metres, in one frame."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from accuracy.inputs.trajectory_table import TrajectoryTable

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: A gap is longer than so many median intervals (common practice, no source).
GAP_INTERVALS = 5.0
#: Velocities are taken over so many seconds, so that noise of millimetres does not matter at 200 Hz.
BASELINE_S = 1.0


@dataclass(frozen=True, eq=False)
class Track:
    """A trajectory, in order of time. Arrays have shape (n,).

    Attributes
    ----------
    time_s : ndarray of float64
        GPS seconds since 1980-01-06, increasing.
    line : ndarray of int64
        Line in the file.
    rows : ndarray of intp
        Index of each row in the table.
    east_m, north_m, up_m : ndarray of float64 or None
        Metres in the frame of the cloud, or the trajectory's own; None where no plane or unit is known. Up
        is None where heights are not known in that frame.
    """

    time_s: Array
    line: NDArray[np.int64]
    rows: NDArray[np.intp]
    east_m: Array | None = None
    north_m: Array | None = None
    up_m: Array | None = None

    @cached_property
    def interval_s(self) -> float:
        """Median time between rows."""
        return float(np.median(np.diff(self.time_s)))

    @cached_property
    def gap_after(self) -> NDArray[np.intp]:
        """Indices of the rows before each gap."""
        return np.flatnonzero(np.diff(self.time_s) > GAP_INTERVALS * self.interval_s)

    def covered(self, time_s: Array) -> Bools:
        """Tell which times lie within the trajectory, and in no gap of it."""
        after = np.searchsorted(self.time_s, time_s, side="left")
        inside = (time_s >= self.time_s[0]) & (time_s <= self.time_s[-1])
        gap = np.zeros(len(self.time_s) + 1, dtype=np.bool_)
        gap[self.gap_after + 1] = True  # the row that ends a gap
        exact = self.time_s[np.minimum(after, len(self.time_s) - 1)] == time_s
        return np.asarray(inside & (~gap[after] | exact))

    def at(self, values: Array, time_s: Array) -> Array:
        """Interpolate a value of each row linearly in time; held at the ends."""
        return np.asarray(np.interp(time_s, self.time_s, values))

    def _stretch(self, time_s: Array) -> tuple[Array, Array]:
        """Give first and last time of the stretch without gaps that each time lies in; in a gap, its ends."""
        starts = self.time_s[np.concatenate([[0], self.gap_after + 1])]
        ends = self.time_s[np.concatenate([self.gap_after, [len(self.time_s) - 1]])]
        at = np.clip(np.searchsorted(starts, time_s, side="right") - 1, 0, len(starts) - 1)
        after = np.minimum(at + 1, len(starts) - 1)
        in_gap = (time_s > ends[at]) & (after > at)
        return np.where(in_gap, ends[at], starts[at]), np.where(in_gap, starts[after], ends[at])

    def place(self, time_s: Array) -> tuple[Array, Array]:
        """Give east and north at times, metres."""
        assert self.east_m is not None
        assert self.north_m is not None
        return self.at(self.east_m, time_s), self.at(self.north_m, time_s)

    def velocity(self, time_s: Array) -> tuple[Array, Array]:
        """Give velocity east and north at times, metres per second, over `BASELINE_S` or two rows."""
        half = max(BASELINE_S / 2.0, self.interval_s)
        first, last = self._stretch(time_s)
        start = np.maximum(time_s - half, first)
        end = np.minimum(time_s + half, last)
        span = np.maximum(end - start, 1e-9)
        east0, north0 = self.place(start)
        east1, north1 = self.place(end)
        return (east1 - east0) / span, (north1 - north0) / span


def track_of(
    table: TrajectoryTable,
    east_m: Array | None = None,
    north_m: Array | None = None,
    up_m: Array | None = None,
) -> Track:
    """Put the rows of a table in order of time, each time once: of rows with one time the first counts.

    Parameters
    ----------
    east_m, north_m, up_m : ndarray, shape (n,), optional
        Positions of the rows in metres.
    """
    order = np.argsort(table.time_s, kind="stable")
    time_s = table.time_s[order]
    keep = np.concatenate([[True], np.diff(time_s) > 0])
    rows = order[keep]

    def picked(values: Array | None) -> Array | None:
        return None if values is None else values[rows]

    return Track(
        table.time_s[rows], table.line[rows], rows, picked(east_m), picked(north_m), picked(up_m)
    )
