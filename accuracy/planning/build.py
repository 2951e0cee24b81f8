"""From a job to a plan of checkpoints."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from accuracy.areas import areas
from accuracy.budget import estimates_m, predict, sensor_findings
from accuracy.deliverables import Deliverable, columns, distinct
from accuracy.errors import JobError
from accuracy.findings import Finding, Severity
from accuracy.georeferencing.crs import same_horizontal
from accuracy.job import Job
from accuracy.layout.distribution import poor_quadrants, spread, too_near
from accuracy.layout.footprint import Floats, Footprint
from accuracy.layout.records import CoverGroup, CoverLayout
from accuracy.layout.rules import rules_of
from accuracy.planning.ground import GroundMap
from accuracy.planning.places import Spot, candidates, choose
from accuracy.planning.records import FieldPlan, PlannedPoint, PlanWant
from accuracy.planning.wants import covers_wanted, wants_of
from accuracy.preparation import Prepared, Progress, prepare, quiet
from accuracy.units import LengthUnit, from_metres, to_metres

#: Clouds are read for their footprint up to so many points: a plan is worth a pass.
MOST_POINTS = 200_000_000

#: Points to plan where no claim names a number: USGS Lidar Base Specification 2024 rev. A, as is its slope.
DEFAULT_NUMBER, STEEPEST_DEG = 30, 10.0

#: Distance to control where the job states none. No source.
FROM_CONTROL_M = 10.0

_LETTER: Mapping[CoverGroup, str] = {"non-vegetated": "N", "vegetated": "V"}


def plan(
    job: Job,
    progress: Progress = quiet,
    *,
    seed: int = 1,
    open_points: int | None = None,
    vegetated_points: int | None = None,
) -> FieldPlan:
    """Plan where checkpoints are to be surveyed, how many, and how well.

    Parameters
    ----------
    job : Job
        From ``accuracy.load_job(path, planning=True)``; it needs no table of checkpoints.
    seed : int
        The same seed gives the same places.
    open_points, vegetated_points : int, optional
        Numbers to plan in place of those that the documents want.

    Raises
    ------
    AccuracyError
        The job cannot be used, or no area in a plane of known unit is known.
    """
    prepared = prepare(job, progress, planning=True)
    progress("looking for the area")
    found, area_findings = areas(job, prepared.deliverables, MOST_POINTS)
    chosen = next((i for i, area in enumerate(found) if area is not None), None)
    if chosen is None:
        raise JobError(
            "no area to plan in: no outline, cloud or raster in a plane of known unit",
            where=str(job.path),
            remedy="name the deliverable's crs, or an outline in [area]",
        )
    item, area = prepared.deliverables[chosen], found[chosen]
    assert area is not None
    unit = item.reference.horizontal_unit
    assert unit is not None  # an area is in metres of a plane
    numbers = _numbers(prepared, area, open_points, vegetated_points)
    findings = list(area_findings)
    findings += [_not_flown(its) for its in prepared.deliverables if not its.files]
    control_m, more = _control(prepared, item, unit)
    findings += more
    progress("choosing places")
    chosen_points, layouts, told = _choose(prepared, item, area, unit, numbers, control_m, seed)
    findings += told
    said = job.checkpoints
    wants: list[PlanWant] = []
    for claim in job.claim:
        standard = prepared.standards[claim.standard]
        survey = (said.survey_rmse_h_m, said.survey_rmse_v_m)
        wants += wants_of(
            claim.dataset,
            standard,
            claim.keys,
            area.area_m2 / 1e6,
            numbers,
            survey,
            _control_count(prepared),
        )
        kind = next(d.kind for d in job.dataset if d.name == claim.dataset)
        if kind in ("point-cloud", "raster"):
            findings += sensor_findings(job.flight, job.sensor, claim.dataset, standard, claim.keys)
    predictions = estimates = None
    if job.flight is not None and job.sensor is not None:
        predictions = (predict(job.flight, job.sensor, 0.0), predict(job.flight, job.sensor))
        estimates = estimates_m(job.flight, job.sensor)
    rules = [rules_of(prepared.standards[claim.standard]) for claim in job.claim]
    return FieldPlan(
        title=job.job.title,
        site=job.job.site or "",
        dataset=item.setting.name,
        reference=item.reference,
        area_from=area.source,
        area_km2=area.area_m2 / 1e6,
        diagonal_m=area.diagonal_m,
        seed=seed,
        points=chosen_points,
        spread=layouts,
        wants=tuple(wants),
        confirm=tuple(dict.fromkeys(str(point) for rule in rules for point in rule.confirm)),
        predictions=predictions or (),
        estimates_m=estimates or {},
        findings=distinct(findings),
    )


def _not_flown(item: Deliverable) -> Finding:
    """Say that a plan rests on what the job declares, since nothing is delivered yet."""
    return Finding(
        "plan-not-flown",
        Severity.NOTE,
        f"no file of {item.setting.name} is there yet: planned in {item.reference.name}, as the job declares, "
        "inside the outline of [area]",
        dataset=item.setting.name,
    )


def _control_count(prepared: Prepared) -> int:
    return len(prepared.job.checkpoints.control)


def _numbers(
    prepared: Prepared, area: Footprint, open_points: int | None, vegetated_points: int | None
) -> dict[CoverGroup, int]:
    counts: dict[CoverGroup, int] = {}
    for claim in prepared.job.claim:
        standard = prepared.standards[claim.standard]
        wanted = covers_wanted(standard, claim.keys, area.area_m2 / 1e6, _control_count(prepared))
        for cover, number in wanted.items():
            counts[cover] = max(number, counts.get(cover, 0))
    if not counts:
        counts["non-vegetated"] = DEFAULT_NUMBER
    if open_points is not None:
        counts["non-vegetated"] = open_points
    if vegetated_points is not None:
        counts["vegetated"] = vegetated_points
    return {cover: number for cover, number in counts.items() if number > 0}


def _control(
    prepared: Prepared, item: Deliverable, unit: LengthUnit
) -> tuple[Floats, tuple[Finding, ...]]:
    """Give the control points in metres of the deliverable's plane, shape (n, 2)."""
    points = [p for p in prepared.table.points if prepared.roles.role(p.id) == "control"]
    none = np.empty((0, 2))
    if not points:
        return none, ()
    east, north, height = columns(points)
    if item.plan.carries:
        east, north, _ = item.plan.apply(east, north, height)
    if item.plan.horizontal in ("unknown", "differs") or not np.isfinite([east, north]).all():
        message = (
            f"where {len(points)} control points stand in the plane of {item.setting.name} is not known; "
            "planned points may stand beside them"
        )
        return none, (Finding("plan-control-unknown", Severity.WARNING, message),)
    return np.column_stack([to_metres(east, unit), to_metres(north, unit)]), ()


