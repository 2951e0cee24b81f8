"""Helpers of the tests: comparisons in metres with absolute tolerances."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


def assert_metres(actual: ArrayLike, expected: ArrayLike, *, within_m: float) -> None:
    """Both agree within so many metres: no relative tolerance, at any size of coordinate."""
    np.testing.assert_allclose(
        np.asarray(actual, dtype=float), np.asarray(expected, dtype=float), rtol=0.0, atol=within_m
    )
