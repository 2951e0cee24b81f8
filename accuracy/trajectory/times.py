"""Whether the times of a trajectory fit the cloud: from where points lie, and from first and last times.

A point lies abreast of the scanner that measured it. So a cloud's points, looked up in the trajectory at their
own times, tell an offset between both clocks without any processing record: it is the offset at which they lie
abreast of the track. A scanner that looks ahead or behind acts like a small offset, hence a floor.

A cloud that was itself made with mislabelled times lies where the trajectory says and shows nothing here: it is
displaced along the track, which checkpoints see.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from accuracy.findings import EvidenceValue, Finding, Severity
from accuracy.gps_time import DAY_S, EPOCH
from accuracy.trajectory.mistakes import Usual
from accuracy.trajectory.record import Against, FlightLine, LineEffect, Span, TimeCheck
from accuracy.trajectory.track import Array, Bools, Track

# What counts as abreast; no source.
AHEAD_DEG = 30.0
CLOCK_S = 2.0
REACH_HEIGHTS = 2.5
HEIGHT_UNKNOWN_M = 60.0
FEWEST_POINTS = 20
COVERED_SHARE = 0.8
#: Two spans that should contain one another may differ by this much at their ends.
END_S = 1.0
#: A tilted scanner moves what is found; at most so much off counts as the mistake.
MOST_OFF_S = 8.0
_MOST_TRIES = 20_000
_TRY_POINTS = 300
_STEP_S = 0.2
_MOST_STEPS = 200_000


@dataclass(frozen=True, eq=False)
class Timed:
    """Points of the cloud: GPS seconds, and where they are; arrays of shape (n,)."""

    time_s: Array
    east_m: Array
    north_m: Array


@dataclass(frozen=True)
class _Limits:
    along_m: float
    reach_m: float
    speed_m_s: float

    @property
    def floor_s(self) -> float:
        return self.along_m / self.speed_m_s


def check_positions(
    track: Track,
    points: Timed,
    usual: Sequence[Usual],
    speed_m_s: float,
    height_m: float | None,
) -> TimeCheck | None:
    """Find the offset at which points lie abreast of the track; None where that cannot be found.

    Parameters
    ----------
    usual : sequence of Usual
        Mistakes by what they amount to.
    speed_m_s : float
        Usual speed over ground.
    height_m : float or None
        Usual height above ground, metres.
    """
    if track.east_m is None or len(points.time_s) < FEWEST_POINTS or speed_m_s < 0.5:
        return None
    height_m = HEIGHT_UNKNOWN_M if height_m is None or height_m <= 0.0 else height_m
    limits = _Limits(
        height_m * math.tan(math.radians(AHEAD_DEG)) + CLOCK_S * speed_m_s,
        REACH_HEIGHTS * height_m,
        speed_m_s,
    )
    if _fits(track, points, 0.0, limits):
        found_s = _refined(track, points, 0.0, limits)
        return _sound(found_s, limits, usual)
    found_s = _refined(track, points, _searched(track, points, limits), limits)
    if not _fits(track, points, found_s, limits):
        return None
    near = min(limits.floor_s, MOST_OFF_S)
    named = sorted(
        (u for u in usual if abs(u.offset_s - found_s) <= near),
        key=lambda u: abs(u.offset_s - found_s),
    )
    return TimeCheck(
        "cloud",
        "positions",
        False,
        found_s,
        limits.floor_s,
        tuple(u.words for u in named),
        named[0].offset_s if named else found_s,
    )


def _sound(found_s: float, limits: _Limits, usual: Sequence[Usual]) -> TimeCheck:
    """Accept the declared times; where the floor is above a whole leap second count, say what is possible."""
    possible = [
        u
        for u in usual
        if CLOCK_S < abs(u.offset_s) <= limits.floor_s and abs(u.offset_s - found_s) < 1.0
    ]
    words = tuple(u.words for u in possible)
    offset_s = possible[0].offset_s if possible else None
    return TimeCheck("cloud", "positions", True, found_s, limits.floor_s, words, offset_s)


def _ahead(
    track: Track, points: Timed, offset_s: float, limits: _Limits
) -> tuple[Array, Array, Bools]:
    """Give how far ahead each point lies (m), how far from abreast (m), and which are covered."""
    label_s = points.time_s - offset_s
    covered = track.covered(label_s)
    east, north = track.place(label_s)
    v_east, v_north = track.velocity(label_s)
    return (*_components(points, east, north, v_east, v_north, limits.reach_m), covered)


def _components(
    points: Timed, east: Array, north: Array, v_east: Array, v_north: Array, reach_m: float
) -> tuple[Array, Array]:
    speed = np.maximum(np.hypot(v_east, v_north), 1e-6)
    d_east, d_north = points.east_m - east, points.north_m - north
    along = (d_east * v_east + d_north * v_north) / speed
    across = np.abs(d_north * v_east - d_east * v_north) / speed
    return along, np.hypot(along, np.maximum(across - reach_m, 0.0))


def _fits(track: Track, points: Timed, offset_s: float, limits: _Limits) -> bool:
    _, miss_m, covered = _ahead(track, points, offset_s, limits)
    if covered.mean() < COVERED_SHARE:
        return False
    return float(np.median(miss_m[covered])) <= limits.along_m


def _refined(track: Track, points: Timed, offset_s: float, limits: _Limits) -> float:
    """Move the offset until half of the points lie ahead and half behind."""
    for _ in range(6):
        along_m, miss_m, covered = _ahead(track, points, offset_s, limits)
        near = covered & (miss_m <= 3.0 * limits.along_m)
        if not near.any():
            break
        label_s = points.time_s[near] - offset_s
        speed = np.maximum(np.hypot(*track.velocity(label_s)), 0.3 * limits.speed_m_s)
        step_s = float(np.median(along_m[near] / speed))
        offset_s -= step_s
        if abs(step_s) < 1e-6:
            break
    return offset_s


def _searched(track: Track, points: Timed, limits: _Limits) -> float:
    """Slide the points' times along the whole trajectory; give the offset that misses least."""
    start_s, end_s = float(track.time_s[0]), float(track.time_s[-1])
    step_s = max(_STEP_S, (end_s - start_s) / _MOST_STEPS)
    grid_s = np.arange(start_s, end_s, step_s)
    east, north = track.place(grid_s)
    v_east, v_north = track.velocity(grid_s)
    held = track.covered(grid_s)
    count = min(len(points.time_s), _TRY_POINTS)
    at = np.linspace(0, len(points.time_s) - 1, count).astype(np.intp)
    few = Timed(points.time_s[at], points.east_m[at], points.north_m[at])
    low_s = float(few.time_s[0]) - end_s
    high_s = float(few.time_s[-1]) - start_s
    tries_s = np.linspace(low_s, high_s, min(_MOST_TRIES, int((high_s - low_s) / 0.5) + 2))
    cap_m = 5.0 * limits.along_m
    best, best_m = 0.0, math.inf
    for offset_s in tries_s.tolist():
        index = np.floor((few.time_s - offset_s - start_s) / step_s).astype(np.int64)
        inside = (index >= 0) & (index < len(grid_s))
        if inside.mean() < COVERED_SHARE / 2:
            continue
        index = np.clip(index, 0, len(grid_s) - 1)
        _, miss_m = _components(
            few, east[index], north[index], v_east[index], v_north[index], limits.reach_m
        )
        miss_m = np.where(inside & held[index], np.minimum(miss_m, cap_m), cap_m)
        mean_m = float(miss_m.mean())
        if mean_m < best_m:
            best, best_m = offset_s, mean_m
    return best


