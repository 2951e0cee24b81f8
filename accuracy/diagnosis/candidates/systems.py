"""Frames, epochs, kinds of height, geoid models, feet, exchanged axes and zones.

Frames, geoids and zones come from `accuracy.georeferencing.usual_mistakes`, evaluated at three places of the
site, so that a candidate varies over it as it really does. Feet and axes are closed forms on the coordinates.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from accuracy.diagnosis.candidates.context import Context
from accuracy.diagnosis.fields import constant
from accuracy.diagnosis.records import Amount, Array, Candidate, Sightings
from accuracy.georeferencing.carrying import Plan
from accuracy.georeferencing.frames import EXAMPLE_EPOCH_YEAR, ellipsoid_of_frame
from accuracy.georeferencing.geodetic import Points, carried, east_north_up_m, to_points
from accuracy.georeferencing.mistakes import Mistake
from accuracy.georeferencing.operations import FRAMES, plate_here
from accuracy.georeferencing.record import Reference
from accuracy.georeferencing.usual_mistakes import usual_mistakes
from accuracy.georeferencing.walkthrough import Given
from accuracy.units import LengthUnit, from_metres, to_metres

#: Realisations of the global frame are the same to a few millimetres, its epoch is known to a year or so.
FRAME_SIGMA_M = (0.025, 0.010)
#: A grid of a geoid model gives N to the millimetre; what its file was made into, to less.
GEOID_SIGMA_M = 0.003
_GLOBAL = re.compile(r"ITRF|WGS")
_METRES_PER_FOOT = 0.3048
#: Feet of one kind taken for the other: 1200/3937 m against 0.3048 m.
_FOOT_KIND = float(LengthUnit.US_SURVEY_FOOT.metres / LengthUnit.FOOT.metres) - 1.0


def candidates(s: Sightings, context: Context) -> Iterator[Candidate]:
    """Give every mistake of reference system that can be computed here."""
    if np.isfinite(s.position_m).all():
        yield from _feet(s)
        yield from _axes(s)
    if context.reference is None or context.at is None:
        return
    told: set[tuple[str, str]] = set()
    sides = [(context.reference, context.at)]
    surveyed, given_at = context.surveyed, context.given_at
    if surveyed and given_at and not same_side(surveyed, context.reference):
        sides.append((surveyed, given_at))
    for reference, at in sides:
        for mistake, field in _mistakes(s, reference, at, context):
            for candidate in _both_ways(mistake, field, _frame_sigma_m(reference)):
                key = (candidate.cause, candidate.what)
                if key not in told:
                    told.add(key)
                    yield candidate
    yield from _motion(s, context)


def same_side(one: Reference, other: Reference) -> bool:
    """Whether two sides refer to the same, wherever that was read."""
    return replace(one, sources=(), findings=()) == replace(other, sources=(), findings=())


# --- closed forms ---------------------------------------------------------------------------------------


def _feet(s: Sightings) -> Iterator[Candidate]:
    """One foot for the other, and feet for metres; all lengths are proportional to the coordinates."""
    plane = s.position_m * np.array([1.0, 1.0, 0.0])
    height = s.position_m * np.array([0.0, 0.0, 1.0])
    remedy = (
        "find out which foot each step of survey and processing used, and state it in every file"
    )
    for sign, words in (
        (
            1.0,
            "coordinates in international feet taken for US survey feet on the way to the deliverable",
        ),
        (
            -1.0,
            "coordinates in US survey feet taken for international feet on the way to the deliverable",
        ),
    ):
        yield Candidate(
            "foot-kind",
            "unit",
            words,
            fixed=plane * _FOOT_KIND * sign,
            how="2 ppm of easting and northing",
            remedy=remedy,
        )
        yield Candidate(
            "foot-kind",
            "unit",
            f"{words}, heights too",
            fixed=s.position_m * _FOOT_KIND * sign,
            how="2 ppm of all coordinates",
            remedy=remedy,
        )
    for factor, words in (
        (1.0 / _METRES_PER_FOOT, "heights of the deliverable are in feet and taken for metres"),
        (
            _METRES_PER_FOOT,
            "heights of the deliverable are metres read as feet, or those of the checkpoints are in feet",
        ),
    ):
        yield Candidate(
            "height-unit",
            "unit",
            words,
            fixed=height * (factor - 1.0),
            how="proportional to the height",
            remedy="state the unit of heights of both sides",
        )
        if s.has(0):
            yield Candidate(
                "plane-unit",
                "unit",
                words.replace("heights", "eastings and northings"),
                fixed=plane * (factor - 1.0),
                how="proportional to the coordinates",
                remedy="state the unit of the plane of both sides",
            )


def _axes(s: Sightings) -> Iterator[Candidate]:
    """Easting and northing exchanged: dE = N - E, dN = E - N."""
    if s.has(0):
        east, north = s.position_m[:, 0], s.position_m[:, 1]
        yield Candidate(
            "axes-exchanged",
            "grid",
            "easting and northing of one side are exchanged",
            fixed=np.column_stack([north - east, east - north, np.zeros(s.count)]),
            how="north minus east, and east minus north",
            remedy="state the order of the columns of the table",
        )


# --- through the layer that carries coordinates ---------------------------------------------------------


def _mistakes(
    s: Sightings, reference: Reference, at: tuple[float, float, float], context: Context
) -> Iterator[tuple[Mistake, Array]]:
    """Give each mistake with its displacement at every row: a plane through its values at three places."""
    if reference.horizontal_kind not in ("projected", "geographic"):
        return
    step_m = max(context.reach_m, 50.0)
    unit = reference.horizontal_unit
    step = step_m / 111_000.0 if unit is None else from_metres(step_m, unit)
    plan = Plan(reference, reference, "identity", "identity")

    def looked(east: float, north: float) -> dict[tuple[str, str], Mistake]:
        given = Given("middle", at[0] + east, at[1] + north, at[2])
        return {(m.kind, m.what): m for m in usual_mistakes(plan, given, context.shelf)}

    here = looked(0.0, 0.0)
    to_east, to_north = looked(step, 0.0), looked(0.0, step)
    away = s.centred_m() / step_m
    for key, mistake in here.items():
        start = _vector(mistake)
        if start is None:
            continue
        ends = [_vector(other[key]) if key in other else None for other in (to_east, to_north)]
        rates = [np.zeros(3) if end is None else end - start for end in ends]
        yield mistake, start + np.outer(away[:, 0], rates[0]) + np.outer(away[:, 1], rates[1])


def _vector(mistake: Mistake) -> Array | None:
    values = (mistake.east_m, mistake.north_m, mistake.up_m)
    return None if None in values else np.array(values, dtype=np.float64)


def _frame_sigma_m(reference: Reference) -> tuple[float, float]:
    """Give how well a difference of frames is known: an ensemble of realisations is known worse."""
    blur = (reference.ensemble_accuracy_m or 0.0) / 2.0 if reference.ensemble else 0.0
    return math.hypot(FRAME_SIGMA_M[0], blur), math.hypot(FRAME_SIGMA_M[1], blur)


def _both_ways(
    mistake: Mistake, field: Array, frame_sigma_m: tuple[float, float]
) -> Iterator[Candidate]:
    """Give the mistake on the side of the deliverable, and on that of the checkpoints.

    A mistake is mistaken minus right: of coordinates that are declared rightly and taken for something else.
    Where the numbers of one side really are in that other system, its coordinates are off by the opposite.
    """
    _, _, words = mistake.what.partition(": ")
    if mistake.kind == "frame":
        declared, _, other = words.partition(" taken for ")
        declared = declared.removesuffix(",")
        name = "global" if _GLOBAL.search(other) else _slug(other)
        remedy = f"bring both sides to {declared} by a named transformation, with the epoch"
        for sign, who, suffix in ((-1.0, "deliverable", ""), (1.0, "checkpoints", "-checkpoints")):
            yield Candidate(
                f"frame-{name}{suffix}",
                "datum",
                f"the {who} {'is' if suffix == '' else 'are'} in {other}, not in {declared} as declared",
                fixed=field * sign,
                sigma_m=frame_sigma_m,
                how=mistake.how,
                remedy=remedy,
            )
    elif mistake.kind == "height-kind":
        declared, _, other = words.removesuffix(" ones").partition(" heights taken for ")
        remedy = "carry the heights of one side over with the geoid model, once"
        for sign, who, suffix in ((-1.0, "deliverable", ""), (1.0, "checkpoints", "-checkpoints")):
            what = f"heights of the {who} are {other}, not {declared} as declared"
            if suffix and declared == "orthometric":
                what += ", or the geoid was taken off the deliverable twice"
            yield Candidate(
                f"height-kind{suffix}",
                "height",
                what,
                fixed=field * sign,
                sigma_m=(0.0, 0.01),
                how=mistake.how,
                remedy=remedy,
            )
        if declared == "orthometric":
            yield Candidate(
                "geoid-sign",
                "height",
                "the geoid was added where it is to be taken off: h + N in the place of h - N",
                fixed=-2.0 * field,
                sigma_m=(0.0, 0.01),
                how=f"twice: {mistake.how}",
                remedy=remedy,
            )
    elif mistake.kind == "geoid":
        other, _, declared = words.partition(" in the place of ")
        for sign, who, suffix in ((1.0, "deliverable", ""), (-1.0, "checkpoints", "-checkpoints")):
            yield Candidate(
                f"geoid-{_slug(other)}{suffix}",
                "height",
                f"heights of the {who} were formed with {other} in the place of {declared}",
                fixed=field * sign,
                sigma_m=(0.0, GEOID_SIGMA_M),
                how=mistake.how,
                remedy=f"form the heights of both sides with {declared}",
            )
    elif mistake.kind == "zone":
        yield Candidate(
            "utm-zone",
            "grid",
            f"the deliverable is {words}",
            fixed=field,
            how=mistake.how,
            remedy="compute both sides in one zone",
        )


def _slug(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")


def _motion(s: Sightings, context: Context) -> Iterator[Candidate]:
    """Epochs that differ: along the motion of the plate, by so many years."""
    velocity = _velocity_m_a(context)
    if velocity is None or not (s.has(0) or s.gradient.any()):
        return
    east, north, up = velocity
    yield Candidate(
        "epoch",
        "datum",
        "the two sides refer to different epochs of a frame that does not move with the plate (deliverable "
        "later: positive)",
        free=(Amount("years", "years", constant(s, east, north, up), 60.0),),
        how=f"motion of the plate here: east {east * 1e3:+.1f}, north {north * 1e3:+.1f} mm a year",
        remedy="state the epoch of both sides, and bring them to one",
    )


def _velocity_m_a(context: Context) -> tuple[float, float, float] | None:
    """Give how the plate moves here in metres a year, by the rates of its own operation."""
    reference, at = context.reference, context.at
    if reference is None or at is None or not reference.horizontal_known:
        return None
    if reference.horizontal_kind not in ("projected", "geographic"):
        return None
    unit = reference.vertical_unit or LengthUnit.METRE
    x, y, h = (np.array([v]) for v in (at[0], at[1], to_metres(at[2], unit)))
    points = to_points(replace(reference, findings=()), x, y, np.nan_to_num(h))
    if not np.isfinite(points.lon_deg).all():
        return None
    plate = plate_here(float(points.lon_deg[0]), float(points.lat_deg[0]))
    if plate is None:
        return None
    ellipsoid = ellipsoid_of_frame(FRAMES[plate.source])
    here = Points(points.lon_deg, points.lat_deg, points.h_m)
    early, late = (
        carried(here, (plate,), year, ellipsoid, ellipsoid)
        for year in (EXAMPLE_EPOCH_YEAR, EXAMPLE_EPOCH_YEAR + 1.0)
    )
    # What is fixed to the global frame moves backwards over the plate.
    east, north, up = (-float(v) for v in east_north_up_m(early, late, ellipsoid)[0])
    return east, north, up
