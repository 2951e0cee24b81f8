"""Coordinates with the names and units of their axes, as they are shown to people."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from accuracy.georeferencing.geodetic import Points
from accuracy.georeferencing.operations import short_name
from accuracy.georeferencing.record import Reference

ELLIPSOIDAL = "ellipsoidal height"


@dataclass(frozen=True)
class Axis:
    """One coordinate. `unit` is ``degree`` or a unit of length; None where it is not known."""

    name: str
    value: float | None
    unit: str | None


@dataclass(frozen=True)
class Coordinates:
    """Three coordinates and the system that they are in."""

    system: str
    axes: tuple[Axis, Axis, Axis]


def stored(side: Reference, x: float, y: float, z: float | None) -> Coordinates:
    """Name stored coordinates of a side."""
    unit = side.horizontal_unit.value if side.horizontal_unit else None
    vertical = side.vertical_unit.value if side.vertical_unit else None
    names = ("easting", "northing", height_name(side))
    if side.horizontal_kind == "geocentric":
        names, vertical = ("X", "Y", "Z"), unit
    elif side.horizontal_kind == "geographic":
        names, unit = ("longitude", "latitude", height_name(side)), "degree"
    return Coordinates(
        side.name,
        (
            Axis(names[0], _finite(x), unit),
            Axis(names[1], _finite(y), unit),
            Axis(names[2], _finite(z), vertical),
        ),
    )


def geographic(frame: str, points: Points, height: str) -> Coordinates:
    """Name longitude, latitude and height (in metres) of the first point."""
    return Coordinates(
        _frame_name(frame),
        (
            Axis("longitude", _finite(float(points.lon_deg[0])), "degree"),
            Axis("latitude", _finite(float(points.lat_deg[0])), "degree"),
            Axis(height, _finite(float(points.h_m[0])), "metre"),
        ),
    )


def geocentric(frame: str, points: Points, ellipsoid: tuple[float, float]) -> Coordinates:
    """Name X, Y, Z of the first point, in metres."""
    x, y, z = (_finite(float(value)) for value in _xyz(points, ellipsoid))
    return Coordinates(
        _frame_name(frame), (Axis("X", x, "metre"), Axis("Y", y, "metre"), Axis("Z", z, "metre"))
    )


def vector_m(
    start: Points, end: Points, ellipsoid: tuple[float, float]
) -> tuple[float, float, float]:
    """Give the straight vector from the first point to the first other one: east, north, up at the start."""
    difference = _xyz(end, ellipsoid) - _xyz(start, ellipsoid)
    lon, lat = math.radians(float(start.lon_deg[0])), math.radians(float(start.lat_deg[0]))
    up = np.array([math.cos(lat) * math.cos(lon), math.cos(lat) * math.sin(lon), math.sin(lat)])
    east = np.array([-math.sin(lon), math.cos(lon), 0.0])
    north = np.cross(up, east)
    return float(difference @ east), float(difference @ north), float(difference @ up)


def _xyz(points: Points, ellipsoid: tuple[float, float]) -> NDArray[np.float64]:
    """Give X, Y, Z of the first point in metres, by the closed form (any textbook of geodesy)."""
    semi_major_m, inverse_flattening = ellipsoid
    flattening = 1.0 / inverse_flattening if inverse_flattening else 0.0
    e2 = flattening * (2.0 - flattening)
    lon, lat = math.radians(float(points.lon_deg[0])), math.radians(float(points.lat_deg[0]))
    h_m = float(points.h_m[0])
    normal_m = semi_major_m / math.sqrt(1.0 - e2 * math.sin(lat) ** 2)
    return np.array(
        [
            (normal_m + h_m) * math.cos(lat) * math.cos(lon),
            (normal_m + h_m) * math.cos(lat) * math.sin(lon),
            (normal_m * (1.0 - e2) + h_m) * math.sin(lat),
        ]
    )


def height_name(side: Reference) -> str:
    """Say what heights of a side are."""
    if side.vertical_kind == "ellipsoidal":
        return ELLIPSOIDAL
    if side.vertical_kind == "orthometric":
        return f"height ({side.vertical})"
    return "height of unknown kind"


def _frame_name(frame: str) -> str:
    return short_name(frame) or frame or "unknown frame"


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None
