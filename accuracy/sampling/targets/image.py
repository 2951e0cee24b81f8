"""Targets in an orthophoto: the pixels around a place, as values for the fit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np

from accuracy.formats import CellPatch
from accuracy.sampling.targets import Outcome, Refused, TargetSpec
from accuracy.sampling.targets.fit import Setting, fit_target
from accuracy.sampling.targets.likelihood import Values
from accuracy.sampling.targets.patterns import Array

#: Usual blur of an orthophoto in pixels: half a pixel of its own, and what lens and resampling add.
USUAL_BLUR_PIXELS = 0.7
#: Finest sampling that is fitted: pixels are averaged in blocks until the target is at most so many across.
MOST_ACROSS = 30.0
#: Fewest pixels across a target.
FEWEST_ACROSS = 4.0
DRAWS = 200

Affine = tuple[float, float, float, float, float, float]


class Photo(Protocol):
    """A picture with a place on the ground; see `accuracy.formats.picture.Picture`."""

    transform: Affine
    shape: tuple[int, int]
    full_scale: float | None

    def patch(self, row0: int, col0: int, rows: int, cols: int) -> CellPatch:
        """Read a window of brightness; NaN outside and without data."""
        ...


def measure_in_photo(
    photos: Sequence[Photo], x: float, y: float, spec: TargetSpec, metres: float | Array
) -> Outcome:
    """Measure the centre of a target near a place.

    Parameters
    ----------
    photos : sequence of Photo
        The first that holds pixels around the place counts.
    x, y : float
        The place in stored units of the pictures.
    metres : float or ndarray of two floats
        Metres per stored unit, along x and y.

    Returns
    -------
    Centre or Refused
        Relative to the place, metres.
    """
    if spec.pattern == "plate":
        return Refused(
            "wrong-pattern", "a plate is seen by its height, which a picture does not hold"
        )
    scale = np.broadcast_to(np.asarray(metres, dtype=np.float64), 2)
    best: Outcome = Refused("no-values", "no picture holds pixels there")
    for photo in photos:
        values, pixel_m = _pixels(photo, x, y, spec, scale)
        if values is None:
            continue
        if spec.size_m / pixel_m < FEWEST_ACROSS:
            told = f"pixels of {pixel_m:.3f} m, {spec.size_m / pixel_m:.1f} across it"
            return Refused("too-few-returns", told)
        setting = Setting(
            log_blur=float(np.log(USUAL_BLUR_PIXELS * pixel_m)),
            slip_m=0.0,
            separate=False,
            full_scales=() if photo.full_scale is None else (photo.full_scale,),
            draws=DRAWS,
        )
        return fit_target(spec, [values], setting)
    return best


def _pixels(
    photo: Photo, x: float, y: float, spec: TargetSpec, scale: Array
) -> tuple[Values | None, float]:
    """Give the pixels within reach relative to the place, and the larger side of a pixel, metres."""
    a, b, c, d, e, f = photo.transform
    matrix = np.array([[a, b], [d, e]])
    col, row = np.linalg.solve(matrix, np.array([x - c, y - f]))
    sides_m = np.hypot(*(matrix * scale[:, None]))
    pixel_m = float(sides_m.max())
    reach = (spec.search_m + 1.6 * spec.reach_m) / float(sides_m.min())
    first_row, first_col = int(np.floor(row - reach)), int(np.floor(col - reach))
    across = int(np.ceil(2.0 * reach)) + 2
    height, width = photo.shape
    if (
        first_row >= height
        or first_col >= width
        or first_row + across <= 0
        or first_col + across <= 0
    ):
        return None, pixel_m
    block = max(1, int(np.ceil(spec.size_m / pixel_m / MOST_ACROSS)))
    across += -across % block
    patch = photo.patch(first_row, first_col, across, across).values
    if (patch == photo.full_scale).mean() < 0.01:  # else blocks would hide what is saturated
        patch = patch.reshape(across // block, block, across // block, block).mean(axis=(1, 3))
    else:
        block = 1
    rows, cols = np.nonzero(np.isfinite(patch))
    if not rows.size:
        return None, pixel_m
    # relative to the place before anything is multiplied, so that no millimetre is lost
    off = np.stack([cols + 0.5, rows + 0.5]) * block
    off += np.array([[first_col - col], [first_row - row]])
    at = (matrix @ off).T * scale
    value = patch[rows, cols]
    return Values(at, value, np.ones(len(value))), pixel_m * block
