from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from numpy.typing import NDArray
from rasterio.enums import Resampling

from accuracy.errors import FormatError
from accuracy.formats.raster import open_elevation_raster


def write(
    path: Path, values: NDArray[Any], overviews: list[int] | None = None, **more: Any
) -> Path:
    """Write one band of invented heights."""
    rows, cols = values.shape
    settings = {"driver": "GTiff", "dtype": values.dtype.name} | more
    transform = rasterio.Affine(0.5, 0.0, 412_000.0, 0.0, -0.5, 5_000_000.0)
    with rasterio.open(
        path, "w", count=1, height=rows, width=cols, transform=transform, **settings
    ) as out:
        out.write(values, 1)
        if overviews:
            out.build_overviews(overviews, Resampling.nearest)
    return path


def heights(rows: int, cols: int) -> NDArray[np.float32]:
    """Every cell another number, so that it is known which cell was taken."""
    return np.arange(rows * cols, dtype=np.float32).reshape(rows, cols) % 900_000


@pytest.mark.parametrize("step", [1, 2, 3, 4, 7])
def test_one_cell_out_of_every_square(tmp_path: Path, step: int) -> None:
    """Each value is that of a cell inside its own square of the window, all at the same place in it."""
    values = heights(60, 84)
    raster = open_elevation_raster(write(tmp_path / "a.tif", values))
    rows, cols = 40 // step, 50 // step
    found = raster.coarse(8, 12, rows, cols, step)
    assert found.shape == (rows, cols)
    squares = values[8 : 8 + rows * step, 12 : 12 + cols * step]
    squares = squares.reshape(rows, step, cols, step)
    places = {
        tuple(np.argwhere(squares[i, :, j, :] == found[i, j])[0])
        for i in range(rows)
        for j in range(cols)
    }
    assert len(places) == 1


def test_overviews_are_used_and_cost_less(tmp_path: Path) -> None:
    """The overviews of the file are known; with them, a picture decodes the cells of an overview only."""
    values = heights(2048, 2048)
    more = {"tiled": True, "blockxsize": 256, "blockysize": 256}
    bare = open_elevation_raster(write(tmp_path / "bare.tif", values, **more))
    ready = open_elevation_raster(write(tmp_path / "ready.tif", values, [2, 4, 8], **more))
    assert bare.overviews() == ()
    assert ready.overviews() == (2, 4, 8)
    assert bare.coarse_cost(2048, 2048, 8) == 2048**2
    assert ready.coarse_cost(2048, 2048, 8) == 256**2
    assert ready.coarse_cost(2048, 2048, 1) == 2048**2
    found = ready.coarse(0, 0, 256, 256, 8)
    with rasterio.open(tmp_path / "ready.tif", overview_level=2) as overview:
        np.testing.assert_array_equal(found, overview.read(1))


def test_strips_are_decoded_whole(tmp_path: Path) -> None:
    """A narrow window of a raster in strips costs the whole width."""
    raster = open_elevation_raster(write(tmp_path / "a.tif", heights(300, 4000), blockysize=1))
    assert raster.coarse_cost(300, 10, 1) == 300 * 4000


@pytest.mark.parametrize("written", [None, -9999.0])
def test_no_data_is_nan_whether_declared_or_customary(
    tmp_path: Path, written: float | None
) -> None:
    """Declared, customary, beyond all heights, not a number: all are NaN in a picture."""
    values = heights(8, 8)
    values[0, 0], values[2, 2], values[4, 4], values[6, 6] = -9999.0, 3e38, np.nan, -32768.0
    raster = open_elevation_raster(write(tmp_path / "a.tif", values, nodata=written))
    found = raster.coarse(0, 0, 8, 8, 1)
    assert {tuple(place) for place in np.argwhere(np.isnan(found))} == {
        (0, 0),
        (2, 2),
        (4, 4),
        (6, 6),
    }


def test_a_closed_file_is_opened_again(tmp_path: Path) -> None:
    """Coarse reads work after `close`, and a file that is gone is one error of ours."""
    path = write(tmp_path / "a.tif", heights(8, 8))
    raster = open_elevation_raster(path)
    raster.close()
    assert raster.overviews() == ()
    assert raster.coarse(0, 0, 4, 4, 2).shape == (4, 4)
    raster.close()
    path.unlink()
    with pytest.raises(FormatError, match="no such file"):
        raster.coarse(0, 0, 4, 4, 2)
