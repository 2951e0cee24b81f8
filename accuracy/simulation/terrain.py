"""Invented ground whose height and slope are known exactly everywhere.

Gentle waves on a tilted plane, with a graded road and level pads blended in. Everything is analytic, so a
simulated flight, a raster and a survey made from it have a truth to be measured against.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
#: A value with its derivatives to the east and to the north.
Field = tuple[Array, Array, Array]


@dataclass(frozen=True)
class Wave:
    """One sine wave of the hills: amplitude * sin(2 pi d / wavelength + phase), d along the azimuth."""

    amplitude_m: float
    wavelength_m: float
    azimuth_deg: float
    phase_deg: float

    def field(self, east_m: Array, north_m: Array) -> Field:
        """Height of the wave and its slope at places relative to the terrain's origin."""
        k_east = 2 * math.pi / self.wavelength_m * math.sin(math.radians(self.azimuth_deg))
        k_north = 2 * math.pi / self.wavelength_m * math.cos(math.radians(self.azimuth_deg))
        angle = k_east * east_m + k_north * north_m + math.radians(self.phase_deg)
        slope = self.amplitude_m * np.cos(angle)
        return self.amplitude_m * np.sin(angle), slope * k_east, slope * k_north


@dataclass(frozen=True)
class Patch:
    """A circle on the ground, relative to the terrain's origin."""

    east_m: float
    north_m: float
    radius_m: float

    def distance(self, east_m: Array, north_m: Array) -> Field:
        """Distance from the centre and its derivatives (zero at the centre itself)."""
        d_east, d_north = east_m - self.east_m, north_m - self.north_m
        distance_m = np.hypot(d_east, d_north)
        safe_m = np.where(distance_m > 0, distance_m, 1.0)
        return distance_m, d_east / safe_m, d_north / safe_m


@dataclass(frozen=True)
class Pad:
    """A level circle at `height_m`, blended into the hills over `blend_m` outside its edge."""

    circle: Patch
    height_m: float
    blend_m: float

    def blend(self, hills: Field, east_m: Array, north_m: Array) -> Field:
        """Lay the pad on the hills."""
        weight = _fade(self.circle.distance(east_m, north_m), self.circle.radius_m, self.blend_m)
        zero = np.zeros_like(east_m)
        return _mix(hills, (zero + self.height_m, zero, zero), weight)


@dataclass(frozen=True)
class Road:
    """A straight road of even grade through (east_m, north_m, height_m), blended into the hills."""

    east_m: float
    north_m: float
    height_m: float
    azimuth_deg: float
    grade: float
    half_width_m: float
    blend_m: float

    def blend(self, hills: Field, east_m: Array, north_m: Array) -> Field:
        """Lay the road on the hills."""
        sin, cos = (
            math.sin(math.radians(self.azimuth_deg)),
            math.cos(math.radians(self.azimuth_deg)),
        )
        d_east, d_north = east_m - self.east_m, north_m - self.north_m
        across_m = d_east * cos - d_north * sin
        side = np.sign(across_m)
        weight = _fade((np.abs(across_m), side * cos, -side * sin), self.half_width_m, self.blend_m)
        zero = np.zeros_like(east_m)
        height_m = self.height_m + self.grade * (d_east * sin + d_north * cos)
        return _mix(hills, (height_m, zero + self.grade * sin, zero + self.grade * cos), weight)

    def covers(self, east_m: Array, north_m: Array) -> NDArray[np.bool_]:
        """Whether places are on the carriageway."""
        sin, cos = (
            math.sin(math.radians(self.azimuth_deg)),
            math.cos(math.radians(self.azimuth_deg)),
        )
        across_m = (east_m - self.east_m) * cos - (north_m - self.north_m) * sin
        return np.abs(across_m) <= self.half_width_m


