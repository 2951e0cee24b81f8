"""Points and footprints as GeoJSON, for whoever only wants to look at a map.

RFC 7946 knows one system only, longitude and latitude of WGS 84. No transformation is made for it: the degrees
are those of the deliverable's own frame, its map projection undone. The file names that frame and says so; in
most frames the place on a web map is off by up to some metres. Heights stand in the properties alone, because a
third coordinate would have to be a height above the ellipsoid of WGS 84.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from accuracy.georeferencing.geodetic import to_points, why_unsupported
from accuracy.georeferencing.record import Reference
from accuracy.reports.spatial import (
    FIELDS,
    attributes,
    footprint_of,
    place_of,
    reference_of,
    ring_of,
)
from accuracy.reports.words import printable
from accuracy.result import DatasetResult, Result

#: Decimals of degrees: 0.1 mm on the ground.
DECIMALS = 9

_NOTE = (
    "Degrees are those of the frame named, not transformed to WGS 84; native_* are the coordinates as stored. "
    "Residuals are measured minus surveyed, in metres."
)


def render(result: Result) -> bytes:
    """Give ``residuals.geojson``: UTF-8, one feature per line."""
    features: list[dict[str, Any]] = []
    systems = []
    for dataset in result.datasets:
        reference = reference_of(result, dataset)
        why_not = _why_not(reference)
        systems.append(
            {
                "dataset": printable(dataset.name),
                "frame": _text(reference.frame),
                "reference_system": printable(reference.name),
                "epoch_year": reference.epoch_year,
                "no_geometry_because": why_not,
            }
        )
        features += _points(dataset, reference, why_not)
        features += _footprint(result, dataset, reference, why_not)
    head = {
        "type": "FeatureCollection",
        "accuracy_note": _NOTE,
        "accuracy_reference_systems": systems,
    }
    lines = ",\n".join(_json(feature) for feature in features)
    return f'{_json(head)[:-1]},\n"features":[\n{lines}\n]}}\n'.encode()


def _json(data: object) -> str:
    return json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def _text(text: str | None) -> str | None:
    return None if text is None else printable(text)


def _why_not(reference: Reference) -> str | None:
    """Say why there are no degrees; None where there are."""
    if not reference.horizontal_known:
        return "the reference system is not known"
    why = why_unsupported(reference)
    return None if why is None else printable(why)


def _degrees(places: list[tuple[float, float]], reference: Reference) -> list[list[float] | None]:
    """Give longitude and latitude in the frame of the system itself; None where there is no such place."""
    easting, northing = np.array(places, dtype=np.float64).reshape(-1, 2).T
    found = to_points(reference, easting, northing, np.zeros(len(easting)))
    return [
        [round(float(lon), DECIMALS), round(float(lat), DECIMALS)]
        if abs(lon) <= 180.0 and abs(lat) <= 90.0
        else None
        for lon, lat in zip(found.lon_deg, found.lat_deg, strict=True)
    ]


def _points(
    dataset: DatasetResult, reference: Reference, why_not: str | None
) -> list[dict[str, Any]]:
    placed = [(i, place) for i, row in enumerate(dataset.residuals) if (place := place_of(row))]
    at: dict[int, list[float] | None] = {}
    if placed and why_not is None:
        degrees = _degrees([place for _, place in placed], reference)
        at = {i: place for (i, _), place in zip(placed, degrees, strict=True)}
    return [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": at[i]} if at.get(i) else None,
            "properties": {"layer": "checkpoints"}
            | dict(zip(FIELDS, attributes(dataset, row), strict=True)),
        }
        for i, row in enumerate(dataset.residuals)
    ]


def _footprint(
    result: Result, dataset: DatasetResult, reference: Reference, why_not: str | None
) -> list[dict[str, Any]]:
    features = []
    for box in footprint_of(result, dataset):
        ring = _degrees(list(ring_of(box)), reference) if why_not is None else [None]
        whole = [place for place in ring if place is not None]
        lons = [lon for lon, _ in whole]
        # A ring that crosses the antimeridian would be drawn around the Earth.
        drawn = len(whole) == len(ring) and max(lons) - min(lons) < 180.0
        features.append(
            {
                "type": "Feature",
                "geometry": {"type": "Polygon", "coordinates": [whole]} if drawn else None,
                "properties": {
                    "layer": "footprint",
                    "dataset": printable(dataset.name),
                    "native_box": list(box),
                },
            }
        )
    return features
