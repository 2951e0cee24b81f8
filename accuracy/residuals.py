"""Residuals: measured minus surveyed, in metres, and who was left out and why.

The sign is the same everywhere: residual = measured - surveyed. A positive `up_m` means that the
deliverable is higher than the survey.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

import numpy as np

from accuracy.findings import Finding, Severity
from accuracy.georeferencing.geodetic import ellipsoid_of, offsets_m
from accuracy.georeferencing.record import Reference
from accuracy.inputs.checkpoints import Checkpoint, Cover, MeasuredPoint, Tested
from accuracy.sampling import NO_HEIGHT_REASONS, Sample, Support
from accuracy.units import LengthUnit, to_metres

Role = Literal["checkpoint", "control", "excluded"]


@dataclass(frozen=True)
class Position:
    """A position or a difference of positions in metres; None where there is no value."""

    east_m: float | None = None
    north_m: float | None = None
    up_m: float | None = None


@dataclass(frozen=True)
class ResidualRow:
    """One surveyed point and what the deliverable says there.

    Attributes
    ----------
    id, cover, tested, description, line
        As in `accuracy.inputs.checkpoints.Checkpoint`.
    role : {"checkpoint", "control", "excluded"}
        Only checkpoints are judged.
    used : bool
        Whether the row counts in the figures.
    reason : str or None
        Why there is no residual (a key of `NO_HEIGHT_REASONS`) or why it does not count.
    detail : str
        The numbers behind the reason, for people.
    surveyed, measured, residual : Position
        In metres, frame of the deliverable. Positions in degrees have no metres; their differences have.
    native : mapping
        Coordinates in stored units of the deliverable: easting, northing, height and their measured
        counterparts. Where the surveyed ones were carried there, ``given_easting``, ``given_northing``
        and ``given_height`` are those of the table.
    survey_rmse_h_m, survey_rmse_v_m : float or None
        The survey's own accuracy.
    support : Support or None
        What carries the measured value.
    """

    id: str
    cover: Cover
    role: Role
    used: bool
    reason: str | None
    detail: str
    surveyed: Position
    measured: Position | None
    residual: Position | None
    native: Mapping[str, float | None]
    survey_rmse_h_m: float | None = None
    survey_rmse_v_m: float | None = None
    support: Support | None = None
    tested: Tested = "both"
    description: str = ""
    line: int = 0


@dataclass(frozen=True)
class Roles:
    """Who is who among the surveyed points.

    Attributes
    ----------
    control : frozenset of str
        Used in processing: never judged.
    excluded : mapping of str to str
        Id to reason.
    survey_rmse_h_m, survey_rmse_v_m : float or None
        Survey accuracy of points whose own row is silent.
    """

    control: frozenset[str] = frozenset()
    excluded: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    survey_rmse_h_m: float | None = None
    survey_rmse_v_m: float | None = None

    def role(self, point_id: str) -> Role:
        """Give the role of a point."""
        if point_id in self.control:
            return "control"
        return "excluded" if point_id in self.excluded else "checkpoint"


def _metres(value: float | None, unit: LengthUnit | None) -> float | None:
    return None if value is None or unit is None else to_metres(value, unit)


def _known(value: float | None) -> float | None:
    """Give None for a coordinate that could not be carried."""
    return None if value is None or math.isnan(value) else value


#: East and north in metres from a surveyed to a measured place, both in degrees: (lon, lat, lon, lat).
InDegrees = Callable[[float, float, float, float], tuple[float, float]]


def in_degrees_of(reference: Reference) -> InDegrees | None:
    """Give how differences of longitude and latitude become metres; None for other coordinates."""
    if reference.horizontal_kind != "geographic" or not reference.horizontal_known:
        return None
    ellipsoid = ellipsoid_of(reference)

    def metres(lon: float, lat: float, to_lon: float, to_lat: float) -> tuple[float, float]:
        east_m, north_m = offsets_m(ellipsoid, *map(np.atleast_1d, (lon, lat, to_lon, to_lat)))
        return float(east_m[0]), float(north_m[0])

    return metres


def _row(
    point: Checkpoint,
    roles: Roles,
    units: tuple[LengthUnit | None, LengthUnit | None],
    measured: tuple[float | None, float | None, float | None],
    reason: str | None,
    detail: str,
    support: Support | None,
    given: Checkpoint | None = None,
    in_degrees: InDegrees | None = None,
) -> ResidualRow:
    horizontal, vertical = units
    east, north, up = measured
    place = (_known(point.easting), _known(point.northing), _known(point.height))
    surveyed = Position(
        _metres(place[0], horizontal), _metres(place[1], horizontal), _metres(place[2], vertical)
    )

    def difference(a: float | None, b: float | None, unit: LengthUnit | None) -> float | None:
        return None if a is None or b is None else _metres(a - b, unit)

    residual = Position(
        difference(east, place[0], horizontal),
        difference(north, place[1], horizontal),
        difference(up, place[2], vertical),
    )
    if in_degrees is not None and None not in (east, north, *place[:2]):
        assert east is not None
        assert north is not None
        residual = Position(*in_degrees(point.easting, point.northing, east, north), residual.up_m)
    if point.tested == "vertical":
        residual = Position(None, None, residual.up_m)
    elif point.tested == "horizontal":
        residual = Position(residual.east_m, residual.north_m, None)
    has_residual = residual != Position()
    role = roles.role(point.id)
    if reason is None and not has_residual and None in place:
        reason, detail = "frame", "this point could not be carried to the deliverable's frame"
    elif reason is None and not has_residual:
        reason, detail = "not-tested", f"its kind is {point.tested}"
    if role == "excluded":
        detail = (
            roles.excluded[point.id] if reason is None else f"{roles.excluded[point.id]}; {detail}"
        )
        reason = reason or "excluded"
    elif role == "control":
        reason = reason or "control"
    return ResidualRow(
        id=point.id,
        cover=point.cover,
        role=role,
        used=has_residual and role == "checkpoint",
        reason=reason,
        detail=detail,
        surveyed=surveyed,
        measured=Position(
            _metres(east, horizontal), _metres(north, horizontal), _metres(up, vertical)
        )
        if has_residual
        else None,
        residual=residual if has_residual else None,
        native=MappingProxyType(
            {
                "easting": place[0],
                "northing": place[1],
                "height": place[2],
                "measured_easting": east,
                "measured_northing": north,
                "measured_height": up,
            }
            | (
                {}
                if given is None
                else {
                    "given_easting": given.easting,
                    "given_northing": given.northing,
                    "given_height": given.height,
                }
            )
        ),
        survey_rmse_h_m=roles.survey_rmse_h_m
        if point.survey_rmse_h_m is None
        else point.survey_rmse_h_m,
        survey_rmse_v_m=roles.survey_rmse_v_m
        if point.survey_rmse_v_m is None
        else point.survey_rmse_v_m,
        support=support,
        tested=point.tested,
        description=point.description,
        line=point.line,
    )


def height_residuals(
    points: Sequence[Checkpoint],
    samples: Sequence[Sample],
    roles: Roles,
    horizontal_unit: LengthUnit | None,
    vertical_unit: LengthUnit | None,
    given: Sequence[Checkpoint] | None = None,
) -> tuple[ResidualRow, ...]:
    """Residuals of a surface: heights only.

    Parameters
    ----------
    points : sequence of Checkpoint
        Surveyed points, in the frame and units of the deliverable.
    samples : sequence of Sample
        The deliverable's height at each, in the same order.
    roles : Roles
        Who is judged.
    horizontal_unit, vertical_unit : LengthUnit or None
        Units both sides share; None for degrees.
    given : sequence of Checkpoint or None
        The points as in their table, where they were carried.
    """
    rows = []
    for i, (point, sample) in enumerate(zip(points, samples, strict=True)):
        row = _row(
            point,
            roles,
            (horizontal_unit, vertical_unit),
            (None, None, sample.height),
            sample.reason,
            sample.detail,
            sample.support,
            given[i] if given else None,
        )
        rows.append(row)
    return tuple(rows)


def position_residuals(
    points: Sequence[Checkpoint],
    measured: Sequence[MeasuredPoint],
    roles: Roles,
    horizontal_unit: LengthUnit | None,
    vertical_unit: LengthUnit | None,
    *,
    compare_heights: bool,
    not_compared: str | None,
    given: Sequence[Checkpoint] | None = None,
    in_degrees: InDegrees | None = None,
) -> tuple[ResidualRow, ...]:
    """Residuals of positions measured in a deliverable, matched by id.

    Parameters
    ----------
    compare_heights : bool
        False where what the heights refer to does not agree: the horizontal part stands alone.
    not_compared : str or None
        Detail, where nothing can be compared because the frames do not agree.
    given : sequence of Checkpoint or None
        The points as in their table, where they were carried.
    in_degrees : callable or None
        How differences of longitude and latitude become metres.
    """
    by_id = {point.id: point for point in measured}
    rows = []
    for i, point in enumerate(points):
        found = by_id.get(point.id)
        values: tuple[float | None, float | None, float | None] = (None, None, None)
        reason: str | None = None
        detail = ""
        if found is None:
            reason, detail = "not-measured", "no measured position with this id"
        elif not_compared is not None:
            reason, detail = "frame", not_compared
        else:
            up = found.height if compare_heights else None
            values = (found.easting, found.northing, up)
        rows.append(
            _row(
                point,
                roles,
                (horizontal_unit, vertical_unit),
                values,
                reason,
                detail,
                None,
                given[i] if given else None,
                in_degrees,
            )
        )
    return tuple(rows)


def row_findings(rows: Sequence[ResidualRow], dataset: str) -> tuple[Finding, ...]:
    """Say who got no value and why, and whose triangulation is ambiguous."""
    findings = []
    missing = [row for row in rows if row.role == "checkpoint" and row.residual is None]
    if missing:
        reasons = sorted({row.reason or "" for row in missing})
        told = "; ".join(
            f"{NO_HEIGHT_REASONS.get(reason, reason)}: "
            + ", ".join(row.id for row in missing if row.reason == reason)
            for reason in reasons
        )
        judged = sum(row.role == "checkpoint" for row in rows)
        findings.append(
            Finding(
                "sampling-no-height",
                Severity.WARNING,
                f"{len(missing)} of {judged} checkpoints have no value in the deliverable and do not count "
                f"({told})",
                dataset=dataset,
                evidence={"missing": len(missing), "checkpoints": judged},
                remedy="see each point's own reason in the residual table; a point outside the deliverable "
                "proves nothing about it",
            )
        )
    ambiguous = [
        row for row in rows if row.used and row.support and (row.support.ambiguity_m or 0.0) > 0
    ]
    if ambiguous:
        worst = max(ambiguous, key=lambda row: (row.support and row.support.ambiguity_m) or 0.0)
        spread_m = (worst.support and worst.support.ambiguity_m) or 0.0
        findings.append(
            Finding(
                "sampling-ambiguous",
                Severity.NOTE,
                f"four or more ground points on one circle around {len(ambiguous)} checkpoints: the "
                f"triangulation is not unique there; the valid heights differ by up to {spread_m:.4f} m "
                f"(at {worst.id}); the diagonal from the westernmost point was taken",
                dataset=dataset,
                component="vertical",
                evidence={"checkpoints": len(ambiguous), "largest_spread_m": spread_m},
            )
        )
    return tuple(findings)
