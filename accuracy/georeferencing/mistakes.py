"""The record of a usual mistake, and the point on each side that it is computed for."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from accuracy.georeferencing.geodetic import Points
from accuracy.georeferencing.record import Reference
from accuracy.georeferencing.walkthrough import position

Kind = Literal["foot", "geoid", "height-kind", "frame", "epoch", "axes", "zone", "ground-distance"]


@dataclass(frozen=True)
class Mistake:
    """One usual mistake and its size at the place.

    Attributes
    ----------
    kind : str
        Which mistake.
    what : str
        In words, with the side that it is about.
    east_m, north_m, up_m : float or None
        Mistaken minus right. None: not known, or not of this kind.
    scale_ppm : float or None
        Where the mistake is a scale: length in the plane over length on the ground, minus 1.
    how : str
        How it was computed.
    why_not : str
        Why there is no number; empty where there is one.
    """

    kind: Kind
    what: str
    east_m: float | None = None
    north_m: float | None = None
    up_m: float | None = None
    scale_ppm: float | None = None
    how: str = ""
    why_not: str = ""

    @property
    def size_m(self) -> float | None:
        """Length of the vector."""
        if self.east_m is None or self.north_m is None or self.up_m is None:
            return None
        return math.hypot(self.east_m, self.north_m, self.up_m)

    @property
    def mm_per_100_m(self) -> float | None:
        """What the scale does to a distance of 100 m."""
        return None if self.scale_ppm is None else self.scale_ppm / 10.0


@dataclass(frozen=True)
class SidePoint:
    """Stored coordinates of the point on one side."""

    who: str
    reference: Reference
    x: float
    y: float
    z: float

    @property
    def points(self) -> Points | None:
        """Where it is on its own datum; None where that is not known.

        A height that is not known is taken as 0 m: 1000 m more change no vector by 0.2 mm.
        """
        points = position(self.reference, self.x, self.y, self.z)
        if points is None:
            return None
        return Points(points.lon_deg, points.lat_deg, np.nan_to_num(points.h_m, nan=0.0))
