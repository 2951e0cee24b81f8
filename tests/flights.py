"""Simulated flights whose truth is known: straight lines at constant speed joined by turns; and clouds."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from jobs import CRS
from numpy.typing import NDArray

from accuracy.formats import open_cloud
from accuracy.formats.las_write import write_points
from accuracy.georeferencing.reference import declared
from accuracy.inputs.trajectory_table import TrajectoryTable, read_trajectory
from accuracy.job.trajectory_section import TrajectorySection
from accuracy.sampling.tin import CloudSetting
from accuracy.trajectory.check import Limits, check_trajectory
from accuracy.trajectory.cloud import CloudSide
from accuracy.trajectory.frame import Destination, positions_of
from accuracy.trajectory.record import Span, TrajectoryCheck

Array = NDArray[np.float64]

EAST, NORTH = 412_000.0, 4_541_000.0
#: Sunday 2026-05-10 00:00 GPS time, the start of GPS week 2418.
WEEK = 2418
WEEK_START_S = WEEK * 604_800.0
START_S = WEEK_START_S + 4 * 86_400 + 61_200.0
HEIGHT_M, SPEED_M_S, LINE_M, TURN_S = 60.0, 6.0, 240.0, 8.0
TILT_EAST, TILT_NORTH = 0.03, -0.02


def ground_m(east_m: Array, north_m: Array) -> Array:
    """Height of the tilted plane under all flights, metres."""
    return 500.0 + TILT_EAST * (east_m - EAST) + TILT_NORTH * (north_m - NORTH)


@dataclass
class Flight:
    """Rows of a trajectory, and where its lines are in time. Times are GPS seconds; arrays (n,)."""

    time_s: Array
    east_m: Array
    north_m: Array
    up_m: Array
    heading_deg: Array
    lines: list[tuple[float, float, float]]  # start, end, heading

    def table_text(
        self,
        time: Callable[[float], str] = lambda t: f"{t - 1e9:.4f}",
        more: Mapping[str, Sequence[object]] | None = None,
    ) -> str:
        """Write the trajectory as text; `more` adds or replaces columns."""
        columns: dict[str, Sequence[object]] = {
            "time": [time(t) for t in self.time_s.tolist()],
            "easting_m": [f"{v:.4f}" for v in self.east_m],
            "northing_m": [f"{v:.4f}" for v in self.north_m],
            "height_m": [f"{v:.4f}" for v in self.up_m],
            "roll_deg": ["0.5"] * len(self.time_s),
            "pitch_deg": ["-1.5"] * len(self.time_s),
            "heading_deg": [f"{v:.3f}" for v in self.heading_deg],
            "fix": ["Fixed"] * len(self.time_s),
        } | dict(more or {})
        rows = [",".join(map(str, row)) for row in zip(*columns.values(), strict=True)]
        return "\n".join([",".join(columns), *rows, ""])


def fly(
    headings_deg: Sequence[float] = (0.0, 180.0, 90.0),
    *,
    follow: bool = True,
    rate_hz: float = 10.0,
    start_s: float = START_S,
) -> Flight:
    """Fly lines of `LINE_M` in these directions, one after the other, with turns of `TURN_S` between.

    With `follow`, `HEIGHT_M` above the ground; else at one height above the sea.
    """
    time, east, north, heading, lines = [], [], [], [], []
    step = 1.0 / rate_hz
    count = round(LINE_M / SPEED_M_S * rate_hz)
    now, ends = start_s, None
    for angle in headings_deg:
        u = np.array([np.sin(np.radians(angle)), np.cos(np.radians(angle))])
        begin = np.array([EAST + 60.0, NORTH + 60.0])
        if ends is not None:
            place, before = ends
            back = before @ u < -0.9  # beside the line before, else where an arc leads
            aside = 30.0 * np.array([before[1], -before[0]])
            begin = place + (aside if back else 20.0 * (before + u))
        if ends is not None:
            place, before = ends
            s = np.arange(1, round(TURN_S * rate_hz)) * step / TURN_S  # cubic with both velocities
            h = [2 * s**3 - 3 * s**2 + 1, s**3 - 2 * s**2 + s, -2 * s**3 + 3 * s**2, s**3 - s**2]
            way = SPEED_M_S * TURN_S
            path = [
                h[0] * place[i] + h[1] * way * before[i] + h[2] * begin[i] + h[3] * way * u[i]
                for i in (0, 1)
            ]
            time.append(now + s * TURN_S)
            east.append(path[0])
            north.append(path[1])
            heading.append(np.degrees(np.arctan2(np.gradient(path[0]), np.gradient(path[1]))))
            now += TURN_S
        along = np.arange(count + 1) * step * SPEED_M_S
        time.append(now + np.arange(count + 1) * step)
        east.append(begin[0] + along * u[0])
        north.append(begin[1] + along * u[1])
        heading.append(np.full(count + 1, angle))
        lines.append((now, now + count * step, angle))
        now += count * step
        ends = (begin + u * LINE_M, u)
    e, n = np.concatenate(east), np.concatenate(north)
    up = ground_m(e, n) + HEIGHT_M if follow else np.full(len(e), 500.0 + HEIGHT_M)
    return Flight(np.concatenate(time), e, n, up, np.concatenate(heading) % 360.0, lines)


def scan(
    flight: Flight, *, per_line: int = 6000, seed: int = 5, ahead_m: float = 0.0
) -> dict[str, Array]:
    """Scan the ground from every line: points abreast of the sensor, up to 25 m to either side."""
    random = np.random.default_rng(seed)
    parts = []
    for start_s, end_s, angle in flight.lines:
        time_s = np.sort(random.uniform(start_s, end_s, per_line))
        across = random.uniform(-25.0, 25.0, per_line)
        u = np.sin(np.radians(angle)), np.cos(np.radians(angle))
        east = np.interp(time_s, flight.time_s, flight.east_m) + across * u[1] + ahead_m * u[0]
        north = np.interp(time_s, flight.time_s, flight.north_m) - across * u[0] + ahead_m * u[1]
        parts.append((time_s, east, north))
    time_s, east, north = (np.concatenate([part[i] for part in parts]) for i in range(3))
    return {"gps_time": time_s, "x": east, "y": north, "z": ground_m(east, north)}


def write_cloud(
    path: Path, points: Mapping[str, Array], stored: Callable[[Array], Array], adjusted: bool
) -> None:
    """Write a cloud of class 2; `stored` turns GPS seconds into stored times, `adjusted` is the header bit."""
    import pyproj

    write_points(
        path,
        points=dict(points)
        | {
            "gps_time": stored(points["gps_time"]),
            "classification": np.full(len(points["x"]), 2, np.uint8),
        },
        scale=(0.001, 0.001, 0.0001),
        offset=(EAST, NORTH, 0.0),
        wkt=pyproj.CRS.from_user_input(CRS).to_wkt("WKT1_GDAL"),
    )
    data = bytearray(path.read_bytes())
    data[6] = (data[6] & 0xFE) | int(adjusted)  # global encoding, bit 0
    path.write_bytes(bytes(data))


def read(
    folder: Path, text: str, time: str = "gps-adjusted-standard", **keys: object
) -> TrajectoryTable:
    """Read a trajectory written as text."""
    path = folder / "trajectory.csv"
    path.write_text(text, "utf-8")
    section = TrajectorySection.model_validate({"file": path.name, "time": time} | keys)
    return read_trajectory(path, section)


def check(
    table: TrajectoryTable,
    cloud: Path | None = None,
    *,
    crs: str = CRS,
    base: Span | None = None,
    limits: Limits | None = None,
    all_points: bool = False,
) -> TrajectoryCheck:
    """Check a trajectory in `CRS`, with a cloud in `CRS` if there is one."""
    side = destination = None
    if cloud is not None:
        side = CloudSide("cloud", [open_cloud(cloud)], CloudSetting((2,), 1.0, 1.0))
        destination = Destination(declared(CRS), "cloud")
    positions = positions_of(table, declared(crs), destination)
    return check_trajectory(
        table, positions, side=side, base=base, limits=limits, all_points=all_points
    )


def codes(found: TrajectoryCheck) -> list[str]:
    """Codes of what was found, without plain notes on columns."""
    return sorted({f.code for f in found.findings} - {"trajectory-columns"})
