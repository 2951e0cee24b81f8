"""Sampling: the deliverable's height or position at a place, with its support."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

Shape = Literal["circle", "square"]

#: Why a surveyed point does not count. Key: stable reason; value: what it means.
NO_HEIGHT_REASONS: Mapping[str, str] = MappingProxyType(
    {
        "outside": "outside the deliverable",
        "gap": "inside, but the ground points around it are too far apart",
        "no-ground": "points are there, but none of the ground classes",
        "no-points": "no points near it",
        "few-points": "fewer ground points in its neighbourhood than wanted",
        "one-line": "the ground points of its neighbourhood lie on one line",
        "one-sided": "the ground points of its neighbourhood lie to one side of it",
        "no-data": "the raster has no data there",
        "edge": "nearer than half a cell to the edge of the raster",
        "not-measured": "the table of measured positions does not have it",
        "no-measured-height": "the table of measured positions gives no height for it",
        "frame": "not compared: the reference systems do not agree or are not known",
        "vertical-frame": "heights not compared: what they refer to does not agree",
        "no-target": "no target there whose position could be measured",
        "not-tested": "its kind (vertical or horizontal) is not what is compared here",
        "control": "used in processing, never judged",
        "excluded": "excluded by the job, with its reason",
    }
)


@dataclass(frozen=True)
class LineSupport:
    """What one flight line says at a place (heights in metres)."""

    id: int
    points: int
    height_m: float | None
    scan_angle_deg: float | None
    gps_time: float | None


@dataclass(frozen=True)
class Support:
    """What carries a measured value. Lengths in metres; None where it does not apply.

    Attributes
    ----------
    points : int
        Ground points (or cells) in the neighbourhood that slope and roughness were taken from.
    nearest_m : float or None
        Horizontal distance to the nearest accepted ground point.
    circumradius_m : float or None
        Circumradius of the triangle the height comes from.
    cell_m : float or None
        Larger side of a raster cell.
    slope_deg : float or None
        Slope of the plane fitted to the neighbourhood.
    roughness_m : float or None
        Root mean square distance of the neighbourhood from that plane (n - 3 degrees of freedom).
    ambiguity_m : float or None
        Spread of the heights of all valid triangulations; 0 where there is one only.
    coincident : int
        Places with several accepted points of different height near enough to count in the height.
    classes : mapping of int to int
        Class -> number of points near the place, all classes.
    lines : tuple of LineSupport
        The same height by flight line.
    slope_east, slope_north : float or None
        Rise of that plane per metre towards east and north.
    spread_m : float or None
        Standard deviation (n - 1) of the heights of a neighbourhood about their mean. Only where the height
        is that of a neighbourhood, as is `centroid_m`.
    centroid_m : float or None
        Horizontal distance from the place to the mean position of the points: where it is not 0, the mean
        of a sloping neighbourhood is off by up to that distance times the slope.
    """

    points: int
    nearest_m: float | None = None
    circumradius_m: float | None = None
    cell_m: float | None = None
    slope_deg: float | None = None
    roughness_m: float | None = None
    ambiguity_m: float | None = None
    coincident: int = 0
    classes: Mapping[int, int] = field(default_factory=lambda: MappingProxyType({}))
    lines: tuple[LineSupport, ...] = ()
    slope_east: float | None = None
    slope_north: float | None = None
    spread_m: float | None = field(default=None, metadata={"left_out_if_none": True})
    centroid_m: float | None = field(default=None, metadata={"left_out_if_none": True})


@dataclass(frozen=True)
class Sample:
    """The deliverable's height at one place.

    Attributes
    ----------
    height : float or None
        In the stored vertical unit; None with a `reason`.
    reason : str or None
        A key of `NO_HEIGHT_REASONS`.
    detail : str
        The numbers behind the reason, for people.
    support : Support or None
        What carries it.
    corners : tuple of (u, v, height)
        Of the triangle it was taken from, relative to the place in the exact units of the search; for pictures.
    seen : object or None
        `accuracy.sampling.seen.Seen`, where pictures are wanted.
    """

    height: float | None
    reason: str | None = None
    detail: str = ""
    support: Support | None = None
    corners: tuple[tuple[float, float, float], ...] = field(default=(), repr=False, compare=False)
    seen: object = field(default=None, repr=False, compare=False)


@dataclass(frozen=True)
class Patch:
    """The neighbourhood of a place.

    Attributes
    ----------
    shape : {"circle", "square"}
        A square lies along the axes of the deliverable's plane.
    across_m : float
        Diameter of the circle or side of the square, metres.
    least_points : int
        Fewest ground points in it that give a height.
    """

    shape: Shape
    across_m: float
    least_points: int

    def __str__(self) -> str:
        return f"the {self.shape} of {self.across_m:.4g} m"
