"""Where and how each flight line passes each point: from the trajectory, else from times and scan angles alone.

A scanner that sweeps across the track sees the points of one line in the order in which it flies over them.
So the GPS times of the points of a line rise along the direction of flight, by one second for each metre over
the speed; and their scan angles say how far to the side they lie.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from accuracy.diagnosis.records import Array, Indices
from accuracy.gps_time import ADJUSTED_S, WEEK_S

#: Points that a direction is taken from, at least, and how far they must reach along and across (metres).
LEAST_POINTS, LEAST_REACH_M = 4, 10.0
#: A time may lie so far outside a line of the trajectory and still belong to it (seconds).
BESIDE_S = 2.0
#: Speeds that a drone or an aircraft flies its lines with, metres per second.
SPEEDS_M_S = (0.5, 150.0)
#: A direction is not believed where times leave the plane by more than so many metres of flight.
FITS_M = 8.0
#: Spread of scan angles that a height of flight is taken from, degrees.
LEAST_ANGLE_DEG = 8.0
#: Aircraft fly askew in the wind by less than this.
MOST_CRAB_DEG = 30.0


@dataclass(frozen=True, eq=False)
class Crossing:
    """Heading of the aircraft, distance right of it, height, speed; shape (n,), NaN where unknown."""

    heading_deg: Array
    across_m: Array
    height_m: Array
    speed_m_s: Array
    crab_deg: float = 0.0


def crossings(
    *,
    line: Indices,
    position_m: Array,
    scan_angle_deg: Array,
    gps_time: Array,
    trajectory: Mapping[str, Any],
) -> Crossing:
    """Find how each line passes each point.

    Parameters
    ----------
    line : ndarray of int, shape (n,)
        Flight line of each row; -1: not known.
    trajectory : mapping
        ``trajectory`` of the result, or empty.
    """
    n = len(line)
    heading, height, speed = (np.full(n, np.nan) for _ in range(3))
    flown: Sequence[Mapping[str, Any]] = trajectory.get("lines") or ()
    for one in np.unique(line[line >= 0]):
        rows = np.flatnonzero(line == one)
        for row in rows:
            its = _flown(flown, float(gps_time[row]))
            if its is not None:
                heading[row], speed[row] = its["heading_deg"], its["speed_m_s"]
                height[row] = _number(its.get("height_above_ground_m"))
        if np.isnan(heading[rows]).any():
            found = _direction(position_m[rows], gps_time[rows])
            if found is not None:
                open_rows = rows[np.isnan(heading[rows])]
                heading[open_rows], speed[open_rows] = found
        low = _height(position_m[rows], scan_angle_deg[rows], heading[rows])
        if low is not None:
            height[rows] = np.where(np.isnan(height[rows]), low, height[rows])
    lines_known = np.isfinite(height)
    if lines_known.any():
        height = np.where(
            line >= 0, np.where(lines_known, height, np.median(height[lines_known])), np.nan
        )
    across = height * np.tan(np.radians(scan_angle_deg))
    whole = np.isfinite(heading) & np.isfinite(across) & np.isfinite(height) & np.isfinite(speed)
    crab = _number((trajectory.get("attitude") or {}).get("heading_minus_course_deg"))
    crab = (
        crab if abs(crab) < MOST_CRAB_DEG else 0.0
    )  # more is a mistake of the trajectory, told there
    heading = (heading + crab) % 360.0
    heading, across, height, speed = (
        np.where(whole, v, np.nan) for v in (heading, across, height, speed)
    )
    return Crossing(heading, across, height, speed, crab)


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)


def _flown(lines: Sequence[Mapping[str, Any]], stored: float) -> Mapping[str, Any] | None:
    """Find the line of the trajectory that a stored GPS time belongs to, whichever way time was stored."""
    if not math.isfinite(stored):
        return None
    for its in lines:
        middle = (its["start_s"] + its["end_s"]) / 2.0
        for time in (
            stored,
            stored + ADJUSTED_S,
            stored + round((middle - stored) / WEEK_S) * WEEK_S,
        ):
            if its["start_s"] - BESIDE_S <= time <= its["end_s"] + BESIDE_S:
                return its
    return None


def _direction(position_m: Array, time_s: Array) -> tuple[float, float] | None:
    """Give heading in degrees and speed from the times of the points; None where they do not say."""
    good = np.isfinite(position_m[:, :2]).all(axis=1) & np.isfinite(time_s)
    if good.sum() < LEAST_POINTS:
        return None
    here = position_m[good, :2] - position_m[good, :2].mean(axis=0)
    reach = np.linalg.svd(here, compute_uv=False) / math.sqrt(good.sum())
    if reach[-1] < LEAST_REACH_M / 3.0:
        return None
    time = time_s[good] - time_s[good].mean()
    rate, *_ = np.linalg.lstsq(here, time, rcond=None)
    size = float(np.hypot(*rate))
    if size == 0.0:
        return None
    speed = 1.0 / size
    left_m = np.abs(time - here @ rate) * speed
    if not SPEEDS_M_S[0] < speed < SPEEDS_M_S[1] or float(np.median(left_m)) > FITS_M:
        return None
    return math.degrees(math.atan2(rate[0], rate[1])) % 360.0, speed


def _height(position_m: Array, scan_angle_deg: Array, heading_deg: Array) -> float | None:
    """Give the height of flight: how much farther to the side points lie for a steeper angle."""
    good = (
        np.isfinite(position_m[:, :2]).all(axis=1)
        & np.isfinite(scan_angle_deg)
        & np.isfinite(heading_deg)
    )
    if good.sum() < LEAST_POINTS or np.ptp(scan_angle_deg[good]) < LEAST_ANGLE_DEG:
        return None
    psi = np.radians(heading_deg[good])
    aside = position_m[good, 0] * np.cos(psi) - position_m[good, 1] * np.sin(psi)
    design = np.column_stack([np.ones(good.sum()), np.tan(np.radians(scan_angle_deg[good]))])
    solution, *_ = np.linalg.lstsq(design, aside - aside.mean(), rcond=None)
    height = float(solution[1])
    return height if 5.0 < height < 5000.0 else None
