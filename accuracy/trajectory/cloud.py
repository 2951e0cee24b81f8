"""The cloud below the track: ground heights at a few places, and the times and places of points there.

Reading is bounded. Points near at most `MOST_PLACES` places are read, by the same engine that reads around
checkpoints (with an index or the hierarchy of a COPC file only the chunks that matter). All times of the cloud
are passed over only where it is small, or where that is asked for; else first and last times are those of the
points below the track, and said to be so.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal, Self, cast

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import FormatError
from accuracy.findings import Finding, Severity
from accuracy.formats import PointBatch, PointSurface
from accuracy.formats.las_about import TimeKind, about_las
from accuracy.formats.scanning import Scannable, reduce_points
from accuracy.gps_time import ADJUSTED_S, WEEK_S
from accuracy.sampling.reading import Reader, read_in_turn
from accuracy.sampling.tin import CloudSetting, sample_cloud
from accuracy.trajectory.lines import on_lines
from accuracy.trajectory.record import FlightLine
from accuracy.trajectory.track import Array, Track

MOST_PLACES = 200
MOST_POINTS = 1500
#: Clouds up to so many points are passed over for all their times, without being asked.
SMALL_POINTS = 3_000_000
#: A flight across the end of the week may count on a little.
_WEEK_END_S = 1.05 * WEEK_S

KindRead = Literal["gps-week", "adjusted-standard", "gps-seconds"]


@dataclass(frozen=True)
class CloudSide:
    """A point cloud to hold a trajectory against.

    Attributes
    ----------
    name : str
        Of the dataset.
    files : sequence of PointSurface
        Opened by their headers, in one frame.
    setting : CloudSetting
        What counts as ground, and metres per stored unit.
    read : callable
        How the files are read.
    """

    name: str
    files: Sequence[PointSurface]
    setting: CloudSetting
    read: Reader = read_in_turn


@dataclass(frozen=True, eq=False)
class Below:
    """What lies below the track.

    Attributes
    ----------
    time_s : ndarray of float64, shape (k,)
        Times of the trajectory at the places, as declared.
    ground_m : ndarray of float64, shape (k,)
        Height of the ground there; NaN where there is none.
    points_time : ndarray of float64, shape (n,)
        Times of some points near these places, as stored.
    points_east_m, points_north_m : ndarray of float64, shape (n,)
        Where these points are.
    missing : int
        Points whose time is no number, or zero.
    read : int
        Points read.
    """

    time_s: Array
    ground_m: Array
    points_time: Array
    points_east_m: Array
    points_north_m: Array
    missing: int = 0
    read: int = 0


def look_below(
    cloud: CloudSide,
    track: Track,
    lines: Sequence[FlightLine],
    progress: Callable[[str], None] = lambda _: None,
) -> Below | None:
    """Read the cloud at places along the track; None where the track is nowhere above it.

    Raises
    ------
    FormatError
        The points cannot be read.
    """
    time_s = _places(cloud, track, lines)
    if not time_s.size:
        return None
    unit_m = cloud.setting.metres_h
    x, y = (values / unit_m for values in track.place(time_s))
    batches: list[PointBatch] = []

    def reading(
        files: Sequence[PointSurface],
        px: Array,
        py: Array,
        radius: float,
        tell: Callable[[str], None],
    ) -> list[PointBatch]:
        found = cloud.read(files, px, py, radius, tell)
        batches.extend(found)
        return found

    samples, _ = sample_cloud(cloud.files, x, y, cloud.setting, progress=progress, read=reading)
    ground_m = np.array([np.nan if s.height is None else s.height for s in samples])
    times, east_m, north_m, missing, read = _some_points(batches, unit_m)
    ground_m = ground_m * cloud.setting.metres_v
    return Below(time_s, ground_m, times, east_m, north_m, missing, read)


def _places(cloud: CloudSide, track: Track, lines: Sequence[FlightLine]) -> Array:
    """Choose times at which the track is above a file, at about equal distances, on flight lines if any."""
    step_s = max(0.1, (track.time_s[-1] - track.time_s[0]) / 200_000)
    time_s = np.arange(track.time_s[0], track.time_s[-1], step_s)
    time_s = time_s[track.covered(time_s)]
    if lines:
        time_s = time_s[on_lines(lines, time_s) > 0]
    east_m, north_m = track.place(time_s)
    above = np.zeros(len(time_s), dtype=np.bool_)
    for file in cloud.files:
        west, south, east, north = (v * cloud.setting.metres_h for v in file.info.bounds)
        inside = (east_m >= west) & (east_m <= east) & (north_m >= south) & (north_m <= north)
        above |= inside | (not file.info.bounds_believed)
    time_s, east_m, north_m = time_s[above], east_m[above], north_m[above]
    if not time_s.size:
        return time_s
    way_m = np.cumsum(
        np.hypot(np.diff(east_m, prepend=east_m[0]), np.diff(north_m, prepend=north_m[0]))
    )
    wanted_m = (np.arange(MOST_PLACES) + 0.5) / MOST_PLACES * way_m[-1]
    chosen: Array = time_s[np.unique(np.minimum(np.searchsorted(way_m, wanted_m), len(time_s) - 1))]
    return chosen


def _some_points(
    batches: Sequence[PointBatch], unit_m: float
) -> tuple[Array, Array, Array, int, int]:
    """Take evenly chosen points with a time, not withheld, in order of time."""
    read = sum(len(batch.x) for batch in batches)
    step = max(1, read // (4 * MOST_POINTS))
    parts: list[tuple[Array, Array, Array]] = []
    missing = 0
    for batch in batches:
        bad = ~np.isfinite(batch.gps_time) | (batch.gps_time == 0.0)
        missing += int(bad.sum())
        keep = np.flatnonzero(~bad & ~batch.withheld)[::step]
        (sx, sy, _), (ox, oy, _) = batch.grid.scale, batch.grid.offset
        east_m = np.asarray(batch.x[keep] * float(sx) + float(ox), np.float64) * unit_m
        north_m = np.asarray(batch.y[keep] * float(sy) + float(oy), np.float64) * unit_m
        parts.append((batch.gps_time[keep], east_m, north_m))
    empty = np.zeros(0)
    time, east, north = (np.concatenate([empty, *(p[i] for p in parts)]) for i in range(3))
    order = np.lexsort((north, east, time))
    count = min(len(order), MOST_POINTS)
    picked = order[np.linspace(0, len(order) - 1, count).astype(np.intp)] if count else order
    return time[picked], east[picked], north[picked], missing, read


@dataclass
class TimeReducer:
    """First and last time of many points, and how many fall between given times; see `Reducer`.

    Attributes
    ----------
    edges : ndarray of float64, shape (k, 2)
        Stretches of stored time, start and end not included.
    """

    edges: Array
    first: float = np.inf
    last: float = -np.inf
    points: int = 0
    missing: int = 0
    counts: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    fields: Sequence[str] = ("gps_time",)

    def __post_init__(self) -> None:
        if not self.counts.size:
            self.counts = np.zeros(len(self.edges), dtype=np.int64)

    def see(self, batch: PointBatch) -> None:
        """Take note of times."""
        self.points += len(batch.x)
        time = batch.gps_time[np.isfinite(batch.gps_time) & (batch.gps_time != 0.0)]
        self.missing += len(batch.x) - len(time)
        if not time.size:
            return
        self.first = min(self.first, float(time.min()))
        self.last = max(self.last, float(time.max()))
        for at, (start, end) in enumerate(self.edges.tolist()):
            self.counts[at] += int(np.count_nonzero((time > start) & (time < end)))

    def merged(self, other: Self) -> Self:
        """Give what one reducer would hold that had seen both."""
        return type(self)(
            self.edges,
            min(self.first, other.first),
            max(self.last, other.last),
            self.points + other.points,
            self.missing + other.missing,
            self.counts + other.counts,
        )


def all_times(files: Sequence[PointSurface], edges: Array) -> TimeReducer:
    """Pass over all points of all files for their times.

    Raises
    ------
    FormatError
        The points cannot be read, or a file cannot be passed over.
    """
    whole = TimeReducer(edges)
    for file in files:
        if not hasattr(file, "scan"):
            raise FormatError("this cloud cannot be passed over", where=str(file.info.path))
        whole = whole.merged(reduce_points(cast(Scannable, file), TimeReducer(edges)))
    return whole


def is_small(files: Sequence[PointSurface]) -> bool:
    """Whether all points may be passed over without being asked."""
    return sum(file.info.points or 0 for file in files) <= SMALL_POINTS


def kind_in_headers(cloud: CloudSide) -> tuple[TimeKind, list[Finding]]:
    """Give the kind of GPS time that the headers name; they should agree."""
    kinds: dict[TimeKind, str] = {}
    for file in cloud.files:
        kinds.setdefault(about_las(file.info.path).time_kind, file.info.path.name)
    first: TimeKind = next(iter(kinds), "none")
    if len(kinds) < 2:
        return first, []
    told = ", ".join(f"{name} {kind}" for kind, name in kinds.items())
    finding = Finding(
        "trajectory-cloud-time",
        Severity.WARNING,
        f"{cloud.name}: files name different kinds of GPS time: {told}; the first was taken for all",
        dataset=cloud.name,
        remedy="export all files with one kind of time",
    )
    return first, [finding]


def kind_of_values(
    kind: TimeKind, first: float, last: float, name: str
) -> tuple[KindRead, list[Finding]]:
    """Hold stored times against the kind that the header names; values that cannot be so are taken as they are.

    Parameters
    ----------
    first, last : float
        Least and greatest stored time.
    """
    in_week = first >= 0.0 and last <= _WEEK_END_S
    actual: KindRead
    if in_week:
        actual = "gps-week"
    elif first >= ADJUSTED_S:  # as adjusted time that would be after 2043
        actual = "gps-seconds"
    else:
        actual = "adjusted-standard"
    if actual == kind:
        return actual, []
    words = {
        "gps-week": "seconds of the GPS week",
        "adjusted-standard": "adjusted standard GPS time",
        "gps-seconds": "GPS seconds without the 1 000 000 000 taken off",
        "none": "no time",
    }
    finding = Finding(
        "trajectory-cloud-time",
        Severity.WARNING,
        f"{name}: the header's bit for the kind of time says {words[kind]}, but times run from {first:.3f} to "
        f"{last:.3f}: they are {words[actual]}, and were taken so",
        dataset=name,
        evidence={"first": first, "last": last, "taken_as": actual},
        remedy="export the cloud with the bit (global encoding, bit 0) that fits its times",
    )
    return actual, [finding]


def to_gps_s(kind: KindRead, stored: float, near_s: float) -> float:
    """Give what must be added to stored times to make them GPS seconds.

    Parameters
    ----------
    stored : float
        One of the stored times.
    near_s : float
        GPS seconds nearby, from which seconds of the week take their week.
    """
    if kind == "adjusted-standard":
        return float(ADJUSTED_S)
    if kind == "gps-seconds":
        return 0.0
    return round((near_s - stored) / WEEK_S) * float(WEEK_S)
