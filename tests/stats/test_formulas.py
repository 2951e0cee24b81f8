"""The formulas against published examples, scipy.stats as an independent check, and laws."""

from __future__ import annotations

import math

import hypothesis.extra.numpy as hnp
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import integrate, special, stats
from support import assert_metres

from accuracy import stats as its

# ASPRS Positional Accuracy Standards 2014, Annex D, Table D.1: residuals, measured minus survey, in metres.
# Inputs and printed results from memory; each printed result is reproduced below.
EAST = np.array([-0.140, -0.100, 0.017, -0.070, 0.130])
NORTH = np.array([-0.070, -0.100, -0.070, 0.150, 0.120])
UP = np.array([-0.071, 0.010, 0.102, -0.100, 0.087])

RESIDUALS = hnp.arrays(
    np.float64,
    st.integers(2, 40),
    elements=st.floats(-5.0, 5.0, allow_nan=False).map(lambda x: round(x, 6)),
)


@pytest.mark.parametrize(
    ("axis", "mean", "std", "rmse"),
    [(EAST, -0.033, 0.108, 0.102), (NORTH, 0.006, 0.119, 0.106), (UP, 0.006, 0.091, 0.081)],
    ids=["east", "north", "up"],
)
def test_annex_d(axis: NDArray[np.float64], mean: float, std: float, rmse: float) -> None:
    """Mean, standard deviation and RMSE of ASPRS 2014, Table D.1, come out as printed."""
    assert_metres(its.mean(axis), mean, within_m=0.0005)
    assert_metres(its.std(axis), std, within_m=0.0005)
    assert_metres(its.rmse(axis), rmse, within_m=0.0005)


def test_annex_d_combined() -> None:
    """Radial RMSE and both accuracies at 95 % of ASPRS 2014, Table D.1, come out as printed."""
    x, y = its.rmse(EAST), its.rmse(NORTH)
    assert_metres(its.rmse_r(x, y), 0.147, within_m=0.0005)
    circle = its.accuracy_95_circular(x, y)
    assert circle is not None
    assert_metres(circle, 0.255, within_m=0.0005)
    assert_metres(its.accuracy_95_vertical(its.rmse(UP)), 0.160, within_m=0.0005)


def test_louisiana_report() -> None:
    """Divisors of a published report (USGS metadata, Barataria lidar 2013, FVA) fit those used here.

    From its n, mean and standard deviation the printed RMSE follows with n - 1 in the one, n in the other.
    """
    n, mean, std = 51, -0.00533333349535, 0.0577205913534
    ones = np.where(np.arange(n) % 2 == 0, 1.0, -1.0)
    shape = (ones - ones.mean()) / ones.std(ddof=1)
    made = mean + std * shape  # any points with the published mean and standard deviation
    assert_metres(its.mean(made), mean, within_m=1e-12)
    assert_metres(its.std(made), std, within_m=1e-12)
    assert_metres(its.rmse(made), 0.0574002119585, within_m=2e-9)
    assert_metres(its.accuracy_95_vertical(0.0574002119585), 0.112504415439, within_m=1e-12)


def test_robust_example() -> None:
    """One blunder moves mean and RMSE, not median and NMAD.

    Numbers invented, results computed with scipy 1.17 for Hoehle and Hoehle's definitions.
    """
    values = np.array([-0.04, -0.02, -0.01, 0.00, 0.01, 0.01, 0.02, 0.03, 0.05, 0.60])
    assert_metres(its.mean(values), 0.065, within_m=1e-9)
    assert_metres(its.std(values), 0.1897, within_m=5e-5)
    assert_metres(its.rmse(values), 0.1913, within_m=5e-5)
    assert_metres(its.median(values), 0.010, within_m=1e-9)
    assert_metres(its.nmad(values), 0.0297, within_m=5e-5)
    assert_metres(its.abs_percentile(values, 95.0), 0.3525, within_m=5e-9)
    assert_metres(its.rmse(values[:-1]), 0.0260, within_m=5e-5)


def test_percentile_examples() -> None:
    """Rank 0.95 x 19 + 1 = 19.05 and rank 4.8: arithmetic of the rank formula of the USGS glossary."""
    assert_metres(its.abs_percentile(np.arange(1.0, 21.0), 95.0), 19.05, within_m=1e-12)
    five = np.array([0.05, -0.12, 0.31, 0.08, -0.22])
    assert_metres(its.abs_percentile(five, 95.0), 0.292, within_m=1e-12)
    assert_metres(its.rmse(five), 0.183194, within_m=5e-7)


