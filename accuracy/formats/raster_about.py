"""What a raster file tells of itself, also one that holds no usable heights."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from accuracy.formats import CrsEvidence
from accuracy.formats.raster import _crs_evidence, _library, _open


@dataclass(frozen=True, slots=True, kw_only=True)
class BandAbout:
    """One band.

    Attributes
    ----------
    colour : str
        What GDAL says the band shows: ``gray``, ``red``, ``alpha``, ...
    unit : str
        As written; may be empty.
    """

    number: int
    dtype: str
    colour: str
    description: str
    unit: str
    nodata: float | None
    scale: float
    offset: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RasterAbout:
    """Header facts for people.

    Attributes
    ----------
    driver : str
        Name of GDAL's driver.
    shape : tuple of int
        Rows, columns.
    transform : tuple of float or None
        Affine coefficients (a, b, c, d, e, f) as in `accuracy.formats.RasterSurface`; None where nothing
        says where the cells lie.
    area_or_point : str or None
        The tag AREA_OR_POINT. GDAL has applied the half-cell shift of ``Point`` already.
    """

    driver: str
    shape: tuple[int, int]
    bands: tuple[BandAbout, ...]
    transform: tuple[float, float, float, float, float, float] | None
    area_or_point: str | None
    compression: str | None
    crs_evidence: tuple[CrsEvidence, ...]
    tags: Mapping[str, str]


def about_raster(path: Path) -> RasterAbout:
    """Read the header of any raster that GDAL opens; no cells.

    Raises
    ------
    FormatError
        The file is missing or no raster.
    """
    header = _open(path)
    try:
        with (
            _library(path, "the header cannot be read", "check that the file is whole") as rasterio,
            rasterio.Env(),  # without it, GDAL prints what it cannot write as WKT
        ):
            tags = MappingProxyType({str(k): str(v) for k, v in header.tags().items()})
            colours = [colour.name for colour in header.colorinterp]
            bands = tuple(
                BandAbout(
                    number=i + 1,
                    dtype=str(header.dtypes[i]),
                    colour=colours[i],
                    description=str(header.descriptions[i] or ""),
                    unit=str(header.units[i] or ""),
                    nodata=None if header.nodatavals[i] is None else float(header.nodatavals[i]),
                    scale=float(header.scales[i]),
                    offset=float(header.offsets[i]),
                )
                for i in range(header.count)
            )
            a, b, c, d, e, f = (float(value) for value in tuple(header.transform)[:6])
            transform = (a, b, c, d, e, f)
            placed = transform != (1.0, 0.0, 0.0, 0.0, 1.0, 0.0)
            sound = all(map(math.isfinite, transform)) and a * e - b * d != 0.0
            return RasterAbout(
                driver=str(header.driver),
                shape=(int(header.height), int(header.width)),
                bands=bands,
                transform=transform if placed and sound else None,
                area_or_point=tags.get("AREA_OR_POINT"),
                compression=None if header.compression is None else str(header.compression.value),
                crs_evidence=_crs_evidence(header, path),
                tags=tags,
            )
    finally:
        header.close()
