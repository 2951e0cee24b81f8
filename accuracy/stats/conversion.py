"""Conversion between 90 % map accuracy, 95 % accuracy and RMSE, for errors that are normal and unbiased.

Circular factors hold for equal axes only. NMAS 1947 counts points: a converted value is an equivalent,
never a verdict.
"""

from __future__ import annotations

#: Normal quantiles of abs(error): 90 % and 95 % (second-hand; read in the USGS Lidar Base Specification).
LINEAR_90, LINEAR_95 = 1.6449, 1.9600
#: Circular factors on the RMSE of one axis: 90 % (second-hand) and 95 % (NSSDA, Appendix 3-A).
CIRCULAR_90, CIRCULAR_95 = 2.1460, 2.4477


def vmas_of_rmse_z(rmse_z_m: float) -> float:
    """Give the vertical error that 90 % keep, in metres: VMAS = 1.6449 RMSE_z."""
    return LINEAR_90 * rmse_z_m


def accuracy_z_of_vmas(vmas_m: float) -> float:
    """Give the 95 % vertical accuracy, in metres: 1.9600 / 1.6449 x VMAS (1.1916, derived)."""
    return LINEAR_95 / LINEAR_90 * vmas_m


def contour_interval_of_rmse_z(rmse_z_m: float) -> float:
    """Give the contour interval, in metres, half of which 90 % keep: 2 x 1.6449 RMSE_z (3.2898, derived)."""
    return 2.0 * LINEAR_90 * rmse_z_m


def rmse_z_of_contour_interval(interval_m: float) -> float:
    """Give the RMSE_z equivalent to a contour interval, in metres (derived)."""
    return interval_m / (2.0 * LINEAR_90)


def cmas_of_rmse_x(rmse_x_m: float) -> float:
    """Give the radius that 90 % keep, in metres, of equal axes: 2.1460 RMSE_x."""
    return CIRCULAR_90 * rmse_x_m


def accuracy_r_of_cmas(cmas_m: float) -> float:
    """Give the 95 % radius, in metres: 2.4477 / 2.1460 x CMAS (1.1406, derived)."""
    return CIRCULAR_95 / CIRCULAR_90 * cmas_m
