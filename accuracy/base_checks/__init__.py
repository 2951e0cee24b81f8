"""The checks of the GNSS base, one file each, and what they say together.

A check is a function from a `Station` to what it found; `CHECKS` lists them in the order of print. A new check
is one file here and one row there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from accuracy.base_checks import (
    antenna,
    antenna_model,
    autonomous,
    coordinates,
    cover,
    distance,
    frames,
    header_frame,
    header_height,
    header_records,
    heights,
    readings,
    same_base,
    solutions,
    time_system,
)
from accuracy.base_checks.record import PARTS, BaseCheck, Station, Vector

Check = Callable[[Station], Iterator[BaseCheck]]

CHECKS: dict[str, Check] = {
    "coordinates": coordinates.check,
    "autonomous": autonomous.check,
    "header_frame": header_frame.check,
    "frames": frames.check,
    "heights": heights.check,
    "readings": readings.check,
    "header_height": header_height.check,
    "antenna": antenna.check,
    "antenna_model": antenna_model.check,
    "header_records": header_records.check,
    "cover": cover.check,
    "time_system": time_system.check,
    "distance": distance.check,
    "solutions": solutions.check,
    "same_base": same_base.check,
}


@dataclass(frozen=True)
class Expected:
    """The shift of the deliverable that all mistakes of the base together predict.

    Attributes
    ----------
    shift : Vector or None
        Deliverable as it is minus as it should be; None where a part is not known.
    sigma : Vector or None
        One sigma, where it is known.
    causes : tuple of str
        Names of the causes that add up.
    why_not : str
        What keeps it from being known.
    """

    shift: Vector | None
    sigma: Vector | None
    causes: tuple[str, ...]
    why_not: str = ""


def run_checks(station: Station) -> tuple[BaseCheck, ...]:
    """Make all checks, in the order of print."""
    return tuple(found for check in CHECKS.values() for found in check(station))


def expected(checks: tuple[BaseCheck, ...]) -> Expected:
    """Add the effects up: one for each part of the way from the mark to the cloud."""
    total, causes, missing = Vector(0.0, 0.0, 0.0), [], []
    sigma: Vector | None = None
    for part in PARTS:
        for found in checks:
            if found.part != part:
                continue
            if found.effect is None:
                missing.append(found.cause)
            else:
                total = total.plus(found.effect)
                causes.append(found.cause)
                sigma = found.sigma if found.sigma is not None else sigma
    missing += [
        found.cause
        for found in checks
        if found.code == "base-height-readings" or found.cause == "height-irreducible"
    ]
    missing += [found.cause for found in checks if found.code == "base-not-comparable"]
    missing += [
        found.cause
        for found in checks
        if found.code == "base-not-stated"
        and found.cause in ("coordinates-not-stated", "height-not-stated", "height-used-not-stated")
    ]
    if missing:
        return Expected(
            None, None, tuple(causes), f"not known: {', '.join(dict.fromkeys(missing))}"
        )
    return Expected(total, sigma, tuple(causes))
