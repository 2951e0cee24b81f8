"""Heights from elevation rasters: between the four cell centres around a place, or of the cell it lies in.

Rasters whose cells coincide (tiles of one grid) are read as one grid: at a seam the height is that of the
mosaic. Rasters on other grids are tried one after the other.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from accuracy.findings import Finding, Severity
from accuracy.formats import RasterSurface
from accuracy.formats.raster import CUSTOMARY_NO_DATA, LARGEST_HEIGHT
from accuracy.sampling import Sample, Support
from accuracy.sampling.neighbourhood import fit_plane

Method = Literal["bilinear", "nearest"]

#: Two rasters are on one grid if their cell vectors agree so well, relative to the cell, and the offset of
#: their origins is a whole number of cells so well.
SAME_CELL = 1e-9
WHOLE_OFFSET_CELLS = 1e-6

#: Heights of overlapping rasters that differ by no more (stored units) are the same: rounding of 32 bits.
SAME_HEIGHT = 1e-4


@dataclass(frozen=True)
class _Tile:
    """A raster, and where its first cell lies in the grid it shares."""

    surface: RasterSurface
    row0: int
    col0: int

    def holds(self, row: int, col: int) -> bool:
        """Whether a cell of the grid lies in this raster."""
        height, width = self.surface.shape
        return 0 <= row - self.row0 < height and 0 <= col - self.col0 < width


@dataclass
class _Grid:
    """Rasters whose cells coincide; rows and columns count from the first cell of the first raster."""

    tiles: list[_Tile]

    @property
    def transform(self) -> tuple[float, float, float, float, float, float]:
        return self.tiles[0].surface.transform

    def offset_of(self, surface: RasterSurface) -> tuple[int, int] | None:
        """Row and column of a raster's first cell in this grid, or None if the cells do not coincide."""
        a, b, _, d, e, _ = mine = self.transform
        other = surface.transform
        cell = math.sqrt(abs(a * e - b * d))
        if any(abs(mine[i] - other[i]) > SAME_CELL * cell for i in (0, 1, 3, 4)):
            return None
        col, row = _to_cells(mine, np.array([other[2]]), np.array([other[5]]))
        offset = round(float(row[0])), round(float(col[0]))
        if max(abs(row[0] - offset[0]), abs(col[0] - offset[1])) > WHOLE_OFFSET_CELLS:
            return None
        return offset


class _Window:
    """The 3 x 3 cells around the one that holds a place, from every tile that has some of them.

    Attributes
    ----------
    names : list of str
        Files, in the order given.
    stored : ndarray, shape (tiles, 3, 3)
        Cells as each tile has them; NaN without data and outside.
    suspect : ndarray of bool, shape (tiles, 3, 3)
        Where they hold what cannot be a height; that counts as no data.
    covered : ndarray of bool, shape (3, 3)
        Cells that lie in any tile.
    values : ndarray, shape (3, 3)
        Each cell from the first tile that has data there; NaN where none has.
    """

    def __init__(self, tiles: Sequence[_Tile], cell: tuple[int, int]) -> None:
        top, left = cell[0] - 1, cell[1] - 1
        self.names = [tile.surface.info.path.name for tile in tiles]
        self.stored = np.array(
            [tile.surface.patch(top - tile.row0, left - tile.col0, 3, 3).values for tile in tiles]
        )
        self.suspect = np.isin(self.stored, CUSTOMARY_NO_DATA) | (
            np.abs(self.stored) > LARGEST_HEIGHT
        )
        self.heights = np.where(self.suspect, np.nan, self.stored)
        self.covered = np.array(
            [
                [any(t.holds(top + row, left + col) for t in tiles) for col in range(3)]
                for row in range(3)
            ]
        )
        first = np.argmin(np.isnan(self.heights), axis=0)
        self.values = np.take_along_axis(self.heights, first[np.newaxis], axis=0)[0]


