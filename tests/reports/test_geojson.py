"""The GeoJSON of a result: RFC 7946 in form, degrees of the deliverable's own frame, and said so."""

from __future__ import annotations

import itertools
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pyogrio
import pyproj
import pytest
from drawn_result import make_result, make_rows
from gis_reader import read_layer
from hostile import HOSTILE, hostile_result
from made_result import with_system
from support import assert_metres

from accuracy.reports.as_geojson import render
from accuracy.reports.words import printable
from accuracy.result import Result

DEGREE_M = 111_320.0  # at most, on any ellipsoid used here


@pytest.fixture(scope="module")
def data(demo_result: Result) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(render(demo_result))
    return found


def of(data: dict[str, Any], layer: str) -> list[dict[str, Any]]:
    return [f for f in data["features"] if f["properties"]["layer"] == layer]


def test_form_of_the_collection(data: dict[str, Any]) -> None:
    """A collection of features with geometry and properties; no ``crs`` member (RFC 7946, section 4)."""
    assert data["type"] == "FeatureCollection"
    assert "crs" not in data
    for feature in data["features"]:
        assert feature["type"] == "Feature"
        assert {"type", "geometry", "properties"} == set(feature)
    for feature in of(data, "footprint"):
        (ring,) = feature["geometry"]["coordinates"]
        assert ring[0] == ring[-1]
        area = sum(a[0] * b[1] - b[0] * a[1] for a, b in itertools.pairwise(ring))
        assert area > 0.0  # counter-clockwise (section 3.1.6)


def test_places_are_the_map_projection_undone(data: dict[str, Any], demo_result: Result) -> None:
    """Truth: the inverse of UTM zone 12 on GRS 80, written by its parameters; 0.1 mm."""
    utm = pyproj.Proj("+proj=utm +zone=12 +ellps=GRS80")
    rows = [row for dataset in demo_result.datasets for row in dataset.residuals]
    points = of(data, "checkpoints")
    assert len(points) == len(rows)
    for feature, row in zip(points, rows, strict=True):
        properties = feature["properties"]
        assert properties["id"] == row.id
        assert properties["native_easting"] == row.native["easting"]
        assert properties["native_height"] == row.native["height"]
        lon, lat = feature["geometry"]["coordinates"]
        wanted = utm(row.native["easting"], row.native["northing"], inverse=True)
        assert_metres(
            [lon * DEGREE_M, lat * DEGREE_M], [v * DEGREE_M for v in wanted], within_m=1e-4
        )


def test_the_frame_is_named_and_no_transformation_claimed(data: dict[str, Any]) -> None:
    """Who reads the file learns whose degrees these are."""
    assert "not transformed to WGS 84" in data["accuracy_note"]
    assert {item["frame"] for item in data["accuracy_reference_systems"]} == {
        "NAD83 (National Spatial Reference System 2011)"
    }
    assert all(item["no_geometry_because"] is None for item in data["accuracy_reference_systems"])


def test_gdal_reads_it(demo_result: Result, tmp_path: Path) -> None:
    """All features, with their attributes, by the driver that QGIS uses."""
    path = tmp_path / "residuals.geojson"
    path.write_bytes(render(demo_result))
    rows = [row for dataset in demo_result.datasets for row in dataset.residuals]
    info = pyogrio.read_info(path)
    assert info["features"] == len(rows) + 3
    assert info["crs"] == "EPSG:4326"
    _, _, features = read_layer(path, "residuals")
    up_m = [row.residual.up_m for row in rows if row.residual and row.residual.up_m is not None]
    found = [f["residual_up_m"] for f in features if f["residual_up_m"] == f["residual_up_m"]]
    assert_metres(found, up_m, within_m=5e-7)


def test_degrees_stay_as_they_are() -> None:
    """A system in degrees needs nothing undone."""
    rows = make_rows(5, degrees=True)
    data = json.loads(render(with_system(make_result(rows), "EPSG:6318")))
    for feature, row in zip(of(data, "checkpoints"), rows, strict=True):
        wanted = [round(float(row.native[name] or 0.0), 9) for name in ("easting", "northing")]
        assert feature["geometry"]["coordinates"] == wanted


@pytest.mark.parametrize(
    ("system", "says"),
    [
        (None, "not known"),
        ('LOCAL_CS["yard",LOCAL_DATUM["yard",0],UNIT["metre",1]]', "not tied to the Earth"),
    ],
)
def test_without_a_way_to_degrees_there_is_no_geometry(system: str | None, says: str) -> None:
    """Nothing is guessed: geometry is null (RFC 7946, section 3.2), the reason and all properties are there."""
    result = make_result(make_rows(4))
    data = json.loads(render(with_system(result, system) if system else result))
    (told,) = data["accuracy_reference_systems"]
    assert says in told["no_geometry_because"]
    assert len(of(data, "checkpoints")) == 7
    assert len(of(data, "footprint")) == 1
    assert {f["geometry"] for f in data["features"]} == {None}


def test_an_outline_across_the_antimeridian_is_not_drawn_around_the_earth() -> None:
    """Its box stays in the properties; points on both sides keep their places."""
    result = with_system(make_result(make_rows(4)), "EPSG:32601")  # 180 to 174 degrees west
    series = {name: dict(its) for name, its in result.series.items()}
    edge = 166_021.44  # 180 degrees at the equator, nearly
    for its in series.values():
        its["footprint"] = {"boxes_native": [[edge - 900.0, 10.0, edge + 900.0, 500.0]]}
    data = json.loads(render(replace(result, series=series)))
    (feature,) = of(data, "footprint")
    assert feature["geometry"] is None
    assert feature["properties"]["native_box"][0] == edge - 900.0


def test_hostile_text_does_no_harm() -> None:
    """The file parses as one value; every id is there, without control characters."""
    result = hostile_result()
    data = json.loads(render(result))
    ids = [f["properties"]["id"] for f in of(data, "checkpoints")]
    assert ids == [printable(row.id) for row in result.datasets[0].residuals]
    assert {printable(text) for text in HOSTILE} <= set(ids)


def test_the_same_record_gives_the_same_bytes(demo_result: Result) -> None:
    """Nothing of the run is in the file."""
    later = replace(demo_result, run=replace(demo_result.run, started="2031-01-01T00:00:00+00:00"))
    assert render(demo_result) == render(later)
