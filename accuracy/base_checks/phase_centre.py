"""The height to the phase centre typed, and the phase centre added again by the program."""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.base_checks.antenna_heights import used_for_solution
from accuracy.base_checks.record import Candidate, Station, upward


def candidates(station: Station, true_up_m: float) -> Iterator[Candidate]:
    """Give the offset of each frequency that comes into question."""
    for name, offset in used_for_solution(station).items():
        if offset.up_m:
            yield Candidate(
                "phase-centre-counted-twice",
                f"the height to the phase centre ({name}) typed, and its offset added again",
                upward(offset.up_m),
            )
    reading = station.height
    if reading is not None and reading.to == "phase-centre":
        yield Candidate(
            "phase-centre-counted-twice",
            "the height to the phase centre typed as that of the reference point",
            upward(reading.value_m - true_up_m),
        )
