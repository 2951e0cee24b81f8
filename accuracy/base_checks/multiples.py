"""The antenna height left out, or counted twice."""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.base_checks.record import Candidate, Station, upward


def candidates(station: Station, true_up_m: float) -> Iterator[Candidate]:
    """Give zero and twice the height."""
    if true_up_m != 0.0:
        yield Candidate("height-omitted", "the antenna height left out", upward(-true_up_m))
        yield Candidate("height-doubled", "the antenna height counted twice", upward(true_up_m))