@pytest.mark.parametrize(
    ("n", "z_low", "z_high", "h_low", "h_high", "s_low", "s_high", "t"),
    [
        (5, 0.6242, 2.4526, 0.6987, 1.7549, 0.5991, 2.8736, 2.7764),
        (10, 0.6987, 1.7549, 0.7651, 1.4441, 0.6878, 1.8256, 2.2622),
        (20, 0.7651, 1.4441, 0.8210, 1.2795, 0.7605, 1.4606, 2.0930),
        (30, 0.7991, 1.3367, 0.8487, 1.2174, 0.7964, 1.3443, 2.0452),
        (100, 0.8785, 1.1607, 0.9109, 1.1086, 0.8780, 1.1617, 1.9842),
        (120, 0.8879, 1.1447, 0.9180, 1.0982, 0.8875, 1.1454, 1.9801),
    ],
)
def test_interval_factors(
    n: int,
    z_low: float,
    z_high: float,
    h_low: float,
    h_high: float,
    s_low: float,
    s_high: float,
    t: float,
) -> None:
    """Factors of the intervals: computed with scipy 1.17, again with scipy.stats, four decimals."""
    for freedom, low, high in ((n, z_low, z_high), (2 * n, h_low, h_high), (n - 1, s_low, s_high)):
        got = its.rmse_interval_95(1.0, freedom)
        np.testing.assert_allclose(got, (low, high), rtol=0.0, atol=5.1e-5)
        upper, lower = (float(stats.chi2.ppf(p, freedom)) for p in (0.975, 0.025))
        independent = math.sqrt(freedom / upper), math.sqrt(freedom / lower)
        np.testing.assert_allclose(got, independent, rtol=0.0, atol=1e-9)
    test = its.bias_t(np.arange(float(n)))
    assert test is not None
    assert test.critical == pytest.approx(t, rel=0.0, abs=5.1e-5)


def test_bias_example() -> None:
    """Elevation of Annex D: t = 0.138, critical 2.776; easting: t = -0.677 (computed with scipy 1.17)."""
    up, east = its.bias_t(UP), its.bias_t(EAST)
    assert up is not None
    assert east is not None
    assert up.t == pytest.approx(0.138, rel=0.0, abs=5e-4)
    assert up.critical == pytest.approx(2.776, rel=0.0, abs=5e-4)
    assert east.t == pytest.approx(-0.677, rel=0.0, abs=5e-4)
    assert not up.significant
    assert not east.significant


def test_bias_of_equal_residuals() -> None:
    """Residuals that are all the same: no t, but a bias unless they are zero; one point shows nothing."""
    assert its.bias_t(np.full(4, 0.1)) is None
    assert its.bias_significant(np.full(4, 0.1))
    assert not its.bias_significant(np.zeros(4))
    assert not its.bias_significant(np.array([0.1]))


