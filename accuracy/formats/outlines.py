"""Outlines of areas: polygons in a GeoPackage or in GeoJSON, coordinates as stored.

References
----------
OGC 12-128r18 (GeoPackage binary geometry) and OGC 06-103r4 (well-known binary), from memory; RFC 7946 (GeoJSON:
longitude and latitude, WGS 84), from memory; its predecessor of 2008 for the member ``crs``.
"""

from __future__ import annotations

import json
import re
import sqlite3
import struct
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import FormatError

_SQLITE = b"SQLite format 3\x00"
_ENVELOPE_BYTES = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}
_LARGEST_JSON = 100_000_000


@dataclass(frozen=True, eq=False)
class Outline:
    """Closed rings, outer and inner ones, as stored.

    Attributes
    ----------
    rings : tuple of ndarray, shape (n, 2)
        Easting or longitude first, whatever the system's axes.
    crs : str or None
        What the file says of its system: a code or WKT.
    """

    rings: tuple[NDArray[np.float64], ...]
    crs: str | None


def read_outline(path: Path, layer: str | None = None) -> Outline:
    """Read all polygons of a GeoPackage layer or a GeoJSON file.

    Parameters
    ----------
    layer : str, optional
        Table of the GeoPackage; not needed where one alone holds polygons.

    Raises
    ------
    FormatError
        The file is missing, of another kind, damaged, or holds no polygon.
    """
    where = str(path)
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            packaged = file.read(len(_SQLITE)) == _SQLITE
        if packaged:
            outline = _of_geopackage(path, layer)
        elif size > _LARGEST_JSON:
            raise _refused("is too large for an outline as GeoJSON", where)
        else:
            outline = _of_geojson(path.read_bytes(), where)
    except OSError as error:
        raise FormatError(
            f"cannot be read: {error.strerror or error}",
            where=where,
            remedy="check the path in [area]",
        ) from error
    if not outline.rings:
        raise _refused("holds no polygon", where)
    for ring in outline.rings:
        if len(ring) < 4 or not np.isfinite(ring).all() or (ring[0] != ring[-1]).any():
            raise _refused("holds a ring that is not closed, or is no ring", where)
    return outline


def _refused(what: str, where: str) -> FormatError:
    remedy = "hand in the polygon of the project area as GeoPackage or GeoJSON"
    return FormatError(what, where=where, remedy=remedy)


def _of_geopackage(path: Path, layer: str | None) -> Outline:
    where = str(path)
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as base:
            tables = base.execute(
                "SELECT c.table_name, c.column_name, s.organization, s.organization_coordsys_id, "
                "s.definition FROM gpkg_geometry_columns c JOIN gpkg_spatial_ref_sys s USING (srs_id) "
                "WHERE upper(c.geometry_type_name) IN ('POLYGON', 'MULTIPOLYGON', 'GEOMETRY') "
                "ORDER BY c.table_name"
            ).fetchall()
            names = [str(row[0]) for row in tables]
            if layer is None and len(names) > 1:
                raise FormatError(
                    f"has several layers with polygons: {', '.join(names)}",
                    where=where,
                    remedy="name one as layer in [area]",
                )
            chosen = [row for row in tables if layer in (None, row[0])]
            if not chosen:
                known = ", ".join(names) or "none"
                raise _refused(f"has no such layer with polygons; there is: {known}", where)
            table, column, organisation, code, definition = chosen[0]
            quoted = [str(name).replace('"', '""') for name in (column, table)]
            rows = base.execute('SELECT "{}" FROM "{}"'.format(*quoted)).fetchall()
    except sqlite3.Error as error:
        raise _refused(f"cannot be read as a GeoPackage: {error}", where) from error
    try:
        rings = [
            ring for (blob,) in rows if blob is not None for ring in _rings_of_blob(bytes(blob))
        ]
    except (struct.error, ValueError, KeyError, TypeError) as error:
        raise _refused(f"holds a geometry that cannot be read: {error}", where) from error
    crs = None
    if str(organisation).upper() == "EPSG":
        crs = f"EPSG:{code}"
    elif str(definition).strip() not in ("", "undefined"):
        crs = str(definition)
    return Outline(tuple(rings), crs)


def geometry_start(blob: bytes) -> int:
    """Give where the well-known binary begins in a GeoPackage geometry.

    Raises
    ------
    ValueError, KeyError
        It is none.
    """
    if blob[:2] != b"GP" or len(blob) < 13:
        raise ValueError("no GeoPackage geometry")
    return 8 + _ENVELOPE_BYTES[(blob[3] >> 1) & 0b111]


def _rings_of_blob(blob: bytes) -> Iterator[NDArray[np.float64]]:
    yield from _polygons(blob, geometry_start(blob))[0]


def _polygons(data: bytes, at: int) -> tuple[list[NDArray[np.float64]], int]:
    """Read one well-known binary geometry; give its rings and where it ends."""
    order = "<" if data[at] == 1 else ">"
    (kind,) = struct.unpack_from(f"{order}I", data, at + 1)
    at += 5
    base, width = kind % 1000, {0: 2, 1: 3, 2: 3, 3: 4}[kind // 1000]
    rings: list[NDArray[np.float64]] = []
    (count,) = struct.unpack_from(f"{order}I", data, at)
    at += 4
    if base == 3:
        for _ in range(count):
            (points,) = struct.unpack_from(f"{order}I", data, at)
            values = np.frombuffer(data, f"{order}f8", points * width, at + 4)
            rings.append(values.reshape(points, width)[:, :2].astype(np.float64))
            at += 4 + points * width * 8
    elif base in (6, 7):
        for _ in range(count):
            more, at = _polygons(data, at)
            rings += more
    else:
        raise ValueError(f"geometry of kind {kind} is no polygon")
    return rings, at


def _of_geojson(content: bytes, where: str) -> Outline:
    try:
        data = json.loads(content.decode("utf-8-sig"))
        rings = [
            np.array([point[:2] for point in ring], dtype=np.float64).reshape(-1, 2)
            for polygon in _coordinates(data)
            for ring in polygon
        ]
        crs = geojson_crs(data)
    except (ValueError, TypeError, KeyError, AttributeError, IndexError, RecursionError) as error:
        raise _refused("is neither a GeoPackage nor GeoJSON that can be read", where) from error
    return Outline(tuple(rings), crs)


def _coordinates(data: Any) -> Iterator[Any]:
    kind = data["type"]
    if kind == "FeatureCollection":
        for feature in data["features"]:
            yield from _coordinates(feature)
    elif kind == "Feature":
        if data["geometry"] is not None:
            yield from _coordinates(data["geometry"])
    elif kind == "GeometryCollection":
        for geometry in data["geometries"]:
            yield from _coordinates(geometry)
    elif kind == "Polygon":
        yield data["coordinates"]
    elif kind == "MultiPolygon":
        yield from data["coordinates"]


def geojson_crs(data: Any) -> str:
    """Give the system of a GeoJSON document: WGS 84 unless its member ``crs`` says otherwise."""
    named = str(((data.get("crs") or {}).get("properties") or {}).get("name") or "")
    code = re.search(r"EPSG:+(?:[0-9.]*:)?([0-9]+)$", named)
    return f"EPSG:{code[1]}" if code else "EPSG:4326"
