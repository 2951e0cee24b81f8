"""GeoPackage files are read back by GDAL (through pyogrio) and by sqlite3 itself."""

from __future__ import annotations

import math
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pyogrio
import pyproj
import pytest
from gis_reader import read_layer
from hypothesis import given
from hypothesis import strategies as st
from support import assert_metres

from accuracy.formats.geopackage import Feature, Layer, SpatialReference, geopackage

COMPOUND = pyproj.CRS("EPSG:6341+5703")
SYSTEM = SpatialReference(COMPOUND.name, COMPOUND.to_wkt("WKT1_GDAL"), COMPOUND.to_wkt("WKT2_2015"))
POINTS = Layer(
    name="marks",
    title="Marks",
    description="Invented",
    kind="POINT",
    reference=SYSTEM,
    fields={"id": "TEXT", "up_m": "REAL", "points": "INTEGER", "used": "BOOLEAN"},
    features=(
        Feature([(412_000.125, 4_541_000.5, 1300.0625)], ("A", 0.0123456789, 7, True)),
        Feature([(412_001.0, 4_541_002.0, -2.5)], ('B\'s "mark"', None, None, False)),
        Feature([], ("nowhere", -1.0, 0, False)),
    ),
    style="<qgis/>",
)
LINES = Layer(
    name="vectors",
    title="Vectors",
    description="",
    kind="LINESTRING",
    reference=SYSTEM,
    fields={},
    features=(Feature([(1.0, 2.0), (-3.5, 4.25)], ()),),
)
RING = [(0.0, 0.0), (2.0, 0.0), (2.0, 1.0), (0.0, 1.0), (0.0, 0.0)]
OUTLINES = Layer(
    name="outlines",
    title="Outlines",
    description="",
    kind="POLYGON",
    reference=SYSTEM,
    fields={"file": "TEXT"},
    features=(Feature(RING, ("a.laz",)),),
)


def written(folder: Path, *layers: Layer) -> Path:
    path = folder / "a.gpkg"
    path.write_bytes(geopackage(layers))
    return path


def test_points_come_back_with_heights_and_values(tmp_path: Path) -> None:
    """GDAL gives the same places to the bit, the same values, and no value where there is none."""
    crs, kind, features = read_layer(written(tmp_path, POINTS), "marks")
    assert kind == "Point Z"
    assert crs is not None
    assert pyproj.CRS(crs).equals(COMPOUND, ignore_axis_order=True)
    assert [f["id"] for f in features] == ["A", 'B\'s "mark"', "nowhere"]
    assert [f["geometry"] for f in features] == [
        [(412_000.125, 4_541_000.5, 1300.0625)],
        [(412_001.0, 4_541_002.0, -2.5)],
        None,
    ]
    assert features[0]["up_m"] == 0.0123456789
    assert math.isnan(features[1]["up_m"])
    assert [bool(f["used"]) for f in features] == [True, False, False]
    assert features[0]["points"] == 7


def test_lines_and_polygons_come_back(tmp_path: Path) -> None:
    """Both other kinds of geometry, without heights."""
    path = written(tmp_path, LINES, OUTLINES)
    assert read_layer(path, "vectors")[1:] == (
        "LineString",
        [{"geometry": [(1.0, 2.0), (-3.5, 4.25)]}],
    )
    assert read_layer(path, "outlines")[1:] == ("Polygon", [{"file": "a.laz", "geometry": RING}])


def test_boxes_stand_in_the_contents(tmp_path: Path) -> None:
    """What GDAL says of the extent is that of the places; an empty layer has none."""
    path = written(tmp_path, POINTS, replace(LINES, features=()))
    assert pyogrio.read_info(path, layer="marks")["total_bounds"] == (
        412_000.125,
        4_541_000.5,
        412_001.0,
        4_541_002.0,
    )
    info = pyogrio.read_info(path, layer="vectors", force_total_bounds=True)
    assert info["features"] == 0
    with closing(sqlite3.connect(path)) as connection:
        box = connection.execute(
            "SELECT min_x, min_y, max_x, max_y FROM gpkg_contents WHERE table_name = 'vectors'"
        ).fetchone()
    assert box == (None, None, None, None)


