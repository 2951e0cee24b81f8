"""From pulses to points: where each beam ends, what the scanner records, and what georeferencing makes of it.

``point = position + R(attitude) * (R(boresight) * range * (0, sin theta, cos theta) + lever arm)``

Axes of the aircraft: forward, right, down; scan angle theta positive to the right; roll positive with the right
side down, pitch with the nose up, heading clockwise from grid north. The flight takes place in the map: the
scale of the projection is left aside.

References
----------
C. Glennie, "Rigorous 3D error analysis of kinematic scanning LIDAR systems", J. Applied Geodesy 1 (2007),
147-157, for the equation (second-hand).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from accuracy.simulation.chance import normal
from accuracy.simulation.landscape import Landscape
from accuracy.simulation.motion import Motion, Track
from accuracy.simulation.scenario_record import Payload, Scenario

Array = NDArray[np.float64]

#: What a beam ends on.
GROUND, ROOF, WALL, PLATE = 0, 1, 2, 3
GRAZING_STEPS = 400


@dataclass(frozen=True)
class Mounting:
    """Scanner and mount, as true or as the processing has them: what `georeference` needs to know.

    Attributes
    ----------
    lever_arm_m, boresight_deg
        As in `Payload`.
    range_offset_m, scan_scale, clock_s : float
        Added to ranges; angles times 1 + this; added to the time at which the trajectory is read.
    """

    lever_arm_m: tuple[float, float, float]
    boresight_deg: tuple[float, float, float]
    range_offset_m: float = 0.0
    scan_scale: float = 0.0
    clock_s: float = 0.0


def turned(vector: tuple[Array, Array, Array], angles_deg: Array) -> tuple[Array, Array, Array]:
    """Turn vectors (forward, right, down) by roll, then pitch, then heading, shape (n, 3) or (3,)."""
    forward, right, down = vector
    roll, pitch, heading = np.moveaxis(np.radians(angles_deg), -1, 0)
    sin, cos = np.sin(roll), np.cos(roll)
    right, down = cos * right - sin * down, sin * right + cos * down
    sin, cos = np.sin(pitch), np.cos(pitch)
    forward, down = cos * forward + sin * down, -sin * forward + cos * down
    sin, cos = np.sin(heading), np.cos(heading)
    return cos * forward - sin * right, sin * forward + cos * right, down


def turned_back(
    vector: tuple[Array, Array, Array], angles_deg: Array
) -> tuple[Array, Array, Array]:
    """Undo `turned`."""
    forward, right, down = vector
    roll, pitch, heading = np.moveaxis(np.radians(angles_deg), -1, 0)
    sin, cos = np.sin(heading), np.cos(heading)
    forward, right = cos * forward + sin * right, -sin * forward + cos * right
    sin, cos = np.sin(pitch), np.cos(pitch)
    forward, down = cos * forward - sin * down, sin * forward + cos * down
    sin, cos = np.sin(roll), np.cos(roll)
    return forward, cos * right + sin * down, -sin * right + cos * down


def georeference(
    position_m: Array, attitude_deg: Array, mount: Mounting, angle_deg: Array, range_m: Array
) -> Array:
    """Coordinates of returns: east, north, up, shape (n, 3).

    Parameters
    ----------
    position_m, attitude_deg : ndarray, shape (n, 3)
        Of the inertial unit: east, north, up; roll, pitch, heading.
    angle_deg, range_m : ndarray, shape (n,)
        As recorded; the mount's offset and scale are applied here.
    """
    angle = np.radians(angle_deg) * (1.0 + mount.scan_scale)
    long_m = range_m + mount.range_offset_m
    beam = (np.zeros_like(angle), long_m * np.sin(angle), long_m * np.cos(angle))
    seen = turned(beam, np.array(mount.boresight_deg))
    arm = mount.lever_arm_m
    north, east, down = turned((seen[0] + arm[0], seen[1] + arm[1], seen[2] + arm[2]), attitude_deg)
    return position_m + np.stack([east, north, -down], axis=-1)


def observe_back(
    position_m: Array, attitude_deg: Array, mount: Mounting, point_m: Array
) -> tuple[Array, Array, Array]:
    """Undo `georeference`: scan angle (degrees), range (m), and how far ahead of the scan plane (m)."""
    east, north, up = np.moveaxis(point_m - position_m, -1, 0)
    forward, right, down = turned_back((north, east, -up), attitude_deg)
    arm = mount.lever_arm_m
    ahead, right, down = turned_back(
        (forward - arm[0], right - arm[1], down - arm[2]), np.array(mount.boresight_deg)
    )
    angle_deg = np.degrees(np.arctan2(right, down)) / (1.0 + mount.scan_scale)
    return angle_deg, np.hypot(right, down) - mount.range_offset_m, ahead


@dataclass(frozen=True, eq=False)
class Pulses:
    """Pulses of one track, by number; arrays of shape (n,) or (n, 3)."""

    track: Track
    number: NDArray[np.int64]
    time_s: Array
    angle_deg: Array
    position_m: Array
    attitude_deg: Array
    climb_m_s: Array

    @property
    def key(self) -> NDArray[np.uint64]:
        """A number that no other pulse of the flight has."""
        return self.number.astype(np.uint64) + (np.uint64(self.track.plan.number) << np.uint64(40))


def pulses_of(motion: Motion, track: Track, payload: Payload, number: NDArray[np.int64]) -> Pulses:
    """Fire pulses by number, from the start of the track on."""
    elapsed_s = number / payload.pulse_rate_hz
    sweep = elapsed_s * payload.sweep_rate_hz
    time_s = track.start_s + elapsed_s
    position_m, climb = track.position_m(time_s)
    angle_deg = payload.half_angle_deg * (2.0 * (sweep - np.floor(sweep)) - 1.0)
    attitude_deg = motion.attitude_deg(track, time_s)
    return Pulses(track, number, time_s, angle_deg, position_m, attitude_deg, climb)


def true_mount(payload: Payload) -> Mounting:
    """Give the mount as it is."""
    return Mounting(payload.lever_arm_m, payload.boresight_deg)


def used_mount(scenario: Scenario, faults: Mapping[str, float], seed: int) -> Mounting:
    """Give the mount as the processing has it: with the faults, and with what calibration left over."""
    payload, noise = scenario.payload, scenario.noise
    random = np.random.Generator(np.random.PCG64([seed, 110]))
    sight = random.normal(size=3) * noise.boresight_deg + payload.boresight_deg
    arm = random.normal(size=3) * noise.lever_arm_m + payload.lever_arm_m
    for axis, name in enumerate(("roll", "pitch", "heading")):
        sight[axis] += faults.get(f"boresight-{name}", 0.0)
    for axis, name in enumerate(("forward", "right", "down")):
        arm[axis] += faults.get(f"lever-{name}", 0.0)
    return Mounting(
        (float(arm[0]), float(arm[1]), float(arm[2])),
        (float(sight[0]), float(sight[1]), float(sight[2])),
        faults.get("range-offset", 0.0),
        faults.get("scan-scale", 0.0),
        faults.get("clock-offset", 0.0),
    )


def beams(pulses: Pulses, payload: Payload) -> tuple[Array, Array]:
    """Where beams start and their directions (east, north, up), shape (n, 3) each."""
    mount, zero = true_mount(payload), np.zeros(len(pulses.number))
    start_m = georeference(pulses.position_m, pulses.attitude_deg, mount, pulses.angle_deg, zero)
    one_m = georeference(
        pulses.position_m, pulses.attitude_deg, mount, pulses.angle_deg, zero + 1.0
    )
    return start_m, one_m - start_m


def meet(
    landscape: Landscape,
    start_m: Array,
    direction: Array,
    guess_m: Array,
    above_m: Array | float = 0.0,
) -> Array:
    """Range at which beams meet the ground, or the surface `above_m` over it, to better than 1 micrometre.

    Newton's method on the height of the beam above the surface, on those that are not there yet; the few
    that graze a slope are followed step by step.
    """
    range_m = guess_m.copy()
    above_m = np.broadcast_to(np.asarray(above_m, dtype=np.float64), range_m.shape)

    def height(at: NDArray[np.intp], along_m: Array) -> tuple[Array, Array]:
        """Heights of beams over the surface, and how fast they come down."""
        way = direction[at]
        east_m, north_m, up_m = (start_m[at] + along_m[:, None] * way).T
        ground_m, by_east, by_north = landscape.field(east_m, north_m)
        closing = way[:, 2] - by_east * way[:, 0] - by_north * way[:, 1]
        return up_m - ground_m - above_m[at], closing

    going = np.arange(len(range_m))
    for _ in range(10):
        over_m, closing = height(going, range_m[going])
        step_m = over_m / closing
        range_m[going] -= step_m
        going = going[~(np.abs(step_m) < 1e-7)]
        if not going.size:
            return range_m
    for at in going.tolist():
        one = np.full(GRAZING_STEPS, at)
        along_m = guess_m[at] * np.linspace(0.5, 2.0, GRAZING_STEPS)
        below = np.flatnonzero(height(one, along_m)[0] < 0)
        if not below.size or not below[0]:
            raise ArithmeticError("a beam does not meet the terrain")
        low, high = along_m[below[0] - 1], along_m[below[0]]
        for _ in range(40):
            middle = (low + high) / 2.0
            over_m, _ = height(one[:1], np.array([middle]))
            low, high = (middle, high) if over_m[0] > 0 else (low, middle)
        range_m[at] = high
    return range_m


def end_on(
    landscape: Landscape, start_m: Array, direction: Array, ground_range_m: Array
) -> tuple[Array, NDArray[np.int64]]:
    """Shorten ranges to houses and plates that stand in the way; give what each beam ends on."""
    range_m, kind = ground_range_m.copy(), np.zeros(len(ground_range_m), dtype=np.int64)
    foot_m = start_m + ground_range_m[:, None] * direction
    for houses, top in ((landscape.houses, ROOF), (landscape.plates, PLATE)):
        for house in houses:
            shadow_m = (house.ridge_m - house.floor_m) * 1.2 + 0.6 * (
                house.length_m + house.width_m
            )
            near = np.flatnonzero(
                np.hypot(foot_m[:, 0] - house.east_m, foot_m[:, 1] - house.north_m) < shadow_m
            )
            if not near.size:
                continue
            shorter_m = house.reach(start_m[near], direction[near], range_m[near])
            hit = shorter_m < range_m[near]
            up_m = start_m[near, 2] + shorter_m * direction[near, 2]
            across = start_m[near, :2] + shorter_m[:, None] * direction[near, :2]
            on_top = up_m > house.roof_m(across[:, 0], across[:, 1]) - 1e-6
            kind[near[hit]] = np.where(on_top[hit], top, WALL)
            range_m[near] = shorter_m
    return range_m, kind


def record(
    scenario: Scenario, seed: int, pulses: Pulses, range_m: Array, echo: int = 0
) -> tuple[Array, Array]:
    """Give angle and range as recorded, with noise that depends on the number of the pulse only."""
    noise, key = scenario.noise, pulses.key
    range_m = range_m + noise.range_m * normal(seed, 1 + 10 * echo, key)
    return pulses.angle_deg + noise.scan_deg * normal(seed, 2, key), range_m


def process(
    motion: Motion, pulses: Pulses, mount: Mounting, angle_deg: Array, range_m: Array, noisy: bool
) -> Array:
    """Georeference with the trajectory as it is stated, at the times as they are tagged."""
    time_s = pulses.time_s + mount.clock_s
    if mount.clock_s:
        position_m, _ = pulses.track.position_m(time_s)
        attitude_deg = motion.attitude_deg(pulses.track, time_s)
    else:
        position_m, attitude_deg = pulses.position_m, pulses.attitude_deg
    if noisy:
        more_m, more_deg = motion.errors(time_s)
        position_m, attitude_deg = position_m + more_m, attitude_deg + more_deg
    return georeference(position_m, attitude_deg, mount, angle_deg, range_m)


def abeam(
    motion: Motion, track: Track, payload: Payload, places_m: Array, rounds: int = 4
) -> tuple[Array, Array]:
    """Time (s) and scan angle (deg) at which a track's scan plane passes over places, shape (n, 3)."""
    mount = true_mount(payload)
    ahead = np.array(track.ahead)
    along_m = (places_m[:, :2] - np.array(track.plan.start_m)) @ ahead
    time_s = track.start_s + along_m / track.plan.speed_m_s
    angle_deg = np.zeros_like(time_s)
    for _ in range(rounds):
        position_m, _ = track.position_m(time_s)
        angle_deg, _, before_m = observe_back(
            position_m, motion.attitude_deg(track, time_s), mount, places_m
        )
        time_s = time_s + before_m / track.plan.speed_m_s
    return time_s, angle_deg


