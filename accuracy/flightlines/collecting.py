"""One pass over the points: sums by cell and by stretch of a line, everything that later stages need.

A stretch is what one point source id recorded in two seconds; which stretches make a line is decided after
the pass (`stretches.py`), when all of them are known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from accuracy.flightlines.lattice import HIGHEST_STEP, Lattice, pack
from accuracy.flightlines.occupancy import Occupancy
from accuracy.flightlines.repeats import HashSample, OrderWatch
from accuracy.flightlines.tables import CellTable, Rows, empty_rows, merged
from accuracy.formats import PointBatch

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Seconds of a stretch.
STRETCH_S = 2.0
UNTIMED = -(1 << 39)
#: Points handled at once: they and what is computed of them stay in the processor's cache.
SLICE = 1 << 16
#: Runs of points of one stretch that are summed one by one; else points are sorted first.
MOST_RUNS = 64

#: Columns of sums by cell: last returns neither noise nor withheld (moments about the centre of the cell, in
#: steps; t in microseconds of the stretch), then counts of returns neither noise nor withheld.
N, X, Y, Z, XX, XY, YY, XZ, YZ, ZZ, T, FIRST, MULTIPLE, LEFT_OUT, ALL = range(15)
CELL_SUMS = 15
#: Columns of sums by stretch: all points, first returns, withheld, noise, and sums of columns and rows.
S_POINTS, S_FIRST, S_WITHHELD, S_NOISE, S_COL, S_ROW, S_KEPT = range(7)
STRETCH_SUMS = 7
_FAR = np.iinfo(np.int64).max


@dataclass(frozen=True)
class Collecting:
    """What a collector is told.

    Attributes
    ----------
    lattice : Lattice
        Cells and steps.
    noise, left_out : tuple of int
        Classes.
    folder : Path
        For tables that grow.
    anps : float or None
        Side of the cells of occupancy, stored unit; None: none is kept.
    """

    lattice: Lattice
    noise: tuple[int, ...]
    left_out: tuple[int, ...]
    folder: Path
    anps: float | None = None


class Collector:
    """Sums of one or many files: an `accuracy.formats.scanning.Reducer`."""

    fields: Sequence[str] = (
        "z",
        "classification",
        "withheld",
        "synthetic",
        "point_source_id",
        "gps_time",
        "return_number",
        "number_of_returns",
    )

    def __init__(self, told: Collecting) -> None:
        self.told = told
        self.cells = CellTable(told.folder, CELL_SUMS, 1)
        self.stretches = empty_rows(STRETCH_SUMS, 1)
        self._stretch_parts: list[Rows] = []
        self.classes = np.zeros(256, np.int64)
        self.repeats = HashSample()
        self.orders: list[OrderWatch] = []
        self.occupancy = None if told.anps is None else Occupancy(told.folder, told.anps)
        self._noise = _table(told.noise)
        self._left_out = _table(told.left_out)
        self._order: OrderWatch | None = None

    def see(self, batch: PointBatch) -> None:
        """Take note of some points, in file order."""
        if self._order is None:
            self._order = OrderWatch()
            self.orders.append(self._order)
        for start in range(0, len(batch.x), SLICE):
            self._see(_Slice(batch, slice(start, start + SLICE), self.told.lattice))
        if len(self._stretch_parts) > 64:
            self.settle()

    def merged(self, other: Collector) -> Collector:
        """Give what one collector would hold that had seen the points of both; neither is used afterwards."""
        self.cells = self.cells.joined(other.cells)
        self._stretch_parts += [other.stretches, *other._stretch_parts]
        self.classes += other.classes
        self.repeats = self.repeats.joined(other.repeats)
        self.orders += other.orders
        if self.occupancy is not None and other.occupancy is not None:
            self.occupancy = self.occupancy.joined(other.occupancy)
        self.settle()
        return self

    def settle(self) -> None:
        """Merge what waits."""
        self.stretches = merged([self.stretches, *self._stretch_parts])
        self._stretch_parts = []

    def __getstate__(self) -> dict[str, object]:
        """Travel small."""
        self.settle()
        self.cells.settle()
        return self.__dict__ | {"_order": None}

    def _see(self, points: _Slice) -> None:
        self.classes += np.bincount(points.classification, minlength=256)
        noise = self._noise[points.classification]
        kept = ~(noise | points.unusable)
        assert self._order is not None
        self._order.see(points.time, points.source, points.returned)
        self.repeats.see(points.x, points.y, points.z, points.time, points.source, points.returned)
        segments, segment, starts = _segments(points.source, points.time)
        self._stretch_parts.append(_of_stretches(points, segments, segment, starts, noise, kept))
        self._of_cells(points, segments, segment, kept)
        if self.occupancy is not None:
            first = np.flatnonzero(kept & (points.returned <= 1))
            steps = self.told.lattice.per_cell / float(self.told.lattice.cell)
            self.occupancy.see(points.source[first], points.x[first], points.y[first], steps)

    def _of_cells(self, points: _Slice, segments: Ints, segment: Ints, kept: Bools) -> None:
        lattice = self.told.lattice
        col, row = points.col, points.row
        west, south = int(col.min()), int(row.min())
        wide, high, deep = int(col.max()) - west + 1, int(row.max()) - south + 1, len(segments)
        whole = wide * high * deep
        key = ((row - south) * wide + (col - west)) * deep + segment
        if whole > 8 * len(key) + 65_536:
            packed, key = np.unique(key, return_inverse=True)
        else:
            packed = np.arange(whole)
        use = np.flatnonzero(kept) if not kept.all() else slice(None)
        key = key[use]
        sums = np.zeros((CELL_SUMS, len(packed)), np.int64)
        returned, returns = points.returned[use], points.returns[use]
        counts = np.bincount(key, minlength=len(packed))
        sums[ALL] = counts
        single = returns <= 1
        several = np.flatnonzero(~single)
        sums[FIRST] = counts
        if several.size:
            sums[MULTIPLE] = np.bincount(key[several], minlength=len(packed))
            later = np.flatnonzero(returned > 1)
            sums[FIRST] -= np.bincount(key[later], minlength=len(packed))
        bad = np.flatnonzero(self._left_out[points.classification[use]])
        if bad.size:
            sums[LEFT_OUT] = np.bincount(key[bad], minlength=len(packed))
        x = points.x[use] - col[use] * lattice.per_cell - lattice.per_cell // 2
        y = points.y[use] - row[use] * lattice.per_cell - lattice.per_cell // 2
        z, t = points.z[use], points.micro[use]
        low = np.full(len(packed), _FAR)
        top = np.full(len(packed), -_FAR)
        alone = np.flatnonzero(single) if several.size else slice(None)
        np.minimum.at(low, key[alone], z[alone])
        np.maximum.at(top, key[alone], z[alone])
        last = np.flatnonzero(returned >= returns) if several.size else slice(None)
        key, x, y, z, t = key[last], x[last], y[last], z[last], t[last]
        sums[N] = np.bincount(key, minlength=len(packed))
        for at, values in (
            (X, x),
            (Y, y),
            (Z, z),
            (XX, x * x),
            (XY, x * y),
            (YY, y * y),
            (XZ, x * z),
            (YZ, y * z),
            (ZZ, z * z),
            (T, t),
        ):
            np.add.at(sums[at], key, values)
        filled = np.flatnonzero(sums[ALL])
        place, which = np.divmod(packed[filled], deep)
        at_row, at_col = np.divmod(place, wide)
        self.cells.add(
            Rows(
                np.column_stack([pack(at_row + south, at_col + west), segments[which]]),
                np.ascontiguousarray(sums[:, filled].T),
                low[filled, None],
                top[filled, None],
            )
        )


class _Slice:
    """Some points as whole steps."""

    def __init__(self, batch: PointBatch, part: slice, lattice: Lattice) -> None:
        assert batch.return_number is not None
        assert batch.number_of_returns is not None
        self.x = lattice.steps(batch.x[part], batch.grid, 0)
        self.y = lattice.steps(batch.y[part], batch.grid, 1)
        z = lattice.steps(batch.z[part], batch.grid, 2)
        self.z = np.clip(z, -HIGHEST_STEP, HIGHEST_STEP)
        self.col, self.row = self.x // lattice.per_cell, self.y // lattice.per_cell
        self.classification = batch.classification[part]
        self.withheld = batch.withheld[part]
        self.unusable = self.withheld | batch.synthetic[part]
        self.source = batch.point_source_id[part].astype(np.int64)
        time = batch.gps_time[part]
        if not (time.min() > -1e11 and time.max() < 1e11):  # a NaN is neither
            time = np.where(np.isfinite(time) & (np.abs(time) < 1e11), time, 0.0)
        self.time = time
        self.returned = batch.return_number[part]
        self.returns = batch.number_of_returns[part]
        stretch = np.floor(self.time * (1.0 / STRETCH_S))
        self.micro = np.rint((self.time - stretch * STRETCH_S) * 1e6).astype(np.int64)


def segment_key(source: Ints, time: NDArray[np.float64]) -> Ints:
    """Give one number for id and stretch of time; time 0 is no time."""
    stretch = np.floor(time * (1.0 / STRETCH_S)).astype(np.int64)
    stretch[time == 0.0] = UNTIMED
    return source << 40 | (stretch - UNTIMED)


def source_of(segment: Ints) -> Ints:
    """Give the point source id of segments."""
    return segment >> 40


def stretch_of(segment: Ints) -> Ints:
    """Give the number of the stretch of time; `UNTIMED` for points without."""
    return (segment & (1 << 40) - 1) + UNTIMED


def _segments(source: Ints, time: NDArray[np.float64]) -> tuple[Ints, Ints, Ints]:
    """Give the distinct segments of points, which each point belongs to, and where runs of one begin."""
    key = segment_key(source, time)
    change = np.flatnonzero(key[1:] != key[:-1]) + 1
    starts = np.concatenate([[0], change])
    distinct, which = np.unique(key[starts], return_inverse=True)
    if len(starts) == 1:
        return distinct, np.zeros(len(key), np.int64), starts
    return distinct, np.repeat(which, np.diff(np.append(starts, len(key)))), starts


def _of_stretches(
    points: _Slice, segments: Ints, segment: Ints, starts: Ints, noise: Bools, kept: Bools
) -> Rows:
    """Sum up stretches, run by run where runs are long."""
    first = kept & (points.returned <= 1)
    if len(starts) > MOST_RUNS:
        order = np.argsort(segment, kind="stable")
        starts = np.searchsorted(segment[order], np.arange(len(segments)))
    else:
        order = None
    stops = [*starts[1:].tolist(), len(segment)]
    sums = np.zeros((len(starts), STRETCH_SUMS), np.int64)
    low, high = np.zeros((2, len(starts)))
    which = np.zeros(len(starts), np.int64)
    for at, (start, stop) in enumerate(zip(starts.tolist(), stops, strict=True)):
        part = slice(start, stop) if order is None else order[start:stop]
        mine = kept[part]
        sums[at, S_POINTS] = stop - start
        sums[at, S_FIRST] = np.count_nonzero(first[part])
        sums[at, S_WITHHELD] = np.count_nonzero(points.withheld[part])
        sums[at, S_NOISE] = np.count_nonzero(noise[part])
        sums[at, S_KEPT] = np.count_nonzero(mine)
        sums[at, S_COL] = points.col[part].sum(where=mine)
        sums[at, S_ROW] = points.row[part].sum(where=mine)
        time = points.time[part]
        low[at], high[at] = time.min(), time.max()
        which[at] = segment[part][0]
    return merged(
        [
            Rows(
                np.column_stack([np.zeros(len(starts), np.int64), segments[which]]),
                sums,
                np.rint(low * 1e6).astype(np.int64)[:, None],
                np.rint(high * 1e6).astype(np.int64)[:, None],
            )
        ]
    )


def _table(classes: tuple[int, ...]) -> Bools:
    table = np.zeros(256, np.bool_)
    table[[value for value in classes if 0 <= value < 256]] = True
    return table
