"""The Universal Transverse Mercator zones: is a system one of them, and where a place is in another."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from accuracy.georeferencing.crs import parse, unbound
from accuracy.georeferencing.geodetic import Points
from accuracy.georeferencing.record import Reference

_LATITUDE, _LONGITUDE, _SCALE = 8801, 8802, 8805  # EPSG codes of the projection's parameters
_FALSE_EASTING, _FALSE_NORTHING = 8806, 8807


@dataclass(frozen=True)
class Zone:
    """A zone: number 1 to 60, and whether it counts northings from 10 000 km at the equator."""

    number: int
    south: bool

    def neighbour(self, step: int) -> Zone:
        """Give the zone so many to the east."""
        return Zone((self.number - 1 + step) % 60 + 1, self.south)


def zone_of(side: Reference) -> Zone | None:
    """Tell the zone of a system by its parameters, whatever its name; None if it is no UTM."""
    if side.horizontal_kind != "projected" or side.horizontal_wkt is None:
        return None
    facts: dict[str, Any] = json.loads(unbound(parse(side.horizontal_wkt, "zone")).to_json())
    conversion = facts.get("conversion", {})
    if "Transverse Mercator" not in conversion.get("method", {}).get("name", ""):
        return None
    values = {p["id"]["code"]: _value(p) for p in conversion.get("parameters", ()) if "id" in p}
    try:
        plain = (values[_LATITUDE], values[_SCALE], values[_FALSE_EASTING]) == (0.0, 0.9996, 5e5)
        number = (values[_LONGITUDE] + 183.0) / 6.0
        northing_m = values[_FALSE_NORTHING]
    except KeyError:
        return None
    if not plain or number != int(number) or northing_m not in (0.0, 1e7):
        return None
    return Zone(int(number), northing_m > 0.0)


def in_zone(points: Points, zone: Zone, ellipsoid: tuple[float, float]) -> tuple[float, float]:
    """Give easting and northing of the first point in a zone, in metres."""
    from pyproj import Proj

    semi_major_m, inverse_flattening = ellipsoid
    plane = Proj(
        proj="utm", zone=zone.number, south=zone.south, a=semi_major_m, rf=inverse_flattening
    )
    east_m, north_m = plane(float(points.lon_deg[0]), float(points.lat_deg[0]))
    return float(east_m), float(north_m)


def _value(parameter: dict[str, Any]) -> float:
    """Give a parameter in metres, degrees or as a ratio."""
    unit = parameter.get("unit")
    factor = unit["conversion_factor"] if isinstance(unit, dict) else 1.0
    degrees = isinstance(unit, dict) and unit.get("type") == "AngularUnit"
    value = float(parameter["value"]) * float(factor)
    return round(value * 180.0 / 3.141592653589793, 9) if degrees else value
