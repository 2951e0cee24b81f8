"""From frame to frame by named operations, at the right epoch, or a refusal with sizes in metres here."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from accuracy.findings import Finding, Severity
from accuracy.georeferencing.area import Named
from accuracy.georeferencing.carrying import Hop, Step
from accuracy.georeferencing.crs import find_datum
from accuracy.georeferencing.declaration import checked_epoch
from accuracy.georeferencing.evidence import SAME_EPOCH_YEARS
from accuracy.georeferencing.geodetic import Points, carried, east_north_up_m, ellipsoid_of
from accuracy.georeferencing.operations import (
    FRAMES,
    Operation,
    plate_fixed,
    plate_here,
    reachable,
    short_name,
    way,
)
from accuracy.georeferencing.record import Reference

#: Where no epoch is stated, sizes in messages hold for this one.
EXAMPLE_EPOCH_YEAR = 2025.0


@dataclass(frozen=True)
class FramePlan:
    """How points get from frame to frame; `hop` is None where they do not."""

    hop: Hop | None
    steps: tuple[Step, ...] = ()
    findings: tuple[Finding, ...] = ()
    not_applied: tuple[str, ...] = ()
    epoch_year: float | None = None


@dataclass
class _Told:
    """Findings while planning; all of both sides."""

    source: Reference
    target: Reference
    findings: list[Finding] = field(default_factory=list)

    def tell(
        self,
        code: str,
        message: str,
        remedy: str,
        severity: Severity = Severity.BLOCKING,
        **evidence: float | str | None,
    ) -> None:
        both = {"checkpoints": self.source.name, "dataset": self.target.name}
        self.findings.append(Finding(code, severity, message, None, "all", both | evidence, remedy))

    def refused(self) -> FramePlan:
        return FramePlan(None, findings=tuple(self.findings))


def frame_plan(
    source: Reference, target: Reference, one_frame: bool, given: Points, places: Named
) -> FramePlan:
    """Plan the move from the frame of the checkpoints to that of the deliverable.

    Parameters
    ----------
    one_frame : bool
        Both are in one frame: nothing moves, whatever projection and unit.
    given : Points
        The places in the frame of the source.
    """
    start, end = ellipsoid_of(source), ellipsoid_of(target)
    for side, who in ((source, "[checkpoints]"), (target, "[[dataset]]")):
        if side.epoch_year is not None:
            checked_epoch(side.epoch_year, who)
    if one_frame:
        return FramePlan(Hop((), None, start, end), epoch_year=target.epoch_year)
    here = _one_point(given, places)
    told = _Told(source, target)
    if source.ensemble or target.ensemble:
        return _refuse_ensemble(told, here)
    names = short_name(source.frame), short_name(target.frame)
    operations = way(names[0], names[1]) if names[0] and names[1] else None
    if operations is None or names[0] is None or names[1] is None:
        return _refuse_no_operation(told, names)
    epoch_year = _epoch(told, names[0], names[1], operations, here)
    if told.findings:
        return told.refused()
    hop = Hop(operations, epoch_year, start, end)
    steps = tuple(operation_step(operation, epoch_year) for operation in operations)
    not_applied = _velocity(told, names[0], names[1], operations, epoch_year, here)
    return FramePlan(hop, steps, tuple(told.findings), not_applied, epoch_year)


def year(epoch_year: float) -> str:
    """Write an epoch with the digits it needs, to a ten-thousandth of a year (an hour)."""
    return f"{epoch_year:.4f}".rstrip("0").removesuffix(".")


def operation_step(operation: Operation, epoch_year: float | None) -> Step:
    """Give the record of one named operation."""
    return Step(
        f"{operation.source} to {operation.target} between geocentric coordinates"
        + (f", at epoch {year(epoch_year)}" if operation.dynamic and epoch_year else "")
        + (", the registry's operation applied backwards" if operation.inverse else ""),
        operation=operation.name,
        code=operation.code,
        parameters=operation.helmert,
        accuracy_m=operation.accuracy_m,
        epoch_year=epoch_year if operation.dynamic else None,
        units="metre",
    )


def hop_between(frame: str, other: str, epoch_year: float | None) -> Hop | None:
    """Give the move between two frames by datum name; None without way, or without an epoch it needs."""
    operations: tuple[Operation, ...] | None = ()
    if frame != other:
        names = short_name(frame), short_name(other)
        operations = way(names[0], names[1]) if names[0] and names[1] else None
    if operations is None or (epoch_year is None and any(o.dynamic for o in operations)):
        return None
    return Hop(operations, epoch_year, ellipsoid_of_frame(frame), ellipsoid_of_frame(other))


def ellipsoid_of_frame(frame: str) -> tuple[float, float]:
    """Give semi-major axis in metres and inverse flattening of a datum of the registry."""
    datum = find_datum(frame)
    ellipsoid = datum.ellipsoid if datum is not None else None
    if ellipsoid is None:  # an ensemble, which carries none here: WGS 84 or GRS 80, 0.1 mm apart
        return 6378137.0, 298.257222101
    return ellipsoid.semi_major_metre, ellipsoid.inverse_flattening


def _one_point(given: Points, places: Named) -> Points:
    """Take one judged place that stands for the site in messages."""
    usable = np.isfinite(given.lon_deg) & np.isfinite(given.lat_deg) & np.isfinite(given.h_m)
    chosen = np.flatnonzero(usable & places.judged)
    index = chosen[:1] if chosen.size else np.flatnonzero(usable)[:1]
    return Points(given.lon_deg[index], given.lat_deg[index], given.h_m[index])


def _refuse_no_operation(told: _Told, names: tuple[str | None, str | None]) -> FramePlan:
    source, target = told.source, told.target
    known = [
        f"{name} is linked with {', '.join(reachable(name))}" for name in names if name is not None
    ]
    strangers = [
        side.frame or side.name
        for side, name in zip((source, target), names, strict=True)
        if name is None
    ]
    listed = (
        f"; not among the frames this tool carries: {', '.join(strangers)}" if strangers else ""
    )
    told.tell(
        "transform-no-operation",
        f"no named operation leads from {source.frame} (checkpoints, {source.name}) to {target.frame} "
        f"({target.name}){listed}; taking them for the same could be wrong by metres",
        "hand in both in one frame, or transform the checkpoints with the authority's own software and "
        "state the new crs" + (f" ({'; '.join(known)})" if known else ""),
    )
    return told.refused()


def _epoch(
    told: _Told, source: str, target: str, operations: tuple[Operation, ...], here: Points
) -> float | None:
    """Find the epoch at which to carry; tell what is missing or does not fit."""
    one, other = told.source, told.target
    sides = (
        ("the checkpoints", "[checkpoints]", one, source),
        ("the deliverable", "the [[dataset]]", other, target),
    )
    moving = [side for side in sides if not plate_fixed(side[3])]
    missing = [side for side in moving if side[2].epoch_year is None]
    if missing:
        told.tell(
            "crs-epoch-missing",
            " and ".join(f"{who} are in {name}" for who, _, _, name in missing)
            + f", which moves with the plate{_speed(here)}, and carry no epoch",
            f"state epoch = 2024.5 (decimal year) in {' and '.join(key for _, key, _, _ in missing)}",
        )
        return None
    stated = [side.epoch_year for _, _, side, _ in (moving or sides) if side.epoch_year is not None]
    if len(moving) == 2 and abs(stated[0] - stated[1]) > SAME_EPOCH_YEARS:
        size = _moved_m(here, stated[0], stated[1])
        told.tell(
            "crs-epoch-differs",
            f"the checkpoints ({source}) are at epoch {year(stated[0])}, the deliverable ({target}) at "
            f"{year(stated[1])}, and the motion of the plate in between cannot be applied without velocities"
            + (f": {size:.2f} m here" if size is not None else ""),
            "bring both to one epoch with the velocities of the points, or through a plate-fixed frame such "
            "as NAD83(2011), ETRF2000 or GDA2020",
            plate_motion_m=size,
        )
        return None
    if not stated and any(operation.dynamic for operation in operations):
        told.tell(
            "transform-epoch-missing",
            f"the way from {source} to {target} depends on time ("
            + ", ".join(operation.code for operation in operations if operation.dynamic)
            + "), and neither side states an epoch",
            "state epoch = 2024.5 (decimal year of observation) in [checkpoints]",
        )
        return None
    return stated[0] if stated else None


def _velocity(
    told: _Told,
    source: str,
    target: str,
    operations: tuple[Operation, ...],
    epoch_year: float | None,
    here: Points,
) -> tuple[str, ...]:
    """Say what motion of the points was not applied, with the size of the plate's own motion."""
    if epoch_year is None or not any(operation.dynamic for operation in operations):
        return ()
    texts = []
    for who, side, name in (
        ("the checkpoints", told.source, source),
        ("the deliverable", told.target, target),
    ):
        if not plate_fixed(name):
            continue
        if side.epoch_year is None:
            years = None
            text = (
                f"motion of the points inside {name}: no epoch is stated for {who}, taken as they stand at "
                f"{year(epoch_year)}"
            )
        else:
            years = abs(side.epoch_year - epoch_year)
            if years <= SAME_EPOCH_YEARS:
                continue
            text = (
                f"motion of the points inside {name} between {year(min(epoch_year, side.epoch_year))} and "
                f"{year(max(epoch_year, side.epoch_year))} ({years:.1f} years)"
            )
        size = _moved_m(here, epoch_year, epoch_year + (years or 1.0))
        if size is not None:
            span = "a year" if years is None else f"in {years:.1f} years"
            text += (
                f"; the plate as a whole moves {size:.3f} m {span} here, which the operation accounts for; "
                "what the ground moves beside that is near nothing on a stable plate and centimetres a year "
                "where it deforms"
            )
        texts.append(text)
        told.tell(
            "transform-velocity",
            f"not applied: {text}",
            "where the ground deforms, bring the points to one epoch with their velocities first",
            Severity.WARNING,
            years=years,
            plate_motion_m=size,
        )
    return tuple(texts)


