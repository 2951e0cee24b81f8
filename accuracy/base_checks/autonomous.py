"""Held coordinates against the approximate position in the header of the observation file."""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.base_checks.differences import difference
from accuracy.base_checks.record import BaseCheck, Side, Station, Vector, length
from accuracy.findings import Severity
from accuracy.georeferencing.declaration import declared
from accuracy.georeferencing.geodetic import Points, ellipsoid_of
from accuracy.georeferencing.shown_coordinates import vector_m

#: Coordinates closer than this to the header's are the header's own.
SAME_M = 0.001
#: Farther than this the header is of another place.
ELSEWHERE_M = 10.0
#: What an autonomous position is good for, from memory: 1-5 m horizontally, 2-10 m in height.
AUTONOMOUS = Vector(3.0, 3.0, 6.0)


def check(station: Station) -> Iterator[BaseCheck]:
    """Tell where the held coordinates are the receiver's own, or of another place."""
    held, header = station.held, station.header
    if held is not None and held.origin == "autonomous":
        yield _autonomous(station, held, "the job says so")
        return
    if held is None or header is None or header.position_m is None or not any(header.position_m):
        return
    away = offset(held, header.position_m)
    if away is None:
        return
    if away.size_m <= max(SAME_M, header.position_step_m or 0.0) and _coarse_enough(station):
        if held.origin == "published" or _vouched(station):
            return  # a station whose header carries its coordinates
        yield _autonomous(
            station,
            held,
            f"they are those in the header of {station.header_name} to {length(away.size_m, sign=False)}",
        )
    elif away.size_m > ELSEWHERE_M:
        yield BaseCheck(
            "base-position-far",
            "another-place",
            Severity.WARNING,
            f"the header of {station.header_name} lies {length(away.size_m, sign=False)} from the "
            "held coordinates: "
            "another station, exchanged fields, or a header that was never filled in",
            remedy="make sure that the file is of this base and that the coordinates are typed right",
            evidence={"distance_m": away.size_m},
        )


def offset(held: Side, xyz_m: tuple[float, float, float]) -> Vector | None:
    """Give the header's position minus the held one, both as numbers: headers declare no frame."""
    points = held.points
    if points is None:
        return None
    ellipsoid = ellipsoid_of(held.reference)
    there = Side("header", declared("EPSG:4978"), *xyz_m).points
    if there is None:
        return None
    if held.reference.vertical_kind == "orthometric":
        # The header's height is ellipsoidal: only the plane can be compared.
        there = Points(there.lon_deg, there.lat_deg, points.h_m)
    return Vector(*vector_m(points, there, ellipsoid))


def _coarse_enough(station: Station) -> bool:
    """Tell whether the header has the digits: one rounded to a metre says nothing of millimetres."""
    header = station.header
    return header is not None and (header.position_step_m or 0.0) <= 0.01


def _vouched(station: Station) -> bool:
    """Whether the published coordinates are the same: then it does not matter who copied from whom."""
    if station.held is None or station.published is None:
        return False
    found = difference(station.held, station.published, station.shelf).vector
    return found is not None and found.size_m <= 0.01


def _autonomous(station: Station, held: Side, why: str) -> BaseCheck:
    effect = None
    if station.published is not None:
        effect = difference(held, station.published, station.shelf).vector
    known = effect is not None
    return BaseCheck(
        "base-autonomous",
        "autonomous-position",
        Severity.BLOCKING if held.origin == "autonomous" and not known else Severity.WARNING,
        "the held coordinates look like the receiver's own position, computed without corrections: "
        f"{why}; such a "
        "position is good to 1-5 m horizontally and 2-10 m in height"
        + ("; what it does here is held minus published" if known else ""),
        sigma=None if known else AUTONOMOUS,
        remedy="hold coordinates with a source: published ones, or a static solution of the whole record",
    )
