"""Small flights with rigorous geometry and known faults, for tests of flight lines: invented, closed form.

Body axes: forward, right, down. A fault is what the georeferencing applies wrongly; the beam itself is true.
Signs follow p = P + R (r + a): a roll of +e moves points by -H e to the right and -x e up, a pitch of +e by
+H e forward, a heading of +e by -x e forward (derived; small angles).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from accuracy.flightlines.analysis import analyse_lines
from accuracy.flightlines.records import LinesRecord, LinesSettings
from accuracy.formats import open_cloud
from accuracy.formats.las_write import write_points

Array = NDArray[np.float64]
Points = dict[str, NDArray]

EAST, NORTH, START_S = 412_000.0, 4_541_000.0, 300_000_000.0
SPEED_M_S, HEIGHT_M, SIGMA_M = 8.0, 40.0, 0.015


def flat(x: Array, y: Array) -> Array:
    """Level ground."""
    return np.full(np.broadcast(x, y).shape, 100.0)


def waves(x: Array, y: Array) -> Array:
    """Slopes up to 0.3 of every aspect."""
    return 100.0 + 0.6 * np.sin(2 * np.pi * x / 13.0) + 0.7 * np.sin(2 * np.pi * y / 15.0 + 1.0)


@dataclass(frozen=True)
class Fault:
    """Errors of one line; angles in radians, lengths in metres."""

    roll: float = 0.0
    pitch: float = 0.0
    heading: float = 0.0
    forward_m: float = 0.0
    right_m: float = 0.0
    down_m: float = 0.0
    range_m: float = 0.0
    drift_m_s: float = 0.0
    up_m: float = 0.0


@dataclass(frozen=True)
class Line:
    """One pass; `east_m` of its track, from the southern end or the northern."""

    number: int
    east_m: float
    heading_deg: float
    start_s: float
    length_m: float = 120.0


def fly(
    line: Line,
    ground: Callable[[Array, Array], Array],
    fault: Fault,
    rng: np.random.Generator,
    *,
    per_m2: float = 30.0,
    half_deg: float = 25.0,
    sigma_m: float = SIGMA_M,
) -> Points:
    """Record one pass: ray by ray onto the ground, ranges with noise, wrong georeferencing."""
    half = HEIGHT_M * np.tan(np.radians(half_deg))
    count = int(per_m2 * line.length_m * 2 * half)
    along = np.sort(rng.uniform(0.0, line.length_m, count))
    angle = np.arctan(rng.uniform(-half, half, count) / HEIGHT_M)  # even on level ground
    north = line.heading_deg == 0.0
    sign = 1.0 if north else -1.0
    x0 = np.full(count, line.east_m)
    y0 = along if north else line.length_m - along
    z0 = 100.0 + HEIGHT_M
    right, down = np.sin(angle), np.cos(angle)
    length = np.full(count, HEIGHT_M)
    for _ in range(40):
        length = (z0 - ground(x0 + sign * right * length, y0)) / down
    time = line.start_s + along / SPEED_M_S
    seen = length + rng.normal(0.0, sigma_m, count) + fault.range_m
    f, r, d = np.zeros(count), right * seen, down * seen
    r, d = (
        r * np.cos(fault.roll) - d * np.sin(fault.roll),
        d * np.cos(fault.roll) + r * np.sin(fault.roll),
    )
    f, d = (
        f * np.cos(fault.pitch) + d * np.sin(fault.pitch),
        d * np.cos(fault.pitch) - f * np.sin(fault.pitch),
    )
    f, r = (
        f * np.cos(fault.heading) - r * np.sin(fault.heading),
        r * np.cos(fault.heading) + f * np.sin(fault.heading),
    )
    f, r, d = f + fault.forward_m, r + fault.right_m, d + fault.down_m
    up = fault.up_m + fault.drift_m_s * (time - START_S)
    return {
        "x": EAST + x0 + sign * r,
        "y": NORTH + y0 + sign * f,
        "z": z0 - d + up,
        "gps_time": time,
        "point_source_id": np.full(count, line.number),
        "scan_angle_deg": np.degrees(angle),
        "return_number": np.ones(count, np.uint8),
        "number_of_returns": np.ones(count, np.uint8),
        "classification": np.full(count, 2),
    }


def joined(parts: Sequence[Points]) -> Points:
    """Put points together in order."""
    return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}


def chosen(points: Points, index: NDArray) -> Points:
    """Pick points."""
    return {name: values[index] for name, values in points.items()}


#: Two lines to and fro, 20 m apart.
PAIR = (Line(11, 0.0, 0.0, START_S), Line(12, 20.0, 180.0, START_S + 40.0))
#: Four of them, and the second half flown later.
FOUR = (
    *PAIR,
    Line(13, 40.0, 0.0, START_S + 80.0),
    Line(14, 60.0, 180.0, START_S + 200.0),
)


def flight(
    lines: Sequence[Line] = PAIR,
    ground: Callable[[Array, Array], Array] = flat,
    fault: Fault | Sequence[Fault] = Fault(),
    seed: int = 1,
    **options: float,
) -> Points:
    """Fly all lines, all with one fault or each with its own."""
    faults = [fault] * len(lines) if isinstance(fault, Fault) else fault
    rng = np.random.default_rng(seed)
    return joined([fly(n, ground, f, rng, **options) for n, f in zip(lines, faults, strict=True)])


def write(path: Path, points: Points) -> Path:
    """Write points as LAS or LAZ, coordinates to 0.1 mm, so that storage adds nothing to the noise."""
    offset = (EAST, NORTH, 100.0)
    write_points(path, points=points, scale=(1e-4, 1e-4, 1e-4), offset=offset)
    return path


def analysed(into: Path, points: Points, **settings: object) -> LinesRecord:
    """Write one file and analyse it."""
    path = write(into / "flight.las", points)
    defaults = LinesSettings(design_anps_m=0.35)
    return analyse_lines([open_cloud(path)], replace(defaults, **settings))
