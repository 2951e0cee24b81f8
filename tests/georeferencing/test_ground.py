"""Where coordinates fall by their own declaration: for plausibility only."""

from __future__ import annotations

import math

import pytest

from accuracy.georeferencing.ground import on_globe, scale_of_projection


def test_the_middle_of_a_utm_zone() -> None:
    """Easting 500,000 is the central meridian (definition of the projection), scale 0.9996 there."""
    place = on_globe("EPSG:32632", 500_000.0, 5_000_000.0)
    assert place is not None
    assert place[0] == pytest.approx(9.0, abs=1e-12)
    assert scale_of_projection("EPSG:32632", *place) == pytest.approx(0.9996, abs=1e-9)


def test_web_mercator_by_its_closed_form() -> None:
    """Latitude 2 atan(exp(y/a)) - pi/2 on the sphere of radius 6,378,137 m (EPSG method 1024)."""
    y = 4_966_606.0
    place = on_globe("EPSG:3857", -8_242_596.0, y)
    assert place is not None
    assert place[1] == pytest.approx(
        math.degrees(2 * math.atan(math.exp(y / 6_378_137.0)) - math.pi / 2), abs=1e-9
    )


def test_grads_and_the_meridian_of_paris() -> None:
    """The old French system counts in grads from Paris (2.5969213 grads, 2.33722917 degrees, east)."""
    place = on_globe("EPSG:27572", 600_000.0, 2_200_000.0)
    assert place == pytest.approx((2.33722917, 46.8), abs=1e-7)  # 52 grads north: the false origin


def test_no_place_is_none() -> None:
    """Beyond the globe, or in a system without one."""
    assert on_globe("EPSG:4326", 10.0, 95.0) is None
    assert on_globe("EPSG:4978", 1.0, 2.0) is None
    assert on_globe("EPSG:32632", math.inf, 0.0) is None
    assert scale_of_projection("EPSG:4326", 10.0, 50.0) is None
