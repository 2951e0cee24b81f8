"""Whether declared coordinates can be what they are said to be: system, unit, axes, place on the globe."""

from __future__ import annotations

import math
from collections.abc import Iterator

from accuracy.findings import Severity
from accuracy.georeferencing.ground import on_globe, scale_of_projection
from accuracy.georeferencing.reference import Reference
from accuracy.inspection.concerns import What, concern
from accuracy.inspection.record import Box, Concern
from accuracy.units import LengthUnit

#: Degrees beyond the area of use that a site may lie: zones are used a little over their border (common
#: practice, no source).
MARGIN_DEG = 1.0
#: Nobody surveys with a drone south of this latitude, except in Antarctica (no source).
SOUTHERNMOST_DEG = -60.0
#: Distances from the earth's centre in metres, heights from -10 to 20 km on any ellipsoid.
RADII_M = (6.34e6, 6.40e6)
#: Scale of a projection that is past what mapping systems for measurement have (national Albers and
#: Lambert systems stay within about 1 %; no source).
LARGEST_SCALE = 0.02
METRES_PER_DEGREE = 111_000.0  # of latitude, roughly
FOOT_M = float(LengthUnit.FOOT.metres)
FEET_DIFFER = float(LengthUnit.US_SURVEY_FOOT.metres / LengthUnit.FOOT.metres - 1)

STATE_CRS = 'state crs in the job, for example crs = "EPSG:6345+5703"'


