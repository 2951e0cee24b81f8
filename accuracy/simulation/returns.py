"""What the scanner records of its pulses: returns from ground, plants, houses and targets, good and bad."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from accuracy.simulation.chance import uniform
from accuracy.simulation.painting import painted
from accuracy.simulation.scenario_record import Scenario
from accuracy.simulation.sensing import (
    GROUND,
    PLATE,
    ROOF,
    WALL,
    Pulses,
    beams,
    end_on,
    meet,
    record,
)

Array = NDArray[np.float64]

CLASS_OF_KIND = {GROUND: 2, ROOF: 6, WALL: 1, PLATE: 1}
PLANT_CLASS, NOISE_CLASS = 1, 7
NOISE_SHARE, WITHHELD_SHARE = 2e-4, 3e-4  # of the pulses on open ground
WITHHELD_M = 0.4  # withheld returns are so much too near


@dataclass(frozen=True, eq=False)
class Returns:
    """Returns of the pulses of one track, in the order of firing, nearer ones first; arrays of shape (n,).

    Attributes
    ----------
    pulse : ndarray of int
        Row of the pulses.
    angle_deg, range_m : ndarray
        As recorded, with noise.
    true_range_m : ndarray
        Without.
    true_m : ndarray, shape (n, 3)
        Where the beam ended, relative to the terrain's origin in plan.
    kind : ndarray of int
        What it ended on, see `sensing`.
    classification, return_number, number_of_returns, withheld
    brightness : ndarray, shape (n, 4)
        Reflectance in the laser's light, and red, green, blue of the picture; 0 to 1.
    """

    pulse: NDArray[np.int64]
    angle_deg: Array
    range_m: Array
    true_range_m: Array
    true_m: Array
    kind: NDArray[np.int64]
    classification: NDArray[np.uint8]
    return_number: NDArray[np.uint8]
    number_of_returns: NDArray[np.uint8]
    withheld: NDArray[np.bool_]
    brightness: Array

    def take(self, index: NDArray[Any]) -> Returns:
        """Pick returns by index or mask."""
        return Returns(**{name: value[index] for name, value in vars(self).items()})


def observe(
    scenario: Scenario,
    seed: int,
    pulses: Pulses,
    picture_offset_m: tuple[float, float] = (0.0, 0.0),
    *,
    spoiled: bool = True,
) -> Returns:
    """Fire pulses at the landscape and record what comes back.

    Parameters
    ----------
    picture_offset_m : tuple of float
        East and north by which the camera's picture lies off.
    spoiled : bool
        With the few returns that are noise or withheld.
    """
    landscape, plants, key = scenario.landscape, scenario.plants, pulses.key
    terrain = landscape.terrain
    start_m, direction = beams(pulses, scenario.payload)
    guess_m = pulses.track.plan.above_m / -direction[:, 2]
    bare_m = meet(landscape, start_m, direction, guess_m)
    solid_m, kind = end_on(landscape, start_m, direction, bare_m)
    foot_m = start_m + bare_m[:, None] * direction
    green = (kind == GROUND) & terrain.vegetated(
        terrain.east_m + foot_m[:, 0], terrain.north_m + foot_m[:, 1]
    )

    in_shrub, on_ground = np.zeros(len(key), dtype=np.bool_), np.ones(len(key), dtype=np.bool_)
    above_m = np.zeros((2, len(key)))
    rows = np.flatnonzero(green)
    if rows.size:
        from scipy.special import gammaincinv

        in_shrub[rows] = uniform(seed, 20, key[rows]) < plants.canopy_share
        on_ground[rows] = uniform(seed, 21, key[rows]) < plants.ground_share
        shape = (plants.grass_mean_m / plants.grass_std_m) ** 2
        grass = gammaincinv(shape, uniform(seed, 22, key[rows]))
        above_m[1, rows] = grass * plants.grass_mean_m / shape
        low_m, high_m = plants.canopy_m
        above_m[0, rows] = low_m + (high_m - low_m) * uniform(seed, 23, key[rows])

    index = np.concatenate([np.flatnonzero(in_shrub), np.flatnonzero(on_ground)])
    echo = (np.arange(len(index)) >= np.count_nonzero(in_shrub)).astype(np.int64)
    order = np.lexsort((echo, index))
    index, echo = index[order], echo[order]
    true_range_m = solid_m[index]
    high = np.flatnonzero(above_m[echo, index] > 0)
    if high.size:
        at = index[high]
        true_range_m[high] = meet(
            landscape, start_m[at], direction[at], bare_m[at], above_m[echo[high], at]
        )
    true_m = start_m[index] + true_range_m[:, None] * direction[index]

    angle_deg, range_m = np.empty(len(index)), np.empty(len(index))
    for which in (0, 1):
        angles, ranges = record(scenario, seed, pulses, np.zeros(len(key)), which)
        mine = echo == which
        angle_deg[mine] = angles[index[mine]]
        range_m[mine] = true_range_m[mine] + ranges[index[mine]]
    both = (in_shrub & on_ground)[index]
    classes = np.array([CLASS_OF_KIND[k] for k in range(4)])[kind[index]]
    classification = np.where(echo == 0, PLANT_CLASS, classes).astype(np.uint8)
    withheld = np.zeros(len(index), dtype=np.bool_)
    if spoiled:
        # by the pulse's own number, so that the same pulse is spoiled however many are asked for
        lot = uniform(seed, 24, key[index])
        open_ground = (kind[index] == GROUND) & ~green[index]
        noise = open_ground & (lot < NOISE_SHARE)
        bad = open_ground & ~noise & (lot < NOISE_SHARE + WITHHELD_SHARE)
        far = 2.0 + 4.0 * uniform(seed, 25, key[index])
        range_m = np.where(noise, range_m + np.where(lot < NOISE_SHARE / 2, far, -far), range_m)
        range_m = np.where(bad, range_m - WITHHELD_M, range_m)
        classification[noise] = NOISE_CLASS
        withheld = bad | (noise & (far > 4.0))
    return Returns(
        pulse=index,
        angle_deg=angle_deg,
        range_m=range_m,
        true_range_m=true_range_m,
        true_m=true_m,
        kind=np.where(echo == 0, WALL, kind[index]),
        classification=classification,
        return_number=np.where((echo == 1) & both, 2, 1).astype(np.uint8),
        number_of_returns=np.where(both, 2, 1).astype(np.uint8),
        withheld=withheld,
        brightness=painted(
            scenario,
            seed,
            key[index],
            start_m[index],
            direction[index],
            true_m,
            np.where(green[index], -1, kind[index]),
            picture_offset_m,
        ),
    )
