"""The simulated flight against closed forms and its own stated errors."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from support import assert_metres

from accuracy.simulation.demo_site import SITE
from accuracy.simulation.flight import (
    GROUND,
    NOISE,
    UNCLASSIFIED,
    FlightLine,
    Plants,
    Returns,
    Scanner,
    as_points,
    fire,
    georeference,
    observe,
    reach,
    spoil,
)
from accuracy.simulation.terrain import Road, Terrain

PLANTS = Plants()
SCANNER = Scanner(pulse_rate_hz=4000.0, sweep_rate_hz=20.0)
LINE = FlightLine(
    start_m=(SITE.east_m, SITE.north_m + 30.0),
    end_m=(SITE.east_m + SITE.width_m, SITE.north_m + 30.0),
    height_m=1362.0,
    start_s=1000.0,
    number=3,
)


def _fly(scanner: Scanner = SCANNER, plants: Plants = PLANTS, seed: int = 5) -> Returns:
    random = np.random.Generator(np.random.PCG64(seed))
    return observe(SITE, fire(LINE, scanner), scanner, plants, random)


def _above(points: dict[str, NDArray[Any]]) -> NDArray[np.float64]:
    return np.asarray(points["z"] - SITE.height_m(points["x"], points["y"]))


def _open_ground(points: dict[str, NDArray[Any]]) -> NDArray[np.bool_]:
    """Ground away from vegetation: a slanting beam may meet a shrub or grass just outside its circle."""
    wider = replace(
        SITE, vegetation=tuple(replace(p, radius_m=p.radius_m + 2.5) for p in SITE.vegetation)
    )
    return np.asarray(
        (points["classification"] == GROUND) & ~wider.vegetated(points["x"], points["y"])
    )


@pytest.fixture(scope="module")
def flown() -> dict[str, NDArray[Any]]:
    return as_points(_fly())


@pytest.mark.parametrize(
    ("end_m", "right_east", "right_north"),
    [((100.0, 0.0), 0, -1), ((-100.0, 0.0), 0, 1), ((0.0, 100.0), 1, 0), ((0.0, -100.0), -1, 0)],
    ids=["eastward", "westward", "northward", "southward"],
)
def test_positive_scan_angles_look_to_the_right_of_flight(
    end_m: tuple[float, float], right_east: int, right_north: int
) -> None:
    """LAS 1.4 R15 counts scan angles from nadir, negative to the left of flight (from memory)."""
    pulses = fire(FlightLine((0.0, 0.0), end_m, 50.0, 0.0, 1), SCANNER)
    to_right = pulses.direction[:, 0] * right_east + pulses.direction[:, 1] * right_north
    np.testing.assert_allclose(
        to_right, np.sin(np.radians(pulses.scan_angle_deg)), rtol=0, atol=1e-12
    )
    np.testing.assert_allclose(np.linalg.norm(pulses.direction, axis=1), 1.0, rtol=0, atol=1e-12)
    assert (pulses.direction[:, 2] < 0).all()


def test_pulses_keep_time_and_place() -> None:
    """Pulse number n leaves n / rate seconds after the start, speed times that along the track."""
    pulses = fire(LINE, SCANNER)
    assert len(pulses.gps_time_s) == int(SITE.width_m / 5.0 * 4000)
    assert_metres(np.diff(pulses.gps_time_s), 1 / 4000, within_m=1e-9)
    assert_metres(
        pulses.origin_m[:, 0] - SITE.east_m, 5.0 * (pulses.gps_time_s - 1000.0), within_m=1e-7
    )
    assert_metres(pulses.origin_m[:, 1], SITE.north_m + 30.0, within_m=1e-9)
    assert_metres(pulses.origin_m[:, 2], 1362.0, within_m=1e-9)
    assert pulses.scan_angle_deg.min() == -35.0
    assert 34.0 < pulses.scan_angle_deg.max() < 35.0


def test_a_beam_meets_a_plane_where_geometry_says() -> None:
    """Range to a tilted plane: height of the sensor over it, divided by the closing rate (closed form)."""
    nowhere = Road(0.0, -1e4, 0.0, 90.0, 0.0, 1.0, 1.0)
    plane = Terrain(0.0, 0.0, 96.0, 60.0, 10.0, 0.1, -0.2, (), nowhere, (), ())
    pulses = fire(FlightLine((0.0, 30.0), (96.0, 30.0), 55.0, 0.0, 1), SCANNER)
    east, north, up = pulses.direction.T
    over_m = 55.0 - (10.0 + 0.1 * pulses.origin_m[:, 0] - 0.2 * pulses.origin_m[:, 1])
    assert_metres(reach(plane, pulses), over_m / (0.1 * east - 0.2 * north - up), within_m=1e-6)


def test_without_noise_every_return_lies_on_the_terrain() -> None:
    """Range search and georeferencing undo each other: exact ranges give points on the ground."""
    flawless = replace(SCANNER, range_noise_m=0.0)
    points = as_points(_fly(flawless))
    bare = _open_ground(points)
    assert bare.sum() > 50_000
    assert_metres(_above(points)[bare], 0.0, within_m=1e-6)


def test_a_surface_above_the_ground_is_met_at_that_height() -> None:
    """Canopy heights are heights above the soil straight below the return."""
    pulses = fire(LINE, SCANNER)
    above_m = np.random.Generator(np.random.PCG64(1)).uniform(0, 3, len(pulses.gps_time_s))
    east_m, north_m, up_m = georeference(pulses, reach(SITE, pulses, above_m)).T
    assert_metres(up_m - SITE.height_m(east_m, north_m), above_m, within_m=1e-6)


def test_a_beam_that_cannot_meet_the_ground_is_an_error() -> None:
    """Ground steeper than the beams is refused, not answered wrongly."""
    wall = replace(SITE, slope_north=5.0)
    with pytest.raises(ArithmeticError, match="too steep"):
        reach(wall, fire(LINE, SCANNER))


def test_open_ground_is_unbiased_with_the_noise_of_the_scanner(
    flown: dict[str, NDArray[Any]],
) -> None:
    """Mean within three standard errors of zero; spread is the range noise seen at the scan angle.

    On a slope a range error r also moves the point sideways; height above ground then changes by
    r (cos a + slope * sin a), and the slope terms cancel over both sides of the line to first order.
    """
    bare = _open_ground(flown)
    above_m = _above(flown)[bare]
    expected_m = 0.012 * np.sqrt(np.mean(np.cos(np.radians(flown["scan_angle_deg"][bare])) ** 2))
    assert abs(above_m.mean()) < 3 * expected_m / np.sqrt(len(above_m))
    assert above_m.std() == pytest.approx(expected_m, rel=0.02)


def test_grass_raises_and_thins_the_ground(flown: dict[str, NDArray[Any]]) -> None:
    """In vegetation about a third of the pulses give ground, 6 cm too high on average, never far below."""
    green = SITE.vegetated(flown["x"], flown["y"])
    ground = flown["classification"] == GROUND
    above_m = _above(flown)[green & ground]
    spread_m = np.hypot(PLANTS.grass_std_m, 0.012)
    assert abs(above_m.mean() - PLANTS.grass_mean_m) < 4 * spread_m / np.sqrt(len(above_m))
    assert above_m.std() == pytest.approx(spread_m, rel=0.06)
    pulses = fire(LINE, SCANNER)
    foot = georeference(pulses, reach(SITE, pulses))
    fired = SITE.vegetated(foot[:, 0], foot[:, 1]).sum()
    assert (green & ground).sum() / fired == pytest.approx(PLANTS.ground_share, abs=0.03)


def test_shrubs_are_above_the_ground_and_unclassified(flown: dict[str, NDArray[Any]]) -> None:
    """Class 1 stands between the lowest and the highest shrub, give or take five times the range noise."""
    above_m = _above(flown)[flown["classification"] == UNCLASSIFIED]
    assert len(above_m) > 1000
    assert above_m.min() > 0.6 - 0.06
    assert above_m.max() < 2.8 + 0.06


def test_two_returns_of_one_pulse_belong_together(flown: dict[str, NDArray[Any]]) -> None:
    """Of two returns the first is a shrub and the second, of the same pulse, is ground; others are single."""
    first = np.flatnonzero((flown["number_of_returns"] == 2) & (flown["return_number"] == 1))
    second = np.flatnonzero(flown["return_number"] == 2)
    assert len(first) > 100
    np.testing.assert_array_equal(second, first + 1)
    np.testing.assert_array_equal(flown["gps_time"][first], flown["gps_time"][second])
    assert set(flown["classification"][first]) == {UNCLASSIFIED}
    assert set(flown["classification"][second]) == {GROUND}
    single = flown["number_of_returns"] == 1
    assert single.sum() + 2 * len(first) == len(single)
    times = flown["gps_time"]
    assert len(np.unique(times)) == single.sum() + len(first)
    assert (np.diff(times) >= 0).all()


def test_spoiling_changes_what_it_says_and_nothing_else() -> None:
    """Noise is class 7 and far off, every other one withheld; withheld ground is 0.4 m too near."""
    good = _fly()
    bad = spoil(good, np.random.Generator(np.random.PCG64(2)), noise=10, withheld=15)
    moved_m = bad.range_m - good.range_m
    noise, false_ground = bad.classification == NOISE, bad.withheld & (bad.classification == GROUND)
    assert (noise.sum(), false_ground.sum(), (noise & bad.withheld).sum()) == (10, 15, 5)
    assert ((np.abs(moved_m[noise]) >= 2.0) & (np.abs(moved_m[noise]) <= 6.0)).all()
    assert_metres(moved_m[false_ground], -0.4, within_m=1e-9)
    assert not moved_m[~noise & ~false_ground].any()
    assert not good.withheld.any()


def test_the_road_is_darker_than_gravel_and_plants_brighter(flown: dict[str, NDArray[Any]]) -> None:
    """Intensity tells surfaces apart (invented brightness)."""
    road = SITE.on_road(flown["x"], flown["y"])
    green = SITE.vegetated(flown["x"], flown["y"])
    dark, plain, bright = (
        np.median(flown["intensity"][which]) for which in (road, ~road & ~green, green)
    )
    assert dark < plain < bright
