"""Mistakes of frame and epoch, through the same named operations as a plan."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from accuracy.georeferencing.carrying import Hop, Plan
from accuracy.georeferencing.frames import (
    EXAMPLE_EPOCH_YEAR,
    ellipsoid_of_frame,
    hop_between,
    year,
)
from accuracy.georeferencing.geodetic import carried, ellipsoid_of
from accuracy.georeferencing.mistakes import Mistake, SidePoint
from accuracy.georeferencing.operations import FRAMES, Operation, plate_here, short_name
from accuracy.georeferencing.shown_coordinates import vector_m

#: Frames between which it is usually mistaken, by the plate-fixed frame of the place.
_LOCAL = {
    "NAD83(2011)": ("NAD83(2011)",),
    "ETRF2014": ("ETRF2000", "ETRF2014", "ETRF2020"),
    "GDA2020": ("GDA94", "GDA2020"),
}
_GLOBAL = ("ITRF2014", "ITRF2020", "WGS 84 (G2296)")
_TIME = re.compile(r"\+t_epoch=([\d.]+)")


def frames(sides: Sequence[SidePoint], epoch_year: float | None) -> Iterator[Mistake]:
    """Coordinates of each frame on the way taken for those of others that are used at the place."""
    told: set[frozenset[str]] = set()
    at = EXAMPLE_EPOCH_YEAR if epoch_year is None else epoch_year
    located = False
    for side in sides:
        points, frame = side.points, side.reference.frame
        if points is None or frame is None:
            continue
        located = True
        name, words = short_name(frame), ""
        if name is None and side.reference.ensemble:
            name = "ETRF2000" if "European" in frame else "WGS 84 (G2296)"
            words = f"{frame}, read as {name},"
        if name is None:
            what = f"{side.who}: {frame} taken for another frame"
            why = "not known: no named operation links it with another frame"
            yield Mistake("frame", what, why_not=why)
            continue
        plate = plate_here(float(points.lon_deg[0]), float(points.lat_deg[0]))
        for other in (*(_LOCAL[plate.target] if plate is not None else ()), *_GLOBAL):
            pair = frozenset((name, other))
            if other == name or pair in told:
                continue
            told.add(pair)
            what = f"{side.who}: {words or name} taken for {other}"
            hop = hop_between(FRAMES[name], FRAMES[other], at)
            if hop is None:
                why = f"not known: no named operation leads from {name} to {other}"
                yield Mistake("frame", what, why_not=why)
                continue
            # The numbers stay, so the mistake is where they are minus where the point is in that frame.
            east_m, north_m, up_m = (-x for x in vector_m(points, hop(points), hop.end))
            how = ", ".join(operation.code for operation in hop.operations) + _at(at, epoch_year)
            yield Mistake("frame", what, east_m, north_m, up_m, how=how)
    if not located:
        why = "not known: where the point lies is not known"
        yield Mistake("frame", "one frame taken for another", why_not=why)


def _at(used_year: float, stated_year: float | None) -> str:
    example = ", by way of example: no epoch is stated" if stated_year is None else ""
    return f" at {year(used_year)}{example}"


def epochs(plan: Plan, sides: Sequence[SidePoint], epoch_year: float | None) -> Iterator[Mistake]:
    """Each operation that depends on time, evaluated at its own reference epoch."""
    points = sides[0].points
    if points is None:
        why = "not known: where the point lies is not known"
        yield Mistake("epoch", "the epoch dropped", why_not=why)
        return
    at = EXAMPLE_EPOCH_YEAR if epoch_year is None else epoch_year
    chain = _operations(plan)
    if chain:
        start, end = ellipsoid_of(plan.source), ellipsoid_of(plan.target)
        where = "in this chain"
    else:
        plate = plate_here(float(points.lon_deg[0]), float(points.lat_deg[0]))
        if plate is None:
            why = "does not apply: nothing in this chain depends on time"
            yield Mistake("epoch", "the epoch dropped", why_not=why)
            return
        chain, where = (plate,), "not in this chain"
        start, end = (ellipsoid_of_frame(FRAMES[n]) for n in (plate.source, plate.target))
    right = carried(points, chain, at, start, end)
    wrong, here, texts = points, start, []
    for operation in chain:
        found = _TIME.search(operation.helmert)
        reference_year = float(found[1]) if found else at
        there = ellipsoid_of_frame(FRAMES[operation.target])
        wrong = carried(wrong, (operation,), reference_year, here, there)
        here = there
        if found:
            texts.append(f"{operation.code} at its reference epoch {year(reference_year)}")
    east_m, north_m, up_m = vector_m(right, wrong, end)
    what = f"the epoch dropped between {chain[0].source} and {chain[-1].target} ({where})"
    how = f"{', '.join(texts)} instead of{_at(at, epoch_year).removeprefix(' at')}"
    yield Mistake("epoch", what, east_m, north_m, up_m, how=how)


def _operations(plan: Plan) -> tuple[Operation, ...]:
    """Give the operations of the chain if one of them depends on time."""
    moves = plan.moves
    if moves is None:
        return ()
    hops: list[Hop | None] = [
        moves.hop,
        moves.rise.hop if moves.rise else None,
        moves.middle,
        moves.sink.hop if moves.sink else None,
    ]
    for hop in hops:
        if hop is not None and any(operation.dynamic for operation in hop.operations):
            return hop.operations
    return ()
