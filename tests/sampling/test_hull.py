"""Whether points surround a place, and whether they lie on one line."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from accuracy.sampling.hull import on_one_line, surrounds_origin

POINTS = st.lists(st.tuples(st.integers(-4, 4), st.integers(-4, 4)), min_size=1, max_size=9)


def surrounded(points: list[tuple[int, int]]) -> bool:
    """Ask linear programming whether the origin is a convex combination of the points."""
    columns = np.vstack([np.array(points, float).T, np.ones(len(points))])
    return bool(linprog(np.zeros(len(points)), A_eq=columns, b_eq=[0.0, 0.0, 1.0]).success)


@given(POINTS)
@settings(max_examples=300, deadline=None)
def test_against_linear_programming(points: list[tuple[int, int]]) -> None:
    """Small coordinates, so that borders, corners and points in one direction occur all the time."""
    u, v = np.array(points, dtype=np.int64).T
    assert surrounds_origin(u, v) == surrounded(points)


@given(POINTS, st.integers(1, 10**15), st.permutations(range(9)))
@settings(max_examples=200, deadline=None)
def test_neither_order_nor_size_matters(
    points: list[tuple[int, int]], size: int, order: list[int]
) -> None:
    """Any order, and any multiple, beyond 64 bits too, says the same."""
    u, v = (np.array(c, dtype=object) * size for c in zip(*points, strict=True))
    mixed = [i for i in order if i < len(points)]
    small = np.array(points, dtype=np.int64).T
    assert surrounds_origin(u[mixed], v[mixed]) == surrounds_origin(small[0], small[1])


@pytest.mark.parametrize("beyond", [-1, 0, 1])
def test_one_unit_beside_the_border_at_15_digits(beyond: int) -> None:
    """A place on the edge between two points is surrounded; one unit in 10^15 outside it is not."""
    u = np.array([-(10**15), 10**15, 3], dtype=object)
    v = np.array([beyond, beyond, 10**15], dtype=object)
    assert surrounds_origin(u, v) is (beyond <= 0)


def test_the_edge_row_of_a_grid() -> None:
    """Many points in two opposite directions, all others on one side: on the border, not outside."""
    u, v = (g.ravel() for g in np.meshgrid(np.arange(-40, 41), np.arange(0, 40)))
    assert surrounds_origin(u[u != 0], v[u != 0])
    above = v > 0
    assert not surrounds_origin(u[above], v[above])


def test_points_on_one_line() -> None:
    """One place, a slanting line, and a line with one point off it by a millionth of its length."""
    assert on_one_line(np.array([5, 5]), np.array([7, 7]))
    assert on_one_line(np.array([1, 2, 3, 7]), np.array([3, 5, 7, 15]))
    assert not on_one_line(np.array([0, 10**6, 5 * 10**5]), np.array([0, 0, 1]))
    turned = [
        (round(math.cos(a) * 1e6), round(math.sin(a) * 1e6)) for a in (0.3, 0.3 + math.pi, 1.0)
    ]
    assert not on_one_line(*np.array(turned).T)
