"""Conversion of legacy map accuracy against scipy and the printed row of FEMA 2003, Table A-1."""

from __future__ import annotations

import math

from scipy import stats
from support import assert_metres

from accuracy.stats import conversion


def test_factors_are_the_quantiles() -> None:
    """To their printed digits: normal 90 % and 95 %, Rayleigh 90 % and 95 % (scipy)."""
    for factor, exact in (
        (conversion.LINEAR_90, stats.norm.ppf(0.95)),
        (conversion.LINEAR_95, stats.norm.ppf(0.975)),
        (conversion.CIRCULAR_90, stats.rayleigh.ppf(0.9)),
        (conversion.CIRCULAR_95, stats.rayleigh.ppf(0.95)),
    ):
        assert_metres(factor, exact, within_m=5.1e-5)


def test_fema_table_row() -> None:
    """1 inch = 500 feet: CMAS 16.7 ft (1/30 inch), Accuracy_r 19.0 ft, RMSE_r 11.0 ft: Table A-1, read."""
    cmas_ft = 500.0 / 30.0
    assert_metres(conversion.accuracy_r_of_cmas(cmas_ft), 19.0, within_m=0.05)
    assert_metres(cmas_ft / conversion.CIRCULAR_90 * math.sqrt(2.0), 11.0, within_m=0.05)


def test_contours() -> None:
    """1-foot contours: VMAS 0.5 ft, Accuracy_z 0.596 ft, RMSE_z 9.27 cm; derived; and there and back."""
    rmse_ft = conversion.rmse_z_of_contour_interval(1.0)
    assert_metres(rmse_ft * 0.3048, 0.0927, within_m=5e-5)
    assert_metres(conversion.vmas_of_rmse_z(rmse_ft), 0.5, within_m=1e-12)
    assert_metres(conversion.accuracy_z_of_vmas(0.5), 0.5958, within_m=5e-5)
    assert_metres(conversion.contour_interval_of_rmse_z(rmse_ft), 1.0, within_m=1e-12)
    assert_metres(conversion.cmas_of_rmse_x(1.0), 2.146, within_m=1e-12)
