"""Block by block through the cells: pairs, precision within, density, and the rasters."""

from __future__ import annotations

import math
import tempfile
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from accuracy.flightlines.blocks import Block, Blocks
from accuracy.flightlines.collecting import ALL, FIRST, N
from accuracy.flightlines.lattice import BLOCK, BLOCK_BITS, Lattice
from accuracy.flightlines.pairs import PairSums, Shared, SiteSums, pairs_in
from accuracy.flightlines.planes import Planes, fit_planes, single_and_hard, smooth
from accuracy.flightlines.records import (
    ASSESSED,
    NO_DATA,
    ONE_LINE,
    SHOWN,
    Grids,
    LinesSettings,
)
from accuracy.flightlines.spread import Spread
from accuracy.flightlines.swaths import Moments, Swath, mean_time_s, swath_of
from accuracy.flightlines.within import WithinSums, literal_precision, steepest

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

#: Larger rasters lie in a temporary file, and beyond the second figure there are none.
MOST_IN_MEMORY, MOST_CELLS = 8_000_000, 1 << 31
_NONE = np.iinfo(np.int64).max


def swaths_of(blocks: Blocks, lattice: Lattice, settings: LinesSettings) -> dict[int, Swath]:
    """Tell where each line lies; lines without cells are missing."""
    moments: dict[int, Moments] = {}
    for block in blocks:
        times, known = mean_time_s(block.rows), block.rows.sums[:, N] > 0
        for line in np.unique(block.line).tolist():
            mine = block.line == line
            one = moments.setdefault(line, Moments())
            one.see(block.x_m[mine], block.y_m[mine], times[mine], known[mine])
    swaths = {
        line: swath_of(
            one,
            lattice.cell_m,
            settings.usable_share,
            timed=bool(np.isfinite(blocks.start_s[line])),
        )
        for line, one in sorted(moments.items())
    }
    for block in blocks:
        for line in np.unique(block.line).tolist():
            mine = block.line == line
            swaths[line].see(block.x_m[mine], block.y_m[mine])
    return swaths


@dataclass
class LineSums:
    """First returns in the usable centre of a line, the number of its cells, and its precision."""

    first: int = 0
    cells: int = 0

    def __post_init__(self) -> None:
        self.within = WithinSums()


