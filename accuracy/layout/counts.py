"""Number and places of the checkpoints, as facts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from accuracy.findings import Finding, Severity
from accuracy.inputs.checkpoints import Checkpoint
from accuracy.layout.records import DocumentLayout
from accuracy.residuals import Roles
from accuracy.units import LengthUnit, to_metres

#: Two checkpoints nearer to each other than this test the same spot. Common practice, no source.
SAME_SPOT_M = 1.0


@dataclass(frozen=True)
class Layout:
    """Number and extent of the checkpoints (metres, frame of the table; None for degrees).

    `places` counts the distinct places of the checkpoints: two ids at one place are one test. `documents` says
    how they lie as the document of each claim sees it.
    """

    checkpoints: int
    non_vegetated: int
    vegetated: int
    control: int
    excluded: int
    extent_east_m: float | None = None
    extent_north_m: float | None = None
    places: int = 0
    documents: tuple[DocumentLayout, ...] = ()


def place_numbers(points: Sequence[Checkpoint]) -> Mapping[str, int]:
    """Give each point, by its id, the number of its place: one number for the same easting and northing."""
    numbers: dict[tuple[float, float], int] = {}
    return {
        point.id: numbers.setdefault((point.easting, point.northing), len(numbers))
        for point in points
    }


def lay_out(
    points: Sequence[Checkpoint],
    roles: Roles,
    unit: LengthUnit | None,
    documents: Sequence[DocumentLayout] = (),
) -> Layout:
    """Count the surveyed points by role and cover, and measure the extent of the checkpoints."""
    judged = [point for point in points if roles.role(point.id) == "checkpoint"]

    def extent_m(values: list[float]) -> float | None:
        return to_metres(max(values) - min(values), unit) if values and unit is not None else None

    return Layout(
        checkpoints=len(judged),
        non_vegetated=sum(point.cover == "non-vegetated" for point in judged),
        vegetated=sum(point.cover == "vegetated" for point in judged),
        control=sum(roles.role(point.id) == "control" for point in points),
        excluded=sum(roles.role(point.id) == "excluded" for point in points),
        extent_east_m=extent_m([point.easting for point in judged]),
        extent_north_m=extent_m([point.northing for point in judged]),
        places=len(set(place_numbers(judged).values())),
        documents=tuple(documents),
    )


def same_places(points: Sequence[Checkpoint], roles: Roles) -> tuple[Finding, ...]:
    """Find checkpoints that stand exactly where a control point stands.

    A checkpoint must be independent of the control used in processing (NSSDA 3.2.2; ASPRS Edition 2,
    7.12, second-hand): the same coordinates under another id are the same point.
    """
    here: dict[int, list[Checkpoint]] = {}
    numbers = place_numbers(points)
    for point in points:
        here.setdefault(numbers[point.id], []).append(point)
    findings = []
    for together in here.values():
        control = [point.id for point in together if roles.role(point.id) == "control"]
        judged = [point.id for point in together if roles.role(point.id) == "checkpoint"]
        if control and judged:
            findings.append(
                Finding(
                    "checkpoints-near-control",
                    Severity.WARNING,
                    f"{', '.join(judged)} and the control point {', '.join(control)} have the same "
                    "coordinates",
                    evidence={"checkpoints": ", ".join(judged), "control": ", ".join(control)},
                    remedy="a point used in processing cannot test it: exclude the checkpoint with a reason",
                )
            )
    return tuple(findings)


def near_points(
    points: Sequence[Checkpoint],
    roles: Roles,
    unit: LengthUnit | None,
    least_to_control_m: float | None,
) -> tuple[Finding, ...]:
    """Find checkpoints nearer to control than the job allows, and such as repeat one another.

    Those at the very same coordinates are told by `same_places` and by the reader of the table.

    Parameters
    ----------
    unit : LengthUnit or None
        Of the table; None for degrees, which are not looked at.
    least_to_control_m : float or None
        Distance that the job states.
    """
    if unit is None:
        return ()
    judged = [point for point in points if roles.role(point.id) == "checkpoint"]
    control = [point for point in points if roles.role(point.id) == "control"]
    findings = []
    if least_to_control_m is not None:
        near = _pairs(judged, control, least_to_control_m, unit)
        if near:
            told = ", ".join(
                f"{one} {distance_m:.2f} m from {other}" for one, other, distance_m in near
            )
            findings.append(
                Finding(
                    "checkpoints-near-control",
                    Severity.WARNING,
                    f"nearer to control than the {least_to_control_m:g} m that the job states: {told}",
                    evidence={"points": len(near), "least_m": least_to_control_m},
                    remedy="a point beside control tests little else: exclude it with a reason",
                )
            )
    repeated = [pair for pair in _pairs(judged, judged, SAME_SPOT_M, unit) if pair[0] < pair[1]]
    if repeated:
        told = ", ".join(
            f"{one} and {other}, {distance_m:.2f} m" for one, other, distance_m in repeated
        )
        findings.append(
            Finding(
                "checkpoints-same-spot",
                Severity.WARNING,
                f"checkpoints that stand within {SAME_SPOT_M:g} m of each other test the same spot: {told}",
                evidence={"pairs": len(repeated)},
                remedy="count one of them, or spread the points",
            )
        )
    return tuple(findings)


def _pairs(
    ones: Sequence[Checkpoint], others: Sequence[Checkpoint], within_m: float, unit: LengthUnit
) -> list[tuple[str, str, float]]:
    """Give pairs of points that are apart, but nearer than a distance."""
    if not ones or not others:
        return []
    import numpy as np
    from scipy.spatial import cKDTree

    places = [
        np.array([(to_metres(p.easting, unit), to_metres(p.northing, unit)) for p in side])
        for side in (ones, others)
    ]
    if not all(np.isfinite(side).all() for side in places):
        return []
    found = cKDTree(places[0]).query_ball_tree(cKDTree(places[1]), within_m)
    return [
        (ones[i].id, others[j].id, distance_m)
        for i, hits in enumerate(found)
        for j in sorted(hits)
        for distance_m in [float(np.hypot(*(places[0][i] - places[1][j])))]
        if 0.0 < distance_m < within_m
    ]
