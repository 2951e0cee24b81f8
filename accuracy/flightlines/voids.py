"""Gaps in the first returns of one line, and how evenly they fill cells of twice the spacing.

A void is a connected group of empty cells of one ANPS, each part of an empty square of 2 by 2 cells; its area
is that of the cells with half a cell all around, which for a straight-edged gap is right on average wherever
the cells begin. Gaps narrower than about two spacings do not connect.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from accuracy.flightlines.occupancy import SIDE, Occupancy
from accuracy.flightlines.records import Void
from accuracy.flightlines.swaths import Swath

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

#: A void is so many cells of one ANPS or more: (4 x ANPS) squared.
LIMIT = 16.0
#: Cells around a block that are looked at with it.
RING = 2
#: A void in whose cells at least this share holds first returns of other lines is filled.
FILLED_SHARE = 0.25


@dataclass(frozen=True)
class Place:
    """How cells of occupancy lie: side in metres, and the site's corner in metres from coordinate (0, 0)."""

    cell_m: float
    west_m: float
    south_m: float
    horizontal_m: float


@dataclass(frozen=True)
class Gaps:
    """What was found in one line.

    Attributes
    ----------
    voids : tuple of Void
        In order of place.
    cells, filled : int
        Cells of twice the spacing in the usable centre, those in voids left out, and those with a first
        return.
    """

    voids: tuple[Void, ...]
    cells: int
    filled: int


class _Groups:
    """Connected groups of cells, across blocks."""

    def __init__(self) -> None:
        self._parent: list[int] = []
        # cells, edges, sum of rows, sum of columns, filled by others, empty double cells
        self._sums = [np.zeros((0, 6), np.int64)]
        self._box = [np.zeros((0, 4), np.int64)]

    def add(self, sums: Ints, box: Ints) -> int:
        first = len(self._parent)
        self._parent += range(first, first + len(sums))
        self._sums.append(sums)
        self._box.append(box)
        return first

    def join(self, one: Ints, two: Ints) -> None:
        for a, b in np.unique(np.column_stack([one, two]), axis=0).tolist():
            a, b = self._root(a), self._root(b)
            self._parent[max(a, b)] = min(a, b)

    def _root(self, at: int) -> int:
        while self._parent[at] != at:
            self._parent[at] = self._parent[self._parent[at]]
            at = self._parent[at]
        return at

    def whole(self) -> tuple[Ints, Ints]:
        """Give sums and boxes of joined groups."""
        root = np.array([self._root(at) for at in range(len(self._parent))], np.int64)
        roots, which = np.unique(root, return_inverse=True)
        sums = np.zeros((len(roots), 6), np.int64)
        np.add.at(sums, which, np.concatenate(self._sums))
        box = np.concatenate(self._box)
        low = np.full((len(roots), 2), np.iinfo(np.int64).max)
        high = np.full((len(roots), 2), np.iinfo(np.int64).min)
        np.minimum.at(low, which, box[:, :2])
        np.maximum.at(high, which, box[:, 2:])
        return sums, np.concatenate([low, high], axis=1)


