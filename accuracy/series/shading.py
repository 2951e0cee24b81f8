"""Ground as a shaded picture: coarse heights of rasters put together, and lit from the north-west."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from accuracy.formats.png import write_palette_png
from accuracy.series.numbers import round_number

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from accuracy.formats import RasterSurface

    Heights = NDArray[np.float64]

Box = tuple[float, float, float, float]

#: Longest side of the picture.
MOST_PIXELS = 560

#: Most cells that are decoded for a picture; beyond it, no picture. No source: a quarter of a second here.
CHEAP_CELLS = 16_000_000

#: Greys of the picture from shadow to light, all light, so that what is drawn over them stands out: at least 3
#: to 1 against the colours of marks and arrows (WCAG 2.1, success criterion 1.4.11; from memory). The
#: lightest is not yet the white of paper, which means no data.
GREYS = tuple(227 + round(24 * i / 14) for i in range(15))

#: What is darker or lighter than all but this share of the ground gets the darkest or the lightest grey; but
#: greys never stretch over less than so much light, so that flat ground stays flat.
_CUT_PERCENT, _LEAST_SPAN = 2.0, 0.25

#: The slope, as rise over run, that nine tenths of the ground stay below once it is exaggerated.
_LIVELY = 0.6

#: Greatest exaggeration: beyond it, noise would look like ground.
_MOST_EXAGGERATED = 20.0


class NotCheap(Exception):  # noqa: N818 - no error: the picture is left out and the reason said
    """Why there is no picture, in words."""


@dataclass(frozen=True)
class CoarseGround:
    """Heights of rasters on one coarse grid, the northernmost row first.

    Attributes
    ----------
    heights : ndarray, shape (rows, cols)
        In the rasters' own vertical unit; NaN without data.
    box : tuple of float
        West, south, east, north; stored units.
    cell : tuple of float
        Width and height of a cell; stored units.
    """

    heights: Heights
    box: Box
    cell: tuple[float, float]


def coarse_ground(rasters: Sequence[RasterSurface], box: Box) -> CoarseGround:
    """Read rasters of one dataset coarsely over a box: every k-th cell, from overviews where there are some.

    Parameters
    ----------
    rasters : sequence of RasterSurface
        With cells of one size.
    box : tuple of float
        West, south, east, north; stored units.

    Raises
    ------
    NotCheap
        It would cost too much, or the rasters lie askew.
    FormatError
        Cells cannot be read.
    """
    first = rasters[0]
    wide, high = abs(first.transform[0]), abs(first.transform[4])
    for raster in rasters:
        a, b, _, d, e, _ = raster.transform
        if b or d or a < 0.0:
            raise NotCheap("the raster lies askew to east and north")
        if not (math.isclose(a, wide, rel_tol=1e-6) and math.isclose(abs(e), high, rel_tol=1e-6)):
            raise NotCheap("its files have cells of different sizes")
    west, _, _, north = first.info.bounds
    low_col, high_col = math.floor((box[0] - west) / wide), math.ceil((box[2] - west) / wide)
    low_row, high_row = math.floor((north - box[3]) / high), math.ceil((north - box[1]) / high)
    step = _step(max(high_col - low_col, high_row - low_row) / MOST_PIXELS, first.overviews())
    heights = np.full(
        (max((high_row - low_row) // step, 1), max((high_col - low_col) // step, 1)), np.nan
    )
    parts = []
    for raster in rasters:
        col = round((raster.info.bounds[0] - west) / wide) - low_col  # of its edge on our grid
        row = round((north - raster.info.bounds[3]) / high) - low_row
        cols = _window(col, raster.shape[1], heights.shape[1], step)
        rows = _window(row, raster.shape[0], heights.shape[0], step)
        if cols is not None and rows is not None:
            parts.append((raster, rows, cols))
    cost = sum(r.coarse_cost(rows[2] * step, cols[2] * step, step) for r, rows, cols in parts)
    if cost > CHEAP_CELLS:
        raise NotCheap(
            f"{cost / 1e6:.0f} million cells would have to be read; overviews in the file would help"
        )
    for raster, (to_row, from_row, rows_), (to_col, from_col, cols_) in parts:
        if raster.transform[4] > 0.0:  # stored from south to north
            from_row = raster.shape[0] - from_row - rows_ * step
        values = raster.coarse(from_row, from_col, rows_, cols_, step)
        if raster.transform[4] > 0.0:
            values = values[::-1]
        place = heights[to_row : to_row + rows_, to_col : to_col + cols_]
        np.copyto(place, values, where=np.isnan(place))
    left, top = west + low_col * wide, north - low_row * high
    found = (left, top - heights.shape[0] * step * high, left + heights.shape[1] * step * wide, top)
    return CoarseGround(heights, found, (step * wide, step * high))


def _step(wanted: float, overviews: Sequence[int]) -> int:
    """Give a whole number of cells not below `wanted`, in which the overview that will be read fits."""
    step = max(math.ceil(wanted), 1)
    fitting = max((factor for factor in overviews if factor <= step), default=1)
    return math.ceil(step / fitting) * fitting


def _window(edge: int, cells: int, room: int, step: int) -> tuple[int, int, int] | None:
    """Lay one side of a raster on one side of the picture.

    Parameters
    ----------
    edge : int
        Where the raster begins, in cells from the beginning of the picture.
    cells : int
        How many it has.
    room : int
        Pixels of the picture.

    Returns
    -------
    tuple of int or None
        First pixel, first cell (a multiple of `step`), number of pixels; None where they do not meet.
    """
    skipped = max(math.ceil(-edge / step), 0)
    first = round((edge + skipped * step) / step)
    count = min((cells - skipped * step) // step, room - first)
    return (first, skipped * step, count) if count > 0 else None


def shade(heights: Heights, cell_m: tuple[float, float]) -> tuple[bytes, float]:
    """Light the ground from the north-west, 45 degrees high (the custom of maps; common practice, no source).

    Parameters
    ----------
    heights : ndarray, shape (rows, cols)
        Metres, the northernmost row first; NaN without data.
    cell_m : tuple of float
        Width and height of a cell, metres.

    Returns
    -------
    picture : bytes
        PNG; transparent without data.
    exaggeration : float
        How many times higher than it is the ground was taken to be.
    """
    east, north = (slope[np.isfinite(slope)] for slope in _slopes(heights, cell_m))
    usual = float(np.percentile(np.hypot(east, north), 90.0)) if east.size else 0.0
    times = min(round_number(_LIVELY / usual), _MOST_EXAGGERATED) if usual > 0.0 else 1.0
    light, known = light_of(heights, cell_m, times)
    dark, bright = 0.0, 1.0
    if known.any():
        dark, bright = np.percentile(light[known], [_CUT_PERCENT, 100.0 - _CUT_PERCENT])
    missing = max(_LEAST_SPAN - (bright - dark), 0.0)
    dark, span = dark - missing / 2.0, bright - dark + missing
    share = np.clip((light - dark) / span, 0.0, 1.0)
    level = 1 + np.minimum((share * len(GREYS)).astype(np.uint8), len(GREYS) - 1)
    palette = [(255, 255, 255), *((grey, grey, grey) for grey in GREYS)]
    return write_palette_png(np.where(known, level, 0).astype(np.uint8), palette), times


def light_of(
    heights: Heights, cell_m: tuple[float, float], times: float
) -> tuple[Heights, NDArray[np.bool_]]:
    """Give the cosine between the ground's normal and the light, not below 0; and where it is known.

    The normal is (-east, -north, 1) of the slopes, made `times` steeper; the light is (-1, 1, sqrt 2) / 2.
    """
    east, north = (times * slope for slope in _slopes(heights, cell_m))
    known = np.isfinite(heights)
    light = (0.5 * (east - north) + math.sqrt(0.5)) / np.sqrt(1.0 + east**2 + north**2)
    return np.maximum(np.where(known, light, 0.0), 0.0), known


def _slopes(heights: Heights, cell_m: tuple[float, float]) -> tuple[Heights, Heights]:
    """Give the slope to the east and to the north, as rise over run; NaN without data."""
    return _rise(heights, 1) / cell_m[0], -_rise(heights, 0) / cell_m[1]


def _rise(heights: Heights, axis: int) -> Heights:
    """Give the rise per cell along an axis: from both neighbours, from one where only that one is known."""
    padded = np.pad(heights, [(int(axis == a),) * 2 for a in (0, 1)], constant_values=np.nan)
    count = heights.shape[axis]
    before, after = (np.take(padded, range(i, i + count), axis) for i in (0, 2))
    no_before, no_after = np.isnan(before), np.isnan(after)
    rise = np.where(no_after, heights, after) - np.where(no_before, heights, before)
    across = 2.0 - no_before - no_after
    return np.asarray(np.where(across > 0.0, rise / np.maximum(across, 1.0), 0.0) + 0.0 * heights)
