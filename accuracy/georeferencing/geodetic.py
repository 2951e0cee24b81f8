"""Coordinates of one frame in their forms: stored, geographic, geocentric; and the move between frames."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import ReferenceSystemError
from accuracy.georeferencing.crs import parse, unbound
from accuracy.georeferencing.operations import Operation
from accuracy.georeferencing.record import Reference
from accuracy.units import LengthUnit, from_metres, to_metres

if TYPE_CHECKING:
    from pyproj import CRS

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Points:
    """Geographic coordinates in one frame; arrays of shape (n,)."""

    lon_deg: Array
    lat_deg: Array
    h_m: Array


def why_unsupported(side: Reference) -> str | None:
    """Say why coordinates of a known system cannot be carried anywhere; None where they can."""
    if side.horizontal_kind not in ("projected", "geographic", "geocentric"):
        return f"{side.name} is not tied to the Earth"
    crs = _horizontal(side)
    base = crs.geodetic_crs
    if base is None or base.ellipsoid is None or base.prime_meridian is None:
        return f"{side.name} rests on no ellipsoid"
    if base.prime_meridian.longitude != 0.0:
        return f"{side.name} counts longitudes from {base.prime_meridian.name}"
    if not base.is_geocentric and any(a.unit_name != "degree" for a in base.axis_info[:2]):
        return f"{side.name} does not count in degrees"
    if crs.is_projected and {axis.direction for axis in crs.axis_info[:2]} != {"east", "north"}:
        return f"the axes of {side.name} do not point east and north"
    if crs.is_projected and side.horizontal_unit is None:
        return f"the unit of {side.name} is none this tool knows"
    return None


def to_points(side: Reference, easting: Array, northing: Array, h_m: Array) -> Points:
    """Turn stored coordinates into longitude, latitude and height.

    Parameters
    ----------
    easting, northing : ndarray, shape (n,)
        In stored units; longitude and latitude where the system is geographic; X and Y where geocentric.
    h_m : ndarray, shape (n,)
        Height in metres, passed through; Z in metres where the system is geocentric.
    """
    if side.horizontal_kind == "geographic":
        return Points(easting, northing, h_m)
    if side.horizontal_kind == "geocentric":
        unit = side.horizontal_unit or LengthUnit.METRE
        return _from_xyz(_ellipsoid(side), to_metres(easting, unit), to_metres(northing, unit), h_m)
    lon, lat = _projection(side.horizontal_wkt or "").transform(
        easting, northing, direction="INVERSE"
    )
    return Points(np.asarray(lon), np.asarray(lat), h_m)


def to_xyz(side: Reference, points: Points) -> tuple[Array, Array, Array]:
    """Turn geographic into geocentric coordinates, in the unit of the geocentric system."""
    unit = side.horizontal_unit or LengthUnit.METRE
    x, y, z = _cart(*_ellipsoid(side)).transform(points.lon_deg, points.lat_deg, points.h_m)
    return (
        from_metres(np.asarray(x), unit),
        from_metres(np.asarray(y), unit),
        from_metres(np.asarray(z), unit),
    )


def from_points(side: Reference, points: Points) -> tuple[Array, Array]:
    """Turn longitude and latitude into the stored coordinates of a projected or geographic system."""
    if side.horizontal_kind == "geographic":
        return points.lon_deg, points.lat_deg
    east, north = _projection(side.horizontal_wkt or "").transform(points.lon_deg, points.lat_deg)
    return np.asarray(east), np.asarray(north)


def projection_name(side: Reference) -> str:
    """Name the map projection, with the registry's code of the system."""
    operation = _horizontal(side).coordinate_operation
    return operation.name if operation is not None else side.horizontal_kind


def ellipsoid_of(side: Reference) -> tuple[float, float]:
    """Give semi-major axis in metres and inverse flattening."""
    return _ellipsoid(side)


