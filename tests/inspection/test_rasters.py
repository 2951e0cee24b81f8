"""Small rasters whose facts are known exactly, and one for each thing that can be wrong."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
import rasterio

from accuracy.findings import Severity
from accuracy.formats.raster_write import write_raster
from accuracy.inspection import inspect_file, raster
from accuracy.inspection.record import Inspection

UTM = pyproj.CRS("EPSG:6341+5703").to_wkt("WKT1_GDAL")
NORTH_UP = (0.5, 0.0, 412_300.0, 0.0, -0.5, 4_541_260.0)
HEIGHTS = 1300.0 + np.arange(12.0).reshape(3, 4)


def written(
    path: Path, bands: np.ndarray[Any, Any], *, units: str = "", **profile: Any
) -> Inspection:
    """Write through rasterio itself, so that anything odd can be written, and inspect."""
    settings = {
        "driver": "GTiff",
        "count": bands.shape[0],
        "height": bands.shape[1],
        "width": bands.shape[2],
        "dtype": bands.dtype,
        "crs": "EPSG:6341",
        "transform": rasterio.Affine(*NORTH_UP),
    } | profile
    with rasterio.open(path, "w", **settings) as target:
        target.write(bands)
        if units:
            target.units = (units,) * bands.shape[0]
    return inspect_file(path)


def told(found: Inspection, code: str) -> list[Any]:
    return [concern for concern in found.concerns if concern.finding.code == code]


def test_a_sound_raster_is_told_exactly(tmp_path: Path) -> None:
    """Cells, bounds, range, no data and both parts of the system; nothing wrong."""
    heights = HEIGHTS.copy()
    heights[0, 0] = np.nan
    write_raster(tmp_path / "dem.tif", heights, NORTH_UP, UTM)
    found = inspect_file(tmp_path / "dem.tif")
    assert found.raster is not None
    [cells] = found.raster.counted
    assert (cells.cells, cells.valid, cells.minimum, cells.maximum) == (12, 11, 1301.0, 1311.0)
    assert found.raster.cell_size == (0.5, 0.5)
    assert found.raster.rotation_deg == 0.0
    assert found.raster.about.bands[0].nodata == -9999.0
    assert found.raster.about.area_or_point == "Area"
    assert found.bounds == (412_300.0, 4_541_258.5, 412_302.0, 4_541_260.0)
    assert found.reference.horizontal == "EPSG:6341"
    assert found.reference.vertical == "EPSG:5703"
    assert {concern.finding.code for concern in found.concerns} == {"crs-geoid-unnamed"}


def test_windows_cover_all_cells(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The least and greatest cell are found wherever they are, whatever the windows."""
    monkeypatch.setattr(raster, "WINDOW", 2)
    write_raster(tmp_path / "dem.tif", HEIGHTS, NORTH_UP, UTM)
    found = inspect_file(tmp_path / "dem.tif")
    assert found.raster is not None
    [cells] = found.raster.counted
    assert (cells.valid, cells.minimum, cells.maximum) == (12, 1300.0, 1311.0)


def test_large_rasters_are_read_only_when_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beyond the limit the header alone is told, and how to get the rest."""
    monkeypatch.setattr(raster, "MOST_CELLS", 10)
    write_raster(tmp_path / "dem.tif", HEIGHTS, NORTH_UP, UTM)
    found = inspect_file(tmp_path / "dem.tif")
    assert found.raster is not None
    assert found.raster.counted == ()
    assert "--full" in (found.raster.not_counted or "")
    full = inspect_file(tmp_path / "dem.tif", full=True)
    assert full.raster is not None
    assert full.raster.counted[0].valid == 12


def test_undeclared_no_data_is_noticed(tmp_path: Path) -> None:
    """-9999 among heights, and nothing says that it means none."""
    bands = np.array([[[-9999.0, 12.0], [13.0, 14.0]]], dtype=np.float32)
    assert told(written(tmp_path / "a.tif", bands), "inspect-no-data")
    assert not told(written(tmp_path / "b.tif", bands, nodata=-9999.0), "inspect-no-data")


def test_a_foot_without_kind_and_a_contradicting_unit(tmp_path: Path) -> None:
    """``ft`` names no foot; a unit against the vertical system blocks."""
    bands = HEIGHTS[None].astype(np.float32)
    found = written(tmp_path / "ft.tif", bands, units="ft")
    [concern] = told(found, "inspect-foot-kind")
    assert concern.finding.severity is Severity.WARNING
    found = written(
        tmp_path / "both.tif",
        bands,
        units="ft",
        crs=rasterio.crs.CRS.from_wkt(UTM),
        geotiff_version="1.1",
    )
    assert told(found, "crs-contradiction")[0].finding.severity is Severity.BLOCKING


def test_degrees_do_not_block_heights(tmp_path: Path) -> None:
    """A raster in degrees gives heights; only horizontal errors cannot be formed."""
    found = written(
        tmp_path / "deg.tif",
        HEIGHTS[None].astype(np.float32),
        crs="EPSG:6318",
        transform=rasterio.Affine(1e-5, 0, -110.0, 0, -1e-5, 41.0),
    )
    [concern] = told(found, "crs-geographic")
    assert (concern.finding.severity, concern.finding.component) == (Severity.WARNING, "horizontal")
    assert not found.blocked


def test_the_convention_of_points_is_told_without_shifting(tmp_path: Path) -> None:
    """AREA_OR_POINT=Point: GDAL's geotransform has the half cell in it, and the bounds stay those."""
    path = tmp_path / "point.tif"
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        count=1,
        height=3,
        width=4,
        dtype="float32",
        crs="EPSG:6341",
        transform=rasterio.Affine(*NORTH_UP),
    ) as target:
        target.update_tags(AREA_OR_POINT="Point")
        target.write(HEIGHTS[None].astype(np.float32))
    found = inspect_file(path)
    assert "half cell" in told(found, "inspect-cells")[0].finding.message
    assert found.bounds == (412_300.0, 4_541_258.5, 412_302.0, 4_541_260.0)


def test_several_bands_and_coarse_or_absurd_values(tmp_path: Path) -> None:
    """Which band holds heights is asked; whole metres and heights beyond the highest summit are told."""
    bands = np.stack([HEIGHTS, HEIGHTS + 9000.0]).astype(np.int16)
    found = written(tmp_path / "two.tif", bands)
    assert told(found, "inspect-band")
    assert "0.289 m" in told(found, "inspect-coarse")[0].consequence  # 1 / sqrt(12), closed form
    assert "band 2" in told(found, "inspect-heights")[0].finding.message


def test_one_height_everywhere_is_told(tmp_path: Path) -> None:
    """A raster filled with one number."""
    found = written(tmp_path / "flat.tif", np.full((1, 3, 3), 7.0, dtype=np.float32))
    assert "all cells are 7" in told(found, "inspect-heights")[0].finding.message
