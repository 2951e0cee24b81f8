"""Faults of frames, heights and units: fixed to the map, whatever the heading."""

from __future__ import annotations

import math

import numpy as np

from accuracy.simulation.fault_record import Array, Fault, Where
from accuracy.simulation.faults_of_base import FEET_PER_METRE
from accuracy.simulation.projection import UniversalZone

#: Feet of the US survey over international feet, minus one.
SURVEY_FOOT_EXCESS = (1200.0 / 3937.0) / 0.3048 - 1.0


def _frame(size: float, where: Where) -> Array:
    site = where.site
    return where.vector(*(size * site.frame_shift_m(site.to_frame, site.epoch_year)))


def _older(size: float, where: Where) -> Array:
    site = where.site
    assert site.older_frame is not None  # refused before: Scenario.check
    return where.vector(*(size * site.frame_shift_m(site.older_frame, site.epoch_year)))


def _epoch(size: float, where: Where) -> Array:
    site = where.site
    year = site.epoch_year
    now, before = (site.frame_shift_m(site.to_frame, at) for at in (year, year - 1.0))
    return where.vector(*(size * (now - before)))


def _geoid_omitted(size: float, where: Where) -> Array:
    return where.vector(0.0, 0.0, size * where.site.undulation(where.east_m, where.north_m))


def _geoid_model(size: float, where: Where) -> Array:
    """Difference of two models: the size at the origin, changing by a tenth of it per kilometre east."""
    east_km = (where.east_m - where.site.origin_m[0]) / 1000.0
    return where.vector(0.0, 0.0, size * (1.0 + 0.1 * east_km))


def _feet(size: float, where: Where) -> Array:
    k = size * SURVEY_FOOT_EXCESS
    return where.vector(k * where.east_m, k * where.north_m, k * where.up_m)


def _feet_heights(size: float, where: Where) -> Array:
    factor = FEET_PER_METRE - 1.0 if size > 0 else 1.0 - 0.3048
    return where.vector(0.0, 0.0, size * factor * where.up_m)


def _ground(size: float, where: Where) -> Array:
    site, k = where.site, size * 1e-6
    return where.vector(
        k * (where.east_m - site.origin_m[0]), k * (where.north_m - site.origin_m[1]), 0.0
    )


def _ground_of_all(size: float, where: Where) -> Array:
    k = size * 1e-6
    return where.vector(k * where.east_m, k * where.north_m, 0.0)


def _rotation(size: float, where: Where) -> Array:
    """Turn about the origin, clockwise for a positive size; exact."""
    sin, cos = math.sin(math.radians(size)), math.cos(math.radians(size))
    x, y = where.east_m - where.site.origin_m[0], where.north_m - where.site.origin_m[1]
    return where.vector((cos - 1.0) * x + sin * y, -sin * x + (cos - 1.0) * y, 0.0)


def _zone(size: float, where: Where) -> Array:
    zone = where.site.zone
    wrong = UniversalZone(zone.number + round(size), zone.south)
    east_m, north_m = wrong.forward(*zone.inverse(where.east_m, where.north_m))
    return where.vector(east_m - where.east_m, north_m - where.north_m, 0.0)


def _swapped(size: float, where: Where) -> Array:
    east_m, north_m = np.asarray(where.east_m), np.asarray(where.north_m)
    return where.vector(size * (north_m - east_m), size * (east_m - north_m), 0.0)


