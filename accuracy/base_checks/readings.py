"""The two readings of the antenna height against each other."""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.base_checks.record import BaseCheck, Candidate, Height, Station, Vector, length
from accuracy.base_checks.used_height import READINGS_AGREE_M, readings_m, true_vector, used
from accuracy.findings import Severity


def check(station: Station) -> Iterator[BaseCheck]:
    """Tell where they disagree, and what each would mean."""
    first, second = readings_m(station)
    for reading, value in ((station.height, first), (station.second, second)):
        if reading is not None and value is None:
            yield _irreducible(reading)
    if first is None or second is None or abs(first - second) <= READINGS_AGREE_M:
        return
    had = used(station)
    candidates = []
    if had is not None:
        for name, value in (("first", first), ("second", second)):
            true = true_vector(station, value)
            candidates.append(
                Candidate(
                    f"{name}-reading-right",
                    f"the {name} reading is right ({value:.4f} m)",
                    had.arp.plus(Vector(*(-(v or 0.0) for v in true.values))),
                )
            )
    half = abs(first - second) / 2.0
    yield BaseCheck(
        "base-height-readings",
        "readings-disagree",
        Severity.WARNING,
        f"the two readings of the antenna height differ by {length(second - first)}: {first:.4f} m "
        "at the begin, "
        f"{second:.4f} m at the end; one of them is wrong, or the tripod sank",
        sigma=Vector(None, None, half),
        consistent_with=tuple(candidates),
        remedy="find out from notes and photographs which one is right, and write that",
        component="vertical",
        evidence={"first_m": first, "second_m": second},
    )


def _irreducible(reading: Height) -> BaseCheck:
    return BaseCheck(
        "base-height",
        "height-irreducible",
        Severity.WARNING,
        f"no height of the reference point follows from {reading.written} "
        f"({reading.kind}, to the {reading.to.replace('-', ' ')})",
        remedy="state the radius and the height of the rim; for a height to the phase centre the ANTEX file "
        "and the frequency; a slant is longer than the radius",
        component="vertical",
    )
