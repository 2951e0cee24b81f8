"""Whether points surround a place: decided exactly, from integers."""

from __future__ import annotations

import math

import numpy as np

from accuracy.sampling.neighbourhood import Integers

#: Angles nearer to half a turn than this are decided by integers, not by floats.
_CLOSE_RAD = 1e-9

#: Points that deviate from a line by less than this share of their extent lie on it: no survey measures a
#: billionth of a distance of metres.
_LINE_SHARE = 1e-9


def on_one_line(u: Integers, v: Integers) -> bool:
    """Whether all points lie on one line, or at one place."""
    x, y = u.astype(np.float64), v.astype(np.float64)
    x, y = x - x[0], y - y[0]
    length = np.hypot(x, y)
    far = int(length.argmax())
    if length[far] == 0.0:
        return True
    across = np.abs(x[far] * y - y[far] * x) / length[far]
    return bool(across.max() <= _LINE_SHARE * length[far])


def surrounds_origin(u: Integers, v: Integers) -> bool:
    """Whether the origin lies in the convex hull of points, its border included.

    It does unless all points fit into an open half plane: unless the directions to them leave a gap of more
    than half a turn.

    Examples
    --------
    >>> surrounds_origin(np.array([1, -1, 0]), np.array([-1, -1, 2]))
    True
    >>> surrounds_origin(np.array([1, -1, 0]), np.array([1, 1, 2]))
    False
    >>> surrounds_origin(np.array([1, -1, 0]), np.array([0, 0, 2]))
    True
    """
    if bool(((u == 0) & (v == 0)).any()):
        return True
    if not len(u):
        return False
    turn = np.sort(np.arctan2(v.astype(np.float64), u.astype(np.float64)))
    gaps = np.diff(np.append(turn, turn[0] + 2.0 * math.pi))
    widest = float(gaps.max())
    if abs(widest - math.pi) > _CLOSE_RAD:
        return widest < math.pi
    return _surrounds_exactly(u, v)


def _surrounds_exactly(u: Integers, v: Integers) -> bool:
    """Decide by the signs of exact products.

    The origin is outside just where, from the direction to some point, those to all others turn left by less
    than half a turn.
    """
    ways = {_direction(a, b) for a, b in zip(u.tolist(), v.tolist(), strict=True)}
    turn = sorted(ways, key=lambda way: math.atan2(way[1], way[0]))
    angle = [math.atan2(b, a) for a, b in turn]
    before = [angle[-1] - 2.0 * math.pi, *angle[:-1]]
    first = [  # those after a gap of about half a turn, and whatever lies as good as beside them
        way
        for way, here in zip(turn, angle, strict=True)
        if any(
            after - last > math.pi - 2.0 * _CLOSE_RAD
            and abs(math.remainder(here - after, 2.0 * math.pi)) <= 2.0 * _CLOSE_RAD
            for after, last in zip(angle, before, strict=True)
        )
    ]
    return not any(all(_left_of(start, way) for way in ways) for start in first)


def _direction(a: int, b: int) -> tuple[int, int]:
    shared = math.gcd(a, b)
    return a // shared, b // shared


def _left_of(start: tuple[int, int], way: tuple[int, int]) -> bool:
    cross = start[0] * way[1] - start[1] * way[0]
    return cross > 0 or (cross == 0 and start[0] * way[0] + start[1] * way[1] > 0)
