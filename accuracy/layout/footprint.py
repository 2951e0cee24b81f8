"""The area that a deliverable covers, from its data: a coarse grid of cells that hold any.

The rectangle in a header is not the area: a flight along a road fills a small part of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import FormatError
from accuracy.formats import PointSurface, RasterSurface, open_cloud
from accuracy.units import LengthUnit, to_metres

Floats = NDArray[np.float64]

#: Cells along the longer side, and the smallest cell in metres: fine enough for quadrants and spacings.
CELLS_ACROSS = 200
LEAST_CELL_M = 0.5

#: A cell is several mean spacings wide, so that chance leaves none empty, and counts as filled with a tenth of
#: the usual number of points, so that strays do not count. No source.
SPACINGS_ACROSS = 4.0
USUAL_SHARE = 0.1

#: Clouds of more points are not read for their footprint alone; more cells of a raster are not decoded.
MOST_POINTS = 5_000_000
MOST_CELLS = 50_000_000


@dataclass(frozen=True, eq=False)
class Footprint:
    """An area as square cells, in metres of the deliverable's plane.

    Attributes
    ----------
    west_m, south_m : float
        Corner of the grid.
    cell_m : float
        Side of a cell.
    filled : ndarray of bool, shape (rows, columns)
        Whether a cell belongs to the area; the first row is the southernmost.
    source : str
        Where the area comes from, for people.
    rings : tuple of ndarray, shape (n, 2)
        Closed rings of an outline, where it is one: then these decide what is inside.
    """

    west_m: float
    south_m: float
    cell_m: float
    filled: NDArray[np.bool_]
    source: str
    rings: tuple[Floats, ...] = ()

    @property
    def area_m2(self) -> float:
        """Area of the filled cells."""
        return float(self.filled.sum()) * self.cell_m**2

    @property
    def box_m(self) -> tuple[float, float, float, float]:
        """West, south, east and north of the rectangle around the filled cells."""
        rows, columns = np.nonzero(self.filled)
        return (
            self.west_m + float(columns.min()) * self.cell_m,
            self.south_m + float(rows.min()) * self.cell_m,
            self.west_m + float(columns.max() + 1) * self.cell_m,
            self.south_m + float(rows.max() + 1) * self.cell_m,
        )

    @property
    def diagonal_m(self) -> float:
        """Diagonal of the rectangle around the area."""
        west, south, east, north = self.box_m
        return math.hypot(east - west, north - south)

    def centres_m(self) -> Floats:
        """Give the centres of the filled cells, shape (n, 2)."""
        rows, columns = np.nonzero(self.filled)
        centres: Floats = np.column_stack(
            [
                self.west_m + (columns + 0.5) * self.cell_m,
                self.south_m + (rows + 0.5) * self.cell_m,
            ]
        )
        return centres

    def contains(self, places_m: Floats) -> NDArray[np.bool_]:
        """Whether places (n, 2) lie inside; without an outline, up to one cell beyond a filled one."""
        if self.rings:
            return inside(self.rings, places_m)
        rows, columns = self.filled.shape
        wide = np.zeros((rows + 2, columns + 2), np.bool_)
        for down in range(3):
            for right in range(3):
                wide[down : down + rows, right : right + columns] |= self.filled
        at = np.floor((places_m - (self.west_m, self.south_m)) / self.cell_m) + 1
        within = ((at >= 0) & (at < (columns + 2, rows + 2))).all(axis=1)
        found = np.zeros(len(places_m), np.bool_)
        index = at[within].astype(np.int64)
        found[within] = wide[index[:, 1], index[:, 0]]
        return found


def inside(rings: Sequence[Floats], places_m: Floats) -> NDArray[np.bool_]:
    """Whether places lie inside rings, by the even-odd rule, so that inner rings are holes."""
    x, y = places_m[:, 0], places_m[:, 1]
    odd = np.zeros(len(places_m), np.bool_)
    for ring in rings:
        for (x0, y0), (x1, y1) in zip(ring[:-1].tolist(), ring[1:].tolist(), strict=True):
            if y0 != y1:
                crosses = (y0 > y) != (y1 > y)
                odd ^= crosses & (x < x0 + (y - y0) / (y1 - y0) * (x1 - x0))
    return odd


def of_rings(rings: Sequence[Floats], source: str) -> Footprint | None:
    """Give the area inside closed rings in metres; None where they enclose nothing."""
    every = np.concatenate(rings)
    (west, south), (east, north) = every.min(axis=0).tolist(), every.max(axis=0).tolist()
    longer = max(east - west, north - south)
    if longer <= 0.0:
        return None
    cell_m = longer / CELLS_ACROSS
    shape = (math.ceil((north - south) / cell_m) or 1, math.ceil((east - west) / cell_m) or 1)
    whole = Footprint(west, south, cell_m, np.ones(shape, np.bool_), source, tuple(rings))
    filled = inside(rings, whole.centres_m()).reshape(shape)
    return replace(whole, filled=filled) if filled.any() else None


def of_clouds(
    clouds: Sequence[PointSurface], unit: LengthUnit, most_points: int = MOST_POINTS
) -> Footprint | None:
    """Give the area that clouds fill: of all their points, or of their boxes where there are too many.

    Returns
    -------
    Footprint or None
        None where there are no points, or a box in a header cannot be believed.
    """
    clouds = [cloud for cloud in clouds if cloud.info.points != 0]
    if not clouds or not all(cloud.info.bounds_believed for cloud in clouds):
        return None
    boxes_m = np.array([[to_metres(v, unit) for v in cloud.info.bounds] for cloud in clouds])
    points = sum(cloud.info.points or 0 for cloud in clouds)
    box_area_m2 = float(np.prod(boxes_m[:, 2:] - boxes_m[:, :2], axis=1).sum())
    spacing_m = math.sqrt(box_area_m2 / points) if points else 0.0
    grid = _grid(boxes_m, SPACINGS_ACROSS * spacing_m)
    if grid is None:
        return None
    if points > most_points:
        return _of_boxes(grid, boxes_m, f"the boxes of the files, more than {most_points} points")
    try:
        counts = _counted(grid, clouds, unit)
    except FormatError:  # told where it matters to a height
        return _of_boxes(grid, boxes_m, "the boxes of the files, not all of which can be read")
    if not counts.any():
        return None
    filled = counts >= max(1.0, USUAL_SHARE * float(np.median(counts[counts > 0])))
    return replace(grid, filled=filled, source="cells of the cloud with points")


def _counted(
    grid: Footprint, clouds: Sequence[PointSurface], unit: LengthUnit
) -> NDArray[np.int64]:
    rows, columns = grid.filled.shape
    counts = np.zeros(rows * columns, np.int64)
    factor = float(unit.metres)
    for cloud in clouds:
        fresh = open_cloud(cloud.info.path)  # the passes of the sampling stay as they were recorded
        for batch in fresh.scan(()):  # type: ignore[attr-defined]  # every cloud here has it
            (sx, sy, _), (ox, oy, _) = batch.grid.scale, batch.grid.offset
            east_m = (batch.x * float(sx) + float(ox)) * factor
            north_m = (batch.y * float(sy) + float(oy)) * factor
            column = np.floor((east_m - grid.west_m) / grid.cell_m).astype(np.int64)
            row = np.floor((north_m - grid.south_m) / grid.cell_m).astype(np.int64)
            known = (column >= 0) & (column < columns) & (row >= 0) & (row < rows)
            at = row[known] * columns + column[known]
            counts += np.bincount(at, minlength=counts.size)
    return counts.reshape(rows, columns)


def of_rasters(rasters: Sequence[RasterSurface], unit: LengthUnit) -> Footprint | None:
    """Give the area of the cells that hold heights, every so many of them looked at."""
    upright = [r for r in rasters if r.transform[1] == 0.0 and r.transform[3] == 0.0]
    if not rasters or len(upright) < len(rasters):
        return None
    boxes_m = np.array([[to_metres(v, unit) for v in r.info.bounds] for r in rasters])
    sides_m = [
        abs(to_metres(side, unit)) for r in rasters for side in (r.transform[0], r.transform[4])
    ]
    grid = _grid(boxes_m, max(sides_m))
    if grid is None:
        return None
    filled = np.zeros(grid.filled.shape, np.bool_)
    try:
        for raster in rasters:
            step = max(1, int(grid.cell_m / max(sides_m)))
            rows, columns = (max(1, size // step) for size in raster.shape)
            if raster.coarse_cost(rows * step, columns * step, step) > MOST_CELLS:
                return _of_boxes(
                    grid, boxes_m, "the boxes of the files, large and without overviews"
                )
            heights = raster.coarse(0, 0, rows, columns, step)
            row, column = np.nonzero(np.isfinite(heights))
            a, _, c, _, e, f = raster.transform
            east_m = float(unit.metres) * (c + a * step * (column.astype(np.float64) + 0.5))
            north_m = float(unit.metres) * (f + e * step * (row.astype(np.float64) + 0.5))
            _fill(filled, grid, east_m, north_m)
    except FormatError:  # told where it matters to a height
        return _of_boxes(grid, boxes_m, "the boxes of the files, not all of which can be read")
    finally:
        for raster in rasters:
            raster.close()
    return (
        replace(grid, filled=filled, source="cells of the raster with data")
        if filled.any()
        else None
    )


def _fill(filled: NDArray[np.bool_], grid: Footprint, east_m: Floats, north_m: Floats) -> None:
    rows, columns = filled.shape
    column = np.clip(np.floor((east_m - grid.west_m) / grid.cell_m), 0, columns - 1)
    row = np.clip(np.floor((north_m - grid.south_m) / grid.cell_m), 0, rows - 1)
    filled[row.astype(np.int64), column.astype(np.int64)] = True


def _grid(boxes_m: Floats, least_m: float) -> Footprint | None:
    """Lay empty cells over boxes; None where they have no extent."""
    (west, south), (east, north) = boxes_m[:, :2].min(axis=0), boxes_m[:, 2:].max(axis=0)
    longer = float(max(east - west, north - south))
    if not (math.isfinite(longer) and longer > 0.0):
        return None
    cell_m = max(longer / CELLS_ACROSS, least_m, LEAST_CELL_M)
    shape = (
        int((north - south) // cell_m) + 1,
        int((east - west) // cell_m) + 1,
    )
    return Footprint(float(west), float(south), cell_m, np.zeros(shape, np.bool_), "")


def _of_boxes(grid: Footprint, boxes_m: Floats, source: str) -> Footprint:
    filled = np.zeros(grid.filled.shape, np.bool_)
    for west, south, east, north in boxes_m.tolist():
        left, right = (int((v - grid.west_m) // grid.cell_m) for v in (west, east))
        low, high = (int((v - grid.south_m) // grid.cell_m) for v in (south, north))
        filled[low : high + 1, left : right + 1] = True
    return replace(grid, filled=filled, source=source)
