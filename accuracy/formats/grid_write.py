"""Writing rasters of differences: GeoTIFF, window by window, so that no more than some rows are in memory."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from accuracy.formats.raster import _library

#: Rows and columns of a tile inside the file.
TILE = 256

#: Value of cells without a difference.
NODATA = -999999.0


def write_grid(
    path: Path,
    values: NDArray[np.float32],
    corner: tuple[float, float],
    cell: float,
    crs_wkt: str | None,
    description: str,
) -> None:
    """Write one band as a compressed, tiled float32 GeoTIFF.

    Parameters
    ----------
    path : Path
        File to write; an existing one is replaced.
    values : ndarray of float32, shape (rows, cols)
        First row in the north, may be a memory map; NaN becomes `NODATA`.
    corner : tuple of float
        West and north edge of the first cell, stored unit.
    cell : float
        Side of a cell, stored unit.
    crs_wkt : str or None
        WKT of the horizontal CRS; None writes none.
    description : str
        What the band holds, with its unit.

    Raises
    ------
    FormatError
        The file cannot be written.
    """
    rows, cols = values.shape
    remedy = "check that the folder exists, may be written to and has room"
    with (
        _library(path, "cannot be written", remedy) as rasterio,
        rasterio.open(
            path,
            "w",
            driver="GTiff",
            height=rows,
            width=cols,
            count=1,
            dtype="float32",
            crs=rasterio.crs.CRS.from_wkt(crs_wkt) if crs_wkt else None,
            transform=rasterio.Affine(cell, 0.0, corner[0], 0.0, -cell, corner[1]),
            nodata=NODATA,
            compress="deflate",
            predictor=3,
            tiled=True,
            blockxsize=TILE,
            blockysize=TILE,
            geotiff_version="1.1",
            BIGTIFF="IF_SAFER",
        ) as raster,
    ):
        raster.set_band_description(1, description)
        for row in range(0, rows, TILE):
            strip = np.asarray(values[row : row + TILE], np.float32)
            filled = np.where(np.isnan(strip), np.float32(NODATA), strip)
            window = rasterio.windows.Window(0, row, cols, strip.shape[0])
            raster.write(filled, 1, window=window)