def pulses_in_sight(
    track: Track, payload: Payload, time_s: Array, angle_deg: Array, above_m: Array, radius_m: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Numbers of the pulses that may end within a radius of places, and the place of each.

    Generous: a good part will end outside.
    """
    before_s = (1.5 * radius_m + 0.3) / track.plan.speed_m_s
    swing_deg = np.degrees((1.5 * radius_m + 0.4) / above_m) * np.cos(np.radians(angle_deg)) + 0.1
    rate, sweeps, half = payload.pulse_rate_hz, payload.sweep_rate_hz, payload.half_angle_deg
    last = math.floor((track.end_s - track.start_s) * rate)
    numbers, places = [], []
    for place in np.flatnonzero(np.abs(angle_deg) < half + swing_deg).tolist():
        middle_s = time_s[place] - track.start_s
        sweep = np.arange(
            math.floor((middle_s - before_s) * sweeps),
            math.ceil((middle_s + before_s) * sweeps) + 1,
        )
        low = (angle_deg[place] - swing_deg[place]) / half / 2.0 + 0.5
        high = (angle_deg[place] + swing_deg[place]) / half / 2.0 + 0.5
        first = np.ceil((sweep + max(low, 0.0)) / sweeps * rate).astype(np.int64)
        width = math.ceil((min(high, 1.0) - max(low, 0.0)) / sweeps * rate) + 1
        number = (first[:, None] + np.arange(width)[None, :]).ravel()
        number = number[(number >= 0) & (number < last)]
        numbers.append(number)
        places.append(np.full(len(number), place, dtype=np.int64))
    if not numbers:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    return np.concatenate(numbers), np.concatenate(places)
