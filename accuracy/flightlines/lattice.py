"""Cells and whole steps: coordinates of many files as integers that can be summed without rounding.

Sums of integers do not depend on the order of the points, so neither does anything computed from them: not on
the tiling of the files, nor on how many workers read them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import UsageError
from accuracy.flightlines.records import LinesSettings
from accuracy.formats import PointSurface, StoredGrid

Ints = NDArray[np.int64]

#: Cells along one side of a block: what is worked on at once.
BLOCK = 64
BLOCK_BITS = 6
#: Blocks are numbered from this far west and south.
_HALF = 1 << 21
MOST_STEPS = 20_000
#: Heights farther from the middle of the site count as if they were there: nothing smooth is.
HIGHEST_STEP = 1 << 22


@dataclass(frozen=True)
class Lattice:
    """How stored coordinates become cells and steps within them.

    Attributes
    ----------
    cell : Fraction
        Side of a cell, stored unit; cell (0, 0) begins at coordinate (0, 0).
    per_cell : int
        Steps along one cell, even.
    step_z : Fraction
        One step of height, stored unit.
    zero_z : int
        Height of step 0, stored unit.
    horizontal_m, vertical_m : float
        Metres per stored unit.
    """

    cell: Fraction
    per_cell: int
    step_z: Fraction
    zero_z: int
    horizontal_m: float
    vertical_m: float

    @property
    def cell_m(self) -> float:
        """Side of a cell in metres."""
        return float(self.cell) * self.horizontal_m

    @property
    def step_m(self) -> float:
        """One horizontal step in metres."""
        return self.cell_m / self.per_cell

    @property
    def step_z_m(self) -> float:
        """One step of height in metres."""
        return float(self.step_z) * self.vertical_m

    def steps(self, values: Ints, grid: StoredGrid, axis: int) -> Ints:
        """Give stored x or y (axis 0 or 1) as steps from coordinate 0, or z (axis 2) from `zero_z`."""
        step, zero = (self.step_z, self.zero_z) if axis == 2 else (self.cell / self.per_cell, 0)
        factor = grid.scale[axis] / step
        shift = (grid.offset[axis] - zero) / step
        if factor.denominator == 1 and shift.denominator == 1:
            if factor == 1:
                return values + int(shift) if shift else values
            return values * int(factor) + int(shift)
        rounded: Ints = np.rint(values * float(factor) + float(shift)).astype(np.int64)
        return rounded


def lattice_of(clouds: Sequence[PointSurface], settings: LinesSettings) -> Lattice:
    """Choose cells and steps for files; the finest stored step of any file decides.

    Raises
    ------
    UsageError
        The settings make no sense.
    """
    _check(settings)
    scales = [_grid(cloud).scale for cloud in clouds]
    cell = _cell(settings)
    finest = min(min(scale[:2]) for scale in scales)
    count = cell / finest
    per_cell = 10_000
    if count.denominator == 1 and count <= MOST_STEPS:
        per_cell = int(count) * (2 if count % 2 else 1)
    smallest = Fraction(1, 10_000) / Fraction(settings.vertical_unit_m).limit_denominator(10**6)
    step_z = max(min(scale[2] for scale in scales), smallest)
    low, high = _heights(clouds)
    while (high - low) / 2 > HIGHEST_STEP * step_z and step_z * 4 < 20 * smallest:
        step_z *= 2
    return Lattice(
        cell,
        per_cell,
        step_z,
        math.floor((low + high) / 2),
        settings.horizontal_unit_m,
        settings.vertical_unit_m,
    )


def literal_cells(lattice: Lattice, anps_m: float | None) -> int | None:
    """Give how many cells make one side of the literal cell; None where it is not made of whole ones.

    References
    ----------
    USGS Lidar Base Specification 2025 rev. A: ``CEILING(ANPS) x 2``; the ceiling acts in the unit of the files.
    Without a spacing, it is taken to be at most one unit.
    """
    anps = 1.0 if anps_m is None else anps_m / lattice.horizontal_m
    times = Fraction(2 * max(1, math.ceil(anps - 1e-9))) / lattice.cell
    return int(times) if times.denominator == 1 and times in (1, 2, 4) else None


def pack(row: Ints, col: Ints) -> Ints:
    """Give one number for a cell, such that cells sort by block, then by row and column within it."""
    block = ((row >> BLOCK_BITS) + _HALF) << 22 | ((col >> BLOCK_BITS) + _HALF)
    return block << 2 * BLOCK_BITS | (row & BLOCK - 1) << BLOCK_BITS | (col & BLOCK - 1)


def block_of(key: Ints) -> Ints:
    """Give the number of the block of packed cells."""
    return key >> 2 * BLOCK_BITS


def corner(block: int) -> tuple[int, int]:
    """Give row and column of the first cell of a block."""
    return ((block >> 22) - _HALF) * BLOCK, ((block & (1 << 22) - 1) - _HALF) * BLOCK


def _grid(cloud: PointSurface) -> StoredGrid:
    grid: StoredGrid = getattr(cloud, "grid")  # noqa: B009  not part of the protocol
    return grid


def _cell(settings: LinesSettings) -> Fraction:
    """Half the literal cell where that is about a metre or more, else all of it."""
    if settings.cell_m is not None:
        return Fraction(settings.cell_m / settings.horizontal_unit_m).limit_denominator(10_000)
    anps_m = settings.design_anps_m or settings.horizontal_unit_m
    half = max(1, math.ceil(anps_m / settings.horizontal_unit_m - 1e-9))
    return Fraction(half if half * settings.horizontal_unit_m >= 0.9 else 2 * half)


def _heights(clouds: Sequence[PointSurface]) -> tuple[Fraction, Fraction]:
    """Least and greatest height of the headers, stored unit."""
    lows, highs = [Fraction(0)], [Fraction(0)]
    for cloud in clouds:
        header = getattr(cloud, "_header", None)
        if header is None or not cloud.info.points:
            continue
        low, high = header.minimum[2], header.maximum[2]
        if math.isfinite(low) and math.isfinite(high) and abs(low) < 1e5 and abs(high) < 1e5:
            lows.append(Fraction(math.floor(low)))
            highs.append(Fraction(math.ceil(high)))
    return min(lows[1:] or lows), max(highs[1:] or highs)


def _check(settings: LinesSettings) -> None:
    for name in (
        "horizontal_unit_m",
        "vertical_unit_m",
        "cell_m",
        "design_anps_m",
        "slope_limit_deg",
        "offset_slope_deg",
        "smooth_limit_m",
        "usable_share",
        "block_m",
    ):
        value = getattr(settings, name)
        if value is not None and not (math.isfinite(value) and 0.0 < value < 1e4):
            raise UsageError(
                f"{name} must be a number above 0, not {value}",
                remedy=f"give {name} in the unit that its name says",
            )
    if settings.cell_m is not None and not 0.05 <= settings.cell_m <= 100.0:
        raise UsageError(
            f"cells of {settings.cell_m:g} m cannot be compared",
            remedy="choose a cell_m between 0.05 and 100",
        )
    if settings.least_points < 4:
        raise UsageError(
            "a plane with a thickness needs four points or more", remedy="raise least_points"
        )
