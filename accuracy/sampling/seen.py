"""What was seen around a place when its height was taken: for pictures, never for figures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from accuracy.formats import RasterSurface
from accuracy.sampling import Sample
from accuracy.sampling.neighbourhood import Cloud, Surroundings, heights

Floats = NDArray[np.float64]
Corner = tuple[float, float, float]

#: How far a picture reaches: so many mean spacings of the ground points, at least and at most so many metres.
REACH_SPACINGS, LEAST_REACH_M, MOST_REACH_M = 10.0, 1.0, 25.0

#: Cells of a raster to each side of a place.
CELLS = 10

#: Most points that are kept of one place, those nearest to it.
MOST_POINTS = 1000


@dataclass(frozen=True, eq=False)
class Seen:
    """Points or cells around a place, relative to it; metres, arrays of shape (n,).

    Attributes
    ----------
    kind : {"points", "cells"}
        Returns of a cloud, or centres of the cells of a raster.
    east_m, north_m, up_m : ndarray of float64
        From the place, and above `zero_m`.
    zero_m : float
        Height of the deliverable that counts as zero.
    classification : ndarray of uint8
        Class of each point; 0 for cells.
    accepted : ndarray of bool
        Whether the height may rest on it.
    used_m : tuple of (east, north, up)
        Corners of the triangle, or the cells, that the height was interpolated between.
    reach_m, width_m : float
        How far the picture reaches, and half the width of a profile.
    step_m : float
        Mean spacing of the accepted points, or size of a cell.
    left_out : int
        Points within reach that were not kept.
    """

    kind: Literal["points", "cells"]
    east_m: Floats
    north_m: Floats
    up_m: Floats
    zero_m: float
    classification: NDArray[np.uint8]
    accepted: NDArray[np.bool_]
    used_m: tuple[Corner, ...]
    reach_m: float
    width_m: float
    step_m: float
    left_out: int = 0


class Asked(Protocol):
    """How heights are taken, as far as pictures go; see `accuracy.sampling.tin.CloudSetting`."""

    @property
    def pictures(self) -> bool:
        """Whether pictures are wanted."""
        ...

    @property
    def metres_h(self) -> float:
        """Metres per stored horizontal unit."""
        ...

    @property
    def metres_v(self) -> float:
        """Metres per stored vertical unit."""
        ...


def seeing(
    asked: Asked,
    sample: Sample,
    cloud: Cloud,
    near: Surroundings,
    accepted: NDArray[np.bool_],
    radius: float,
) -> Sample:
    """Add what lies around a place to its sample, where pictures are wanted; see `seen_points`."""
    if not asked.pictures:
        return sample
    units = asked.metres_h, asked.metres_v
    seen = seen_points(cloud, near, accepted, sample.height, sample.corners, radius, *units)
    return replace(sample, seen=seen)


def seen_points(
    cloud: Cloud,
    near: Surroundings,
    accepted: NDArray[np.bool_],
    height: float | None,
    corners: Sequence[tuple[float, float, float]],
    radius: float,
    metres_h: float,
    metres_v: float,
) -> Seen | None:
    """Keep what lies around one place of a cloud; None where nothing does.

    Parameters
    ----------
    height : float or None
        The height taken, stored units.
    corners : sequence of (u, v, height)
        Of the triangle, in units of `near` and stored heights.
    radius : float
        Of the surroundings, stored units.
    metres_h, metres_v : float
        Metres per stored unit.
    """
    if not near.index.size:
        return None
    unit_m, radius_m = float(near.unit) * metres_h, radius * metres_h
    count = int(accepted.sum()) or accepted.size
    step_m = math.sqrt(math.pi * radius_m**2 / count)
    reach_m = min(radius_m, max(LEAST_REACH_M, REACH_SPACINGS * step_m), MOST_REACH_M)
    distance = near.distance() * metres_h
    inside = np.flatnonzero(distance <= reach_m)
    if not inside.size:
        inside = np.argsort(distance, kind="stable")[:1]
    kept = inside[np.argsort(distance[inside], kind="stable")[:MOST_POINTS]]
    up_m = heights(cloud, near.index[kept]) * metres_v
    if height is not None:
        zero_m = height * metres_v
    else:
        basis = up_m[accepted[kept]] if accepted[kept].any() else up_m
        zero_m = float(np.median(basis))
    return Seen(
        kind="points",
        east_m=near.u[kept].astype(np.float64) * unit_m,
        north_m=near.v[kept].astype(np.float64) * unit_m,
        up_m=up_m - zero_m,
        zero_m=zero_m,
        classification=cloud.classification[near.index[kept]],
        accepted=accepted[kept],
        used_m=tuple((u * unit_m, v * unit_m, up * metres_v - zero_m) for u, v, up in corners),
        reach_m=reach_m,
        width_m=min(reach_m, max(step_m, 0.02)),
        step_m=step_m,
        left_out=int(inside.size - kept.size),
    )


def seen_cells(
    rasters: Sequence[RasterSurface],
    x: float,
    y: float,
    height: float | None,
    metres_h: float,
    metres_v: float,
) -> Seen | None:
    """Keep the cells around one place, of the first raster that has data there; None where none has.

    Parameters
    ----------
    x, y : float
        Stored units.
    height : float or None
        The height taken, stored units.
    """
    for raster in rasters:
        a, b, c, d, e, f = raster.transform
        area = a * e - b * d
        dx, dy = x - c, y - f
        col, row = (e * dx - b * dy) / area, (a * dy - d * dx) / area
        rows, cols = raster.shape
        if not (0 <= row < rows and 0 <= col < cols):
            continue
        top, left, side = int(row) - CELLS, int(col) - CELLS, 2 * CELLS + 1
        patch = raster.patch(top, left, side, side)
        values = np.where(np.abs(patch.values) > 1e6, np.nan, patch.values)
        if np.isnan(values).all():
            continue
        j, i = np.meshgrid(np.arange(side) + left + 0.5 - col, np.arange(side) + top + 0.5 - row)
        has = ~np.isnan(values)
        if height is None:
            height = float(np.median(values[has]))
        zero_m = height * metres_v
        east, north = (a * j + b * i) * metres_h, (d * j + e * i) * metres_h
        up = values * metres_v - zero_m
        corner = (np.abs(i) < 1.0) & (np.abs(j) < 1.0) & has
        step_m = math.sqrt(abs(area)) * metres_h
        return Seen(
            kind="cells",
            east_m=east[has],
            north_m=north[has],
            up_m=up[has],
            zero_m=zero_m,
            classification=np.zeros(int(has.sum()), np.uint8),
            accepted=np.ones(int(has.sum()), np.bool_),
            used_m=tuple(zip(east[corner], north[corner], up[corner], strict=True)),
            reach_m=CELLS * step_m,
            width_m=0.5 * step_m,
            step_m=step_m,
        )
    return None


def seen_of(sample: Sample) -> Seen | None:
    """Give what a sample carries for a picture."""
    return sample.seen if isinstance(sample.seen, Seen) else None
