"""Simulated orthophotos of a target: exact geometry, averaged over fine parts of each pixel."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from accuracy.simulation.targets import Array, PaintedTarget, Texture

#: Parts of a pixel along either side.
PARTS = 7


@dataclass(frozen=True)
class Camera:
    """How the picture comes about.

    Attributes
    ----------
    pixel_m : float
        Side of a pixel.
    blur_pixels : float
        Standard deviation of the blur besides the pixel itself, in pixels.
    noise : float
        Standard deviation of a pixel, full scale 1.
    grid_rotation_deg : float
        The pixel grid is turned by this, counter-clockwise.
    resampled : bool
        Whether noise was there before the last resampling, so that neighbours share it.
    """

    pixel_m: float = 0.02
    blur_pixels: float = 0.6
    noise: float = 0.02
    grid_rotation_deg: float = 0.0
    resampled: bool = False


@dataclass(frozen=True, eq=False)
class Photograph:
    """Brightness 0 to 255, shape (rows, cols), and the affine coefficients of its grid (metres)."""

    values: Array
    transform: tuple[float, float, float, float, float, float]


def photograph(
    target: PaintedTarget,
    camera: Camera,
    random: np.random.Generator,
    *,
    half_width_m: float = 1.0,
    texture: Texture | None = None,
    centred: bool = False,
) -> Photograph:
    """Photograph the surroundings of the origin, straight down.

    Parameters
    ----------
    centred : bool
        Whether the middle of the middle pixel is the origin; else the grid lies anywhere.
    """
    from scipy.ndimage import gaussian_filter

    count = 2 * math.ceil(half_width_m / camera.pixel_m) + 1
    fine = count * PARTS
    turn = math.radians(camera.grid_rotation_deg)
    a, d = camera.pixel_m * math.cos(turn), camera.pixel_m * math.sin(turn)
    b, e = d, -a
    shift = random.uniform(-0.5, 0.5, 2) * camera.pixel_m * (not centred)
    c = -(a + b) * count / 2.0 + shift[0]
    f = -(d + e) * count / 2.0 + shift[1]
    middle = (np.arange(fine) + 0.5) / PARTS
    col, row = np.meshgrid(middle, middle)
    east, north = a * col + b * row + c, d * col + e * row + f
    shade, hit = target.reflectance(east, north)
    if texture is not None:
        within = slice(PARTS // 2, None, PARTS)  # blotches are larger than a pixel
        waves = np.random.default_rng(random.integers(2**32))
        coarse = texture.factor(east[within, within], north[within, within], waves)
        ground = np.kron(coarse, np.ones((PARTS, PARTS)))
        shade = np.where(hit, shade, shade * ground)
    shade = gaussian_filter(shade, camera.blur_pixels * PARTS, mode="nearest")
    pixels = shade.reshape(count, PARTS, count, PARTS).mean(axis=(1, 3))
    noise = random.normal(0.0, camera.noise, pixels.shape)
    if camera.resampled:
        noise = (
            noise + np.roll(noise, 1, 0) + np.roll(noise, 1, 1) + np.roll(noise, 1, (0, 1))
        ) / 2.0
    values = np.clip(np.rint((0.1 + 0.85 * pixels + noise) * 255.0), 0.0, 255.0)
    return Photograph(values, (a, b, c, d, e, f))
