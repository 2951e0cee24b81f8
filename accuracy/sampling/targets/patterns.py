"""What a pattern looks like through a blurred beam: columns of a linear model, for many placements at once.

A value is ``level_0 * column_0 + level_1 * column_1 + ...``; the levels are unknown and enter linearly, the
placement (centre, rotation, blur) enters through the columns. The blur is Gaussian: of a checkerboard and a
plate exact (products of normal integrals), of circles to second order in blur over radius.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from accuracy.sampling.targets import TargetSpec

Array = NDArray[np.float64]

#: Placement of a pattern: east, north (metres), rotation (radian), logarithm of the blur (metres).
EAST, NORTH, ROTATION, LOG_BLUR = range(4)

Integral = Callable[[Array], Array]


def normal_integral(z: Array) -> Array:
    """Give the normal distribution function."""
    from scipy.special import ndtr

    return np.asarray(ndtr(z))


def ramp(z: Array) -> Array:
    """Give a straight ramp of the same slope at zero: enough for a first search, and much cheaper."""
    return np.clip(0.5 + 0.3989422804014327 * z, 0.0, 1.0)


def rotates(spec: TargetSpec) -> bool:
    """Whether the pattern changes when it is turned."""
    return spec.pattern in ("checkerboard", "plate")


def columns(
    spec: TargetSpec, at: Array, placements: Array, integral: Integral = normal_integral
) -> Array:
    """Give the columns of the model.

    Parameters
    ----------
    at : ndarray, shape (n, 2)
        East and north of the values, metres.
    placements : ndarray, shape (m, 4)
        See `EAST` to `LOG_BLUR`.

    Returns
    -------
    ndarray, shape (m, k, n)
        The first column is the ground (ones); for plates east and north follow, so that the ground may tilt.
        The last is the contrast that makes the pattern what it is.
    """
    blur = np.exp(placements[:, LOG_BLUR])[:, None]
    east = at[None, :, 0] - placements[:, EAST, None]
    north = at[None, :, 1] - placements[:, NORTH, None]
    ones = np.ones_like(east)
    half = spec.half_m
    if not rotates(spec):
        distance = np.sqrt(east**2 + north**2 + blur**2)
        outer = integral((half - distance) / blur)
        if spec.pattern == "disc":
            return np.stack([ones, outer], axis=1)
        inner = integral(((spec.inner_m or 0.0) / 2.0 - distance) / blur)
        return np.stack([ones, inner, outer - inner], axis=1)
    cos, sin = np.cos(placements[:, ROTATION, None]), np.sin(placements[:, ROTATION, None])
    within, turned = [], []
    for along in (cos * east + sin * north, cos * north - sin * east):
        low, high = integral((along + half) / blur), integral((along - half) / blur)
        within.append(low - high)
        if spec.pattern == "checkerboard":
            turned.append(2.0 * integral(along / blur) - low - high)
    inside = within[0] * within[1]
    if spec.pattern == "plate":
        shape = np.broadcast_shapes(ones.shape)
        tilt = [np.broadcast_to(at[None, :, axis], shape) for axis in (0, 1)]
        return np.stack([ones, *tilt, inside], axis=1)
    return np.stack([ones, inside, turned[0] * turned[1]], axis=1)


def on_targets(spec: TargetSpec, at: Array, placements: Array, margin_m: float = 0.0) -> Array:
    """Say which places lie on the target, or within a margin of it, as 1 or 0; shape (m, n)."""
    east = at[None, :, 0] - placements[:, EAST, None]
    north = at[None, :, 1] - placements[:, NORTH, None]
    reach = spec.half_m + margin_m
    if not rotates(spec):
        return np.asarray(east**2 + north**2 <= reach**2, dtype=np.float64)
    cos, sin = np.cos(placements[:, ROTATION, None]), np.sin(placements[:, ROTATION, None])
    along, across = np.abs(cos * east + sin * north), np.abs(cos * north - sin * east)
    return np.asarray(np.maximum(along, across) <= reach, dtype=np.float64)


def on_target(
    spec: TargetSpec, at: Array, placement: Array, margin_m: float = 0.0
) -> NDArray[np.bool_]:
    """Say which places lie on the target, or within a margin of it; shape (n,)."""
    return np.asarray(on_targets(spec, at, placement[None, :], margin_m)[0] > 0.0)


def two_parts(
    spec: TargetSpec, at: Array, placement: Array
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Say which places lie well on either of the two levels that make the pattern."""
    last = columns(spec, at, placement[None, :])[0, -1]
    return np.asarray(last > 0.9), np.asarray(
        last < (-0.9 if spec.pattern == "checkerboard" else 0.1)
    )
