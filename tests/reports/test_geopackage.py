"""The GeoPackage of a result, read back by GDAL and compared with the result."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pyogrio
import pyproj
import pytest
from drawn_result import make_result, make_rows
from gis_reader import read_layer
from hostile import HOSTILE, hostile_result
from made_result import with_system
from support import assert_metres

from accuracy.reports.as_geopackage import render
from accuracy.reports.words import printable
from accuracy.result import DatasetResult, Result

UTM_FTUS = "EPSG:6576"  # NAD83(2011) / Tennessee, US survey feet (EPSG dataset)


@pytest.fixture(scope="module")
def path(demo_result: Result, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return written(tmp_path_factory.mktemp("gpkg"), demo_result)


def written(folder: Path, result: Result) -> Path:
    path = folder / "residuals.gpkg"
    path.write_bytes(render(result))
    return path


def vectors(path: Path, dataset: DatasetResult) -> Mapping[tuple[str, str], Any]:
    """Give the vectors of a dataset by id and part."""
    _, _, features = read_layer(path, "residual_vectors")
    return {(f["id"], f["part"]): f for f in features if f["dataset"] == dataset.name}


def test_layers_counts_and_systems(path: Path, demo_result: Result) -> None:
    """Three layers and the styles; a point for each surveyed point of each dataset; the compound system."""
    assert [tuple(row) for row in pyogrio.list_layers(path)] == [
        ("checkpoints", "Point Z"),
        ("residual_vectors", "LineString"),
        ("footprint", "Polygon"),
        ("layer_styles", None),
    ]
    rows = [row for dataset in demo_result.datasets for row in dataset.residuals]
    wanted = {
        "checkpoints": len(rows),
        "residual_vectors": sum(
            (row.residual.up_m is not None) + (row.residual.east_m is not None)
            for row in rows
            if row.residual is not None
        ),
        "footprint": 3,  # two tiles and a raster; a table of targets has no outline
    }
    for layer, count in wanted.items():
        info = pyogrio.read_info(path, layer=layer)
        assert info["features"] == count
        assert pyproj.CRS(info["crs"]).equals(pyproj.CRS("EPSG:6341+5703"), ignore_axis_order=True)


def test_every_point_with_its_residual(path: Path, demo_result: Result) -> None:
    """Places are the surveyed ones to the bit; residuals are those of the record, empty where none is."""
    _, _, features = read_layer(path, "checkpoints")
    found = {(f["dataset"], f["id"]): f for f in features}
    for dataset in demo_result.datasets:
        for row in dataset.residuals:
            feature = found.pop((dataset.name, row.id))
            native = row.native
            assert feature["geometry"] == [
                (native["easting"], native["northing"], native["height"])
            ]
            assert bool(feature["used"]) == row.used
            assert feature["role"] == row.role
            for axis in ("east_m", "north_m", "up_m"):
                value = getattr(row.residual, axis) if row.residual else None
                if value is None:
                    assert np.isnan(feature[f"residual_{axis}"])
                else:
                    assert_metres(feature[f"residual_{axis}"], value, within_m=5e-7)
    assert found == {}


def test_vectors_are_longer_by_the_factor_they_state(path: Path, demo_result: Result) -> None:
    """From the surveyed point, residual times factor; what is too high points north."""
    for dataset in demo_result.datasets:
        found = vectors(path, dataset)
        for row in dataset.residuals:
            if row.residual is None:
                continue
            for part, move in (
                ("horizontal", (row.residual.east_m, row.residual.north_m)),
                ("vertical", (0.0, row.residual.up_m)),
            ):
                if move[1] is None:
                    assert (row.id, part) not in found
                    continue
                feature = found[row.id, part]
                start, end = np.array(feature["geometry"])
                assert_metres(start, (row.native["easting"], row.native["northing"]), within_m=0.0)
                assert feature["exaggeration"] >= 1.0
                assert_metres((end - start) / feature["exaggeration"], move, within_m=1e-8)


def test_vectors_in_feet_and_in_degrees(tmp_path: Path) -> None:
    """A metre of residual is a metre on the ground, whatever the unit of the system."""
    rows = make_rows(6, horizontal=True)
    feet = with_system(make_result(rows), UTM_FTUS)
    (dataset,) = feet.datasets
    found = vectors(written(tmp_path, feet), dataset)
    for row in rows:
        assert row.residual is not None
        start, end = np.array(found[row.id, "horizontal"]["geometry"])
        moved_m = (end - start) * 1200 / 3937 / found[row.id, "horizontal"]["exaggeration"]
        assert_metres(moved_m, (row.residual.east_m, row.residual.north_m), within_m=1e-9)

    rows = make_rows(6, horizontal=True, degrees=True)
    degrees = with_system(make_result(rows), "EPSG:6318")
    found = vectors(written(tmp_path, degrees), dataset)
    geod = pyproj.Geod(ellps="GRS80")
    for row in rows:
        assert row.residual is not None
        feature = found[row.id, "horizontal"]
        (lon, lat), (to_lon, to_lat) = feature["geometry"]
        azimuth, _, length_m = geod.inv(lon, lat, to_lon, to_lat)
        moved_m = np.array([np.sin(np.radians(azimuth)), np.cos(np.radians(azimuth))])
        moved_m *= length_m / feature["exaggeration"]
        assert_metres(moved_m, (row.residual.east_m, row.residual.north_m), within_m=1e-6)


def test_datasets_in_two_systems_get_two_sets_of_layers(tmp_path: Path) -> None:
    """Places of different systems never share a layer; each layer names its own."""
    one = with_system(make_result(make_rows(4), dataset="one"), "EPSG:6341+5703")
    two = with_system(make_result(make_rows(5), dataset="two"), "EPSG:6342+5703")
    both = replace(
        one,
        inputs=one.inputs + two.inputs,
        datasets=one.datasets + two.datasets,
        series={**one.series, **two.series},
    )
    path = written(tmp_path, both)
    names = [name for name, _ in pyogrio.list_layers(path)]
    assert names == [
        "checkpoints",
        "residual_vectors",
        "footprint",
        "checkpoints_2",
        "residual_vectors_2",
        "footprint_2",
        "layer_styles",
    ]
    for layer, code in (("checkpoints", "EPSG:6341+5703"), ("checkpoints_2", "EPSG:6342+5703")):
        crs, _, features = read_layer(path, layer)
        assert pyproj.CRS(crs).equals(pyproj.CRS(code), ignore_axis_order=True)
        assert {f["dataset"] for f in features} == {"one" if layer == "checkpoints" else "two"}


def test_an_unknown_system_stays_unknown(tmp_path: Path) -> None:
    """Without a declared system the places are kept and no system is made up."""
    path = written(tmp_path, make_result(make_rows(4)))
    with closing(sqlite3.connect(path)) as connection:
        systems = connection.execute("SELECT DISTINCT srs_id FROM gpkg_geometry_columns").fetchall()
    assert systems == [(-1,)]
    assert len(read_layer(path, "checkpoints")[2]) == 7


def test_styles_are_sound_and_cover_every_feature(path: Path, demo_result: Result) -> None:
    """Each layer has one QML; one rule per dataset, the first switched on; each rule has its own symbol."""
    with closing(sqlite3.connect(path)) as connection:
        styles = dict(connection.execute("SELECT f_table_name, styleQML FROM layer_styles"))
    assert set(styles) == {"checkpoints", "residual_vectors", "footprint"}
    names = [dataset.name for dataset in demo_result.datasets]
    for layer, qml in styles.items():
        root = ElementTree.fromstring(qml)
        renderer = root.find("renderer-v2")
        assert renderer is not None
        heads = renderer.findall("rules/rule")
        shown = [head.get("label") for head in heads]
        assert shown == (names[:2] if layer == "footprint" else names)
        assert [head.get("checkstate", "1") for head in heads] == ["1"] + ["0"] * (len(heads) - 1)
        used = [rule.get("symbol") for head in heads for rule in head]
        assert used == [symbol.get("name") for symbol in renderer.findall("symbols/symbol")]
        assert len(set(used)) == len(used)
        keys = [rule.get("key") for rule in renderer.iter("rule")]
        assert len(set(keys)) == len(keys)


def test_hostile_text_does_no_harm(tmp_path: Path) -> None:
    """Every id is there once, readable, without control characters; the styles stay well-formed XML."""
    result = hostile_result()
    path = written(tmp_path, result)
    _, _, features = read_layer(path, "checkpoints")
    ids = [row.id for row in result.datasets[0].residuals]
    assert [f["id"] for f in features] == [printable(id_) for id_ in ids]
    assert {printable(text) for text in HOSTILE} <= {f["id"] for f in features}
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        for (qml,) in connection.execute("SELECT styleQML FROM layer_styles"):
            (head,) = ElementTree.fromstring(qml).findall("renderer-v2/rules/rule")
            assert head.get("label") == printable(HOSTILE[0])


def test_a_quote_in_a_name_does_not_leave_its_filter(tmp_path: Path) -> None:
    """A dataset's name is a literal in the filter of its rule; SQL's own parser says what it means."""
    name = "o'brack' OR 'x'='x"
    path = written(tmp_path, make_result(make_rows(4), dataset=name))
    with closing(sqlite3.connect(path)) as connection:
        (qml,) = connection.execute(
            "SELECT styleQML FROM layer_styles WHERE f_table_name = 'checkpoints'"
        ).fetchone()
        (head,) = ElementTree.fromstring(qml).findall("renderer-v2/rules/rule")
        told = str(head.get("filter"))
        count = connection.execute(f"SELECT count(*) FROM checkpoints WHERE {told}").fetchone()
        other = told.replace("brack", "bruck")
        none = connection.execute(f"SELECT count(*) FROM checkpoints WHERE {other}").fetchone()
    assert (count, none) == ((7,), (0,))


def test_the_same_record_gives_the_same_bytes(demo_result: Result) -> None:
    """Nothing of the run, no clock and no path is in the file."""
    later = replace(demo_result, run=replace(demo_result.run, started="2031-01-01T00:00:00+00:00"))
    assert render(demo_result) == render(later)
