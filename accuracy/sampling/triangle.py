"""The Delaunay triangle that contains a place, exactly, from integer coordinates.

Lift every point (u, v) to the paraboloid w = u² + v². The Delaunay triangle over the place is the facet of
the lower convex hull under which the place lies: the optimum of a linear programme with three unknowns.
It is found by a simplex walk from any triangle that contains the place; no triangulation is built. Each
step is decided by exact integer arithmetic; floating point only screens candidates, with a proven bound.

References
----------
Edelsbrunner, H., Seidel, R. (1986), Voronoi diagrams and arrangements, Discrete & Computational Geometry
1, 25-44 (the lifting map; from memory). Bland, R. G. (1977), New finite pivoting rules for the simplex
method, Mathematics of Operations Research 2, 103-107 (termination; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property, cmp_to_key
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

Point = tuple[int, int]

#: Steps taken by steepest descent before Bland's rule takes over, which cannot cycle.
_GREEDY_STEPS = 64

#: Bound on the relative error of evaluating four products and three sums in double precision.
_ROUNDING = 16 * np.finfo(np.float64).eps


#: Coordinates up to here have cross products that fit 64 bits.
_CROSS_FITS = 2.0**30

#: Radians by which two directions must differ before floating point may tell them apart: its error is a few
#: units in the last place of products that cancel, 1e-15 of the coordinates' size, and angles are no finer.
_ANGLE_DOUBT = 1e-9


@dataclass(frozen=True)
class Containing:
    """The triangle over the place, and what else would have been valid.

    Attributes
    ----------
    triangle : tuple of int
        Indices of its three corners, chosen by the stated rule where several triangles are valid.
    circle : tuple of int
        Indices of all points on the circumcircle, counter-clockwise from the westernmost (then
        southernmost); more than three make the triangulation ambiguous.
    circumradius_squared : Fraction
        In squared units of the coordinates.
    """

    triangle: tuple[int, int, int]
    circle: tuple[int, ...]
    circumradius_squared: Fraction


def cross(a: Point, b: Point) -> int:
    """Twice the signed area of the triangle origin, a, b; positive counter-clockwise."""
    return a[0] * b[1] - a[1] * b[0]


def _orient(a: Point, b: Point, c: Point) -> int:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


class _Lifted:
    """Points with the place at the origin; rows are distinct."""

    def __init__(
        self, u: NDArray[np.int64] | NDArray[np.object_], v: NDArray[np.int64] | NDArray[np.object_]
    ) -> None:
        self._u, self._v = u, v
        self.u = u.astype(np.float64)
        self.v = v.astype(np.float64)
        self.w = self.u * self.u + self.v * self.v

    def at(self, index: int) -> Point:
        """Give one point, exact."""
        return int(self._u[index]), int(self._v[index])

    @cached_property
    def points(self) -> list[Point]:
        """Give all points, exact; most searches touch a few only."""
        return list(zip(self._u.tolist(), self._v.tolist(), strict=True))

    def circle_coefficients(self, corners: tuple[int, int, int]) -> tuple[int, int, int, int]:
        """Integers (A, B, C, E): A u + B v + C w + E is > 0 inside the circumcircle, 0 on it."""
        rows = [(*p, p[0] ** 2 + p[1] ** 2) for p in map(self.at, corners)]
        (u1, v1, w1), (u2, v2, w2), (u3, v3, w3) = rows
        a = v1 * (w2 - w3) + v2 * (w3 - w1) + v3 * (w1 - w2)
        b = w1 * (u2 - u3) + w2 * (u3 - u1) + w3 * (u1 - u2)
        c = u1 * (v2 - v3) + u2 * (v3 - v1) + u3 * (v1 - v2)
        e = -(a * u1 + b * v1 + c * w1)
        return (-a, -b, -c, -e) if c > 0 else (a, b, c, e)

    def side(self, coefficients: tuple[int, int, int, int], index: int) -> int:
        """Exact value for one point: > 0 inside the circle."""
        a, b, c, e = coefficients
        u, v = self.at(index)
        return a * u + b * v + c * (u * u + v * v) + e

    def inside(self, corners: tuple[int, int, int], *, first: bool) -> tuple[int | None, list[int]]:
        """Find a point strictly inside the circumcircle (the deepest, or the first), and those on it."""
        coefficients = self.circle_coefficients(corners)
        a, b, c, e = (float(value) for value in coefficients)
        terms = (a * self.u, b * self.v, c * self.w)
        value = terms[0] + terms[1] + terms[2] + e
        bound = _ROUNDING * (np.abs(terms[0]) + np.abs(terms[1]) + np.abs(terms[2]) + abs(e))
        surely = np.flatnonzero(value > bound)
        if surely.size:
            return int(surely[0] if first else surely[np.argmax(value[surely])]), []
        deepest: tuple[int, int] | None = None
        on_circle = []
        for index in np.flatnonzero(np.abs(value) <= bound).tolist():
            exact = self.side(coefficients, index)
            if exact == 0:
                on_circle.append(index)
            elif exact > 0 and (deepest is None or (not first and exact > deepest[0])):
                deepest = (exact, index)
        return (deepest[1] if deepest else None), on_circle

    def start(self) -> tuple[int, int, int] | None:
        """Find any triangle (not flat) that contains the origin, or None: the origin is outside the hull."""
        nearest = int(np.argmin(self.w))
        equals = np.flatnonzero(self.w == self.w[nearest])
        if equals.size > 1:
            nearest = int(equals[np.lexsort((self.v[equals], self.u[equals]))[0]])
        here = self.at(nearest)
        if here == (0, 0):
            return self._with_corner(nearest)
        u, v = self._u, self._v
        if max(np.abs(self.u).max(), np.abs(self.v).max()) > _CROSS_FITS:
            u, v = u.astype(object), v.astype(object)
        turn = here[0] * v - here[1] * u
        level = np.flatnonzero(turn == 0)
        opposite = level[here[0] * u[level] + here[1] * v[level] < 0]
        if opposite.size:
            off = np.flatnonzero(turn != 0)
            return (nearest, int(opposite[0]), int(off[0])) if off.size else None
        left = self._furthest(np.flatnonzero(turn > 0), here, sign=1)
        right = self._furthest(np.flatnonzero(turn < 0), here, sign=-1)
        if left is None or right is None or cross(self.at(left), self.at(right)) < 0:
            return None
        return (nearest, left, right)

    def _with_corner(self, corner: int) -> tuple[int, int, int] | None:
        others = [i for i in np.argsort(self.w, kind="stable").tolist() if i != corner]
        for other in others[1:]:
            if cross(self.at(others[0]), self.at(other)) != 0:
                return (corner, others[0], other)
        return None

    def _furthest(self, candidates: NDArray[np.intp], here: Point, sign: int) -> int | None:
        """Of points in one open half plane seen from the origin, the last one turning by `sign`.

        Floating point leaves those that may be it, exact arithmetic decides among them.
        """
        if not candidates.size:
            return None
        u, v = self.u[candidates], self.v[candidates]
        angle = sign * np.arctan2(
            float(here[0]) * v - float(here[1]) * u, float(here[0]) * u + float(here[1]) * v
        )
        last: int | None = None
        for index in candidates[angle >= angle.max() - _ANGLE_DOUBT].tolist():
            if last is None or sign * cross(self.at(last), self.at(index)) > 0:
                last = index
        return last

    def exchange(self, corners: tuple[int, int, int], entering: int) -> tuple[int, int, int]:
        """Swap one corner for `entering` so that the origin stays inside (the ratio test, exact)."""
        i, j, k = corners
        a, b, c, d = map(self.at, (i, j, k, entering))
        turn = 1 if _orient(a, b, c) > 0 else -1
        weight = [turn * cross(b, c), turn * cross(c, a), turn * cross(a, b)]
        share = [turn * _orient(b, c, d), turn * _orient(c, a, d), turn * _orient(a, b, d)]
        leaving = min(
            (n for n in range(3) if share[n] > 0),
            key=lambda n: (Fraction(weight[n], share[n]), corners[n]),
        )
        kept = [corner for n, corner in enumerate(corners) if n != leaving]
        return (kept[0], kept[1], entering)


def _dot(a: Point, b: Point) -> int:
    return a[0] * b[0] + a[1] * b[1]


def containing_triangle(
    u: NDArray[np.int64] | NDArray[np.object_], v: NDArray[np.int64] | NDArray[np.object_]
) -> Containing | None:
    """Find the Delaunay triangle that contains the origin.

    Where more than three points lie on the empty circle, every triangulation of them is valid; the rule
    is the fan from the westernmost (then southernmost) of them, which depends on nothing but those points.
    Where the origin lies on an edge, either triangle gives the same height; the one with the smaller
    circumcircle is returned.

    Parameters
    ----------
    u, v : ndarray of int, shape (n,)
        Distinct points relative to the place, as integers in one common unit. Object arrays of Python
        integers are accepted where 64 bits do not suffice.

    Returns
    -------
    Containing or None
        None when the origin is outside the convex hull of the points, or all are on one line.
    """
    if len(u) < 3:
        return None
    lifted = _Lifted(u, v)
    corners = lifted.start()
    if corners is None:
        return None
    steps = 0
    while True:
        entering, circle = lifted.inside(corners, first=steps >= _GREEDY_STEPS)
        if entering is None:
            break
        corners = lifted.exchange(corners, entering)
        steps += 1
    return _smaller_at_edge(lifted, corners, circle)


def _smaller_at_edge(
    lifted: _Lifted, corners: tuple[int, int, int], circle: list[int]
) -> Containing:
    """Take the triangle across the edge instead, if the origin is on one and that circle is smaller."""
    found = _choose(lifted, corners, circle)
    a, b, c = found.triangle
    for first, second, apex in ((a, b, c), (b, c, a), (c, a, b)):
        p, q = lifted.at(first), lifted.at(second)
        if cross(p, q) != 0 or (0, 0) in (p, q):
            continue
        side = _orient(p, q, lifted.at(apex))
        across: int | None = None
        for index, point in enumerate(lifted.points):
            if _orient(p, q, point) * side >= 0:
                continue
            if (
                across is None
                or lifted.side(lifted.circle_coefficients((first, second, across)), index) > 0
            ):
                across = index
        if across is not None:
            other = (first, second, across)
            if _circumradius_squared(lifted, other) < found.circumradius_squared:
                _, on_circle = lifted.inside(other, first=False)
                return _choose(lifted, other, on_circle)
    return found


def _circumradius_squared(lifted: _Lifted, corners: tuple[int, int, int]) -> Fraction:
    a, b, c, e = lifted.circle_coefficients(corners)
    return Fraction(a * a + b * b - 4 * c * e, 4 * c * c)


def _choose(lifted: _Lifted, corners: tuple[int, int, int], circle: list[int]) -> Containing:
    points = {i: lifted.at(i) for i in {*circle, *corners}}
    ring = sorted(points, key=lambda i: points[i])
    hub = points[ring[0]]

    def turning(i: int, j: int) -> int:
        return -1 if _orient(hub, points[i], points[j]) > 0 else 1

    rest = sorted(ring[1:], key=cmp_to_key(turning))
    ordered = (ring[0], *rest)
    triangle = next(
        (ring[0], i, j) for i, j in pairwise(rest) if contains_origin(hub, points[i], points[j])
    )
    return Containing(triangle, ordered, _circumradius_squared(lifted, corners))


def contains_origin(a: Point, b: Point, c: Point) -> bool:
    """Whether the origin lies in the triangle, borders included; a flat triangle contains nothing."""
    if _orient(a, b, c) == 0:
        return False
    turns = (cross(a, b), cross(b, c), cross(c, a))
    return all(t >= 0 for t in turns) or all(t <= 0 for t in turns)


def height_at_origin(
    corners: tuple[Point, Point, Point], heights: tuple[float, float, float]
) -> float:
    """Interpolate linearly on a triangle that contains the origin.

    The weights are exact; they are rounded once, so that the height is good to a few units in the last place.
    """
    a, b, c = corners
    area = _orient(a, b, c)
    base = heights[0]
    return base + sum(
        float(Fraction(weight, area)) * (height - base)
        for weight, height in ((cross(c, a), heights[1]), (cross(a, b), heights[2]))
    )


def valid_heights(ring: tuple[Point, ...], heights: tuple[float, ...]) -> tuple[float, float]:
    """Give the smallest and largest height at the origin over all triangulations of cocircular points."""
    values = [
        height_at_origin((ring[i], ring[j], ring[k]), (heights[i], heights[j], heights[k]))
        for i, j, k in combinations(range(len(ring)), 3)
        if contains_origin(ring[i], ring[j], ring[k])
    ]
    return min(values), max(values)
