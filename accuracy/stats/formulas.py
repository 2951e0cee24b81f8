"""Formulas: pure functions of residuals in metres, each with its reference.

Sums are exact (`math.fsum`), so the order of the points never matters, and squares are taken of scaled
values, so points that all miss by the same length have an RMSE of exactly that length.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Vector = NDArray[np.float64]


# --- one axis -------------------------------------------------------------------------------------------


def mean(values_m: Vector) -> float:
    """Arithmetic mean, sum / n; `values_m` has shape (n,), n >= 1."""
    if values_m.min() == values_m.max():
        return float(values_m[0])  # sum / n of equal numbers can miss them by one rounding
    return math.fsum(values_m) / len(values_m)


def median(values_m: Vector) -> float:
    """Middle value, or the mean of the two middle ones; shape (n,), n >= 1. Hoehle and Hoehle 2009."""
    import numpy as np

    return float(np.median(values_m))


def rmse(values_m: Vector) -> float:
    """Root mean square of the residuals, divisor n.

    Parameters
    ----------
    values_m : ndarray, shape (n,)
        Residuals in metres, n >= 1.

    References
    ----------
    FGDC-STD-007.3-1998, Appendix 3-A.1 and 3-A.2.

    Examples
    --------
    >>> import numpy as np
    >>> rmse(np.array([0.1, -0.1, 0.1]))
    0.1
    """
    scale = float(abs(values_m).max())
    if scale == 0.0:
        return 0.0
    return scale * math.sqrt(math.fsum((values_m / scale) ** 2) / len(values_m))


def std(values_m: Vector) -> float:
    """Give the standard deviation about the mean, divisor n - 1; shape (n,), n >= 2."""
    deviations = values_m - mean(values_m)
    return rmse(deviations) * math.sqrt(len(values_m) / (len(values_m) - 1))


def nmad(values_m: Vector) -> float:
    """1.4826 times the median absolute deviation from the median; shape (n,). Hoehle and Hoehle 2009."""
    return 1.4826 * median(abs(values_m - median(values_m)))


def abs_percentile(values_m: Vector, percent: float) -> float:
    """Percentile of the absolute values: linear interpolation at rank (P/100)(N-1)+1.

    Parameters
    ----------
    values_m : ndarray, shape (n,)
        Residuals or lengths in metres, n >= 1.
    percent : float
        P, from 0 to 100.

    References
    ----------
    USGS Lidar Base Specification 2025 rev. A, Glossary, "percentile"; ASPRS 2014, Annex D.
    """
    import numpy as np

    ascending = np.sort(abs(values_m))
    rank = percent * (len(ascending) - 1) / 100.0
    lower = math.floor(rank)
    upper = min(lower + 1, len(ascending) - 1)
    return float(ascending[lower] + (rank - lower) * (ascending[upper] - ascending[lower]))


def _standardised_moment(values_m: Vector, order: int) -> float | None:
    deviations = values_m - mean(values_m)
    spread = rmse(deviations)
    if spread == 0.0:
        return None
    return math.fsum((deviations / spread) ** order) / len(values_m)


def skew(values_m: Vector) -> float | None:
    """Skew, population form m3 / m2^1.5 (not corrected for bias); None where all values are equal."""
    return _standardised_moment(values_m, 3)


def excess_kurtosis(values_m: Vector) -> float | None:
    """Kurtosis minus 3, population form m4 / m2^2 - 3; None where all values are equal."""
    moment = _standardised_moment(values_m, 4)
    return None if moment is None else moment - 3.0


# --- intervals and the bias test; all only if errors are independent -----------------------------------------


def rmse_interval_95(rmse_m: float, degrees_of_freedom: int) -> tuple[float, float]:
    """Two-sided 95 % interval of an RMSE, if errors are independent, normal and of zero mean.

    Parameters
    ----------
    rmse_m : float
        RMSE of one axis, or radial RMSE of axes of equal spread.
    degrees_of_freedom : int
        n for one axis, 2n for the radial RMSE of two axes, n - 1 for a standard deviation.

    References
    ----------
    n RMSE^2 / sigma^2 follows chi-square with n degrees of freedom: textbook statistics.
    """
    from scipy.special import chdtri

    upper, lower = chdtri(degrees_of_freedom, (0.025, 0.975))
    return (
        rmse_m * math.sqrt(degrees_of_freedom / float(upper)),
        rmse_m * math.sqrt(degrees_of_freedom / float(lower)),
    )


@dataclass(frozen=True)
class BiasTest:
    """Whether a mean differs from zero by more than chance (Student's t, two-sided, 5 %)."""

    t: float
    degrees_of_freedom: int
    critical: float
    p_two_sided: float

    @property
    def significant(self) -> bool:
        """True where |t| exceeds the critical value."""
        return abs(self.t) > self.critical


def bias_t(values_m: Vector) -> BiasTest | None:
    """Test the mean against zero: t = mean / (s / sqrt n), n - 1 degrees of freedom, if independent.

    `values_m` has shape (n,), n >= 2. None where all values are equal: t is then without limit, or 0 / 0.
    """
    from scipy.special import stdtr, stdtrit

    spread = std(values_m)
    if spread == 0.0:
        return None
    n = len(values_m)
    t = mean(values_m) / (spread / math.sqrt(n))
    return BiasTest(t, n - 1, float(stdtrit(n - 1, 0.975)), float(2.0 * stdtr(n - 1, -abs(t))))


def bias_significant(values_m: Vector) -> bool:
    """Whether the mean differs from zero by more than chance; False for fewer than two points."""
    if len(values_m) < 2:
        return False
    test = bias_t(values_m)
    return mean(values_m) != 0.0 if test is None else test.significant


def mean_interval_95(values_m: Vector) -> tuple[float, float]:
    """Two-sided 95 % interval of the mean by Student's t, if errors are independent; n >= 2."""
    from scipy.special import stdtrit

    n = len(values_m)
    half = float(stdtrit(n - 1, 0.975)) * std(values_m) / math.sqrt(n)
    return mean(values_m) - half, mean(values_m) + half


# --- standards' own combinations -----------------------------------------------------------------------------


def rmse_r(rmse_x_m: float, rmse_y_m: float) -> float:
    """Radial RMSE, sqrt(RMSE_x^2 + RMSE_y^2): FGDC-STD-007.3-1998, Appendix 3-A.1."""
    return math.hypot(rmse_x_m, rmse_y_m)


def circular_case(rmse_x_m: float, rmse_y_m: float) -> Literal[1, 2] | None:
    """Which case of the NSSDA gives the 95 % circle: 1 equal, 2 ratio from 0.6, None below 0.6."""
    small, large = sorted((rmse_x_m, rmse_y_m))
    if math.isclose(small, large, rel_tol=1e-9):
        return 1
    # 0.6 of two decimals may come out one rounding below 0.6
    return 2 if small / large >= 0.6 - 1e-12 else None


CIRCULAR_FORMULAS: Mapping[int, str] = MappingProxyType(
    {
        1: "1.7308 x RMSE_r (NSSDA, Appendix 3-A, Case 1: RMSE_x equals RMSE_y)",
        2: "2.4477 x 0.5 x (RMSE_x + RMSE_y) (NSSDA, Appendix 3-A, Case 2: RMSE_x differs from RMSE_y)",
    }
)


def accuracy_95_circular(rmse_x_m: float, rmse_y_m: float) -> float | None:
    """Horizontal accuracy at 95 % confidence (radius of a circle).

    Returns
    -------
    float or None
        Case 1, equal RMSE: 1.7308 RMSE_r. Case 2, ratio of smaller to larger from 0.6:
        2.4477 x 0.5 x (RMSE_x + RMSE_y). None below: the document gives no formula.

    References
    ----------
    FGDC-STD-007.3-1998, Appendix 3-A, Cases 1 and 2.
    """
    case = circular_case(rmse_x_m, rmse_y_m)
    if case is None:
        return None
    if case == 1:
        return 1.7308 * rmse_r(rmse_x_m, rmse_y_m)
    return 2.4477 * 0.5 * (rmse_x_m + rmse_y_m)


def accuracy_95_vertical(rmse_z_m: float) -> float:
    """Vertical accuracy at 95 % confidence, 1.9600 RMSE_z: FGDC-STD-007.3-1998, Appendix 3-A.2.

    Multiplied in decimal, so that an RMSE equal to a limit gives exactly 1.96 times that limit.
    """
    return float(Fraction("1.9600") * Fraction(repr(rmse_z_m)))


def combine_survey(rmse_m: float, survey_rmse_m: float) -> float:
    """RMSE with the checkpoint survey's own RMSE included: root of the sum of squares.

    References
    ----------
    ASPRS Edition 2, section 7.11 (quadrature form from memory); USGS Lidar Base Specification 2025 rev. A,
    Glossary, RMSE.
    """
    return math.hypot(rmse_m, survey_rmse_m)
