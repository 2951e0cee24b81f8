"""Roll, pitch and heading: whether they can be right."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from accuracy.findings import Finding, Severity
from accuracy.inputs.trajectory_table import TrajectoryTable
from accuracy.trajectory.lines import on_lines, turned_deg
from accuracy.trajectory.quality import range_of
from accuracy.trajectory.record import Attitude, FlightLine
from accuracy.trajectory.track import Array, Bools, Track

# Common practice, no source.
STEEPEST_DEG = 45.0
FASTEST_DEG_S = 300.0
LEAST_JUMP_DEG = 2.0
#: Heading and direction of flight differ by wind and convergence, but not by more than this on average.
CRAB_DEG = 45.0


def attitude_of(
    table: TrajectoryTable, track: Track, lines: Sequence[FlightLine]
) -> Attitude | None:
    """Sum up the angles; None without any."""
    roll, pitch, heading = _angles(table, track)
    if roll is None and pitch is None and heading is None:
        return None
    flown = on_lines(lines, track.time_s) > 0
    where = flown if flown.any() else np.ones(len(flown), dtype=np.bool_)
    return Attitude(
        range_of(None if roll is None else roll[where]),
        range_of(None if pitch is None else pitch[where]),
        int(np.count_nonzero(_jumps(track, roll, pitch, heading))),
        _against_course(track, heading, flown),
    )


def _angles(table: TrajectoryTable, track: Track) -> tuple[Array | None, ...]:
    given = (table.roll_deg, table.pitch_deg, table.heading_deg)
    return tuple(None if angle is None else angle[track.rows] for angle in given)


def _jumps(track: Track, *angles: Array | None) -> Bools:
    """Mark steps between rows in which an angle turns faster than any aircraft does; gaps aside."""
    step_s = np.diff(track.time_s)
    jump = np.zeros(len(step_s), dtype=np.bool_)
    for angle in angles:
        if angle is not None:
            turn = np.abs(turned_deg(angle[:-1], angle[1:]))
            with np.errstate(invalid="ignore"):
                jump |= (turn > FASTEST_DEG_S * step_s) & (turn > LEAST_JUMP_DEG)
    jump[track.gap_after] = False
    return jump


def _against_course(track: Track, heading: Array | None, flown: Bools) -> float | None:
    if heading is None or track.east_m is None or not flown.any():
        return None
    at = np.flatnonzero(flown & np.isfinite(heading))
    at = at[np.linspace(0, len(at) - 1, min(len(at), 20_000)).astype(np.intp)] if at.size else at
    if not at.size:
        return None
    course = np.degrees(np.arctan2(*track.velocity(track.time_s[at])))
    off = np.radians(turned_deg(course, heading[at]))
    middle = float(np.degrees(np.arctan2(np.sin(off).mean(), np.cos(off).mean())))
    rest = turned_deg(middle, np.degrees(off))
    return float(turned_deg(0.0, middle + float(np.median(rest))))


def attitude_findings(
    name: str, table: TrajectoryTable, track: Track, attitude: Attitude, lines: Sequence[FlightLine]
) -> Iterator[Finding]:
    """Say which angles cannot be right."""
    for axis, found in (("roll", attitude.roll_deg), ("pitch", attitude.pitch_deg)):
        if found is not None and max(-found.least, found.greatest) > STEEPEST_DEG:
            yield _finding(
                f"{name}: {axis} runs from {found.least:.2f} to {found.greatest:.2f} degrees on flight lines, "
                f"beyond {STEEPEST_DEG:g} (common practice, no source)",
                "look at the columns and their unit; mounting angles may be in them",
            )
    roll, pitch, heading = _angles(table, track)
    if attitude.jumps:
        at = int(np.flatnonzero(_jumps(track, roll, pitch, heading))[0])
        yield _finding(
            f"{name}: {attitude.jumps} steps turn faster than {FASTEST_DEG_S:g} degrees per second, the first "
            f"at line {track.line[at + 1]}",
            "look at the solution there; export the trajectory again",
        )
    off = attitude.heading_minus_course_deg
    if off is None or heading is None or (abs(off) <= CRAB_DEG and not _like_radians(heading)):
        return
    flown = on_lines(lines, track.time_s) > 0
    in_radians = _against_course(track, np.degrees(heading), flown)
    if (
        _like_radians(heading)
        and in_radians is not None
        and abs(in_radians) < min(CRAB_DEG, abs(off))
    ):
        yield _finding(
            f"{name}: headings lie between {np.nanmin(heading):.3f} and {np.nanmax(heading):.3f}: these are "
            "radians read as degrees",
            'write angle_unit = "radian" under [trajectory]',
        )
    elif abs(off) > CRAB_DEG:
        yield _finding(
            f"{name}: the heading differs from the direction of flight by {off:+.1f} degrees on flight lines",
            "look at the column of headings: its zero, its sense, its unit, and how the unit was mounted",
        )


def _like_radians(heading: Array | None) -> bool:
    return (
        heading is not None and float(np.nanmax(np.abs(heading), initial=0.0)) <= 2 * np.pi + 0.01
    )


def _finding(message: str, remedy: str) -> Finding:
    return Finding("trajectory-attitude", Severity.WARNING, message, remedy=remedy)