def gaps_of(
    occupancy: Occupancy,
    labels: frozenset[int],
    others: frozenset[int],
    swath: Swath,
    place: Place,
    number: int,
) -> Gaps:
    """Find voids of one line, and fill its cells.

    Parameters
    ----------
    labels, others : frozenset of int
        Labels of this line and of all others in the occupancy.
    number : int
        Of the line.
    """
    groups = _Groups()
    cells = filled = 0
    beside: tuple[int, int, Ints] | None = None  # row, column and eastern edge of the block before
    below: dict[tuple[int, int], Ints] = {}
    for row, col in _blocks(swath, place):
        usable = _usable(swath, place, row, col)
        if not usable.any():
            continue
        taken = _window(occupancy, labels, row, col)
        inner = (slice(RING, -RING),) * 2
        double = _doubles(usable[inner], all_=True)
        held = double & _doubles(taken[inner], all_=False)
        cells += int(double.sum())
        filled += int(held.sum())
        labelled = _label(
            groups, _opened(usable & ~taken), double & ~held, occupancy, others, row, col
        )
        if labelled is None:
            continue
        if beside is not None and beside[:2] == (row, col - 1):
            _touching(groups, beside[2], labelled[:, 0])
        if (row - 1, col) in below:
            _touching(groups, below.pop((row - 1, col)), labelled[0])
        beside = (row, col, labelled[:, -1])
        below[row, col] = labelled[-1]
        below = {key: edge for key, edge in below.items() if key[0] >= row - 1}
    sums, boxes = groups.whole()
    area = _area(sums)
    large = np.flatnonzero(area >= LIMIT * (1.0 - 1e-12))
    voids = tuple(
        _void(number, float(area[at]) * place.cell_m**2, sums[at], boxes[at], place) for at in large
    )
    return Gaps(voids, cells - int(sums[large, 5].sum()), filled)


def _touching(groups: _Groups, one: Ints, two: Ints) -> None:
    both = (one >= 0) & (two >= 0)
    if both.any():
        groups.join(one[both], two[both])


def _blocks(swath: Swath, place: Place) -> list[tuple[int, int]]:
    """Rows and columns of blocks that may hold usable cells, in order."""
    side = SIDE * place.cell_m
    west, south, east, north = swath.box
    cols = range(
        math.floor((west + place.west_m) / side), math.floor((east + place.west_m) / side) + 1
    )
    rows = range(
        math.floor((south + place.south_m) / side), math.floor((north + place.south_m) / side) + 1
    )
    filled = swath.filled
    low, high = float(swath.across[0, filled].min()), float(swath.across[1, filled].max())
    start, stop = ((filled[at] + swath.first[0] + at % 2) * swath.bin_m for at in (0, -1))
    reach = side * 0.75
    found = []
    for row in rows:
        x = (np.array(cols) + 0.5) * side - place.west_m
        y = np.full(len(x), (row + 0.5) * side - place.south_m)
        u, v = swath.place(x, y)
        near = (u > start - reach) & (u < stop + reach) & (v > low - reach) & (v < high + reach)
        found += [(row, cols[at]) for at in np.flatnonzero(near).tolist()]
    return found


def _usable(swath: Swath, place: Place, row: int, col: int) -> Bools:
    """Which cells of a block and its ring lie in usable cells of the site."""
    axes = []
    for first, corner_m in ((row, place.south_m), (col, place.west_m)):
        at = np.arange(first * SIDE - RING, (first + 1) * SIDE + RING) + 0.5
        axes.append(np.floor((at * place.cell_m - corner_m) / swath.cell_m).astype(np.int64))
    (south, north), (west, east) = ((int(a[0]), int(a[-1])) for a in axes)
    y, x = np.meshgrid(
        (np.arange(south, north + 1) + 0.5) * swath.cell_m,
        (np.arange(west, east + 1) + 0.5) * swath.cell_m,
        indexing="ij",
    )
    usable = swath.usable(x.ravel(), y.ravel()).reshape(x.shape)
    return np.asarray(usable[np.ix_(axes[0] - south, axes[1] - west)])


def _window(occupancy: Occupancy, labels: frozenset[int], row: int, col: int) -> Bools:
    """Cells of a block with its ring."""
    whole = np.zeros((SIDE + 2 * RING,) * 2, np.bool_)
    for i in (-1, 0, 1):
        for j in (-1, 0, 1):
            cells = occupancy.cells(labels, row + i, col + j)
            if cells is not None:
                to_row, from_row = _overlap(i)
                to_col, from_col = _overlap(j)
                whole[to_row, to_col] = cells[from_row, from_col]
    return whole


