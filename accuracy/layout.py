"""Number and places of the checkpoints, as facts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from accuracy.findings import Finding, Severity
from accuracy.inputs.checkpoints import Checkpoint
from accuracy.residuals import Roles
from accuracy.units import LengthUnit, to_metres


@dataclass(frozen=True)
class Layout:
    """Number and extent of the checkpoints (metres, frame of the table; None for degrees).

    `places` counts the distinct places of the checkpoints: two ids at one place are one test.
    """

    checkpoints: int
    non_vegetated: int
    vegetated: int
    control: int
    excluded: int
    extent_east_m: float | None = None
    extent_north_m: float | None = None
    places: int = 0


def place_numbers(points: Sequence[Checkpoint]) -> Mapping[str, int]:
    """Give each point, by its id, the number of its place: one number for the same easting and northing."""
    numbers: dict[tuple[float, float], int] = {}
    return {
        point.id: numbers.setdefault((point.easting, point.northing), len(numbers))
        for point in points
    }


def lay_out(points: Sequence[Checkpoint], roles: Roles, unit: LengthUnit | None) -> Layout:
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
