from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import Delaunay

from accuracy.sampling.triangle import (
    containing_triangle,
    contains_origin,
    height_at_origin,
    valid_heights,
)

Pair = tuple[int, int]


def circle_through(a: Pair, b: Pair, c: Pair) -> tuple[Fraction, Fraction, Fraction]:
    """Centre and squared radius, by the perpendicular bisectors: independent of the code under test."""
    d = 2 * (a[0] * (b[1] - c[1]) + b[0] * (c[1] - a[1]) + c[0] * (a[1] - b[1]))
    lift = [p[0] ** 2 + p[1] ** 2 for p in (a, b, c)]
    x = Fraction(lift[0] * (b[1] - c[1]) + lift[1] * (c[1] - a[1]) + lift[2] * (a[1] - b[1]), d)
    y = Fraction(lift[0] * (c[0] - b[0]) + lift[1] * (a[0] - c[0]) + lift[2] * (b[0] - a[0]), d)
    return x, y, (a[0] - x) ** 2 + (a[1] - y) ** 2


@st.composite
def clouds(draw: st.DrawFn) -> np.ndarray:
    """Distinct integer points around the origin: fine, coarse (many cocircular) or huge."""
    size = draw(st.sampled_from([2, 5, 50, 10_000, 10**9, 3 * 10**10]))
    points = draw(
        st.sets(
            st.tuples(st.integers(-size, size), st.integers(-size, size)), min_size=3, max_size=40
        )
    )
    return np.array(sorted(points), dtype=np.int64)


@given(clouds())
@settings(max_examples=400, deadline=None)
def test_the_triangle_contains_the_place_and_its_circle_is_empty(points: np.ndarray) -> None:
    """The two properties that define a Delaunay triangle, checked in exact arithmetic."""
    found = containing_triangle(points[:, 0], points[:, 1])
    pairs = [(int(u), int(v)) for u, v in points]
    if found is None:
        # Outside the hull, or flat: some line through the origin has all points on one side or on it.
        assert any(all(p[0] * q[1] - p[1] * q[0] >= 0 for q in pairs) for p in pairs if p != (0, 0))
        return
    a, b, c = (pairs[i] for i in found.triangle)
    assert contains_origin(a, b, c)
    x, y, squared = circle_through(a, b, c)
    distances = [(p[0] - x) ** 2 + (p[1] - y) ** 2 for p in pairs]
    assert min(distances) >= squared
    assert {i for i, d in enumerate(distances) if d == squared} == set(found.circle)
    assert found.circumradius_squared == squared


@given(clouds(), st.randoms())
@settings(max_examples=150, deadline=None)
def test_the_order_of_points_does_not_matter(points: np.ndarray, shuffle: object) -> None:
    """The same height, to the last bit, for every order: ambiguity is decided by the points alone."""
    order = list(range(len(points)))
    shuffle.shuffle(order)
    heights = (points[:, 0] * 0.37 - points[:, 1] * 0.11) % 1.7

    def height(index: list[int]) -> float | None:
        u, v, z = points[index, 0], points[index, 1], heights[index]
        found = containing_triangle(u, v)
        if found is None:
            return None
        a, b, c = sorted(found.triangle, key=lambda i: (u[i], v[i]))
        corners = tuple((int(u[i]), int(v[i])) for i in (a, b, c))
        return height_at_origin(corners, (float(z[a]), float(z[b]), float(z[c])))

    first, second = height(list(range(len(points)))), height(order)
    if first is None or second is None:
        assert first == second
    else:
        assert abs(first - second) < 1e-12


def test_agrees_with_scipy_on_random_clouds() -> None:
    """Against scipy.spatial.Delaunay (Qhull), where the triangulation is unique."""
    random = np.random.default_rng(5)
    compared = 0
    for _ in range(200):
        points = np.unique(random.integers(-(10**6), 10**6, (150, 2)), axis=0)
        found = containing_triangle(points[:, 0], points[:, 1])
        tessellation = Delaunay(points.astype(float))
        simplex = int(tessellation.find_simplex([[0.0, 0.0]])[0])
        assert (found is None) == (simplex < 0)
        if found is not None and len(found.circle) == 3:
            assert set(found.triangle) == set(tessellation.simplices[simplex].tolist())
            compared += 1
    assert compared > 150


def test_a_square_is_split_from_its_westernmost_then_southernmost_corner() -> None:
    """The stated rule: both diagonals are valid, the fan from the lowest (west, south) corner is taken."""
    u, v = np.array([-1, 1, 1, -1]), np.array([-1, -1, 1, 1])
    found = containing_triangle(u, v)
    assert found is not None
    assert sorted(found.circle) == [0, 1, 2, 3]
    assert {0, 2} <= set(found.triangle)  # the diagonal from (-1, -1)
    assert found.circumradius_squared == 2


def test_valid_heights_span_both_diagonals_of_a_square() -> None:
    """A saddle of heights 0, 1, 0, 1: one diagonal gives 0, the other 1."""
    ring = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    assert valid_heights(ring, (0.0, 1.0, 0.0, 1.0)) == (0.0, 1.0)


def test_a_place_on_a_shared_edge_takes_the_smaller_circle() -> None:
    """Which of the two triangles was met first must not decide whether a height is accepted."""
    u, v = np.array([-10, 10, 0, 0]), np.array([0, 0, 3, -60])
    for order in ([0, 1, 2, 3], [3, 2, 1, 0], [1, 3, 0, 2]):
        found = containing_triangle(u[order], v[order])
        assert found is not None
        corners = {(int(u[order][i]), int(v[order][i])) for i in found.triangle}
        one, other = (circle_through((-10, 0), (10, 0), p)[2] for p in ((0, 3), (0, -60)))
        if len(found.circle) == 3:
            assert found.circumradius_squared == min(one, other)
            assert ((0, 3) in corners) == (one < other)


@pytest.mark.parametrize(
    ("points", "why"),
    [
        ([(1, 1), (2, 1), (1, 2)], "outside the hull"),
        ([(-1, -1), (0, 0), (1, 1)], "all on one line"),
        ([(1, 0), (2, 0)], "fewer than three"),
        ([(-1, 0), (1, 0), (2, 0)], "all on one line through the place"),
    ],
)
def test_no_triangle(points: list[Pair], why: str) -> None:
    """No triangle contains the place: the answer is None, not a guess."""
    array = np.array(points)
    assert containing_triangle(array[:, 0], array[:, 1]) is None, why


def test_integers_beyond_64_bits() -> None:
    """Python integers are accepted where stored coordinates are too fine for 64 bits."""
    big = 10**25
    u = np.array([-big, big, 0, 0], dtype=object)
    v = np.array([-big, -big, big, 3 * big], dtype=object)
    found = containing_triangle(u, v)
    assert found is not None
    assert set(found.triangle) == {0, 1, 2}
