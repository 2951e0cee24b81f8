"""The rule for naming a cause, on flights that are turned by exact rotations and have errors of known size."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from functools import cache

import numpy as np
import pytest
from diagnosis_flights import TWO_HEIGHTS, Line, Setting, Wrong, fly

from accuracy.diagnosis.candidates import Context
from accuracy.diagnosis.diagnosing import diagnose_sightings
from accuracy.diagnosis.records import Diagnosis
from accuracy.georeferencing.declaration import declared

Array = np.ndarray
AT = (412_000.0, 4_541_000.0, 1300.0)


@cache
def _context() -> Context:
    reference = replace(declared("EPSG:6341+5703", geoid="GEOID18"), epoch_year=2025.0)
    return Context(reference=reference, surveyed=reference, at=AT, given_at=AT, reach_m=200.0)


def _diagnosed(
    seed: int,
    wrong: Wrong | None = None,
    mapped: Callable[[Array], Array] | None = None,
    setting: Setting | None = None,
    context: Context | None = None,
) -> Diagnosis:
    setting = setting or Setting(lines=TWO_HEIGHTS)
    return diagnose_sightings(fly(seed, setting, wrong, mapped), context or _context())


def _up(value: float) -> Callable[[Array], Array]:
    return lambda place: np.tile([0.0, 0.0, value], (len(place), 1))


@pytest.mark.parametrize(
    ("cause", "wrong", "truth"),
    [
        ("boresight-roll", Wrong(roll_deg=0.06), 0.06),
        ("boresight-pitch", Wrong(pitch_deg=-0.12), -0.12),
        ("boresight-heading", Wrong(heading_deg=0.12), 0.12),
        ("lever-arm-forward", Wrong(lever_m=(-0.12, 0.0, 0.0)), -0.12),
        ("lever-arm-right", Wrong(lever_m=(0.0, 0.10, 0.0)), 0.10),
        ("timing", Wrong(clock_s=0.030), 30.0),
        ("range-offset", Wrong(range_m=0.08), 0.08),
    ],
)
def test_an_error_of_the_aircraft_is_named(cause: str, wrong: Wrong, truth: float) -> None:
    """With crossing lines, two heights, several speeds and targets each is named, its size within 3 sigma."""
    found = _diagnosed(31, wrong)
    assert found.conclusion == "named"
    (named,) = found.listed
    assert named.names == (cause,)
    (amount,) = named.amounts
    assert abs(amount.value - truth) <= 3.0 * amount.sigma


def test_nothing_wrong_names_nothing() -> None:
    """Flights without any error have nothing to explain; ten of ten."""
    for seed in range(40, 50):
        assert _diagnosed(seed).conclusion == "nothing-to-explain"


def test_heights_that_are_off_everywhere_name_no_one() -> None:
    """A constant in height has several causes that look alike: all are listed, and what would tell."""
    found = _diagnosed(3, mapped=_up(0.07))
    assert found.conclusion == "consistent"
    names = {s.names for s in found.listed}
    assert {
        ("lever-arm-down",),
        ("base-height-unexplained",),
        ("height-reference-unexplained",),
    } <= names
    assert any("second project" in text for text in found.tell_apart)
    assert "No single cause can be named" in found.text


def _log(up_m: float) -> dict[str, object]:
    effect = {"east_m": 0.0, "north_m": 0.0, "up_m": up_m}
    return {
        "cause": "slant-as-vertical",
        "severity": "blocking",
        "what": "a slant typed as vertical",
        "effect": effect,
        "sigma": None,
        "consistent_with": [],
        "remedy": "process again",
    }


def test_what_the_base_s_log_shows_is_named() -> None:
    """The same constant is named where the log of the base shows a mistake of just this size."""
    context = replace(_context(), base={"checks": [_log(0.068)]})
    found = _diagnosed(3, mapped=_up(0.07), context=context)
    assert found.conclusion == "named"
    assert found.listed[0].names == ("slant-as-vertical",)


def test_what_the_log_shows_is_not_named_where_it_does_not_fit() -> None:
    """A mistake in the log of another size than the residuals show explains nothing."""
    context = replace(_context(), base={"checks": [_log(0.15)]})
    found = _diagnosed(3, mapped=_up(0.07), context=context)
    assert ("slant-as-vertical",) not in {s.names for s in found.listed}


def test_survey_from_the_same_base_hides_its_mistakes() -> None:
    """Where the checkpoints hang on the same base its mistakes cancel: not a candidate, and that is said."""
    context = replace(_context(), base={"checks": [_log(0.07)], "survey_from_same_base": True})
    found = _diagnosed(3, mapped=_up(0.07), context=context)
    assert ("slant-as-vertical",) not in {s.names for s in found.scored}
    assert "same base" in found.text


def test_a_frame_is_named_by_direction_and_height() -> None:
    """A cloud left in the global frame is named: ITRF minus NAD83(2011), by the parameters written out."""
    # ITRF2014 minus NAD83(2011) at 41.02 N 112.05 W, 2025.0, from the operation's fourteen parameters written
    # out (EPSG:8970, coordinate frame rotation) in a separate computation; east, north along the grid, up.
    shift = _itrf_minus_nad83()
    found = _diagnosed(9, mapped=lambda place: np.tile(shift, (len(place), 1)))
    assert found.conclusion == "named"
    assert found.listed[0].names == ("frame-global",)


def _itrf_minus_nad83() -> Array:
    """Fourteen parameters of EPSG:8970 (ITRF2014 to NAD83(2011)), applied by hand at the middle of the site."""
    lon, lat, h = np.radians(-112.046), np.radians(41.015), 1283.0
    a, f = 6378137.0, 1 / 298.257222101
    e2 = f * (2 - f)
    n = a / np.sqrt(1 - e2 * np.sin(lat) ** 2)
    x = np.array(
        [
            (n + h) * np.cos(lat) * np.cos(lon),
            (n + h) * np.cos(lat) * np.sin(lon),
            (n * (1 - e2) + h) * np.sin(lat),
        ]
    )
    years, mas = 2025.0 - 2010.0, np.pi / 180 / 3.6e6
    t = np.array([1.0053, -1.9092, -0.5416]) + years * np.array([0.00079, -0.0006, -0.00144])
    r = (
        np.array([26.7814, -0.4203, 10.9321]) + years * np.array([0.06667, -0.75744, -0.05133])
    ) * mas
    d = (0.36891 + years * -0.07201) * 1e-9
    moved = t + d * x - np.cross(r, x)  # NAD83 minus ITRF; coordinate frame rotation
    east = np.array([-np.sin(lon), np.cos(lon), 0.0])
    up = np.array([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])
    north = np.cross(up, east)
    return -np.array([moved @ east, moved @ north, moved @ up])


def test_flat_heights_alone_say_what_they_are_blind_to() -> None:
    """Heights on flat ground do not see a pitch error, name nothing, and say so."""
    setting = Setting(targets=False, slope=0.0, lines=TWO_HEIGHTS)
    found = _diagnosed(5, Wrong(pitch_deg=0.3), setting=setting)
    assert found.conclusion == "nothing-to-explain"
    assert any("blind" in text and "pitch" in text for text in found.blind)
    states = {p.name: p.state for p in found.parameters}
    assert states["pitch"] == "blind"
    assert states["shift-up"] != "blind"


def test_one_direction_alone_does_not_tell_aircraft_from_map() -> None:
    """Seen from one direction only, look-alikes of the aircraft are listed together, none is named."""
    lines = (Line(1, 20.0), Line(2, 20.0), Line(3, 20.0))
    found = _diagnosed(6, Wrong(lever_m=(0.15, 0.0, 0.0)), setting=Setting(lines=lines))
    assert found.conclusion == "consistent"
    assert {("lever-arm-forward",), ("boresight-pitch",), ("timing",)} <= {
        s.names for s in found.listed
    }
    assert any("opposite or crossing" in text for text in found.blind)


def test_two_causes_together_name_no_wrong_one() -> None:
    """Roll and a clock that is off are not named as one other cause; both stand in the pair that is listed."""
    found = _diagnosed(8, Wrong(roll_deg=0.08, clock_s=0.04))
    assert found.conclusion in ("named", "consistent")
    assert set(found.listed[0].names) == {"boresight-roll", "timing"}


def test_too_few_points_say_nothing() -> None:
    """Three points are no basis for a cause."""
    found = _diagnosed(1, setting=Setting(points=3))
    assert found.conclusion == "no-residuals"
    assert "too few" in found.text


def test_huge_errors_are_no_fault_of_the_tool() -> None:
    """Exchanged axes give residuals of thousands of kilometres, and their name."""
    sightings = fly(2, Setting(lines=TWO_HEIGHTS))
    place = sightings.position_m
    moved = np.column_stack(
        [place[:, 1] - place[:, 0], place[:, 0] - place[:, 1], np.zeros(len(place))]
    )
    flat = replace(
        sightings, gradient=np.zeros((len(place), 2)), residual_m=sightings.residual_m + moved
    )
    found = diagnose_sightings(flat, _context())
    assert found.conclusion == "named"
    assert found.listed[0].names == ("axes-exchanged",)


def test_the_order_of_rows_changes_nothing() -> None:
    """What a cause leaves is the same whatever rounding does: rows in another order are the same flight.

    Directions of the general fit that are the cause itself were rounding noise scaled up to full length.
    """
    sightings = fly(3, Setting(lines=TWO_HEIGHTS), None, _up(0.07))
    order = np.random.default_rng(1).permutation(sightings.count)
    shuffled = replace(
        sightings,
        **{
            field.name: value[order]
            for field in fields(sightings)
            if isinstance(value := getattr(sightings, field.name), np.ndarray)
            and value.shape[:1] == (sightings.count,)
            and field.name not in ("order",)
        },
    )
    one, other = (diagnose_sightings(its, _context()) for its in (sightings, shuffled))
    left = {s.names: s.leftover for s in one.scored if s.leftover <= s.bound}
    again = {s.names: s.leftover for s in other.scored}
    assert ("lever-arm-down",) in left
    for names, value in left.items():
        assert abs(value - again[names]) < 0.05, names
