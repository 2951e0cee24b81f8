"""What stands on the terrain: slopes of stated aspect, houses, painted targets, and where each beam ends."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from accuracy.simulation.terrain import Array, Field, Pad, Terrain, _fade, _mix

Pattern = Literal["checkerboard", "disc", "ring", "plate"]


@dataclass(frozen=True)
class Slope(Pad):
    """An even slope in a circle, blended into the hills: a pad that leans.

    `height_m` is at the centre; rises per metre to the east and to the north.
    """

    by_east: float = 0.0
    by_north: float = 0.0

    def blend(self, hills: Field, east_m: Array, north_m: Array) -> Field:
        """Lay the slope on the hills."""
        circle = self.circle
        weight = _fade(circle.distance(east_m, north_m), circle.radius_m, self.blend_m)
        zero = np.zeros_like(east_m)
        height_m = (
            self.height_m
            + self.by_east * (east_m - circle.east_m)
            + self.by_north * (north_m - circle.north_m)
        )
        return _mix(hills, (height_m, zero + self.by_east, zero + self.by_north), weight)


@dataclass(frozen=True)
class House:
    """A house with four upright walls under a gabled roof, or a box where eaves and ridge are level.

    Attributes
    ----------
    east_m, north_m : float
        Middle, relative to the terrain's origin.
    azimuth_deg : float
        Direction of the ridge.
    length_m, width_m : float
        Along the ridge and across it.
    floor_m, eaves_m, ridge_m : float
        Heights in the height system; walls reach from below the ground to the eaves or the gable.
    """

    east_m: float
    north_m: float
    azimuth_deg: float
    length_m: float
    width_m: float
    floor_m: float
    eaves_m: float
    ridge_m: float

    def reach(self, origin_m: Array, direction: Array, range_m: Array) -> Array:
        """Shorten ranges to where beams meet the house, if they do before.

        Parameters
        ----------
        origin_m, direction : ndarray, shape (n, 3)
            Beams, relative to the terrain's origin in plan.
        range_m : ndarray, shape (n,)
            Where they end without the house.
        """
        # along the ridge, across it, up
        sin, cos = (
            math.sin(math.radians(self.azimuth_deg)),
            math.cos(math.radians(self.azimuth_deg)),
        )
        d_east, d_north = origin_m[:, 0] - self.east_m, origin_m[:, 1] - self.north_m
        at = (d_east * sin + d_north * cos, d_east * cos - d_north * sin, origin_m[:, 2])
        way = (
            direction[:, 0] * sin + direction[:, 1] * cos,
            direction[:, 0] * cos - direction[:, 1] * sin,
            direction[:, 2],
        )
        half_l, half_w = self.length_m / 2, self.width_m / 2
        fall = (self.ridge_m - self.eaves_m) / half_w
        with np.errstate(divide="ignore", invalid="ignore"):
            # both halves of the roof: up = ridge - fall * side * across
            for side in (-1.0, 1.0):
                t = (self.ridge_m - at[2] - fall * side * at[1]) / (way[2] + fall * side * way[1])
                along, across = at[0] + t * way[0], at[1] + t * way[1]
                on = (np.abs(along) <= half_l) & (side * across >= 0) & (side * across <= half_w)
                range_m = np.where(on & (t > 0) & (t < range_m), t, range_m)
            for axis, half, other in ((0, half_l, half_w), (1, half_w, half_l)):
                for side in (-1.0, 1.0):
                    t = (side * half - at[axis]) / way[axis]
                    aside, up = at[1 - axis] + t * way[1 - axis], at[2] + t * way[2]
                    top = self.ridge_m - fall * np.abs(aside) if axis == 0 else self.eaves_m
                    on = (np.abs(aside) <= other) & (up <= top) & (up >= self.floor_m)
                    range_m = np.where(on & (t > 0) & (t < range_m), t, range_m)
        return range_m

    def roof_m(self, east_m: Array, north_m: Array) -> Array:
        """Height of the roof over places, carried on beyond the eaves."""
        azimuth = math.radians(self.azimuth_deg)
        across = (east_m - self.east_m) * math.cos(azimuth) - (north_m - self.north_m) * math.sin(
            azimuth
        )
        fall = (self.ridge_m - self.eaves_m) / (self.width_m / 2)
        return np.asarray(self.ridge_m - fall * np.abs(across))

    def covers(self, east_m: Array, north_m: Array, margin_m: float = 0.0) -> NDArray[np.bool_]:
        """Whether places, relative to the terrain's origin, lie under the house or near it."""
        sin, cos = (
            math.sin(math.radians(self.azimuth_deg)),
            math.cos(math.radians(self.azimuth_deg)),
        )
        d_east, d_north = east_m - self.east_m, north_m - self.north_m
        along, across = d_east * sin + d_north * cos, d_east * cos - d_north * sin
        inside = np.abs(along) <= self.length_m / 2 + margin_m
        return np.asarray(inside & (np.abs(across) <= self.width_m / 2 + margin_m))


