"""How sure a pass would be: against scipy's distributions used otherwise, simulation, and limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats
from support import assert_metres

from accuracy.planning.chances import needed_rmse_m, passing


def test_a_dataset_at_its_limit_passes_in_about_half_of_all_tests() -> None:
    """chi-square: P(chi2(n) <= n) is 0.5595 for n = 10 and falls towards a half (scipy's gamma function)."""
    from scipy.special import gammainc

    for n in (10, 20, 30, 120):
        assert_metres(passing(n, 0.05, 0.05), gammainc(n / 2, n / 2), within_m=1e-12)
    assert 0.5 < passing(120, 0.05, 0.05) < passing(10, 0.05, 0.05) < 0.56


def test_the_upper_bound_of_the_table_of_intervals() -> None:
    """Shared notes on statistics, section 3: with n = 30 the one-sided factor is 1.2737 and 1.1787 radially.

    A deliverable whose true RMSE is 1.2737 times the limit passes with 5 %.
    """
    for n, up, radial in [(10, 1.5931, 1.3576), (20, 1.3576, 1.2284), (30, 1.2737, 1.1787)]:
        assert_metres(passing(n, up * 0.05, 0.05), 0.05, within_m=2e-4)
        assert_metres(passing(n, radial * 0.05, 0.05, axes=2), 0.05, within_m=2e-4)


def test_a_bias_makes_it_noncentral() -> None:
    """One error: P(|bias + s z| <= L) by the normal distribution; two: by integrating its density."""
    bias, spread, limit = 0.03, 0.02, 0.05
    true = math.hypot(bias, spread)
    one = stats.norm.cdf((limit - bias) / spread) - stats.norm.cdf((-limit - bias) / spread)
    assert_metres(passing(1, true, limit, bias_m=bias), one, within_m=1e-9)

    def inner(e: float) -> float:
        reach = math.sqrt(max(0.0, 2 * limit**2 - e**2))
        inside = stats.norm.cdf((reach - bias) / spread) - stats.norm.cdf((-reach - bias) / spread)
        return float(stats.norm.pdf(e, bias, spread) * inside)

    edge = math.sqrt(2) * limit
    two, _ = integrate.quad(inner, -edge, edge, epsabs=1e-10)
    assert_metres(passing(2, true, limit, bias_m=bias), two, within_m=1e-7)


@pytest.mark.parametrize(("axes", "bias_m"), [(1, 0.0), (1, 0.02), (2, 0.0), (2, 0.02), (3, 0.01)])
def test_a_simulated_survey_agrees(axes: int, bias_m: float) -> None:
    """200 000 simulated tests of 20 points, survey error in the differences and added once more (5 sigma)."""
    random, tests, n = np.random.default_rng(4), 200_000, 20
    true, survey, limit = 0.04, 0.015, 0.047
    per_axis = math.sqrt((true**2 - bias_m**2 + survey**2) / axes)
    # the sum of squares of n axes differences, drawn by its definition in blocks
    total = np.zeros(tests)
    for _ in range(n):
        errors = random.normal(0.0, per_axis, (tests, axes))
        errors[:, 0] += bias_m
        total += (errors**2).sum(axis=1)
    found = float((total / n + survey**2 <= limit**2).mean())
    expected = passing(
        n, true, limit, survey_rmse_m=survey, survey_included=True, axes=axes, bias_m=bias_m
    )
    assert_metres(found, expected, within_m=5 * 0.5 / math.sqrt(tests))


@given(
    st.integers(1, 200),
    st.floats(0.001, 1.0),
    st.floats(0.0, 0.4),
    st.sampled_from([1, 2, 3]),
    st.booleans(),
)
def test_what_is_needed_passes_with_the_probability(
    n: int, limit_m: float, share: float, axes: int, included: bool
) -> None:
    """The inverse of the probability; where nothing passes so surely, not even a perfect deliverable does."""
    more = {"survey_rmse_m": share * limit_m, "survey_included": included, "axes": axes}
    needed = needed_rmse_m(n, limit_m, **more)
    if needed is None:
        assert passing(n, 0.0, limit_m, **more) <= 0.95 + 1e-9
    else:
        assert_metres(passing(n, needed, limit_m, **more), 0.95, within_m=1e-6)


def test_the_ends() -> None:
    """A perfect deliverable passes; a survey worse than the limit never lets it; a bias is within the RMSE."""
    assert passing(30, 0.0, 0.05) == 1.0
    assert passing(30, 0.05, 0.05, bias_m=0.05) == 1.0
    assert passing(30, 0.0, 0.05, survey_rmse_m=0.06, survey_included=True) == 0.0
    with pytest.raises(ValueError, match="bias"):
        passing(30, 0.01, 0.05, bias_m=0.02)
