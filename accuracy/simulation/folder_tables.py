"""Tables of a scenario's folder: checkpoints, measured targets, trajectory."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from accuracy.simulation.fault_record import Where
from accuracy.simulation.faults import map_shift_m
from accuracy.simulation.memory_record import Simulated
from accuracy.simulation.near import Flight

Array = NDArray[np.float64]

STEP_S = 0.2
LEAD_S = 8.0  # the exported trajectory begins and ends so far from the passes
SEPARATION_STD_M = (0.006, 0.006, 0.011)  # forward minus reverse solution: east, north, up


def checkpoint_table(flight: Flight) -> str:
    """Write the survey's table; heights and places as surveyed."""
    raised = {target.id: target.raised_m for target in flight.scenario.landscape.targets}
    rows = ["id,easting,northing,height,cover,kind,description"]
    survey = flight.survey
    for mark, place_m, session in zip(
        survey.marks, survey.surveyed_m.tolist(), survey.session.tolist(), strict=True
    ):
        kind = "vertical" if not mark.target else "horizontal" if raised[mark.target] else "both"
        east, north, up = place_m
        rows.append(
            f"{mark.id},{east:.3f},{north:.3f},{up:.3f},{mark.cover},{kind},"
            f"{mark.what.replace(',', '')}; session {session}"
        )
    return "\n".join([*rows, ""])


def target_table(flight: Flight) -> str:
    """Write what is painted where: id, kind, size, direction; no coordinates."""
    rows = ["id,pattern,size_m,azimuth_deg,raised_m"]
    rows += [
        f"{each.id},{each.kind},{each.size_m:.3f},{each.azimuth_deg:.1f},{each.raised_m:.3f}"
        for each in flight.scenario.landscape.targets
    ]
    return "\n".join([*rows, ""])


def measured_table(simulated: Simulated) -> str:
    """Write centres of targets as picked in the cloud; nothing where no target could be picked."""
    rows = []
    for name, (east, north, up) in zip(
        simulated.checkpoints.id, simulated.measured_m.tolist(), strict=True
    ):
        if math.isfinite(east):
            rows.append(f"{name},{east:.3f},{north:.3f},{up:.3f}")
    return "\n".join(["id,easting,northing,height", *rows, ""]) if rows else ""


def trajectory_table(flight: Flight) -> str:
    """Write the trajectory as a processing exports it: with its errors, and moved with the deliverable."""
    begin_s = flight.motion.tracks[0].start_s - LEAD_S
    end_s = flight.motion.tracks[-1].end_s + LEAD_S
    time_s: Array = begin_s + STEP_S * np.arange(
        math.floor((end_s - begin_s) / STEP_S) + 1, dtype=np.float64
    )
    position_m, attitude_deg = flown(flight, time_s)
    error_m, error_deg = flight.motion.errors(time_s)
    place_m = position_m + error_m + flight.origin_m()
    where = Where(
        site=flight.scenario.site,
        east_m=place_m[:, 0],
        north_m=place_m[:, 1],
        up_m=place_m[:, 2],
    )
    place_m = place_m + map_shift_m(flight.faults, where)
    angle_deg = attitude_deg + error_deg
    random = np.random.Generator(np.random.PCG64([flight.seed, 140]))
    apart_m = random.normal(0.0, SEPARATION_STD_M, (len(time_s), 3))
    rows = [
        "time,easting,northing,height,roll_deg,pitch_deg,heading_deg,fix,satellites,"
        "separation_east,separation_north,separation_up"
    ]
    for i, t in enumerate(time_s.tolist()):
        rows.append(
            f"{t:.1f},{place_m[i, 0]:.3f},{place_m[i, 1]:.3f},{place_m[i, 2]:.3f},"
            f"{angle_deg[i, 0]:.3f},{angle_deg[i, 1]:.3f},{angle_deg[i, 2] % 360.0:.3f},fixed,"
            f"{17 + i // 90 % 3},{apart_m[i, 0]:.3f},{apart_m[i, 1]:.3f},{apart_m[i, 2]:.3f}"
        )
    return "\n".join([*rows, ""])


def flown(flight: Flight, time_s: Array) -> tuple[Array, Array]:
    """Give true positions (relative to the origin) and attitudes at any time, turns between passes included."""
    tracks = flight.motion.tracks
    position_m, attitude_deg = np.empty((len(time_s), 3)), np.empty((len(time_s), 3))
    for k, track in enumerate(tracks):
        first = -math.inf if k == 0 else tracks[k - 1].end_s
        last = math.inf if k == len(tracks) - 1 else track.end_s
        mine = np.flatnonzero((time_s > first) & (time_s <= last))
        position_m[mine], _ = track.position_m(time_s[mine])
        attitude_deg[mine] = flight.motion.attitude_deg(track, time_s[mine])
        turning = mine[time_s[mine] < track.start_s] if k else mine[:0]
        if turning.size:
            before = tracks[k - 1]
            ends = np.array([before.end_s]), np.array([track.start_s])
            (start_m, _), (end_m, _) = before.position_m(ends[0]), track.position_m(ends[1])
            span_s = float(ends[1][0] - ends[0][0])
            leave, meet = (
                np.array([*each.ahead, 0.0]) * each.plan.speed_m_s for each in (before, track)
            )
            s = ((time_s[turning] - ends[0][0]) / span_s)[:, None]
            position_m[turning] = (
                (1 + 2 * s) * (1 - s) ** 2 * start_m
                + s * (1 - s) ** 2 * span_s * leave
                + s**2 * (3 - 2 * s) * end_m
                + s**2 * (s - 1) * span_s * meet
            )
            rate = (
                6 * s * (s - 1) * start_m
                + (3 * s - 1) * (s - 1) * span_s * leave
                + 6 * s * (1 - s) * end_m
                + s * (3 * s - 2) * span_s * meet
            )
            attitude_deg[turning, 2] = np.degrees(np.arctan2(rate[:, 0], rate[:, 1]))
    return position_m, attitude_deg