def _overlap(step: int) -> tuple[slice, slice]:
    if step < 0:
        return slice(0, RING), slice(SIDE - RING, SIDE)
    if step > 0:
        return slice(SIDE + RING, SIDE + 2 * RING), slice(0, RING)
    return slice(RING, SIDE + RING), slice(0, SIDE)


def _doubles(cells: Bools, *, all_: bool) -> Bools:
    parts = cells.reshape(SIDE // 2, 2, SIDE // 2, 2)
    return np.asarray(parts.all(axis=(1, 3)) if all_ else parts.any(axis=(1, 3)))


def _opened(empty: Bools) -> Bools:
    """Empty cells that are part of an empty square of 2 by 2; ring of one cell left."""
    square = empty[:-1, :-1] & empty[1:, :-1] & empty[:-1, 1:] & empty[1:, 1:]
    return np.asarray(square[:-1, :-1] | square[1:, :-1] | square[:-1, 1:] | square[1:, 1:])


def _label(
    groups: _Groups,
    opened: Bools,
    empty_doubles: Bools,
    occupancy: Occupancy,
    others: frozenset[int],
    row: int,
    col: int,
) -> Ints | None:
    """Give every cell of a block the number of its group, -1 where there is no void."""
    inner = opened[1:-1, 1:-1]
    if not inner.any():
        return None
    from scipy import ndimage

    label, count = ndimage.label(inner)
    i, j = np.nonzero(inner)
    which = label[i, j] - 1
    edges = (
        4
        - opened[i, j + 1].astype(np.int64)
        - opened[i + 2, j + 1]
        - opened[i + 1, j]
        - opened[i + 1, j + 2]
    )
    theirs = occupancy.cells(others, row, col)
    sums = np.zeros((count, 6), np.int64)
    sums[:, 0] = np.bincount(which, minlength=count)
    for at, values in ((1, edges), (2, i + row * SIDE), (3, j + col * SIDE)):
        np.add.at(sums[:, at], which, values)
    if theirs is not None:
        np.add.at(sums[:, 4], which, theirs[i, j])
    di, dj = np.nonzero(empty_doubles)
    np.add.at(sums[:, 5], label[2 * di, 2 * dj] - 1, 1)
    box = np.zeros((count, 4), np.int64)
    box[:, :2], box[:, 2:] = np.iinfo(np.int64).max, np.iinfo(np.int64).min
    for at, values in ((0, i + row * SIDE), (1, j + col * SIDE)):
        np.minimum.at(box[:, at], which, values)
        np.maximum.at(box[:, at + 2], which, values)
    # small ones that lie inside the block are forgotten: there are very many where points fall by chance
    kept = _area(sums) >= LIMIT * (1.0 - 1e-12)
    for edge in (label[0], label[-1], label[:, 0], label[:, -1]):
        kept[edge[edge > 0] - 1] = True
    number = np.full(count + 1, -1)
    number[1:][kept] = np.arange(kept.sum()) + groups.add(sums[kept], box[kept])
    return np.asarray(number[label])


def _area(sums: Ints) -> Array:
    """Give the area of groups, in cells."""
    return np.asarray(sums[:, 0] + sums[:, 1] / 2.0 + 1.0)


def _void(number: int, area_m2: float, sums: Ints, box: Ints, place: Place) -> Void:
    scale = place.cell_m / place.horizontal_m
    count = int(sums[0])
    return Void(
        line=number,
        area_m2=area_m2,
        place=((float(sums[3]) / count + 0.5) * scale, (float(sums[2]) / count + 0.5) * scale),
        box=(
            int(box[1]) * scale,
            int(box[0]) * scale,
            (int(box[3]) + 1) * scale,
            (int(box[2]) + 1) * scale,
        ),
        filled=bool(sums[4] >= FILLED_SHARE * count),
    )


def largest(voids: Sequence[Void], most: int) -> tuple[Void, ...]:
    """Give the largest voids, the largest first; equal ones by place."""
    return tuple(sorted(voids, key=lambda v: (-v.area_m2, v.line, v.place))[:most])
