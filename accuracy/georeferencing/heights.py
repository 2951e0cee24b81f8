"""The geoid's height above the ellipsoid from one named grid file: h = H + N.

Two readers must agree: PROJ's vertical grid shift with the explicit path of the file, and the four nodes
around the place read as a raster. PROJ alone averages what is left beside a node without data, and gives a
broken file's points as infinite.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import FormatError, ReferenceSystemError
from accuracy.formats import RasterSurface, open_raster

Array = NDArray[np.float64]

#: Both readers agree to this; nodes are stored to 0.1 mm at best (from the grids read).
AGREEMENT_M = 0.0002


@dataclass(frozen=True)
class Undulations:
    """N at some places.

    Attributes
    ----------
    n_m : ndarray, shape (n,)
        Height of the geoid above the ellipsoid; NaN where there is none.
    outside, no_data : ndarray of bool, shape (n,)
        Why there is none.
    """

    n_m: Array
    outside: NDArray[np.bool_]
    no_data: NDArray[np.bool_]

    @property
    def complete(self) -> bool:
        """Whether every place has a value."""
        return bool(np.isfinite(self.n_m).all())


def undulations(path: Path, lon_deg: Array, lat_deg: Array) -> Undulations:
    """Read N at places, bilinear between nodes.

    Parameters
    ----------
    path : Path
        GeoTIFF or GTX file.
    lon_deg, lat_deg : ndarray, shape (n,)
        In the frame of the grid; a metre of difference changes N by far less than a millimetre.

    Raises
    ------
    ReferenceSystemError
        The file cannot be read, or the two readers do not agree.
    """
    remedy = "fetch the file again, or name another under geoid_files in [grids]"
    if "," in str(path) or '"' in str(path):
        raise ReferenceSystemError(
            "a grid's path must hold no comma and no quotation mark",
            where=str(path),
            remedy="move the grid to another folder, and state it as folder in [grids]",
        )
    try:
        surface = open_raster(path)
        try:
            by_nodes = _by_nodes(surface, lon_deg, lat_deg)
        finally:
            surface.close()
    except FormatError as error:
        raise ReferenceSystemError(
            f"the geoid grid cannot be read: {error.message}", where=str(path), remedy=remedy
        ) from error
    by_proj = _by_proj(path, lon_deg, lat_deg)
    there = np.isfinite(by_nodes.n_m)
    if not np.all(np.abs(by_proj[there] - by_nodes.n_m[there]) <= AGREEMENT_M):
        raise ReferenceSystemError(
            "the geoid grid is damaged or of a form this tool does not know: two ways of reading it do not "
            "agree",
            where=str(path),
            remedy=remedy,
        )
    return Undulations(np.where(there, by_proj, np.nan), by_nodes.outside, by_nodes.no_data)


def _by_proj(path: Path, lon_deg: Array, lat_deg: Array) -> Array:
    from pyproj import Transformer
    from pyproj.exceptions import ProjError

    # No "@" before the name, which would make the grid optional.
    text = (
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad "
        f'+step +proj=vgridshift +grids="{path.as_posix()}" +multiplier=1 '
        "+step +proj=unitconvert +xy_in=rad +xy_out=deg"
    )
    try:
        shift = Transformer.from_pipeline(text)
    except ProjError as error:
        raise ReferenceSystemError(
            "PROJ cannot read the geoid grid",
            where=str(path),
            remedy="hand in a GeoTIFF or GTX grid that is whole",
        ) from error
    z = shift.transform(lon_deg, lat_deg, np.zeros_like(lon_deg))[2]
    return np.asarray(z, dtype=np.float64)


def _by_nodes(surface: RasterSurface, lon_deg: Array, lat_deg: Array) -> Undulations:
    a, b, c, d, e, f = surface.transform
    rows, columns = surface.shape
    if b or d or not a or not e:
        raise FormatError("rotated or without a place", where="")
    round_the_world = math.isclose(abs(a) * columns, 360.0, abs_tol=abs(a) / 2)
    n_m = np.full(lon_deg.shape, np.nan)
    outside = np.zeros(lon_deg.shape, dtype=np.bool_)
    no_data = np.zeros(lon_deg.shape, dtype=np.bool_)
    last = columns if round_the_world else columns - 1
    for i, (lon, lat) in enumerate(zip(lon_deg, lat_deg, strict=True)):
        row = (lat - f) / e - 0.5
        possible = [(lon + turn - c) / a - 0.5 for turn in (0.0, 360.0, -360.0)]
        column = next((col for col in possible if -1e-9 <= col <= last + 1e-9), math.nan)
        if not (math.isfinite(column) and -1e-9 <= row <= rows - 1 + 1e-9):
            outside[i] = True
            continue
        value = _bilinear(surface, column, min(max(row, 0.0), rows - 1.0), round_the_world)
        no_data[i] = not math.isfinite(value)
        n_m[i] = value
    return Undulations(n_m, outside, no_data)


def _bilinear(surface: RasterSurface, column: float, row: float, round_the_world: bool) -> float:
    rows, columns = surface.shape
    column = max(column, 0.0)
    row0, column0 = min(int(row), rows - 1), int(column)
    down, right = row - row0, column - column0
    total = 0.0
    for r, by_row in ((row0, 1.0 - down), (row0 + 1, down)):
        for k, by_column in ((column0, 1.0 - right), (column0 + 1, right)):
            weight = by_row * by_column
            if weight > 1e-9:
                k = k % columns if round_the_world else min(k, columns - 1)
                total += weight * float(surface.patch(r, k, 1, 1).values[0, 0])
    return total
