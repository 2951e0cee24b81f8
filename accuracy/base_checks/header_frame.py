"""Held coordinates whose numbers fit the header's position only in another frame than is said of them.

A header's position should be in the ITRF (RINEX recommends it). Precise ones, of permanent stations and of
converters that fill in the solution, tell frames apart; autonomous ones are metres off and match none.
"""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.base_checks.autonomous import offset
from accuracy.base_checks.differences import difference
from accuracy.base_checks.explanations import FRAME_M
from accuracy.base_checks.record import BaseCheck, Candidate, Side, Station, Vector, shown
from accuracy.base_checks.times import observation_year
from accuracy.findings import Severity
from accuracy.georeferencing.frames import hop_between
from accuracy.georeferencing.operations import FRAMES, short_name
from accuracy.georeferencing.shown_coordinates import vector_m

HEADER_FRAME = "ITRF2020"


def check(station: Station) -> Iterator[BaseCheck]:
    """Tell which frames the numbers would fit; silent where published coordinates agree with the held ones."""
    held, header = station.held, station.header
    year = observation_year(station)
    if held is None or header is None or year is None or header.position_m is None:
        return
    if held.reference.vertical_kind == "orthometric" or not any(header.position_m):
        return
    away = offset(held, header.position_m)
    if away is None or away.size_m > 10.0 or (header.position_step_m or 0.0) > FRAME_M:
        return
    own = short_name(held.reference.frame)
    if own is None or _agrees(station) or _fits(held, own, away, year):
        return
    candidates = tuple(
        Candidate("frame-mistaken", f"{frame} taken for {own}", effect)
        for frame in FRAMES
        if frame != own and _fits(held, frame, away, year)
        for effect in [_effect(held, frame, own, year)]
        if effect is not None and effect.size_m > 2.0 * FRAME_M
    )
    if candidates:
        names = ", or ".join(candidate.what.partition(" taken")[0] for candidate in candidates)
        yield BaseCheck(
            "base-frame",
            "frame-mistaken",
            Severity.WARNING,
            f"the header of {station.header_name} lies {shown(away)} from the held coordinates: as it would if "
            f"these were in {names}, and not in {own}",
            consistent_with=candidates,
            remedy="find out in which frame the held coordinates were computed",
        )


def _agrees(station: Station) -> bool:
    if station.held is None or station.published is None:
        return False
    vector = difference(station.held, station.published, station.shelf).vector
    return vector is not None and vector.size_m <= FRAME_M


def _fits(held: Side, frame: str, away: Vector, year: float) -> bool:
    """Whether the held numbers, read in a frame, lie where the header says."""
    points = held.points
    hop = hop_between(FRAMES[frame], FRAMES[HEADER_FRAME], year)
    if points is None or hop is None:
        return False
    there = vector_m(points, hop(points), hop.end)
    return all(abs(a - (b or 0.0)) <= FRAME_M for a, b in zip(there, away.values, strict=True))


def _effect(held: Side, frame: str, own: str, year: float) -> Vector | None:
    points = held.points
    hop = hop_between(FRAMES[frame], FRAMES[own], year)
    if points is None or hop is None:
        return None
    return Vector(*(-value for value in vector_m(points, hop(points), hop.end)))
