"""A simulated flight in memory: the points near the checkpoints only, and what a comparison makes of them.

The same pulses with the same errors as in the folder that `accuracy.simulation.folder` writes: this is that
cloud around the checkpoints, not a model of it.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from accuracy.errors import UsageError
from accuracy.simulation.comparing import compare
from accuracy.simulation.faults import checked
from accuracy.simulation.memory_record import Checkpoints, Points, Seen, Simulated
from accuracy.simulation.motion import motion_of
from accuracy.simulation.near import Flight, line_points
from accuracy.simulation.scenario_record import Noise, Scenario
from accuracy.simulation.scenarios import scenario as scenario_of
from accuracy.simulation.sensing import used_mount
from accuracy.simulation.survey import survey_of

__all__ = ["Checkpoints", "Points", "Seen", "Simulated", "simulate"]


def simulate(
    scenario: str | Scenario,
    faults: Mapping[str, float] | None = None,
    seed: int = 1,
    *,
    noise: Noise | None = None,
    radius_m: float = 1.0,
) -> Simulated:
    """Fly a scenario with faults, in memory.

    Parameters
    ----------
    scenario : str or Scenario
        Name, or a scenario of your own.
    faults : mapping of str to float
        Name to size in the fault's own unit (`accuracy.simulation.faults.FAULTS`).
    seed : int
        The same seed gives the same flight.
    noise : Noise, optional
        Instead of the scenario's.
    radius_m : float
        Points within this distance of a checkpoint are made.

    Raises
    ------
    UsageError
        No such scenario or fault, a size that is absurd, or a fault that the site cannot have.
    """
    flown = scenario_of(scenario) if isinstance(scenario, str) else scenario
    if noise is not None:
        flown = flown.with_noise(noise)
    return compared(prepare(flown, faults or {}, seed), radius_m)


def compared(flight: Flight, radius_m: float = 1.0) -> Simulated:
    """Make the points of a prepared flight near its checkpoints, and compare."""
    rows = np.flatnonzero([not mark.control for mark in flight.survey.marks])
    passes = [line_points(flight, track, rows, radius_m) for track in flight.motion.tracks]
    return compare(flight, rows, passes)


def prepare(scenario: Scenario, faults: Mapping[str, float], seed: int) -> Flight:
    """Draw everything that a flight shares: motion, mount, survey.

    Raises
    ------
    UsageError
        As `simulate`.
    """
    put_in = checked(faults)
    scenario.check(put_in)
    if seed < 0:
        raise UsageError(f"the seed is {seed}", remedy="give a seed of 0 or more")
    return Flight(
        scenario,
        put_in,
        seed,
        motion_of(scenario, seed),
        used_mount(scenario, put_in, seed),
        survey_of(scenario, put_in, seed),
    )
