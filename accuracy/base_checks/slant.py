"""A slant height typed as vertical, or reduced without the height of the rim."""

from __future__ import annotations

import math
from collections.abc import Iterator

from accuracy.base_checks.record import Candidate, Height, Station, upward


def candidates(station: Station, true_up_m: float) -> Iterator[Candidate]:
    """Give the mistakes that a slant or rim reading invites."""
    for reading in _readings(station):
        if reading.to == "rim":
            kind = "slant" if reading.kind == "slant" else "height of the rim"
            name = "slant-as-vertical" if reading.kind == "slant" else "rim-as-reference-point"
            yield Candidate(
                name,
                f"the {kind} typed as vertical height of the reference point",
                upward(reading.value_m - true_up_m),
            )
        if reading.kind == "slant" and reading.radius_m and reading.value_m > reading.radius_m:
            vertical_m = math.sqrt(reading.value_m**2 - reading.radius_m**2)
            if reading.offset_m:
                yield Candidate(
                    "rim-offset-omitted",
                    "the slant reduced to the rim, and the height of the rim above the reference "
                    "point left out",
                    upward(vertical_m - true_up_m),
                )


def _readings(station: Station) -> list[Height]:
    return [reading for reading in (station.height, station.second) if reading is not None]
