"""One trajectory checked: everything put together."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from accuracy.findings import Finding, Severity
from accuracy.gps_time import DAY_S, EPOCH, utc_of_gps
from accuracy.inputs.trajectory_table import TrajectoryTable
from accuracy.trajectory import attitude, cloud, ground, lines, quality, times
from accuracy.trajectory.cloud import Below, CloudSide
from accuracy.trajectory.frame import Positions
from accuracy.trajectory.mistakes import Usual, usual_mistakes
from accuracy.trajectory.record import (
    Attitude,
    FlightLine,
    Gap,
    HeightAboveGround,
    Overlap,
    Range,
    Span,
    TimeCheck,
    TrajectoryCheck,
)
from accuracy.trajectory.track import Track, track_of

MOST_GAPS = 20


@dataclass(frozen=True)
class Limits:
    """What the crew planned and accepts, as the job states; lengths in metres."""

    planned_height_m: float | None = None
    planned_height_tolerance_m: float | None = None
    separation_limit_m: float | None = None


@dataclass(frozen=True)
class _Times:
    """What is known of the cloud's times, in GPS seconds."""

    span: Span
    source: str
    points: int
    outside: int
    in_gaps: tuple[int, ...]
    check: TimeCheck


def check_trajectory(
    table: TrajectoryTable,
    positions: Positions,
    *,
    name: str | None = None,
    side: CloudSide | None = None,
    base: Span | None = None,
    flown_on: date | None = None,
    limits: Limits | None = None,
    all_points: bool = False,
    progress: Callable[[str], None] = lambda _: None,
) -> TrajectoryCheck:
    """Check a trajectory against itself, the cloud and the base.

    Parameters
    ----------
    table : TrajectoryTable
        As read.
    positions : Positions
        Where its rows are; see `accuracy.trajectory.frame.positions_of`.
    name : str, optional
        Of the file, for messages.
    side : CloudSide, optional
        The cloud; without it nothing is said of ground and cloud times.
    base : Span, optional
        First and last epoch of the base's record, GPS seconds.
    flown_on : date, optional
        Date of the flight.
    limits : Limits, optional
        What the crew planned.
    all_points : bool
        Pass over all points of the cloud for their times, however many; else only of a small one.

    Raises
    ------
    FormatError
        The cloud cannot be read.
    """
    name = name or table.path.name
    limits = limits or Limits()
    track = track_of(table, positions.east_m, positions.north_m, positions.up_m)
    flown = lines.flight_lines(track)
    speed = lines.speeds(track, flown)
    findings = [*table.findings, *positions.findings]
    below, height, heard = None, None, None
    if side is not None:
        if positions.in_cloud:
            progress(f"{side.name}: reading the ground below the trajectory")
            below = cloud.look_below(side, track, flown, progress)
        if below is not None:
            height = ground.height_of(
                track, below, limits.planned_height_m, limits.planned_height_tolerance_m
            )
            flown = ground.with_heights(flown, track, below)
        findings += _ground_findings(name, side, positions, below, height)
        heard, more = _cloud_times(table, track, flown, side, below, height, speed, all_points)
        findings += more
    checks = [heard.check] if heard else []
    overlaps = [_of_cloud(track, heard, side.name)] if heard and side else []
    if base is not None:
        overlaps.append(_of_base(track, base))
        checks.append(_base_check(table, track, base))
    if flown_on is not None:
        noon_s = (flown_on - EPOCH.date()).days * DAY_S + DAY_S / 2.0
        checks.append(
            times.check_date(
                track, flown_on, _usual(table, track, noon_s, "the date of the flight")
            )
        )
    checks = [times.with_effects(c, flown, _median(speed), _duration_s(track)) for c in checks]
    for check in checks:
        findings += times.time_findings(name, check)
    findings += _overlap_findings(name, overlaps, checks, heard)
    gaps = _gaps(track, heard)
    findings += _gap_findings(name, gaps, track, heard)
    told = quality.quality_of(table, track, flown, limits.separation_limit_m)
    findings += quality.quality_findings(name, told)
    findings += lines.jump_findings(name, track)
    findings += lines.line_findings(name, flown)
    angles = attitude.attitude_of(table, track, flown)
    if angles is not None:
        findings += attitude.attitude_findings(name, table, track, angles, flown)
    if height is not None:
        stated = limits.planned_height_tolerance_m is not None
        findings += ground.height_findings(name, height, stated)
    return _record(
        table,
        name,
        track,
        positions,
        flown,
        speed,
        angles,
        height,
        heard,
        gaps,
        overlaps=tuple(overlaps),
        time_checks=tuple(checks),
        quality=told,
        findings=tuple(findings),
    )


