"""Writing GeoPackage files, the same bytes for the same content, with the standard library's sqlite3.

References
----------
OGC 12-128r18, GeoPackage Encoding Standard 1.3 (table definitions, application id, geometry header) with its
extension ``gpkg_crs_wkt``; from memory. The tests read the files back with GDAL. ``layer_styles`` is the table
in which QGIS keeps styles; from memory.
"""

from __future__ import annotations

import math
import re
import sqlite3
import struct
from collections.abc import Iterable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from typing import Literal

Kind = Literal["POINT", "LINESTRING", "POLYGON"]
FieldType = Literal["TEXT", "REAL", "INTEGER", "BOOLEAN"]
Value = str | float | int | bool | None

#: One place: x, y and, where the layer has heights, z. In the units of the layer's system, easting or longitude
#: first.
Place = tuple[float, ...]

APPLICATION_ID = 0x47504B47  # "GPKG"
USER_VERSION = 10300

#: Stands for the time of the last change, so that the same content gives the same bytes.
LAST_CHANGE = "2000-01-01T00:00:00.000Z"

#: Written in place of the release of SQLite that wrote the file (bytes 96 to 99; information only).
_WRITER = 3_040_000

_FIRST_OWN_SRS = 100_001
_WKB = {"POINT": 1, "LINESTRING": 2, "POLYGON": 3}
_Z = 1000


@dataclass(frozen=True)
class SpatialReference:
    """A reference system as a GeoPackage keeps it.

    Attributes
    ----------
    name : str
        For people.
    wkt1, wkt2 : str or None
        OGC 01-009 and OGC 12-063 text; None where the system cannot be written so.
    epsg : int or None
        Code, where the whole system has one.
    geographic : bool
        Longitude and latitude; matters where nothing is known of the system.
    """

    name: str
    wkt1: str | None = None
    wkt2: str | None = None
    epsg: int | None = None
    geographic: bool = False


@dataclass(frozen=True)
class Feature:
    """One row: its places (one for a point, the ring for a polygon, empty for none) and its values."""

    places: Sequence[Place]
    values: Sequence[Value]


@dataclass(frozen=True)
class Layer:
    """One table with geometry.

    Attributes
    ----------
    name : str
        Of the table: small letters, digits, underscores.
    title, description : str
        For people; titles differ from layer to layer.
    kind : {"POINT", "LINESTRING", "POLYGON"}
        All features are of one kind.
    reference : SpatialReference
        Of all features.
    fields : mapping of str to {"TEXT", "REAL", "INTEGER", "BOOLEAN"}
        Columns, in order.
    features : sequence of Feature
        Rows, in order.
    style : str or None
        QML text, applied by QGIS when the layer is opened.
    """

    name: str
    title: str
    description: str
    kind: Kind
    reference: SpatialReference
    fields: Mapping[str, FieldType]
    features: Sequence[Feature] = ()
    style: str | None = None


@dataclass
class _Systems:
    """Systems written so far, by identity of content."""

    ids: dict[SpatialReference, int] = field(default_factory=dict)

    def id_of(self, connection: sqlite3.Connection, reference: SpatialReference) -> int:
        if reference.wkt1 is None and reference.wkt2 is None:
            return 0 if reference.geographic else -1
        if reference not in self.ids:
            own = _FIRST_OWN_SRS + len(self.ids)
            code = reference.epsg or own
            connection.execute(
                "INSERT OR REPLACE INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, ?, ?)",
                (
                    reference.name,
                    code,
                    "EPSG" if reference.epsg else "NONE",
                    code,
                    reference.wkt1 or "undefined",
                    None,
                    reference.wkt2 or "undefined",
                ),
            )
            self.ids[reference] = code
        return self.ids[reference]


def geopackage(layers: Sequence[Layer]) -> bytes:
    """Make a GeoPackage file.

    Parameters
    ----------
    layers : sequence of Layer
        In the order in which they are listed.

    Returns
    -------
    bytes
        Content of the file; it depends on the layers alone.

    Raises
    ------
    ValueError
        A name that SQL would not take as it stands, a row that does not fit its layer, a coordinate that is
        no number.
    """
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {USER_VERSION}")
        connection.execute("PRAGMA page_size = 4096")
        connection.execute("BEGIN")
        for statement in _TABLES:
            connection.execute(statement)
        connection.executemany(
            "INSERT INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, ?, ?)", _REQUIRED_SYSTEMS
        )
        connection.execute(
            "INSERT INTO gpkg_extensions VALUES ('gpkg_spatial_ref_sys', 'definition_12_063', 'gpkg_crs_wkt', "
            "'http://www.geopackage.org/spec120/#extension_crs_wkt', 'read-write')"
        )
        systems = _Systems()
        for layer in layers:
            _write(connection, layer, systems.id_of(connection, layer.reference))
        _write_styles(connection, [layer for layer in layers if layer.style is not None])
        connection.execute("COMMIT")
        content = bytearray(connection.serialize())
    content[96:100] = struct.pack(">I", _WRITER)
    return bytes(content)


