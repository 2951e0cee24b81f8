"""Outlines: polygons from GeoPackage and GeoJSON."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import numpy as np
import pytest

from accuracy.errors import FormatError
from accuracy.formats.geopackage import Feature, Layer, SpatialReference, geopackage
from accuracy.formats.outlines import _polygons, read_outline

RING = [(0.0, 0.0), (10.0, 0.0), (10.0, 5.0), (0.0, 5.0), (0.0, 0.0)]


def packaged(*names: str, epsg: int | None = 6341) -> bytes:
    reference = SpatialReference("a plane", "PROJCS[...]", "PROJCRS[...]", epsg)
    return geopackage(
        [
            Layer(name, name, "", "POLYGON", reference, {"note": "TEXT"}, [Feature(RING, ("x",))])
            for name in names
        ]
    )


def test_a_geopackage_gives_its_polygons_and_its_system(tmp_path: Path) -> None:
    """Coordinates to the bit, and the code, or the text where there is no code."""
    path = tmp_path / "area.gpkg"
    path.write_bytes(packaged("area"))
    outline = read_outline(path)
    assert outline.crs == "EPSG:6341"
    assert np.array_equal(outline.rings[0], np.array(RING))
    path.write_bytes(packaged("area", epsg=None))
    assert read_outline(path).crs == "PROJCS[...]"


def test_one_of_several_layers_must_be_named(tmp_path: Path) -> None:
    """The message lists them; a wrong name is refused."""
    path = tmp_path / "area.gpkg"
    path.write_bytes(packaged("north", "south"))
    with pytest.raises(FormatError, match="north, south"):
        read_outline(path)
    assert len(read_outline(path, "south").rings) == 1
    with pytest.raises(FormatError, match="no such layer"):
        read_outline(path, "east")


def test_geojson_in_its_forms(tmp_path: Path) -> None:
    """Feature collection, feature, geometry, several polygons, a hole; WGS 84 unless it says otherwise; BOM."""
    path = tmp_path / "area.geojson"
    polygon = {"type": "Polygon", "coordinates": [RING, [(x / 2, y / 2) for x, y in RING]]}
    many = {"type": "MultiPolygon", "coordinates": [[RING], [RING]]}
    feature = {"type": "Feature", "geometry": polygon, "properties": None}
    for data, rings in [
        (polygon, 2),
        (many, 2),
        (feature, 2),
        ({"type": "FeatureCollection", "features": [feature, feature]}, 4),
        ({"type": "GeometryCollection", "geometries": [polygon, many]}, 4),
    ]:
        path.write_text(json.dumps(data), "utf-8-sig")
        outline = read_outline(path)
        assert (len(outline.rings), outline.crs) == (rings, "EPSG:4326")
    named = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::6341"}}
    path.write_text(json.dumps(polygon | {"crs": named}), "utf-8")
    assert read_outline(path).crs == "EPSG:6341"


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize(("flag", "width"), [(0, 2), (1000, 3), (2000, 3), (3000, 4)])
def test_binary_geometry_of_any_width_and_order(order: str, flag: int, width: int) -> None:
    """OGC 06-103r4 (from memory): both byte orders, with heights and measures, polygons and several of them."""
    points = [place + (7.0, 8.0)[: width - 2] for place in RING]
    flat = [value for place in points for value in place]
    head = struct.pack(f"{order}BI", order == "<", 3 + flag)
    one = head + struct.pack(f"{order}II{len(flat)}d", 1, len(points), *flat)
    several = struct.pack(f"{order}BII", order == "<", 6 + flag, 2) + one + one
    for data, count in ((one, 1), (several, 2)):
        rings, end = _polygons(data, 0)
        assert end == len(data)
        assert len(rings) == count
        assert np.array_equal(rings[-1], np.array(RING))


def test_what_is_no_outline_is_refused(tmp_path: Path) -> None:
    """Missing, empty, junk, other geometry, NaN, an open ring, a damaged package: one error each."""
    path = tmp_path / "area.geojson"
    with pytest.raises(FormatError, match="cannot be read"):
        read_outline(path)
    point = {"type": "Point", "coordinates": [1, 2]}
    for content in [
        b"",
        b"junk",
        b"[1, 2]",
        b"\xff\xfe",
        b"[" * 100_000,
        json.dumps(point).encode(),
        json.dumps({"type": "Polygon", "coordinates": [RING[:-1]]}).encode(),
        json.dumps(
            {"type": "Polygon", "coordinates": [[(0, 0), (1, float("nan")), (2, 2), (0, 0)]]}
        ).encode(),
        json.dumps({"type": "Polygon", "coordinates": [[1, 2, 3]]}).encode(),
        packaged("area")[:8192],
        packaged("area").replace(b"GP\x00", b"XX\x00"),
    ]:
        path.write_bytes(content)
        with pytest.raises(FormatError) as caught:
            read_outline(path)
        assert caught.value.remedy
