"""The record of an inspection: what one file says of itself, and what looks wrong with it."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import Enum
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal

from accuracy.findings import Finding, Severity
from accuracy.formats import CrsEvidence
from accuracy.formats.las_about import LasAbout
from accuracy.formats.raster_about import RasterAbout
from accuracy.georeferencing.reference import Reference

Box = tuple[float, float, float, float]
Kind = Literal["point-cloud", "raster", "table"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CrsSource:
    """One declaration of the reference system, read alone.

    Attributes
    ----------
    evidence : CrsEvidence
        What the record literally says.
    reference : Reference or None
        What it means by itself; None where it cannot be read.
    problem : str or None
        Why it cannot be read, or what of it cannot.
    """

    evidence: CrsEvidence
    reference: Reference | None
    problem: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Concern:
    """What looks wrong, and what it would do to a comparison with checkpoints."""

    finding: Finding
    consequence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Density:
    """How many points lie on a unit of area, over the area actually covered.

    Attributes
    ----------
    per_square_unit : float
        Points per square stored unit, mean of `cells`.
    per_m2 : float or None
        The same in metres; None where the unit of the coordinates is unknown.
    overall_per_m2 : float or None
        Mean over all cells with points; too small by what cells at the edge are covered in part.
    covered_m2 : float or None
        Area of all cells with points.
    cell_m : float or None
        Side of a cell (geometric mean of both).
    cells : int
        Cells the density was taken from.
    inner : bool
        Whether these are cells with points in all eight neighbours; else all cells with points.
    """

    per_square_unit: float
    per_m2: float | None
    overall_per_m2: float | None
    covered_m2: float | None
    cell_m: float | None
    cells: int
    inner: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PointCounts:
    """What reading every point of a cloud gave. Coordinates in stored units.

    Attributes
    ----------
    minimum, maximum : tuple of float or None
        x, y, z; None without points.
    by_return, classes, lines : mapping of int to int
        Return number, class, point source id -> points.
    time_minimum, time_maximum : float or None
        Of finite GPS times, as stored.
    time_missing, time_zero : int
        Points whose GPS time is not a number, or zero.
    density : Density or None
        None where there are too few points, or coordinates are degrees.
    stray : int
        Points far from the bulk of all others, horizontally (noise and withheld points aside).
    stray_vertical : int
        Likewise in height.
    ground_z : tuple of float or None
        5th, 50th and 95th percentile of the heights of class 2, to about a stored cell.
    """

    points: int
    minimum: tuple[float, float, float] | None
    maximum: tuple[float, float, float] | None
    by_return: Mapping[int, int]
    classes: Mapping[int, int]
    lines: Mapping[int, int]
    withheld: int
    synthetic: int
    overlap: int
    time_minimum: float | None
    time_maximum: float | None
    time_missing: int
    time_zero: int
    density: Density | None
    stray: int
    stray_vertical: int
    ground_z: tuple[float, float, float] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CloudFacts:
    """A point cloud. `counts` is None where the points were not read; `not_counted` says why."""

    about: LasAbout
    points: int
    counts: PointCounts | None
    not_counted: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BandCells:
    """Cells of one band, no data left out; heights with band scale and offset applied."""

    band: int
    cells: int
    valid: int
    minimum: float | None
    maximum: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RasterFacts:
    """A raster. `counted` is empty where the cells were not read; `not_counted` says why.

    Attributes
    ----------
    cell_size : tuple of float or None
        Width and height of a cell in stored units.
    rotation_deg : float or None
        Of the rows against east, counter-clockwise; 0 where rows run east.
    """

    about: RasterAbout
    cell_size: tuple[float, float] | None
    rotation_deg: float | None
    counted: tuple[BandCells, ...]
    not_counted: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderReading:
    """How a table without a header would read in one order of columns.

    Attributes
    ----------
    order : str
        Letters as in a job file: ``PNEZD``.
    easting, northing, height : tuple of float
        Least and greatest value.
    first : tuple of tuple of str
        The first five points: id, easting, northing, height, description.
    likeness : str
        What speaks for or against it, for people.
    possible : bool
        False where the values cannot be what this order calls them.
    """

    order: str
    easting: tuple[float, float]
    northing: tuple[float, float]
    height: tuple[float, float]
    first: tuple[tuple[str, ...], ...]
    likeness: str
    possible: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TableFacts:
    """A table of points.

    Attributes
    ----------
    delimiter, encoding : str
        As found.
    header : bool or None
        Whether the first row names the columns.
    columns : tuple of (str, str)
        Each column as written (``column 3`` without a header) and what it is read as; empty if not used.
    rows : int
        Rows that are neither blank, comment nor header.
    points : int or None
        Points understood; None where the table is not understood.
    has_heights : bool
        False for positions without heights.
    first : tuple of tuple of str
        The first five points as understood: id, easting, northing, height, cover, description; of a table
        that is not understood, its cells.
    orders : tuple of OrderReading
        Without a header: the readings that its numbers allow, or all the usual ones.
    covers : mapping of str to int
        Cover group -> points, those whose cover was assumed under ``assumed non-vegetated``.
    duplicates : int
        Points that stand where another stands.
    places : tuple of tuple of float
        Easting and northing of all points understood.
    """

    delimiter: str
    encoding: str
    header: bool | None
    columns: tuple[tuple[str, str], ...]
    rows: int
    points: int | None
    has_heights: bool
    first: tuple[tuple[str, ...], ...]
    orders: tuple[OrderReading, ...]
    height_range: tuple[float, float] | None
    covers: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    duplicates: int = 0
    places: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Inspection:
    """What one file says of itself.

    Attributes
    ----------
    format : str
        For people.
    bounds : tuple of float or None
        (min x, min y, max x, max y) in stored units: of points read, else of the header.
    sources : tuple of CrsSource
        Every declaration of the reference system, each read alone.
    reference : Reference
        All declarations together; of a table: the units its columns state.
    cloud, raster, table
        Facts by kind; the other two are None.
    concerns : tuple of Concern
        What looks wrong, the heaviest first.
    problem : str or None
        Why points or cells could not be read although the header could.
    """

    path: Path
    kind: Kind
    format: str
    size_bytes: int
    bounds: Box | None
    sources: tuple[CrsSource, ...]
    reference: Reference
    cloud: CloudFacts | None = None
    raster: RasterFacts | None = None
    table: TableFacts | None = None
    concerns: tuple[Concern, ...] = ()
    problem: str | None = None

    @property
    def blocked(self) -> bool:
        """Whether something found would keep the file, or a part of it, from being compared."""
        return any(c.finding.severity is Severity.BLOCKING for c in self.concerns)


def as_data(value: Any) -> Any:
    """Turn a record into what JSON can hold: keys as named, numbers finite or null."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            f.name: as_data(getattr(value, f.name))
            for f in dataclasses.fields(value)
            if f.name not in ("tags", "places", "findings")
        }
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): as_data(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [as_data(item) for item in value]
    if isinstance(value, Path):
        return value.as_posix()
    if isinstance(value, (date, datetime)):
        return value.isoformat()
    return value
