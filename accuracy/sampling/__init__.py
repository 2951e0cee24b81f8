"""Sampling: the deliverable's height or position at a place, with its support."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

#: Why a surveyed point does not count. Key: stable reason; value: what it means.
NO_HEIGHT_REASONS: Mapping[str, str] = MappingProxyType(
    {
        "outside": "outside the deliverable",
        "gap": "inside, but the ground points around it are too far apart",
        "no-ground": "points are there, but none of the ground classes",
        "no-points": "no points near it",
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
    """

    height: float | None
    reason: str | None = None
    detail: str = ""
    support: Support | None = None