def check_spans(
    against: Against, inner: Span, outer: Span, usual: Sequence[Usual], move: int
) -> TimeCheck:
    """Compare first and last times alone.

    Parameters
    ----------
    inner, outer : Span
        `outer` should contain `inner`.
    usual : sequence of Usual
        Mistakes by what they amount to.
    move : int
        1 where the trajectory is the inner span, -1 where it is the outer one.
    """
    if _contains(outer, inner, 0.0):
        return TimeCheck(against, "spans", True)
    named = [u for u in usual if _contains(outer, inner, move * u.offset_s)]
    return TimeCheck(
        against,
        "spans",
        False,
        None,
        None,
        tuple(u.words for u in named),
        named[0].offset_s if named else None,
    )


def _contains(outer: Span, inner: Span, offset_s: float) -> bool:
    return (
        inner.start_s + offset_s >= outer.start_s - END_S
        and inner.end_s + offset_s <= outer.end_s + END_S
    )


def with_effects(
    check: TimeCheck, lines: Sequence[FlightLine], speed_m_s: float | None, duration_s: float
) -> TimeCheck:
    """Add what the offset does to a cloud, where both still overlap: it looks the sensor up too far ahead."""
    offset_s = check.offset_s
    if (
        check.fits is not False
        or offset_s is None
        or speed_m_s is None
        or abs(offset_s) >= duration_s
    ):
        return check
    effects = []
    for line in lines:
        heading = math.radians(line.heading_deg)
        along_m = line.speed_m_s * offset_s
        effects.append(
            LineEffect(line.number, along_m * math.sin(heading), along_m * math.cos(heading))
        )
    return replace(check, along_m=speed_m_s * offset_s, effects=tuple(effects))