@dataclass(frozen=True)
class Target:
    """A target painted on the ground, or a plate on legs.

    Attributes
    ----------
    id : str
        Of its checkpoint.
    east_m, north_m : float
        Centre, relative to the terrain's origin.
    kind : Pattern
        ``checkerboard``: two by two squares; ``disc``: bright in a dark square; ``ring``: bright with a dark
        middle of half the diameter; ``plate``: bright, `raised_m` over the ground.
    size_m : float
        Side of the square, diameter of disc and ring.
    azimuth_deg : float
        Direction of the square's sides, clockwise from north; the bright quarters of a checkerboard are the
        first (right of that direction and ahead) and the third.
    bright, dark : float
        Reflectance of paint, 0 to 1.
    raised_m : float
    """

    id: str
    east_m: float
    north_m: float
    kind: Pattern = "checkerboard"
    size_m: float = 0.5
    azimuth_deg: float = 0.0
    bright: float = 0.80
    dark: float = 0.06
    raised_m: float = 0.0

    def reflectance(self, east_m: Array, north_m: Array, around: Array) -> Array:
        """Reflectance at places relative to the terrain's origin; `around` where there is no paint."""
        sin, cos = (
            math.sin(math.radians(self.azimuth_deg)),
            math.cos(math.radians(self.azimuth_deg)),
        )
        d_east, d_north = east_m - self.east_m, north_m - self.north_m
        ahead, right = d_east * sin + d_north * cos, d_east * cos - d_north * sin
        half_m = self.size_m / 2
        distance_m = np.hypot(d_east, d_north)
        if self.kind == "checkerboard":
            inside = np.maximum(np.abs(ahead), np.abs(right)) <= half_m
            paint = np.where(ahead * right >= 0, self.bright, self.dark)
        elif self.kind == "plate":
            inside = np.maximum(np.abs(ahead), np.abs(right)) <= half_m
            paint = np.full_like(ahead, self.bright)
        elif self.kind == "disc":
            inside = np.maximum(np.abs(ahead), np.abs(right)) <= 0.7 * self.size_m
            paint = np.where(distance_m <= half_m, self.bright, self.dark)
        else:
            inside = distance_m <= half_m
            paint = np.where(distance_m >= half_m / 2, self.bright, self.dark)
        return np.where(inside, paint, around)


@dataclass(frozen=True)
class Landscape:
    """Terrain with what stands on it."""

    terrain: Terrain
    houses: tuple[House, ...] = ()
    targets: tuple[Target, ...] = ()

    @property
    def plates(self) -> tuple[House, ...]:
        """Raised targets as boxes of 2 cm thickness."""
        boxes = []
        for target in self.targets:
            if target.raised_m > 0:
                up_m = self.ground_m(target.east_m, target.north_m) + target.raised_m
                boxes.append(
                    House(
                        target.east_m,
                        target.north_m,
                        target.azimuth_deg,
                        target.size_m,
                        target.size_m,
                        up_m - 0.02,
                        up_m,
                        up_m,
                    )
                )
        return tuple(boxes)

    def field(self, east_m: Array, north_m: Array) -> Field:
        """Height and gradient of the bare ground, at places relative to the origin.

        The same as `Terrain.field`, but pads are laid only where they reach.
        """
        terrain = self.terrain
        bare = replace(terrain, east_m=0.0, north_m=0.0, pads=())
        height_m, by_east, by_north = bare.field(east_m, north_m)
        for pad in terrain.pads:
            circle = pad.circle
            reach_m = circle.radius_m + pad.blend_m
            at = np.flatnonzero(
                (np.abs(east_m - circle.east_m) < reach_m)
                & (np.abs(north_m - circle.north_m) < reach_m)
            )
            if at.size:
                under = (height_m[at], by_east[at], by_north[at])
                height_m[at], by_east[at], by_north[at] = pad.blend(under, east_m[at], north_m[at])
        return height_m, by_east, by_north

    def ground_m(self, east_m: float, north_m: float) -> float:
        """Height of the bare ground at a place relative to the origin."""
        terrain = self.terrain
        return float(
            terrain.height_m(np.array(terrain.east_m + east_m), np.array(terrain.north_m + north_m))
        )
