"""Elevation rasters, read through GDAL in small windows: stored heights and CRS evidence, uninterpreted."""

from __future__ import annotations

import math
import os
import warnings
from collections import OrderedDict
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import FormatError
from accuracy.findings import Finding, Severity
from accuracy.formats import CellPatch, CrsEvidence, SurfaceInfo
from accuracy.formats.sidecar import sidecar_evidence
from accuracy.formats.tiff_keys import geokey_evidence

#: Numbers customarily written for "no data", whether or not the file declares them (common practice, no
#: source). Anything beyond `LARGEST_HEIGHT` in size is no height either, in any unit of length.
CUSTOMARY_NO_DATA = (-9999.0, -99999.0, -999999.0, -32768.0, -32767.0, 32767.0, 65535.0)
LARGEST_HEIGHT = 1e6

#: Files kept open at once; tiles beyond that are closed and opened again when needed.
MAX_OPEN = 64

_FOREIGN = ("PROJ_DATA", "PROJ_LIB", "GDAL_DATA")
_cleared: dict[str, str] = {}
_in_use: OrderedDict[ElevationRaster, None] = OrderedDict()

_FORMAT_NAMES = {"GTiff": "GeoTIFF", "AAIGrid": "ASCII grid", "VRT": "virtual raster"}


def foreign_proj_environment() -> dict[str, str]:
    """Give the environment variables that were cleared before GDAL was used, with the values they had.

    Another program's PROJ data folder makes GDAL read every CRS as a nameless local one, without an error.
    """
    return dict(_cleared)


@contextmanager
def _library(path: Path, problem: str, remedy: str) -> Iterator[Any]:
    """Lend rasterio: its errors leave as ours, its warnings stay inside."""
    for name in _FOREIGN:
        if name in os.environ:
            _cleared[name] = os.environ.pop(name)
    import rasterio
    from rasterio._err import CPLE_BaseError
    from rasterio.errors import NodataShadowWarning, NotGeoreferencedWarning, RasterioError

    # A no-data number may lie beyond the range of its cells.
    with warnings.catch_warnings(), np.errstate(over="ignore"):
        for category in (
            NotGeoreferencedWarning,  # told as an error of our own
            NodataShadowWarning,  # nodata and masks are both honoured
            DeprecationWarning,  # between the library and its own dependencies
            PendingDeprecationWarning,
        ):
            warnings.simplefilter("ignore", category)
        try:
            yield rasterio
        except (RasterioError, CPLE_BaseError, ValueError, OSError) as error:
            reason = error.__cause__ or error
            raise FormatError(f"{problem}: {reason}", where=str(path), remedy=remedy) from error


def _open(path: Path) -> Any:
    with _library(
        path, "not a raster this tool can read", "check that the file is whole and a raster"
    ) as rasterio:
        if not path.is_file():
            raise FormatError(
                "is a folder, not a raster file" if path.is_dir() else "no such file",
                where=str(path),
                remedy="name the raster file itself",
            )
        # Without the option, GDAL drops the vertical part of a compound CRS from GeoTIFF 1.0 files.
        with rasterio.Env(GTIFF_REPORT_COMPD_CS="YES"):
            return rasterio.open(path)


@dataclass(frozen=True)
class _Band:
    """How the cells of one band become heights."""

    number: int
    alpha: int | None  # number of the band that tells transparent cells
    masked: bool
    nodata: float | None
    scale: float
    offset: float

    @property
    def scaled(self) -> bool:
        return (self.scale, self.offset) != (1.0, 0.0)


