"""Which usual mistake explains that held coordinates are not the published ones."""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.base_checks.antenna_heights import used_for_solution
from accuracy.base_checks.heights import causes, matching
from accuracy.base_checks.record import Candidate, Side, Station, Vector, upward
from accuracy.base_checks.times import observation_year
from accuracy.base_checks.used_height import true_m
from accuracy.georeferencing.mistakes import SidePoint
from accuracy.georeferencing.mistakes_of_frame import frames
from accuracy.georeferencing.mistakes_of_height import geoids, height_kinds
from accuracy.georeferencing.mistakes_of_plane import feet

#: A vector is vertical within this, and an antenna height is recognised within this.
VERTICAL_M = 0.005
#: A frame is recognised within this; only frames that differ by more than twice as much can be told.
FRAME_M = 0.1


def explanations(station: Station, vector: Vector) -> tuple[Candidate, ...]:
    """Give every cause that agrees with held minus published; empty where none does.

    Antenna causes need a vertical vector; frames and units agree within a decimetre. Nothing is chosen
    among several.
    """
    found: tuple[Candidate, ...] = ()
    if vector.up_m is not None and vector.horizontal_m <= VERTICAL_M:
        found = matching(vector, list(_antenna(station)), VERTICAL_M)
    if vector.size_m > 2.0 * FRAME_M:
        found += matching(vector, list(_systems(station)), FRAME_M)
    return found


def _antenna(station: Station) -> Iterator[Candidate]:
    """Held coordinates that were solved with a wrong height, or belong to another point of the antenna."""
    height_m = true_m(station)
    if height_m is None:
        return
    if height_m:
        yield Candidate(
            "reference-point-for-mark",
            "the held coordinates are those of the antenna reference point, not of the mark (one "
            "antenna height)",
            upward(height_m),
        )
        yield Candidate(
            "height-added-twice", "two antenna heights added to the mark", upward(2.0 * height_m)
        )
        yield Candidate(
            "height-subtracted-twice",
            "one antenna height subtracted from the mark, or counted twice in its solution",
            upward(-height_m),
        )
    for name, offset in used_for_solution(station).items():
        up_m = offset.up_m or 0.0
        yield Candidate(
            "phase-centre-for-mark",
            f"the held coordinates are those of the phase centre ({name}), not of the mark",
            upward(height_m + up_m),
        )
        for sign, words in ((1.0, "added to"), (-1.0, "taken off")):
            yield Candidate(
                "phase-centre-offset",
                f"the offset of the phase centre ({name}) {words} the mark once too often",
                upward(sign * up_m),
            )
    for candidate in causes(station, height_m):
        if candidate.cause in ("height-omitted", "height-doubled", "phase-centre-counted-twice"):
            continue  # as above
        if candidate.effect.horizontal_m == 0.0:
            yield Candidate(
                candidate.cause,
                f"the mark was solved with {candidate.what}",
                upward(-(candidate.effect.up_m or 0.0)),
            )


def _systems(station: Station) -> Iterator[Candidate]:
    """Frames, units and kinds of height, through the layer that carries coordinates."""
    for side in (station.held, station.published):
        if side is not None:
            yield from _of_side(station, side)


def _of_side(station: Station, side: Side) -> Iterator[Candidate]:
    point = SidePoint(side.who, side.reference, side.x, side.y, side.z)
    year = observation_year(station) or side.reference.epoch_year
    listed = (
        *(("frame", m) for m in frames([point], year)),
        *(("foot", m) for m in feet([point])),
        *(("height-kind", m) for m in height_kinds([point], station.shelf)),
        *(("geoid", m) for m in geoids([point], station.shelf)),
    )
    for kind, mistake in listed:
        if mistake.size_m is None or mistake.size_m <= 2.0 * FRAME_M:
            continue
        vector = Vector(mistake.east_m, mistake.north_m, mistake.up_m)
        _, _, what = mistake.what.partition(": ")
        yield Candidate(f"{kind}-mistaken", f"{what}", vector)
        one, taken, other = what.partition(" taken for ")
        turned = f"{other} taken for {one}" if taken else f"{what}, the other way round"
        yield Candidate(
            f"{kind}-mistaken", turned, Vector(*(-(value or 0.0) for value in vector.values))
        )