def carried(
    points: Points,
    operations: tuple[Operation, ...],
    epoch_year: float | None,
    start: tuple[float, float],
    end: tuple[float, float],
) -> Points:
    """Carry points from frame to frame by named operations between geocentric coordinates.

    Parameters
    ----------
    epoch_year : float or None
        Decimal year for operations that depend on time; they must not come without.
    start, end : tuple of float
        Ellipsoids of the first and the last frame.
    """
    if not operations:
        return points
    xyz = _cart(*start).transform(points.lon_deg, points.lat_deg, points.h_m)
    for operation in operations:
        if operation.dynamic and epoch_year is None:
            raise ValueError(f"{operation.code} needs an epoch")
        time = np.full(points.h_m.shape, np.nan if epoch_year is None else epoch_year)
        direction = "INVERSE" if operation.inverse else "FORWARD"
        if operation.dynamic:
            xyz = _pipeline(operation.helmert).transform(*xyz[:3], time, direction=direction)[:3]
        else:
            xyz = _pipeline(operation.helmert).transform(*xyz[:3], direction=direction)
    return _from_xyz(end, *(np.asarray(values) for values in xyz))


def east_north_up_m(start: Points, end: Points, ellipsoid: tuple[float, float]) -> Array:
    """Give the difference end - start in metres, axes east, north, up at the start; shape (n, 3)."""
    east_m, north_m = offsets_m(ellipsoid, start.lon_deg, start.lat_deg, end.lon_deg, end.lat_deg)
    return np.column_stack([east_m, north_m, end.h_m - start.h_m])


def offsets_m(
    ellipsoid: tuple[float, float], lon_deg: Array, lat_deg: Array, to_lon: Array, to_lat: Array
) -> tuple[Array, Array]:
    """Give east and north from places to places along the geodesic on the ellipsoid, metres."""
    from pyproj import Geod

    semi_major_m, inverse_flattening = ellipsoid
    flattening = 0.0 if inverse_flattening == 0.0 else 1.0 / inverse_flattening
    azimuth, _, distance_m = Geod(a=semi_major_m, f=flattening).inv(
        lon_deg, lat_deg, to_lon, to_lat
    )
    angle = np.radians(np.asarray(azimuth))
    return np.asarray(distance_m) * np.sin(angle), np.asarray(distance_m) * np.cos(angle)


def _horizontal(side: Reference) -> CRS:
    return unbound(parse(side.horizontal_wkt or "", "transformation"))


def _ellipsoid(side: Reference) -> tuple[float, float]:
    base = _horizontal(side).geodetic_crs
    assert base is not None
    assert base.ellipsoid is not None  # why_unsupported has seen to both
    return base.ellipsoid.semi_major_metre, base.ellipsoid.inverse_flattening


@lru_cache(maxsize=64)
def _projection(wkt: str) -> Any:
    """Make the conversion between a system and its own geographic base: one map projection, no datum."""
    from pyproj import Transformer

    crs = unbound(parse(wkt, "transformation"))
    conversion = Transformer.from_crs(
        crs.geodetic_crs, crs, always_xy=True, allow_ballpark=False, only_best=True
    )
    text = conversion.definition
    if "helmert" in text or "grid" in text or "cart" in text:
        raise ReferenceSystemError(
            "the library puts more than a map projection between a system and its own base",
            where=crs.name,
            remedy="write the EPSG code of the system",
        )
    return conversion


@lru_cache(maxsize=64)
def _pipeline(text: str) -> Any:
    from pyproj import Transformer
    from pyproj._network import set_network_enabled

    set_network_enabled(False)
    return Transformer.from_pipeline(text)


def _cart(semi_major_m: float, inverse_flattening: float) -> Any:
    return _pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad "
        f"+step +proj=cart +a={semi_major_m!r} "
        + (f"+rf={inverse_flattening!r}" if inverse_flattening else f"+b={semi_major_m!r}")
    )


def _from_xyz(ellipsoid: tuple[float, float], x: Array, y: Array, z: Array) -> Points:
    lon, lat, h = _cart(*ellipsoid).transform(x, y, z, direction="INVERSE")
    return Points(np.asarray(lon), np.asarray(lat), np.asarray(h))