def _write(connection: sqlite3.Connection, layer: Layer, srs_id: int) -> None:
    for name in (layer.name, *layer.fields):
        if not re.fullmatch(r"[a-z][a-z0-9_]*", name):
            raise ValueError(f"{name!r} is no name for a table or column")
    columns = ", ".join(
        ["fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL", f"geom {layer.kind}"]
        + [f"{name} {kind}" for name, kind in layer.fields.items()]
    )
    connection.execute(f"CREATE TABLE {layer.name} ({columns})")
    connection.execute(
        "INSERT INTO gpkg_contents VALUES (?, 'features', ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            layer.name,
            layer.title,
            layer.description,
            LAST_CHANGE,
            *_box(place for feature in layer.features for place in feature.places),
            srs_id,
        ),
    )
    depths = {len(place) for feature in layer.features for place in feature.places}
    heights = 2 if len(depths) > 1 else int(depths == {3})  # 2: some have one
    connection.execute(
        "INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', ?, ?, ?, 0)",
        (layer.name, layer.kind, srs_id, heights),
    )
    marks = ", ".join("?" * (1 + len(layer.fields)))
    names = ", ".join(("geom", *layer.fields))
    connection.executemany(
        f"INSERT INTO {layer.name} ({names}) VALUES ({marks})",
        (
            (_geometry(layer.kind, feature.places, srs_id), *_fitting(feature, layer))
            for feature in layer.features
        ),
    )


def _fitting(feature: Feature, layer: Layer) -> Sequence[Value]:
    if len(feature.values) != len(layer.fields):
        raise ValueError(
            f"{len(feature.values)} values for {len(layer.fields)} columns of {layer.name}"
        )
    return feature.values


def _box(places: Iterable[Place]) -> tuple[float | None, ...]:
    """Give min x, min y, max x, max y."""
    every = list(places)
    if not every:
        return (None, None, None, None)
    xs, ys = [place[0] for place in every], [place[1] for place in every]
    return (min(xs), min(ys), max(xs), max(ys))


def _geometry(kind: Kind, places: Sequence[Place], srs_id: int) -> bytes | None:
    """Give the GeoPackage binary form: header, envelope (not for points), little-endian ISO WKB."""
    if not places:
        return None
    if not all(math.isfinite(value) for place in places for value in place):
        raise ValueError("a coordinate is no number")
    deep = len(places[0]) == 3
    header = struct.pack("<2sBBi", b"GP", 0, 0b1 if kind == "POINT" else 0b11, srs_id)
    if kind != "POINT":
        west, south, east, north = _box(places)
        header += struct.pack("<4d", west, east, south, north)
    body = struct.pack("<BI", 1, _WKB[kind] + (_Z if deep else 0))
    if kind == "POLYGON":
        body += struct.pack("<I", 1)  # one ring
    if kind != "POINT":
        body += struct.pack("<I", len(places))
    return header + body + b"".join(struct.pack(f"<{len(place)}d", *place) for place in places)


def _write_styles(connection: sqlite3.Connection, layers: Sequence[Layer]) -> None:
    if not layers:
        return
    connection.execute(_STYLES)
    connection.execute(
        "INSERT INTO gpkg_contents VALUES ('layer_styles', 'attributes', 'layer_styles', ?, ?, "
        "NULL, NULL, NULL, NULL, NULL)",
        ("Styles of the layers, for QGIS", LAST_CHANGE),
    )
    connection.executemany(
        "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, "
        "styleName, styleQML, styleSLD, useAsDefault, description, owner, ui, update_time) "
        "VALUES ('', '', ?, 'geom', ?, ?, '', 1, ?, '', NULL, ?)",
        [
            (layer.name, layer.name[:30], layer.style, layer.description, LAST_CHANGE)
            for layer in layers
        ],
    )


_WGS_84 = (
    'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,AUTHORITY["EPSG","7030"]],'
    'AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],'
    'UNIT["degree",0.0174532925199433,AUTHORITY["EPSG","9122"]],AXIS["Latitude",NORTH],AXIS["Longitude",EAST],'
    'AUTHORITY["EPSG","4326"]]'
)

#: Systems that every GeoPackage must hold.
_REQUIRED_SYSTEMS = (
    ("Undefined Cartesian", -1, "NONE", -1, "undefined", "undefined Cartesian", "undefined"),
    ("Undefined geographic", 0, "NONE", 0, "undefined", "undefined geographic", "undefined"),
    ("WGS 84 geodetic", 4326, "EPSG", 4326, _WGS_84, "longitude and latitude", "undefined"),
)

_TABLES = (
    """CREATE TABLE gpkg_spatial_ref_sys (
  srs_name TEXT NOT NULL, srs_id INTEGER NOT NULL PRIMARY KEY, organization TEXT NOT NULL,
  organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT,
  definition_12_063 TEXT NOT NULL)""",
    """CREATE TABLE gpkg_contents (
  table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE,
  description TEXT DEFAULT '',
  last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')), min_x DOUBLE, min_y DOUBLE,
  max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
  CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id))""",
    """CREATE TABLE gpkg_geometry_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL,
  srs_id INTEGER NOT NULL, z TINYINT NOT NULL, m TINYINT NOT NULL,
  CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name),
  CONSTRAINT uk_gc_table_name UNIQUE (table_name),
  CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
  CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id))""",
    """CREATE TABLE gpkg_extensions (
  table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL,
  definition TEXT NOT NULL, scope TEXT NOT NULL,
  CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name))""",
)

_STYLES = """CREATE TABLE layer_styles (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT(256), f_table_schema TEXT(256),
  f_table_name TEXT(256), f_geometry_column TEXT(256), styleName TEXT(30), styleQML TEXT, styleSLD TEXT,
  useAsDefault BOOLEAN, description TEXT, owner TEXT(30), ui TEXT(30),
  update_time DATETIME DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')))"""
