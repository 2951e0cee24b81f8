"""The trajectory of the demo's flight: the planned lines, a turn between them, and what a processing states."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from accuracy.simulation.demo_site import flight_plan

Array = NDArray[np.float64]

STEP_S = 0.2
BEFORE_S = AFTER_S = 8.0
POSITION_STD_M = (
    0.004  # of what is written about the true track: the cloud was made with the true one
)
SEPARATION_STD_M = (0.008, 0.008, 0.015)  # east, north, up


def track(time_s: Array) -> tuple[Array, Array, Array]:
    """Give easting, northing (m) and heading (deg, from north) at GPS week times; exact on the lines."""
    out, back = flight_plan()
    out_s = (out.end_m[0] - out.start_m[0]) / out.speed_m_s
    between_s = back.start_s - out.start_s - out_s
    elapsed_s = time_s - out.start_s
    east = np.where(
        elapsed_s < out_s,
        out.start_m[0] + out.speed_m_s * elapsed_s,
        back.start_m[0] - back.speed_m_s * (time_s - back.start_s),
    )
    north = np.where(elapsed_s < out_s, out.start_m[1], back.start_m[1])
    heading = np.where(elapsed_s < out_s, 90.0, 270.0)
    # an arc to the left that leaves and meets the lines with their own speed
    turning = (elapsed_s >= out_s) & (time_s <= back.start_s)
    s = np.clip((elapsed_s - out_s) / between_s, 0.0, 1.0)
    reach_m = out.speed_m_s * between_s
    bulge_m = reach_m * s * (1.0 - s)
    rise = s * s * (3.0 - 2.0 * s)
    width_m = back.start_m[1] - out.start_m[1]
    east = np.where(turning, out.end_m[0] + bulge_m, east)
    north = np.where(turning, out.start_m[1] + width_m * rise, north)
    d_east, d_north = reach_m * (1.0 - 2.0 * s), width_m * 6.0 * s * (1.0 - s)
    heading = np.where(turning, np.degrees(np.arctan2(d_east, d_north)) % 360.0, heading)
    return east, north, heading


def trajectory_table(random: np.random.Generator) -> str:
    """Write the trajectory as a processing would export it."""
    out, back = flight_plan()
    end_s = back.start_s + math.dist(back.start_m, back.end_m) / back.speed_m_s
    count = round((end_s + AFTER_S - out.start_s + BEFORE_S) / STEP_S)
    time_s: Array = np.arange(count + 1, dtype=np.float64) * STEP_S + (out.start_s - BEFORE_S)
    east, north, heading = track(time_s)
    noise = random.normal(0.0, POSITION_STD_M, (count + 1, 3))
    apart = random.normal(0.0, SEPARATION_STD_M, (count + 1, 3))
    roll, pitch = random.normal(0.0, 0.6, count + 1), random.normal(-2.0, 0.5, count + 1)
    rows = [
        "time,easting,northing,height,roll_deg,pitch_deg,heading_deg,fix,satellites,"
        "separation_east,separation_north,separation_up"
    ]
    for i, t in enumerate(time_s.tolist()):
        rows.append(
            f"{t:.1f},{east[i] + noise[i, 0]:.3f},{north[i] + noise[i, 1]:.3f},"
            f"{out.height_m + noise[i, 2]:.3f},{roll[i]:.2f},{pitch[i]:.2f},{heading[i]:.2f},fixed,"
            f"{17 + i // 90 % 3},{apart[i, 0]:.3f},{apart[i, 1]:.3f},{apart[i, 2]:.3f}"
        )
    return "\n".join([*rows, ""])
