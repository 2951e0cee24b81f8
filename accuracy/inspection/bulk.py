"""Where the bulk of many points lies, counted in bounded memory while they stream past."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

#: Cells or bins held at most; beyond it they are doubled in size.
MOST_CELLS = 1_000_000
#: Points per cell that density is taken at: a cell without points is then a hole, not chance.
POINTS_PER_CELL = 12
FEWEST_POINTS = 200
#: What lies farther beyond the middle 99 % of all points than three times their spread is stray (common
#: practice, no source).
STRAY_SPREADS = 3.0
_BIAS = 1 << 31
_LOW = np.uint64(0xFFFFFFFF)

Keys = NDArray[np.uint64]
Counts = NDArray[np.int64]


class Tally:
    """Counts of keys, merged as they come."""

    def __init__(self) -> None:
        self._parts: list[tuple[Keys, Counts]] = []

    def add(self, keys: Keys) -> None:
        """Count keys of shape (n,)."""
        unique, counts = np.unique(keys, return_counts=True)
        self._parts.append((unique, counts.astype(np.int64)))
        if sum(len(part[0]) for part in self._parts) > 2 * MOST_CELLS:
            self.merged()

    def merged(self) -> tuple[Keys, Counts]:
        """Give unique keys, ascending, and their counts."""
        if len(self._parts) != 1:
            keys = np.concatenate([part[0] for part in self._parts] or [np.zeros(0, np.uint64)])
            counts = np.concatenate([part[1] for part in self._parts] or [np.zeros(0, np.int64)])
            self._parts = [summed(keys, counts)]
        return self._parts[0]

    def replace(self, keys: Keys) -> None:
        """Exchange the keys of what was merged; equal ones fall together."""
        _, counts = self.merged()
        self._parts = [summed(keys, counts)]

    def joined(self, other: Tally) -> Tally:
        """Give the counts of both."""
        both = Tally()
        both._parts = [*self._parts, *other._parts]
        return both


def summed(keys: Keys, counts: Counts) -> tuple[Keys, Counts]:
    """Add the counts of equal keys."""
    unique, inverse = np.unique(keys, return_inverse=True)
    total = np.zeros(len(unique), dtype=np.int64)
    np.add.at(total, inverse, counts)
    return unique, total


class PlaneCells:
    """Points per cell of the plane.

    Parameters
    ----------
    shift_x, shift_y : int
        A cell is 2**shift stored units wide; doubled as often as needed.
    """

    def __init__(self, shift_x: int, shift_y: int) -> None:
        self.shifts = (shift_x, shift_y)
        self.level = 0
        self._tally = Tally()

    def see(self, x: NDArray[np.int64], y: NDArray[np.int64]) -> None:
        """Count stored coordinates, each of shape (n,)."""
        if not len(x):
            return
        column, row = (
            (((stored >> shift) + _BIAS) >> self.level).astype(np.uint64)
            for stored, shift in zip((x, y), self.shifts, strict=True)
        )
        self._tally.add((column << np.uint64(32)) | row)
        self._keep_few()

    def joined(self, other: PlaneCells) -> PlaneCells:
        """Give the cells of both, as wide as the wider ones; both began with the same shifts."""
        both = PlaneCells(*self.shifts)
        both.level = max(self.level, other.level)
        for cells in (self, other):
            while cells.level < both.level:
                cells._double()
        both._tally = self._tally.joined(other._tally)
        both._keep_few()
        return both

    def _keep_few(self) -> None:
        while len(self._tally.merged()[0]) > MOST_CELLS:
            self._double()

    def _double(self) -> None:
        keys, _ = self._tally.merged()
        one = np.uint64(1)
        self._tally.replace(
            ((keys >> np.uint64(32) >> one) << np.uint64(32)) | (keys & _LOW) >> one
        )
        self.level += 1

    def density(self) -> tuple[float, int, float, int] | None:
        """Give (points per cell, cells that tell it, points per cell with points, all cells with points).

        Cells are doubled until a point finds `POINTS_PER_CELL` points in its cell on average. Where cells
        have points in all eight neighbours, only those count: cells at the edge are covered in part.
        """
        keys, counts = self._tally.merged()
        if counts.sum() < FEWEST_POINTS:
            return None
        # mean as a point sees it: cells at the edge, covered in part, weigh little
        while len(keys) > 1 and (counts.astype(float) ** 2).sum() < POINTS_PER_CELL * counts.sum():
            self._double()
            keys, counts = self._tally.merged()
        inner = np.ones(len(keys), dtype=np.bool_)
        for column in (-1, 0, 1):
            for row in (-1, 0, 1):
                neighbour = keys + np.uint64((column * (1 << 32) + row) % (1 << 64))
                at = np.searchsorted(keys, neighbour)
                inner &= keys[np.minimum(at, len(keys) - 1)] == neighbour
        if inner.any():
            return float(counts[inner].mean()), int(inner.sum()), float(counts.mean()), len(keys)
        return float(counts.mean()), len(keys), float(counts.mean()), len(keys)

    def cell(self) -> tuple[int, int]:
        """Give width and height of a cell in stored integers."""
        return 1 << (self.shifts[0] + self.level), 1 << (self.shifts[1] + self.level)

    def stray(self) -> int:
        """Count points far from the bulk, in either direction."""
        keys, counts = self._tally.merged()
        if counts.sum() < FEWEST_POINTS:
            return 0
        outside = np.zeros(len(keys), dtype=np.bool_)
        for index in (keys >> np.uint64(32), keys & _LOW):
            low, high = _bulk(index.astype(np.int64), counts)
            outside |= (index < low) | (index > high)
        return int(counts[outside].sum())


class Bins:
    """Points per bin of one axis, bins of 2**shift stored units, doubled as often as needed."""

    def __init__(self, shift: int) -> None:
        self.shift = shift
        self.level = 0
        self._tally = Tally()

    def see(self, stored: NDArray[np.int64]) -> None:
        """Count stored coordinates of shape (n,)."""
        if not len(stored):
            return
        self._tally.add((((stored >> self.shift) + _BIAS) >> self.level).astype(np.uint64))
        self._keep_few()

    def joined(self, other: Bins) -> Bins:
        """Give the bins of both, as wide as the wider ones; both began with the same shift."""
        both = Bins(self.shift)
        both.level = max(self.level, other.level)
        for bins in (self, other):
            while bins.level < both.level:
                bins._double()
        both._tally = self._tally.joined(other._tally)
        both._keep_few()
        return both

    def _keep_few(self) -> None:
        while len(self._tally.merged()[0]) > MOST_CELLS:
            self._double()

    def _double(self) -> None:
        self._tally.replace(self._tally.merged()[0] >> np.uint64(1))
        self.level += 1

    def percentiles(self, *shares: float) -> tuple[float, ...] | None:
        """Give stored values (middles of bins) below which these shares of the points lie."""
        keys, counts = self._tally.merged()
        if not len(keys):
            return None
        at = np.searchsorted(np.cumsum(counts), np.array(shares) * counts.sum())
        width = 1 << (self.shift + self.level)
        start = (keys[np.minimum(at, len(keys) - 1)].astype(np.int64) << self.level) - _BIAS
        values = start * (1 << self.shift) + (width - 1) / 2
        return tuple(float(value) for value in values)

    def stray(self) -> int:
        """Count points far from the bulk."""
        keys, counts = self._tally.merged()
        if counts.sum() < FEWEST_POINTS:
            return 0
        low, high = _bulk(keys.astype(np.int64), counts)
        return int(counts[(keys < low) | (keys > high)].sum())


def _bulk(index: NDArray[np.int64], counts: Counts) -> tuple[int, int]:
    """Give limits of the bulk along one axis."""
    order = np.argsort(index, kind="stable")
    steps = np.cumsum(counts[order])
    low, high = (
        int(index[order][np.searchsorted(steps, share * steps[-1])]) for share in (0.005, 0.995)
    )
    reach = int(STRAY_SPREADS * max(high - low, 1)) + 1
    return max(low - reach, 0), high + reach
