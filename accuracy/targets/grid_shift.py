"""How an elevation raster lies against the cloud it was made from: sideways as well as in height.

Where the ground slopes, a raster that lies aside has wrong heights, by slope times shift. So the differences at
many ground points around the checkpoints, set against the slope there, tell the shift. Even ground tells
nothing, and then nothing is said.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from accuracy.deliverables import Deliverable
from accuracy.measuring import Reading
from accuracy.residuals import ResidualRow
from accuracy.sampling.grids import sample_raster
from accuracy.sampling.neighbourhood import around, gather, heights
from accuracy.sampling.targets.patterns import Array

#: Ground points taken around each checkpoint, and how far around, in cells.
POINTS, CELLS = 12, 4.0
#: A shift is told if it is known better than this share of a cell.
KNOWN_TO = 0.15
FEWEST_PLACES = 5


@dataclass(frozen=True)
class GridShift:
    """Raster minus cloud; metres, with standard errors from the scatter between places."""

    east_m: float
    north_m: float
    sigma_east_m: float
    sigma_north_m: float
    up_m: float
    cell_m: float
    places: int


def grid_shift(
    raster: Deliverable,
    cloud: Deliverable,
    rows: Sequence[ResidualRow],
    reading: Reading,
    progress: Callable[[str], None],
) -> GridShift | None:
    """Give the shift of a raster against a cloud in the same plane; None where the ground does not tell it."""
    unit, vertical = cloud.reference.horizontal_unit, cloud.reference.vertical_unit
    places = [
        (row.native["easting"], row.native["northing"])
        for row in rows
        if row.native["easting"] is not None and row.native["northing"] is not None
    ]
    cells = [surface.info.cell_size for surface in raster.rasters if surface.info.cell_size]
    if unit is None or vertical is None or not cells or len(places) < FEWEST_PLACES:
        return None
    x, y = np.array(places, dtype=np.float64).T
    cell = float(max(cells[0]))
    radius = CELLS * cell
    gathered = gather(cloud.clouds, x, y, radius, progress, reading.read)
    if gathered is None:
        return None
    ground = gathered.ground(cloud.setting.ground_classes)
    at, up, place = [], [], []
    for number, near in enumerate(around(gathered, x, y, radius)):
        own = np.flatnonzero(ground[near.index])
        own = own[:: max(1, own.size // POINTS)][:POINTS]
        offset = np.column_stack([near.u[own], near.v[own]]).astype(np.float64) * float(near.unit)
        at.append(offset + np.array([x[number], y[number]]))
        up.append(heights(gathered, near.index[own]))
        place.append(np.full(own.size, number))
    return _solved(
        raster,
        np.concatenate(at),
        np.concatenate(up),
        np.concatenate(place),
        cell,
        unit.metres,
        vertical.metres,
    )


def _solved(
    raster: Deliverable,
    at: Array,
    up: Array,
    place: Array,
    cell: float,
    metres_h: object,
    metres_v: object,
) -> GridShift | None:
    to_m, up_m = float(metres_h), float(metres_v)  # type: ignore[arg-type]  # fractions

    def taken(east: float, north: float) -> Array:
        samples, _ = sample_raster(
            raster.rasters, at[:, 0] + east, at[:, 1] + north, "bilinear", to_m, up_m
        )
        return np.array([np.nan if s.height is None else s.height for s in samples])

    here = taken(0.0, 0.0)
    slope_east = (taken(cell, 0.0) - taken(-cell, 0.0)) * up_m / (2.0 * cell * to_m)
    slope_north = (taken(0.0, cell) - taken(0.0, -cell)) * up_m / (2.0 * cell * to_m)
    for surface in raster.rasters:
        surface.close()
    difference = (up - here) * up_m
    sound = np.isfinite(difference) & np.isfinite(slope_east) & np.isfinite(slope_north)
    if sound.sum() < 4:
        return None
    median = np.median(difference[sound])
    spread = 1.4826 * np.median(np.abs(difference[sound] - median)) + 1e-4
    sound &= np.abs(difference - median) <= 6.0 * spread  # walls and kerbs
    design = np.column_stack([np.ones(len(at)), slope_east, slope_north])[sound]
    value, group = difference[sound], place[sound]
    groups = np.unique(group)
    if len(groups) < FEWEST_PLACES or np.linalg.matrix_rank(design) < 3:
        return None
    inverse = np.linalg.inv(design.T @ design)
    solution = inverse @ design.T @ value
    left = value - design @ solution
    # points of one place share its errors: sums by place (cluster-robust covariance)
    sums = np.array([design[group == g].T @ left[group == g] for g in groups])
    few = len(groups) / (len(groups) - 1.0)
    covariance = few * inverse @ (sums.T @ sums) @ inverse
    sigma = np.sqrt(np.diag(covariance))
    cell_m = cell * to_m
    if max(sigma[1:]) > KNOWN_TO * cell_m:
        return None
    return GridShift(
        float(solution[1]),
        float(solution[2]),
        float(sigma[1]),
        float(sigma[2]),
        float(-solution[0]),
        cell_m,
        len(groups),
    )
