"""Mistakes in the plane: feet, exchanged axes, the wrong zone, distances on the ground. Closed forms."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from accuracy.findings import Severity
from accuracy.georeferencing.area import area_findings
from accuracy.georeferencing.crs import same_horizontal
from accuracy.georeferencing.geodetic import ellipsoid_of, offsets_m, to_points
from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.local_grid_checks import ground_factor
from accuracy.georeferencing.mistakes import Mistake, SidePoint
from accuracy.georeferencing.mistakes_of_height import any_undulation
from accuracy.georeferencing.transform import Places
from accuracy.georeferencing.utm import in_zone, zone_of
from accuracy.units import LengthUnit, to_metres

FEET = (LengthUnit.FOOT, LengthUnit.US_SURVEY_FOOT)


def feet(sides: Sequence[SidePoint]) -> Iterator[Mistake]:
    """One foot taken for the other, feet for metres, and metres for the foot of the other side."""
    used = [
        unit
        for side in sides
        for unit in (side.reference.horizontal_unit, side.reference.vertical_unit)
        if unit in FEET
    ]
    if not used:
        yield Mistake("foot", "one foot taken for another", why_not="does not apply: all in metres")
        return
    for side in sides:
        for wrong in LengthUnit:
            vector = _unit_vector(side, wrong, used[0])
            if vector is None:
                continue
            east_m, north_m, up_m, right = vector
            what = f"{side.who}: {right} taken for {wrong.print_name}"
            yield Mistake(
                "foot",
                what,
                east_m,
                north_m,
                up_m,
                how="stored number times the difference of the units",
            )


def _unit_vector(
    side: SidePoint, wrong: LengthUnit, foot: LengthUnit
) -> tuple[float, float, float, str] | None:
    """Give the vector of reading all lengths of a side that are in feet (or in metres) in `wrong` units."""
    ref = side.reference
    units = [ref.horizontal_unit, ref.horizontal_unit, ref.vertical_unit]
    in_feet = any(unit in FEET for unit in units)
    if not in_feet and wrong is not foot:  # metres are mistaken for the foot of the other side only
        return None
    misread = [unit for unit in units if unit is not None and (unit in FEET) == in_feet]
    if not misread or all(unit is wrong for unit in misread):
        return None
    vector = [
        0.0
        if unit is None or (unit in FEET) != in_feet or not math.isfinite(value)
        else value * float(wrong.metres - unit.metres)
        for unit, value in zip(units, (side.x, side.y, side.z), strict=True)
    ]
    words = " and ".join(dict.fromkeys(unit.print_name for unit in misread))
    flat = ref.horizontal_unit is not None and (ref.horizontal_unit in FEET) == in_feet
    tall = ref.vertical_unit is not None and (ref.vertical_unit in FEET) == in_feet
    if flat != tall:
        words += " of the plane" if flat else " of the heights"
    return vector[0], vector[1], vector[2], words


def axes(side: SidePoint) -> Iterator[Mistake]:
    """Columns of the checkpoints exchanged, and whether the area of use would tell."""
    ref = side.reference
    names = (
        "longitude and latitude" if ref.horizontal_kind == "geographic" else "easting and northing"
    )
    what = f"{side.who}: {names} exchanged"
    plane = ref.horizontal_kind in ("projected", "engineering")
    if plane and ref.horizontal_unit is not None:
        size_m = to_metres(side.y - side.x, ref.horizontal_unit)
        yield Mistake("axes", what, size_m, -size_m, 0.0, how=_noticed(side))
    elif ref.horizontal_kind == "geographic" and side.points is not None:
        if abs(side.x) > 90.0:
            why = "noticed at once: no place on Earth has such a latitude"
            yield Mistake("axes", what, why_not=why)
            return
        there = np.array([side.y]), np.array([side.x])
        here = side.points.lon_deg, side.points.lat_deg
        east_m, north_m = offsets_m(ellipsoid_of(ref), *here, *there)
        how = f"along the geodesic; {_noticed(side)}"
        yield Mistake("axes", what, float(east_m[0]), float(north_m[0]), 0.0, how=how)
    else:
        yield Mistake("axes", what, why_not="not known: the unit of the plane is not declared")


def _noticed(side: SidePoint) -> str:
    """Say whether exchanged axes leave the area of use."""
    ref = side.reference
    if ref.area_deg is None or side.points is None:
        return "no area of use is known that it could leave"
    x, y, z = (np.array([value]) for value in (side.y, side.x, side.z))
    places = Places((side.who,), x, y, z, np.ones(1, dtype=np.bool_))
    found = area_findings([ref], to_points(ref, x, y, z), places, blocking=True)
    far = any(finding.severity is Severity.BLOCKING for finding in found)
    return "it leaves the area of use" if far else "it stays in the area of use"


def zones(sides: Sequence[SidePoint]) -> Iterator[Mistake]:
    """Compute in the zones to the west and to the east: the numbers differ by this much."""
    found = False
    for side in _planes(sides):
        zone, points = zone_of(side.reference), side.points
        if zone is None or points is None:
            continue
        found = True
        own = in_zone(points, zone, ellipsoid_of(side.reference))
        for step in (-1, 1):
            other = zone.neighbour(step)
            east_m, north_m = in_zone(points, other, ellipsoid_of(side.reference))
            what = f"{side.who}: in UTM zone {other.number} in the place of {zone.number}"
            how = "coordinates of this place in both zones, in metres"
            yield Mistake("zone", what, east_m - own[0], north_m - own[1], 0.0, how=how)
    if not found:
        yield Mistake(
            "zone", "the neighbouring UTM zone", why_not="does not apply: no side is in UTM"
        )


def ground(sides: Sequence[SidePoint], shelf: GridShelf) -> Iterator[Mistake]:
    """Distances in the plane taken for distances on the ground: the combined factor as a scale."""
    planes = _planes(sides)
    for side in planes:
        ref = side.reference
        what = (
            f"{side.who}: distances in {ref.name.split(' + ')[0]} taken for distances on the ground"
        )
        unit = ref.vertical_unit
        if unit is None or not ref.vertical_known or not math.isfinite(side.z):
            yield Mistake("ground-distance", what, why_not="not known: the height is not known")
            continue
        h_m, how = to_metres(side.z, unit), f"height {to_metres(side.z, unit):.1f} m"
        if ref.vertical_kind == "orthometric":
            n_m, file = any_undulation(side, sides, shelf)
            how += (
                f", N {n_m:+.1f} m ({file})" if n_m is not None else ", N not known (6 m are 1 ppm)"
            )
            h_m += n_m or 0.0
        factor = ground_factor(ref, side.x, side.y, h_m)
        if factor is None:
            why = "not known: this projection has no one scale at a place"
            yield Mistake("ground-distance", what, why_not=why)
            continue
        how = (
            f"scale of the projection {factor.point_scale:.8f} times elevation factor "
            f"{factor.elevation_factor:.8f} = {factor.combined:.8f}; {how}"
        )
        scale_ppm = (factor.combined - 1.0) * 1e6
        yield Mistake("ground-distance", what, scale_ppm=scale_ppm, how=how)
    if not planes:
        why = "does not apply: no side is in a plane"
        yield Mistake("ground-distance", "distances in the plane taken for ground", why_not=why)


def _planes(sides: Sequence[SidePoint]) -> list[SidePoint]:
    """Give the sides in a plane, one of those that are in the same."""
    planes: list[SidePoint] = []
    for side in sides:
        ref = side.reference
        if ref.horizontal_kind != "projected" or ref.horizontal_unit is None:
            continue
        if not any(
            same_horizontal(ref.horizontal_wkt or "", other.reference.horizontal_wkt or "")
            for other in planes
        ):
            planes.append(side)
    return planes
