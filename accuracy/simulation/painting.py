"""How bright surfaces are, to the laser and to a camera: textures, roads, houses and painted targets."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from accuracy.simulation.chance import normal
from accuracy.simulation.scenario_record import Scenario

Array = NDArray[np.float64]

#: Reflectance by what a beam ended on: plants (-1), ground, roof, wall, plate (invented).
_REFLECTANCE = {-1: 0.55, 0: 0.34, 1: 0.24, 2: 0.42, 3: 0.34}
_ROAD = 0.13
#: Colours of the same, red, green, blue, per reflectance (invented).
_TINT = {
    -1: (0.50, 0.95, 0.40),
    0: (1.05, 1.00, 0.88),
    1: (1.45, 0.80, 0.62),
    2: (1.0, 0.98, 0.94),
    3: (1.0, 1.0, 1.0),
}
SPECKLE = 0.04  # standard deviation of intensity over its value
CAMERA_NOISE = 0.02
#: Ground texture: wavelength (m), azimuth (deg), share of the reflectance.
_TEXTURE = ((2.9, 20.0, 0.07), (1.7, 75.0, 0.06), (1.1, 130.0, 0.05), (0.73, 170.0, 0.04))
_RINGS, _SPOKES = 6, 12


def footprint_points() -> tuple[Array, Array]:
    """Give 72 places of equal weight that stand for a Gaussian beam of standard deviation 1.

    Six rings, each the middle of a sixth of the energy.
    """
    share = (np.arange(_RINGS) + 0.5) / _RINGS
    radius = np.sqrt(-2.0 * np.log(1.0 - share))
    # the same second moment as the Gaussian: 2 for the squared radius
    radius *= math.sqrt(2.0 / float(np.mean(radius**2)))
    angle = 2 * math.pi * (np.arange(_SPOKES)[None, :] + 0.5 * (np.arange(_RINGS)[:, None] % 2))
    angle = angle / _SPOKES
    return (radius[:, None] * np.cos(angle)).ravel(), (radius[:, None] * np.sin(angle)).ravel()


def surface(scenario: Scenario, east_m: Array, north_m: Array, kind: NDArray[np.int64]) -> Array:
    """Reflectance without targets, at places relative to the terrain's origin."""
    road = scenario.landscape.terrain.road
    plain = np.array([_REFLECTANCE[k] for k in (-1, 0, 1, 2, 3)])[kind + 1]
    plain = np.where((kind == 0) & road.covers(east_m, north_m), _ROAD, plain)
    texture = np.ones_like(plain)
    for wavelength_m, azimuth_deg, share in _TEXTURE:
        k = 2 * math.pi / wavelength_m
        azimuth = math.radians(azimuth_deg)
        texture += share * np.sin(k * (east_m * math.sin(azimuth) + north_m * math.cos(azimuth)))
    return np.asarray(plain * texture)


def painted(
    scenario: Scenario,
    seed: int,
    key: NDArray[np.uint64],
    start_m: Array,
    direction: Array,
    true_m: Array,
    kind: NDArray[np.int64],
    picture_offset_m: tuple[float, float],
) -> Array:
    """Brightness in the laser's light, and red, green, blue of the picture, shape (n, 4).

    The laser sees the mean over its footprint, which widens with the range and stretches with the angle of
    incidence; the camera sees the place itself (its pixels are left aside), `picture_offset_m` away.
    """
    east_m, north_m = true_m[:, 0], true_m[:, 1]
    laser = surface(scenario, east_m, north_m, kind)
    seen_east, seen_north = east_m - picture_offset_m[0], north_m - picture_offset_m[1]
    tone = surface(scenario, seen_east, seen_north, kind)
    tint = np.array([_TINT[k] for k in (-1, 0, 1, 2, 3)])[kind + 1]
    for target in scenario.landscape.targets:
        reach_m = 0.71 * target.size_m * (1.4 if target.kind == "disc" else 1.0) + 0.3
        near = np.flatnonzero(
            (np.abs(east_m - target.east_m) < reach_m)
            & (np.abs(north_m - target.north_m) < reach_m)
            & ((kind == 3) if target.raised_m > 0 else (kind == 0))
        )
        if near.size:
            at_e, at_n = _footprint(scenario, start_m[near], direction[near], true_m[near])
            around = surface(scenario, at_e, at_n, np.broadcast_to(kind[near][:, None], at_e.shape))
            laser[near] = target.reflectance(at_e, at_n, around).mean(axis=1)
        near = np.flatnonzero(
            (np.abs(seen_east - target.east_m) < reach_m)
            & (np.abs(seen_north - target.north_m) < reach_m)
            & ((kind == 3) if target.raised_m > 0 else (kind == 0))
        )
        if near.size:
            paint = target.reflectance(seen_east[near], seen_north[near], np.full(near.size, -1.0))
            on = near[paint >= 0]
            tone[on], tint[on] = paint[paint >= 0], (1.0, 1.0, 1.0)
    rows = (direction[:, 2] ** 2) ** 0.25  # oblique beams come back a little weaker
    laser = laser * rows * (1.0 + SPECKLE * normal(seed, 30, key))
    picture = tone[:, None] * tint * (1.0 + CAMERA_NOISE * normal(seed, 31, key))[:, None]
    return np.asarray(np.clip(np.column_stack([laser, picture]), 0.0, 1.0))


def _footprint(
    scenario: Scenario, start_m: Array, direction: Array, true_m: Array
) -> tuple[Array, Array]:
    """East and north of places in the footprints of beams, shape (n, 72) each, on level ground."""
    range_m = np.linalg.norm(true_m - start_m, axis=1)
    sigma_m = (
        range_m * scenario.payload.divergence_mrad * 1e-3 / 4.0
    )  # full width at 1/e^2: 4 sigma
    # two directions at right angles to the beam: across it and level, and along it
    level = np.hypot(direction[:, 0], direction[:, 1])
    safe = np.where(level > 1e-9, level, 1.0)
    away_e = np.where(level > 1e-9, direction[:, 0] / safe, 1.0)
    away_n = np.where(level > 1e-9, direction[:, 1] / safe, 0.0)
    stretch = 1.0 / np.abs(direction[:, 2])
    u, v = footprint_points()
    along = (sigma_m * stretch)[:, None] * u[None, :]
    aside = sigma_m[:, None] * v[None, :]
    east_m = true_m[:, 0, None] + along * away_e[:, None] - aside * away_n[:, None]
    north_m = true_m[:, 1, None] + along * away_n[:, None] + aside * away_e[:, None]
    return east_m, north_m