def _ground(prepared: Prepared, item: Deliverable) -> GroundMap | None:
    """Find an elevation raster in the same plane."""
    wkt = item.reference.horizontal_wkt
    for other in prepared.deliverables:
        its = other.reference
        if not other.rasters or its.horizontal_unit is None or its.vertical_unit is None:
            continue
        same = other is item or (
            wkt is not None
            and its.horizontal_wkt is not None
            and other.setting.local == item.setting.local
            and same_horizontal(wkt, its.horizontal_wkt)
        )
        if same:
            return GroundMap(other.rasters, its.horizontal_unit, its.vertical_unit)
    return None


def _choose(
    prepared: Prepared,
    item: Deliverable,
    area: Footprint,
    unit: LengthUnit,
    numbers: Mapping[CoverGroup, int],
    control_m: Floats,
    seed: int,
) -> tuple[tuple[PlannedPoint, ...], tuple[CoverLayout, ...], list[Finding]]:
    job = prepared.job
    rules = [rules_of(prepared.standards[claim.standard]) for claim in job.claim]
    slopes = [r.siting.slope_deg for r in rules if r.siting and r.siting.slope_deg is not None]
    steepest_deg = min([*slopes, STEEPEST_DEG])
    spreads = [rule.distribution for rule in rules if rule.distribution]
    share = max([s.quadrant_share for s in spreads], default=0.20)
    spacing_m = max([s.diagonal_share for s in spreads], default=0.10) * area.diagonal_m
    from_control_m = job.checkpoints.least_distance_to_control_m or FROM_CONTROL_M
    places = candidates(area, control_m, from_control_m)
    ground = _ground(prepared, item)
    findings: list[Finding] = []
    if ground is None:
        message = "no elevation raster in the same plane: the crew looks for flat ground itself"
        findings.append(Finding("plan-no-surface", Severity.NOTE, message))
    points: list[PlannedPoint] = []
    layouts = []
    try:
        for offset, (cover, number) in enumerate(sorted(numbers.items())):
            look = ground.at if ground and cover != "vegetated" else None
            spots = choose(
                area, places, number, seed + 1000 * offset, look, steepest_deg, share, spacing_m
            )
            its = _named(spots, cover, unit, item.reference.vertical_unit)
            points += its
            layout, more = _spread(area, spots, its, cover, number, share, spacing_m)
            layouts.append(layout)
            findings += more
    finally:
        if ground is not None:
            ground.close()
    steep = [p.id for p in points if p.slope_deg is not None and p.slope_deg >= steepest_deg]
    if steep:
        message = (
            f"{', '.join(steep)} stand on ground of {steepest_deg:.1f} degrees or more: no flatter ground is "
            "near enough"
        )
        findings.append(Finding("plan-steep", Severity.WARNING, message))
    return tuple(points), tuple(layouts), findings


