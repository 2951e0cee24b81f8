"""The survey of a scenario: where its marks are, and what the survey's table says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from accuracy.simulation.scenario_record import Mark, Scenario

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Survey:
    """Marks with their coordinates, checkpoints first, then control; absolute, shape (n, 3)."""

    marks: tuple[Mark, ...]
    true_m: Array
    surveyed_m: Array
    session: NDArray[np.int64]
    slope: Array


def survey_of(scenario: Scenario, faults: Mapping[str, float], seed: int) -> Survey:
    """Survey all marks: noise, what the survey shares, and its faults.

    Every third checkpoint belongs to session 2. Heights of raised targets are those of the plate.
    """
    noise, landscape = scenario.noise, scenario.landscape
    marks = tuple(sorted(scenario.marks, key=lambda mark: mark.control))
    raised = {target.id: target.raised_m for target in landscape.targets}
    east = np.array([mark.east_m for mark in marks])
    north = np.array([mark.north_m for mark in marks])
    up_m, by_east, by_north = landscape.field(east, north)
    up_m = up_m + np.array([raised.get(mark.target, 0.0) for mark in marks])
    origin_e, origin_n = scenario.site.origin_m
    true_m = np.column_stack([origin_e + east, origin_n + north, up_m])

    random = np.random.Generator(np.random.PCG64([seed, 120]))
    shared_m = random.normal(size=3) * np.array(noise.survey_shared_m)
    each_m = random.normal(size=(len(marks), 3)) * np.array(
        [noise.survey_h_m, noise.survey_h_m, noise.survey_v_m]
    )
    session = np.where(np.arange(len(marks)) % 3 == 2, 2, 1)
    error_m = shared_m + each_m
    error_m[:, 2] -= faults.get("survey-session", 0.0) * (session == 2)
    spoiled = np.array([mark.id == scenario.blunder for mark in marks])
    error_m[:, 2] -= faults.get("survey-blunder", 0.0) * spoiled
    surveyed_m = np.round(true_m + error_m, 3) if noise.survey_v_m else true_m + error_m
    return Survey(marks, true_m, surveyed_m, session, np.column_stack([by_east, by_north]))