_SIDES = {"cloud": "the cloud", "base": "the base", "date": "the date of the flight"}


def check_date(track: Track, flown: date, usual: Sequence[Usual]) -> TimeCheck:
    """Hold the trajectory's date against that of the flight, to a day and a half: dates may be local."""
    middle_s = float(track.time_s[0] + track.time_s[-1]) / 2.0
    noon_s = (flown - EPOCH.date()).days * DAY_S + DAY_S / 2.0

    def near(offset_s: float) -> bool:
        return abs(middle_s + offset_s - noon_s) <= 1.5 * DAY_S

    if near(0.0):
        return TimeCheck("date", "spans", True)
    named = [u for u in usual if near(u.offset_s)]
    words = tuple(u.words for u in named)
    return TimeCheck(
        "date", "spans", False, None, None, words, named[0].offset_s if named else None
    )


def time_findings(name: str, check: TimeCheck) -> Iterator[Finding]:
    """Name the mistake, or what it is consistent with."""
    other = _SIDES[check.against]
    evidence: dict[str, EvidenceValue] = {"against": check.against, "how": check.how}
    for key in ("found_offset_s", "offset_s", "along_m"):
        if (value := getattr(check, key)) is not None:
            evidence[key] = value
    causes = "; or: ".join(check.consistent_with[:6])
    if len(check.consistent_with) > 6:
        causes += f"; and {len(check.consistent_with) - 6} more"
    if check.fits:
        if check.consistent_with and check.found_offset_s is not None:
            yield Finding(
                "trajectory-time-offset",
                Severity.NOTE,
                f"{name}: points of the cloud lie abreast of the track with {check.found_offset_s:+.1f} s "
                f"added to its times; consistent with a scanner that looks ahead or back, or: {causes}",
                evidence=evidence,
                remedy="make sure of the kind of time; compare with how the scanner is mounted",
            )
        return
    if check.against != "date" and check.found_offset_s is None and not check.consistent_with:
        return  # partly outside: told by its own finding
    told = f"{name}: the trajectory's times do not fit those of {other}"
    if check.found_offset_s is not None:
        told += (
            f"; {check.found_offset_s:+.3f} s added to them make points lie abreast of the track"
        )
    if len(check.consistent_with) == 1 and check.how == "positions":
        told += f": {causes}"
    elif check.consistent_with:
        told += (
            f"; first and last times are consistent with: {causes}"
            if check.how == "spans"
            else (f"; consistent with: {causes}")
        )
    else:
        told += ", which no usual mistake explains"
    if check.along_m is not None:
        told += (
            f". A cloud made with these times is displaced by {check.along_m:+.1f} m along the track "
            "(positive forward)"
        )
    yield Finding(
        "trajectory-time-offset",
        Severity.WARNING,
        told,
        evidence=evidence,
        remedy="correct time or week under [trajectory], or export it with the times of the cloud",
    )
