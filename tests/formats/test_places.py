"""The sieve of streamed points against brute force."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from accuracy.formats import places as module
from accuracy.formats.places import Places


def _distances(px, py, x, y, scale, offset):
    """Distance of every stored point to its nearest place: the closed form, all pairs."""
    east = np.asarray(x, float)[:, None] * scale[0] + (offset[0] - px)[None, :]
    north = np.asarray(y, float)[:, None] * scale[1] + (offset[1] - py)[None, :]
    return np.hypot(east, north).min(axis=1, initial=math.inf)


@settings(deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    count=st.integers(0, 40),
    radius_units=st.floats(0.0, 5000.0),
    extent_units=st.sampled_from([10, 10_000, 2**31 - 1]),
    scale=st.sampled_from([(0.001, 0.001), (1e-7, 1e-7), (0.25, 0.001), (1.16e-6, 1.17e-6)]),
    offset=st.sampled_from([(0.0, 0.0), (500_000.0, 5_000_000.0), (-123.0, 44.0)]),
)
def test_no_point_within_the_radius_is_missed(
    seed, count, radius_units, extent_units, scale, offset
):
    """Everything within the radius comes; what comes is within the radius and a few stored units."""
    rng = np.random.default_rng(seed)
    x, y = rng.integers(-extent_units, extent_units, (2, 400), dtype=np.int32)
    radius = radius_units * max(scale)
    stored = rng.uniform(-extent_units, extent_units, (2, count))
    near = rng.integers(0, 400, count // 2)  # half of the places stand close to a point
    stored[0, : count // 2] = x[near] + rng.uniform(-1.1, 1.1, count // 2) * radius / scale[0]
    stored[1, : count // 2] = y[near]
    px, py = stored[0] * scale[0] + offset[0], stored[1] * scale[1] + offset[1]
    distance = _distances(px, py, x, y, scale, offset)
    found = Places(px, py, radius, scale, offset).near(x, y)
    noise = 8 * math.ulp(abs(offset[1]) + 2**31 * max(scale))  # of the closed form itself
    assert set(np.flatnonzero(distance <= radius - noise)) <= set(found)
    assert np.all(distance[found] <= radius + 3.0 * (scale[0] + scale[1]) + 4 * noise)
    assert np.array_equal(found, np.unique(found))


def test_many_places_far_apart_share_few_cells(monkeypatch):
    """With fewer cells than places the answer is the same: cells only throw points out sooner."""
    rng = np.random.default_rng(5)
    x, y = rng.integers(0, 100_000, (2, 3000), dtype=np.int32)
    px, py = rng.uniform(0, 100.0, (2, 200))
    fine = Places(px, py, 1.0, (0.001, 0.001), (0.0, 0.0)).near(x, y)
    monkeypatch.setattr(module, "MOST_CELLS", 4)
    coarse = Places(px, py, 1.0, (0.001, 0.001), (0.0, 0.0)).near(x, y)
    assert fine.size > 100
    assert np.array_equal(fine, coarse)


@pytest.mark.parametrize("lost", [math.nan, math.inf, -math.inf, 1e300])
def test_a_place_nowhere_takes_nothing_from_the_others(lost):
    """A place that is not finite, or absurdly far, is near nothing and does not disturb the rest."""
    x = np.array([0, 1000, 2000], dtype=np.int32)
    px, py = np.array([lost, 1.0]), np.array([0.0, 0.0])
    found = Places(px, py, 0.1, (0.001, 0.001), (0.0, 0.0)).near(x, np.zeros(3, np.int32))
    assert found.tolist() == [1]


def test_an_endless_radius_takes_everything():
    """Everything is within an infinite radius, also of a place outside the file's integers."""
    x = np.array([-(2**31), 0, 2**31 - 1], dtype=np.int32)
    found = Places(np.array([1e12]), np.array([0.0]), math.inf, (0.001, 0.001), (0.0, 0.0))
    assert found.near(x, x).tolist() == [0, 1, 2]


def test_a_disc_may_be_wider_than_all_integers():
    """A radius beyond the reach of 32-bit integers takes what lies within, and nothing else."""
    x = np.array([-(2**31), 2**31 - 1], dtype=np.int32)
    y = np.zeros(2, np.int32)
    place = np.array([3.0e9])  # 5.1e9 and 0.9e9 stored units away
    found = Places(place, np.array([0.0]), 4.0e9, (1.0, 1.0), (0.0, 0.0)).near(x, y)
    assert found.tolist() == [1]


@settings(deadline=None)
@given(
    reach=st.integers(1, 10**6),
    at=st.integers(-(10**6), 10**6),
    decimals=st.sampled_from([2, 3, 4]),
)
def test_a_point_exactly_on_the_rim_is_found(reach, at, decimals):
    """Distance and radius equal as decimals: the point counts as near, whatever floats make of them."""
    scale, north = 10.0**-decimals, 5_000_000.0
    place = float(f"{north + at / 10**decimals:.{decimals}f}")
    radius = float(f"{reach / 10**decimals:.{decimals}f}")
    y = np.array([at - reach, at + reach, at - reach - 9, at + reach + 9], dtype=np.int32)
    found = Places(np.zeros(1), np.array([place]), radius, (scale, scale), (0.0, north))
    assert found.near(np.zeros(4, np.int32), y).tolist() == [0, 1]
