"""Causes without a size known beforehand that move, tilt, scale or turn the whole map."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from accuracy.diagnosis.candidates.context import Context
from accuracy.diagnosis.fields import ELEMENTARY
from accuracy.diagnosis.records import Amount, Candidate, Sightings

#: The geoid lies up to some 110 m off the ellipsoid.
_LARGEST_N_M = 110.0


def _amounts(s: Sightings, *names: str, nuisance: tuple[str, ...] = ()) -> tuple[Amount, ...]:
    return tuple(
        Amount(
            name,
            ELEMENTARY[name].unit,
            ELEMENTARY[name].field(s),
            ELEMENTARY[name].largest,
            name in nuisance,
        )
        for name in (*names, *nuisance)
    )


def candidates(s: Sightings, context: Context) -> Iterator[Candidate]:
    """Give pairs of causes that no residual of one project tells apart, so that neither is named alone."""
    heights = s.has(2)
    plane = s.has(0) or bool(s.gradient.any())
    if heights:
        up = _amounts(s, "shift-up")
        yield Candidate(
            "base-height-unexplained",
            "base",
            "the base was held too high or too low, which its files do not show",
            free=up,
            remedy="hold the base's height against the log sheet, the RINEX header and a second solution",
        )
        yield Candidate(
            "height-reference-unexplained",
            "height",
            "heights of one side rest on another geoid model or benchmark than stated, not in the catalogue",
            free=tuple(replace(amount, largest=_LARGEST_N_M) for amount in up),
            remedy="ask both survey and processing which geoid model and benchmark their heights rest on",
        )
        tilt = _amounts(s, "tilt-east", "tilt-north", nuisance=("shift-up",))
        yield Candidate(
            "height-tilt-geoid",
            "height",
            "heights of one side were formed with a geoid that slopes otherwise across the site",
            free=tilt,
            remedy="compare the geoid models of both sides at two corners of the site",
        )
        yield Candidate(
            "height-tilt-adjustment",
            "grid",
            "an adjustment to control tilted the heights of one side",
            free=tilt,
            remedy="look at the residuals of the adjustment, or process again without it",
        )
    if plane:
        shift = _amounts(s, "shift-east", "shift-north")
        whole = (*shift, *_amounts(s, "shift-up")) if heights else shift
        yield Candidate(
            "base-position-unexplained",
            "base",
            "the base was held at a wrong position (autonomous, or another mark), which its files do not show",
            free=whole,
            remedy="hold the base's coordinates against those published, and against a static solution",
        )
        yield Candidate(
            "frame-unexplained",
            "datum",
            "one side is in a frame that is not in the catalogue",
            free=whole,
            remedy="ask both survey and processing for frame, realisation and epoch",
        )
    if s.has(0):
        both = ("shift-east", "shift-north")
        yield Candidate(
            "scale-unexplained",
            "grid",
            "one side is scaled by a factor that the site's projection does not explain",
            free=_amounts(s, "scale", nuisance=both),
            remedy="ask both sides for scale factors and ground coordinates",
        )
        yield Candidate(
            "rotation-unexplained",
            "grid",
            "one side is turned by an angle that the site's convergence does not explain",
            free=_amounts(s, "rotation", nuisance=both),
            remedy="ask both sides which north their azimuths refer to",
        )
        yield Candidate(
            "site-adjustment",
            "grid",
            "one side was adjusted to control by a similarity (shift, scale and rotation)",
            free=_amounts(s, "scale", "rotation", nuisance=both),
            remedy="look at the residuals of the adjustment, or process again without it",
        )