MAP_FAULTS: tuple[Fault, ...] = (
    Fault(
        name="frame",
        family="map",
        unit="times",
        example="1x",
        largest=1.0,
        what="The cloud was left in the global frame of the GNSS solution, at the date of the flight; the "
        "checkpoints are in the plate-fixed frame. The job says that both are plate-fixed.",
        sign="+1: the cloud is global; -1: roles swapped",
        vector="size * (global minus plate-fixed) at the site: 0.3 to 1.6 m in plan; height up to 1.9 m for "
        "NAD83(2011), none for ETRS89 and GDA2020",
        seen="A constant vector whose direction and height are those of the two frames at this place. On a "
        "slope a part of the plan shows in height.",
        alike="base-autonomous, a wrong mark: those do not match the frames to a few centimetres.",
        vector_m=_frame,
        whole=True,
    ),
    Fault(
        name="frame-older",
        family="map",
        unit="times",
        example="1x",
        largest=1.0,
        what="The cloud was made in an older realisation of the national frame (GDA94 for GDA2020).",
        sign="+1: the cloud is in the older one",
        vector="size * (older minus newer): 1.5 to 1.8 m in plan and 0.08 to 0.10 m in height",
        seen="A constant vector towards south-south-west of a metre and a half, with a small height.",
        alike="frame: another direction and length; here the height part tells, too.",
        vector_m=_older,
        whole=True,
    ),
    Fault(
        name="epoch",
        family="map",
        unit="yr",
        example="6yr",
        largest=50.0,
        what="The cloud was brought from the global to the plate-fixed frame with a wrong date, so that the "
        "motion of the plate in between is left in it.",
        sign="positive: the date used is earlier than that of the flight",
        vector="size * velocity of the plate, 12 to 70 mm a year, in plan only",
        seen="A horizontal constant along the plate's motion; invisible on flat checkpoints.",
        alike="base-east, base-north: only the direction, and a round number of years, speak for it.",
        vector_m=_epoch,
    ),
    Fault(
        name="geoid-omitted",
        family="map",
        unit="times",
        example="1x",
        largest=2.0,
        what="Heights were left ellipsoidal (+1), the geoid was applied twice (-1) or with the "
        "wrong sign (+2).",
        sign="times the geoid's undulation N that is left in the heights",
        vector="(0, 0, size * N); N changes by millimetres to centimetres per kilometre",
        seen="Heights off by tens of metres; where N is negative the cloud lies too low.",
        alike="none of this size; it equals N of the model within decimetres.",
        vector_m=_geoid_omitted,
        whole=True,
    ),
    Fault(
        name="geoid-model",
        family="map",
        unit="m",
        example="35mm",
        largest=5.0,
        what="Another geoid model was used for the cloud than for the checkpoints.",
        sign="positive: the model used lies lower, so heights come out too high",
        vector="(0, 0, size * (1 + 0.1 * km east)): smooth, with a slight tilt",
        seen="Nearly a constant in height, changing slowly over the site.",
        alike="base-up, base-slant: on a small site inseparable but by records.",
        vector_m=_geoid_model,
    ),
    Fault(
        name="feet",
        family="map",
        unit="times",
        example="1x",
        largest=1.0,
        what="Coordinates went through one foot and came back through the other.",
        sign="+1: international feet read as US survey feet, everything 2 parts per million too large; -1: the "
        "other way round",
        vector="size * 2.000004e-6 * (E, N, H)",
        seen="A constant shift of metres along the line from the false origin, heights by 2 mm per 1000 m. "
        "Over the site it grows by a millimetre or two only.",
        alike="a wrong mark: the direction is that of (E, N), the length 2e-6 of it.",
        vector_m=_feet,
        whole=True,
    ),
    Fault(
        name="feet-heights",
        family="map",
        unit="times",
        example="1x",
        largest=1.0,
        what="Heights are in international feet where metres are declared (+1), or metres were taken for feet "
        "and reduced once more (-1).",
        sign="+1: numbers 3.2808 times too large; -1: 0.3048 times",
        vector="(0, 0, 2.2808 * H) or (0, 0, -0.6952 * H)",
        seen="Heights off in proportion to the height itself.",
        alike="geoid-omitted: that is nearly constant and does not follow the height.",
        vector_m=_feet_heights,
        whole=True,
    ),
    Fault(
        name="grid-ground",
        family="map",
        unit="ppm",
        example="350ppm",
        largest=2000.0,
        what="The cloud was scaled to ground distances about a point of the site; the checkpoints are "
        "on the grid.",
        sign="positive: distances in the cloud too long",
        vector="size * 1e-6 * (P - P0) in plan; P0 is the south-west corner of the site",
        seen="Horizontal residuals that point away from one place and grow with distance: 35 mm per 100 m at "
        "350 ppm.",
        alike="feet: that is a shift; convergence: that turns round the place.",
        vector_m=_ground,
    ),
    Fault(
        name="grid-ground-origin",
        family="map",
        unit="ppm",
        example="350ppm",
        largest=2000.0,
        what="The cloud was scaled to ground distances about the origin of the grid instead of a "
        "point of the site.",
        sign="positive: coordinates in the cloud too large",
        vector="size * 1e-6 * (E, N): hundreds of metres and more, growing over the site as grid-ground",
        seen="A large shift along the line from the false origin; as a rule no checkpoint lies inside "
        "the cloud.",
        alike="feet: the same direction, but 2 parts per million, and in heights, too.",
        vector_m=_ground_of_all,
    ),
    Fault(
        name="convergence",
        family="map",
        unit="deg",
        example="0.05deg",
        largest=5.0,
        what="True north was used where grid north is meant, or the wrong way round.",
        sign="positive: the cloud is turned clockwise about the south-west corner of the site",
        vector="size in radians * (y, -x) for x, y from that corner, in plan",
        seen="Horizontal residuals at right angles to the way from one place, growing with distance.",
        alike="grid-ground: along that way instead.",
        vector_m=_rotation,
    ),
    Fault(
        name="zone",
        family="map",
        unit="times",
        example="1x",
        largest=1.0,
        what="The cloud was projected into a neighbouring zone.",
        sign="+1: the zone to the east; -1: to the west",
        vector="projected coordinates of the wrong zone minus those of the right one: some 500 km",
        seen="No checkpoint lies inside the cloud.",
        alike="swapped-axes: there easting and northing simply change places.",
        vector_m=_zone,
        whole=True,
    ),
    Fault(
        name="swapped-axes",
        family="map",
        unit="times",
        example="1x",
        largest=1.0,
        what="Easting and northing changed places.",
        sign="+1: swapped",
        vector="(N - E, E - N, 0)",
        seen="No checkpoint lies inside the cloud; the box of the cloud holds the numbers the other way round.",
        alike="zone.",
        vector_m=_swapped,
        whole=True,
    ),
)