def test_identity_of_the_file(tmp_path: Path) -> None:
    """Application id, version and WKT 2 as an extension (OGC 12-128, from memory); sound tables."""
    path = written(tmp_path, POINTS, LINES)
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA application_id").fetchone() == (0x47504B47,)
        assert connection.execute("PRAGMA user_version").fetchone() == (10300,)
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
        wkt1, wkt2 = connection.execute(
            "SELECT definition, definition_12_063 FROM gpkg_spatial_ref_sys WHERE srs_id > 100000"
        ).fetchone()
        assert connection.execute("SELECT extension_name FROM gpkg_extensions").fetchall() == [
            ("gpkg_crs_wkt",)
        ]
        required = connection.execute(
            "SELECT srs_id FROM gpkg_spatial_ref_sys WHERE srs_id IN (-1, 0, 4326)"
        ).fetchall()
        styles = connection.execute(
            "SELECT f_table_name, useAsDefault FROM layer_styles"
        ).fetchall()
    assert wkt1.startswith("COMPD_CS[")
    assert wkt2.startswith("COMPOUNDCRS[")
    assert pyproj.CRS(wkt2).equals(COMPOUND, ignore_axis_order=True)
    assert len(required) == 3
    assert styles == [("marks", 1)]


def test_the_same_content_gives_the_same_bytes() -> None:
    """No clock, no path, no release of SQLite in the file; other content gives other bytes."""
    one = geopackage([POINTS, LINES])
    assert one == geopackage([POINTS, LINES])
    assert one != geopackage([LINES, POINTS])
    current = int("{:d}{:03d}{:03d}".format(*sqlite3.sqlite_version_info))
    assert one[96:100] == (3_040_000).to_bytes(4, "big") or current == 3_040_000
    assert b"2000-01-01T00:00:00.000Z" in one


def test_some_heights_are_missing(tmp_path: Path) -> None:
    """A layer in which only some points have a height says so (z = 2), and loses none of them."""
    mixed = replace(
        POINTS,
        fields={},
        features=(Feature([(1.0, 2.0, 3.0)], ()), Feature([(4.0, 5.0)], ())),
    )
    path = written(tmp_path, mixed)
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("SELECT z FROM gpkg_geometry_columns").fetchone() == (2,)
    _, _, features = read_layer(path, "marks")
    assert [f["geometry"][0][:2] for f in features] == [(1.0, 2.0), (4.0, 5.0)]


@pytest.mark.parametrize(
    ("system", "srs_id"),
    [(SpatialReference("unknown"), -1), (SpatialReference("unknown", geographic=True), 0)],
    ids=["plane", "degrees"],
)
def test_an_unknown_system_is_undefined(
    tmp_path: Path, system: SpatialReference, srs_id: int
) -> None:
    """Nothing is made up: the two undefined systems of the standard stand for what is not known."""
    path = written(tmp_path, replace(POINTS, reference=system))
    with closing(sqlite3.connect(path)) as connection:
        found = connection.execute("SELECT srs_id FROM gpkg_geometry_columns").fetchone()
    assert found == (srs_id,)
    crs, _, _ = read_layer(path, "marks")
    assert crs is None or "ndefined" in crs or "nknown" in crs


def test_a_registered_system_keeps_its_code(tmp_path: Path) -> None:
    """A system with one code of its own is stored under it, once for all layers."""
    utm = pyproj.CRS("EPSG:6341")
    system = SpatialReference(utm.name, utm.to_wkt("WKT1_GDAL"), utm.to_wkt("WKT2_2015"), 6341)
    path = written(tmp_path, replace(OUTLINES, reference=system), replace(LINES, reference=system))
    assert read_layer(path, "outlines")[0] == "EPSG:6341"
    assert read_layer(path, "vectors")[0] == "EPSG:6341"


@pytest.mark.parametrize(
    ("layer", "says"),
    [
        (replace(POINTS, name="a; DROP TABLE x"), "no name"),
        (replace(POINTS, fields={"up m": "REAL"}), "no name"),
        (replace(POINTS, features=(Feature([(0.0, 0.0)], ("A",)),)), "1 values for 4 columns"),
        (replace(LINES, features=(Feature([(0.0, math.nan)], ()),)), "no number"),
    ],
)
def test_what_does_not_fit_is_refused(layer: Layer, says: str) -> None:
    """Names that SQL would not take as they stand, rows that do not fit, places that are no numbers."""
    with pytest.raises(ValueError, match=says):
        geopackage([layer])


TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"))
NUMBERS = st.floats(allow_nan=False, allow_infinity=False, width=64)


@given(st.lists(st.tuples(TEXT, NUMBERS, NUMBERS, NUMBERS), max_size=5))
def test_any_text_and_any_number_survive(
    rows: list[tuple[str, float, float, float]],
) -> None:
    """Whatever stands in the columns comes out of the file as it went in."""
    layer = replace(
        POINTS,
        fields={"id": "TEXT", "up_m": "REAL"},
        features=[Feature([(x, y)], (text, value)) for text, value, x, y in rows],
    )
    with closing(sqlite3.connect(":memory:")) as connection:
        connection.deserialize(geopackage([layer]))
        found = connection.execute("SELECT id, up_m FROM marks ORDER BY fid").fetchall()
    assert [text for text, _ in found] == [row[0] for row in rows]
    assert_metres([value for _, value in found], [row[1] for row in rows], within_m=0.0)
