"""The antenna height in feet typed as metres, or the other way round."""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.base_checks.record import Candidate, Station, upward
from accuracy.units import LengthUnit, from_metres, to_metres


def candidates(station: Station, true_up_m: float) -> Iterator[Candidate]:
    """Give the number read in the wrong unit. Both feet differ by 4 micrometres here: one is enough."""
    foot = LengthUnit.FOOT
    heights = [("", true_up_m)]
    if station.height is not None and station.height.kind == "slant":
        heights.append((" of the slant", station.height.value_m))
    for what, value_m in heights:
        yield Candidate(
            "feet-as-metres",
            f"feet{what} typed as metres",
            upward(from_metres(value_m, foot) - true_up_m),
        )
        yield Candidate(
            "metres-as-feet",
            f"metres{what} typed as feet",
            upward(to_metres(value_m, foot) - true_up_m),
        )
