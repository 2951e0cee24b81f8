"""Heights at checkpoints: on the triangulated points, on a plane through them, and in the elevation raster."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from accuracy.simulation.fault_record import Where
from accuracy.simulation.faults import FAULTS, predicted_m
from accuracy.simulation.near import Flight

Array = NDArray[np.float64]
FEWEST = 4  # points for a triangulation


def triangle_height_m(xyz: Array) -> float:
    """Height at (0, 0) on the Delaunay triangle over it, of points (n, 3); NaN outside.

    Lifted to a paraboloid, that triangle is the facet of the lower hull under the place: from a triangle far
    out, whichever point lies deepest under its plane takes the place of a corner, until none does.
    """
    if len(xyz) < FEWEST:
        return float("nan")
    far = 1e3 * np.array([[-1.0, -1.0], [2.0, -1.0], [-1.0, 2.0]])
    flat = np.concatenate([far, xyz[:, :2]])
    lifted = np.concatenate([np.full(3, 1e12), (xyz[:, :2] ** 2).sum(axis=1)])
    corners = [0, 1, 2]
    for _ in range(4 * len(xyz)):
        design = np.column_stack([np.ones(3), flat[corners]])
        plane = np.linalg.solve(design, lifted[corners])
        above = lifted - plane[0] - flat @ plane[1:]
        above[corners] = 0.0
        deepest = int(np.argmin(above))
        if above[deepest] >= -1e-12:
            break
        corners = _around_origin(flat, corners, deepest)
    if min(corners) < 3:
        return float("nan")
    design = np.column_stack([np.ones(3), flat[corners]])
    return float(np.linalg.solve(design, xyz[np.array(corners) - 3, 2])[0])


def _around_origin(flat: Array, corners: list[int], new: int) -> list[int]:
    """Put a point in the place of a corner so that the triangle still holds the origin."""
    inside = []
    for out in range(3):
        kept = [corners[k] for k in range(3) if k != out] + [new]
        (ax, ay), (bx, by), (cx, cy) = flat[kept].tolist()
        areas = (ax * by - ay * bx, bx * cy - by * cx, cx * ay - cy * ax)
        whole = sum(areas)
        inside.append(
            (min(areas) / whole if whole > 0 else min(-a for a in areas) / abs(whole or 1), kept)
        )
    return max(inside)[1]


def plane_through(xyz: Array) -> Array | None:
    """Height at (0, 0) and rises to the east and north of the plane through points."""
    if len(xyz) < 6:
        return None
    design = np.column_stack([np.ones(len(xyz)), xyz[:, :2]])
    return np.asarray(np.linalg.lstsq(design, xyz[:, 2], rcond=None)[0])


def raster_up_m(flight: Flight, rows: NDArray[np.int64]) -> Array:
    """Bilinear height of the elevation raster minus the surveyed height.

    The raster is the true ground, moved as a whole by the faults that are fixed to the map, and by what the
    flight shares; body-fixed errors, whose mean over opposite lines is near zero, are left out.
    """
    scenario, survey = flight.scenario, flight.survey
    cell_m, origin_m = scenario.cell_m, flight.origin_m()
    place_m = survey.surveyed_m[rows]
    deliverable = {
        name: size
        for name, size in flight.faults.items()
        if FAULTS[name].family in ("map", "raster") or name == "lever-down"
    }
    east_m, north_m, up_m = survey.true_m[rows].T
    where = Where(site=scenario.site, east_m=east_m, north_m=north_m, up_m=up_m, cell_m=cell_m)
    shift_m = predicted_m(deliverable, where, "raster") + flight.motion.position_error_m.mean(
        axis=0
    )
    step = (place_m[:, :2] - origin_m[:2]) / cell_m - 0.5
    first = np.floor(step)
    part = step - first
    total = np.zeros(len(rows))
    for d_e in (0, 1):
        for d_n in (0, 1):
            centre_m = (first + (d_e, d_n) + 0.5) * cell_m - shift_m[:, :2]
            up_m, _, _ = scenario.landscape.field(centre_m[:, 0], centre_m[:, 1])
            weight = (part[:, 0] if d_e else 1 - part[:, 0]) * (
                part[:, 1] if d_n else 1 - part[:, 1]
            )
            total += weight * up_m
    away_m = survey.true_m[rows, :2] - origin_m[:2] - shift_m[:, :2]
    inside = (away_m >= 0).all(axis=1)
    inside &= away_m[:, 0] <= scenario.landscape.terrain.width_m
    inside &= away_m[:, 1] <= scenario.landscape.terrain.depth_m
    raised = {target.id for target in scenario.landscape.targets if target.raised_m}
    inside &= [survey.marks[row].target not in raised for row in rows]
    return np.where(inside, total + shift_m[:, 2] - place_m[:, 2], np.nan)
