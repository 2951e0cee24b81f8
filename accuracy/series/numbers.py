"""Numbers as the series hold them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Vector = NDArray[np.float64]

#: Most points kept of a curve; above it, ranks are taken evenly, the first and last always.
MOST_SHOWN = 401

#: Decimals of lengths in metres.
DECIMALS = 6


def round_number(value: float) -> float:
    """Give the nearest of 1, 2 and 5 times a power of ten, nearest by ratio; 1 for what is not above 0."""
    if not value > 0.0 or not math.isfinite(value):
        return 1.0
    power = math.floor(math.log10(value))
    candidates = [float(f"{m}e{power + p}") for p in (0, 1) for m in (1, 2, 5)]
    return min(candidates, key=lambda c: abs(math.log(c / value)))


def ranks_shown(n: int) -> NDArray[np.intp]:
    """Give ranks from 0 to n - 1, at most `MOST_SHOWN` of them, the first and last always."""
    if n <= MOST_SHOWN:
        return np.arange(n)
    return np.round(np.linspace(0, n - 1, MOST_SHOWN)).astype(np.intp)


def rounded(value: float) -> float:
    """Round a length in metres to micrometres."""
    return round(float(value), DECIMALS) + 0.0


def listed(values: Vector) -> list[float]:
    """Give an array of lengths in metres as rounded numbers."""
    return [rounded(v) for v in values]
