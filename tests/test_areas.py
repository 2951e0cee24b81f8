"""The area of a deliverable, from its data or from an outline, in a whole job."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
from jobs import (
    CRS,
    EAST,
    NORTH,
    plane_checkpoints,
    write_job,
    write_plane_cloud,
    write_points_table,
)
from support import assert_metres

from accuracy.errors import FormatError, JobError
from accuracy.formats import open_cloud, open_raster
from accuracy.formats.las_write import write_points
from accuracy.job import load_job
from accuracy.layout.footprint import of_clouds, of_rasters
from accuracy.pipeline import verify
from accuracy.units import LengthUnit

METRE = LengthUnit.METRE


def bent(path: Path, n: int = 60_000) -> None:
    """Write a cloud that fills three quarters of a square of 100 m, and one stray point in the fourth."""
    random = np.random.default_rng(5)
    x, y = random.uniform(0, 100, (2, n))
    keep = ~((x > 50) & (y > 50))
    x, y = np.append(x[keep], 90.0), np.append(y[keep], 90.0)
    points: dict[str, Any] = {
        "x": x + EAST,
        "y": y + NORTH,
        "z": x * 0 + 100.0,
        "classification": np.full(len(x), 2, np.uint8),
    }
    write_points(
        path,
        points=points,
        point_format=6,
        version="1.4",
        scale=(0.01,) * 3,
        offset=(EAST, NORTH, 0.0),
    )


def test_the_footprint_of_a_cloud_is_that_of_its_points(tmp_path: Path) -> None:
    """Three quarters of the square within the width of a cell; the stray point is no area; its box would be."""
    path = tmp_path / "bent.laz"
    bent(path)
    cloud = open_cloud(path)
    area = of_clouds([cloud], METRE)
    assert area is not None
    assert abs(area.area_m2 - 7500.0) <= 400.0 * area.cell_m
    middle = np.array([[EAST + 25, NORTH + 25], [EAST + 90, NORTH + 90], [EAST - 30, NORTH]])
    assert area.contains(middle).tolist() == [True, False, False]
    boxes = of_clouds([cloud], METRE, most_points=100)
    assert boxes is not None
    assert boxes.contains(middle).tolist() == [True, True, False]
    assert "boxes" in boxes.source
    feet = of_clouds([cloud], LengthUnit.FOOT)
    assert feet is not None
    assert abs(feet.area_m2 - 7500.0 * 0.3048**2) <= 400.0 * 0.3048 * feet.cell_m


def test_the_footprint_of_a_raster_is_that_of_its_data(tmp_path: Path) -> None:
    """Cells without data are no area: half of a raster of 40 m by 20 m."""
    import rasterio

    path = tmp_path / "half.tif"
    heights = np.full((40, 80), 5.0, np.float32)
    heights[:, 40:] = -9999.0
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=40,
        width=80,
        count=1,
        dtype="float32",
        nodata=-9999.0,
        transform=rasterio.Affine(0.5, 0, 1000.0, 0, -0.5, 2000.0),
        crs="EPSG:6341",
    ) as file:
        file.write(heights, 1)
    area = of_rasters([open_raster(path)], METRE)
    assert area is not None
    assert_metres(area.area_m2, 400.0, within_m=20.0)
    assert area.contains(np.array([[1010.0, 1990.0], [1030.0, 1990.0]])).tolist() == [True, False]


def job_with(folder: Path, area: str = "", **checkpoints: object) -> Path:
    write_plane_cloud(folder / "a.laz", wkt=None)
    write_points_table(folder / "points.csv", plane_checkpoints())
    dataset = {"name": "cloud", "kind": "point-cloud", "files": ["a.laz"], "crs": CRS}
    claim = {"dataset": "cloud", "standard": "usgs-lbs-2025a", "quality_level": "QL1"}
    survey = {"survey_rmse_h_m": 0.01, "survey_rmse_v_m": 0.01} | checkpoints
    path = write_job(folder, datasets=[dataset], claims=[claim], checkpoints=survey)
    path.write_text(path.read_text("utf-8") + area, "utf-8")
    return path


def outline(path: Path, places: list[tuple[float, float]], crs: str | None = "EPSG::6341") -> None:
    data: dict[str, object] = {"type": "Polygon", "coordinates": [[*places, places[0]]]}
    if crs is not None:
        data["crs"] = {"type": "name", "properties": {"name": f"urn:ogc:def:crs:{crs}"}}
    path.write_text(json.dumps(data), "utf-8")


SQUARE = [(EAST, NORTH), (EAST + 20, NORTH), (EAST + 20, NORTH + 40), (EAST, NORTH + 40)]


def test_a_job_without_an_outline_takes_the_footprint(tmp_path: Path) -> None:
    """The plane of 40 m by 40 m; the layout stands in the result."""
    result = verify(load_job(job_with(tmp_path)))
    (layout,) = result.layout.documents
    assert layout.area_from == "cells of the cloud with points"
    assert_metres((layout.area_km2 or 0) * 1e6, 1600.0, within_m=200.0)
    assert layout.outside == ()
    assert len(layout.confirm) == 3


def test_an_outline_decides_who_is_outside(tmp_path: Path) -> None:
    """The western half: every checkpoint east of it is named; its file is an input."""
    outline(tmp_path / "area.geojson", SQUARE)
    result = verify(load_job(job_with(tmp_path, "[area]\nfile = 'area.geojson'\n")))
    (layout,) = result.layout.documents
    assert_metres((layout.area_km2 or 0) * 1e6, 800.0, within_m=0.01)
    east = {r.id for r in result.datasets[0].residuals if (r.surveyed.east_m or 0) > EAST + 20}
    assert set(layout.outside) == east
    assert "layout-outside" in {f.code for f in result.findings}
    assert "area" in {item.role for item in result.inputs}


def test_control_and_unclaimed_checkpoints_outside_are_told(tmp_path: Path) -> None:
    """Control outside the western half is a note of its own; without a claim, checkpoints are a warning."""
    outline(tmp_path / "area.geojson", SQUARE)
    section = "[area]\nfile = 'area.geojson'\n"
    points = plane_checkpoints()
    east = {str(p[0]) for p in points if float(str(p[1])) > EAST + 20}
    control = sorted(east)[:2]
    result = verify(load_job(job_with(tmp_path, section, control=control)))
    told = {(f.code, f.severity.value): f for f in result.findings if "outside" in f.code}
    assert set(told) == {("layout-outside", "warning"), ("area-points-outside", "note")}
    note = told["area-points-outside", "note"]
    assert ", ".join(control) in note.message
    assert note.evidence["points"] == 2
    job = job_with(tmp_path, section, control=control)
    text = job.read_text("utf-8")
    start = text.index("[[claim]]")
    job.write_text(text[:start] + text[text.index("[area]") :], "utf-8")
    result = verify(load_job(job))
    (warning,) = [
        f for f in result.findings if f.code == "area-points-outside" and f.severity == "warning"
    ]
    assert warning.evidence["points"] == len(east) - 2


def test_an_outline_tells_how_much_of_it_has_data(tmp_path: Path) -> None:
    """All of the western half of the plane; half of an outline of 80 m by 40 m, in a GeoPackage as well."""
    section = "[area]\nfile = 'area.geojson'\n"
    outline(tmp_path / "area.geojson", SQUARE)
    result = verify(load_job(job_with(tmp_path, section)))
    (finding,) = [f for f in result.findings if f.code == "area-coverage"]
    assert finding.severity == "note"
    assert_metres(float(str(finding.evidence["share"])), 1.0, within_m=0.02)
    wide = [(EAST, NORTH), (EAST + 80, NORTH), (EAST + 80, NORTH + 40), (EAST, NORTH + 40)]
    outline(tmp_path / "area.geojson", wide)
    result = verify(load_job(job_with(tmp_path, section)))
    (finding,) = [f for f in result.findings if f.code == "area-coverage"]
    assert finding.severity == "warning"
    assert_metres(float(str(finding.evidence["share"])), 0.5, within_m=0.03)
    from accuracy.formats.geopackage import Feature, Layer, SpatialReference, geopackage

    ring = Feature([*wide, wide[0]], [])
    reference = SpatialReference(
        "invented", wkt1=pyproj.CRS("EPSG:6341").to_wkt("WKT1_GDAL"), epsg=6341
    )
    content = geopackage([Layer("area", "Area", "", "POLYGON", reference, {}, [ring])])
    (tmp_path / "area.gpkg").write_bytes(content)
    packaged = verify(load_job(job_with(tmp_path, "[area]\nfile = 'area.gpkg'\n")))
    (other,) = [f for f in packaged.findings if f.code == "area-coverage"]
    assert other.evidence == finding.evidence


def test_an_outline_in_degrees_is_carried_and_said(tmp_path: Path) -> None:
    """WGS 84 by GeoJSON's rule, projected by PROJ beside: the same area; another frame is a note."""
    back = pyproj.Transformer.from_crs("EPSG:6341", "EPSG:6318", always_xy=True)
    outline(tmp_path / "area.geojson", [back.transform(*place) for place in SQUARE], None)
    result = verify(load_job(job_with(tmp_path, "[area]\nfile = 'area.geojson'\n")))
    assert_metres((result.layout.documents[0].area_km2 or 0) * 1e6, 800.0, within_m=1.0)
    assert "area-approximate" in {f.code for f in result.findings}


