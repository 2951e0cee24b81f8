"""Causes that turn with the aircraft: boresight, lever arm, timing, range, scan angle."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from accuracy.diagnosis.candidates.context import Context
from accuracy.diagnosis.fields import ELEMENTARY, climb_per_millisecond, constant
from accuracy.diagnosis.records import Amount, Candidate, Sightings

#: Climbing is of no account where the largest clock error would lift nothing by so much, metres.
LEAST_CLIMB_M = 0.005

_WORDS = {
    "roll": (
        "boresight-roll",
        "the roll between scanner and trajectory is wrong (right side down is positive)",
        "calibrate the boresight on opposite and crossing lines, and process again",
    ),
    "pitch": (
        "boresight-pitch",
        "the pitch between scanner and trajectory is wrong (nose up is positive)",
        "calibrate the boresight on opposite and crossing lines, and process again",
    ),
    "heading": (
        "boresight-heading",
        "the heading between scanner and trajectory is wrong (clockwise is positive)",
        "calibrate the boresight on opposite and crossing lines, and process again",
    ),
    "lever-forward": (
        "lever-arm-forward",
        "the lever arm is wrong in its forward part",
        "measure the lever arm again, and look at the sign and axes that the processing wants",
    ),
    "lever-right": (
        "lever-arm-right",
        "the lever arm is wrong in its part to the right",
        "measure the lever arm again, and look at the sign and axes that the processing wants",
    ),
    "timing": (
        "timing",
        "the clocks of scanner and trajectory differ",
        "look at the time synchronisation of scanner and navigation",
    ),
    "range": (
        "range-offset",
        "the ranges of the scanner are off by a constant",
        "check the range calibration of the scanner against known distances",
    ),
    "scan-angle-scale": (
        "scan-angle-scale",
        "the scan angles of the scanner are scaled",
        "have the scan angles of the scanner calibrated",
    ),
}


def candidates(s: Sightings, _: Context) -> Iterator[Candidate]:
    """Give each where the geometry of the lines is known; the lever arm's vertical part needs none."""
    how = "closed form of a level flight, from heading, height, speed and scan angle of each line"
    if s.geometry_known.any():
        for name, (cause, what, remedy) in _WORDS.items():
            each = ELEMENTARY[name]
            free = [Amount(name, each.unit, each.field(s), each.largest)]
            if name == "timing":
                climb = climb_per_millisecond(s)
                if np.abs(climb).max() * each.largest > LEAST_CLIMB_M:
                    free.append(Amount("timing-climb", each.unit, climb, each.largest, True))
            told = how if len(free) == 1 else f"{how}; how far it climbs with the ground is fitted"
            yield Candidate(cause, "body", what, free=tuple(free), how=told, remedy=remedy)
    down = Amount("lever-down", "m", constant(s, 0, 0, -1), 0.6)
    yield Candidate(
        "lever-arm-down",
        "body",
        "the lever arm is wrong in its downward part",
        free=(down,),
        how="it does not turn with the heading: the same everywhere",
        remedy="measure the lever arm again; it is wrong in every project with this payload",
    )
