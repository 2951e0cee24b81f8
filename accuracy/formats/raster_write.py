"""Writing elevation rasters: GeoTIFF, the same bytes for the same values."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from accuracy.formats.raster import _library


def write_raster(
    path: Path,
    values: ArrayLike,
    transform: tuple[float, float, float, float, float, float],
    crs_wkt: str,
    nodata: float = -9999.0,
) -> None:
    """Write one band of heights as a compressed float32 GeoTIFF.

    Parameters
    ----------
    path : Path
        File to write; an existing one is replaced.
    values : array, shape (rows, cols)
        Heights in the vertical unit of the CRS, first row first; NaN becomes `nodata`.
    transform : tuple of float
        Affine coefficients as in `accuracy.formats.RasterSurface`: integer (col, row) is the upper left
        corner of a cell (PixelIsArea).
    crs_wkt : str
        WKT of the CRS, compound where the heights have one.
    nodata : float
        Value of cells without data.

    Raises
    ------
    FormatError
        The CRS is none, or the file cannot be written.
    """
    heights = np.asarray(values, dtype=np.float64)
    band = np.where(np.isnan(heights), nodata, heights).astype(np.float32)
    problem, remedy = (
        "cannot be written",
        "check that the folder exists, may be written to and has room",
    )
    with _library(path, problem, remedy) as rasterio:
        crs = rasterio.crs.CRS.from_wkt(crs_wkt)
        with rasterio.open(
            path,
            "w",
            driver="GTiff",
            height=band.shape[0],
            width=band.shape[1],
            count=1,
            dtype="float32",
            crs=crs,
            transform=rasterio.Affine(*transform),
            nodata=nodata,
            compress="deflate",
            predictor=3,
            geotiff_version="1.1",  # the first that holds a compound CRS by the book
        ) as raster:
            raster.write(band, 1)