@dataclass(frozen=True)
class Terrain:
    """A site: hills, a road, pads and vegetation.

    Attributes
    ----------
    east_m, north_m : float
        Easting and northing of the south-west corner; everything else is relative to it.
    width_m, depth_m : float
        Size of the site to the east and to the north.
    height_0_m, slope_east, slope_north : float
        The plane under the waves.
    waves, road, pads
        What lies on it; the road is laid first, then the pads in order.
    vegetation : tuple of Patch
        Where grass and shrubs stand.
    """

    east_m: float
    north_m: float
    width_m: float
    depth_m: float
    height_0_m: float
    slope_east: float
    slope_north: float
    waves: tuple[Wave, ...]
    road: Road
    pads: tuple[Pad, ...]
    vegetation: tuple[Patch, ...]

    def height_m(self, east_m: Array, north_m: Array) -> Array:
        """Height of the bare ground at eastings and northings, metres."""
        return self.field(east_m, north_m)[0]

    def gradient(self, east_m: Array, north_m: Array) -> tuple[Array, Array]:
        """Rise of the bare ground per metre to the east and per metre to the north."""
        return self.field(east_m, north_m)[1:]

    def field(self, east_m: Array, north_m: Array) -> Field:
        """Height and gradient together, which is what a ray search needs."""
        east_m, north_m = self._local(east_m, north_m)
        height_m = self.height_0_m + self.slope_east * east_m + self.slope_north * north_m
        by_east = np.full_like(height_m, self.slope_east)
        by_north = np.full_like(height_m, self.slope_north)
        for wave in self.waves:
            rise_m, more_east, more_north = wave.field(east_m, north_m)
            height_m, by_east, by_north = (
                height_m + rise_m,
                by_east + more_east,
                by_north + more_north,
            )
        ground: Field = self.road.blend((height_m, by_east, by_north), east_m, north_m)
        for pad in self.pads:
            ground = pad.blend(ground, east_m, north_m)
        return ground

    def vegetated(self, east_m: Array, north_m: Array) -> NDArray[np.bool_]:
        """Whether grass and shrubs stand there."""
        east_m, north_m = self._local(east_m, north_m)
        inside = np.zeros(east_m.shape, dtype=np.bool_)
        for patch in self.vegetation:
            inside |= patch.distance(east_m, north_m)[0] <= patch.radius_m
        return inside

    def on_road(self, east_m: Array, north_m: Array) -> NDArray[np.bool_]:
        """Whether places are on the carriageway."""
        return self.road.covers(*self._local(east_m, north_m))

    def contains(self, east_m: Array, north_m: Array) -> NDArray[np.bool_]:
        """Whether places are on the site."""
        east_m, north_m = self._local(east_m, north_m)
        across = (east_m >= 0) & (east_m <= self.width_m)
        return across & (north_m >= 0) & (north_m <= self.depth_m)

    def _local(self, east_m: Array, north_m: Array) -> tuple[Array, Array]:
        return np.asarray(east_m) - self.east_m, np.asarray(north_m) - self.north_m


def _fade(distance: Field, edge_m: float, blend_m: float) -> Field:
    """Weight 1 within `edge_m`, 0 beyond `edge_m + blend_m`, with continuous slope and curvature."""
    distance_m, by_east, by_north = distance
    t = np.clip((distance_m - edge_m) / blend_m, 0.0, 1.0)
    weight = 1.0 - t**3 * (10.0 - 15.0 * t + 6.0 * t**2)
    steepness = -30.0 * t**2 * (1.0 - t) ** 2 / blend_m
    return weight, steepness * by_east, steepness * by_north


def _mix(under: Field, over: Field, weight: Field) -> Field:
    """Lay one surface over another with a weight between 0 and 1: the product rule, three times."""
    step_m = over[0] - under[0]
    height_m = under[0] + weight[0] * step_m
    by_east = under[1] + weight[0] * (over[1] - under[1]) + weight[1] * step_m
    by_north = under[2] + weight[0] * (over[2] - under[2]) + weight[2] * step_m
    return height_m, by_east, by_north
