"""Closed forms of what an error of the aircraft does, against exact rotations and printed figures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from diagnosis_flights import CROSSING, Line, Setting, Wrong, displaced, fly
from support import assert_metres

from accuracy.diagnosis.fields import ELEMENTARY, climb_per_millisecond
from accuracy.diagnosis.records import Sightings


def _one(line: Line, across_m: float) -> Sightings:
    return Sightings(
        ids=("A",),
        place=np.zeros(1, dtype=np.intp),
        residual_m=np.zeros((1, 3)),
        position_m=np.zeros((1, 3)),
        gradient=np.zeros((1, 2)),
        line=np.array([1], dtype=np.intp),
        heading_deg=np.array([line.heading_deg]),
        across_m=np.array([across_m]),
        height_m=np.array([line.height_m]),
        speed_m_s=np.array([line.speed_m_s]),
        returns=np.ones(1),
        order=np.ones(1, dtype=np.intp),
    )


CASES = {
    "roll": (Wrong(roll_deg=0.1), 0.1),
    "pitch": (Wrong(pitch_deg=0.1), 0.1),
    "heading": (Wrong(heading_deg=0.1), 0.1),
    "lever-forward": (Wrong(lever_m=(0.05, 0.0, 0.0)), 0.05),
    "lever-right": (Wrong(lever_m=(0.0, 0.05, 0.0)), 0.05),
    "timing": (Wrong(clock_s=0.010), 10.0),
    "range": (Wrong(range_m=0.030), 0.030),
    "scan-angle-scale": (Wrong(scan_scale=0.001), 0.1),
}


@pytest.mark.parametrize("line", CROSSING, ids=lambda line: f"{line.heading_deg:g}")
@pytest.mark.parametrize("across_m", [-35.0, 0.0, 20.0, 35.0])
@pytest.mark.parametrize("name", CASES)
def test_fields_agree_with_exact_rotations(name: str, across_m: float, line: Line) -> None:
    """Each closed form gives what turning the ray by matrices gives, to 0.2 mm for errors of usual size."""
    wrong, size = CASES[name]
    predicted = ELEMENTARY[name].field(_one(line, across_m))[0] * size
    assert_metres(predicted, displaced(line, across_m, wrong), within_m=2e-4)


@pytest.mark.parametrize(
    ("name", "size", "theta_deg", "ahead_mm", "aside_mm", "up_mm"),
    [
        # Figures for 50 m and 5 m/s from the project's notes on signatures of bias, section 2.
        ("roll", 0.1, 35.0, 0.0, -87.3, -61.1),
        ("pitch", 0.1, 0.0, 87.3, 0.0, 0.0),
        ("heading", 0.1, 35.0, -61.1, 0.0, 0.0),
        ("timing", 10.0, 0.0, 50.0, 0.0, 0.0),
        ("range", 0.030, 35.0, 0.0, 17.2, -24.6),
        ("scan-angle-scale", 0.1, 35.0, 0.0, 30.5, 21.4),
    ],
)
def test_fields_have_the_printed_size(
    name: str, size: float, theta_deg: float, ahead_mm: float, aside_mm: float, up_mm: float
) -> None:
    """Flying north, forward is north and right is east; sizes and signs are those of the notes."""
    line = Line(1, 0.0)
    across_m = 50.0 * float(np.tan(np.radians(theta_deg)))
    east, north, up = ELEMENTARY[name].field(_one(line, across_m))[0] * size * 1000.0
    assert_metres([north, east, up], [ahead_mm, aside_mm, up_mm], within_m=0.06)


def test_rows_without_a_heading_are_not_moved() -> None:
    """Where nothing is known of the line, an error of the aircraft predicts nothing."""
    blind = _one(Line(1, float("nan")), float("nan"))
    assert not ELEMENTARY["roll"].field(blind).any()


def test_a_followed_plane_is_climbed_at_its_slope() -> None:
    """Over a plane that rises 10 % to the east, 1 ms at 5 m/s climbs 0.5 mm times the sine of the heading.

    Closed form. Points are so dense that the one point's worth of level ground hardly counts.
    """
    flown = fly(1, Setting(points=400, reach_m=60.0))
    position = flown.position_m.copy()
    position[:, 2] = 0.1 * (position[:, 0] - 412_000.0)
    climb = climb_per_millisecond(replace(flown, position_m=position))
    wanted = 5e-3 * 0.1 * np.sin(np.radians(flown.heading_deg))
    inside = np.abs(position[:, :2] - position[:, :2].mean(axis=0)).max(axis=1) < 40.0
    inside &= np.abs(flown.across_m) < 15.0  # where the aircraft has ground to all sides, too
    assert_metres(climb[inside, 2], wanted[inside], within_m=2e-5)
    assert not climb[:, :2].any()
    assert not climb_per_millisecond(replace(flown, heading_deg=np.full(flown.count, np.nan))).any()
