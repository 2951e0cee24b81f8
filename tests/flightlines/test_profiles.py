"""Profiles of a pair: means and scatter by bin against a loop over all cells."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from accuracy.flightlines.profiles import FINE, MOST_BINS, ProfileSums


@given(
    seed=st.integers(0, 2**32 - 1),
    n=st.integers(1, 300),
    wide=st.floats(0.1, 4000.0),
    parts=st.integers(1, 4),
)
def test_bins_hold_the_means_of_their_cells(seed: int, n: int, wide: float, parts: int) -> None:
    """However the cells come in, each bin has the number, mean and standard deviation of its cells."""
    random = np.random.default_rng(seed)
    at, difference = random.uniform(-wide, wide, n), random.normal(0.02, 0.01, n)
    sums = ProfileSums("along")
    for some in np.array_split(np.arange(n), parts):
        sums.see(at[some], difference[some])
    profile = sums.profile()
    assert profile is not None
    assert len(profile.at) <= MOST_BINS
    assert sum(profile.n) == n
    fine = np.floor(at / FINE["along"]).astype(int)
    joined = math.ceil((fine.max() - fine.min() + 1) / MOST_BINS)
    place = (fine - fine.min()) // joined
    for number, where, mean_m, std_m, count in zip(
        np.unique(place), profile.at, profile.mean_m, profile.std_m, profile.n, strict=True
    ):
        cells = difference[place == number]
        assert count == len(cells)
        assert abs(mean_m - cells.mean()) < 1e-12
        assert abs(std_m - (cells.std(ddof=1) if count > 1 else 0.0)) < 1e-7
        assert abs(where - at[place == number].mean()) <= joined * FINE["along"] / 2 + 1e-9


def test_what_has_no_place_is_left_out() -> None:
    """Cells without a time say nothing of time; without any there is no profile."""
    sums = ProfileSums("time")
    sums.see(np.array([np.nan, np.nan]), np.array([0.1, 0.2]))
    assert sums.profile() is None
