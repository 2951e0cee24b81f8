"""Planes through the last returns of a line in a cell, from integer sums."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from accuracy.flightlines.collecting import (
    ALL,
    LEFT_OUT,
    MULTIPLE,
    XX,
    XY,
    XZ,
    YY,
    YZ,
    ZZ,
    N,
    X,
    Y,
    Z,
)
from accuracy.flightlines.lattice import Lattice
from accuracy.flightlines.records import LinesSettings
from accuracy.flightlines.tables import Rows

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: The height at the centre of a cell must be as good as the mean of so many points (inverse of the leverage).
LEAST_WORTH = 4.0
#: The points may lie to one side of the centre by so much of their own spread, squared: a plane that is carried
#: on beyond them is wrong where the ground bends (cells at the edge of a swath).
ONE_SIDED = 0.6
#: Fewest last returns of a line for a plain mean.
PLAIN_POINTS = 3


@dataclass(frozen=True, eq=False)
class Planes:
    """Planes of cells, arrays of shape (n,); NaN where `fitted` is False.

    Attributes
    ----------
    height_m : ndarray
        At the centre of the cell, above the zero of the lattice.
    east, north : ndarray
        Slopes, rise over run.
    sigma_m : ndarray
        Standard deviation about the plane, n - 3.
    leverage : ndarray
        Variance of `height_m` in units of sigma squared.
    slope_xx, slope_xy, slope_yy : ndarray
        Covariance of the slopes in units of sigma squared, per square metre.
    mean_m : ndarray
        Plain mean height.
    """

    fitted: Bools
    height_m: Array
    east: Array
    north: Array
    sigma_m: Array
    leverage: Array
    slope_xx: Array
    slope_xy: Array
    slope_yy: Array
    mean_m: Array
    points: Array

    @property
    def slope(self) -> Array:
        """Steepest rise over run."""
        return np.hypot(self.east, self.north)


def fit_planes(rows: Rows, lattice: Lattice, settings: LinesSettings) -> Planes:
    """Fit z = h + a x + b y by least squares about the centres of cells.

    With the sums as integers, all that is rounded happens here, the same for any order of the points.
    """
    sums = rows.sums
    n_int = sums[:, N]
    enough = n_int >= settings.least_points
    n = np.maximum(n_int, 1).astype(np.float64)
    zero = np.rint(sums[:, Z] / n).astype(np.int64)  # heights about this one, exactly
    z1 = sums[:, Z] - zero * n_int
    z2 = sums[:, ZZ] - 2 * zero * sums[:, Z] + zero * zero * n_int
    xz = sums[:, XZ] - zero * sums[:, X]
    yz = sums[:, YZ] - zero * sums[:, Y]
    mx, my, mz = sums[:, X] / n, sums[:, Y] / n, z1 / n
    cxx, cxy, cyy = (
        sums[:, XX] / n - mx * mx,
        sums[:, XY] / n - mx * my,
        sums[:, YY] / n - my * my,
    )
    cxz, cyz, czz = xz / n - mx * mz, yz / n - my * mz, z2 / n - mz * mz
    det = cxx * cyy - cxy * cxy
    spread = (lattice.per_cell / 20.0) ** 2
    fitted = enough & (det > spread * (cxx + cyy) / 2.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        a = (cxz * cyy - cyz * cxy) / det
        b = (cyz * cxx - cxz * cxy) / det
        inverse = (cyy / det, -cxy / det, cxx / det)
        leverage = (
            1.0 + inverse[0] * mx * mx + 2.0 * inverse[1] * mx * my + inverse[2] * my * my
        ) / n
        left = np.maximum(czz - a * cxz - b * cyz, 0.0)
        sigma = np.sqrt(n * left / np.maximum(n - 3.0, 1.0))
    fitted &= (leverage * LEAST_WORTH <= 1.0) & (leverage * n <= 1.0 + ONE_SIDED)
    tall, wide = lattice.step_z_m, lattice.step_m
    nan = np.where(fitted, 1.0, np.nan)
    return Planes(
        fitted,
        nan * (zero + mz - a * mx - b * my) * tall,
        nan * a * tall / wide,
        nan * b * tall / wide,
        nan * sigma * tall,
        nan * leverage,
        nan * inverse[0] / n / wide**2,
        nan * inverse[1] / n / wide**2,
        nan * inverse[2] / n / wide**2,
        np.where(n_int >= PLAIN_POINTS, (zero + mz) * tall, np.nan),
        n_int.astype(np.float64),
    )


def single_and_hard(rows: Rows, settings: LinesSettings) -> tuple[Bools, Bools]:
    """Tell which cells hold (nearly) only single returns, and which (nearly) only hard classes."""
    total = np.maximum(rows.sums[:, ALL], 1)
    single = rows.sums[:, MULTIPLE] <= settings.multiple_share * total
    hard = rows.sums[:, LEFT_OUT] <= settings.multiple_share * total
    return single, hard


def smooth(planes: Planes, settings: LinesSettings) -> Bools:
    """Tell which cells stray little from their plane, measured at right angles to it."""
    with np.errstate(invalid="ignore"):
        lean = np.sqrt(1.0 + planes.east**2 + planes.north**2)
        return np.asarray(planes.sigma_m <= settings.smooth_limit_m * lean)
