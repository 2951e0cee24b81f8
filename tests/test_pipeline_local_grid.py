from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import numpy as np
from jobs import (
    CRS,
    EAST,
    NORTH,
    plane_checkpoints,
    toml,
    write_job,
    write_plane_cloud,
    write_points_table,
)
from support import assert_metres

from accuracy.job import load_job
from accuracy.pipeline import verify
from accuracy.result import Result, result_schema

SURVEY = {"survey_rmse_h_m": 0.01, "survey_rmse_v_m": 0.01}
SCALE, ANGLE = 1.0004, np.radians(30.0)


def to_local(east: float, north: float) -> tuple[float, float]:
    """Go to the local grid by hand: 400 ppm larger, turned 30 degrees clockwise about a corner, then moved."""
    e, n = (east - EAST) * SCALE, (north - NORTH) * SCALE
    return (
        1000.0 + np.cos(ANGLE) * e + np.sin(ANGLE) * n,
        2000.0 - np.sin(ANGLE) * e + np.cos(ANGLE) * n,
    )


def localised(rows: list[list[object]]) -> list[list[object]]:
    """Give the same points in the local grid, heights 50 m lower."""
    out = []
    for row in rows:
        east, north = to_local(float(str(row[1])), float(str(row[2])))
        out.append(
            [row[0], f"{east:.6f}", f"{north:.6f}", f"{float(str(row[3])) - 50.0:.7f}", row[4]]
        )
    return out


def local_job(folder: Path, section: dict[str, object], **dataset: object) -> Path:
    """Write a job whose checkpoints are in the local grid."""
    import pyproj

    write_plane_cloud(folder / "a.laz", wkt=pyproj.CRS.from_user_input(CRS).to_wkt("WKT1_GDAL"))
    path = write_job(
        folder,
        checkpoints=SURVEY | {"crs": "local"},
        datasets=[{"name": "cloud", "kind": "point-cloud", "files": ["a.laz"]} | dataset],
        claims=[{"dataset": "cloud", "standard": "asprs-2024", "vertical_class_cm": 5.0}],
    )
    text = path.read_text("utf-8") + "\n[local_grid]\n"
    path.write_text(text + "".join(f"{k} = {toml(v)}\n" for k, v in section.items()), "utf-8")
    return path


def run(path: Path) -> Result:
    result = verify(load_job(path))
    jsonschema.validate(json.loads(result.to_json()), result_schema())
    return result


STATED: dict[str, object] = {
    "crs": CRS,
    "local_unit": "metre",
    "direction": "grid-to-local",
    "scale": SCALE,
    "rotation_clockwise_deg": 30.0,
    "origin_easting": EAST,
    "origin_northing": NORTH,
    "translation_east_m": 1000.0 - EAST,
    "translation_north_m": 2000.0 - NORTH,
    "vertical_shift_m": -50.0,
}


def test_checkpoints_in_a_stated_local_grid_meet_the_cloud(tmp_path: Path) -> None:
    """Closed form: +-20 mm put in come out after scale, rotation, shift; the record holds the parameters."""
    path = local_job(tmp_path, STATED)
    write_points_table(
        tmp_path / "points.csv", localised(plane_checkpoints(36, error_m=(0.02, -0.02)))
    )
    result = run(path)
    residuals = [row.residual.up_m for row in result.datasets[0].residuals if row.residual]
    assert_metres(residuals, np.resize([0.02, -0.02], 36), within_m=1e-6)
    (way,) = result.transformations
    assert (way.horizontal, way.vertical, way.accuracy_m) == ("transformed", "transformed", None)
    assert way.local_grid is not None
    assert result.verdict == "passes"
    row = result.datasets[0].residuals[0]
    east, north = to_local(row.native["easting"] or 0, row.native["northing"] or 0)
    assert_metres(
        [row.native["given_easting"], row.native["given_northing"]], [east, north], within_m=1e-5
    )


def test_a_grid_fitted_to_pairs_carries_the_points_and_names_shared_ones(tmp_path: Path) -> None:
    """Five pairs determine the grid; a pair that is also a checkpoint blocks the statement."""
    points = localised(plane_checkpoints(36, error_m=(0.02, -0.02)))
    write_points_table(tmp_path / "points.csv", points)
    corners = [(0, 0), (40, 0), (40, 40), (0, 40), (20, 25)]
    rows = []
    for i, (e, n) in enumerate(corners):
        east, north = to_local(EAST + e, NORTH + n)
        rows.append([f"G{i}", f"{east:.5f}", f"{north:.5f}", 60.0, EAST + e, NORTH + n, 110.0])
    header = "id,local_easting,local_northing,local_height,easting,northing,height"
    section: dict[str, object] = {"crs": CRS, "local_unit": "metre", "pairs": "pairs.csv"}
    write_points_table(tmp_path / "pairs.csv", rows, header)
    path = local_job(tmp_path, section)
    result = run(path)
    residuals = [row.residual.up_m for row in result.datasets[0].residuals if row.residual]
    assert_metres(residuals, np.resize([0.02, -0.02], 36), within_m=2e-6)
    assert result.verdict == "passes"
    assert "local-grid" in {item.role for item in result.inputs}
    rows[0][0] = "P01"
    write_points_table(tmp_path / "pairs.csv", rows, header)
    shared = run(path)
    assert shared.verdict == "no-statement"
    assert "local-grid-shared-points" in {f.code for f in shared.findings}


def test_both_sides_in_the_local_grid_are_identical(tmp_path: Path) -> None:
    """Measured and surveyed positions both local: nothing is carried, the residuals are the differences."""
    write_points_table(tmp_path / "points.csv", localised(plane_checkpoints(30)))
    measured = [
        [row[0], f"{float(str(row[1])) + 0.03:.6f}", row[2], row[3]]
        for row in localised(plane_checkpoints(30))
    ]
    write_points_table(tmp_path / "m.csv", measured, "id,easting,northing,height")
    path = local_job(tmp_path, STATED, kind="measured-points", files=["m.csv"], crs="local")
    result = run(path)
    assert result.transformations[0].horizontal == "identity"
    assert_metres(
        [row.residual.east_m for row in result.datasets[0].residuals if row.residual],
        np.full(30, 0.03),
        within_m=1e-9,
    )


def test_a_local_deliverable_is_met_in_its_own_grid(tmp_path: Path) -> None:
    """Measured positions local, checkpoints in the reference system: compared in the local grid."""
    write_points_table(tmp_path / "points.csv", plane_checkpoints(30))
    measured = [
        [row[0], f"{float(str(row[1])) + 0.03:.6f}", row[2], row[3]]
        for row in localised(plane_checkpoints(30))
    ]
    write_points_table(tmp_path / "m.csv", measured, "id,easting,northing,height")
    path = local_job(tmp_path, STATED, kind="measured-points", files=["m.csv"], crs="local")
    path.write_text(path.read_text().replace('crs = "local"', f'crs = "{CRS}"', 1))
    result = run(path)
    used = [row.residual for row in result.datasets[0].residuals if row.residual]
    assert_metres([r.east_m for r in used], np.full(30, 0.03), within_m=1e-5)
    assert_metres([r.up_m for r in used], np.zeros(30), within_m=1e-5)
    assert (result.transformations[0].horizontal, result.transformations[0].vertical) == (
        "transformed",
        "transformed",
    )
