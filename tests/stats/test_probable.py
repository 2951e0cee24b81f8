"""LE90, CE90, the counted 90 % and bias + k sigma, against scipy and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats
from support import assert_metres

from accuracy.stats import probable


@pytest.mark.parametrize("bias", [0.0, 0.25, 0.75, 1.4, 3.0, -3.0])
def test_linear_error_against_the_folded_normal(bias: float) -> None:
    """The quantile of abs(error) is scipy's of the folded normal distribution."""
    assert_metres(
        probable.linear_error(bias, 1.0), stats.foldnorm.ppf(0.9, abs(bias)), within_m=1e-9
    )


@pytest.mark.parametrize("bias", [0.0, 0.25, 0.75, 1.4, 3.0])
def test_circular_error_with_bias_against_noncentral_chi_square(bias: float) -> None:
    """With equal axes the squared radius is noncentral chi-square with two degrees of freedom."""
    expected = (
        math.sqrt(stats.ncx2.ppf(0.9, 2, bias**2)) if bias else math.sqrt(stats.chi2.ppf(0.9, 2))
    )
    found = probable.circular_error((bias * 0.6, bias * 0.8), (1.0, 1.0))
    assert_metres(found, expected, within_m=1e-7)


@pytest.mark.parametrize("ratio", [1.0, 0.8, 0.6, 0.4, 0.2, 0.05])
@pytest.mark.parametrize("mean", [(0.0, 0.0), (0.5, -0.3)])
def test_circular_error_of_unequal_axes(ratio: float, mean: tuple[float, float]) -> None:
    """The radius holds 90 % by scipy's integral of the bivariate normal over the circle."""
    radius = probable.circular_error(mean, (1.0, ratio))

    def ring(x: float) -> float:
        half = math.sqrt(max(radius**2 - x**2, 0.0))
        other = stats.norm(mean[1], ratio)
        return float(stats.norm.pdf(x, mean[0], 1.0) * (other.cdf(half) - other.cdf(-half)))

    share, _ = integrate.quad(ring, -radius, radius, epsabs=1e-10, limit=200)
    assert abs(share - 0.9) < 1e-7


@pytest.mark.parametrize(("ratio", "published"), [(1.0, 2.1460), (0.6, 1.79152), (0.2, 1.65731)])
def test_circular_error_by_table(ratio: float, published: float) -> None:
    """2.1460 is the published factor; the others were derived independently, by numeric integration."""
    assert_metres(probable.circular_error((0.0, 0.0), (1.0, ratio)), published, within_m=5e-5)


def test_limits_without_spread() -> None:
    """Errors that are all the same are their own 90 %, and a line of errors is a linear error."""
    same = np.full(5, 0.1)
    assert_metres(probable.le90(same), 0.1, within_m=1e-12)
    assert_metres(probable.ce90(same, -same), math.hypot(0.1, 0.1), within_m=1e-9)
    assert_metres(
        probable.circular_error((0.0, 0.0), (1.0, 0.0)), stats.norm.ppf(0.95), within_m=1e-9
    )


@pytest.mark.parametrize(
    ("n", "beyond", "kept"),
    [(9, 1, False), (10, 1, True), (19, 1, True), (19, 2, False), (20, 2, True), (20, 3, False)],
)
def test_counted_share(n: int, beyond: int, kept: bool) -> None:
    """Not more than 10 % may be in error by more than the limit; equal to the limit is not more."""
    errors = np.array([0.5] * (n - beyond) + [-0.6] * beyond)
    assert (probable.p90_counted(errors) <= 0.5) is kept


def test_bias_plus_k_sigma() -> None:
    """5 cm + 1 x 5 cm = 10 cm, 5 cm + 2 x 5 cm = 15 cm: AHN quality page."""
    errors = np.array([0.0, 0.05, 0.10])
    assert_metres(probable.bias_plus_std(errors, 1.0), 0.10, within_m=1e-12)
    assert_metres(probable.bias_plus_std(-errors, 2.0), 0.15, within_m=1e-12)
