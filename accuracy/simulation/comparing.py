"""What a comparison makes of the points near the checkpoints: heights, targets, and their predictions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from accuracy.simulation.fault_record import Where
from accuracy.simulation.faults import FAULTS, predicted_m
from accuracy.simulation.memory_record import Checkpoints, Points, Seen, Simulated
from accuracy.simulation.near import Flight, LinePoints, las_light
from accuracy.simulation.sensing import GROUND, PLATE

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

#: Plane and heights of lines: ground points within this, as `accuracy.sampling` takes them.
PLANE_M = 0.5
TRIANGLES_M = 0.8
FEWEST = 4  # points of a line, or on a target


def compare(flight: Flight, rows: Whole, passes: Sequence[LinePoints]) -> Simulated:
    """Compare the points of all passes with the marks `rows` of the survey."""
    points = _points(passes)
    ground = np.concatenate(
        [
            each.in_cloud & (each.returns.classification == 2) & ~each.returns.withheld
            for each in passes
        ]
    )
    exact_m = np.concatenate([each.exact_m for each in passes])
    survey = flight.survey
    height_m = np.full(len(rows), np.nan)
    table: list[dict[str, float]] = []
    order = np.argsort(points.checkpoint, kind="stable")
    bounds = np.searchsorted(points.checkpoint[order], np.arange(len(rows) + 1))
    targets = {target.id: target for target in flight.scenario.landscape.targets}
    random = np.random.Generator(np.random.PCG64([flight.seed, 130]))
    picking = (
        random.normal(size=(len(rows), len(passes) + 1, 2)) * flight.scenario.noise.target_share
    )
    measured_m = np.full((len(rows), 3), np.nan)
    kind = np.concatenate([each.returns.kind for each in passes])
    touched = np.concatenate([each.at_target for each in passes])
    lines = {each.track.plan.number: number for number, each in enumerate(passes)}

    for at, row in enumerate(rows.tolist()):
        mine = order[bounds[at] : bounds[at + 1]]
        place_m = survey.surveyed_m[row]
        xyz = np.column_stack([points.x_m[mine], points.y_m[mine], points.z_m[mine]]) - place_m
        away_m = np.hypot(xyz[:, 0], xyz[:, 1])
        mark = survey.marks[row]
        target = targets.get(mark.target)
        # under a plate there is no ground to be tested
        counted = ground[mine] & (target is None or not target.raised_m)
        near = counted & (away_m <= PLANE_M)
        wide = counted & (away_m <= TRIANGLES_M)
        rise_m = triangle_height_m(xyz[wide])
        height_m[at] = place_m[2] + rise_m
        plane = _plane(xyz[near])
        on_target = np.zeros(len(mine), dtype=np.bool_)
        if target is not None:
            hit_m = points.true_m[mine] - survey.true_m[row]
            on_target = touched[mine] & (np.hypot(hit_m[:, 0], hit_m[:, 1]) <= target.size_m / 2)
            on_target &= kind[mine] == (PLATE if target.raised_m else GROUND)
            off_m = np.column_stack([points.x_m[mine], points.y_m[mine], points.z_m[mine]])
            off_m = off_m - points.true_m[mine]
            area_m2 = np.pi * (target.size_m / 2) ** 2
            if np.count_nonzero(on_target) >= FEWEST:
                spacing_m = (area_m2 / np.count_nonzero(on_target)) ** 0.5
                measured_m[at] = survey.true_m[row] + off_m[on_target].mean(axis=0)
                measured_m[at, :2] += picking[at, -1] * spacing_m
        for number in np.unique(points.line[mine]).tolist():
            of_line = points.line[mine] == number
            seen = near & of_line
            shown = on_target & of_line
            line = {
                "checkpoint": at,
                "line": number,
                "points": np.count_nonzero(seen),
                "height_m": np.nan,
                "gps_time_s": np.nan,
                "scan_angle_deg": np.nan,
                "east_m": np.nan,
                "north_m": np.nan,
                "target_up_m": np.nan,
                "target_sigma_m": np.nan,
            }
            some = seen if seen.any() else shown
            if plane is not None and seen.any():
                residual_m = xyz[seen, 2] - (plane[0] + xyz[seen, :2] @ plane[1:])
                line["height_m"] = place_m[2] + plane[0] + residual_m.mean()
            elif np.count_nonzero(shown) < FEWEST:
                continue
            line["gps_time_s"] = float(np.median(points.gps_time_s[mine][some]))
            line["scan_angle_deg"] = float(points.scan_angle_deg[mine][some].mean())
            if np.count_nonzero(shown) >= FEWEST:
                spacing_m = (area_m2 / np.count_nonzero(shown)) ** 0.5
                centre_m = survey.true_m[row] + off_m[shown].mean(axis=0)
                centre_m[:2] += picking[at, lines[number]] * spacing_m
                line["east_m"], line["north_m"], line["target_up_m"] = centre_m.tolist()
                line["target_sigma_m"] = flight.scenario.noise.target_share * spacing_m
            line["exact"] = exact_m[mine][some].mean(axis=0)
            table.append(line)
    seen_by = _seen(flight, rows, passes, lines, table)
    mean_m = np.full((len(rows), 3), np.nan)
    for at in np.unique(seen_by.checkpoint).tolist():
        mean_m[at] = seen_by.predicted_m[seen_by.checkpoint == at].mean(axis=0)
    raised = {target.id: target.kind for target in flight.scenario.landscape.targets}
    marks = [survey.marks[row] for row in rows]
    return Simulated(
        scenario=flight.scenario,
        faults=flight.faults,
        seed=flight.seed,
        checkpoints=Checkpoints(
            id=tuple(mark.id for mark in marks),
            cover=tuple(mark.cover for mark in marks),
            target=tuple(raised.get(mark.target, "") for mark in marks),
            true_m=survey.true_m[rows],
            surveyed_m=survey.surveyed_m[rows],
            session=survey.session[rows],
            slope=survey.slope[rows],
        ),
        seen=seen_by,
        points=points,
        height_m=height_m,
        up_m=height_m - survey.surveyed_m[rows, 2],
        measured_m=measured_m,
        raster_up_m=_raster_up_m(flight, rows),
        predicted_m=mean_m,
    )


def _points(passes: Sequence[LinePoints]) -> Points:
    light = [las_light(each.returns) for each in passes]
    place_m = np.concatenate([each.place_m for each in passes])
    return Points(
        checkpoint=np.concatenate([each.checkpoint for each in passes]),
        line=np.concatenate(
            [np.full(len(each.time_s), each.track.plan.number, dtype=np.int64) for each in passes]
        ),
        classification=np.concatenate(
            [each.returns.classification.astype(np.int64) for each in passes]
        ),
        withheld=np.concatenate([each.returns.withheld for each in passes]),
        x_m=place_m[:, 0],
        y_m=place_m[:, 1],
        z_m=place_m[:, 2],
        true_m=np.concatenate([each.true_m for each in passes]),
        gps_time_s=np.concatenate([each.time_s for each in passes]),
        scan_angle_deg=np.concatenate([each.scan_angle_deg for each in passes]),
        intensity=np.concatenate([each[0] for each in light]),
        colour=np.concatenate([each[1] for each in light]),
    )


def _seen(
    flight: Flight,
    rows: Whole,
    passes: Sequence[LinePoints],
    lines: dict[int, int],
    table: list[dict[str, float]],
) -> Seen:
    """Lay the table out as arrays, with how each pass saw each checkpoint."""
    n = len(table)
    at = np.array([line["checkpoint"] for line in table], dtype=np.int64)
    number = np.array([line["line"] for line in table], dtype=np.int64)
    which = np.array([lines[k] for k in number.tolist()], dtype=np.int64)
    names = ("heading_deg", "track_deg", "across_m", "height_m", "speed_m_s", "climb_m_s")
    state = {name: np.empty(n) for name in names}
    predicted = np.empty((n, 3))
    for k, each in enumerate(passes):
        mine = which == k
        vector_m = predicted_m(flight.faults, each.where)
        predicted[mine] = vector_m[at[mine]]
        for name in names:
            state[name][mine] = np.asarray(getattr(each.where, name))[at[mine]]

    def column(name: str) -> Array:
        return np.array([line[name] for line in table], dtype=np.float64)

    height_m = column("height_m")
    return Seen(
        checkpoint=at,
        line=number,
        points=np.array([line["points"] for line in table], dtype=np.int64),
        height_m=height_m,
        up_m=height_m - flight.survey.surveyed_m[rows[at], 2],
        flying_height_m=state.pop("height_m"),
        **state,
        **{
            name: column(name)
            for name in (
                "gps_time_s",
                "scan_angle_deg",
                "east_m",
                "north_m",
                "target_up_m",
                "target_sigma_m",
            )
        },
        predicted_m=predicted,
        exact_m=np.array([line["exact"] for line in table]).reshape(n, 3),
    )


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


def _plane(xyz: Array) -> Array | None:
    """Height at (0, 0) and rises to the east and north of the plane through points."""
    if len(xyz) < 6:
        return None
    design = np.column_stack([np.ones(len(xyz)), xyz[:, :2]])
    return np.asarray(np.linalg.lstsq(design, xyz[:, 2], rcond=None)[0])


def _raster_up_m(flight: Flight, rows: Whole) -> Array:
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