class Comparison:
    """Everything that is summed up over blocks."""

    def __init__(
        self,
        blocks: Blocks,
        swaths: dict[int, Swath],
        lattice: Lattice,
        settings: LinesSettings,
        literal: int | None,
    ) -> None:
        self._blocks, self._swaths = blocks, swaths
        self._lattice, self._settings, self._literal = lattice, settings, literal
        self.lines = {line: LineSums() for line in swaths}
        self.within = WithinSums()
        self.pairs: dict[tuple[int, int], PairSums] = {}
        self.spread, self.plain = Spread(), Spread()
        self.expected = 0.0
        self.site = SiteSums()
        self.covered = self.first = 0
        self._edges: dict[tuple[int, int], Array] = {}
        self.grids = _Rasters(blocks, lattice) if blocks.rows * blocks.cols <= MOST_CELLS else None

    def run(self) -> None:
        """Go through all blocks."""
        if self._literal is not None:
            for block in self._blocks:
                self._keep_edges(block)
        for block in self._blocks:
            self._see(block)
        self._density()

    def _see(self, block: Block) -> None:
        rows, settings = block.rows, self._settings
        planes, single, hard, flat, good = self._judged(block)
        shown = None if self.grids is None else self.grids.open(block)
        times = mean_time_s(rows)
        for one, two in pairs_in(block.cell, block.line):
            shared = Shared(one, two, planes, single, hard, flat, settings)
            if shown is not None:
                shown.differ(block, one, shared)
            self._see_pairs(block, one, two, shared, times)
        self._see_within(block, planes, good, _passable(planes, single, hard, good))
        cells, at = np.unique(block.cell, return_index=True)
        self.covered += len(cells)
        first = rows.sums[:, FIRST]
        self.first += int(first.sum())
        if shown is not None:
            shown.close(block, at)
        for line in np.unique(block.line).tolist():
            mine = np.flatnonzero(block.line == line)
            usable = self._swaths[line].usable(block.x_m[mine], block.y_m[mine])
            self.lines[line].first += int(first[mine][usable].sum())

    def _judged(self, block: Block) -> tuple[Planes, Bools, Bools, Bools, Bools]:
        """Give planes, and which cells of a line are single, hard, smooth, and all of it and gentle."""
        planes = fit_planes(block.rows, self._lattice, self._settings)
        single, hard = single_and_hard(block.rows, self._settings)
        flat = smooth(planes, self._settings)
        with np.errstate(invalid="ignore"):
            gentle = planes.slope <= math.tan(math.radians(self._settings.slope_limit_deg))
        return planes, single, hard, flat, planes.fitted & single & hard & flat & gentle

    def _see_pairs(
        self,
        block: Block,
        one: NDArray[np.intp],
        two: NDArray[np.intp],
        shared: Shared,
        times: Array,
    ) -> None:
        number = block.line[one] << 20 | block.line[two]
        for pair in np.unique(number).tolist():
            mine = np.flatnonzero(number == pair)
            i, j = pair >> 20, pair & (1 << 20) - 1
            part = shared_part(shared, mine)
            x, y = block.x_m[one[mine]], block.y_m[one[mine]]
            sums = self.pairs.get((i, j))
            if sums is None:
                sums = self.pairs[i, j] = PairSums(self._swaths[i], self._settings)
            stretch = sums.see(part, x, y, times[two[mine]])
            good = np.flatnonzero(part.assessed)
            self.spread.see(part.difference[good])
            self.plain.see(part.plain[np.isfinite(part.plain)])
            self.expected += float(part.variance[good].sum())
            start = self._blocks.start_s
            if np.isfinite(start[i]) and np.isfinite(start[j]):
                apart = (start[j] - start[i]) + times[two[mine]] - times[one[mine]]
                right = (self._swaths[n].place(x, y)[1] for n in (j, i))
                across = next(right) - next(right)
                both = (self._swaths[i], self._swaths[j])
                self.site.see(i << 16 | j, both, part, stretch, apart, across)

    def _see_within(self, block: Block, planes: Planes, good: Bools, passable: Bools) -> None:
        for line in np.unique(block.line).tolist():
            swath = self._swaths[line]
            mine = np.flatnonzero((block.line == line) & good)
            third = swath.third(block.x_m[mine], block.y_m[mine])
            for sums in (self.lines[line].within, self.within):
                sums.see_planes(third, planes.sigma_m[mine], planes.points[mine])
            if self._literal is not None:
                self._see_literal(block, line, good, passable, self._literal)

    def _see_literal(
        self, block: Block, line: int, good: Bools, passable: Bools, times: int
    ) -> None:
        side = BLOCK // times
        mine = np.flatnonzero(block.line == line)
        low, high = _coarse(block, mine, good, passable, times)
        ring = np.full((side + 2, side + 2), np.nan)
        ring[1:-1, 1:-1] = low
        for step, to, of in _AROUND:
            edges = self._edges.get((block.number + step, line))
            if edges is not None:
                ring[to] = edges[of]
        tall = self._lattice.step_z_m
        cell_m = times * self._lattice.cell_m
        slope = steepest(ring * tall, cell_m)
        gentle = slope <= math.tan(math.radians(self._settings.slope_limit_deg))
        i, j = np.nonzero(gentle)
        if not i.size:
            return
        range_m = (high - low)[i, j] * tall
        precision = literal_precision(range_m, slope[i, j], cell_m)
        size = self._lattice.cell_m
        south, west = (int(at[0]) // BLOCK * BLOCK * size for at in (block.row, block.col))
        x_m = np.asarray(west + (j + 0.5) * cell_m, np.float64)
        y_m = np.asarray(south + (i + 0.5) * cell_m, np.float64)
        third = self._swaths[line].third(x_m, y_m)
        for sums in (self.lines[line].within, self.within):
            sums.see_literal(third, range_m, slope[i, j], precision)

    def _keep_edges(self, block: Block) -> None:
        assert self._literal is not None
        planes, single, hard, _, good = self._judged(block)
        passable = _passable(planes, single, hard, good)
        for line in np.unique(block.line).tolist():
            mine = np.flatnonzero(block.line == line)
            low, _ = _coarse(block, mine, good, passable, self._literal)
            self._edges[block.number, line] = np.stack([low[0], low[-1], low[:, 0], low[:, -1]])

    def _density(self) -> None:
        """Count the cells of the usable centres, those without points too."""
        size = self._lattice.cell_m
        for line, swath in self._swaths.items():
            west, south, east, north = (math.floor(v / size) for v in swath.box)
            for first in range(south, north + 1, BLOCK):
                last = min(first + BLOCK, north + 1)
                y, x = np.meshgrid(
                    (np.arange(first, last) + 0.5) * size,
                    (np.arange(west, east + 1) + 0.5) * size,
                    indexing="ij",
                )
                self.lines[line].cells += int(swath.usable(x.ravel(), y.ravel()).sum())


#: Neighbouring blocks: step of the number, where their edge goes in the ring, and which edge it is.
_NORTH = 1 << 22
_AROUND: tuple[tuple[int, Any, Any], ...] = (
    (-_NORTH, (0, slice(1, -1)), 1),
    (_NORTH, (-1, slice(1, -1)), 0),
    (-1, (slice(1, -1), 0), 3),
    (1, (slice(1, -1), -1), 2),
    (-_NORTH - 1, (0, 0), (1, -1)),
    (-_NORTH + 1, (0, -1), (1, 0)),
    (_NORTH - 1, (-1, 0), (0, -1)),
    (_NORTH + 1, (-1, -1), (0, 0)),
)


def _passable(planes: Planes, single: Bools, hard: Bools, good: Bools) -> Bools:
    """Tell which cells are good, or have too few points to be called rough or steep."""
    return good | (~planes.fitted & single & hard)


def _coarse(
    block: Block, mine: NDArray[np.intp], good: Bools, passable: Bools, times: int
) -> tuple[Array, Array]:
    """Smallest and largest single returns of literal cells; NaN where parts do not pass, or none is good."""
    key = block.cell[mine]
    row, col = key >> BLOCK_BITS & BLOCK - 1, key & BLOCK - 1
    low = np.full((BLOCK, BLOCK), np.inf)
    high = np.full((BLOCK, BLOCK), -np.inf)
    whole, some = np.zeros((2, BLOCK, BLOCK), np.bool_)
    has = block.rows.lows[mine, 0] != _NONE
    low[row[has], col[has]] = block.rows.lows[mine, 0][has]
    high[row[has], col[has]] = block.rows.highs[mine, 0][has]
    whole[row, col], some[row, col] = passable[mine], good[mine]
    side = BLOCK // times
    shape = (side, times, side, times)
    lowest, highest = low.reshape(shape).min(axis=(1, 3)), high.reshape(shape).max(axis=(1, 3))
    taken = whole.reshape(shape).all(axis=(1, 3)) & some.reshape(shape).any(axis=(1, 3))
    left_out = ~(np.isfinite(lowest) & taken)
    lowest[left_out] = highest[left_out] = np.nan
    return lowest, highest


def shared_part(shared: Shared, index: NDArray[np.intp]) -> Shared:
    """Pick some of the shared cells."""
    part: Shared = object.__new__(Shared)
    for name, value in vars(shared).items():
        picked = tuple(v[index] for v in value) if isinstance(value, tuple) else value[index]
        setattr(part, name, picked)
    return part


class _Rasters:
    """Rasters of the whole site, row 0 in the north."""

    def __init__(self, blocks: Blocks, lattice: Lattice) -> None:
        shape = (blocks.rows, blocks.cols)
        scale = float(lattice.cell)
        self.grids = Grids(
            west=blocks.west * scale,
            north=(blocks.south + blocks.rows) * scale,
            cell=scale,
            cell_m=lattice.cell_m,
            difference_m=_array(shape, np.float32, np.nan),
            state=_array(shape, np.uint8, NO_DATA),
            lines=_array(shape, np.uint8, 0),
            first_returns=_array(shape, np.uint32, 0),
        )

    def open(self, block: Block) -> _Shown:
        """Begin a block."""
        return _Shown(self.grids, block)


class _Shown:
    """One block of the rasters, put together before it is written."""

    def __init__(self, grids: Grids, block: Block) -> None:
        self._grids = grids
        self._parts: list[tuple[Ints, Array, NDArray[np.uint8]]] = []

    def differ(self, block: Block, one: NDArray[np.intp], shared: Shared) -> None:
        """Take note of differences."""
        known = np.flatnonzero(np.isfinite(shared.difference))
        state = np.where(shared.assessed, ASSESSED, SHOWN).astype(np.uint8)
        self._parts.append((block.cell[one[known]], shared.difference[known], state[known]))

    def _chosen(self, cells: Ints) -> tuple[Array, NDArray[np.uint8]]:
        """Give the largest difference of each cell, of assessed ones before others."""
        difference = np.full(len(cells), np.nan)
        shown = np.full(len(cells), ONE_LINE, np.uint8)
        if self._parts:
            cell, value, state = (np.concatenate(part) for part in zip(*self._parts, strict=True))
            order = np.lexsort((value, np.abs(value), state, cell))  # the last of a cell wins
            at = np.searchsorted(cells, cell[order])
            difference[at], shown[at] = value[order], state[order]
        return difference, shown

    def close(self, block: Block, first: NDArray[np.intp]) -> None:
        """Write the block; `first` is the first row of each cell."""
        grids = self._grids
        row = grids.state.shape[0] - 1 - block.row[first]
        col = block.col[first]
        grids.difference_m[row, col], grids.state[row, col] = self._chosen(block.cell[first])
        seen = (block.rows.sums[:, ALL] > 0).astype(np.int64)
        grids.lines[row, col] = np.minimum(np.add.reduceat(seen, first), 255)
        grids.first_returns[row, col] = np.add.reduceat(block.rows.sums[:, FIRST], first)


def _array(shape: tuple[int, int], kind: Any, fill: float) -> NDArray[Any]:
    """Make a raster, in a temporary file that goes with it where it is large."""
    if shape[0] * shape[1] <= MOST_IN_MEMORY:
        return np.full(shape, fill, dtype=kind)
    with tempfile.TemporaryFile() as file:
        values = np.memmap(file, dtype=kind, mode="w+", shape=shape)
    if fill:
        values[:] = fill
    return values