@dataclass(frozen=True)
class _Answer:
    """What one grid says at a place: a sample, its range over overlapping rasters, suspect values met."""

    sample: Sample
    files: tuple[str, ...] = ()
    low: float = math.nan
    high: float = math.nan
    suspects: tuple[tuple[str, float], ...] = ()


_OUTSIDE = _Answer(Sample(None, "outside", "no cell of the raster holds the place"))


def sample_raster(
    surfaces: Sequence[RasterSurface],
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    method: Method,
    metres_per_unit_h: float | None,
    metres_per_unit_v: float | None,
) -> tuple[list[Sample], tuple[Finding, ...]]:
    """Give the height of a raster dataset at places.

    Parameters
    ----------
    surfaces : sequence of RasterSurface
        One raster or many tiles, all in one reference system. Where they overlap, the first given counts.
    x, y : array, shape (n,)
        Places in the rasters' reference system and stored unit.
    method : {"bilinear", "nearest"}
        Between the four cell centres around the place, or the cell that holds it. On the line between two
        cells the one to the east or north holds it.
    metres_per_unit_h, metres_per_unit_v : float or None
        Metres per stored unit; None for degrees or an unknown unit. Then lengths, slope and roughness,
        which would need it, are None.

    Returns
    -------
    samples : list of Sample
        In the order of the places; heights in the stored vertical unit. ``outside``: no cell holds the
        place. ``edge``: a cell that carries weight lies beyond the outer edge. ``no-data``: a cell that
        carries weight has no value. A cell without weight does not matter.
    findings : tuple of Finding
        Customary no-data values met that the file does not declare; rasters that overlap with different
        heights; rasters on different grids.

    Raises
    ------
    FormatError
        Cells cannot be read.

    Notes
    -----
    Slope and roughness are those of the least-squares plane through the 3 x 3 cells around the place
    (n - 3 degrees of freedom), heights measured vertically.
    """
    x, y = np.atleast_1d(np.asarray(x, float)), np.atleast_1d(np.asarray(y, float))
    grids = _grids(surfaces)
    units = (metres_per_unit_h, metres_per_unit_v)
    answers: list[list[_Answer]] = [[] for _ in range(x.size)]
    for grid in grids:
        for answer, mine in zip(_ask(grid, x, y, method, units), answers, strict=True):
            mine.append(answer)
    samples = [_first(place) for place in answers]
    findings = (
        *_suspect_findings(answers, x, y),
        *_overlap_findings(answers, samples, x, y, metres_per_unit_v),
        *_grid_findings(grids),
    )
    return samples, findings


def _grids(surfaces: Sequence[RasterSurface]) -> list[_Grid]:
    grids: list[_Grid] = []
    for surface in surfaces:
        for grid in grids:
            offset = grid.offset_of(surface)
            if offset is not None:
                grid.tiles.append(_Tile(surface, *offset))
                break
        else:
            grids.append(_Grid([_Tile(surface, 0, 0)]))
    return grids


