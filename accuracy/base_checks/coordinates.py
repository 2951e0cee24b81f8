"""Held coordinates of the mark against the published ones."""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.base_checks.differences import Difference, difference
from accuracy.base_checks.explanations import explanations
from accuracy.base_checks.heights import one_of
from accuracy.base_checks.record import BaseCheck, Side, Station, Vector, length, shown, upward
from accuracy.base_checks.used_height import MATTERS_M, SAME_M, solution_error_m
from accuracy.findings import Severity


def held_minus_published(station: Station) -> Difference | None:
    """Give the difference; None where one of the two is not stated."""
    if station.held is None or station.published is None:
        return None
    return difference(station.held, station.published, station.shelf)


def check(station: Station) -> Iterator[BaseCheck]:
    """Compare, and name the mistake that explains the difference."""
    found = held_minus_published(station)
    if found is None:
        missing = [
            f"[base.{name}]"
            for name, side in (("published", station.published), ("held", station.held))
            if side is None
        ]
        yield BaseCheck(
            "base-not-stated",
            "coordinates-not-stated",
            Severity.WARNING,
            f"{' and '.join(missing)} {'is' if len(missing) == 1 else 'are'} not in the job: "
            "whether the base "
            "stood where it was held cannot be checked",
            remedy="state the coordinates held in the processing, and those that someone else vouches for",
        )
        return
    if found.obstacles:
        yield BaseCheck(
            "base-not-comparable",
            "coordinates-not-comparable",
            Severity.WARNING,
            "held and published coordinates cannot be compared"
            + (" in height" if found.vector is not None else "")
            + f": {'; '.join(dict.fromkeys(found.obstacles))}",
            remedy="state crs, epoch and geoid of both under [base.held] and [base.published]; a "
            "bare WGS 84 is "
            "known to 2 m only: name its realisation",
            evidence={"held": _name(station.held), "published": _name(station.published)},
        )
    elif found.vector is None:
        yield BaseCheck(
            "base-not-comparable",
            "coordinates-not-comparable",
            Severity.WARNING,
            "held or published coordinates do not lie where their reference system can hold them",
            remedy="correct the coordinates or crs; look for exchanged axes and a wrong zone",
        )
    elif found.vector.up_m is None:
        yield BaseCheck(
            "base-not-comparable",
            "heights-not-comparable",
            Severity.WARNING,
            "the heights of held and published coordinates cannot be compared: what they refer to "
            "is not declared "
            "on both sides",
            remedy="write the vertical system in crs, such as EPSG:6341+5703 or EPSG:6319",
            component="vertical",
        )
    if found.remarks:
        yield _velocity(found)
    if found.vector is not None and found.vector.size_m > SAME_M:
        yield _differs(station, found, found.vector)


def _name(side: Side | None) -> str:
    return "" if side is None else side.reference.name


def _velocity(found: Difference) -> BaseCheck:
    return BaseCheck(
        "base-velocity",
        "velocity-not-applied",
        Severity.WARNING,
        f"between held and published coordinates not applied: {'; '.join(found.remarks)}",
        remedy="bring both to one epoch with the velocity of the mark, where the ground deforms",
        component="horizontal",
    )


def _differs(station: Station, found: Difference, vector: Vector) -> BaseCheck:
    behind_m = solution_error_m(station)
    effect = vector.plus(upward(behind_m))
    causes = explanations(station, vector)
    copied = station.held is not None and station.held.origin == "published"
    what = f"held minus published coordinates of {station.mark}: {shown(vector)}"
    if causes:
        what += f"; {one_of(causes)}"
    if behind_m:
        what += (
            f"; {length(-behind_m)} of the height come from the antenna height of the solution and "
            "are told "
            "there"
        )
    names = sorted({candidate.cause for candidate in causes})
    return BaseCheck(
        "base-held-differs",
        names[0] if len(names) == 1 else "held-differs",
        _severity(effect, None if causes or copied else found.sigma),
        what,
        effect=effect,
        sigma=found.sigma,
        consistent_with=causes,
        remedy="find out which coordinates are right; process again with those"
        if effect.size_m > SAME_M
        else "",
        part="coordinates",
        evidence={"held": _name(station.held), "published": _name(station.published)},
    )


def _severity(effect: Vector, sigma: Vector | None) -> Severity:
    """Weigh by size, and less within three sigma of what two independent sources state."""
    if effect.size_m <= SAME_M:
        return Severity.NOTE
    if sigma is not None and all(
        abs(d) <= 3.0 * s
        for d, s in zip(effect.values, sigma.values, strict=True)
        if d is not None and s is not None
    ):
        return Severity.NOTE if effect.size_m <= MATTERS_M else Severity.WARNING
    return Severity.BLOCKING if effect.size_m > MATTERS_M else Severity.WARNING
