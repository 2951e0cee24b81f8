"""Precision inside one swath: the literal raster formula, and thickness about planes."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from accuracy.flightlines.records import Part, WithinPart
from accuracy.flightlines.spread import Spread

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

PARTS: tuple[Part, ...] = ("all", "left", "centre", "right")
#: As printed; not the square root of two.
LITERAL_DIAGONAL = 1.414


def literal_precision(range_: Array, slope: Array, cell: float) -> Array:
    """Precision = Range - (Slope x CellSize x 1.414), signed.

    Parameters
    ----------
    range_, cell : ndarray, float
        Largest minus smallest height of a cell, and its side, in one unit; the result is in it too.
    slope : ndarray
        Largest slope to the eight neighbours, from the smallest heights, as rise over run.

    References
    ----------
    USGS Lidar Base Specification 2025 rev. A, smooth surface precision.

    Examples
    --------
    >>> round(float(literal_precision(np.array(0.062), np.array(0.010), 2.0)), 6)
    0.03372
    """
    return np.asarray(range_ - slope * cell * LITERAL_DIAGONAL)


def steepest(low: Array, cell: float) -> Array:
    """Largest slope from each inner cell to its eight neighbours, by their smallest heights.

    Parameters
    ----------
    low : ndarray, shape (rows + 2, cols + 2)
        Smallest heights with a ring of neighbours; NaN where there are no points.
    cell : float
        Side of a cell in the unit of heights.

    Returns
    -------
    ndarray, shape (rows, cols)
        Rise over run, not negative; the run to a corner is the diagonal. NaN where a neighbour is missing.
    """
    middle = low[1:-1, 1:-1]
    rows, cols = middle.shape
    slope = np.zeros_like(middle)
    for i in range(3):
        for j in range(3):
            if (i, j) != (1, 1):
                run = cell * math.hypot(i - 1, j - 1)
                # np.maximum hands NaN on
                slope = np.maximum(slope, np.abs(low[i : i + rows, j : j + cols] - middle) / run)
    return slope


class WithinSums:
    """What is summed up of one line, or of several, by thirds of the swath."""

    def __init__(self) -> None:
        self._literal = [Spread() for _ in PARTS]
        self._slopes = [(math.inf, -math.inf)] * len(PARTS)
        self._range = [-math.inf] * len(PARTS)
        self._planes = [Spread() for _ in PARTS]
        self._squares = np.zeros(len(PARTS))
        self._freedom = np.zeros(len(PARTS))

    def see_literal(
        self, third: NDArray[np.int64], range_m: Array, slope: Array, precision_m: Array
    ) -> None:
        """Take note of literal cells; `third` is 0, 1, 2 for left, centre, right."""
        for at in range(len(PARTS)):
            mine = np.flatnonzero(third == at - 1) if at else np.arange(len(third))
            if not mine.size:
                continue
            self._literal[at].see(precision_m[mine])
            low, high = self._slopes[at]
            self._slopes[at] = (
                min(low, float(slope[mine].min())),
                max(high, float(slope[mine].max())),
            )
            self._range[at] = max(self._range[at], float(range_m[mine].max()))

    def see_planes(self, third: NDArray[np.int64], sigma_m: Array, points: Array) -> None:
        """Take note of planes."""
        for at in range(len(PARTS)):
            mine = np.flatnonzero(third == at - 1) if at else np.arange(len(third))
            self._planes[at].see(sigma_m[mine])
            self._squares[at] += float((sigma_m[mine] ** 2) @ (points[mine] - 3.0))
            self._freedom[at] += float((points[mine] - 3.0).sum())

    def parts(self) -> tuple[WithinPart, ...]:
        """Give the records."""
        return tuple(self._part(at) for at in range(len(PARTS)))

    def _part(self, at: int) -> WithinPart:
        literal, planes = self._literal[at], self._planes[at]
        some, figures = literal.n > 0, literal.differences()
        return WithinPart(
            part=PARTS[at],
            literal_cells=literal.n,
            plane_cells=planes.n,
            literal_rmsd_m=figures.rmsd_m,
            literal_mean_m=figures.mean_m,
            literal_min_m=literal.low if some else None,
            literal_max_m=literal.high if some else None,
            slope_min=self._slopes[at][0] if some else None,
            slope_max=self._slopes[at][1] if some else None,
            range_max_m=self._range[at] if some else None,
            plane_rms_m=math.sqrt(self._squares[at] / self._freedom[at]) if planes.n else None,
            plane_p95_m=planes.percentile_abs(95.0),
        )