def _to_cells(
    transform: tuple[float, float, float, float, float, float],
    x: NDArray[np.float64],
    y: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Column and row of places; a cell's centre is at +0.5. Relative to the origin, so nothing is lost."""
    a, b, c, d, e, f = transform
    dx, dy = x - c, y - f
    if b == 0.0 and d == 0.0:
        return dx / a, dy / e
    area = a * e - b * d
    return (e * dx - b * dy) / area, (a * dy - d * dx) / area


def _ask(
    grid: _Grid,
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    method: Method,
    units: tuple[float | None, float | None],
) -> Iterator[_Answer]:
    a, b, c, d, e, f = grid.transform
    with np.errstate(invalid="ignore"):  # places that are no numbers lie outside
        cols, rows = _to_cells(grid.transform, x, y)
        # Places are doubles: closer to a line or centre than a few of their last bits is on it.
        last_bit = np.spacing(np.maximum(np.maximum(np.abs(x), np.abs(y)), max(abs(c), abs(f))))
    slack = 4.0 * last_bit / min(math.hypot(a, d), math.hypot(b, e))
    near: list[list[_Tile]] = [[] for _ in range(x.size)]
    for tile in grid.tiles:
        height, width = tile.surface.shape
        close = (np.abs(rows - (tile.row0 + height / 2)) <= height / 2 + 2.5) & (
            np.abs(cols - (tile.col0 + width / 2)) <= width / 2 + 2.5
        )
        for place in np.flatnonzero(close).tolist():
            near[place].append(tile)
    for place, tiles in enumerate(near):
        if not tiles:
            yield _OUTSIDE
            continue
        at = float(rows[place]), float(cols[place])
        yield _answer(grid, tiles, at, float(slack[place]), method, units)


def _answer(
    grid: _Grid,
    tiles: Sequence[_Tile],
    at: tuple[float, float],
    slack: float,
    method: Method,
    units: tuple[float | None, float | None],
) -> _Answer:
    cell = _holding_cell(grid, tiles, at, slack)
    if cell is None:
        return _OUTSIDE
    window = _Window(tiles, cell)
    weights = {(1, 1): 1.0}
    if method == "bilinear":
        # Positions along both axes, from the centre of the window's first cell.
        along = [_weights(at[axis] - (cell[axis] - 0.5), slack) for axis in (0, 1)]
        weights = {(row, col): v * u for (row, v), (col, u) in product(*along)}
    rows, cols = np.array(list(weights)).T
    weight = np.array(list(weights.values()))
    suspects = tuple(
        (name, value)
        for name, stored, odd in zip(window.names, window.stored, window.suspect, strict=True)
        for value in np.unique(stored[rows, cols][odd[rows, cols]]).tolist()
    )
    missing = int((~window.covered[rows, cols]).sum())
    if missing:
        detail = f"{missing} of the {weight.size} cells around it lie beyond the edge"
        return _Answer(Sample(None, "edge", detail), suspects=suspects)
    values = window.values[rows, cols]
    empty = int(np.isnan(values).sum())
    if empty:
        detail = f"{empty} of the {weight.size} cells that carry the height have no data"
        if suspects:
            detail += f"; stored there: {', '.join(f'{value:g}' for _, value in suspects)}"
        return _Answer(Sample(None, "no-data", detail), suspects=suspects)
    heights = window.heights[:, rows, cols]
    return _Answer(
        Sample(float(weight @ values), support=_support(grid, window, units)),
        files=tuple(np.array(window.names)[~np.isnan(heights).all(axis=1)].tolist()),
        low=float(weight @ np.fmin.reduce(heights, axis=0)),
        high=float(weight @ np.fmax.reduce(heights, axis=0)),
        suspects=suspects,
    )


def _holding_cell(
    grid: _Grid, tiles: Sequence[_Tile], at: tuple[float, float], slack: float
) -> tuple[int, int] | None:
    """Row and column of the cell that holds the place; on a line, of the eastern or northern one there is."""
    a, b, _, d, e, _ = grid.transform
    if not (math.isfinite(at[0]) and math.isfinite(at[1])):
        return None
    rows = _either_side(at[0], slack, forward=(e or b) > 0.0)
    cols = _either_side(at[1], slack, forward=(a or d) > 0.0)
    return next(
        ((row, col) for row, col in product(rows, cols) if any(t.holds(row, col) for t in tiles)),
        None,
    )


def _either_side(position: float, slack: float, *, forward: bool) -> tuple[int, ...]:
    line = round(position)
    if abs(position - line) > slack:
        return (math.floor(position),)
    return (line, line - 1) if forward else (line - 1, line)


def _weights(position: float, slack: float) -> list[tuple[int, float]]:
    """Cells on both sides of a position along one axis, with their weights; none has weight zero."""
    first = math.floor(position)
    part = position - first
    if part <= slack:
        return [(first, 1.0)]
    if part >= 1.0 - slack:
        return [(first + 1, 1.0)]
    return [(first, 1.0 - part), (first + 1, part)]


def _support(grid: _Grid, window: _Window, units: tuple[float | None, float | None]) -> Support:
    a, b, _, d, e, _ = grid.transform
    metres_h, metres_v = units
    there = ~np.isnan(window.values)
    row, col = (index - 1.0 for index in np.nonzero(there))
    plane = None
    if metres_h is not None and metres_v is not None:
        plane = fit_plane(
            (a * col + b * row) * metres_h,
            (d * col + e * row) * metres_h,
            (window.values[there] - window.values[1, 1]) * metres_v,
        )
    side = max(math.hypot(a, d), math.hypot(b, e))
    return Support(
        points=int(there.sum()),
        cell_m=None if metres_h is None else side * metres_h,
        slope_deg=None if plane is None else plane.slope_deg,
        roughness_m=None if plane is None else plane.roughness_m,
        slope_east=None if plane is None else plane.east,
        slope_north=None if plane is None else plane.north,
    )


def _first(place: Sequence[_Answer]) -> Sample:
    """Take the first height; else the reason that says most."""
    for reason in (None, "no-data", "edge"):
        for answer in place:
            if answer.sample.reason == reason:
                return answer.sample
    return place[0].sample if place else Sample(None, "outside", "there is no raster")


def _suspect_findings(
    answers: Sequence[Sequence[_Answer]], x: NDArray[np.float64], y: NDArray[np.float64]
) -> Iterator[Finding]:
    met: dict[tuple[str, float], list[int]] = {}
    for place, given in enumerate(answers):
        for key in sorted({key for answer in given for key in answer.suspects}):
            met.setdefault(key, []).append(place)
    for (name, value), places in sorted(met.items()):
        first = places[0]
        yield Finding(
            "file-suspect-values",
            Severity.WARNING,
            f"{name}: cells at {len(places)} place(s) hold {value:g}, which cannot be a height but is not "
            f"declared as no data and was taken as that; first at ({x[first]:.3f}, {y[first]:.3f})",
            component="vertical",
            evidence={
                "value": value,
                "places": len(places),
                "x": float(x[first]),
                "y": float(y[first]),
            },
            remedy="declare the value as no data in the raster",
        )


def _overlap_findings(
    answers: Sequence[Sequence[_Answer]],
    samples: Sequence[Sample],
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    metres_per_unit_v: float | None,
) -> Iterator[Finding]:
    spread = np.zeros(len(samples))
    for place, given in enumerate(answers):
        sound = [answer for answer in given if answer.sample.height is not None]
        if sound:
            spread[place] = max(a.high for a in sound) - min(a.low for a in sound)
    differing = np.flatnonzero(spread > SAME_HEIGHT)
    if not differing.size:
        return
    worst = int(differing[np.argmax(spread[differing])])
    files = ", ".join(dict.fromkeys(name for answer in answers[worst] for name in answer.files))
    unit = "stored units" if metres_per_unit_v is None else "m"
    largest = float(spread[worst]) * (metres_per_unit_v or 1.0)
    yield Finding(
        "file-overlap",
        Severity.WARNING,
        f"overlapping rasters give different heights at {differing.size} place(s), by up to "
        f"{largest:.4f} {unit} at ({x[worst]:.3f}, {y[worst]:.3f}) between {files}; the first given counts",
        component="vertical",
        evidence={
            "places": int(differing.size),
            "largest_difference_stored": float(spread[worst]),
            "largest_difference_m": None if metres_per_unit_v is None else largest,
            "x": float(x[worst]),
            "y": float(y[worst]),
        },
        remedy="hand in tiles that do not overlap or agree where they do",
    )


def _grid_findings(grids: Sequence[_Grid]) -> Iterator[Finding]:
    if len(grids) > 1:
        names = ", ".join(grid.tiles[0].surface.info.path.name for grid in grids[:4])
        names += ", ..." if len(grids) > 4 else ""
        yield Finding(
            "file-overlap",
            Severity.NOTE,
            f"the rasters lie on {len(grids)} different grids ({names}); they are sampled one by one, and "
            "a place within half a cell of a seam between two grids gets no bilinear height",
            component="vertical",
            evidence={"grids": len(grids)},
        )
