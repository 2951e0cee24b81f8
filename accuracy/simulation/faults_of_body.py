"""Faults fixed to the aircraft: their vector turns with the heading, so they are judged by flight line.

Body axes forward, right, down; scan angle positive to the right; x the distance right of the sensor and H its
height above the place. Level flight; to first order in the size.
"""

from __future__ import annotations

import numpy as np

from accuracy.simulation.fault_record import Array, Fault, Where


def _range(size: float, where: Where) -> Array:
    angle = np.arctan2(where.across_m, where.height_m)
    return where.body(0.0, size * np.sin(angle), -size * np.cos(angle))


def _scan_scale(size: float, where: Where) -> Array:
    angle = np.arctan2(where.across_m, where.height_m)
    return where.body(0.0, size * angle * where.height_m, size * angle * np.asarray(where.across_m))


def _rad(size_deg: float) -> float:
    return float(np.radians(size_deg))


BODY_FAULTS: tuple[Fault, ...] = (
    Fault(
        name="boresight-roll",
        family="body",
        unit="deg",
        example="0.02deg",
        largest=2.0,
        what="The roll angle between scanner and inertial unit is wrong in the processing.",
        sign="positive: roll used too large (right side too far down)",
        vector="across -H * size, up -x * size",
        seen="Lines flown to and fro tilt against each other like the sides of a roof: low on the right of "
        "each line, high on the left. The mean over opposite lines is close to zero.",
        alike="lever-right: moves across, too, but does not tilt.",
        vector_m=lambda size, where: where.body(
            0.0,
            -np.asarray(where.height_m) * _rad(size),
            -np.asarray(where.across_m) * _rad(size),
        ),
    ),
    Fault(
        name="boresight-pitch",
        family="body",
        unit="deg",
        example="-0.02deg",
        largest=2.0,
        what="The pitch angle between scanner and inertial unit is wrong in the processing.",
        sign="positive: pitch used too large (nose too high)",
        vector="along +H * size",
        seen="Nothing on flat ground. Targets and slopes lie forward along every line, so opposite lines "
        "disagree by twice the amount.",
        alike="lever-forward and clock-offset: two heights and two speeds tell.",
        vector_m=lambda size, where: where.body(np.asarray(where.height_m) * _rad(size), 0.0, 0.0),
    ),
    Fault(
        name="boresight-heading",
        family="body",
        unit="deg",
        example="0.05deg",
        largest=2.0,
        what="The heading angle between scanner and inertial unit is wrong in the processing.",
        sign="positive: heading used too large (turned clockwise)",
        vector="along -x * size",
        seen="Nothing on flat ground and nothing under the track; targets are skewed, backward on the right of "
        "a line and forward on its left.",
        alike="boresight-pitch: the same on both sides and under the track.",
        vector_m=lambda size, where: where.body(-np.asarray(where.across_m) * _rad(size), 0.0, 0.0),
    ),
    Fault(
        name="lever-forward",
        family="body",
        unit="m",
        example="0.05m",
        largest=2.0,
        what="The lever arm used is too long forward.",
        sign="positive: too far forward",
        vector="along +size",
        seen="As boresight-pitch, but the same at every height and speed.",
        alike="boresight-pitch grows with height, clock-offset with speed.",
        vector_m=lambda size, where: where.body(size, 0.0, 0.0),
    ),
    Fault(
        name="lever-right",
        family="body",
        unit="m",
        example="0.05m",
        largest=2.0,
        what="The lever arm used is too long to the right.",
        sign="positive: too far right",
        vector="across +size",
        seen="Targets lie to the right of every line; opposite lines disagree by twice the amount.",
        alike="boresight-roll also tilts the swath.",
        vector_m=lambda size, where: where.body(0.0, size, 0.0),
    ),
    Fault(
        name="lever-down",
        family="body",
        unit="m",
        example="40mm",
        largest=2.0,
        what="The lever arm used is too long downwards.",
        sign="positive: too far down, everything too low",
        vector="up -size",
        seen="A constant in height: it does not change with the heading.",
        alike="base-up, geoid-model: inseparable in one flight. It returns with this payload on every job; the "
        "others change with set-up or place.",
        vector_m=lambda size, where: where.body(0.0, 0.0, -size),
    ),
    Fault(
        name="range-offset",
        family="body",
        unit="m",
        example="30mm",
        largest=1.0,
        what="All ranges are too long by the same amount.",
        sign="positive: ranges too long",
        vector="across +size * sin(theta), up -size * cos(theta)",
        seen="Heights low, a little less so at the edges of the swath, and targets pushed outwards there.",
        alike="lever-down, base-up: separated by the cosine of the scan angle only.",
        vector_m=_range,
    ),
    Fault(
        name="scan-scale",
        family="body",
        unit="ratio",
        example="0.1%",
        largest=0.05,
        what="Scan angles are too large by a factor.",
        sign="positive: angles too large",
        vector="across +H * theta * size, up +x * theta * size (theta in radians)",
        seen="A smile: both edges of every swath too high, targets pushed outwards.",
        alike="range-offset has the opposite curve and an offset under the track.",
        vector_m=_scan_scale,
    ),
    Fault(
        name="clock-offset",
        family="body",
        unit="s",
        example="10ms",
        largest=20.0,
        what="The scanner's clock is behind the trajectory's, which is therefore read too late; 18 s are the "
        "leap seconds between UTC and GPS time.",
        sign="positive: the trajectory is taken at a later time, everything too far forward",
        vector="along the way over the ground +v * size, up v_up * size",
        seen="As boresight-pitch, but growing with speed; in climbs a height, too. 18 s put everything 90 m "
        "ahead at 5 m/s.",
        alike="boresight-pitch, lever-forward: two speeds tell.",
        vector_m=lambda size, where: where.on_track(
            np.asarray(where.speed_m_s) * size, np.asarray(where.climb_m_s) * size
        ),
    ),
)
