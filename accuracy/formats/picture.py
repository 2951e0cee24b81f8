"""Pictures with a place on the ground (orthophotos), read through GDAL in windows: one brightness per pixel."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import FormatError
from accuracy.formats import CellPatch, SurfaceInfo
from accuracy.formats.raster import _crs_evidence, _library, _open, _transform

_COLOURS = ("red", "green", "blue")
#: Bands that are read where no band is called a colour.
MOST_BANDS = 3


class Picture:
    """A picture opened by its header.

    Attributes
    ----------
    info : SurfaceInfo
        What the file says of itself.
    transform : tuple of float
        Affine coefficients as in `accuracy.formats.RasterSurface`.
    shape : tuple of int
        Rows, columns.
    full_scale : float or None
        Brightness at which a pixel is at its end; None for floating point.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._dataset: Any = _open(path)
        try:
            with _library(path, "the header cannot be read", "check that the file is whole"):
                header = self._dataset
                self.shape: tuple[int, int] = (int(header.height), int(header.width))
                self.transform = _transform(path, header)
                colours = [colour.name for colour in header.colorinterp]
                self._alpha = colours.index("alpha") + 1 if "alpha" in colours else None
                self._table = _palette(header) if colours[:1] == ["palette"] else None
                self._bands = _bands(path, header, colours)
                kinds = {str(header.dtypes[band - 1]) for band in self._bands}
                whole = all(kind.startswith("uint") for kind in kinds)
                self.full_scale = float(np.iinfo(kinds.pop()).max) if whole else None
                self.info = _info(path, header, self.transform, len(self._bands))
        except BaseException:
            self.close()
            raise

    def patch(self, row0: int, col0: int, rows: int, cols: int) -> CellPatch:
        """Read a window as brightness, the mean of the colours; NaN outside and without data.

        A pixel of which any colour is at its end counts as at `full_scale`.

        Raises
        ------
        FormatError
            The pixels cannot be read.
        """
        values = np.full((rows, cols), np.nan)
        top, left = max(row0, 0), max(col0, 0)
        bottom, right = min(row0 + rows, self.shape[0]), min(col0 + cols, self.shape[1])
        if top < bottom and left < right:
            part = slice(top - row0, bottom - row0), slice(left - col0, right - col0)
            values[part] = self._read(top, left, bottom - top, right - left)
        return CellPatch(values, row0, col0)

    def _read(self, row: int, col: int, rows: int, cols: int) -> NDArray[np.float64]:
        if self._dataset is None:
            self._dataset = _open(self._path)
        with _library(
            self._path,
            f"the pixels of rows {row} to {row + rows - 1}, columns {col} to {col + cols - 1} "
            "(from 0) cannot be read",
            "the file is damaged or cut off: copy or export it again",
        ) as rasterio:
            window = rasterio.windows.Window(col, row, cols, rows)
            stored = self._dataset.read(self._bands, window=window)
            empty = self._dataset.read_masks(self._bands[0], window=window) == 0
            if self._alpha is not None:
                empty |= self._dataset.read(self._alpha, window=window) == 0
        if self._table is not None:
            bright: NDArray[np.float64] = self._table[stored[0]]
        else:
            bright = stored.astype(np.float64).mean(axis=0)
            if self.full_scale is not None:
                bright[(stored == self.full_scale).any(axis=0)] = self.full_scale
        bright[empty | ~np.isfinite(bright)] = np.nan
        return bright

    def close(self) -> None:
        """Let go of the file; a later `patch` opens it again."""
        if self._dataset is not None:
            self._dataset.close()
            self._dataset = None


def _palette(header: Any) -> NDArray[np.float64]:
    table = np.full(65_536, np.nan)
    for index, entry in header.colormap(1).items():
        table[index] = float(np.mean(entry[:3]))
    return table


def _bands(path: Path, header: Any, colours: list[str]) -> list[int]:
    named = [n + 1 for n, colour in enumerate(colours) if colour in _COLOURS]
    bands = named or [n + 1 for n, colour in enumerate(colours) if colour != "alpha"][:MOST_BANDS]
    wrong = [n for n in bands if str(header.dtypes[n - 1]).startswith("complex")]
    if not bands or wrong:
        raise FormatError(
            "holds no band of brightness",
            where=str(path),
            remedy="hand in the orthophoto as a grey or colour picture",
        )
    return bands


def _info(
    path: Path, header: Any, transform: tuple[float, float, float, float, float, float], bands: int
) -> SurfaceInfo:
    a, b, c, d, e, f = transform
    corners = [(col, row) for col in (0, header.width) for row in (0, header.height)]
    x = [a * col + b * row + c for col, row in corners]
    y = [d * col + e * row + f for col, row in corners]
    return SurfaceInfo(
        path=path,
        kind="raster",
        format=f"{header.driver}, {header.dtypes[0]}, {bands} of {header.count} bands as brightness",
        size_bytes=path.stat().st_size,
        bounds=(min(x), min(y), max(x), max(y)),
        crs_evidence=_crs_evidence(header, path),
        cell_size=(math.hypot(a, d), math.hypot(b, e)),
    )


def open_picture(path: Path) -> Picture:
    """Open an orthophoto by its header.

    Raises
    ------
    FormatError
        The file is missing, not a raster, not georeferenced, or holds no brightness.
    """
    return Picture(path)
