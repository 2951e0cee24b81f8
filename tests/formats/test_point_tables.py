from __future__ import annotations

import json
import sqlite3
from dataclasses import replace
from datetime import date
from pathlib import Path

import openpyxl
import pytest
from jobs import CRS, plane_checkpoints, write_job, write_plane_cloud, write_points_table

from accuracy.errors import InputError
from accuracy.formats.point_tables import read_point_table
from accuracy.inputs.checkpoints import CheckpointTable, read_checkpoints, read_measured_points
from accuracy.job import load_job
from accuracy.pipeline import verify

HEADER = "id,easting,northing,height,cover,survey_rmse_v_m,date,observer,description"
ROWS: list[list[object]] = [
    [
        "7",
        412000.1234567,
        5012000.25,
        101.5,
        "vegetated",
        0.015,
        "2026-05-13",
        "Ä. Õun",
        "nail, gate",
    ],
    ["P2", 412010.1, 5012000.0, 99.0, "non-vegetated", 0.01, "2026-05-13", "", ""],
    ["P3", 412020.333, 5012001.7, -3.25, "", "", "", "N. Amundi", "rock"],
]


def text(folder: Path) -> Path:
    import csv

    path = folder / "points.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([HEADER.split(","), *ROWS])
    return path


def workbook(folder: Path, sheets: tuple[str, ...] = ("Points",), before: int = 0) -> Path:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name in sheets:
        sheet = book.create_sheet(name)
        for _ in range(before):
            sheet.append([])
        for row in [HEADER.split(","), *ROWS]:
            cells = [int(c) if c == "7" else None if c == "" else c for c in row]
            sheet.append(
                [
                    date.fromisoformat(c) if isinstance(c, str) and c[:5] == "2026-" else c
                    for c in cells
                ]
            )
    path = folder / "points.xlsx"
    book.save(path)
    return path


def features(folder: Path, driver: str, crs: str = "EPSG:6341") -> Path:
    """Let GDAL write the points, the coordinates as geometry."""
    import numpy as np
    import pyogrio.raw

    names = ["id", "cover", "survey_rmse_v_m", "date", "observer", "description"]
    at = [HEADER.split(",").index(name) for name in names]
    values = [np.array([None if row[i] == "" else row[i] for row in ROWS], object) for i in at]
    values[2] = np.array([0.015, 0.01, np.nan])
    import struct

    geometry = np.array(
        [struct.pack("<BI3d", 1, 1001, *(float(str(c)) for c in row[1:4])) for row in ROWS], object
    )
    path = folder / f"points.{ {'GPKG': 'gpkg', 'GeoJSON': 'geojson'}[driver] }"
    more = {"COORDINATE_PRECISION": "15", "RFC7946": "NO"} if driver == "GeoJSON" else {}
    pyogrio.raw.write(
        path,
        geometry,
        values,
        names,
        driver=driver,
        geometry_type="Point Z",
        crs=crs,
        layer="pts",
        **more,
    )
    return path


def same(one: CheckpointTable, other: CheckpointTable) -> None:
    """Points agree in every field but the place in the file."""
    assert [replace(p, line=0) for p in one.points] == [replace(p, line=0) for p in other.points]
    assert one.geographic == other.geographic


def test_the_same_points_in_every_form(tmp_path: Path) -> None:
    """A workbook by openpyxl, a GeoPackage and GeoJSON by GDAL: bit for bit the points of the text."""
    wanted = read_checkpoints(text(tmp_path))
    assert [p.id for p in wanted.points] == ["7", "P2", "P3"]
    assert wanted.points[0].survey.observer == "Ä. Õun"
    same(read_checkpoints(workbook(tmp_path)), wanted)
    same(read_checkpoints(workbook(tmp_path, before=3)), wanted)
    package = read_checkpoints(features(tmp_path, "GPKG"))
    same(package, wanted)
    assert package.crs == "EPSG:6341"
    same(read_checkpoints(features(tmp_path, "GeoJSON")), wanted)


def test_a_whole_job_in_every_form(tmp_path: Path) -> None:
    """Residuals and verdicts are the same, whichever file holds the points."""
    write_plane_cloud(tmp_path / "a.laz", wkt=None)
    rows = plane_checkpoints(30, error_m=[0.01, -0.02, 0.03])
    write_points_table(tmp_path / "points.csv", rows)
    book = openpyxl.Workbook()
    book.active.append(["id", "easting", "northing", "height", "cover"])
    collection = []
    for row in rows:
        numbers = [float(str(value)) for value in row[1:4]]
        book.active.append([row[0], *numbers, row[4]])
        collection.append(
            {
                "type": "Feature",
                "properties": {"id": row[0], "cover": row[4]},
                "geometry": {"type": "Point", "coordinates": numbers},
            }
        )
    book.save(tmp_path / "points.xlsx")
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::6341"}}
    document = {"type": "FeatureCollection", "crs": crs, "features": collection}
    (tmp_path / "points.geojson").write_text(json.dumps(document), "utf-8")
    results = []
    for name in ("points.csv", "points.xlsx", "points.geojson"):
        job = write_job(
            tmp_path,
            datasets=[{"name": "cloud", "kind": "point-cloud", "files": ["a.laz"], "crs": CRS}],
            claims=[{"dataset": "cloud", "standard": "asprs-2014", "vertical_class_cm": 5.0}],
            checkpoints={"file": name, "survey_rmse_v_m": 0.01},
        )
        results.append(verify(load_job(job)))
    for other in results[1:]:
        assert [replace(r, line=0) for r in other.datasets[0].residuals] == [
            replace(r, line=0) for r in results[0].datasets[0].residuals
        ]
        assert other.datasets[0].figures == results[0].datasets[0].figures
        assert other.verdict == results[0].verdict == "passes"


