"""Jobs whose checkpoints are in another reference system than the deliverable, from file to statement.

The other coordinates are made with pyproj directly, from the same points for which the plane cloud has known
residuals; within one frame that is a map projection, otherwise the operation is named.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pyproj
import pytest
from jobs import CRS, plane_checkpoints, write_job, write_plane_cloud, write_points_table
from support import assert_metres

from accuracy.formats.raster_write import write_raster
from accuracy.job import load_job
from accuracy.pipeline import verify
from accuracy.reports import render_kinds
from accuracy.result import Result, read_result, result_schema

ERRORS = (0.02, -0.02)
RESIDUALS = np.resize(ERRORS, 36)
SURVEY = {"survey_rmse_h_m": 0.01, "survey_rmse_v_m": 0.01}
N_M = -12.5  # of an invented geoid, the same everywhere
FTUS = 1200 / 3937


def run(path: Path) -> tuple[Result, dict[str, str]]:
    """Verify; the result is valid, survives its file, and every view of it can be made."""
    result = verify(load_job(path))
    text = result.to_json()
    jsonschema.validate(json.loads(text), result_schema())
    copy = path.with_name("copy.json")
    copy.write_text(text, "utf-8")
    assert read_result(copy).to_json() == text
    assert set(render_kinds(result, ["gpkg", "geojson"])) == {"residuals.gpkg", "residuals.geojson"}
    texts = render_kinds(result, ["json", "csv", "statement", "summary"])
    return result, {name: data.decode("utf-8-sig") for name, data in texts.items()}


def base_points() -> np.ndarray:
    """East, north, height of the checkpoints in the cloud's own system, shape (36, 3)."""
    rows = plane_checkpoints(36, error_m=ERRORS)
    return np.array([[float(cell) for cell in row[1:4]] for row in rows])


def to(code: str) -> tuple[np.ndarray, np.ndarray]:
    """Horizontal coordinates of the checkpoints in another system of the same frame."""
    points = base_points()
    change = pyproj.Transformer.from_crs("EPSG:6341", code, always_xy=True)
    return change.transform(points[:, 0], points[:, 1])


def table(folder: Path, x: Any, y: Any, z: Any, header: str = "id,easting,northing,height") -> None:
    rows = [
        [f"P{i:02d}", f"{a:.11f}", f"{b:.11f}", f"{c:.9f}", "non-vegetated"]
        for i, (a, b, c) in enumerate(zip(x, y, z, strict=True), 1)
    ]
    write_points_table(folder / "points.csv", rows, header + ",cover")


def cloud_job(
    folder: Path, checkpoints: dict[str, Any], dataset: dict[str, Any] | None = None, more: str = ""
) -> Path:
    write_plane_cloud(folder / "a.laz", wkt=pyproj.CRS(CRS).to_wkt("WKT1_GDAL"))
    path = write_job(
        folder,
        checkpoints=SURVEY | checkpoints,
        datasets=[
            {"name": "cloud", "kind": "point-cloud", "files": ["*.laz"], "geoid": "GEOID18"}
            | (dataset or {})
        ],
        claims=[{"dataset": "cloud", "standard": "asprs-2024", "vertical_class_cm": 5.0}],
    )
    path.write_text(path.read_text("utf-8") + more, "utf-8")
    return path


def up(result: Result) -> list[float]:
    rows = result.datasets[0].residuals
    return [row.residual.up_m for row in rows if row.residual and row.residual.up_m is not None]


def write_geoid(path: Path) -> None:
    """Write an invented geoid grid over the site, N the same at all nodes."""
    values = np.full((9, 9), N_M)
    transform = (0.25, 0.0, -113.125, 0.0, -0.25, 46.125)
    write_raster(path, values, transform, pyproj.CRS(6318).to_wkt())


def test_degrees_and_feet_give_the_residuals_of_metres(tmp_path: Path) -> None:
    """Longitude, latitude and US survey feet against UTM metres: the residuals put in, within 2 µm."""
    lon, lat = to("EPSG:6318")
    table(tmp_path, lon, lat, base_points()[:, 2] / FTUS, "id,lon,lat,height_ftus")
    result, files = run(cloud_job(tmp_path, {"crs": "EPSG:6318+6360", "geoid": "GEOID18"}))
    assert_metres(up(result), RESIDUALS, within_m=2e-6)
    assert result.verdict == "passes"
    (record,) = result.transformations
    assert (record.horizontal, record.vertical, record.accuracy_m) == (
        "transformed",
        "transformed",
        0.0,
    )
    row = result.datasets[0].residuals[0]
    assert row.native["given_easting"] == pytest.approx(lon[0], abs=1e-10)
    assert row.native["given_height"] == pytest.approx(base_points()[0, 2] / FTUS, abs=1e-6)
    assert_metres(row.surveyed.east_m or 0, base_points()[0, 0], within_m=1e-4)
    assert "Transformations" in files["summary.txt"]
    assert "heights from US survey feet to metres" in files["summary.txt"]


