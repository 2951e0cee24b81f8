"""Number and places of the checkpoints, as facts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from accuracy.findings import Finding, Severity
from accuracy.inputs.checkpoints import Checkpoint
from accuracy.residuals import Roles
from accuracy.units import LengthUnit, to_metres


@dataclass(frozen=True)
class Layout:
    """Number and extent of the checkpoints (metres, frame of the table; None for degrees)."""

    checkpoints: int
    non_vegetated: int
    vegetated: int
    control: int
    excluded: int
    extent_east_m: float | None = None
    extent_north_m: float | None = None


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
    )


def same_places(points: Sequence[Checkpoint], roles: Roles) -> tuple[Finding, ...]:
    """Find checkpoints that stand exactly where a control point stands.

    A checkpoint must be independent of the control used in processing (NSSDA 3.2.2; ASPRS Edition 2,
    7.12, second-hand): the same coordinates under another id are the same point.
    """
    findings = []
    seen: dict[tuple[float, float], Checkpoint] = {}
    for point in points:
        place = (point.easting, point.northing)
        other = seen.setdefault(place, point)
        if other is point:
            continue
        roles_here = {roles.role(point.id), roles.role(other.id)}
        if roles_here == {"checkpoint", "control"}:
            findings.append(
                Finding(
                    "checkpoints-near-control",
                    Severity.WARNING,
                    f"{point.id} and {other.id} have the same coordinates, and one of them is control",
                    evidence={"line": point.line, "other_line": other.line},
                    remedy="a point used in processing cannot test it: exclude the checkpoint with a reason",
                )
            )
    return tuple(findings)
