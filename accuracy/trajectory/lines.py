"""Flight lines: the straight runs of a trajectory."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from accuracy.findings import Finding, Severity
from accuracy.trajectory.record import FlightLine, Range
from accuracy.trajectory.track import Array, Bools, Track

# What makes a run straight; common practice, no source.
TURN_DEG_S = 6.0
DEVIATION_DEG = 10.0
LEAST_S, LEAST_M = 4.0, 10.0
#: Straight parts of turns are shorter than this share of the longest run.
LEAST_SHARE = 0.2
#: Speeds below this share of the usual one are no flight line: hovering, turning, landing.
SLOW_SHARE = 0.4
STEP_S = 0.2
MOST_STEPS = 200_000
#: Neither drones nor the aircraft of this trade fly faster over ground; no source.
FASTEST_M_S = 150.0


def flight_lines(track: Track) -> tuple[FlightLine, ...]:
    """Split a trajectory into its straight runs, without their heights above ground."""
    if track.east_m is None:
        return ()
    start_s, end_s = track.time_s[0], track.time_s[-1]
    step_s = max(STEP_S, track.interval_s, (end_s - start_s) / MOST_STEPS)
    time_s = np.arange(start_s, end_s + step_s / 2, step_s)
    time_s = np.minimum(time_s, end_s)
    east, north = track.velocity(time_s)
    speed = np.hypot(east, north)
    moving = speed > 1.0
    if not moving.any():
        return ()
    course = np.degrees(np.arctan2(east, north))
    fast = moving & (speed > SLOW_SHARE * float(np.median(speed[moving])))
    usable = fast & track.covered(time_s)
    turn = np.zeros(len(time_s))
    turn[1:-1] = np.abs(turned_deg(course[:-2], course[2:])) / (2.0 * step_s)
    usable &= turn <= TURN_DEG_S
    runs = _runs(usable, course)
    found = [
        _line(track, float(time_s[a]), float(time_s[b])) for a, b in _merged(runs, time_s, course)
    ]
    longest_m = max((line[3] for line in found), default=0.0)
    least_m = max(LEAST_M, LEAST_SHARE * longest_m)
    kept = [line for line in found if line[1] - line[0] >= LEAST_S and line[3] >= least_m]
    return tuple(FlightLine(number, *line) for number, line in enumerate(kept, start=1))


def turned_deg(before: Array | float, after: Array | float) -> Array:
    """Give the turn from one direction to another, -180 to 180."""
    return np.asarray((np.asarray(after) - before + 180.0) % 360.0 - 180.0)


def _runs(usable: Bools, course: Array) -> list[tuple[int, int]]:
    """Consecutive usable steps that keep their direction: first and last index."""
    runs = []
    edges = np.flatnonzero(np.diff(np.concatenate([[False], usable, [False]]).astype(np.int8)))
    for first, beyond in edges.reshape(-1, 2).tolist():
        start = first
        while start < beyond:
            mean = _mean_deg(course[start : min(start + 10, beyond)])
            off = np.abs(turned_deg(mean, course[start:beyond])) > DEVIATION_DEG
            stop = start + int(np.argmax(off)) if off.any() else beyond
            stop = max(stop, start + 1)
            runs.append((start, stop - 1))
            start = stop
    return runs


def _mean_deg(course: Array) -> float:
    radians = np.radians(course)
    return float(np.degrees(np.arctan2(np.sin(radians).mean(), np.cos(radians).mean())))


def _merged(runs: Sequence[tuple[int, int]], time_s: Array, course: Array) -> list[tuple[int, int]]:
    """Join runs of one direction with less than two seconds between them."""
    merged: list[tuple[int, int]] = []
    for first, last in runs:
        if merged:
            before = merged[-1]
            near = time_s[first] - time_s[before[1]] < 2.0
            turn = turned_deg(
                _mean_deg(course[before[0] : before[1] + 1]), _mean_deg(course[first : last + 1])
            )
            if near and abs(float(turn)) < DEVIATION_DEG / 2:
                merged[-1] = (before[0], last)
                continue
        merged.append((first, last))
    return merged


def _line(track: Track, start_s: float, end_s: float) -> tuple[float, float, float, float, float]:
    """Give start, end, heading, length and speed of a run; medians, so that its ends in turns do not count."""
    east, north = track.place(np.array([start_s, end_s]))
    length_m = float(np.hypot(east[1] - east[0], north[1] - north[0]))
    count = int(max(3, min((end_s - start_s) / STEP_S, 1000)))
    v_east, v_north = (
        float(np.median(v)) for v in track.velocity(np.linspace(start_s, end_s, count))
    )
    heading_deg = float(np.degrees(np.arctan2(v_east, v_north))) % 360.0
    return start_s, end_s, heading_deg, length_m, float(np.hypot(v_east, v_north))


def on_lines(lines: Sequence[FlightLine], time_s: Array) -> NDArray[np.int64]:
    """Give the number of the line that each time belongs to; 0 for none."""
    number = np.zeros(len(time_s), dtype=np.int64)
    for line in lines:
        number[(time_s >= line.start_s) & (time_s <= line.end_s)] = line.number
    return number


def directions(lines: Sequence[FlightLine]) -> tuple[bool, bool] | None:
    """Tell whether some lines are opposite, and whether some cross (60 to 120 degrees apart)."""
    if not lines:
        return None
    heading = np.array([line.heading_deg for line in lines])
    apart = np.abs(turned_deg(heading[:, None], heading[None, :]))
    return bool((apart >= 165.0).any()), bool(((apart >= 60.0) & (apart <= 120.0)).any())


def speeds(track: Track, lines: Sequence[FlightLine]) -> Range | None:
    """Give least, median and greatest speed on flight lines, or everywhere without lines."""
    if track.east_m is None:
        return None
    step_s = max(STEP_S, (track.time_s[-1] - track.time_s[0]) / MOST_STEPS)
    time_s = np.arange(track.time_s[0], track.time_s[-1], step_s)
    time_s = time_s[track.covered(time_s)]
    if lines:
        time_s = time_s[on_lines(lines, time_s) > 0]
    if not time_s.size:
        return None
    speed = np.hypot(*track.velocity(time_s))
    return Range(float(speed.min()), float(np.median(speed)), float(speed.max()))


def line_findings(name: str, lines: Sequence[FlightLine]) -> Iterator[Finding]:
    """Say what the directions of the lines leave undetected."""
    found = directions(lines)
    if found is None:
        return
    opposite, crossing = found
    if opposite and crossing:
        return
    lacking = "are all flown in one direction"
    hidden = "errors that turn with the aircraft (boresight, lever arm, time) look like a shift of the map"
    if opposite:
        lacking = "are opposite, but none crosses"
        hidden = "errors along and across the track cannot all be told apart"
    elif crossing:
        lacking = "cross, but none is flown in the opposite direction"
        hidden = "errors that turn with the aircraft show only in part"
    yield Finding(
        "trajectory-lines",
        Severity.NOTE,
        f"{name}: the flight lines ({len(lines)}) {lacking}; {hidden}",
        evidence={"lines": len(lines), "opposite": opposite, "crossing": crossing},
        remedy="fly some lines in opposite directions and one across",
    )


def jump_findings(name: str, track: Track) -> Iterator[Finding]:
    """Find steps between rows that no aircraft makes."""
    if track.east_m is None or track.north_m is None:
        return
    step_s = np.diff(track.time_s)
    step_m = np.hypot(np.diff(track.east_m), np.diff(track.north_m))
    at = np.flatnonzero(step_m > FASTEST_M_S * step_s + 0.5)
    if at.size:
        worst = int(at[np.argmax(step_m[at])])
        yield Finding(
            "trajectory-speed",
            Severity.WARNING,
            f"{name}: {at.size} steps between rows are faster than {FASTEST_M_S:g} m/s; the largest is "
            f"{step_m[worst]:.3f} m in {step_s[worst]:.3f} s, at line {track.line[worst + 1]}",
            evidence={
                "steps": int(at.size),
                "step_m": float(step_m[worst]),
                "step_s": float(step_s[worst]),
                "line": int(track.line[worst + 1]),
            },
            remedy="look at the solution there; export the trajectory again",
        )
