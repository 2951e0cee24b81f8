"""The only doors to file formats. They return stored numbers and CRS evidence, uninterpreted.

One file per format. `READERS` says which reader opens which file; a new format is one file here and one
row in that table.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from types import MappingProxyType
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import FormatError
from accuracy.findings import Finding

GeoKeyValue = int | float | str


@dataclass(frozen=True)
class CrsEvidence:
    """What one record literally says about the coordinate reference system, before interpretation.

    Attributes
    ----------
    source : str
        Kind of record: ``wkt-record``, ``wkt-extended-record``, ``geokeys``, ``raster-crs``,
        ``sidecar-prj``, ``sidecar-aux-xml``.
    where : str
        For people: ``VLR LASF_Projection 2112``.
    wkt : str or None
        The text, where the record is text.
    geokeys : mapping of int to int, float or str
        GeoKey id to value, where the record is a GeoKey directory (doubles and ASCII resolved).
    preferred : bool or None
        For a LAS 1.4 file, whether the header's global encoding bit names this kind of record.
    problem : str or None
        Why the record cannot be read, if so.
    """

    source: str
    where: str
    wkt: str | None = None
    geokeys: Mapping[int, GeoKeyValue] = field(default_factory=lambda: MappingProxyType({}))
    preferred: bool | None = None
    problem: str | None = None


@dataclass(frozen=True)
class SurfaceInfo:
    """What a file says of itself, from its header alone.

    Attributes
    ----------
    path : Path
        The file.
    kind : {"point-cloud", "raster"}
        What it holds.
    format : str
        For people: ``LAS 1.4, point format 6, LAZ``.
    size_bytes : int
        Size on disk.
    bounds : tuple of float
        (min x, min y, max x, max y) in stored units: the header's box of points, or the outline of the
        cells.
    crs_evidence : tuple of CrsEvidence
        Every declaration found, in the order found.
    findings : tuple of Finding
        What looks wrong in the file itself. ``dataset`` is None; the caller fills it in.
    points : int or None
        Number of points the header counts (clouds).
    cell_size : tuple of float or None
        Cell width and height in stored units (rasters).
    vertical_unit_text : str or None
        The unit a raster band names, as written.
    bounds_believed : bool
        False where something speaks against the box in the header; it then decides nothing.
    decimals : int
        Decimals of the stored heights (0.01 -> 2); rasters of floats: 3.
    """

    path: Path
    kind: Literal["point-cloud", "raster"]
    format: str
    size_bytes: int
    bounds: tuple[float, float, float, float]
    crs_evidence: tuple[CrsEvidence, ...] = ()
    findings: tuple[Finding, ...] = ()
    points: int | None = None
    cell_size: tuple[float, float] | None = None
    vertical_unit_text: str | None = None
    decimals: int = 3
    bounds_believed: bool = True


@dataclass(frozen=True)
class StoredGrid:
    """Scale and offset of stored integer coordinates, exact: coordinate = stored * scale + offset.

    Attributes
    ----------
    scale, offset : tuple of Fraction
        For x, y, z, in stored units. Made from the shortest decimal that gives the header's float.
    """

    scale: tuple[Fraction, Fraction, Fraction]
    offset: tuple[Fraction, Fraction, Fraction]


@dataclass(frozen=True)
class PointBatch:
    """Points of one file, coordinates as stored integers. All arrays have shape (n,).

    Attributes
    ----------
    grid : StoredGrid
        How stored integers become coordinates.
    x, y, z : ndarray of int64
        Stored integers.
    classification : ndarray of uint8
        Class; the 5-bit class of old point formats.
    withheld, synthetic, overlap : ndarray of bool
        Flags (overlap is the flag of point formats 6 to 10, False in older ones).
    point_source_id : ndarray of uint16
        Flight line.
    gps_time : ndarray of float64
        As stored; NaN where the point format has none.
    scan_angle_deg : ndarray of float32
        Degrees, positive to the right of flight as the format defines it.
    return_number : ndarray of uint8 or None
        Number of the return in its pulse; None where the reader does not give it.
    number_of_returns : ndarray of uint8 or None
        Returns of that pulse; None where the reader does not give it.
    intensity : ndarray of uint16 or None
        As stored; None unless it was asked for (`accuracy.formats.las.LasCloud.extras`).
    colour : ndarray of uint16, shape (n, 3), or None
        Red, green, blue as stored; likewise, and None where the point format has none.
    """

    grid: StoredGrid
    x: NDArray[np.int64]
    y: NDArray[np.int64]
    z: NDArray[np.int64]
    classification: NDArray[np.uint8]
    withheld: NDArray[np.bool_]
    synthetic: NDArray[np.bool_]
    overlap: NDArray[np.bool_]
    point_source_id: NDArray[np.uint16]
    gps_time: NDArray[np.float64]
    scan_angle_deg: NDArray[np.float32]
    return_number: NDArray[np.uint8] | None = None
    number_of_returns: NDArray[np.uint8] | None = None
    intensity: NDArray[np.uint16] | None = None
    colour: NDArray[np.uint16] | None = None


class PointSurface(Protocol):
    """A point cloud file, opened by its header."""

    info: SurfaceInfo

    def near(
        self, x: NDArray[np.float64], y: NDArray[np.float64], radius: float
    ) -> Iterator[PointBatch]:
        """Yield every point within `radius` (stored units, horizontally) of any place (x, y).

        Points a little farther away may come along. Reads the file in bounded memory and checks, while
        reading, that it holds what its header promises.
        """
        ...


@dataclass(frozen=True)
class CellPatch:
    """Cells of one raster around a place.

    Attributes
    ----------
    values : ndarray of float64, shape (rows, cols)
        Heights with band scale and offset applied; NaN where no data or outside the raster.
    row0, col0 : int
        Row and column of ``values[0, 0]`` in the raster.
    """

    values: NDArray[np.float64]
    row0: int
    col0: int


class RasterSurface(Protocol):
    """An elevation raster, opened by its header."""

    info: SurfaceInfo
    #: Affine coefficients (a, b, c, d, e, f): x = a*col + b*row + c, y = d*col + e*row + f, where integer
    #: (col, row) is the upper left corner of a cell, so that cell centres are at +0.5.
    transform: tuple[float, float, float, float, float, float]
    shape: tuple[int, int]  # rows, columns

    def patch(self, row0: int, col0: int, rows: int, cols: int) -> CellPatch:
        """Read a small window; cells outside the raster come back as NaN."""
        ...

    def overviews(self) -> tuple[int, ...]:
        """Give how many cells across stand behind one of each overview in the file, smallest first."""
        ...

    def coarse_cost(self, rows: int, cols: int, step: int) -> int:
        """Give how many cells must be decoded to read every `step`-th of a window."""
        ...

    def coarse(self, row0: int, col0: int, rows: int, cols: int, step: int) -> NDArray[np.float64]:
        """Read `rows` by `cols` cells, one out of `step` by `step`, for a picture; NaN without data."""
        ...

    def close(self) -> None:
        """Let go of the file."""
        ...


#: File name suffix -> module that opens such files. Anything else is tried as a raster.
READERS: Mapping[str, str] = MappingProxyType(
    {".las": "accuracy.formats.las", ".laz": "accuracy.formats.las"}
)


def open_cloud(path: Path, index_folder: Path | None = None) -> PointSurface:
    """Open a point cloud by its header.

    Parameters
    ----------
    index_folder : Path, optional
        Where indexes of chunks are kept and looked for; None keeps none.

    Raises
    ------
    FormatError
        The file is missing, not a point cloud, or cannot be read.
    """
    if READERS.get(path.suffix.lower()) != "accuracy.formats.las":
        raise FormatError(
            f"not a point cloud this tool reads (suffix {path.suffix or 'missing'})",
            where=str(path),
            remedy='hand in .las or .laz files, or set kind = "raster" for an elevation raster',
        )
    from accuracy.formats.las import open_las

    return open_las(path, index_folder)


def open_raster(path: Path, band: int | None = None) -> RasterSurface:
    """Open an elevation raster by its header.

    Raises
    ------
    FormatError
        The file is missing, not a raster, or cannot be read.
    """
    from accuracy.formats.raster import open_elevation_raster

    return open_elevation_raster(path, band)