def _moved_m(here: Points, from_year: float, to_year: float) -> float | None:
    """Give how far the plate here moves between two years by the rates of its own operation; None unknown."""
    if not here.lon_deg.size:
        return None
    plate = plate_here(float(here.lon_deg[0]), float(here.lat_deg[0]))
    if plate is None:
        return None
    ellipsoid = ellipsoid_of_frame(FRAMES[plate.source])
    early, late = (
        carried(here, (plate,), year, ellipsoid, ellipsoid) for year in (from_year, to_year)
    )
    return math.hypot(*east_north_up_m(early, late, ellipsoid)[0])


def _speed(here: Points) -> str:
    size = _moved_m(here, EXAMPLE_EPOCH_YEAR, EXAMPLE_EPOCH_YEAR + 1.0)
    return "" if size is None else f" ({size:.3f} m a year here)"


def _refuse_ensemble(told: _Told, here: Points) -> FramePlan:
    source, target = told.source, told.target
    ensembles = [side for side in (source, target) if side.ensemble]
    worst_m = max(side.ensemble_accuracy_m or 0.0 for side in ensembles)
    readings, size_m = _readings(source, target, here)
    told.tell(
        "transform-ensemble",
        f"{' and '.join(str(side.frame) for side in ensembles)} without a realisation is known to {worst_m:g} "
        f"m only, and is never taken for another frame (checkpoints: {source.name}, {source.frame}; "
        f"deliverable: {target.name}, {target.frame}){readings}",
        'find out the realisation and state it, for example realisation = "'
        + ("ETRF2000" if "European" in str(ensembles[0].frame) else "WGS 84 (G2139)")
        + '", with epoch, in [checkpoints] or [[dataset]]; if the coordinates were tied to the local frame '
        "(network corrections, a local base), state that frame's own crs instead",
        difference_m=size_m,
    )
    return told.refused()


