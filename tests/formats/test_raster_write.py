"""Rasters written are rasters read back, by rasterio itself."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
from support import assert_metres

from accuracy.errors import FormatError
from accuracy.formats.raster_write import write_raster

TRANSFORM = (0.5, 0.0, 412_000.0, 0.0, -0.25, 4_541_000.0)
WKT = pyproj.CRS("EPSG:6341+5703").to_wkt("WKT1_GDAL")
HEIGHTS = np.array([[1300.125, 1300.25, np.nan], [-0.5, 0.0, 8848.5]])


def test_what_is_written_is_read_back(tmp_path: Path) -> None:
    """Values, no-data, geotransform and the compound CRS survive (GDAL reads them)."""
    write_raster(tmp_path / "a.tif", HEIGHTS, TRANSFORM, WKT)
    with rasterio.open(tmp_path / "a.tif") as raster:
        band = raster.read(1)
        assert raster.dtypes == ("float32",)
        assert raster.nodata == -9999.0
        assert tuple(raster.transform)[:6] == TRANSFORM
        assert raster.tags().get("AREA_OR_POINT") == "Area"
        # the upper left cell's centre is half a cell from the corner of the geotransform
        assert raster.xy(0, 0) == (412_000.25, 4_540_999.875)
        assert pyproj.CRS(raster.crs.to_wkt()).equals(
            pyproj.CRS("EPSG:6341+5703"), ignore_axis_order=True
        )
    assert band[0, 2] == -9999.0
    assert_metres(band[~np.isnan(HEIGHTS)], HEIGHTS[~np.isnan(HEIGHTS)], within_m=0.0)


def test_the_same_values_give_the_same_bytes(tmp_path: Path) -> None:
    """No clock and no path in the file, and an existing file is replaced whole."""
    write_raster(tmp_path / "a.tif", HEIGHTS, TRANSFORM, WKT)
    write_raster(tmp_path / "b.tif", np.zeros((90, 90)), TRANSFORM, WKT)
    write_raster(tmp_path / "b.tif", HEIGHTS, TRANSFORM, WKT)
    assert (tmp_path / "a.tif").read_bytes() == (tmp_path / "b.tif").read_bytes()


def test_another_no_data_value(tmp_path: Path) -> None:
    """The no-data value is the caller's choice."""
    write_raster(tmp_path / "a.tif", HEIGHTS, TRANSFORM, WKT, nodata=-1e6)
    with rasterio.open(tmp_path / "a.tif") as raster:
        assert raster.nodata == -1e6
        assert raster.read(1, masked=True).mask.sum() == 1


@pytest.mark.parametrize(
    ("name", "wkt"),
    [("missing/a.tif", WKT), ("a.tif", "no CRS at all")],
    ids=["no folder", "bad CRS"],
)
def test_what_cannot_be_written_is_one_error(tmp_path: Path, name: str, wkt: str) -> None:
    """A missing folder or a text that is no CRS gives a FormatError that names the file."""
    with pytest.raises(FormatError) as caught:
        write_raster(tmp_path / name, HEIGHTS, TRANSFORM, wkt)
    assert caught.value.where == str(tmp_path / name)
    assert caught.value.remedy
