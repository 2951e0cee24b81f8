"""Where the ground is flat: slope and deviation from a plane around places, from an elevation raster."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from accuracy.errors import FormatError
from accuracy.formats import RasterSurface
from accuracy.sampling.neighbourhood import fit_plane
from accuracy.units import LengthUnit

#: ASPRS Edition 2, section 7.12 (second-hand): 3 m from breaks.
AROUND_M = 3.0

#: At most so many cells across a neighbourhood are looked at.
_MOST_ACROSS = 13


@dataclass(frozen=True)
class Ground:
    """The ground around a place; metres and degrees."""

    height_m: float
    slope_deg: float
    deviation_m: float


class GroundMap:
    """Elevation rasters of one dataset, asked for the ground around places in metres of their plane.

    Parameters
    ----------
    horizontal, vertical : LengthUnit
        Of the stored coordinates.
    """

    def __init__(
        self, rasters: Sequence[RasterSurface], horizontal: LengthUnit, vertical: LengthUnit
    ) -> None:
        self._rasters = rasters
        self._h, self._v = float(horizontal.metres), float(vertical.metres)

    def at(self, east_m: float, north_m: float) -> Ground | None:
        """Describe the ground within `AROUND_M`; None where the raster has gaps there, or cannot be read."""
        for raster in self._rasters:
            a, b, c, d, e, f = raster.transform
            if b or d:
                continue
            column = (east_m / self._h - c) / a
            row = (north_m / self._h - f) / e
            if not (0 <= row < raster.shape[0] and 0 <= column < raster.shape[1]):
                continue
            cells = [max(1, math.ceil(AROUND_M / (abs(side) * self._h))) for side in (e, a)]
            row0, col0 = int(row) - cells[0], int(column) - cells[1]
            try:
                patch = raster.patch(row0, col0, 2 * cells[0] + 1, 2 * cells[1] + 1)
            except FormatError:
                return None
            if np.isnan(patch.values).any():
                return None
            return self._described(patch.values, abs(a) * self._h, abs(e) * self._h)
        return None

    def _described(
        self,
        values: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
        wide_m: float,
        high_m: float,
    ) -> Ground | None:
        steps = [max(1, size // _MOST_ACROSS) for size in values.shape]
        rows, columns = (np.arange(0, n, s) for n, s in zip(values.shape, steps, strict=True))
        up_m = values[np.ix_(rows, columns)].ravel() * self._v
        east, north = np.meshgrid(columns * wide_m, -rows * high_m)
        east_m, north_m = east.ravel() - east.mean(), north.ravel() - north.mean()
        plane = fit_plane(east_m, north_m, up_m)
        if plane is None:
            return None
        off = up_m - (plane.at_origin_m + plane.east * east_m + plane.north * north_m)
        middle = values[values.shape[0] // 2, values.shape[1] // 2] * self._v
        return Ground(float(middle), plane.slope_deg, float(abs(off).max()))

    def close(self) -> None:
        """Let go of the files."""
        for raster in self._rasters:
            raster.close()
