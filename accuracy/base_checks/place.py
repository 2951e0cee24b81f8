"""Where the base is in the plane of a deliverable."""

from __future__ import annotations

import math

import numpy as np

from accuracy.base_checks.record import Side, Station
from accuracy.georeferencing.record import Reference
from accuracy.georeferencing.transform import Places, plan
from accuracy.units import to_metres


def in_plane(station: Station, deliverable: Reference) -> tuple[float, float] | None:
    """Carry the base to the system of a deliverable.

    Returns
    -------
    tuple of float or None
        East and north in metres, of the held coordinates, else of the published ones. None where neither
        is stated, the way is refused, or the deliverable has no plane in lengths.
    """
    side = station.held or station.published
    unit = deliverable.horizontal_unit
    if side is None or unit is None or deliverable.horizontal_kind == "geocentric":
        return None
    x, y = _carried(station, side, deliverable)
    if not (math.isfinite(x) and math.isfinite(y)):
        return None
    return float(to_metres(x, unit)), float(to_metres(y, unit))


def _carried(station: Station, side: Side, deliverable: Reference) -> tuple[float, float]:
    x, y, z = (np.array([value], dtype=np.float64) for value in (side.x, side.y, side.z))
    places = Places((side.who,), x, y, z, np.array([True]))
    way = plan(side.reference, deliverable, dataset_name="base", places=places, grids=station.shelf)
    if way.horizontal not in ("identity", "transformed"):
        return math.nan, math.nan
    east, north, _ = way.apply(x, y, z)
    return float(east[0]), float(north[0])
