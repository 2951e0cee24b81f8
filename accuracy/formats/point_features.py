"""Points of a GeoPackage layer or of GeoJSON, as rows of text with their attributes.

The geometry gives easting, northing and, where it has one, the height; attributes of such names give way to it.

References
----------
OGC 12-128r18 and OGC 06-103r4 for the binary geometry, RFC 7946 for GeoJSON; from memory. The tests read files
that GDAL wrote.
"""

from __future__ import annotations

import json
import math
import re
import sqlite3
import struct
from collections.abc import Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from accuracy.errors import InputError
from accuracy.formats.outlines import geojson_crs, geometry_start
from accuracy.formats.tables import TextRow, TextTable

_NAMES = ("easting", "northing", "height")
_DEGREES = ("lon", "lat", "height")
#: Attributes that say again what the geometry says, in the words of people.
_SAID_BY_GEOMETRY = frozenset(
    {"x", "y", "z", "e", "n", "east", "north", "easting", "northing"}
    | {"lon", "lat", "long", "lng", "longitude", "latitude"}
)
_HEIGHTS = frozenset(("height", "elevation", "elev", "z", "h"))
_KEYS = ("fid", "ogc_fid")
#: What GDAL writes as the system of GeoJSON in degrees: WGS 84, by either name.
_DEGREE_CODES = ("EPSG:4326", "EPSG:4979")

Place = tuple[float, ...]
Record = tuple[int, Place | None, Mapping[str, Any]]


def read_layer(path: Path, layer: str | None = None) -> TextTable:
    """Read the points of a GeoPackage layer.

    Raises
    ------
    InputError
        No GeoPackage, damaged, no layer of points, or it is not clear which is meant.
    """
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as base:
            tables = base.execute(
                "SELECT c.table_name, c.column_name, s.organization, s.organization_coordsys_id, "
                "s.definition, s.srs_id FROM gpkg_geometry_columns c JOIN gpkg_spatial_ref_sys s "
                "USING (srs_id) WHERE upper(c.geometry_type_name) IN ('POINT', 'GEOMETRY') "
                "ORDER BY c.table_name"
            ).fetchall()
            names = [str(row[0]) for row in tables]
            chosen = [row for row in tables if layer in (None, row[0])]
            if len(chosen) != 1:
                what = "has several layers of points" if chosen else "has no such layer of points"
                raise InputError(
                    f"{what}; there is: {', '.join(map(repr, names)) or 'none'}",
                    where=str(path),
                    remedy="name one as layer under [checkpoints], or keep the points alone in a file",
                )
            table, column, organisation, code, definition, srs = chosen[0]
            name = str(table).replace('"', '""')
            cursor = base.execute(f'SELECT * FROM "{name}"')
            heads = [str(item[0]) for item in cursor.description]
            rows = cursor.fetchall()
    except sqlite3.Error as error:
        raise _refused(f"cannot be read as a GeoPackage: {error}", path) from error
    crs = None
    if str(organisation).upper() == "EPSG":
        crs = f"EPSG:{code}"
    elif str(definition).strip() not in ("", "undefined"):
        crs = str(definition)
    records: list[Record] = []
    at = heads.index(column)
    for number, row in enumerate(rows, 1):
        try:
            place = None if row[at] is None else _point(bytes(row[at]))
        except (struct.error, ValueError, KeyError, TypeError) as error:
            raise _refused(f"feature {number}: {error}", path) from error
        kept = {
            head: value
            for i, (head, value) in enumerate(zip(heads, row, strict=True))
            if i != at and head.lower() not in _KEYS
        }
        records.append((number, place, kept))
    text = str(definition)
    geographic = srs == 0 or (
        not re.search("PROJCS|PROJCRS", text) and re.search("GEOGCS|GEOGCRS", text) is not None
    )
    return _table(path, records, f", layer {table!r}", crs, geographic)


def of_geojson(path: Path, data: Any) -> TextTable:
    """Read the points of a GeoJSON document.

    Coordinates are degrees of WGS 84 by the format's rule. Crews put other frames into it all the same, so the
    job says which it is, unless the old member ``crs`` does; and places that are on no globe are lengths.

    Raises
    ------
    InputError
        It is no collection of points.
    """
    records: list[Record] = []
    try:
        features = data["features"] if data["type"] == "FeatureCollection" else [data]
        for number, feature in enumerate(features, 1):
            geometry = feature["geometry"]
            kept = dict(feature.get("properties") or {})
            if "id" in feature and not any(str(key).lower() == "id" for key in kept):
                kept["id"] = feature["id"]
            if geometry is not None and geometry["type"] != "Point":
                raise _refused(f"feature {number} is a {geometry['type']}, not a Point", path)
            place = None
            if geometry is not None:
                place = tuple(float(value) for value in geometry["coordinates"][:3])
                if len(place) < 2:
                    raise ValueError("a point has two coordinates at least")
            records.append((number, place, kept))
        crs = geojson_crs(data) if data.get("crs") else None
        places = [place for _, place, _ in records if place is not None]
        on_globe = all(abs(place[0]) <= 180.0 and abs(place[1]) <= 90.0 for place in places)
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise _refused("is no GeoJSON collection of points", path) from error
    geographic = crs in _DEGREE_CODES if crs else on_globe
    return _table(path, records, "", crs, geographic)


def _table(
    path: Path, records: Sequence[Record], part: str, crs: str | None, geographic: bool
) -> TextTable:
    for number, place, _ in records:
        if place is None:
            raise _refused(f"feature {number} has no point", path)
    deep = [place is not None and len(place) > 2 for _, place, _ in records]
    with_heights = any(deep)
    said = _SAID_BY_GEOMETRY | (_HEIGHTS if with_heights else frozenset())
    heads = dict.fromkeys(
        key for _, _, kept in records for key in kept if str(key).lower() not in said
    )
    names = (_DEGREES if geographic else _NAMES)[: 3 if with_heights else 2]
    rows = [TextRow(0, (*names, *map(str, heads)), "")]
    for number, place, kept in records:
        assert place is not None
        place = (*place, math.nan)[: len(names)]
        cells = (*(_text(value) for value in place), *(_text(kept.get(key)) for key in heads))
        rows.append(TextRow(number, cells, "\t".join(cells)))
    return TextTable(
        path,
        tuple(rows) if records else (),
        comments=(),
        delimiter="\t",
        encoding="utf-8",
        encoding_assumed=False,
        unit="feature",
        part=part,
        crs=crs,
    )


def _text(value: Any) -> str:
    """Write a value as text; what is missing is nothing."""
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, (dict, list)):
        return json.dumps(value, ensure_ascii=False)
    return " ".join(str(value).split())


def _point(blob: bytes) -> Place | None:
    """Read a point in GeoPackage binary form; None where it is empty."""
    start = geometry_start(blob)
    order = "<" if blob[start] == 1 else ">"
    (kind,) = struct.unpack_from(f"{order}I", blob, start + 1)
    deep = kind // 1000 in (1, 3) or bool(kind & 0x80000000)  # ISO form, and GDAL's old one
    if kind % 1000 != 1 and kind & 0xFF != 1:
        raise ValueError("the geometry is no point")
    values = struct.unpack_from(f"{order}{3 if deep else 2}d", blob, start + 5)
    if math.isnan(values[0]) and math.isnan(values[1]):
        return None
    return tuple(values)


def _refused(what: str, path: Path) -> InputError:
    return InputError(
        what, where=str(path), remedy="hand in points with their coordinates as geometry"
    )
