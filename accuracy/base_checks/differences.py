"""Two sets of coordinates of one mark, held against each other after honest transformation."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from accuracy.base_checks.record import Side, Vector
from accuracy.findings import Severity
from accuracy.georeferencing.carrying import Plan
from accuracy.georeferencing.geodetic import Points, ellipsoid_of, to_points
from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.shown_coordinates import vector_m
from accuracy.georeferencing.transform import Places, plan
from accuracy.units import LengthUnit, to_metres


@dataclass(frozen=True)
class Difference:
    """One set minus the other, in the frame of the other.

    Attributes
    ----------
    vector : Vector or None
        None where not even the horizontal part can be compared; `up_m` is None where heights cannot.
    plan : Plan
        How the one was carried.
    obstacles : tuple of str
        Why something cannot be compared.
    remarks : tuple of str
        What was left out, such as motion that was not applied.
    sigma : Vector or None
        From the accuracies that both sources state; None where one does not.
    """

    vector: Vector | None
    plan: Plan
    obstacles: tuple[str, ...]
    remarks: tuple[str, ...]
    sigma: Vector | None


def difference(one: Side, other: Side, shelf: GridShelf) -> Difference:
    """Carry `one` to the system of `other` and subtract."""
    columns = [np.array([value], dtype=np.float64) for value in (one.x, one.y, one.z)]
    places = Places((one.who,), columns[0], columns[1], columns[2], np.array([True]))
    way = plan(one.reference, other.reference, dataset_name="base", places=places, grids=shelf)
    said = [finding for finding in way.findings if finding.severity is not Severity.NOTE]
    obstacles = tuple(
        _reworded(f.message, one, other) for f in said if f.severity is Severity.BLOCKING
    )
    remarks = tuple(_reworded(text, one, other) for text in way.not_applied)
    vector = None
    if way.horizontal in ("identity", "transformed"):
        vector = _subtracted(way, other, *(float(v[0]) for v in way.apply(*columns)))
    return Difference(vector, way, obstacles, remarks, _sigma(one, other))


def _subtracted(way: Plan, other: Side, x: float, y: float, z: float) -> Vector | None:
    side = other.reference
    if side.horizontal_kind == "geocentric":
        here, there = (_points(side, values) for values in ((other.x, other.y, other.z), (x, y, z)))
        if here is None or there is None:
            return None
        return Vector(*vector_m(here, there, ellipsoid_of(side)))
    # A degree is longer up here: 0.2 mm for each metre of difference at 1300 m.
    level_m = float(to_metres(other.z, side.vertical_unit or LengthUnit.METRE))
    here = _points(side, (other.x, other.y, level_m))
    there = _points(side, (x, y, level_m))
    if here is None or there is None:
        return None
    east_m, north_m, _ = vector_m(here, there, ellipsoid_of(side))
    up_m = None
    if way.vertical in ("identity", "transformed") and math.isfinite(z):
        unit = side.vertical_unit or LengthUnit.METRE
        up_m = float(to_metres(z, unit)) - float(to_metres(other.z, unit))
    return Vector(east_m, north_m, up_m)


def _points(side: object, values: tuple[float, float, float]) -> Points | None:
    from accuracy.georeferencing.record import Reference

    assert isinstance(side, Reference)
    unit = LengthUnit.METRE
    if side.horizontal_kind == "geocentric":
        unit = side.horizontal_unit or LengthUnit.METRE
    x, y, z = (np.array([value], dtype=np.float64) for value in values)
    points = to_points(side, x, y, to_metres(z, unit))
    return points if bool(np.isfinite(points.lon_deg + points.lat_deg).all()) else None


def _sigma(one: Side, other: Side) -> Vector | None:
    """Combine the stated accuracies; radial horizontal accuracy is spread over both axes evenly."""
    given = (one.accuracy_h_m, other.accuracy_h_m, one.accuracy_v_m, other.accuracy_v_m)
    if None in given:
        return None
    h, h2, v, v2 = (value for value in given if value is not None)
    per_axis = math.hypot(h, h2) / math.sqrt(2.0)
    return Vector(per_axis, per_axis, math.hypot(v, v2))


def _reworded(text: str, one: Side, other: Side) -> str:
    """Name both sets; the layer below speaks of checkpoints and a deliverable."""
    for old, new in (
        ("the checkpoints", f"the {one.who} coordinates"),
        ("checkpoints", f"{one.who} coordinates"),
        ("the deliverable", f"the {other.who} coordinates"),
        ("deliverable", f"{other.who} coordinates"),
    ):
        text = text.replace(old, new)
    return text
