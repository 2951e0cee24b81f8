"""The record of a trajectory's check, for the result and for people. Times are GPS seconds since 1980-01-06."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib import resources
from types import MappingProxyType
from typing import Any, Literal

from accuracy.findings import Finding

Against = Literal["cloud", "base", "date"]


@dataclass(frozen=True)
class Span:
    """A span of time.

    Attributes
    ----------
    name : str
        Of what it is: a file or a dataset.
    start_s, end_s : float
        GPS seconds since 1980-01-06.
    """

    name: str
    start_s: float
    end_s: float

    @property
    def duration_s(self) -> float:
        """Its length in seconds."""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Range:
    """Least, median and greatest of some values; the unit stands in the name of the field that holds it."""

    least: float
    median: float
    greatest: float


@dataclass(frozen=True)
class Gap:
    """A gap between two rows of the trajectory.

    Attributes
    ----------
    start_s, end_s : float
        The rows beside it.
    line : int
        Line of the file after the gap.
    cloud_points : int or None
        Points of the cloud, among those looked at, whose times fall into it; None where unknown.
    """

    start_s: float
    end_s: float
    line: int
    cloud_points: int | None = None

    @property
    def duration_s(self) -> float:
        """Its length in seconds."""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Overlap:
    """How another span of time lies to that of the trajectory.

    Attributes
    ----------
    against : {"cloud", "base"}
        Cloud: the trajectory should cover it. Base: it should cover the trajectory.
    name : str
        File or dataset.
    start_s, end_s : float
        The other span.
    source : str
        What that span was taken from.
    covered : float
        Share of what should be covered that is, 0 to 1.
    before_s, after_s : float
        By how much the covering span reaches beyond at both ends; negative where it falls short.
    """

    against: Against
    name: str
    start_s: float
    end_s: float
    source: str
    covered: float
    before_s: float
    after_s: float


@dataclass(frozen=True)
class LineEffect:
    """What a time offset does to one flight line: the cloud is displaced by so much, in metres."""

    line: int
    east_m: float
    north_m: float


@dataclass(frozen=True)
class TimeCheck:
    """Whether the times of the trajectory fit those of cloud or base.

    Attributes
    ----------
    against : {"cloud", "base", "date"}
        What they were held against; ``date``: that of the flight, as the job states.
    how : {"positions", "spans"}
        From where the cloud's points lie, or from first and last times alone.
    fits : bool or None
        As declared; None where nothing could be compared.
    found_offset_s : float or None
        To be added to the trajectory's times so that they fit, as found from positions; None: not found.
    floor_s : float or None
        Offsets shorter than this are not told from a scanner that looks ahead or behind.
    consistent_with : tuple of str
        Mistakes that explain it, the likeliest first; one alone names the cause.
    offset_s : float or None
        What the likeliest mistake amounts to, to be added to the trajectory's times.
    along_m : float or None
        Displacement along the track, positive forward, of a cloud made with these times.
    effects : tuple of LineEffect
        The same by flight line, as east and north.
    """

    against: Against
    how: Literal["positions", "spans"]
    fits: bool | None
    found_offset_s: float | None = None
    floor_s: float | None = None
    consistent_with: tuple[str, ...] = ()
    offset_s: float | None = None
    along_m: float | None = None
    effects: tuple[LineEffect, ...] = ()


@dataclass(frozen=True)
class Unfixed:
    """A stretch of rows without fixed ambiguities."""

    start_s: float
    end_s: float
    rows: int
    lines: tuple[int, ...] = ()


@dataclass(frozen=True)
class Separation:
    """Differences of forward and reverse solution in one component, metres, absolute."""

    rms_m: float
    greatest_m: float
    limit_m: float
    limit_stated: bool
    share_above: float


@dataclass(frozen=True)
class Quality:
    """What the processing says of its positions.

    Attributes
    ----------
    fixed_share, fixed_share_on_lines : float or None
        Share of rows with fixed ambiguities, of all and of those on flight lines; None where unknown.
    fix_counts : mapping of str to int
        Values of the quality column.
    unfixed : tuple of Unfixed
        Longest stretches first, at most 20.
    unfixed_stretches : int
        How many there are.
    separation_horizontal, separation_vertical : Separation or None
        Forward against reverse.
    satellites, pdop, sigma_horizontal_m, sigma_vertical_m : Range or None
        As stated.
    """

    fixed_share: float | None = None
    fixed_share_on_lines: float | None = None
    fix_counts: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    unfixed: tuple[Unfixed, ...] = ()
    unfixed_stretches: int = 0
    separation_horizontal: Separation | None = None
    separation_vertical: Separation | None = None
    satellites: Range | None = None
    pdop: Range | None = None
    sigma_horizontal_m: Range | None = None
    sigma_vertical_m: Range | None = None


@dataclass(frozen=True)
class FlightLine:
    """A straight run.

    Attributes
    ----------
    number : int
        From 1, in order of time.
    start_s, end_s : float
        GPS seconds.
    heading_deg : float
        Direction of flight, clockwise from grid north, 0 to 360.
    length_m, speed_m_s : float
        Over ground; heading and speed are medians, so that the ends of a run, in the turns, do not count.
    height_above_ground_m : float or None
        Mean at the places where the ground is known.
    """

    number: int
    start_s: float
    end_s: float
    heading_deg: float
    length_m: float
    speed_m_s: float
    height_above_ground_m: float | None = None


@dataclass(frozen=True)
class HeightAboveGround:
    """Height of the trajectory above the ground points of the cloud, metres.

    Attributes
    ----------
    places, without_ground : int
        Places along the track with a ground height, and without.
    above_ground_m, ground_m, flown_m : Range
        Above the ground; the ground itself; the trajectory at the same places.
    planned_m, tolerance_m : float or None
        As the job states.
    share_outside : float or None
        Share of the places where the height flown is outside the tolerance.
    follows_terrain : bool or None
        Whether the height above ground varies by less than half of what the ground does (5th to 95th
        percentile); None where the ground varies by less than 5 m.
    """

    places: int
    without_ground: int
    above_ground_m: Range
    ground_m: Range
    flown_m: Range
    planned_m: float | None = None
    tolerance_m: float | None = None
    share_outside: float | None = None
    follows_terrain: bool | None = None


@dataclass(frozen=True)
class Attitude:
    """Angles on flight lines, or everywhere where there are none; degrees.

    `heading_minus_course_deg` is the median difference of heading and direction of flight, -180 to 180.
    """

    roll_deg: Range | None = None
    pitch_deg: Range | None = None
    jumps: int = 0
    heading_minus_course_deg: float | None = None


@dataclass(frozen=True)
class TrajectoryCheck:
    """Everything that was found about a trajectory.

    Attributes
    ----------
    file : str
        As the job names it.
    rows : int
        Rows used: in order of time, one per epoch.
    time_system : str
        As declared.
    week : int or None
        GPS week of seconds of the week.
    start_s, end_s : float
        First and last time.
    start_utc, end_utc : str or None
        The same in UTC, ISO 8601; None where no calendar reaches.
    interval_s, longest_interval_s : float
        Median and longest time between rows.
    frame : str
        Of the positions below: that of the cloud, the trajectory's own, or ``unknown``.
    in_frame_of_cloud : bool
        Whether positions could be held against the cloud.
    gaps : tuple of Gap
        Longest first, at most 20.
    gap_count : int
        How many there are.
    points_in_gaps, points_outside : int or None
        Points of the cloud, among `points_seen`, in gaps and outside the trajectory's time.
    points_seen : int
        Points of the cloud whose times were looked at.
    speed_m_s : Range or None
        Over ground, on flight lines (where there are none, everywhere).
    opposite_lines, crossing_lines : bool or None
        Whether some lines are flown in opposite directions, or across one another; None without lines.
    findings : tuple of Finding
        What the reader must know; not part of `as_json`, because a result lists all findings in one place.
    """

    file: str
    rows: int
    time_system: str
    week: int | None
    start_s: float
    end_s: float
    start_utc: str | None
    end_utc: str | None
    interval_s: float
    longest_interval_s: float
    frame: str
    in_frame_of_cloud: bool
    gaps: tuple[Gap, ...] = ()
    gap_count: int = 0
    points_in_gaps: int | None = None
    points_outside: int | None = None
    points_seen: int = 0
    overlaps: tuple[Overlap, ...] = ()
    time_checks: tuple[TimeCheck, ...] = ()
    quality: Quality = field(default_factory=Quality)
    height: HeightAboveGround | None = None
    speed_m_s: Range | None = None
    attitude: Attitude | None = None
    lines: tuple[FlightLine, ...] = ()
    opposite_lines: bool | None = None
    crossing_lines: bool | None = None
    findings: tuple[Finding, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Give plain values for JSON; `trajectory_schema` tells their shape."""
        shown: dict[str, Any] = _plain(dataclasses.replace(self, findings=()))
        del shown["findings"]
        return shown


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value):
        return {f.name: _plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(key): _plain(inner) for key, inner in value.items()}
    if isinstance(value, tuple):
        return [_plain(inner) for inner in value]
    return value


def trajectory_schema() -> dict[str, Any]:
    """Give the JSON Schema (draft 2020-12) of `TrajectoryCheck.as_json`."""
    text = resources.files("accuracy.trajectory").joinpath("schema.json").read_text("utf-8")
    return dict(json.loads(text))
