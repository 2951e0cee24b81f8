"""Causes that turn with the aircraft: boresight, lever arm, timing, range, scan angle."""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.diagnosis.candidates.context import Context
from accuracy.diagnosis.fields import ELEMENTARY, constant
from accuracy.diagnosis.records import Amount, Candidate, Sightings

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
            amount = Amount(name, each.unit, each.field(s), each.largest)
            yield Candidate(cause, "body", what, free=(amount,), how=how, remedy=remedy)
    down = Amount("lever-down", "m", constant(s, 0, 0, -1), 0.6)
    yield Candidate(
        "lever-arm-down",
        "body",
        "the lever arm is wrong in its downward part",
        free=(down,),
        how="it does not turn with the heading: the same everywhere",
        remedy="measure the lever arm again; it is wrong in every project with this payload",
    )