def test_identity_is_one_line_and_keeps_the_bits(tmp_path: Path) -> None:
    """One system on both sides: nothing is carried, and the summary says so in one line."""
    write_points_table(tmp_path / "points.csv", plane_checkpoints(36, error_m=ERRORS))
    result, files = run(cloud_job(tmp_path, {"geoid": "GEOID18"}))
    (record,) = result.transformations
    assert (record.horizontal, record.vertical, record.accuracy_m) == ("identity", "identity", 0.0)
    assert "  cloud: none; one reference system" in files["summary.txt"]
    row = result.datasets[0].residuals[0]
    assert "given_easting" not in row.native
    assert row.native["easting"] == base_points()[0, 0]


def test_a_zone_two_degrees_away_is_refused(tmp_path: Path) -> None:
    """Checkpoints in UTM zone 11, far outside where it is used: no statement, and the finding says where."""
    east, north = to("EPSG:6340")
    table(tmp_path, east, north, base_points()[:, 2])
    result, _ = run(cloud_job(tmp_path, {"crs": "EPSG:6340+5703", "geoid": "GEOID18"}))
    # The site is at 112.1 W; zone 11 is used from 120 to 114 W.
    assert result.verdict == "no-statement"
    assert "transform-outside-area" in {f.code for f in result.findings}


def itrf_points() -> np.ndarray:
    """Longitude, latitude and ellipsoidal height in ITRF2014 at 2024.5, by EPSG:8970 backwards."""
    points = base_points()
    lon, lat = to("EPSG:6318")
    change = pyproj.Transformer.from_crs("EPSG:7912", "EPSG:6319", always_xy=True)
    h = points[:, 2] + N_M
    out = change.transform(lon, lat, h, np.full(36, 2024.5), direction="INVERSE")
    return np.column_stack(out[:3])


def test_frame_epoch_and_geoid_together(tmp_path: Path) -> None:
    """ITRF2014 at 2024.5, ellipsoidal, against NAD83(2011) and NAVD88: all steps in the record and in words."""
    (tmp_path / "grids").mkdir()
    write_geoid(tmp_path / "grids" / "us_noaa_g2018u0.tif")
    table(tmp_path, *itrf_points().T, "id,lon,lat,height")
    grids = '[grids]\nfolder = "grids"\n'
    result, files = run(cloud_job(tmp_path, {"crs": "EPSG:7912", "epoch": 2024.5}, more=grids))
    assert_metres(up(result), RESIDUALS, within_m=1e-5)
    assert result.verdict == "passes"
    (record,) = result.transformations
    assert [step.code for step in record.steps if step.code] == ["EPSG:8970", "EPSG:6341"]
    assert [grid.name for grid in record.grids] == ["us_noaa_g2018u0.tif"]
    assert (record.accuracy_m, record.epoch_year) == (None, 2024.5)
    assert "motion of the points inside NAD83(2011)" in record.not_applied[0]
    statement = " ".join(files["statement.txt"].split())
    assert "not applied: motion of the points inside NAD83(2011)" in statement
    assert (
        "EPSG:8970 (ITRF2014 to NAD83(2011) (1)), whose accuracy in metres is not stated"
        in statement
    )
    assert record.grids[0].sha256 in files["summary.txt"]


def test_a_missing_grid_blocks_heights_and_nothing_else(tmp_path: Path) -> None:
    """Without the grid the vertical claim has no statement, and a horizontal one still passes."""
    table(tmp_path, *itrf_points().T, "id,lon,lat,height")
    points = base_points()
    measured = [
        [f"P{i:02d}", f"{e + 0.01:.4f}", f"{n:.4f}", f"{h:.4f}"]
        for i, (e, n, h) in enumerate(points, 1)
    ]
    write_points_table(tmp_path / "measured.csv", measured, "id,easting,northing,height")
    path = cloud_job(tmp_path, {"crs": "EPSG:7912", "epoch": 2024.5})
    text = path.read_text("utf-8") + (
        '[[dataset]]\nname = "targets"\nkind = "measured-points"\nfiles = ["measured.csv"]\n'
        f'crs = "{CRS}"\ngeoid = "GEOID18"\n'
        '[[claim]]\ndataset = "targets"\nstandard = "asprs-2024"\nhorizontal_class_cm = 5.0\n'
    )
    path.write_text(text, "utf-8")
    result, files = run(path)
    cloud, targets = result.datasets
    assert [claim.verdict for claim in cloud.claims] == ["no-statement"]
    assert "us_noaa_g2018u0.tif" in (cloud.claims[0].reason or "")
    assert all(row.residual is None and row.reason == "vertical-frame" for row in cloud.residuals)
    assert [claim.verdict for claim in targets.claims] == ["passes"]
    east = [row.residual.east_m for row in targets.residuals if row.residual]
    assert_metres(east, 0.01, within_m=1e-4)
    assert all(row.residual and row.residual.up_m is None for row in targets.residuals)
    assert "folder" in files["summary.txt"]