def _named(
    spots: list[Spot], cover: CoverGroup, unit: LengthUnit, vertical: LengthUnit | None
) -> list[PlannedPoint]:
    return [
        PlannedPoint(
            id=f"{_LETTER[cover]}{i:02d}",
            cover=cover,
            easting=round(from_metres(spot.east_m, unit), 2),
            northing=round(from_metres(spot.north_m, unit), 2),
            height=round(from_metres(spot.ground.height_m, vertical), 2)
            if spot.ground and vertical
            else None,
            slope_deg=round(spot.ground.slope_deg, 1) if spot.ground else None,
            deviation_m=round(spot.ground.deviation_m, 3) if spot.ground else None,
        )
        for i, spot in enumerate(spots, 1)
    ]


def _spread(
    area: Footprint,
    spots: list[Spot],
    points: list[PlannedPoint],
    cover: CoverGroup,
    number: int,
    share: float,
    spacing_m: float,
) -> tuple[CoverLayout, list[Finding]]:
    if not spots:
        return CoverLayout(cover, 0, number), []
    found = spread(area, np.array([(s.east_m, s.north_m) for s in spots]))
    near = too_near([p.id for p in points], found, spacing_m)
    poor = poor_quadrants(found, share)
    findings = []
    if poor or near or len(spots) < number:
        message = (
            f"{len(spots)} {cover} points of {number}; quadrants with fewer than {share:.0%}: "
            f"{', '.join(poor) or 'none'}; nearer to another than {spacing_m:.1f} m: "
            f"{', '.join(near) or 'none'}"
        )
        findings.append(Finding("plan-uneven", Severity.NOTE, message))
    layout = CoverLayout(
        cover=cover,
        points=len(spots),
        wanted=number,
        quadrants=found.quadrants,
        least_share=round(found.least_share, 6),
        nearest_m=round(float(found.nearest_m.min()), 3) if len(spots) > 1 else None,
        near=near,
    )
    return layout, findings
