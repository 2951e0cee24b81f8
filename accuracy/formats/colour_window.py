"""Windows of a georeferenced picture in colour, for people to look at."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import FormatError
from accuracy.formats import CrsEvidence
from accuracy.formats.raster import _crs_evidence, _library, _open

Transform = tuple[float, float, float, float, float, float]

_PROBLEM, _REMEDY = "the picture cannot be read", "check that the file is whole"


@dataclass(frozen=True)
class ColourPicture:
    """A georeferenced picture by its header.

    Attributes
    ----------
    path : Path
        The file.
    transform : tuple of float
        Affine coefficients (a, b, c, d, e, f): x = a*col + b*row + c, y = d*col + e*row + f; integers are
        corners of pixels.
    shape : tuple of int
        Rows, columns.
    crs_evidence : tuple of CrsEvidence
        What the file says of its coordinates.
    """

    path: Path
    transform: Transform
    shape: tuple[int, int]
    crs_evidence: tuple[CrsEvidence, ...]

    def window(self, row0: int, col0: int, rows: int, cols: int) -> NDArray[np.uint8]:
        """Read a window inside the picture, stretched to 8 bits a colour; shape (rows, cols, 3).

        The brightest and darkest 1 % of the window are cut where the cells have more than 8 bits.

        Raises
        ------
        FormatError
            The pixels cannot be read.
        """
        dataset = _open(self.path)
        try:
            with _library(self.path, _PROBLEM, _REMEDY) as rasterio:
                bands = [1, 2, 3] if dataset.count >= 3 else [1, 1, 1]
                place = rasterio.windows.Window(col0, row0, cols, rows)
                pixels = np.moveaxis(dataset.read(bands, window=place), 0, -1)
                if dataset.count == 1 and dataset.colorinterp[0].name == "palette":
                    table = dataset.colormap(1)
                    lookup = np.array(
                        [table.get(i, (0, 0, 0, 0))[:3] for i in range(256)], np.uint8
                    )
                    return np.asarray(lookup[np.clip(pixels[..., 0], 0, 255).astype(np.uint8)])
        finally:
            dataset.close()
        if pixels.dtype == np.uint8:
            return np.ascontiguousarray(pixels)
        return stretched(pixels.astype(np.float64))


def open_colour(path: Path) -> ColourPicture:
    """Open a picture by its header.

    Raises
    ------
    FormatError
        Missing, no raster, or without a place on the ground.
    """
    dataset = _open(path)
    try:
        with _library(path, _PROBLEM, _REMEDY):
            a, b, c, d, e, f = tuple(dataset.transform)[:6]
            shape = (int(dataset.height), int(dataset.width))
            evidence = _crs_evidence(dataset, path)
    finally:
        dataset.close()
    if a * e - b * d == 0.0 or (a, b, c, d, e, f) == (1.0, 0.0, 0.0, 0.0, 1.0, 0.0):
        raise FormatError(
            "has no place on the ground", where=str(path), remedy="hand in a georeferenced picture"
        )
    return ColourPicture(path, (a, b, c, d, e, f), shape, evidence)


def stretched(values: NDArray[np.float64]) -> NDArray[np.uint8]:
    """Stretch values between their 1st and 99th percentile to 0 ... 255; NaN becomes 0."""
    known = values[np.isfinite(values)]
    low, high = np.percentile(known, [1.0, 99.0]) if known.size else (0.0, 1.0)
    share = (values - low) / max(float(high - low), 1e-12)
    return np.asarray(np.clip(np.nan_to_num(share) * 255.0, 0, 255).astype(np.uint8))