def test_measured_points_in_degrees(tmp_path: Path) -> None:
    """Positions measured in degrees: 30 mm east and 40 mm south of the marks, in metres in the result."""
    lon, lat = to("EPSG:6318")
    table(tmp_path, lon, lat, base_points()[:, 2], "id,lon,lat,height")
    geod = pyproj.Geod(ellps="GRS80")
    azimuth = np.degrees(np.arctan2(0.03, -0.04))
    lon2, lat2, _ = geod.fwd(lon, lat, np.full(36, azimuth), np.full(36, 0.05))
    rows = [
        [f"P{i:02d}", f"{a:.11f}", f"{b:.11f}"]
        for i, (a, b) in enumerate(zip(lon2, lat2, strict=True), 1)
    ]
    write_points_table(tmp_path / "measured.csv", rows, "id,lon,lat")
    result, files = run(
        write_job(
            tmp_path,
            checkpoints=SURVEY | {"crs": "EPSG:6318+5703"},
            datasets=[
                {
                    "name": "targets",
                    "kind": "measured-points",
                    "files": ["measured.csv"],
                    "crs": "EPSG:6318",
                }
            ],
            claims=[{"dataset": "targets", "standard": "asprs-2024", "horizontal_class_cm": 10.0}],
        )
    )
    rows_ = result.datasets[0].residuals
    offsets = [(row.residual.east_m, row.residual.north_m) for row in rows_ if row.residual]
    assert_metres(offsets, np.tile((0.03, -0.04), (36, 1)), within_m=2e-6)
    assert result.verdict == "passes"
    assert "RMSEH = 5.1 (cm)" in " ".join(files["statement.txt"].split())  # with the survey's 1 cm


def test_a_realisation_stated_in_the_job(tmp_path: Path) -> None:
    """UTM on "WGS 84" is refused; with realisation and epoch it is carried like ITRF2014."""
    points = itrf_points()
    change = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:32612", always_xy=True)
    east, north = change.transform(points[:, 0], points[:, 1])
    table(tmp_path, east, north, base_points()[:, 2])
    said = {"crs": "EPSG:32612+5703", "geoid": "GEOID18"}
    refused, _ = run(cloud_job(tmp_path, said))
    assert refused.verdict == "no-statement"
    assert "transform-ensemble" in {f.code for f in refused.findings}
    stated = said | {"realisation": "WGS 84 (G2139)", "epoch": 2024.5}
    result, _ = run(cloud_job(tmp_path, stated))
    assert result.verdict == "passes"
    # The plane slopes 5 % and 2 %; 0.1 mm of WGS 84 against GRS 80 does not show.
    assert_metres(up(result), RESIDUALS, within_m=1e-4)


def test_a_raster_in_degrees(tmp_path: Path) -> None:
    """An elevation raster in degrees is sampled where the checkpoints of a plane fall."""
    lon, lat = to("EPSG:6318")
    step = 0.00005
    west, north = lon.min() - 10 * step, lat.max() + 10 * step
    columns = int((lon.max() - lon.min()) / step) + 20
    rows = int((lat.max() - lat.min()) / step) + 20
    transform = (step, 0.0, west, 0.0, -step, north)
    wkt = pyproj.CRS("EPSG:6318+5703").to_wkt()
    write_raster(tmp_path / "dem.tif", np.full((rows, columns), 250.0), transform, wkt)
    points = base_points()
    table(tmp_path, points[:, 0], points[:, 1], np.full(36, 249.98))
    result, _ = run(
        write_job(
            tmp_path,
            checkpoints=SURVEY,
            datasets=[{"name": "dem", "kind": "raster", "files": ["dem.tif"]}],
            claims=[{"dataset": "dem", "standard": "asprs-2024", "vertical_class_cm": 5.0}],
        )
    )
    assert_metres(up(result), 0.02, within_m=1e-5)
    assert result.verdict == "passes"


def test_the_table_of_residuals_has_every_point(tmp_path: Path) -> None:
    """A refused frame leaves the rows in place, without numbers in the deliverable's frame."""
    write_points_table(tmp_path / "points.csv", plane_checkpoints(36, error_m=ERRORS))
    result, files = run(cloud_job(tmp_path, {"crs": "EPSG:26912+5703"}))
    table_ = list(csv.DictReader(files["residuals.csv"].splitlines()))
    assert len(table_) == 36
    assert {row["reason"] for row in table_} == {"frame"}
    assert {row["surveyed_east_m"] for row in table_} == {""}
    assert result.datasets[0].residuals[0].native["given_easting"] == base_points()[0, 0]
    assert result.verdict == "no-statement"