def _record(
    table: TrajectoryTable,
    name: str,
    track: Track,
    positions: Positions,
    flown: tuple[FlightLine, ...],
    speed: Range | None,
    angles: Attitude | None,
    height: HeightAboveGround | None,
    heard: _Times | None,
    gaps: Sequence[Gap],
    **parts: object,
) -> TrajectoryCheck:
    opposite, crossing = lines.directions(flown) or (None, None)
    start_s, end_s = float(track.time_s[0]), float(track.time_s[-1])
    return TrajectoryCheck(
        file=name,
        rows=len(track.time_s),
        time_system=table.time_system,
        week=table.week if table.time_system == "gps-seconds-of-week" else None,
        start_s=start_s,
        end_s=end_s,
        start_utc=utc_words(start_s),
        end_utc=utc_words(end_s),
        interval_s=track.interval_s,
        longest_interval_s=float(np.diff(track.time_s).max()),
        frame=positions.frame,
        in_frame_of_cloud=positions.in_cloud,
        gaps=tuple(sorted(gaps, key=lambda g: (-g.duration_s, g.start_s))[:MOST_GAPS]),
        gap_count=len(gaps),
        points_in_gaps=None if heard is None else sum(heard.in_gaps),
        points_outside=None if heard is None else heard.outside,
        points_seen=0 if heard is None else heard.points,
        height=height,
        speed_m_s=speed,
        attitude=angles,
        lines=flown,
        opposite_lines=opposite,
        crossing_lines=crossing,
        **parts,  # type: ignore[arg-type]  # named as the fields are
    )


def utc_words(gps_s: float) -> str | None:
    """Give a GPS time as UTC, ISO 8601 to the second; None beyond the calendar."""
    try:
        return utc_of_gps(gps_s).isoformat(timespec="seconds").replace("+00:00", "Z")
    except OverflowError:
        return None


def _duration_s(track: Track) -> float:
    return float(track.time_s[-1] - track.time_s[0])


def _median(speed: Range | None) -> float | None:
    return None if speed is None else speed.median


def _span(track: Track) -> Span:
    return Span("trajectory", float(track.time_s[0]), float(track.time_s[-1]))


def _ground_findings(
    name: str,
    side: CloudSide,
    positions: Positions,
    below: Below | None,
    height: HeightAboveGround | None,
) -> Iterator[Finding]:
    if not positions.in_cloud or height is not None or (below and positions.up_m is None):
        return
    if below is None:
        message, remedy = "the trajectory passes over no file of the cloud", "look at both crs"
    else:
        message = f"no ground point of the cloud lies below any of {len(below.time_s)} places"
        remedy = "look at ground_classes of the dataset"
    told = f"{name}, {side.name}: {message}; the height above ground is not known"
    yield Finding("trajectory-ground", Severity.WARNING, told, dataset=side.name, remedy=remedy)


def _cloud_times(
    table: TrajectoryTable,
    track: Track,
    flown: Sequence[FlightLine],
    side: CloudSide,
    below: Below | None,
    height: HeightAboveGround | None,
    speed: Range | None,
    all_points: bool,
) -> tuple[_Times | None, list[Finding]]:
    kind, findings = cloud.kind_in_headers(side)
    whole = all_points or cloud.is_small(side.files)
    if kind == "none" or (below is None and not whole):
        told = "its points carry no GPS time" if kind == "none" else "no point lies below the track"
        if kind == "none":
            findings.append(_no_times(side, told))
        return None, findings
    first, last, missing, points = np.inf, -np.inf, 0, 0
    if whole:
        seen = cloud.all_times(side.files, np.zeros((0, 2)))
        first, last, missing, points = seen.first, seen.last, seen.missing, seen.points
    elif below is not None:
        missing, points = below.missing, below.read
        if below.points_time.size:
            first, last = float(below.points_time[0]), float(below.points_time[-1])
    if not np.isfinite(first):
        findings.append(_no_times(side, f"none of {points} points has a GPS time that is a number"))
        return None, findings
    if missing:
        findings.append(_no_times(side, f"{missing} of {points} points have no GPS time"))
    read_as, more = cloud.kind_of_values(kind, first, last, side.name)
    findings += more
    middle_s = float(track.time_s[0] + track.time_s[-1]) / 2.0
    shift_s = cloud.to_gps_s(read_as, (first + last) / 2.0, middle_s)
    span = Span(side.name, first + shift_s, last + shift_s)
    usual = _usual(table, track, (span.start_s + span.end_s) / 2.0, "the cloud", read_as)
    check = None
    if below is not None:
        timed = times.Timed(below.points_time + shift_s, below.points_east_m, below.points_north_m)
        above_m = None if height is None else height.above_ground_m.median
        check = times.check_positions(track, timed, usual, _median(speed) or 0.0, above_m)
    if check is None:
        check = times.check_spans("cloud", span, _span(track), usual, -1)
    # points are counted where the times truly belong, so that one mistake is told once
    moved_s = check.offset_s if check.fits is False and check.offset_s is not None else 0.0
    gap_s = _gap_edges(track) + moved_s
    start_s, end_s = float(track.time_s[0]) + moved_s, float(track.time_s[-1]) + moved_s
    beyond = np.array([[-np.inf, start_s - times.END_S], [end_s + times.END_S, np.inf]])
    edges = np.concatenate([beyond, gap_s]) - shift_s
    if whole:
        counts = cloud.all_times(side.files, edges).counts
        source = "all points"
    else:
        assert below is not None
        own = below.points_time[:, None]
        counts = ((own > edges[:, 0]) & (own < edges[:, 1])).sum(axis=0)
        points = len(below.points_time)
        source = f"{points} points below the track"
    outside = int(counts[:2].sum())
    return _Times(span, source, points, outside, tuple(int(c) for c in counts[2:]), check), findings


