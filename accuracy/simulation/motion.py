"""How a scenario is flown: true positions and attitudes at any time, and what the trajectory says of them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from accuracy.simulation.chance import gauss_markov
from accuracy.simulation.scenario_record import Pass, Scenario

Array = NDArray[np.float64]

TURN_S = 10.0  # between two passes, at least, and more by the way to fly:
TURN_WAY = 1.3
LEAD_S = 25.0  # the trajectory reaches so far beyond the first and the last pass
KNOT_M = 12.0  # the height to fly is chosen at such steps
SMOOTH_M = 24.0  # from the mean height of the ground over so much of the way
STEP_S = 0.25  # of the wandering errors
#: Roll, pitch, heading: mean, and amplitude with period of two swings, degrees and seconds (invented).
_REST_DEG = (0.2, -0.6, 1.4)
_SWINGS = (
    ((0.45, 7.3), (0.20, 12.9)),
    ((0.40, 6.1), (0.25, 14.3)),
    ((0.50, 9.7), (0.30, 17.9)),
)


@dataclass(frozen=True, eq=False)
class Track:
    """One pass as flown: straight at even speed, its height following the ground smoothly.

    Places are relative to the terrain's origin in plan.
    """

    plan: Pass
    start_s: float
    knots_m: Array  # heights at KNOT_M steps along the way, from -BEYOND_M on

    BEYOND_M = 400.0

    @cached_property
    def length_m(self) -> float:
        """Length of the way."""
        return math.dist(self.plan.start_m, self.plan.end_m)

    @property
    def end_s(self) -> float:
        """Time at the end."""
        return self.start_s + self.length_m / self.plan.speed_m_s

    @cached_property
    def azimuth_deg(self) -> float:
        """Direction of the way, clockwise from grid north."""
        d_east, d_north = np.subtract(self.plan.end_m, self.plan.start_m)
        return math.degrees(math.atan2(d_east, d_north)) % 360.0

    @cached_property
    def ahead(self) -> tuple[float, float]:
        """East and north parts of a step ahead."""
        d_east, d_north = np.subtract(self.plan.end_m, self.plan.start_m) / self.length_m
        return float(d_east), float(d_north)

    def position_m(self, time_s: Array) -> tuple[Array, Array]:
        """Give east, north, height, shape (n, 3), and the climb in metres per second.

        Beyond the ends it goes straight on.
        """
        along_m = (time_s - self.start_s) * self.plan.speed_m_s
        at = np.clip((along_m + self.BEYOND_M) / KNOT_M, 1.0, len(self.knots_m) - 2.001)
        k = at.astype(np.int64)
        t = at - k
        p0, p1, p2, p3 = (self.knots_m[k + step] for step in (-1, 0, 1, 2))
        # cubic through the knots with the slopes of their neighbours
        a, b, c = -p0 + 3 * p1 - 3 * p2 + p3, 2 * p0 - 5 * p1 + 4 * p2 - p3, p2 - p0
        height_m = p1 + 0.5 * t * (c + t * (b + t * a))
        climb = 0.5 * (c + t * (2 * b + 3 * t * a)) / KNOT_M * self.plan.speed_m_s
        east_m = self.plan.start_m[0] + along_m * self.ahead[0]
        north_m = self.plan.start_m[1] + along_m * self.ahead[1]
        return np.column_stack([east_m, north_m, height_m]), climb


@dataclass(frozen=True, eq=False)
class Motion:
    """One flight of a scenario: true motion, and the wandering errors of the trajectory.

    Attributes
    ----------
    position_error_m, attitude_error_deg : ndarray, shape (k, 3)
        At `knot_s`: what the trajectory states minus what is true; east, north, up and roll, pitch, heading.
    """

    tracks: tuple[Track, ...]
    sway: float
    phases: Array
    knot_s: Array
    position_error_m: Array
    attitude_error_deg: Array

    def attitude_deg(self, track: Track, time_s: Array) -> Array:
        """Give true roll, pitch, heading, shape (n, 3)."""
        parts = []
        for axis, (rest_deg, swings) in enumerate(zip(_REST_DEG, _SWINGS, strict=True)):
            value = np.full_like(time_s, self.sway * rest_deg)
            for swing, (size_deg, period_s) in enumerate(swings):
                phase = self.phases[axis, swing] + 2.0 * math.pi / period_s * (
                    time_s - self.tracks[0].start_s
                )
                value += self.sway * size_deg * np.sin(phase)
            parts.append(value + (track.azimuth_deg if axis == 2 else 0.0))
        return np.column_stack(parts)

    def errors(self, time_s: Array) -> tuple[Array, Array]:
        """Errors of the trajectory: metres (n, 3) and degrees (n, 3)."""
        position, attitude = (
            np.column_stack([np.interp(time_s, self.knot_s, part[:, axis]) for axis in range(3)])
            for part in (self.position_error_m, self.attitude_error_deg)
        )
        return position, attitude


def first_second(scenario: Scenario) -> float:
    """GPS second of the week at the start of the first pass: 17:00 on the day."""
    return scenario.site.flown.isoweekday() % 7 * 86_400.0 + 17 * 3600.0


def tracks_of(scenario: Scenario) -> tuple[Track, ...]:
    """Plan the passes one after the other, with time to turn between them."""
    tracks: list[Track] = []
    start_s = first_second(scenario)
    for plan in scenario.passes:
        if tracks:
            before = tracks[-1]
            way_m = TURN_WAY * math.dist(before.plan.end_m, plan.start_m)
            start_s = math.ceil(before.end_s + TURN_S + way_m / before.plan.speed_m_s)
        length_m = math.dist(plan.start_m, plan.end_m)
        ahead = np.subtract(plan.end_m, plan.start_m) / length_m
        along_m = np.arange(-Track.BEYOND_M, length_m + Track.BEYOND_M + KNOT_M, KNOT_M)
        # the mean ground over a stretch of the way; beyond the ends as at the ends
        near_m = np.clip(
            along_m[:, None] + np.linspace(-SMOOTH_M, SMOOTH_M, 9)[None, :], 0.0, length_m
        )
        ground_m, _, _ = scenario.landscape.field(
            (plan.start_m[0] + near_m * ahead[0]).ravel(),
            (plan.start_m[1] + near_m * ahead[1]).ravel(),
        )
        knots_m = ground_m.reshape(near_m.shape).mean(axis=1) + plan.above_m
        track = Track(plan, start_s, knots_m)
        tracks.append(track)
    return tuple(tracks)


def motion_of(scenario: Scenario, seed: int) -> Motion:
    """Draw one flight: phases of the swings, and the errors of the trajectory."""
    tracks, noise = tracks_of(scenario), scenario.noise
    randoms = [np.random.Generator(np.random.PCG64([seed, 100 + part])) for part in range(4)]
    begin_s, end_s = tracks[0].start_s - LEAD_S, tracks[-1].end_s + LEAD_S
    count = math.ceil((end_s - begin_s) / STEP_S) + 1
    wander_m = gauss_markov(randoms[1], count, STEP_S, noise.gnss_m, noise.gnss_time_s)
    shared_m = randoms[2].normal(0.0, 1.0, 3) * np.array(noise.shared_m)
    turn_deg = gauss_markov(randoms[3], count, STEP_S, noise.attitude_deg, noise.attitude_time_s)
    return Motion(
        tracks=tracks,
        sway=scenario.sway,
        phases=randoms[0].uniform(0.0, 2.0 * math.pi, (3, 2)),
        knot_s=begin_s + STEP_S * np.arange(count, dtype=np.float64),
        position_error_m=wander_m + shared_m,
        attitude_error_deg=turn_deg,
    )
