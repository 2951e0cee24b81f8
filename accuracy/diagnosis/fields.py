"""Displacement of the deliverable by a unit of each elementary cause: arrays of shape (n, 3), metres per unit.

Derived from the geometry of a level flight with a scanner across the track: heading psi, height H above the
ground, x metres to the right of the track, theta = atan(x / H). Sources of the derivation: Glennie, Journal of
Applied Geodesy 1, 2007 (as cited in public code; not read), and plain trigonometry.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from accuracy.diagnosis.records import Array, Sightings

Field = Callable[[Sightings], Array]


@dataclass(frozen=True)
class Elementary:
    """One elementary cause: unit, largest plausible size in it, and whether it turns with the aircraft."""

    name: str
    unit: str
    largest: float
    body: bool
    field: Field


def towards(s: Sightings, forward: Array | float, right: Array | float, up: Array | float) -> Array:
    """Turn body axes into east, north, up; rows without a heading get 0."""
    known = s.geometry_known
    psi = np.radians(np.where(known, s.heading_deg, 0.0))
    ahead, aside, above = (
        np.broadcast_to(np.asarray(v, float), psi.shape) for v in (forward, right, up)
    )
    turned = np.column_stack(
        [
            ahead * np.sin(psi) + aside * np.cos(psi),
            ahead * np.cos(psi) - aside * np.sin(psi),
            above,
        ]
    )
    return np.where(known[:, None], np.nan_to_num(turned), 0.0)


def constant(s: Sightings, east: float, north: float, up: float) -> Array:
    """Give the same displacement everywhere."""
    return np.tile(np.array([east, north, up], dtype=np.float64), (s.count, 1))


def linear(
    s: Sightings, per_east: tuple[float, float, float], per_north: tuple[float, float, float]
) -> Array:
    """Give a displacement that grows with the distance from the mean of the points."""
    here = s.centred_m()
    return np.outer(here[:, 0], per_east) + np.outer(here[:, 1], per_north)


def _angle(s: Sightings) -> Array:
    return np.arctan2(s.across_m, s.height_m)


def _per_millisecond(s: Sightings) -> Array:
    """Give the way of a millisecond: along the direction of flight, not of the nose.

    Of a level flight; see `climb_per_millisecond`.
    """
    crab = math.radians(s.crab_deg)
    way = s.speed_m_s * 1e-3
    return towards(s, way * math.cos(crab), -way * math.sin(crab), 0.0)


#: Ground that an aircraft follows is the mean over so much to all sides (common practice, no source).
FOLLOWED_M = 25.0


def climb_per_millisecond(s: Sightings) -> Array:
    """Give what a millisecond climbs where the aircraft follows the ground below it in full.

    How far it does is not in any record, so that this is a field of its own beside `timing`: with its size
    from 0 (level flight) to that of the clock (followed in full). The ground is that of the checkpoints around
    the place below the aircraft: a plane through them, the near ones counting most (local linear regression;
    Cleveland, Journal of the American Statistical Association 74, 1979; from memory). 0 where nothing is near.
    """
    field = np.zeros((s.count, 3))
    known = s.geometry_known & np.isfinite(s.position_m).all(axis=1)
    if not known.any():
        return field
    _, first = np.unique(s.place[known], return_index=True)
    ground = s.position_m[known][first]
    ground = ground - ground.mean(axis=0)
    here = s.position_m[:, :2] - s.position_m[known][first][:, :2].mean(axis=0)
    for line in s.lines:
        rows = np.flatnonzero(known & (s.line == line))
        psi = np.radians(s.heading_deg[rows])
        course = psi - math.radians(s.crab_deg)
        aside = s.across_m[rows, None] * np.column_stack([np.cos(psi), -np.sin(psi)])
        rise = _rise(here[rows] - aside, ground)
        along = rise[:, 0] * np.sin(course) + rise[:, 1] * np.cos(course)
        field[rows, 2] = s.speed_m_s[rows] * 1e-3 * along
    return field


def _rise(below: Array, ground: Array) -> Array:
    """Give the rise per metre east and north of a plane through the ground around places, shape (n, 2)."""
    off = (ground[None, :, :2] - below[:, None, :]) / FOLLOWED_M
    weight = np.exp(-0.5 * (off**2).sum(axis=2))
    design = np.concatenate([np.ones((*weight.shape, 1)), off], axis=2)
    weighted = (design * weight[:, :, None]).transpose(0, 2, 1)
    # One point's worth of level ground keeps slopes small where points are few.
    normal = weighted @ design + np.diag([1e-9, 1.0, 1.0])
    plane = np.linalg.solve(normal, weighted @ ground[:, 2:])
    return np.asarray(plane[:, 1:, 0] / FOLLOWED_M)


_DEG = math.pi / 180.0

#: Every elementary cause by its name. Sizes that are plausible at most: common practice, no source.
ELEMENTARY: Mapping[str, Elementary] = MappingProxyType(
    {
        each.name: each
        for each in (
            Elementary("shift-east", "m", 10.0, False, lambda s: constant(s, 1, 0, 0)),
            Elementary("shift-north", "m", 10.0, False, lambda s: constant(s, 0, 1, 0)),
            Elementary("shift-up", "m", 10.0, False, lambda s: constant(s, 0, 0, 1)),
            Elementary(
                "tilt-east", "mm/100 m", 500.0, False, lambda s: linear(s, (0, 0, 1e-5), (0, 0, 0))
            ),
            Elementary(
                "tilt-north", "mm/100 m", 500.0, False, lambda s: linear(s, (0, 0, 0), (0, 0, 1e-5))
            ),
            Elementary(
                "scale", "ppm", 5000.0, False, lambda s: linear(s, (1e-6, 0, 0), (0, 1e-6, 0))
            ),
            Elementary(
                "rotation",
                "mm/100 m",
                20000.0,
                False,
                lambda s: linear(s, (0, -1e-5, 0), (1e-5, 0, 0)),
            ),
            Elementary(
                "roll",
                "deg",
                3.0,
                True,
                lambda s: towards(s, 0.0, -s.height_m * _DEG, -s.across_m * _DEG),
            ),
            Elementary(
                "pitch", "deg", 3.0, True, lambda s: towards(s, s.height_m * _DEG, 0.0, 0.0)
            ),
            Elementary(
                "heading", "deg", 5.0, True, lambda s: towards(s, -s.across_m * _DEG, 0.0, 0.0)
            ),
            Elementary("lever-forward", "m", 0.6, True, lambda s: towards(s, 1.0, 0.0, 0.0)),
            Elementary("lever-right", "m", 0.6, True, lambda s: towards(s, 0.0, 1.0, 0.0)),
            Elementary("timing", "ms", 500.0, True, _per_millisecond),
            Elementary(
                "range",
                "m",
                0.3,
                True,
                lambda s: towards(s, 0.0, np.sin(_angle(s)), -np.cos(_angle(s))),
            ),
            Elementary(
                "scan-angle-scale",
                "%",
                3.0,
                True,
                lambda s: towards(
                    s, 0.0, s.height_m * _angle(s) * 0.01, s.across_m * _angle(s) * 0.01
                ),
            ),
        )
    }
)


def general(s: Sightings) -> dict[str, Array]:
    """Give the fields that the data of this site can have anything to say about."""
    body = bool(s.geometry_known.any())
    return {name: each.field(s) for name, each in ELEMENTARY.items() if body or not each.body}
