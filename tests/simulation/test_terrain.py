"""The invented ground: what is known of it exactly."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import assert_metres

from accuracy.simulation.demo_site import SITE
from accuracy.simulation.terrain import Pad, Patch, Road, Terrain, Wave

NOWHERE = Road(0.0, -1000.0, 0.0, 90.0, 0.0, 1.0, 1.0)
PLANE = Terrain(500.0, 800.0, 100.0, 100.0, 20.0, 0.03, -0.05, (), NOWHERE, (), ())

easts = st.floats(0.0, SITE.width_m)
norths = st.floats(0.0, SITE.depth_m)


def _at(east_m: float, north_m: float) -> tuple[np.ndarray, np.ndarray]:
    return np.array([SITE.east_m + east_m]), np.array([SITE.north_m + north_m])


@given(easts, norths)
def test_the_gradient_is_the_derivative_of_the_height(east_m: float, north_m: float) -> None:
    """Gradient and central differences agree anywhere, pads, road and their edges included.

    Steps of 1 cm leave an error of step^2 / 6 times the third derivative, which stays below 1 per metre
    squared here, and 2e-10 of rounding at these heights: 1e-4 is ample.
    """
    step_m = 0.01
    by_east, by_north = SITE.gradient(*_at(east_m, north_m))
    east = SITE.height_m(*_at(east_m + step_m, north_m)) - SITE.height_m(
        *_at(east_m - step_m, north_m)
    )
    north = SITE.height_m(*_at(east_m, north_m + step_m)) - SITE.height_m(
        *_at(east_m, north_m - step_m)
    )
    np.testing.assert_allclose(by_east, east / (2 * step_m), rtol=0, atol=1e-4)
    np.testing.assert_allclose(by_north, north / (2 * step_m), rtol=0, atol=1e-4)


@given(easts, norths)
def test_a_plane_is_a_plane(east_m: float, north_m: float) -> None:
    """Without waves, road and pads the height is the tilted plane of the parameters (closed form)."""
    place = np.array([500.0 + east_m]), np.array([800.0 + north_m])
    assert_metres(PLANE.height_m(*place), 20.0 + 0.03 * east_m - 0.05 * north_m, within_m=1e-9)
    assert_metres(PLANE.gradient(*place), [[0.03], [-0.05]], within_m=1e-12)


def test_a_wave_is_a_sine_along_its_azimuth() -> None:
    """A quarter of a wavelength to the north-east of a node, a wave at azimuth 45 degrees is at its crest."""
    terrain = replace(PLANE, slope_east=0.0, slope_north=0.0, waves=(Wave(0.7, 40.0, 45.0, 0.0),))
    quarter = 10.0 * math.sqrt(0.5)
    east_m = 500.0 + np.array([0.0, quarter, 2 * quarter, 5.0])
    north_m = 800.0 + np.array([0.0, quarter, 2 * quarter, -5.0])
    assert_metres(terrain.height_m(east_m, north_m), [20.0, 20.7, 20.0, 20.0], within_m=1e-9)


@pytest.mark.parametrize("pad", SITE.pads)
def test_pads_are_level_up_to_their_edge(pad: Pad) -> None:
    """Inside its circle a pad has its height and no slope."""
    bearing = np.linspace(0, 2 * np.pi, 50)
    for radius_m in (0.0, 0.5 * pad.circle.radius_m, 0.999 * pad.circle.radius_m):
        east_m = SITE.east_m + pad.circle.east_m + radius_m * np.sin(bearing)
        north_m = SITE.north_m + pad.circle.north_m + radius_m * np.cos(bearing)
        assert_metres(SITE.height_m(east_m, north_m), pad.height_m, within_m=1e-9)
        assert_metres(SITE.gradient(east_m, north_m), 0.0, within_m=1e-9)


def test_the_road_has_its_grade_and_no_cross_fall() -> None:
    """On the carriageway the slope is the grade along the road and nothing across it."""
    road, sin, cos = SITE.road, math.sin(math.radians(86.0)), math.cos(math.radians(86.0))
    along_m, across_m = np.meshgrid(np.linspace(5, 90, 20), np.linspace(-2.49, 2.49, 5))
    east_m = SITE.east_m + road.east_m + along_m * sin + across_m * cos
    north_m = SITE.north_m + road.north_m + along_m * cos - across_m * sin
    by_east, by_north = SITE.gradient(east_m, north_m)
    assert SITE.on_road(east_m, north_m).all()
    assert_metres(by_east * sin + by_north * cos, road.grade, within_m=1e-9)
    assert_metres(by_east * cos - by_north * sin, 0.0, within_m=1e-9)
    assert_metres(
        SITE.height_m(east_m, north_m), road.height_m + road.grade * along_m, within_m=1e-6
    )


def test_vegetation_is_where_the_patches_are() -> None:
    """Inside a circle is vegetated, outside is not, and the share of the site is that of the circles."""
    terrain = replace(PLANE, vegetation=(Patch(10.0, 10.0, 5.0), Patch(60.0, 40.0, 8.0)))
    east_m = 500.0 + np.array([10.0, 14.9, 15.1, 60.0, 60.0])
    north_m = 800.0 + np.array([10.0, 10.0, 10.0, 47.9, 48.1])
    np.testing.assert_array_equal(
        terrain.vegetated(east_m, north_m), [True, True, False, True, False]
    )
    grid = np.meshgrid(500.0 + np.arange(0.1, 100, 0.2), 800.0 + np.arange(0.1, 100, 0.2))
    share = np.mean(terrain.vegetated(*grid))
    assert share == pytest.approx(math.pi * (25 + 64) / 10_000, rel=0.01)


def test_the_site_has_edges() -> None:
    """A place is on the site up to and including its border."""
    east_m = SITE.east_m + np.array([0.0, SITE.width_m, -0.001, 10.0, 10.0])
    north_m = SITE.north_m + np.array([0.0, SITE.depth_m, 1.0, SITE.depth_m + 0.001, 30.0])
    np.testing.assert_array_equal(SITE.contains(east_m, north_m), [True, True, False, False, True])


def test_the_demo_site_is_gentle() -> None:
    """Nowhere steeper than 15 degrees, so that a beam meets the ground once (invented limit)."""
    grid = np.meshgrid(
        SITE.east_m + np.arange(0, SITE.width_m, 0.5),
        SITE.north_m + np.arange(0, SITE.depth_m, 0.5),
    )
    assert np.degrees(np.arctan(np.hypot(*SITE.gradient(*grid)))).max() < 15.0
