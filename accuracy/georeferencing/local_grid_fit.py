"""Least squares for a local grid: 2D conformal (four parameters) and a vertical shift or plane.

Both fits go from the projected grid to the local grid, all pairs weigh the same, and a residual is what the
fitted parameters give in the local grid minus what the pair says there.

References
----------
Two-dimensional conformal coordinate transformation and a posteriori standard errors by least squares:
Ghilani, Adjustment Computations, chapters on coordinate transformations and on error propagation (from
memory). The tests compare with a general solver and with Monte Carlo. The limits below are own choices.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import InputError

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
VerticalModel = Literal["none", "shift", "plane"]

#: Two pairs nearer than this are one place.
CLOSEST_M = 0.1
#: All pairs nearer to their centre than this carry neither scale nor direction: 1 cm turns 2 mm per metre.
SMALLEST_RADIUS_M = 5.0
#: Pairs with heights that stray less than this from one line, or than this share of its length, carry no plane.
NARROWEST_M = 1.0
NARROWEST_SHARE = 0.01
#: From so many pairs with heights a plane is fitted where nothing else is asked: one is left to check it.
PAIRS_FOR_PLANE = 4


@dataclass(frozen=True)
class PairResidual:
    """What the fit leaves at one pair, in the local grid, in metres: fitted minus listed."""

    id: str
    east_m: float
    north_m: float
    up_m: float | None

    @property
    def horizontal_m(self) -> float:
        """Length of the horizontal residual."""
        return math.hypot(self.east_m, self.north_m)


@dataclass(frozen=True)
class HorizontalFit:
    """Four parameters about an origin near the middle of the pairs.

    Attributes
    ----------
    factor : complex
        local east + i north = ``factor`` * (grid east + i north), about the middle.
    middle : complex
        Mean of the grid positions, from their origin, metres.
    local_middle : complex
        Mean of the local positions, from theirs, metres.
    residuals : ndarray of complex, shape (n,)
        Metres: fitted minus listed.
    spread_m2 : float
        Sum of squared distances of the grid positions from their middle.
    redundancy : int
        2 n - 4.
    sigma_m : float or None
        Standard deviation of one coordinate of a pair; None without redundancy.
    """

    factor: complex
    middle: complex
    local_middle: complex
    residuals: Complexes
    spread_m2: float
    redundancy: int
    sigma_m: float | None


@dataclass(frozen=True)
class VerticalFit:
    """Local height minus grid height = shift + tilt_north * north + tilt_east * east, about the origin.

    `covariance` is that of (shift, tilt_north, tilt_east), zero where tilts are not fitted; None without
    redundancy.
    """

    model: VerticalModel
    shift_m: float
    tilt_north: float
    tilt_east: float
    residuals_m: Floats
    redundancy: int
    sigma_m: float | None
    covariance: Floats | None


@dataclass(frozen=True)
class Fit:
    """How well a local grid fits its pairs. Standard errors are None without redundancy.

    Attributes
    ----------
    residuals : tuple of PairResidual
        In the order of the pairs.
    vertical_model : {"none", "shift", "plane"}
        What was fitted to the heights.
    redundancy_h, redundancy_v : int
        Observations minus parameters.
    sigma_h_m, sigma_v_m : float or None
        Standard deviation of one horizontal coordinate and of one height difference.
    se_scale_ppm, se_rotation_deg : float or None
        Standard errors of scale and rotation.
    se_origin_m : float or None
        Standard error of each local coordinate of the origin.
    se_shift_m, se_tilt_north_m_per_m, se_tilt_east_m_per_m : float or None
        Standard errors of what was fitted to the heights.
    radius_m : float
        Distance of the farthest pair from the middle of the pairs.
    """

    residuals: tuple[PairResidual, ...]
    vertical_model: VerticalModel
    redundancy_h: int
    redundancy_v: int
    sigma_h_m: float | None
    sigma_v_m: float | None
    se_scale_ppm: float | None
    se_rotation_deg: float | None
    se_origin_m: float | None
    se_shift_m: float | None
    se_tilt_north_m_per_m: float | None
    se_tilt_east_m_per_m: float | None
    radius_m: float
    middle_m: tuple[float, float]
    spread_m2: float
    vertical_covariance: tuple[tuple[float, ...], ...] | None

    @property
    def worst_horizontal(self) -> PairResidual:
        """The pair with the largest horizontal residual."""
        return max(self.residuals, key=lambda pair: pair.horizontal_m)

    @property
    def worst_vertical(self) -> PairResidual | None:
        """The pair with the largest vertical residual; None without heights."""
        tied = [pair for pair in self.residuals if pair.up_m is not None]
        return max(tied, key=lambda pair: abs(pair.up_m or 0.0)) if tied else None

    def distance_m(self, east_m: Floats, north_m: Floats) -> Floats:
        """Distance from the middle of the pairs, of places, from the origin in grid metres."""
        east, north = self.middle_m
        return np.hypot(east_m - east, north_m - north)

    def horizontal_se_m(self, east_m: Floats, north_m: Floats) -> Floats | None:
        """Give the radial standard error that the fit brings to places, from the origin in grid metres."""
        if self.sigma_h_m is None:
            return None
        share = 1.0 / len(self.residuals) + self.distance_m(east_m, north_m) ** 2 / self.spread_m2
        return np.asarray(self.sigma_h_m * np.sqrt(2.0 * share), dtype=np.float64)

    def vertical_se_m(self, east_m: Floats, north_m: Floats) -> Floats | None:
        """Give the standard error that the fit brings to heights at places, from the origin in grid metres."""
        if self.vertical_covariance is None:
            return None
        design = np.column_stack([np.ones_like(east_m), north_m, east_m])
        variance = np.einsum("ij,jk,ik->i", design, np.array(self.vertical_covariance), design)
        return np.asarray(np.sqrt(variance), dtype=np.float64)

    def as_record(self) -> dict[str, Any]:
        """Give the fit as plain values for JSON."""
        worst, high = self.worst_horizontal, self.worst_vertical
        return {
            "pairs": len(self.residuals),
            "height_pairs": sum(pair.up_m is not None for pair in self.residuals),
            "vertical_model": self.vertical_model,
            "redundancy_horizontal": self.redundancy_h,
            "redundancy_vertical": self.redundancy_v,
            "sigma_horizontal_m": self.sigma_h_m,
            "sigma_vertical_m": self.sigma_v_m,
            "standard_errors": {
                "scale_ppm": self.se_scale_ppm,
                "rotation_deg": self.se_rotation_deg,
                "origin_m": self.se_origin_m,
                "vertical_shift_m": self.se_shift_m,
                "tilt_north_m_per_m": self.se_tilt_north_m_per_m,
                "tilt_east_m_per_m": self.se_tilt_east_m_per_m,
            },
            "radius_m": self.radius_m,
            "largest_horizontal": {"id": worst.id, "residual_m": worst.horizontal_m},
            "largest_vertical": None if high is None else {"id": high.id, "residual_m": high.up_m},
            "residuals": [
                {
                    "id": pair.id,
                    "east_m": pair.east_m,
                    "north_m": pair.north_m,
                    "up_m": pair.up_m,
                    "horizontal_m": pair.horizontal_m,
                }
                for pair in self.residuals
            ],
        }


def fit_horizontal(
    grid: Complexes, local: Complexes, ids: Sequence[str], where: str
) -> HorizontalFit:
    """Fit four parameters.

    Parameters
    ----------
    grid, local : ndarray of complex, shape (n,)
        East + i north in metres, each from an origin near its pairs.
    ids : sequence of str
        Of the pairs, for messages.
    where : str
        Where the pairs stand, for messages.

    Raises
    ------
    InputError
        Fewer than two pairs; pairs too near to one another; a scale that only other units or other points
        explain; easting and northing exchanged on one side.
    """
    count = len(ids)
    if count < 2:
        raise InputError(
            f"{count} pair(s), and a local grid needs at least two",
            where=where,
            remedy="add points known in both grids; four or more, spread over the site, check one another",
        )
    _refuse_near(grid, "the projected grid", ids, where)
    _refuse_near(local, "the local grid", ids, where)
    middle, local_middle = complex(grid.mean()), complex(local.mean())
    z, w = grid - middle, local - local_middle
    spread = float(np.sum(np.abs(z) ** 2))
    factor = complex(np.sum(np.conj(z) * w)) / spread
    residuals = factor * z - w
    mirrored = complex(np.sum(z * w)) / spread * np.conj(z) - w
    size, size_mirrored = _rms(residuals), _rms(mirrored)
    if count > 2 and size > 0.05 and size_mirrored < size / 10.0:
        raise InputError(
            f"the pairs fit to {size_mirrored:.3f} m if one side is seen in a mirror, and to {size:.3f} m as "
            "they stand: easting and northing are exchanged on one side",
            where=where,
            remedy="check which column is easting on each side",
        )
    if not 0.5 <= abs(factor) <= 2.0:
        raise InputError(
            f"the fit has a scale of {abs(factor):.6f}{_foot_hint(abs(factor))}",
            where=where,
            remedy="check local_unit, the unit of crs, and that the ids name the same points on both sides",
        )
    redundancy = 2 * count - 4
    total = float(np.sum(np.abs(residuals) ** 2))
    sigma = math.sqrt(total / redundancy) if redundancy else None
    return HorizontalFit(factor, middle, local_middle, residuals, spread, redundancy, sigma)


def fit_vertical(
    east_m: Floats, north_m: Floats, difference_m: Floats, model: VerticalModel | None, where: str
) -> VerticalFit:
    """Fit a shift or a plane to height differences.

    Parameters
    ----------
    east_m, north_m : ndarray, shape (k,)
        Grid metres from the origin.
    difference_m : ndarray, shape (k,)
        Local height minus grid height.
    model : {"shift", "plane"} or None
        None: a plane from `PAIRS_FOR_PLANE` pairs, else a shift.
    where : str
        Where the pairs stand, for messages.

    Raises
    ------
    InputError
        No pair has heights, or the pairs do not carry a plane.
    """
    count = len(difference_m)
    if count == 0:
        raise InputError(
            f"vertical_model asks for a {model}, and no pair has heights",
            where=where,
            remedy="give pairs with both heights, or remove vertical_model",
        )
    if model is None:
        model = "plane" if count >= PAIRS_FOR_PLANE else "shift"
    columns = [np.ones(count)]
    length = 1.0
    if model == "plane":
        _refuse_line(east_m, north_m, where)
        length = float(np.sqrt(np.mean(east_m**2 + north_m**2)))  # keeps the columns alike in size
        columns += [north_m / length, east_m / length]
    design = np.column_stack(columns)
    # numpy: least squares by singular values; the inverse is that of at most three columns of like size.
    solved = np.linalg.lstsq(design, difference_m, rcond=None)[0]
    residuals = design @ solved - difference_m
    redundancy = count - len(columns)
    unit = np.array([1.0, 1.0 / length, 1.0 / length])[: len(columns)]
    values = np.zeros(3)
    values[: len(columns)] = solved * unit
    sigma = covariance = None
    if redundancy:
        sigma = math.sqrt(float(residuals @ residuals) / redundancy)
        covariance = np.zeros((3, 3))
        covariance[: len(columns), : len(columns)] = (
            sigma**2 * np.linalg.inv(design.T @ design) * np.outer(unit, unit)
        )
    return VerticalFit(
        model,
        float(values[0]),
        float(values[1]),
        float(values[2]),
        residuals,
        redundancy,
        sigma,
        covariance,
    )


def _rms(values: Complexes) -> float:
    return float(np.sqrt(np.mean(np.abs(values) ** 2)))


def _refuse_near(places: Complexes, side: str, ids: Sequence[str], where: str) -> None:
    from scipy.spatial import cKDTree

    xy = np.column_stack([places.real, places.imag])
    near = sorted(cKDTree(xy).query_pairs(CLOSEST_M))
    if near:
        first, second = near[0]
        raise InputError(
            f"pairs {ids[first]} and {ids[second]} stand {abs(places[first] - places[second]):.3f} m apart in "
            f"{side}: one place counted twice",
            where=where,
            remedy="keep one of them, or correct the coordinates",
        )
    radius = float(np.max(np.abs(places - places.mean())))
    if radius < SMALLEST_RADIUS_M:
        raise InputError(
            f"all pairs lie within {radius:.2f} m of their middle in {side}: too near to one another for "
            "scale and direction",
            where=where,
            remedy=f"take pairs spread over the site, at least {2 * SMALLEST_RADIUS_M:g} m apart",
        )


def _refuse_line(east_m: Floats, north_m: Floats, where: str) -> None:
    remedy = 'add pairs with heights off that line, or write vertical_model = "shift"'
    if len(east_m) < 3:
        raise InputError(
            f"{len(east_m)} pair(s) with heights, and a plane needs three",
            where=where,
            remedy=remedy,
        )
    z = np.column_stack([east_m - east_m.mean(), north_m - north_m.mean()])
    along, across = np.abs(z @ np.linalg.svd(z, full_matrices=False)[2].T).max(axis=0)
    if across < max(NARROWEST_M, NARROWEST_SHARE * along):
        raise InputError(
            f"the pairs with heights lie on one line: at most {across:.2f} m off it, {along:.0f} m along it; "
            "they carry no plane",
            where=where,
            remedy=remedy,
        )


def _foot_hint(scale: float) -> str:
    for metres in (0.3048, 1.0 / 0.3048):
        if abs(scale / metres - 1.0) < 0.01:
            return ", which is a foot in metres: one side is in another unit than declared"
    return ", which no grid has: other units than declared, or other points under the same ids"
