"""Errors that a stated share of a normal distribution keeps, and the counted share of points.

LE90 and CE90 are exact quantiles of the normal distribution with the mean and covariance (divisor n - 1)
found, so also for unequal axes and with bias; derived, see the formulas beside each function.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

from accuracy.stats import formulas

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Vector = NDArray[np.float64]

_SHARE = 0.9
_NODES = 200


def _phi(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2.0))


def _solve(share_within: Callable[[float], float], high: float, share: float) -> float:
    """Give the radius within which the share lies, by bisection to the last bit."""
    low = 0.0
    while share_within(high) < share:
        high *= 2.0
    while low < (middle := 0.5 * (low + high)) < high:
        low, high = (middle, high) if share_within(middle) < share else (low, middle)
    return high


def linear_error(mean_m: float, std_m: float, share: float = _SHARE) -> float:
    """Solve Phi((q - m) / s) - Phi((-q - m) / s) = share for q, in metres."""
    size = abs(mean_m)
    if std_m <= 1e-12 * size or std_m == 0.0:
        return size
    return _solve(
        lambda q: _phi((q - size) / std_m) - _phi((-q - size) / std_m), size + 4.0 * std_m, share
    )


def circular_error(
    mean_m: tuple[float, float], std_m: tuple[float, float], share: float = _SHARE
) -> float:
    """Give the radius about the origin that holds a share of a normal distribution, in metres.

    Parameters
    ----------
    mean_m, std_m : tuple of float
        Along the principal axes, which are independent.

    The inner integral over one axis is closed; the outer one is by Gauss and Legendre in the angle.
    """
    import numpy as np

    (a, sa), (b, sb) = sorted(zip(mean_m, std_m, strict=True), key=lambda axis: -axis[1])
    if sb <= 1e-9 * max(sa, math.hypot(a, b)):  # a line, or a point: the limit of the integral
        offset = b
        if sa <= 1e-9 * math.hypot(a, b) or sa == 0.0:
            return math.hypot(a, b)
        return math.hypot(linear_error(a, sa, share), offset)
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)

    def within(radius: float) -> float:
        # the outer axis is the narrow one, cut to where its density is
        low, high = max(-radius, b - 9.0 * sb), min(radius, b + 9.0 * sb)
        if low >= high:
            return 0.0
        first, last = math.asin(low / radius), math.asin(high / radius)
        angle = 0.5 * (last - first) * nodes + 0.5 * (last + first)
        y, half = radius * np.sin(angle), radius * np.cos(angle)
        inner = np.array([_phi((h - a) / sa) - _phi((-h - a) / sa) for h in half])
        density = np.exp(-0.5 * ((y - b) / sb) ** 2) / (sb * math.sqrt(2.0 * math.pi))
        return float(0.5 * (last - first) * np.sum(weights * density * half * inner))

    return _solve(within, math.hypot(a, b) + 4.0 * sa, share)


def le90(errors_m: Vector) -> float:
    """Give LE90 of at least two errors, in metres."""
    return linear_error(formulas.mean(errors_m), formulas.std(errors_m))


def ce90(east_m: Vector, north_m: Vector) -> float:
    """Give CE90 of at least two error vectors, in metres."""
    import numpy as np

    middle = np.array([formulas.mean(east_m), formulas.mean(north_m)])
    east, north = formulas.std(east_m), formulas.std(north_m)
    both = math.fsum((east_m - middle[0]) * (north_m - middle[1])) / (len(east_m) - 1)
    values, vectors = np.linalg.eigh(np.array([[east * east, both], [both, north * north]]))
    mean = vectors.T @ middle
    std = np.sqrt(np.maximum(values, 0.0))
    return circular_error((float(mean[0]), float(mean[1])), (float(std[0]), float(std[1])))


def p90_counted(sizes_m: Vector) -> float:
    """Give the smallest error that not more than 10 % of the points exceed (NMAS 1947, second-hand)."""
    import numpy as np

    n = len(sizes_m)
    return float(np.sort(abs(sizes_m))[n - n // 10 - 1])


def bias_plus_std(errors_m: Vector, k: float) -> float:
    """Give abs(mean) + k s, bias and spread added as they are (AHN quality page, read)."""
    return abs(formulas.mean(errors_m)) + k * formulas.std(errors_m)
