"""A flight for the tests of the diagnosis: exact rotations, a terrain that is known, errors of known size.

Independent of the catalogue's closed forms and of the package's simulator: every ray is turned by matrices
and cut with the ground by iteration. Errors: noise of each row, a survey error of each point, a wander of
each line, one shift of everything.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from accuracy.diagnosis.records import Sightings

Array = NDArray[np.float64]


def turn(roll_deg: float, pitch_deg: float, heading_deg: float) -> Array:
    """Rotation matrix, body (forward, right, down) to body: heading after pitch after roll."""
    r, p, h = (math.radians(v) for v in (roll_deg, pitch_deg, heading_deg))
    about_x = np.array([[1, 0, 0], [0, math.cos(r), -math.sin(r)], [0, math.sin(r), math.cos(r)]])
    about_y = np.array([[math.cos(p), 0, math.sin(p)], [0, 1, 0], [-math.sin(p), 0, math.cos(p)]])
    about_z = np.array([[math.cos(h), -math.sin(h), 0], [math.sin(h), math.cos(h), 0], [0, 0, 1]])
    return np.asarray(about_z @ about_y @ about_x)


@dataclass(frozen=True)
class Wrong:
    """What is wrong with the aircraft: degrees, metres, seconds, scan angles as a ratio."""

    roll_deg: float = 0.0
    pitch_deg: float = 0.0
    heading_deg: float = 0.0
    lever_m: tuple[float, float, float] = (0.0, 0.0, 0.0)
    clock_s: float = 0.0
    range_m: float = 0.0
    scan_scale: float = 0.0


@dataclass(frozen=True)
class Line:
    """A line: heading, height above the ground, speed."""

    number: int
    heading_deg: float
    height_m: float = 50.0
    speed_m_s: float = 5.0


CROSSING = (Line(1, 20.0), Line(2, 200.0), Line(3, 110.0), Line(4, 290.0))
TWO_HEIGHTS = (
    *CROSSING,
    Line(5, 20.0, 80.0, 8.0),
    Line(6, 200.0, 80.0, 3.0),
    Line(7, 110.0, 80.0, 5.0),
)


def displaced(line: Line, across_m: float, wrong: Wrong) -> Array:
    """East, north, up by which a point on flat ground moves, by exact rotations (no closed form)."""
    theta = math.atan2(across_m, line.height_m)
    distance = math.hypot(across_m, line.height_m)
    attitude = turn(0.0, 0.0, line.heading_deg)  # forward-right-down to north-east-down
    sensed = theta * (1.0 + wrong.scan_scale)
    true = distance * np.array([0.0, math.sin(theta), math.cos(theta)])
    beam = (distance + wrong.range_m) * np.array([0.0, math.sin(sensed), math.cos(sensed)])
    bore = turn(wrong.roll_deg, wrong.pitch_deg, wrong.heading_deg)
    ahead = np.array([line.speed_m_s * wrong.clock_s, 0.0, 0.0])
    moved = attitude @ (bore @ beam + np.array(wrong.lever_m) + ahead) - attitude @ true
    return np.array([moved[1], moved[0], -moved[2]])


@dataclass(frozen=True)
class Noise:
    """Standard deviations in metres."""

    row_h: float = 0.010
    row_v: float = 0.010
    point_h: float = 0.008
    point_v: float = 0.010
    line_h: float = 0.008
    line_v: float = 0.010
    shared_h: float = 0.005
    shared_v: float = 0.007


@dataclass(frozen=True)
class Setting:
    """What is flown over: points, targets among them, slopes, lines."""

    points: int = 30
    targets: bool = True
    slope: float = 0.08
    lines: tuple[Line, ...] = CROSSING
    noise: Noise = field(default_factory=Noise)
    reach_m: float = 200.0


def fly(
    seed: int,
    setting: Setting | None = None,
    wrong: Wrong | None = None,
    mapped: Callable[[Array], Array] | None = None,
) -> Sightings:
    """Fly.

    Parameters
    ----------
    wrong : Wrong, optional
        What is wrong with the aircraft.
    mapped : callable, optional
        Displacement of positions, shape (n, 3), that belongs to the map.
    """
    setting, wrong = setting or Setting(), wrong or Wrong()
    rng = np.random.default_rng(seed)
    noise, p = setting.noise, setting.points
    place = np.column_stack(
        [
            412_000.0 + rng.uniform(-setting.reach_m, setting.reach_m, p),
            4_541_000.0 + rng.uniform(-setting.reach_m, setting.reach_m, p),
            rng.uniform(1290.0, 1310.0, p),
        ]
    )
    slope = rng.normal(0.0, setting.slope, (p, 2))
    shared = rng.normal(0.0, [noise.shared_h, noise.shared_h, noise.shared_v])
    survey = rng.normal(0.0, [noise.point_h, noise.point_h, noise.point_v], (p, 3))
    rows = []
    for line in setting.lines:
        wander = rng.normal(0.0, [noise.line_h, noise.line_h, noise.line_v])
        for i in range(p):
            across = float(rng.uniform(-0.7, 0.7) * line.height_m)
            if rng.random() < 0.25:
                continue
            moved = displaced(line, across, wrong) + wander + shared - survey[i]
            if mapped is not None:
                moved = moved + mapped(place[i : i + 1])[0]
            jitter = rng.normal(0.0, [noise.row_h, noise.row_h, noise.row_v])
            up = moved[2] - moved[:2] @ slope[i] + jitter[2]
            flat = moved[:2] + jitter[:2] if setting.targets else np.full(2, np.nan)
            rows.append((i, line, across, [*flat, up]))
    index = np.array([r[0] for r in rows], dtype=np.intp)
    return Sightings(
        ids=tuple(f"CP{i + 1:02d}" for i in range(p)),
        place=index,
        residual_m=np.array([r[3] for r in rows]),
        position_m=place[index],
        gradient=slope[index],
        line=np.array([r[1].number for r in rows], dtype=np.intp),
        heading_deg=np.array([r[1].heading_deg for r in rows]),
        across_m=np.array([r[2] for r in rows]),
        height_m=np.array([r[1].height_m for r in rows]),
        speed_m_s=np.array([r[1].speed_m_s for r in rows]),
        returns=np.ones(len(rows)),
        order=np.arange(1, p + 1, dtype=np.intp),
        survey_h_m=None,
        survey_v_m=None,
    )
