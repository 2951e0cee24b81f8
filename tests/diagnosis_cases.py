"""Cases of the diagnosis: a fault of the simulator put in, what is concluded, and whether that is right."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from diagnosis_simulated import (
    FACTOR,
    RIGHT,
    context_of,
    raster_sightings,
    sightings_of,
    where_of,
)

from accuracy.diagnosis import fit, noise
from accuracy.diagnosis.diagnosing import SHARED_M, diagnose_sightings
from accuracy.diagnosis.model import Observations, whitener
from accuracy.simulation.faults import FAULTS
from accuracy.simulation.memory import simulate
from accuracy.simulation.scenarios import scenario as scenario_of

#: Faults that belong to the map, in scenarios with slopes and targets, and those of the aircraft.
MAP = (
    "base-slant",
    "antenna-height",
    "antenna-feet",
    "phase-centre",
    "antenna-model",
    "base-east",
    "base-north",
    "base-up",
    "base-autonomous",
    "frame",
    "frame-older",
    "epoch",
    "geoid-omitted",
    "geoid-model",
    "feet",
    "feet-heights",
    "grid-ground",
    "convergence",
    "survey-session",
    "half-cell",
    "lever-down",
)
BODY = (
    "boresight-roll",
    "boresight-pitch",
    "boresight-heading",
    "lever-forward",
    "lever-right",
    "clock-offset",
    "range-offset",
    "scan-scale",
)
#: A constant in height that no file explains has several causes that residuals cannot tell apart; a constant in
#: plan as well.
INSEPARABLE = frozenset(
    {
        "antenna-model",
        "base-up",
        "geoid-model",
        "phase-centre",
        "lever-down",
        "base-east",
        "base-north",
    }
)
#: What the base's log shows by itself in these cases.
LOGGED = frozenset({"base-slant", "base-autonomous"})
#: Sizes that can only be whole, and the signs that make sense.
WHOLE: Mapping[str, tuple[float, ...]] = {
    "antenna-height": (-1.0, 1.0),
    "antenna-feet": (1.0,),
    "phase-centre": (1.0,),
    "base-autonomous": (1.0,),
    "frame": (1.0, -1.0),
    "frame-older": (1.0,),
    "geoid-omitted": (1.0, -1.0),
    "feet": (1.0, -1.0),
    "feet-heights": (1.0, -1.0),
    "half-cell": (0.5, -0.5),
}
SCENARIOS = ("flat", "hills", "two-heights", "corridor")


@dataclass(frozen=True)
class Case:
    """What was put in, and what came out.

    Attributes
    ----------
    faults : mapping
        Name to size, in the simulator's units.
    times_floor : float
        Smallest size as a multiple of the detection floor of its fault there.
    named : tuple of str
        Causes named; empty where none is.
    listed : tuple of tuple of str
        Everything listed, the best first.
    value, sigma, truth : float or None
        Size of the named cause, in the diagnosis's unit.
    """

    scenario: str
    seed: int
    faults: Mapping[str, float]
    times_floor: float
    conclusion: str
    named: tuple[str, ...]
    listed: tuple[tuple[str, ...], ...]
    value: float | None = None
    sigma: float | None = None
    truth: float | None = None
    text: str = ""

    @property
    def right(self) -> frozenset[str]:
        """Every name that is right."""
        return frozenset(n for f, size in self.faults.items() for n in right_names(f, size))

    @property
    def wrong_name(self) -> bool:
        """Whether something is named that was not put in."""
        return bool(self.named) and not set(self.named) <= self.right

    @property
    def in_list(self) -> bool:
        """Whether a right name is named or listed."""
        return any(set(names) <= self.right for names in self.listed)

    @property
    def first(self) -> bool:
        """Whether a right name is first."""
        return bool(self.listed) and set(self.listed[0]) <= self.right

    def as_json(self) -> dict[str, Any]:
        """Give plain values."""
        return asdict(self)


def right_names(fault: str, size: float) -> tuple[str, ...]:
    """Give the names that are right for a fault of this sign."""
    if fault == "antenna-height":
        return RIGHT["antenna-height+" if size > 0 else "antenna-height-"]
    if fault in ("frame", "geoid-omitted") and size < 0:
        return tuple(f"{name}-checkpoints" for name in RIGHT[fault])
    return RIGHT[fault]


@lru_cache(maxsize=16)
def _quiet(scenario: str, raster: bool) -> tuple[Any, Observations, Any]:
    """Give a flight without faults and its whitener: what the floors are taken from."""
    sim = simulate(scenario, {}, 1)
    observations = Observations(raster_sightings(sim) if raster else sightings_of(sim))
    rough = fit.showing(fit.plausible(observations) / 0.02, observations.blocks // 2)
    errors, weights = noise.estimate(observations, rough, SHARED_M)
    return sim, observations, whitener(observations, errors, weights)


def floor_of(fault: str, scenario: str) -> float:
    """Give the detection floor of a fault in its own unit: three standard errors, shared errors included.

    For errors of the aircraft those of the joint fit: that is what telling look-alikes apart takes.
    """
    raster = fault == "half-cell"
    sim, observations, white = _quiet(scenario, raster)
    vector = FAULTS[fault].vector_m(1.0, where_of(sim, raster=raster))
    column = white(observations.seen(vector))
    if fault in BODY:
        others = white(fit.design(observations)[1])
        column = column - _others(column, others) @ column
    return float(3.0 / np.linalg.norm(column))


def _others(column: np.ndarray, design: np.ndarray) -> np.ndarray:
    """Give the projector on all parameters but the one that the column is."""
    unit = design / np.maximum(np.linalg.norm(design, axis=0), 1e-12)
    alike = np.abs(column @ unit) / np.linalg.norm(column)
    u, s, _ = np.linalg.svd(np.delete(unit, int(np.argmax(alike)), axis=1), full_matrices=False)
    u = u[:, s > 1e-6 * s[0]]
    return np.asarray(u @ u.T)


def size_for(fault: str, scenario: str, rng: np.random.Generator) -> tuple[float, float]:
    """Draw a size of 3 to 8 floors, or a whole one; give it and how many floors it is."""
    floor = floor_of(fault, scenario)
    if fault in WHOLE:
        size = float(rng.choice(WHOLE[fault]))
    else:
        size = floor * float(rng.uniform(3.0, 8.0)) * float(rng.choice([-1.0, 1.0]))
        size = abs(size) if fault == "base-slant" else size
        size = float(np.clip(size, -FAULTS[fault].largest, FAULTS[fault].largest))
    return size, abs(size) / floor


def run(scenario: str, faults: Mapping[str, float], seed: int, times: float, folder: Path) -> Case:
    """Fly, diagnose, and put down what came of it."""
    # The nearest 0.75 m are all that a sighting is made of, and make a flight quicker to compute.
    sim = simulate(scenario, dict(faults), seed, radius_m=0.75)
    raster = "half-cell" in faults
    context = context_of(
        scenario_of(scenario),
        folder,
        kind="raster" if raster else "point-cloud",
        slant_m=faults.get("base-slant"),
        autonomous="base-autonomous" in faults,
    )
    found = diagnose_sightings(raster_sightings(sim) if raster else sightings_of(sim), context)
    listed = tuple(s.names for s in found.listed)
    named = listed[0] if found.conclusion == "named" else ()
    value = sigma = truth = None
    if len(faults) == 1 and len(named) == 1 and found.listed[0].amounts:
        ((fault, size),) = faults.items()
        amount = found.listed[0].amounts[0]
        if amount.name != "share" and named[0] in right_names(fault, size):
            value, sigma, truth = amount.value, amount.sigma, size * FACTOR.get(fault, 1.0)
    return Case(
        scenario,
        seed,
        dict(faults),
        times,
        found.conclusion,
        named,
        listed,
        value,
        sigma,
        truth,
        found.text,
    )
