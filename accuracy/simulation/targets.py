"""Simulated returns on a target: painted or raised, with a known centre.

Made pulse by pulse from exact geometry: a bundle of rays spread over the beam asks, each for itself, what it
hits. Nothing of the model that is fitted is used here. Invented reflectances.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Kind = Literal["checkerboard", "disc", "ring", "plate", "none"]

#: Rays of one pulse.
RAYS = 96
_GOLDEN = math.pi * (3.0 - math.sqrt(5.0))


@dataclass(frozen=True)
class PaintedTarget:
    """A target on the ground; metres and degrees, reflectances 0 to 1.

    Attributes
    ----------
    kind : str
        ``none``: bare ground.
    size_m, inner_m : float
        Side or outer diameter; inner diameter of a ring.
    east_m, north_m, rotation_deg : float
        Where it lies; rotation counter-clockwise.
    light, dark, ground : float
        Reflectances.
    raised_m : float
        Height of the target above the ground.
    """

    kind: Kind
    size_m: float = 0.5
    inner_m: float = 0.3
    east_m: float = 0.0
    north_m: float = 0.0
    rotation_deg: float = 0.0
    light: float = 0.75
    dark: float = 0.08
    ground: float = 0.25
    raised_m: float = 0.0

    def reflectance(self, east_m: Array, north_m: Array) -> tuple[Array, NDArray[np.bool_]]:
        """Give reflectance and whether the target is hit, at points; ground where it is not."""
        turn = np.exp(-1j * math.radians(self.rotation_deg))
        own = ((east_m - self.east_m) + 1j * (north_m - self.north_m)) * turn
        side, radius = self.size_m / 2.0, np.abs(own)
        in_square = np.maximum(np.abs(own.real), np.abs(own.imag)) <= side
        if self.kind == "checkerboard":
            light = (own.real >= 0.0) == (own.imag >= 0.0)
            hit = in_square
        elif self.kind == "disc":
            hit, light = radius <= side, np.ones(own.shape, dtype=bool)
        elif self.kind == "ring":
            hit = radius <= side
            light = radius >= self.inner_m / 2.0
        elif self.kind == "plate":
            hit, light = in_square, np.zeros(own.shape, dtype=bool)
        else:
            hit = light = np.zeros(own.shape, dtype=bool)
        shade = self.ground if self.kind == "plate" else self.dark
        return np.where(hit, np.where(light, self.light, shade), self.ground), hit


@dataclass(frozen=True)
class Texture:
    """Blotches of the ground: a sum of plane waves with random phases.

    Attributes
    ----------
    deviation : float
        Standard deviation of the reflectance, as a share of it.
    scale_m : float
        Wave lengths are about this.
    """

    deviation: float = 0.0
    scale_m: float = 0.3

    def factor(self, east_m: Array, north_m: Array, random: np.random.Generator) -> Array:
        """Give the factor of the reflectance at points of any shape."""
        if not self.deviation:
            return np.ones(east_m.shape)
        waves = 24
        heading = random.uniform(0.0, 2.0 * math.pi, waves)
        number = 2.0 * math.pi / (self.scale_m * random.uniform(0.5, 2.0, waves))
        phase = random.uniform(0.0, 2.0 * math.pi, waves)
        total = np.zeros(east_m.shape)
        for k, a, p in zip(number, heading, phase, strict=True):
            total += np.cos(k * (math.cos(a) * east_m + math.sin(a) * north_m) + p)
        return np.maximum(0.0, 1.0 + self.deviation * total * math.sqrt(2.0 / waves))


@dataclass(frozen=True)
class Beam:
    """Scanner and sampling.

    Attributes
    ----------
    density_m2 : float
        Returns per square metre of one flight line.
    footprint_m : float
        Diameter of the footprint, to 1/e^2 of a Gaussian beam.
    range_noise_m : float
        Standard deviation of a range.
    intensity_noise : float
        Standard deviation of an intensity, as a share of full scale.
    largest_angle_deg : float
        A line sees the target under one scan angle up to this.
    spread : {"gaussian", "even"}
        Across the footprint.
    full_scale : float
        Intensity of reflectance 1; more is cut off at `ceiling`.
    """

    density_m2: float = 200.0
    footprint_m: float = 0.080
    range_noise_m: float = 0.010
    intensity_noise: float = 0.03
    largest_angle_deg: float = 25.0
    spread: Literal["gaussian", "even"] = "gaussian"
    full_scale: float = 40_000.0
    ceiling: float = 65_535.0


@dataclass(frozen=True)
class TargetReturns:
    """Returns around the target; arrays of shape (n,)."""

    east_m: Array
    north_m: Array
    up_m: Array
    intensity: NDArray[np.uint16]
    line: NDArray[np.uint16]
    colour: NDArray[np.uint16]


def scan_target(
    target: PaintedTarget,
    beam: Beam,
    random: np.random.Generator,
    *,
    half_width_m: float = 1.2,
    lines: int = 1,
    texture: Texture | None = None,
    ground_roughness_m: float = 0.004,
    colour_shift_m: tuple[float, float] = (0.0, 0.0),
) -> TargetReturns:
    """Scan the surroundings of the origin in one or several flight lines of different headings.

    Parameters
    ----------
    colour_shift_m : tuple of float
        East and north by which the colours lie aside of the returns they belong to: a return carries the
        colour of the place that much to the west and south.
    """
    texture = texture or Texture()
    tint = int(random.integers(2**32))
    parts = []
    for line in range(1, lines + 1):
        aim = _sweeps(beam.density_m2, half_width_m, random)
        angle = math.radians(random.uniform(-beam.largest_angle_deg, beam.largest_angle_deg))
        look = random.uniform(0.0, 2.0 * math.pi)
        aside = math.tan(angle) * np.array([math.cos(look), math.sin(look)])
        rays = _rays(len(aim), beam, random)
        stretch = 1.0 / math.cos(angle)
        along = rays @ np.array([math.cos(look), math.sin(look)])
        across = rays @ np.array([-math.sin(look), math.cos(look)])
        east = aim[:, None, 0] + stretch * along * math.cos(look) - across * math.sin(look)
        north = aim[:, None, 1] + stretch * along * math.sin(look) + across * math.cos(look)
        shade, hit = target.reflectance(east, north)
        ground = texture.factor(east, north, np.random.default_rng(tint))
        shade = np.where(hit, shade, shade * ground)
        signal = shade.mean(axis=1)
        signal += random.normal(0.0, beam.intensity_noise, len(aim))
        gain = 1.0 if lines == 1 else random.uniform(0.7, 1.3)
        stored = np.clip(np.rint(signal * gain * beam.full_scale), 0.0, beam.ceiling)
        raised = target.raised_m * (shade * hit).sum(axis=1) / np.maximum(shade.sum(axis=1), 1e-9)
        slip = random.normal(0.0, beam.range_noise_m, len(aim))
        rough = random.normal(0.0, ground_roughness_m, len(aim))
        at_east = aim[:, 0] + slip * math.cos(angle) * aside[0]
        at_north = aim[:, 1] + slip * math.cos(angle) * aside[1]
        colour = _colour(
            target,
            texture,
            (at_east - colour_shift_m[0], at_north - colour_shift_m[1]),
            tint,
            random,
        )
        parts.append(
            (
                at_east,
                at_north,
                raised + rough - slip * math.cos(angle),
                stored.astype(np.uint16),
                np.full(len(aim), line, np.uint16),
                colour,
            )
        )
    return TargetReturns(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _colour(
    target: PaintedTarget,
    texture: Texture,
    at: tuple[Array, Array],
    tint: int,
    random: np.random.Generator,
) -> NDArray[np.uint16]:
    """Give the brightness of a photograph with pixels of 2 cm at places, in eight bits stored high."""
    inner = (np.arange(5) - 2.0) * 0.004
    east = at[0][:, None, None] + inner[None, :, None]
    north = at[1][:, None, None] + inner[None, None, :]
    east, north = np.broadcast_arrays(east, north)
    shade, hit = target.reflectance(east, north)
    ground = texture.factor(east, north, np.random.default_rng(tint))
    bright = np.where(hit, shade, shade * ground).mean(axis=(1, 2))
    bright = bright * 0.8 + 0.05 + random.normal(0.0, 0.02, len(bright))
    stored: NDArray[np.uint16] = (np.clip(np.rint(bright * 255.0), 0, 255) * 256).astype(np.uint16)
    return stored


def _sweeps(density_m2: float, half_width_m: float, random: np.random.Generator) -> Array:
    """Give aim points in sweeps of any heading: even along a sweep, uneven between sweeps, and jittered."""
    reach = half_width_m * math.sqrt(2.0)
    ratio = random.uniform(0.5, 2.0)  # spacing between sweeps over that along them
    step = 1.0 / math.sqrt(density_m2 * ratio)
    gaps = step * ratio * random.uniform(0.6, 1.4, int(2.0 * reach / (0.6 * step * ratio)) + 2)
    offset = -reach - step * ratio * random.uniform() + np.cumsum(gaps)
    offset = offset[offset < reach]
    places = np.arange(-reach, reach, step)
    along = places[None, :] + step * random.uniform(size=(len(offset), 1))
    across = np.broadcast_to(offset[:, None], along.shape)
    along = along + random.normal(0.0, 0.08 * step, along.shape)
    across = across + random.normal(0.0, 0.08 * step, along.shape)
    turn = np.exp(1j * random.uniform(0.0, 2.0 * math.pi))
    placed = ((along + 1j * across) * turn).ravel()
    inside = np.maximum(np.abs(placed.real), np.abs(placed.imag)) <= half_width_m
    aims: Array = np.column_stack([placed.real, placed.imag])[inside]
    return aims


def _rays(count: int, beam: Beam, random: np.random.Generator) -> Array:
    """Give where the rays of each pulse lie around its axis: a spiral, turned at random; metres."""
    share = (np.arange(RAYS) + 0.5) / RAYS
    if beam.spread == "gaussian":
        radius = beam.footprint_m / 4.0 * np.sqrt(-2.0 * np.log(1.0 - share))
    else:
        radius = beam.footprint_m / 2.0 * np.sqrt(share)
    turn = random.uniform(0.0, 2.0 * math.pi, (count, 1)) + _GOLDEN * np.arange(RAYS)
    rays: Array = np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=-1)
    return rays