def of_reference(
    name: str, reference: Reference, bounds: Box | None, what: What
) -> Iterator[Concern]:
    """Say what is missing in the declaration, and whether the coordinates can be in that system."""
    yield from _missing(name, reference, what)
    yield from _units(name, reference, bounds)
    if bounds is not None and all(map(math.isfinite, bounds)):
        x, y = (bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2
        yield from _placed(name, reference, x, y)


def _missing(name: str, reference: Reference, what: What) -> Iterator[Concern]:
    if not reference.horizontal_known:
        named = "nothing usable declares the reference system"
        if reference.horizontal_wkt is not None:
            named = f"{reference.name} names no datum"
        yield concern(
            "crs-unknown",
            Severity.WARNING,
            f"{name}: {named}",
            "nothing of it can be compared before the job states the system; a wrong one moves every point",
            remedy=STATE_CRS,
        )
    if reference.horizontal_kind in ("geographic", "geocentric"):
        geographic = reference.horizontal_kind == "geographic"
        blocks = what == "cloud" or not geographic
        yield concern(
            "crs-geographic",
            Severity.BLOCKING if blocks else Severity.WARNING,
            f"{name}: coordinates are {'in degrees' if geographic else 'geocentric'} ({reference.name})",
            "no heights can be taken, because a triangulation needs a plane, and no horizontal errors formed"
            if blocks
            else "heights can be compared, horizontal errors and slopes cannot be formed",
            remedy="deliver it in a projected system",
            component="all" if blocks else "horizontal",
        )
    if not reference.vertical_known:
        silent = reference.vertical_unit is None
        yield concern(
            "crs-vertical-unknown",
            Severity.WARNING,
            f"{name}: nothing usable declares what the heights refer to"
            + (", nor their unit" if silent else f" (only their unit, {reference.vertical_unit})"),
            "horizontal results stand; no vertical statement is possible before the job names the vertical "
            "system. Ellipsoidal taken for orthometric heights is wrong by tens of metres"
            + (", feet taken for metres by a factor of 3.28" if silent else ""),
            remedy='state both parts in the job, for example crs = "EPSG:6345+5703"',
            component="vertical",
        )
    elif reference.vertical_kind == "orthometric" and reference.geoid is None:
        yield concern(
            "crs-geoid-unnamed",
            Severity.NOTE,
            f"{name}: no geoid model is named behind {reference.vertical}",
            "heights are compared as they are; another model behind the checkpoints shows as a bias of "
            "centimetres to decimetres",
            remedy="state geoid in the job",
            component="vertical",
        )
    if reference.ensemble:
        known_m = reference.ensemble_accuracy_m or 2.0
        yield concern(
            "crs-realisation-unknown",
            Severity.WARNING,
            f"{name}: {reference.frame} is named without a realisation",
            f"the frame is known to {known_m:g} m only; compared as one frame only with coordinates that say "
            "the same",
            remedy="find out the realisation, and state its code in the job",
        )
    if reference.dynamic and reference.epoch_year is None:
        yield concern(
            "crs-epoch-missing",
            Severity.WARNING,
            f"{name}: {reference.frame} moves with the plates, and no epoch is declared",
            "no statement before the job states the epoch; one year is worth up to 0.1 m",
            remedy="state epoch in the job, such as 2024.5",
        )


def _units(name: str, reference: Reference, bounds: Box | None) -> Iterator[Concern]:
    unit, up = reference.horizontal_unit, reference.vertical_unit
    if unit in (LengthUnit.FOOT, LengthUnit.US_SURVEY_FOOT) and bounds is not None:
        size = max(map(abs, bounds))
        if math.isfinite(size):
            other = (
                LengthUnit.US_SURVEY_FOOT if unit is LengthUnit.FOOT else LengthUnit.FOOT
            ).print_name
            yield concern(
                "inspect-feet",
                Severity.NOTE,
                f"{name}: coordinates are in {unit.print_name}",
                f"checkpoints taken in {other} instead would lie up to {size * FEET_DIFFER * FOOT_M:.2f} m off",
            )
    if unit is not None and up is not None and unit is not up:
        yield concern(
            "inspect-mixed-units",
            Severity.NOTE,
            f"{name}: the plane is in {unit.print_name}, heights are in {up.print_name}",
            "none where the checkpoints' heights are declared in the same unit; else a factor of 3.28, or 2 "
            "parts per million between the feet",
            component="vertical",
        )


def _placed(name: str, reference: Reference, x: float, y: float) -> Iterator[Concern]:
    if reference.horizontal_kind == "geographic":
        yield from _placed_degrees(name, x, y)
        return
    if reference.horizontal_wkt is None or reference.area_deg is None:
        return
    if reference.horizontal_kind != "projected":
        return
    wkt, area = reference.horizontal_wkt, reference.area_deg
    place = on_globe(wkt, x, y)
    if _inside(place, area, MARGIN_DEG):
        assert place is not None
        scale = scale_of_projection(wkt, *place)
        if scale is not None and abs(scale - 1.0) > LARGEST_SCALE:
            yield concern(
                "inspect-stretched",
                Severity.WARNING,
                f"{name}: at {_degrees(place)} lengths in {reference.name} are {scale:.3f} times those on "
                "the ground",
                f"horizontal errors, slopes and distances come out {scale:.3f} times too large",
                remedy="deliver it in a system made for measuring, such as the UTM zone of the site",
            )
        return
    fits = [
        told
        for told, (east, north) in _other_readings(reference.horizontal_unit, x, y)
        if _inside(on_globe(wkt, east, north), area, 0.0)
    ]
    where = "on no place of the globe" if place is None else f"at {_degrees(place)}"
    yield concern(
        "inspect-axes" if fits == ["easting and northing were swapped"] else "inspect-place",
        Severity.BLOCKING if fits else Severity.WARNING,
        f"{name}: as declared ({reference.name}) the file lies {where}, outside the area where that system "
        f"is used ({_area(area)})" + (f"; inside it if {' or '.join(fits)}" if fits else ""),
        "the declaration or the coordinates are wrong: distances would come out in the wrong unit or place, "
        "and checkpoints in that system would not meet the file",
        remedy="find out the unit and system the coordinates are really in, and write the file again",
    )


def _other_readings(
    unit: LengthUnit | None, x: float, y: float
) -> list[tuple[str, tuple[float, float]]]:
    readings = [("easting and northing were swapped", (y, x))]
    if unit is LengthUnit.METRE:
        readings.append(("the coordinates were feet", (x * FOOT_M, y * FOOT_M)))
    elif unit is not None:
        readings.append(("the coordinates were metres", (x / FOOT_M, y / FOOT_M)))
    return readings


def _placed_degrees(name: str, x: float, y: float) -> Iterator[Concern]:
    swapped = abs(y) <= 360.0 and SOUTHERNMOST_DEG <= x <= 90.0
    if abs(x) <= 360.0 and abs(y) <= 90.0:
        if y >= SOUTHERNMOST_DEG or not swapped:
            return
        severity = Severity.WARNING
        told = f"as declared the file lies at {_degrees((x, y))}, in Antarctica; swapped at {_degrees((y, x))}"
    else:
        severity = Severity.BLOCKING
        told = f"x {x:g}, y {y:g} are no longitude and latitude" + (
            f"; swapped they are {_degrees((y, x))}" if swapped else ""
        )
    yield concern(
        "inspect-axes" if swapped else "inspect-place",
        severity,
        f"{name}: {told}",
        "checkpoints would not meet the file: files store longitude first"
        if swapped
        else "the file cannot be placed",
        remedy="write the file again with longitude as x and latitude as y"
        if swapped
        else "find out what the coordinates are",
    )


def _inside(
    place: tuple[float, float] | None, area: tuple[float, float, float, float], margin: float
) -> bool:
    if place is None:
        return False
    west, south, east, north = area
    if east < west:  # over the antimeridian
        east += 360.0
    lon = west - margin + (place[0] - west + margin) % 360.0
    return south - margin <= place[1] <= north + margin and lon <= east + margin


def geocentric(name: str, middle: tuple[float, float, float]) -> Iterator[Concern]:
    """Check that geocentric coordinates in metres lie near the earth's surface."""
    radius_m = math.dist(middle, (0.0, 0.0, 0.0))
    if not RADII_M[0] <= radius_m <= RADII_M[1]:
        yield concern(
            "inspect-place",
            Severity.BLOCKING,
            f"{name}: declared geocentric, but the points lie {radius_m / 1000:.0f} km from the earth's "
            "centre, where there is no ground",
            "the declaration is wrong: nothing can be compared in it",
            remedy="find out the system the coordinates are really in, and write the file again",
        )


def _degrees(place: tuple[float, float]) -> str:
    lon, lat = place
    lon = (lon + 180.0) % 360.0 - 180.0
    return f"{abs(lat):.2f}°{'S' if lat < 0 else 'N'} {abs(lon):.2f}°{'W' if lon < 0 else 'E'}"


def _area(area: tuple[float, float, float, float]) -> str:
    west, south, east, north = area
    return f"{_degrees((west, south))} to {_degrees((east, north))}"
