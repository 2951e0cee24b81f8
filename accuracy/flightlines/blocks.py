"""The sums of cells by line, block by block, once it is known which stretch belongs to which line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from accuracy.flightlines.collecting import ALL, STRETCH_S, N, T
from accuracy.flightlines.lattice import BLOCK, BLOCK_BITS, Lattice, corner
from accuracy.flightlines.stretches import Stretches, Told
from accuracy.flightlines.tables import CellTable, Rows, merged

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Blocks with fewer points lie alone: no part of a swath.
ALONE_POINTS = 20
#: Rows of all blocks that are kept, so as not to be merged again.
MOST_KEPT = 400_000
#: From the number of a block to that of its northern neighbour.
_NORTH = 1 << 22


@dataclass(frozen=True, eq=False)
class Block:
    """Cells of one block by line, rows sorted by cell and line.

    Attributes
    ----------
    number : int
        Packed row and column of blocks.
    rows : Rows
        Second key: index of the line; times are microseconds from the start of the line.
    row, col : ndarray of int64
        Of each cell, from the south-western corner of the site.
    x_m, y_m : ndarray of float64
        Centre of each cell from that corner.
    """

    number: int
    rows: Rows
    row: Ints
    col: Ints
    x_m: Array
    y_m: Array

    @property
    def cell(self) -> Ints:
        """Number of each cell."""
        return self.rows.keys[:, 0]

    @property
    def line(self) -> Ints:
        """Index of the line of each row."""
        return self.rows.keys[:, 1]


class Blocks:
    """All blocks of a site.

    Attributes
    ----------
    south, west : int
        Row and column of the first cell.
    rows, cols : int
        Size of the site in cells.
    alone : int
        Points in blocks that are left out because they lie alone.
    """

    def __init__(
        self, table: CellTable, stretches: Stretches, told: Told, lattice: Lattice
    ) -> None:
        self._table = table
        self._segment = stretches.segment
        self._line = told.line
        self._lattice = lattice
        shift = np.zeros(len(stretches.segment), np.int64)
        self.start_s = np.full(len(told.passes), np.nan)
        for at, one in enumerate(told.passes):
            index = np.array(one.stretches)
            index = index[stretches.timed[index]]
            if index.size:
                first = int(stretches.stretch[index].min())
                shift[index] = (stretches.stretch[index] - first) * round(STRETCH_S * 1e6)
                self.start_s[at] = first * STRETCH_S
        self._shift = shift
        self._kept: dict[int, Rows] = {}
        self._held = 0
        self.alone = 0
        self.numbers = self._worthwhile()
        corners = np.array([corner(number) for number in self.numbers]).reshape(-1, 2)
        self.south, self.west = (int(v) for v in corners.min(axis=0)) if len(corners) else (0, 0)
        north, east = (int(v) for v in corners.max(axis=0)) if len(corners) else (0, 0)
        self.rows, self.cols = north - self.south + BLOCK, east - self.west + BLOCK

    def __iter__(self) -> Iterator[Block]:
        """Yield blocks with rows of lines, in one order."""
        for number in self.numbers:
            rows = self._rows(number)
            if len(rows):
                yield self._block(number, rows)

    def _block(self, number: int, rows: Rows) -> Block:
        south, west = corner(number)
        key = rows.keys[:, 0]
        row = (key >> BLOCK_BITS & BLOCK - 1) + south - self.south
        col = (key & BLOCK - 1) + west - self.west
        size = self._lattice.cell_m
        x_m, y_m = (np.asarray((at + 0.5) * size, np.float64) for at in (col, row))
        return Block(number, rows, row, col, x_m, y_m)

    def _worthwhile(self) -> list[int]:
        """Leave out blocks of a few points with no better block beside them."""
        points = {n: int(self._rows(n).sums[:, ALL].sum()) for n in self._table.blocks()}
        good = {number for number, count in points.items() if count >= ALONE_POINTS}
        if not good and points:
            good = {max(points, key=lambda number: points[number])}
        near = {
            n + step + side for n in good for step in (-_NORTH, 0, _NORTH) for side in (-1, 0, 1)
        }
        self.alone = sum(count for number, count in points.items() if number not in near)
        return [number for number in points if number in near]

    def _rows(self, number: int) -> Rows:
        kept = self._kept.get(number)
        if kept is not None:
            return kept
        raw = self._table.rows(number)
        at = np.searchsorted(self._segment, raw.keys[:, 1])
        line = self._line[at]
        sums = raw.sums.copy()
        sums[:, T] += sums[:, N] * self._shift[at]
        keys = np.column_stack([raw.keys[:, 0], line])
        rows = merged([Rows(keys, sums, raw.lows, raw.highs).take(line >= 0)])
        if self._held + len(rows) <= MOST_KEPT:
            self._kept[number] = rows
            self._held += len(rows)
        return rows
