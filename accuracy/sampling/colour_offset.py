"""How far the colours of a cloud lie aside of its intensities, from many patches of ground.

Colours come from a camera, intensities from the laser; both see the same edges. In each patch two halves of the
returns are drawn by chance, independently of each other. The colours of one, smoothed, are moved until they fit
the smoothed intensities of the other best. Were both drawn from all returns alike, the gaps between the returns
would be the same in both and pull the offset to zero; were they dealt so that no return is in both, the gaps of
one would be the returns of the other and push it away from zero. Patches are independent of each other, and
their scatter says how sure the mean is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Largest offset that is looked for, and steps of the search: coarse, then around the best; metres.
LARGEST_M, STEP_M, FINE_M = 0.30, 0.05, 0.02
ROUNDS = 6
#: A patch tells something if the best fit explains this share, and is not at the rim of the search.
LEAST_EXPLAINED = 0.15
#: Fewest returns in a patch and fewest patches. No source.
FEWEST_RETURNS, FEWEST_PATCHES = 120, 4
#: A patch farther from the median than so many deviations and this on top fits something else, metres. Wide,
#: because leaving out what merely scatters would make the rest look too sure.
GROSS, GROSS_M = 5.0, 0.03
#: Deals of two halves; their mean is taken.
DEALS = 6
#: Nodes of the smoothed fields are so far apart, metres; the smoothing is this share of the spacing of a half.
NODE_M, SMOOTHING = 0.04, 0.8


@dataclass(frozen=True, eq=False)
class Patch:
    """Returns of one patch: places relative to its middle (metres), intensity, brightness."""

    at: Array
    intensity: Array
    colour: Array


@dataclass(frozen=True)
class PatchOffset:
    """Colours minus intensities in one patch, metres, and the share of the variance explained."""

    east_m: float
    north_m: float
    explained: float


@dataclass(frozen=True)
class ColourOffset:
    """Where colours lie relative to intensities; metres.

    Attributes
    ----------
    east_m, north_m, sigma_east_m, sigma_north_m : float
        Mean of the patches and its standard error from their scatter.
    chance : float
        Probability of so large an offset if there were none.
    patches : int
        That told something, of `tried`.
    """

    east_m: float
    north_m: float
    sigma_east_m: float
    sigma_north_m: float
    chance: float
    patches: int
    tried: int


def colour_offset(patches: Sequence[Patch]) -> ColourOffset | None:
    """Give the offset of the colours; None where too few patches tell one."""
    found = [one for patch in patches if (one := patch_offset(patch)) is not None]
    return mean_offset(found, len(patches))


def mean_offset(found: Sequence[PatchOffset], tried: int) -> ColourOffset | None:
    """Give the mean of what patches tell, and how sure it is; None with too few of them."""
    if len(found) < FEWEST_PATCHES:
        return None
    offsets = np.array([(one.east_m, one.north_m) for one in found])
    kept = offsets[_inliers(offsets)]
    n = len(kept)
    if n < FEWEST_PATCHES:
        return None
    mean = kept.mean(axis=0)
    covariance = np.cov(kept.T) / n + 1e-12 * np.eye(2)
    # Hotelling: T^2 (n - 2) / (2 (n - 1)) has the F distribution with 2 and n - 2 degrees of freedom
    squared = float(mean @ np.linalg.solve(covariance, mean))
    ratio = squared * (n - 2) / (2.0 * (n - 1))
    sigma = np.sqrt(np.diag(covariance))
    return ColourOffset(
        float(mean[0]),
        float(mean[1]),
        float(sigma[0]),
        float(sigma[1]),
        _chance(ratio, n - 2),
        n,
        tried,
    )


def _chance(ratio: float, freedom: int) -> float:
    """Give the upper tail of F with 2 and `freedom` degrees: closed form."""
    return float((1.0 + 2.0 * ratio / freedom) ** (-freedom / 2.0))


def _inliers(offsets: Array) -> NDArray[np.bool_]:
    """Leave out patches that lie far from the middle of all (repeating patterns, people walking)."""
    middle = np.median(offsets, axis=0)
    away = np.abs(offsets - middle)
    scale = 1.4826 * np.median(away, axis=0)
    return np.asarray((away <= GROSS * scale + GROSS_M).all(axis=1))


def patch_offset(patch: Patch) -> PatchOffset | None:
    """Give the offset in one patch; None where it tells none."""
    if len(patch.at) < FEWEST_RETURNS:
        return None
    intensity, colour = _ranks(patch.intensity), _ranks(patch.colour)
    if np.ptp(intensity) == 0.0 or np.ptp(colour) == 0.0:
        return None
    reach_m = float(np.abs(patch.at).max())
    nodes = np.arange(-reach_m, reach_m + NODE_M / 2.0, NODE_M)
    spacing_m = 2.0 * reach_m / np.sqrt(len(patch.at) / 2.0)
    random = np.random.default_rng(7)
    fields = []
    for _ in range(DEALS):
        one, two = random.random((2, len(patch.at))) < 0.5
        moved = _field(patch.at[one], colour[one], nodes, SMOOTHING * spacing_m)
        still = _field(patch.at[two], intensity[two], nodes, SMOOTHING * spacing_m)
        fields.append((moved, still))
    along = np.arange(-LARGEST_M, LARGEST_M + STEP_M / 2.0, STEP_M)
    coarse = _surface(fields, nodes, along, along)
    best = np.unravel_index(int(np.argmax(coarse)), coarse.shape)
    if coarse[best] < LEAST_EXPLAINED or {0, len(along) - 1} & {int(i) for i in best}:
        return None
    centre = np.array([along[best[0]], along[best[1]]])
    for _ in range(ROUNDS):  # until the peak is in the middle: beside it, a paraboloid leans
        steps = np.linspace(-2.0 * FINE_M, 2.0 * FINE_M, 5)
        fine = _surface(fields, nodes, centre[0] + steps, centre[1] + steps)
        move = _peak(fine, steps)
        centre = centre + move
        if np.abs(move).max() < 0.1 * FINE_M:
            break
    if np.abs(centre).max() > LARGEST_M:
        return None
    return PatchOffset(float(centre[0]), float(centre[1]), float(coarse[best]))


def _ranks(values: Array) -> Array:
    """Cut off the extremes, so that one glint does not decide."""
    low, high = np.quantile(values, [0.02, 0.98])
    return np.clip(values, low, high)


def _field(at: Array, values: Array, nodes: Array, width_m: float) -> Array:
    """Smooth values onto a square grid of nodes, shape (east, north): Gaussian weights, so separable."""
    east, north = (
        np.exp(-0.5 * ((nodes[:, None] - at[None, :, axis]) / width_m) ** 2) for axis in (0, 1)
    )
    weights = east @ north.T
    return np.asarray((east * values) @ north.T / np.maximum(weights, 1e-12))


def _surface(
    fields: Sequence[tuple[Array, Array]], nodes: Array, east: Array, north: Array
) -> Array:
    """Give the mean share explained for every offset of colours, shape (east, north)."""
    from scipy.ndimage import map_coordinates

    inner = np.flatnonzero(np.abs(nodes) <= nodes[-1] - LARGEST_M - 2.0 * NODE_M)
    rows, cols = np.meshgrid(inner, inner, indexing="ij")
    shares = np.zeros((len(east), len(north)))
    for moved, still in fields:
        two = still[rows, cols].ravel()
        two = two - two.mean()
        for i, j in np.ndindex(shares.shape):
            where = np.array([rows.ravel() + east[i] / NODE_M, cols.ravel() + north[j] / NODE_M])
            one = map_coordinates(moved, where, order=1)
            one = one - one.mean()
            shares[i, j] += (one @ two) ** 2 / max(float((one @ one) * (two @ two)), 1e-30)
    return np.asarray(shares / len(fields))


def _peak(surface: Array, steps: Array) -> Array:
    """Give where a paraboloid through the surface is highest, no farther than its rim."""
    east, north = (axis.ravel() for axis in np.meshgrid(steps, steps, indexing="ij"))
    design = np.column_stack([np.ones_like(east), east, north, east**2, east * north, north**2])
    c = np.linalg.lstsq(design, surface.ravel(), rcond=None)[0]
    bend = np.array([[2.0 * c[3], c[4]], [c[4], 2.0 * c[5]]])
    if c[3] < 0.0 and np.linalg.det(bend) > 0.0:
        move = -np.linalg.solve(bend, c[1:3])
    else:
        best = np.unravel_index(int(np.argmax(surface)), surface.shape)
        move = np.array([steps[best[0]], steps[best[1]]])
    return np.clip(move, steps[0], steps[-1])