def test_a_file_that_contradicts_the_job_blocks(tmp_path: Path) -> None:
    """A GeoPackage that says zone 13 in a job that says zone 12: a blocking contradiction."""
    write_plane_cloud(tmp_path / "a.laz", wkt=None)
    features(tmp_path, "GPKG", "EPSG:6342")
    job = write_job(
        tmp_path,
        datasets=[{"name": "cloud", "kind": "point-cloud", "files": ["a.laz"], "crs": CRS}],
        checkpoints={"file": "points.gpkg"},
    )
    result = verify(load_job(job))
    found = [f for f in result.findings if f.code == "crs-contradiction"]
    assert found
    assert found[0].severity.value == "blocking"


def test_a_file_supplies_its_system_where_the_job_is_silent(tmp_path: Path) -> None:
    """A GeoPackage of zone 12 in a job without crs: the plane is known, the heights are not."""
    from accuracy.preparation import prepare

    write_plane_cloud(tmp_path / "a.laz", wkt=None)
    features(tmp_path, "GPKG")
    job = write_job(
        tmp_path,
        datasets=[{"name": "cloud", "kind": "point-cloud", "files": ["a.laz"], "crs": CRS}],
        checkpoints={"file": "points.gpkg"},
    )
    job.write_text(job.read_text("utf-8").replace(f'crs = "{CRS}"\n', "", 1), "utf-8")
    surveyed = prepare(load_job(job)).surveyed
    assert "UTM zone 12N" in surveyed.name
    assert surveyed.vertical_unit is None


def test_mistakes_in_a_workbook_name_sheet_row_and_column(tmp_path: Path) -> None:
    """What a person needs to find the cell: file, sheet, row, point, column with its letter."""
    path = workbook(tmp_path, before=2)
    book = openpyxl.load_workbook(path)
    book["Points"]["D5"] = "12,3,4"
    book["Points"]["E6"] = "lava"
    book.save(path)
    with pytest.raises(InputError) as caught:
        read_checkpoints(path)
    told = str(caught.value)
    assert "points.xlsx, sheet 'Points', row 5, point P2, column height (D): '12,3,4'" in told
    assert (
        "points.xlsx, sheet 'Points', row 6, point P3, column cover (E): 'lava' is not known"
        in told
    )


def test_which_sheet_is_meant(tmp_path: Path) -> None:
    """Several sheets: refused with their names unless one is named; an unknown name is refused."""
    path = workbook(tmp_path, ("May", "June"))
    with pytest.raises(
        InputError, match="several sheets that hold something; there is: 'May', 'June'"
    ):
        read_checkpoints(path)
    assert len(read_checkpoints(path, layer="June").points) == 3
    with pytest.raises(InputError, match="no sheet 'july'"):
        read_checkpoints(path, layer="july")
    with pytest.raises(InputError, match="has no sheets or layers"):
        read_checkpoints(text(tmp_path), layer="June")


def test_mistakes_in_features_name_layer_and_feature(tmp_path: Path) -> None:
    """A bad attribute is told with layer and number; a feature without a point is refused."""
    path = features(tmp_path, "GPKG")
    with sqlite3.connect(path) as base:
        for (name,) in base.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall():
            base.execute(f'DROP TRIGGER "{name}"')
        base.execute("UPDATE pts SET cover = 'lava' WHERE id = 'P2'")
    base.close()
    with pytest.raises(InputError, match="layer 'pts', feature 2, point P2, column cover: 'lava'"):
        read_checkpoints(path)
    with pytest.raises(InputError, match="no such layer of points; there is: 'pts'"):
        read_checkpoints(path, layer="other")
    nowhere = {"type": "Feature", "properties": {"id": "A"}, "geometry": None}
    (tmp_path / "a.json").write_text(json.dumps(nowhere), "utf-8")
    with pytest.raises(InputError, match="feature 1 has no point"):
        read_checkpoints(tmp_path / "a.json")


@pytest.mark.parametrize(
    "content",
    [
        b"PK\x03\x04 junk",
        b"SQLite format 3\x00 junk",
        b'{"type": ',
        b'{"type": "Polygon", "coordinates": []}',
        b'{"a": [1]}',
        bytes.fromhex("d0cf11e0a1b11ae1") + b"old",
    ],
)
def test_junk_is_refused(tmp_path: Path, content: bytes) -> None:
    """What begins like a workbook, a GeoPackage or GeoJSON and is none: an error of ours."""
    path = tmp_path / "junk.bin"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"junk\.bin"):
        read_point_table(path)


def test_a_workbook_that_is_cut_short_is_refused(tmp_path: Path) -> None:
    """At every tenth of its length: refused, never a traceback."""
    whole = workbook(tmp_path).read_bytes()
    for tenth in range(1, 10):
        (tmp_path / "cut.xlsx").write_bytes(whole[: len(whole) * tenth // 10])
        with pytest.raises(InputError, match=r"cut\.xlsx"):
            read_point_table(tmp_path / "cut.xlsx")


def test_inspect_looks_into_a_workbook(tmp_path: Path) -> None:
    """The command that looks into files understands the same tables."""
    from accuracy.inspection import inspect_file

    found = inspect_file(workbook(tmp_path))
    assert found.format == "workbook"
    assert found.table is not None
    assert found.table.points == 3


def test_measured_points_in_a_workbook(tmp_path: Path) -> None:
    """Tables of measured positions may be workbooks, too."""
    book = openpyxl.Workbook()
    book.active.append(["id", "x", "y"])
    book.active.append(["A", 1.25, 2.5])
    book.save(tmp_path / "m.xlsx")
    (point,) = read_measured_points(tmp_path / "m.xlsx").points
    assert (point.id, point.easting, point.northing, point.height) == ("A", 1.25, 2.5, None)
