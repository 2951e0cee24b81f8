"""Headings, heights and distances aside, from times and angles alone and from a trajectory."""

from __future__ import annotations

import numpy as np
import pytest

from accuracy.diagnosis.lines import crossings
from accuracy.gps_time import ADJUSTED_S, WEEK_S


def _scene(heading_deg: float, height_m: float, speed_m_s: float) -> dict[str, np.ndarray]:
    """Points of one line: where a scanner across the track sees them, by plain trigonometry."""
    rng = np.random.default_rng(3)
    along, across = rng.uniform(0.0, 150.0, 20), rng.uniform(-30.0, 30.0, 20)
    psi = np.radians(heading_deg)
    east = 412_000.0 + along * np.sin(psi) + across * np.cos(psi)
    north = 4_541_000.0 + along * np.cos(psi) - across * np.sin(psi)
    return {
        "line": np.full(20, 7, dtype=np.intp),
        "position_m": np.column_stack([east, north, np.full(20, 1300.0)]),
        "scan_angle_deg": np.degrees(np.arctan2(across, height_m)),
        "gps_time": 400_000.0 + along / speed_m_s,
        "across": across,
    }


@pytest.mark.parametrize("heading_deg", [0.0, 90.0, 200.0, 315.0])
def test_times_and_angles_give_the_line(heading_deg: float) -> None:
    """Without a trajectory the times tell heading and speed, the angles height and distance aside."""
    scene = _scene(heading_deg, 50.0, 5.0)
    across = scene.pop("across")
    found = crossings(**scene, trajectory={})
    turned = (found.heading_deg - heading_deg + 180.0) % 360.0 - 180.0
    assert np.abs(turned).max() < 0.01
    assert np.abs(found.speed_m_s - 5.0).max() < 0.001
    assert np.abs(found.height_m - 50.0).max() < 0.01
    assert np.abs(found.across_m - across).max() < 0.01


@pytest.mark.parametrize("offset_s", [0.0, ADJUSTED_S, 400.0 * WEEK_S])
def test_trajectory_is_found_whichever_way_time_is_stored(offset_s: float) -> None:
    """Seconds of the week, adjusted standard time and GPS seconds all lead to the line of the trajectory."""
    scene = _scene(40.0, 50.0, 5.0)
    del scene["across"]
    scene["gps_time"] = scene["gps_time"][:3]
    scene = {
        key: value[:3] for key, value in scene.items()
    }  # too few to say anything by themselves
    start = 400_000.0 + offset_s
    line = {
        "start_s": start - 1.0,
        "end_s": start + 60.0,
        "heading_deg": 40.0,
        "speed_m_s": 5.0,
        "height_above_ground_m": 50.0,
    }
    found = crossings(**scene, trajectory={"lines": [line]})
    assert np.isfinite(found.across_m).all()
    assert (found.heading_deg == 40.0).all()


def test_points_in_a_row_tell_no_heading() -> None:
    """Points all below one another leave the direction open, and it is not guessed."""
    scene = _scene(90.0, 50.0, 5.0)
    del scene["across"]
    scene["position_m"][:, 1] = 4_541_000.0
    scene["scan_angle_deg"][:] = 0.0
    found = crossings(**scene, trajectory={})
    assert np.isnan(found.heading_deg).all()


def test_times_that_jump_are_not_believed() -> None:
    """Times that do not rise along any direction give no heading."""
    scene = _scene(90.0, 50.0, 5.0)
    del scene["across"]
    scene["gps_time"] = np.random.default_rng(1).uniform(4e5, 4.001e5, 20)
    found = crossings(**scene, trajectory={})
    assert np.isnan(found.heading_deg).all()