def test_an_outline_that_cannot_be_used(tmp_path: Path) -> None:
    """A wrong crs is a warning and the footprint is taken; junk and missing files are refused."""
    outline(tmp_path / "area.geojson", SQUARE)
    area = "[area]\nfile = 'area.geojson'\ncrs = 'EPSG:999999'\n"
    result = verify(load_job(job_with(tmp_path, area)))
    assert "area-unusable" in {f.code for f in result.findings}
    assert result.layout.documents[0].area_from == "cells of the cloud with points"
    (tmp_path / "area.geojson").write_bytes(b"junk")
    with pytest.raises(FormatError, match="GeoJSON"):
        verify(load_job(job_with(tmp_path, "[area]\nfile = 'area.geojson'\n")))
    with pytest.raises(JobError, match=r"area\.file"):
        load_job(job_with(tmp_path, "[area]\nfile = 'none.gpkg'\n"))


def test_the_sensor_speaks_in_a_verification(tmp_path: Path) -> None:
    """[flight] and [sensor] that cannot give 10 cm: told beside the verdict; one section alone is a mistake."""
    flight = "[flight]\nheight_m = 300.0\nlargest_scan_angle_deg = 40.0\n"
    sensor = (
        "[sensor]\ngnss_axis_m = 0.02\ngnss_height_m = 0.03\nroll_pitch_deg = 0.05\nheading_deg = 0.1\n"
        "range_m = 0.02\n"
    )
    result = verify(load_job(job_with(tmp_path, flight + sensor)))
    assert "claim-beyond-sensor" in {f.code for f in result.findings}
    with pytest.raises(JobError, match="needs both"):
        load_job(job_with(tmp_path, flight))
    with pytest.raises(JobError, match="less than 80"):
        load_job(job_with(tmp_path, flight.replace("40.0", "90.0") + sensor))