def _readings(source: Reference, target: Reference, here: Points) -> tuple[str, float | None]:
    """Give both readings of an ensemble and how far apart they are here."""
    if not here.lon_deg.size:
        return "", None
    ensemble, other = (source, target) if source.ensemble else (target, source)
    if ensemble.ensemble and other.ensemble and "European" in str(ensemble.frame):
        ensemble, other = other, ensemble
    epoch_year = source.epoch_year or target.epoch_year
    at = EXAMPLE_EPOCH_YEAR if epoch_year is None else epoch_year
    if "European" in str(ensemble.frame):
        first, second = "ETRF2000", "ETRF2020"
    else:
        first = "WGS 84 (G2296)"
        its = short_name(other.frame)
        plate = plate_here(float(here.lon_deg[0]), float(here.lat_deg[0]))
        second = its if its and plate_fixed(its) else plate.target if plate else ""
        if other.ensemble and "European" in str(other.frame):
            second = "ETRF2000"
    hop = hop_between(FRAMES[first], FRAMES[second], at) if second else None
    if hop is None:
        return "", None
    east_m, north_m, up_m = east_north_up_m(here, hop(here), hop.end)[0]
    size_m = math.hypot(east_m, north_m, up_m)
    return (
        f": read as {first} or as {second} it differs by {size_m:.2f} m here (east {east_m:+.3f}, north "
        f"{north_m:+.3f}, up {up_m:+.3f} m at {year(at)})"
    ), float(size_m)
