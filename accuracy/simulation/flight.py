"""A simulated lidar flight: what the scanner would record above a known terrain.

Two steps, kept apart so that one can be wrong while the other is right: `observe` fires pulses from the
true trajectory and records ranges; `georeference` turns ranges into coordinates. Invented scanner; the
equation is the plain one, point = position + range * direction.

Frames: east, north, up in the terrain's projected CRS, metres, the map's scale factor left aside (the
flight takes place in the map). Scan angles are positive to the right of flight, as LAS 1.4 defines them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from accuracy.simulation.terrain import Terrain

Array = NDArray[np.float64]

UNCLASSIFIED, GROUND, NOISE = 1, 2, 7


@dataclass(frozen=True)
class Scanner:
    """A scanner that sweeps across track, always from left to right, and its errors.

    Attributes
    ----------
    pulse_rate_hz, sweep_rate_hz : float
        Pulses and sweeps per second.
    half_angle_deg : float
        Sweeps reach this far to either side of straight down.
    range_noise_m : float
        Standard deviation of a range.
    """

    pulse_rate_hz: float = 9000.0
    sweep_rate_hz: float = 28.0
    half_angle_deg: float = 35.0
    range_noise_m: float = 0.012


@dataclass(frozen=True)
class Plants:
    """What vegetation does to pulses.

    Attributes
    ----------
    canopy_share : float
        Share of pulses that leave a return in the shrubs.
    ground_share : float
        Share of pulses that reach the ground, or the grass on it.
    canopy_m : tuple of float
        Lowest and highest return of a shrub above the ground.
    grass_mean_m, grass_std_m : float
        How far above the soil the last return stands: gamma distributed, so never below it.
    """

    canopy_share: float = 0.75
    ground_share: float = 0.35
    canopy_m: tuple[float, float] = (0.6, 2.8)
    grass_mean_m: float = 0.060
    grass_std_m: float = 0.030


@dataclass(frozen=True)
class FlightLine:
    """One straight pass at constant height and speed.

    Attributes
    ----------
    start_m, end_m : tuple of float
        Easting and northing of both ends.
    height_m : float
        Height of the scanner in the terrain's height system.
    start_s : float
        GPS week time at the start.
    number : int
        LAS point source id.
    speed_m_s : float
        Speed over ground.
    """

    start_m: tuple[float, float]
    end_m: tuple[float, float]
    height_m: float
    start_s: float
    number: int
    speed_m_s: float = 5.0


@dataclass(frozen=True)
class Pulses:
    """Fired pulses; arrays of shape (n,) or (n, 3), in the order of firing."""

    gps_time_s: Array
    scan_angle_deg: Array
    origin_m: Array
    direction: Array
    line: NDArray[np.uint16]

    def take(self, index: NDArray[np.intp]) -> Pulses:
        """Pick pulses by index."""
        picked = {name: value[index] for name, value in vars(self).items()}
        return replace(self, **picked)


@dataclass(frozen=True)
class Returns:
    """Recorded returns, one each per row: the pulse each came from and what the scanner noted of it."""

    pulses: Pulses
    range_m: Array
    intensity: NDArray[np.uint16]
    return_number: NDArray[np.uint8]
    number_of_returns: NDArray[np.uint8]
    classification: NDArray[np.uint8]
    withheld: NDArray[np.bool_]


def fire(line: FlightLine, scanner: Scanner) -> Pulses:
    """Fire all pulses of one pass."""
    track_m = np.subtract(line.end_m, line.start_m)
    length_m = math.hypot(*track_m)
    ahead_east, ahead_north = track_m / length_m
    count = int(length_m / line.speed_m_s * scanner.pulse_rate_hz)
    elapsed_s = np.arange(count) / scanner.pulse_rate_hz
    sweep = elapsed_s * scanner.sweep_rate_hz
    angle_deg = scanner.half_angle_deg * (2.0 * (sweep - np.floor(sweep)) - 1.0)
    along_m = elapsed_s * line.speed_m_s
    right, down = np.sin(np.radians(angle_deg)), np.cos(np.radians(angle_deg))
    return Pulses(
        gps_time_s=line.start_s + elapsed_s,
        scan_angle_deg=angle_deg,
        origin_m=np.column_stack(
            [
                line.start_m[0] + along_m * ahead_east,
                line.start_m[1] + along_m * ahead_north,
                np.full(count, line.height_m),
            ]
        ),
        direction=np.column_stack([right * ahead_north, -right * ahead_east, -down]),
        line=np.full(count, line.number, dtype=np.uint16),
    )


def reach(terrain: Terrain, pulses: Pulses, above_m: Array | float = 0.0) -> Array:
    """Range at which each pulse meets the surface `above_m` over the ground, to better than 1 µm.

    Newton's method on the height of the beam above that surface; on gentle ground, seen from above, every
    step gains several digits.
    """
    origin_m, direction = pulses.origin_m, pulses.direction
    range_m = (terrain.height_0_m - origin_m[:, 2]) / direction[:, 2]
    for _ in range(8):
        east_m, north_m, beam_m = (origin_m + range_m[:, None] * direction).T
        ground_m, by_east, by_north = terrain.field(east_m, north_m)
        closing = direction[:, 2] - by_east * direction[:, 0] - by_north * direction[:, 1]
        step_m = (beam_m - ground_m - above_m) / closing
        range_m = range_m - step_m
        if np.max(np.abs(step_m), initial=0.0) < 1e-6:
            return np.asarray(range_m)
    raise ArithmeticError("a beam does not meet the terrain: too steep for this simulation")


def observe(
    terrain: Terrain, pulses: Pulses, scanner: Scanner, plants: Plants, random: np.random.Generator
) -> Returns:
    """Record the returns of the pulses: open ground, or shrubs and grass where vegetation stands.

    Returns are in the order of firing, the nearer of one pulse first. Ground is class 2, shrubs stay
    unclassified (class 1).
    """
    n = len(pulses.gps_time_s)
    bare_m = reach(terrain, pulses)
    east_m, north_m, _ = georeference(pulses, bare_m).T
    green = terrain.vegetated(east_m, north_m)

    in_shrub = green & (random.random(n) < plants.canopy_share)
    on_ground = ~green | (random.random(n) < plants.ground_share)
    shape = (plants.grass_mean_m / plants.grass_std_m) ** 2
    grass_m = np.where(green, random.gamma(shape, plants.grass_mean_m / shape, n), 0.0)
    shrub_m = random.uniform(*plants.canopy_m, n)

    # one row per possible return: shrubs first, then ground; then back into the order of firing
    index = np.concatenate([np.flatnonzero(in_shrub), np.flatnonzero(on_ground)])
    is_ground = np.arange(len(index)) >= np.count_nonzero(in_shrub)
    order = np.lexsort((is_ground, index))
    index, is_ground = index[order], is_ground[order]

    above_m = np.where(is_ground, grass_m[index], shrub_m[index])
    range_m = bare_m[index]
    high = np.flatnonzero(above_m > 0)
    range_m[high] = reach(terrain, pulses.take(index[high]), above_m[high])
    range_m = range_m + random.normal(0.0, scanner.range_noise_m, len(index))

    both = in_shrub & on_ground
    return Returns(
        pulses=pulses.take(index),
        range_m=range_m,
        intensity=_intensity(terrain, pulses, bare_m, random)[index],
        return_number=np.where(is_ground & both[index], 2, 1).astype(np.uint8),
        number_of_returns=np.where(both[index], 2, 1).astype(np.uint8),
        classification=np.where(is_ground, GROUND, UNCLASSIFIED).astype(np.uint8),
        withheld=np.zeros(len(index), dtype=np.bool_),
    )


def georeference(pulses: Pulses, range_m: Array) -> Array:
    """Coordinates of returns, shape (n, 3): easting, northing, height in metres."""
    return np.asarray(pulses.origin_m + range_m[:, None] * pulses.direction)


def spoil(returns: Returns, random: np.random.Generator, *, noise: int, withheld: int) -> Returns:
    """Make some returns wrong, as every real flight has them.

    `noise` returns are 2 to 6 m too near or too far and classed as noise, every other one withheld as
    well. `withheld` ground returns are 0.4 m too near, keep class 2 and are flagged withheld: whoever
    overlooks the flag gets wrong heights.
    """
    range_m, classification = returns.range_m.copy(), returns.classification.copy()
    flagged = returns.withheld.copy()
    single = np.flatnonzero((classification == GROUND) & (returns.number_of_returns == 1))
    chosen = random.choice(single, noise + withheld, replace=False)
    strays, bad = chosen[:noise], chosen[noise:]
    range_m[strays] += random.uniform(2.0, 6.0, noise) * random.choice([-1.0, 1.0], noise)
    classification[strays] = NOISE
    flagged[strays[::2]] = True
    range_m[bad] -= 0.4
    flagged[bad] = True
    return replace(returns, range_m=range_m, classification=classification, withheld=flagged)


def as_points(returns: Returns) -> dict[str, NDArray[Any]]:
    """Georeference returns and lay them out under the names of LAS fields, coordinates in metres."""
    east_m, north_m, height_m = georeference(returns.pulses, returns.range_m).T
    return {
        "x": east_m,
        "y": north_m,
        "z": height_m,
        "intensity": returns.intensity,
        "return_number": returns.return_number,
        "number_of_returns": returns.number_of_returns,
        "classification": returns.classification,
        "withheld": returns.withheld,
        "scan_angle_deg": returns.pulses.scan_angle_deg,
        "gps_time": returns.pulses.gps_time_s,
        "point_source_id": returns.pulses.line,
    }


def _intensity(
    terrain: Terrain, pulses: Pulses, range_m: Array, random: np.random.Generator
) -> NDArray[np.uint16]:
    """Brightness of the surface (invented): dark road, bright plants, less at oblique angles."""
    east_m, north_m, _ = georeference(pulses, range_m).T
    surface = np.where(terrain.on_road(east_m, north_m), 6000.0, 16000.0)
    surface = np.where(terrain.vegetated(east_m, north_m), 24000.0, surface)
    seen = surface * np.cos(np.radians(pulses.scan_angle_deg))
    return np.round(seen * random.uniform(0.9, 1.1, len(seen)), -2).astype(np.uint16)