class ElevationRaster:
    """One band of a raster file; see `accuracy.formats.RasterSurface`.

    Attributes
    ----------
    info : SurfaceInfo
        What the file says of itself.
    transform : tuple of float
        Affine coefficients as GDAL gives them: the half-cell shift of PixelIsPoint is already in them.
    shape : tuple of int
        Rows, columns.
    tags : mapping of str to str
        The file's own tags, such as ``AREA_OR_POINT``.
    """

    def __init__(self, path: Path, band: int | None) -> None:
        self._path = path
        self._dataset: Any = _open(path)
        try:
            with (
                _library(
                    path, "the header cannot be read", "check that the file is whole"
                ) as rasterio,
                rasterio.Env(),  # without it, GDAL prints what it cannot write as WKT
            ):
                header = self._dataset
                self.shape: tuple[int, int] = (int(header.height), int(header.width))
                self.tags: Mapping[str, str] = MappingProxyType(dict(header.tags()))
                self._band = _choose_band(path, header, band)
                self.transform = _transform(path, header)
                self.info = _info(path, header, self._band, self.transform, self.tags)
        except BaseException:
            self.close()
            raise
        self._keep()

    @property
    def is_open(self) -> bool:
        """Whether the file is held open at the moment."""
        return self._dataset is not None

    def _keep(self) -> None:
        _in_use[self] = None
        _in_use.move_to_end(self)
        while len(_in_use) > MAX_OPEN:
            next(iter(_in_use)).close()

    def patch(self, row0: int, col0: int, rows: int, cols: int) -> CellPatch:
        """Read a small window; cells outside the raster come back as NaN.

        Cells without data are NaN too: by the declared number, by a mask or an alpha band, or because the
        stored number is not finite. Where a scaled band declares no such number, `CUSTOMARY_NO_DATA` is
        passed on as stored, because scale and offset belong to heights.

        Parameters
        ----------
        row0, col0 : int
            First row and column; may lie outside.
        rows, cols : int
            Size of the window.

        Raises
        ------
        FormatError
            The cells cannot be read.
        """
        values = np.full((rows, cols), np.nan)
        top, left = max(row0, 0), max(col0, 0)
        bottom, right = min(row0 + rows, self.shape[0]), min(col0 + cols, self.shape[1])
        if top < bottom and left < right:
            values[top - row0 : bottom - row0, left - col0 : right - col0] = self._read(
                top, left, bottom - top, right - left
            )
        return CellPatch(values, row0, col0)

    def overviews(self) -> tuple[int, ...]:
        """Give how many cells across stand behind one of each overview in the file, smallest first."""
        with _library(self._path, "the overviews cannot be read", "export the raster again"):
            return tuple(sorted(int(f) for f in self._opened().overviews(self._band.number)))

    def coarse_cost(self, rows: int, cols: int, step: int) -> int:
        """Give how many cells must be decoded to read every `step`-th of a window; see `coarse`."""
        skipped = max((factor for factor in self.overviews() if factor <= step), default=1)
        block_rows, block_cols = self._opened().block_shapes[self._band.number - 1]
        return max(rows // skipped, int(block_rows)) * max(cols // skipped, int(block_cols))

    def coarse(self, row0: int, col0: int, rows: int, cols: int, step: int) -> NDArray[np.float64]:
        """Read one cell out of `step` by `step`, from an overview where the file has one; for pictures only.

        Parameters
        ----------
        row0, col0 : int
            First row and column of the window, which lies inside.
        rows, cols : int
            How many cells come back; the window is `step` times as large.

        Returns
        -------
        ndarray, shape (rows, cols)
            NaN without data, for customary numbers too.
        """
        values = self._read(row0, col0, rows * step, cols * step, (rows, cols))
        no_height = np.isin(values, CUSTOMARY_NO_DATA) | (abs(values) > LARGEST_HEIGHT)
        return np.where(no_height, np.nan, values)

    def _opened(self) -> Any:
        if self._dataset is None:
            self._dataset = _open(self._path)
        self._keep()
        return self._dataset

    def _read(
        self, row: int, col: int, rows: int, cols: int, shape: tuple[int, int] | None = None
    ) -> NDArray[np.float64]:
        dataset, band = self._opened(), self._band
        with _library(
            self._path,
            f"the cells of rows {row} to {row + rows - 1}, columns {col} to {col + cols - 1} "
            f"(from 0) cannot be read",
            "the file is damaged or cut off: copy or export it again",
        ) as rasterio:
            how = {"window": rasterio.windows.Window(col, row, cols, rows), "out_shape": shape}
            stored: NDArray[Any] = dataset.read(band.number, **how)
            empty = ~np.isfinite(stored)
            if band.nodata is not None:
                empty |= stored == band.nodata  # compared in the cells' own precision
            if band.masked:
                empty |= dataset.read_masks(band.number, **how) == 0
            if band.alpha is not None:
                empty |= dataset.read(band.alpha, **how) == 0
        values = stored.astype(np.float64)
        if band.scaled:
            keep = np.isin(values, CUSTOMARY_NO_DATA) & (band.nodata is None)
            values = np.where(keep, values, values * band.scale + band.offset)
        values[empty] = np.nan
        return values

    def close(self) -> None:
        """Let go of the file; a later `patch` opens it again."""
        _in_use.pop(self, None)
        if self._dataset is not None:
            self._dataset.close()
            self._dataset = None


def open_elevation_raster(path: Path, band: int | None = None) -> ElevationRaster:
    """Open one band of a raster as heights, by the header alone.

    Parameters
    ----------
    path : Path
        Any raster file that GDAL reads.
    band : int, optional
        Number of the band, from 1; may be left out where only one band holds values.

    Returns
    -------
    ElevationRaster
        Windows of it are read on demand. Without a CRS in the file, its evidence is empty.

    Raises
    ------
    FormatError
        The file is missing, not a raster, not georeferenced, a picture, or the band is not named or not
        there.
    """
    return ElevationRaster(path, band)


def _choose_band(path: Path, header: Any, band: int | None) -> _Band:
    count = int(header.count)
    colours = [colour.name for colour in header.colorinterp]
    names = ", ".join(
        f"{n + 1} ({header.descriptions[n] or colours[n]}, {header.dtypes[n]})"
        for n in range(count)
    )
    values = [n + 1 for n in range(count) if colours[n] != "alpha"]
    if not values:
        raise FormatError(
            "holds no band of values",
            where=str(path),
            remedy="a container file: export the elevation layer as a raster file of its own",
        )
    if band is None and len(values) > 1:
        raise FormatError(
            f"holds {count} bands and nothing says which one is the elevation: {names}",
            where=str(path),
            remedy="name it with  band = N  in the dataset's section; a colour picture holds no heights",
        )
    number = values[0] if band is None else band
    if not 1 <= number <= count:
        raise FormatError(
            f"has no band {number}; it holds {names}",
            where=str(path),
            remedy="correct  band = N  in the dataset's section",
        )
    index = number - 1
    complex_numbers = header.dtypes[index].startswith("complex")
    if complex_numbers or colours[index] in ("palette", "alpha"):
        raise FormatError(
            f"band {number} holds {'complex numbers' if complex_numbers else 'colours'}, not heights",
            where=str(path),
            remedy="hand in a raster whose cells are heights",
        )
    scale, offset = float(header.scales[index]), float(header.offsets[index])
    if not (math.isfinite(scale) and math.isfinite(offset)) or scale == 0.0:
        raise FormatError(
            f"band {number} declares scale {scale} and offset {offset}, which give no heights",
            where=str(path),
            remedy="correct the band's scale and offset, or export the raster again",
        )
    nodata = header.nodatavals[index]
    return _Band(
        number=number,
        alpha=colours.index("alpha") + 1 if "alpha" in colours else None,
        masked=[flag.name for flag in header.mask_flag_enums[index]] != ["all_valid"],
        nodata=None if nodata is None else float(nodata),
        scale=scale,
        offset=offset,
    )


def _transform(path: Path, header: Any) -> tuple[float, float, float, float, float, float]:
    a, b, c, d, e, f = (float(value) for value in tuple(header.transform)[:6])
    if (a, b, c, d, e, f) == (1.0, 0.0, 0.0, 0.0, 1.0, 0.0):
        points = " (only ground control points)" if header.gcps[0] else ""
        raise FormatError(
            f"not georeferenced{points}: nothing says where its cells lie",
            where=str(path),
            remedy="export it with georeferencing, or put its world file beside it",
        )
    if not all(map(math.isfinite, (a, b, c, d, e, f))) or a * e - b * d == 0.0:
        raise FormatError(
            f"its georeferencing ({a}, {b}, {c}, {d}, {e}, {f}) gives cells without an area",
            where=str(path),
            remedy="export the raster again with correct georeferencing",
        )
    return a, b, c, d, e, f


def _info(
    path: Path,
    header: Any,
    band: _Band,
    transform: tuple[float, float, float, float, float, float],
    tags: Mapping[str, str],
) -> SurfaceInfo:
    a, b, c, d, e, f = transform
    corners = [(col, row) for col in (0, header.width) for row in (0, header.height)]
    x = [a * col + b * row + c for col, row in corners]
    y = [d * col + e * row + f for col, row in corners]
    dtype = str(header.dtypes[band.number - 1])
    findings: list[Finding] = []
    if dtype == "uint8" and not band.scaled:
        findings.append(
            Finding(
                "file-suspect-values",
                Severity.WARNING,
                f"{path.name}: cells hold whole numbers from 0 to 255, as a picture's do",
                component="vertical",
                evidence={"file": path.name, "type": dtype},
                remedy="check that this is an elevation raster and not a shaded or coloured view of one",
            )
        )
    meaning = tags.get("AREA_OR_POINT")
    return SurfaceInfo(
        path=path,
        kind="raster",
        format=", ".join(
            [
                _FORMAT_NAMES.get(header.driver, str(header.driver)),
                dtype,
                f"band {band.number} of {header.count}",
                *([f"AREA_OR_POINT={meaning}"] if meaning else []),
            ]
        ),
        size_bytes=path.stat().st_size,
        bounds=(min(x), min(y), max(x), max(y)),
        crs_evidence=_crs_evidence(header, path),
        findings=tuple(findings),
        cell_size=(math.hypot(a, d), math.hypot(b, e)),
        vertical_unit_text=header.units[band.number - 1] or None,
        decimals=_decimals(dtype, band),
    )


def _decimals(dtype: str, band: _Band) -> int:
    if dtype.startswith("float"):
        return 3
    places = [Decimal(repr(v)).normalize().as_tuple().exponent for v in (band.scale, band.offset)]
    return min(max(0, *(-int(p) for p in places)), 6)


def _crs_evidence(header: Any, path: Path) -> tuple[CrsEvidence, ...]:
    """Collect what the library reads, the file's own GeoKeys, and what stands beside the file."""
    own = geokey_evidence(path) if header.driver == "GTiff" else ()
    return (*_as_read(header), *own, *sidecar_evidence(path))


def _as_read(header: Any) -> tuple[CrsEvidence, ...]:
    from rasterio.errors import CRSError

    if not header.crs:
        return ()
    where = f"CRS as GDAL reads it ({header.driver})"
    try:
        try:
            wkt = header.crs.to_wkt(version="WKT2_2019")
        except CRSError:  # some systems can only be written the old way
            wkt = header.crs.to_wkt()
    except CRSError as error:
        return (CrsEvidence("raster-crs", where, problem=str(error)),)
    return (CrsEvidence("raster-crs", where, wkt=str(wkt)),)