def _usual(
    table: TrajectoryTable, track: Track, other_s: float, other: str, read_as: str = ""
) -> tuple[Usual, ...]:
    in_weeks = read_as == "gps-week"
    return usual_mistakes(
        table.time_system,
        table.first_written,
        float(track.time_s[0]),
        other_s,
        other,
        modulo_week=in_weeks,
    )


def _no_times(side: CloudSide, what: str) -> Finding:
    return Finding(
        "trajectory-cloud-time",
        Severity.WARNING,
        f"{side.name}: {what}; times of trajectory and cloud cannot be compared there",
        dataset=side.name,
        remedy="export the cloud with the times of its points",
    )


def _gap_edges(track: Track) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    at = track.gap_after
    return np.column_stack([track.time_s[at], track.time_s[at + 1]]).reshape(-1, 2)


def _of_cloud(track: Track, heard: _Times, name: str) -> Overlap:
    span, own = heard.span, _span(track)
    share = _share(span, own)
    before_s, after_s = span.start_s - own.start_s, own.end_s - span.end_s
    return Overlap("cloud", name, span.start_s, span.end_s, heard.source, share, before_s, after_s)


def _of_base(track: Track, base: Span) -> Overlap:
    own = _span(track)
    before_s, after_s = own.start_s - base.start_s, base.end_s - own.end_s
    share = _share(own, base)
    return Overlap(
        "base", base.name, base.start_s, base.end_s, "its record", share, before_s, after_s
    )


def _share(inner: Span, outer: Span) -> float:
    """Give the share of one span that lies in another."""
    common_s = min(inner.end_s, outer.end_s) - max(inner.start_s, outer.start_s)
    if inner.duration_s <= 0.0:
        return float(common_s >= 0.0)
    return min(1.0, max(0.0, common_s / inner.duration_s))


def _base_check(table: TrajectoryTable, track: Track, base: Span) -> TimeCheck:
    usual = _usual(table, track, (base.start_s + base.end_s) / 2.0, "the base")
    return times.check_spans("base", _span(track), base, usual, 1)


def _overlap_findings(
    name: str, overlaps: Sequence[Overlap], checks: Sequence[TimeCheck], heard: _Times | None
) -> Iterator[Finding]:
    explained = {check.against for check in checks if check.offset_s is not None}
    for overlap in overlaps:
        if overlap.against == "base" and overlap.covered < 1.0 and "base" not in explained:
            yield Finding(
                "trajectory-base-outside",
                Severity.WARNING,
                f"{name}: the record of {overlap.name} covers {100 * overlap.covered:.1f} % of the trajectory; "
                f"it begins {overlap.before_s:+.0f} s before it and ends {overlap.after_s:+.0f} s after it",
                evidence={"covered": overlap.covered},
                remedy="process with a base that recorded throughout the flight",
            )
    if heard is not None and heard.outside:
        yield Finding(
            "trajectory-cloud-outside",
            Severity.WARNING,
            f"{name}: {heard.outside} of {heard.points} points of {heard.span.name} looked at ({heard.source}) "
            "lie before the first or after the last row of the trajectory",
            dataset=heard.span.name,
            evidence={"points": heard.outside, "of": heard.points},
            remedy="hand in the whole trajectory, of all flights that the cloud is made of",
        )


def _gaps(track: Track, heard: _Times | None) -> list[Gap]:
    gaps = []
    for number, at in enumerate(track.gap_after.tolist()):
        points = None if heard is None else heard.in_gaps[number]
        start_s, end_s = float(track.time_s[at]), float(track.time_s[at + 1])
        gaps.append(Gap(start_s, end_s, int(track.line[at + 1]), points))
    return gaps


def _gap_findings(
    name: str, gaps: Sequence[Gap], track: Track, heard: _Times | None
) -> Iterator[Finding]:
    if not gaps:
        return
    longest = max(gaps, key=lambda gap: gap.duration_s)
    inside = sum(gap.cloud_points or 0 for gap in gaps)
    told = ""
    if heard is not None:
        told = f"; {inside} of {heard.points} points of the cloud looked at were measured in them"
    yield Finding(
        "trajectory-gap",
        Severity.WARNING if inside or heard is None else Severity.NOTE,
        f"{name}: {len(gaps)} gaps longer than five times the usual {track.interval_s:g} s, the longest "
        f"{longest.duration_s:.3f} s at line {longest.line}{told}",
        evidence={"gaps": len(gaps), "longest_s": longest.duration_s, "points": inside},
        remedy="export the trajectory without gaps; positions in a gap are interpolated at best",
    )
