"""What would tell look-alikes apart: the test for each pair of causes, else for each pair of families."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from types import MappingProxyType

from accuracy.diagnosis.records import Candidate

_TWO_HEIGHTS = (
    "fly one line at two heights: only what comes from an angle grows with the height above ground"
)
_TWO_SPEEDS = "fly one line at two speeds: only what comes from the clock grows with the speed"
_CROSSING = (
    "fly opposite and crossing lines over targets with a horizontal definition: what belongs to the "
    "aircraft turns with it, what belongs to the map does not"
)
_SECOND_DAY = (
    "test a second project of the same payload from another set-up: the lever arm comes along, the base "
    "does not"
)
_ELSEWHERE = "survey checkpoints some kilometres away: geoid and frame change with the place, the base does not"

_PAIRS: Mapping[frozenset[str], str] = MappingProxyType(
    {
        frozenset({"boresight-pitch", "lever-arm-forward"}): _TWO_HEIGHTS,
        frozenset({"boresight-pitch", "timing"}): f"{_TWO_HEIGHTS}; {_TWO_SPEEDS}",
        frozenset({"timing", "lever-arm-forward"}): _TWO_SPEEDS,
        frozenset({"boresight-roll", "lever-arm-right"}): (
            "place checkpoints near the edges of the swath: roll tilts the swath, the lever arm does not"
        ),
        frozenset({"boresight-heading", "boresight-pitch"}): (
            "place targets below the track and at both edges: heading does nothing below the track"
        ),
        frozenset({"range-offset", "lever-arm-down"}): (
            "place checkpoints below the track and at the edges of the swath: a range offset shrinks with the "
            "cosine of the scan angle"
        ),
        frozenset({"lever-arm-down", "base-height-unexplained"}): _SECOND_DAY,
        frozenset({"range-offset", "base-height-unexplained"}): _SECOND_DAY,
        frozenset({"height-reference-unexplained", "base-height-unexplained"}): (
            "measure one levelled benchmark with a rover from the same base, and look up the geoid model of "
            "both sides"
        ),
        frozenset({"base-position-unexplained", "frame-unexplained"}): (
            "hold the base's coordinates against a static solution in a named frame and epoch"
        ),
        frozenset({"height-tilt-geoid", "height-tilt-adjustment"}): (
            "look whether the processing adjusted to control, and compare the geoid models at two corners"
        ),
    }
)

_FAMILIES: Mapping[frozenset[str], str] = MappingProxyType(
    {
        frozenset({"body"}): f"{_TWO_HEIGHTS}; {_TWO_SPEEDS}",
        frozenset({"base", "body"}): _SECOND_DAY,
        frozenset({"height", "body"}): _SECOND_DAY,
        frozenset({"base", "height"}): _ELSEWHERE,
        frozenset({"datum", "base"}): (
            "hold the base's coordinates against a static solution in a named frame and epoch"
        ),
        frozenset({"datum", "body"}): _CROSSING,
        frozenset({"grid", "body"}): _CROSSING,
        frozenset({"unit", "body"}): _CROSSING,
        frozenset({"datum"}): "ask both sides for the realisation and epoch of their coordinates",
        frozenset(
            {"base"}
        ): "look up log sheet, RINEX header and processing report of the base for the numbers given",
        frozenset(
            {"height"}
        ): "ask both sides which geoid model and which kind of height they used",
        frozenset({"survey", "height"}): "survey two points of that session again with another rod",
        frozenset({"survey", "base"}): "survey two points of that session again with another rod",
        frozenset({"survey", "body"}): "survey two points of that session again with another rod",
        frozenset(
            {"grid"}
        ): "survey targets farther apart, or ask for scale factor and point of origin of both sides",
    }
)
_ELSE = (
    "hold the statements of both sides (units, frames, heights, log of the base) against each other"
)
MOST = 3


def tell_apart(causes: Sequence[Candidate]) -> tuple[str, ...]:
    """Say what would tell the causes apart, the best of them first; at most three pieces of advice."""
    return tuple(dict.fromkeys(_advice(causes)))[:MOST]


def _advice(causes: Sequence[Candidate]) -> Iterator[str]:
    for one, other in combinations(causes, 2):
        pair = _PAIRS.get(frozenset({one.cause, other.cause}))
        yield pair or _FAMILIES.get(frozenset({one.family, other.family}), _ELSE)
