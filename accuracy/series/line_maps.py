"""Pictures of what lies over a site: signed differences between flight lines, and density; few plain colours.

A picture is a side file of the record: PNG of a palette, whose bytes no release of a library changes. The
record beside it says what the colours mean. North is up.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from accuracy.formats.png import write_palette_png
from accuracy.series.numbers import rounded

Array = NDArray[np.float64]
Floats = NDArray[np.float32] | NDArray[np.float64]
Box = tuple[float, float, float, float]
Colour = tuple[int, int, int]

#: Longest side of a picture in pixels; a larger raster is made coarser by means of whole blocks.
LONGEST = 700

#: Classes on either side of zero.
SIDE = 7

#: From far below zero to far above: blue is lower, orange is higher, told apart by colour-blind people (blue
#: against orange, as in Okabe and Ito's set, from memory), and darker the farther from zero.
DIVERGING: tuple[Colour, ...] = (
    (8, 29, 88),
    (12, 62, 130),
    (23, 97, 166),
    (61, 134, 192),
    (117, 172, 213),
    (172, 206, 230),
    (221, 234, 243),
    (250, 232, 208),
    (249, 208, 158),
    (243, 177, 105),
    (228, 141, 55),
    (199, 105, 16),
    (156, 74, 8),
    (101, 43, 6),
)

#: From few to many, light to dark.
SEQUENTIAL: tuple[Colour, ...] = (
    (239, 243, 216),
    (214, 231, 190),
    (178, 216, 174),
    (137, 198, 166),
    (96, 177, 163),
    (59, 153, 160),
    (37, 126, 152),
    (27, 98, 140),
    (25, 69, 121),
    (22, 41, 92),
)

#: Shared cells that are not assessed: no hard, smooth, gently sloping surface.
ASIDE: Colour = (176, 176, 176)


@dataclass(frozen=True)
class Drawn:
    """A picture and what its record says.

    Attributes
    ----------
    record : dict
        One entry of ``maps`` in the record of flight lines.
    picture : bytes
        PNG.
    """

    record: dict[str, Any]
    picture: bytes


def nice_step(value: float) -> float:
    """Give the least of 1, 2, 5 times a power of ten that is not below `value`; 1 mm at least.

    Examples
    --------
    >>> nice_step(0.0132), nice_step(0.05), nice_step(0.0)
    (0.02, 0.05, 0.001)
    """
    if not value > 0.001:
        return 0.001
    power = 10.0 ** math.floor(math.log10(value) + 1e-9)
    factor = next(f for f in (1.0, 2.0, 5.0, 10.0) if f * power >= value * (1 - 1e-9))
    return float(f"{factor * power:.9g}")


def difference_bounds_m(values_m: Array, limit_m: float | None = None) -> list[float]:
    """Give the bounds between the classes of signed differences, in metres: zero in the middle.

    A quarter of the limit of the claim is a step where there is one, so that it is a bound; else the step
    follows the sizes found. The outermost classes are open: nothing is clipped.
    """
    sizes = np.abs(values_m[np.isfinite(values_m)])
    if limit_m is not None:
        step = limit_m / 4.0
    else:
        step = nice_step(float(np.percentile(sizes, 95)) / 3.0 if sizes.size else 0.0)
    return [rounded(step * k) for k in range(1 - SIDE, SIDE)]


def draw_difference(
    values_m: Floats,
    state: NDArray[np.uint8],
    box_m: Box,
    file: str,
    *,
    assessed: int,
    limit_m: float | None = None,
) -> Drawn:
    """Draw signed height differences of assessed cells; other shared cells are grey.

    Parameters
    ----------
    values_m : ndarray, shape (rows, cols)
        Differences in metres, first row in the north; NaN where there is none.
    state : ndarray of uint8, shape (rows, cols)
        `assessed` where a difference counts.
    box_m : tuple of float
        West, south, east, north of the raster, metres.
    file : str
        Name of the picture beside the record.
    assessed : int
        See `state`.
    limit_m : float or None
        Limit on the RMSD of the claim.
    """

    def counting(rows: slice) -> Array:
        values = np.asarray(values_m[rows], np.float64)
        return np.where(np.asarray(state[rows]) == assessed, values, np.nan)

    def shared(rows: slice) -> Array:
        return np.asarray(values_m[rows], np.float64)

    coarse, grown_m = coarser(counting, values_m.shape, box_m)
    every, _ = coarser(shared, values_m.shape, box_m)
    bounds = difference_bounds_m(coarse, limit_m)
    places = np.zeros(coarse.shape, np.uint8)
    places[np.isfinite(every)] = 1 + len(DIVERGING)
    known = np.isfinite(coarse)
    places[known] = 1 + np.searchsorted(bounds, coarse[known], side="right")
    return _drawn("difference", file, places, (*DIVERGING, ASIDE), bounds, grown_m)


def density_bounds_per_m2(values: Array) -> list[float]:
    """Give the bounds between the classes of density: equal steps, the last class open."""
    seen = values[np.isfinite(values)]
    top = float(np.percentile(seen, 95)) if seen.size else 1.0
    step = nice_step(top / (len(SEQUENTIAL) - 1))
    return [rounded(step * k) for k in range(1, len(SEQUENTIAL))]


def draw_density(
    counts: NDArray[np.uint32], lines: NDArray[np.uint8], cell_m: float, box_m: Box, file: str
) -> Drawn:
    """Draw first returns per square metre; cells without any line are transparent.

    Parameters
    ----------
    counts, lines : ndarray, shape (rows, cols)
        First returns, and lines with points, in each cell.
    cell_m : float
        Side of a cell.
    box_m, file
        As in `draw_difference`.
    """

    def density(rows: slice) -> Array:
        per_m2 = np.asarray(counts[rows], np.float64) / cell_m**2
        return np.where(np.asarray(lines[rows]) > 0, per_m2, np.nan)

    coarse, grown_m = coarser(density, counts.shape, box_m)
    bounds = density_bounds_per_m2(coarse)
    places = np.zeros(coarse.shape, np.uint8)
    known = np.isfinite(coarse)
    places[known] = 1 + np.searchsorted(bounds, coarse[known], side="right")
    return _drawn("density", file, places, SEQUENTIAL, bounds, grown_m)


def _drawn(
    name: str,
    file: str,
    places: NDArray[np.uint8],
    colours: tuple[Colour, ...],
    bounds: list[float],
    box_m: Box,
) -> Drawn:
    picture = write_palette_png(places, ((255, 255, 255), *colours))
    record = {
        "name": name,
        "file": file,
        "sha256": hashlib.sha256(picture).hexdigest(),
        "box_m": [rounded(v) for v in box_m],
        "bounds": bounds,
        "colours": ["#{:02x}{:02x}{:02x}".format(*colour) for colour in colours],
    }
    return Drawn(record, picture)


def coarser(
    rows_of: Callable[[slice], Array], shape: tuple[int, ...], box_m: Box
) -> tuple[Array, Box]:
    """Average whole blocks until the longest side fits, strip by strip; the box grows with the padding.

    Parameters
    ----------
    rows_of : callable
        Gives some rows of the raster; NaN where it holds nothing.
    shape : tuple of int
        Rows and columns.
    box_m : tuple of float
        West, south, east, north.
    """
    rows, cols = shape
    block = max(1, math.ceil(max(rows, cols) / LONGEST))
    high, wide = math.ceil(rows / block), math.ceil(cols / block)
    means = np.full((high, wide), np.nan)
    for row in range(high):
        strip = rows_of(slice(row * block, min((row + 1) * block, rows)))
        padded = np.full((strip.shape[0], wide * block), np.nan)
        padded[:, :cols] = strip
        blocks = padded.reshape(strip.shape[0], wide, block)
        known = np.isfinite(blocks)
        count = known.sum(axis=(0, 2))
        total = np.where(known, blocks, 0.0).sum(axis=(0, 2))
        means[row, count > 0] = total[count > 0] / count[count > 0]
    west, south, east, north = box_m
    wider, higher = (east - west) / cols, (north - south) / rows
    return means, (west, north - high * block * higher, west + wide * block * wider, north)
