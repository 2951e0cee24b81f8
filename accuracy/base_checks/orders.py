"""Height, east, north in a wrong order: RINEX writes H/E/N, ANTEX N/E/U, site logs U/N/E."""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.base_checks.record import Candidate, Station, Vector
from accuracy.base_checks.used_height import true_vector


def candidates(station: Station, true_up_m: float) -> Iterator[Candidate]:
    """Give what the record would say had someone filled it in one of the other orders."""
    if station.given is not None:
        return  # a single number has no order
    right = true_vector(station, true_up_m)
    east, north, up = right.east_m or 0.0, right.north_m or 0.0, true_up_m
    orders = (
        ("order-north-east-up", "north, east, up, as ANTEX has it", (north, east, up)),
        ("order-up-north-east", "up, north, east, as site logs have it", (up, north, east)),
    )
    for cause, words, (height, its_east, its_north) in orders:
        effect = Vector(its_east - east, its_north - north, height - up)
        if effect.size_m > 0.0:
            yield Candidate(cause, f"the record height, east, north filled in as {words}", effect)
