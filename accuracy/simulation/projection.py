"""Transverse Mercator and geocentric coordinates on GRS 80, by formula.

The simulation computes with these instead of asking the geodesy library, so that what it puts in and what the
product finds out come from two sources.

References
----------
L. Krueger's series in the third flattening to its fourth power, as in J. Karney, "Transverse Mercator with an
accuracy of a few nanometers" (2011), equations 35 and 36 (from memory; the tests compare with PROJ to 0.1 mm).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

AXIS_M = 6_378_137.0
FLATTENING = 1.0 / 298.257222101  # GRS 80
_N = FLATTENING / (2.0 - FLATTENING)
_E2 = FLATTENING * (2.0 - FLATTENING)
_RADIUS_M = AXIS_M / (1.0 + _N) * (1.0 + _N**2 / 4.0 + _N**4 / 64.0)
_FORWARD = (
    _N / 2 - 2 * _N**2 / 3 + 5 * _N**3 / 16 + 41 * _N**4 / 180,
    13 * _N**2 / 48 - 3 * _N**3 / 5 + 557 * _N**4 / 1440,
    61 * _N**3 / 240 - 103 * _N**4 / 140,
    49561 * _N**4 / 161280,
)
_BACKWARD = (
    _N / 2 - 2 * _N**2 / 3 + 37 * _N**3 / 96 - _N**4 / 360,
    _N**2 / 48 + _N**3 / 15 - 437 * _N**4 / 1440,
    17 * _N**3 / 480 - 37 * _N**4 / 840,
    4397 * _N**4 / 161280,
)


@dataclass(frozen=True)
class UniversalZone:
    """One zone of the Universal Transverse Mercator grid (and of MGA, which has the same numbers)."""

    number: int
    south: bool = False

    @property
    def meridian_deg(self) -> float:
        """Longitude of the central meridian."""
        return 6.0 * self.number - 183.0

    def forward(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> tuple[Array, Array]:
        """Easting and northing in metres of longitudes and latitudes in degrees."""
        phi = np.radians(np.asarray(latitude_deg, dtype=np.float64))
        lam = np.radians(np.asarray(longitude_deg, dtype=np.float64) - self.meridian_deg)
        e = math.sqrt(_E2)
        tau = np.sinh(np.arctanh(np.sin(phi)) - e * np.arctanh(e * np.sin(phi)))
        xi, eta = np.arctan2(tau, np.cos(lam)), np.arcsinh(np.sin(lam) / np.hypot(tau, np.cos(lam)))
        north, east = xi.copy(), eta.copy()
        for j, a in enumerate(_FORWARD, start=1):
            north = north + a * np.sin(2 * j * xi) * np.cosh(2 * j * eta)
            east = east + a * np.cos(2 * j * xi) * np.sinh(2 * j * eta)
        scale_m = 0.9996 * _RADIUS_M
        return 500_000.0 + scale_m * east, (1e7 if self.south else 0.0) + scale_m * north

    def inverse(self, east_m: ArrayLike, north_m: ArrayLike) -> tuple[Array, Array]:
        """Longitude and latitude in degrees of eastings and northings in metres."""
        scale_m = 0.9996 * _RADIUS_M
        xi = (np.asarray(north_m, dtype=np.float64) - (1e7 if self.south else 0.0)) / scale_m
        eta = (np.asarray(east_m, dtype=np.float64) - 500_000.0) / scale_m
        north, east = xi.copy(), eta.copy()
        for j, b in enumerate(_BACKWARD, start=1):
            north = north - b * np.sin(2 * j * xi) * np.cosh(2 * j * eta)
            east = east - b * np.cos(2 * j * xi) * np.sinh(2 * j * eta)
        # conformal to geodetic latitude: Newton's way on the isometric latitude, quadratic
        e = math.sqrt(_E2)
        isometric = np.arctanh(np.sin(north) / np.cosh(east))
        phi = np.arctan(np.sinh(isometric))
        for _ in range(6):
            phi = np.arctan(np.sinh(isometric + e * np.arctanh(e * np.sin(phi))))
        lam = np.arctan2(np.sinh(east), np.cos(north))
        return self.meridian_deg + np.degrees(lam), np.degrees(phi)

    def convergence_deg(self, longitude_deg: float, latitude_deg: float) -> float:
        """Angle from true to grid north, clockwise positive, on the sphere (0.1 arc second within a zone)."""
        lam = math.radians(longitude_deg - self.meridian_deg)
        return math.degrees(math.atan(math.tan(lam) * math.sin(math.radians(latitude_deg))))

    def scale(self, east_m: float) -> float:
        """Grid length over length on the ellipsoid, to a few parts in 10 million."""
        return 0.9996 * math.cosh((east_m - 500_000.0) / (0.9996 * _RADIUS_M))


def geocentric_m(longitude_deg: float, latitude_deg: float, ellipsoidal_height_m: float) -> Array:
    """X, Y, Z in metres."""
    lam, phi = math.radians(longitude_deg), math.radians(latitude_deg)
    radius_m = AXIS_M / math.sqrt(1.0 - _E2 * math.sin(phi) ** 2)
    out_m = (radius_m + ellipsoidal_height_m) * math.cos(phi)
    up_m = (radius_m * (1.0 - _E2) + ellipsoidal_height_m) * math.sin(phi)
    return np.array([out_m * math.cos(lam), out_m * math.sin(lam), up_m])


def axes(longitude_deg: float, latitude_deg: float) -> Array:
    """Give the unit vectors east, north, up in geocentric axes: the rows of a 3 x 3 matrix."""
    lam, phi = math.radians(longitude_deg), math.radians(latitude_deg)
    sin_l, cos_l, sin_p, cos_p = math.sin(lam), math.cos(lam), math.sin(phi), math.cos(phi)
    return np.array(
        [
            [-sin_l, cos_l, 0.0],
            [-sin_p * cos_l, -sin_p * sin_l, cos_p],
            [cos_p * cos_l, cos_p * sin_l, sin_p],
        ]
    )