@given(RESIDUALS)
def test_against_scipy_stats(values: NDArray[np.float64]) -> None:
    """Skew, kurtosis, t test, interval of the mean, NMAD and percentile agree with scipy and numpy."""
    np.testing.assert_allclose(
        its.abs_percentile(values, 95.0), np.percentile(abs(values), 95.0), rtol=0.0, atol=1e-12
    )
    np.testing.assert_allclose(
        its.nmad(values), 1.4826 * stats.median_abs_deviation(values), rtol=0.0, atol=1e-12
    )
    np.testing.assert_allclose(its.std(values), values.std(ddof=1), rtol=0.0, atol=1e-12)
    if np.ptp(values) < 1e-3:
        return  # both sides lose digits, differently
    assert its.skew(values) == pytest.approx(float(stats.skew(values)), rel=0.0, abs=1e-8)
    kurtosis = float(stats.kurtosis(values))
    assert its.excess_kurtosis(values) == pytest.approx(kurtosis, rel=0.0, abs=1e-7)
    test = its.bias_t(values)
    independent = stats.ttest_1samp(values, 0.0)
    assert test is not None
    np.testing.assert_allclose(test.t, independent.statistic, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(test.p_two_sided, independent.pvalue, rtol=0.0, atol=1e-9)
    interval = independent.confidence_interval(0.95)
    low, high = its.mean_interval_95(values)
    assert low == pytest.approx(float(interval.low), rel=0.0, abs=1e-9)
    assert high == pytest.approx(float(interval.high), rel=0.0, abs=1e-9)


@given(RESIDUALS)
def test_rmse_is_bias_and_spread(values: NDArray[np.float64]) -> None:
    """RMSE^2 = mean^2 + s^2 (n - 1) / n, exactly but for rounding."""
    n = len(values)
    whole = its.mean(values) ** 2 + its.std(values) ** 2 * (n - 1) / n
    assert its.rmse(values) ** 2 == pytest.approx(whole, rel=1e-9, abs=1e-18)


@given(RESIDUALS, st.randoms())
def test_order_does_not_matter(values: NDArray[np.float64], random: object) -> None:
    """Every figure is the same, to the last bit, in any order of the points."""
    shuffled = values.copy()
    random.shuffle(shuffled)
    for name, estimator in its.ESTIMATORS.items():
        if "up" in estimator.components:
            assert estimator((values,)) == estimator((shuffled,)), name


@given(RESIDUALS, st.floats(-3.0, 3.0))
def test_a_shift_moves_the_mean_only(values: NDArray[np.float64], shift_m: float) -> None:
    """A constant added to all residuals moves mean and median by it and leaves the spread."""
    moved = values + shift_m
    assert_metres(its.mean(moved) - its.mean(values), shift_m, within_m=1e-9)
    assert_metres(its.median(moved) - its.median(values), shift_m, within_m=1e-9)
    assert_metres(its.std(moved), its.std(values), within_m=1e-9)
    assert_metres(its.nmad(moved), its.nmad(values), within_m=1e-9)


@given(st.floats(1e-6, 1e6), st.integers(1, 50))
def test_equal_lengths_give_exactly_that_rmse(length_m: float, n: int) -> None:
    """Points that all miss by the same length have that RMSE to the last bit, so a limit can be met."""
    values = np.where(np.arange(n) % 2 == 0, length_m, -length_m)
    assert its.rmse(values) == length_m


@given(st.floats(1e-4, 10.0).map(lambda x: round(x, 4)), st.floats(1e-4, 10.0))
def test_the_factor_of_the_vertical_accuracy_keeps_the_order(a: float, b: float) -> None:
    """1.9600 x RMSE never turns the order of two RMSE around, and equals the factor times a decimal."""
    assert (a <= b) <= (its.accuracy_95_vertical(a) <= its.accuracy_95_vertical(b))
    assert its.accuracy_95_vertical(a) == pytest.approx(1.96 * a, rel=1e-15)


def test_circular_cases() -> None:
    """Case 1 for equal RMSE, case 2 from a ratio of exactly 0.6, none below (NSSDA, Appendix 3-A)."""
    assert its.circular_case(0.1, 0.1) == 1
    assert its.accuracy_95_circular(0.1, 0.1) == pytest.approx(
        1.7308 * 0.1 * math.sqrt(2), abs=1e-15
    )
    for small, large in ((0.06, 0.1), (0.03, 0.05), (0.018, 0.03), (0.0042, 0.007), (0.3, 0.5)):
        assert its.circular_case(large, small) == 2, (small, large)
        circle = its.accuracy_95_circular(small, large)
        assert circle == pytest.approx(2.4477 * 0.5 * (small + large), abs=1e-15)
    assert its.circular_case(0.0599999, 0.1) is None
    assert its.accuracy_95_circular(0.0599999, 0.1) is None
    assert its.accuracy_95_circular(0.1, 0.0) is None
    assert its.accuracy_95_circular(0.0, 0.0) == 0.0


@pytest.mark.parametrize(
    ("ratio", "coverage"),
    [(1.0, 0.9500), (0.9, 0.9492), (0.8, 0.9463), (0.7, 0.9409), (0.6, 0.9323)],
)
def test_what_the_circle_covers(ratio: float, coverage: float) -> None:
    """The NSSDA circle covers this share of a bivariate normal: the exact integral, by quadrature here."""
    radius = its.accuracy_95_circular(1.0, ratio)
    assert radius is not None

    def slice_(x: float) -> float:
        half = math.sqrt(max(radius**2 - x**2, 0.0)) / ratio
        return (
            math.exp(-(x**2) / 2) / math.sqrt(2 * math.pi) * float(special.erf(half / math.sqrt(2)))
        )

    exact, _ = integrate.quad(slice_, -radius, radius)
    assert exact == pytest.approx(coverage, rel=0.0, abs=6e-5)


@pytest.mark.parametrize(
    ("fit", "survey", "combined"), [(0.048, 0.012, 0.049477), (0.092, 0.045, 0.102416)]
)
def test_survey_error_in_quadrature(fit: float, survey: float, combined: float) -> None:
    """Root of the sum of squares (USGS Lidar Base Specification 2025 rev. A, definition; arithmetic)."""
    assert_metres(its.combine_survey(fit, survey), combined, within_m=5e-7)


def test_skew_and_kurtosis_have_no_value_without_spread() -> None:
    """Equal residuals have neither skew nor kurtosis, although their mean is not exact in binary."""
    assert its.skew(np.full(3, 0.1)) is None
    assert its.excess_kurtosis(np.full(7, 0.1)) is None
