"""What a fault is, and what its vector is computed from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from accuracy.simulation.sites import Site

Array = NDArray[np.float64]

#: What a fault's size is counted in. ``times``: multiples of what the site, its base or its frames give.
Unit = Literal["m", "deg", "s", "ratio", "ppm", "yr", "times", "cells"]
#: What a fault is fixed to: the map, the aircraft (its vector turns with the heading), the survey, the
#: elevation raster, the camera, or the time tags of the points.
Family = Literal["map", "body", "survey", "raster", "camera", "time"]
#: What a vector is asked for.
Dataset = Literal["cloud", "raster", "colour"]


@dataclass(frozen=True, eq=False, kw_only=True)
class Where:
    """Places as flight lines see them: arrays of shape (n,), or numbers that stand for all.

    Attributes
    ----------
    site : Site
    east_m, north_m, up_m : ndarray
        The place, in the site's systems.
    heading_deg, track_deg : ndarray
        Heading of the aircraft and direction of its way over the ground, clockwise from grid north. Not
        needed by faults of family map, survey, raster, camera.
    across_m : ndarray
        Distance right of the sensor, x: negative on the left.
    height_m : ndarray
        The sensor's height above the place, H.
    speed_m_s, climb_m_s : ndarray
        Speed over ground, and upwards.
    session : ndarray of int
        Survey session of the checkpoint: 1 or 2.
    blunder : ndarray of bool
        Whether the checkpoint is the one with the single mistake.
    cell_m : float
        Cell of the elevation raster.
    """

    site: Site
    east_m: Array
    north_m: Array
    up_m: Array
    heading_deg: Array | float = 0.0
    track_deg: Array | float = 0.0
    across_m: Array | float = 0.0
    height_m: Array | float = 50.0
    speed_m_s: Array | float = 5.0
    climb_m_s: Array | float = 0.0
    session: NDArray[np.int64] | int = 1
    blunder: NDArray[np.bool_] | bool = False
    cell_m: float = 0.5

    def vector(self, east_m: Array | float, north_m: Array | float, up_m: Array | float) -> Array:
        """Lay three components out as an array of shape (n, 3)."""
        zero = np.zeros_like(np.asarray(self.east_m, dtype=np.float64))
        return np.stack([zero + east_m, zero + north_m, zero + up_m], axis=-1)

    def body(self, along_m: Array | float, right_m: Array | float, up_m: Array | float) -> Array:
        """Turn components along and right of the heading into east and north."""
        return self._turned(self.heading_deg, along_m, right_m, up_m)

    def on_track(self, along_m: Array | float, up_m: Array | float) -> Array:
        """Turn a component along the way over the ground into east and north."""
        return self._turned(self.track_deg, along_m, 0.0, up_m)

    def _turned(
        self,
        azimuth_deg: Array | float,
        along_m: Array | float,
        right_m: Array | float,
        up_m: Array | float,
    ) -> Array:
        sin, cos = np.sin(np.radians(azimuth_deg)), np.cos(np.radians(azimuth_deg))
        return self.vector(along_m * sin + right_m * cos, along_m * cos - right_m * sin, up_m)


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One cause that can be put in.

    Attributes
    ----------
    name : str
        On the command line.
    family : Family
    unit : Unit
        What sizes given as numbers are in.
    example : str
        A typical size, as typed.
    largest : float
        Sizes beyond plus or minus this are refused as slips.
    what, sign, vector, seen, alike : str
        What it is and how it happens; what a positive size means; the residual vector, deliverable minus
        checkpoint, in words; what a student should see; what it looks like, and how to tell.
    reaches : frozenset of Dataset
        Which deliverables it moves. Faults of the survey move the residuals of all.
    vector_m : callable
        Closed form: of size and `Where` the vector of residuals, deliverable minus checkpoint, east, north,
        up in metres, shape (n, 3), to first order in the size. Vectors of several faults add.
    whole : bool
        Only whole multiples make sense.
    """

    name: str
    family: Family
    unit: Unit
    example: str
    largest: float
    what: str
    sign: str
    vector: str
    seen: str
    alike: str
    vector_m: Callable[[float, Where], Array]
    reaches: frozenset[Dataset] = frozenset({"cloud", "raster", "colour"})
    whole: bool = False
