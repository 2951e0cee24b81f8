"""Georeferencing of the simulation: rotations by an independent library, round trips, the error budget."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation
from simulation_budget import ratios
from support import assert_metres

from accuracy.budget import predict
from accuracy.job.sections import Flight as PlannedFlight
from accuracy.job.sections import Sensor
from accuracy.simulation.memory import prepare
from accuracy.simulation.returns import observe
from accuracy.simulation.scenarios import SILENT, scenario
from accuracy.simulation.sensing import (
    Mounting,
    georeference,
    observe_back,
    pulses_of,
    turned,
    turned_back,
)

Array = NDArray[np.float64]
FLIGHTS = 80
angles = st.floats(-80.0, 80.0)


@given(roll=angles, pitch=angles, heading=st.floats(-180.0, 360.0))
def test_rotations_are_those_of_scipy(roll: float, pitch: float, heading: float) -> None:
    """Intrinsic z-y-x in north, east, down is roll, pitch, heading of the trade; turning back undoes it."""
    vector = np.array([[0.3, -1.2, 2.5]])
    attitude = np.array([roll, pitch, heading])
    theirs = Rotation.from_euler("ZYX", [heading, pitch, roll], degrees=True).apply(vector)
    parts = (vector[:, 0], vector[:, 1], vector[:, 2])
    ours = turned(parts, attitude)
    np.testing.assert_allclose(np.column_stack(ours), theirs, rtol=0, atol=1e-12)
    np.testing.assert_allclose(
        np.column_stack(turned_back(ours, attitude)), vector, rtol=0, atol=1e-12
    )


@given(
    attitude=st.tuples(st.floats(-20, 20), st.floats(-20, 20), st.floats(0, 360)),
    sight=st.tuples(*[st.floats(-3, 3)] * 3),
    arm=st.tuples(*[st.floats(-1, 1)] * 3),
    angle=st.floats(-45, 45),
    range_m=st.floats(10, 200),
)
def test_points_lead_back_to_range_and_angle(
    attitude: tuple[float, float, float],
    sight: tuple[float, float, float],
    arm: tuple[float, float, float],
    angle: float,
    range_m: float,
) -> None:
    """What was georeferenced gives the same range, scan angle and scan plane on the way back."""
    mount = Mounting(arm, sight, range_offset_m=0.03, scan_scale=0.001)
    position = np.array([[412_000.0, 4_541_000.0, 1360.0]])
    state = position, np.array([attitude]), mount
    point = georeference(*state, np.array([angle]), np.array([range_m]))
    angle_back, range_back, ahead = observe_back(*state, point)
    assert abs(float(angle_back[0]) - angle) < 1e-7
    assert_metres(range_back, range_m, within_m=1e-8)
    assert_metres(ahead, 0.0, within_m=1e-8)


@pytest.mark.parametrize("name", ["flat", "hills", "two-heights", "corridor"])
def test_a_silent_flight_lies_on_the_terrain(name: str) -> None:
    """Without noise and faults every ground point is where its beam ended, and that is on the ground."""
    flight = prepare(scenario(name).with_noise(SILENT), {}, 1)
    track = flight.motion.tracks[1]
    pulses = pulses_of(
        flight.motion, track, flight.scenario.payload, np.arange(90_000, 97_000, dtype=np.int64)
    )
    returns = observe(flight.scenario, 1, pulses, spoiled=False)
    made_m = flight.delivered_m(pulses, returns) - flight.origin_m()
    assert_metres(made_m, returns.true_m, within_m=1e-7)
    ground = (returns.kind == 0) & (returns.number_of_returns == 1)
    ground &= ~flight.scenario.landscape.terrain.vegetated(
        *(returns.true_m[:, :2] + flight.origin_m()[:2]).T
    )
    at = returns.true_m[ground]
    assert len(at) > 3000
    terrain = flight.scenario.landscape.terrain
    up_m = terrain.height_m(at[:, 0] + terrain.east_m, at[:, 1] + terrain.north_m)
    assert_metres(at[:, 2], up_m, within_m=1e-6)


def _jacobian(angle_deg: float, height_m: float) -> dict[str, Array]:
    """Change of a point (along, across, up) per unit of each input, by differences; level, heading north."""
    angle = np.radians(angle_deg)
    range_m = height_m / np.cos(angle)

    def point(**change: float) -> Array:
        sight = (change.get("roll", 0.0), change.get("pitch", 0.0), change.get("heading", 0.0))
        mount = Mounting((change.get("forward", 0.0), 0.0, 0.0), sight, change.get("range", 0.0))
        at = np.array([[0.0, 0.0, change.get("up", 0.0)]])
        scan = angle_deg + change.get("scan", 0.0)
        made = georeference(at, np.zeros((1, 3)), mount, np.array([scan]), np.array([range_m]))
        return made[0][[1, 0, 2]]

    step = 1e-4
    names = ("roll", "pitch", "heading", "range", "scan", "forward", "up")
    return {name: (point(**{name: step}) - point(**{name: -step})) / (2 * step) for name in names}


@pytest.mark.parametrize("angle_deg", [-35.0, 0.0, 20.0, 35.0])
def test_sensitivities_are_the_closed_ones(angle_deg: float) -> None:
    """A numeric Jacobian of the georeferencing equation gives the terms of the error budget."""
    jacobian = _jacobian(angle_deg, 50.0)
    flight = PlannedFlight(height_m=50.0, largest_scan_angle_deg=abs(angle_deg) or 0.001)
    roll_pitch, heading = 0.015, 0.05
    sensor = Sensor(
        gnss_axis_m=0.0,
        gnss_height_m=0.0,
        roll_pitch_deg=roll_pitch,
        heading_deg=heading,
        range_m=0.02,
        scan_deg=0.01,
    )
    terms = {term.cause: term for term in predict(flight, sensor).terms}
    parts = {
        "attitude": [
            jacobian["roll"] * roll_pitch,
            jacobian["pitch"] * roll_pitch,
            jacobian["heading"] * heading,
        ],
        "range": [jacobian["range"] * 0.02],
        "scan angle": [jacobian["scan"] * 0.01],
    }
    for cause, vectors in parts.items():
        found = np.sqrt(np.sum(np.square(vectors), axis=0))
        term = terms[cause]
        assert_metres(found, (term.along_m, term.across_m, term.up_m), within_m=1e-5)


def test_the_budget_predicts_the_spread_of_simulated_points() -> None:
    """Standard deviations over flights agree with the error budget, along, across and up.

    Flights of random calibration, position, attitude, range and scan angle; some pulses of every pass. The
    passes of a flight share its calibration and part of its wander: of 80 flights, some 200 values are
    free, which makes 5 % (one sigma) of a standard deviation.
    """
    np.testing.assert_allclose(ratios(range(FLIGHTS)), 1.0, rtol=0, atol=0.12)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 1000))
def test_wander_reaches_every_moment_of_the_flight(seed: int) -> None:
    """The errors of the trajectory are there before, between and after the passes."""
    flight = prepare(scenario("flat"), {}, seed)
    tracks = flight.motion.tracks
    times = np.array([tracks[0].start_s - 20.0, tracks[1].start_s - 3.0, tracks[-1].end_s + 20.0])
    position_m, attitude_deg = flight.motion.errors(times)
    assert np.isfinite(position_m).all()
    assert (np.abs(position_m) < 0.1).all()
    assert (np.abs(attitude_deg) < 0.1).all()
