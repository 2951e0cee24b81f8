"""From sightings to a diagnosis."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from accuracy.diagnosis import blunders as blunder_tests
from accuracy.diagnosis import fit, noise
from accuracy.diagnosis.candidates import Context, catalogue
from accuracy.diagnosis.model import Observations, solve, whitener
from accuracy.diagnosis.ranking import Problem, rank
from accuracy.diagnosis.records import Array, Diagnosis, Errors, Sightings
from accuracy.diagnosis.telling_apart import tell_apart
from accuracy.diagnosis.words import paragraph

#: What flight, base and survey session move all points by, one sigma, metres, horizontal and vertical: several
#: millimetres in drone practice. Nothing in the residuals shows it, so it is assumed, and said.
SHARED_M = (0.006, 0.008)
#: Fewest points that say anything of a cause.
LEAST_POINTS = 4
#: Errors of the aircraft and shifts that are fitted to the lines, about.
LINE_PARAMETERS = 8
#: What is known beforehand of how trajectories wander is worth so many degrees of freedom.
LEAST_FREEDOM = 20


def shared_errors(base: Mapping[str, Any]) -> tuple[float, float]:
    """Give the errors that everything shares; with what is to be expected of the distance to the base."""
    distance = base.get("distance") or {}
    sigma = distance.get("expected_sigma") or {}
    east, up = sigma.get("east_m") or 0.0, sigma.get("up_m") or 0.0
    return math.hypot(SHARED_M[0], east / 3.0), math.hypot(SHARED_M[1], up / 3.0)


def diagnose_sightings(sightings: Sightings, context: Context) -> Diagnosis:
    """Fit, rank, and say what came of it."""
    observations = Observations(sightings)
    points = np.unique(sightings.place[observations.row]).size
    if points < LEAST_POINTS:
        text = f"{points} point{'s' if points != 1 else ''} with residuals: too few to say anything of a cause."
        return Diagnosis("no-residuals", text, sightings)
    shared = shared_errors(context.base)
    most = max(1, observations.blocks // 2)
    usual = 0.02  # metres; only decides which combinations are looked at while errors are estimated
    rough = fit.showing(fit.plausible(observations) / usual, most)
    errors, weights = noise.estimate(observations, rough, shared)
    white = whitener(observations, errors, weights)
    basis = fit.showing(white(fit.plausible(observations)), most)
    values = white(observations.values)
    freedom = observations.blocks - basis.shape[1]
    found = blunder_tests.find(
        observations, *noise.remainders(observations, rough, weights, errors), rough.shape[1]
    )
    sessions = tuple((_group_name(b.ids), b.ids) for b in found if len(b.ids) > 1)
    candidates = catalogue(sightings, replace(context, sessions=sessions))
    problem = Problem(observations, white, basis, values, freedom, line_freedom(sightings, freedom))
    conclusion, scored = rank(problem, candidates)
    parameters = fit.parameters(observations, white, values)
    blind = fit.blindness(parameters, sightings)
    listed = [s for s in scored if s.standing in ("named", "consistent")]
    advice = tell_apart([c for s in listed for c in s.causes]) if conclusion == "consistent" else ()
    shift = _shift(observations, white, values)
    notes = _notes(context, sightings)
    return Diagnosis(
        conclusion=conclusion,
        text=paragraph(conclusion, shift, scored, sightings, blind, advice, found, notes),
        sightings=sightings,
        errors=errors,
        parameters=parameters,
        lines=fit.line_shifts(sightings, errors, weights, observations),
        blind=blind,
        scored=scored,
        tell_apart=advice,
        blunders=found,
        notes=notes,
        without_blunders=blunder_tests.without(found, sightings.ids, _of_points(sightings)),
    )


def line_freedom(sightings: Sightings, freedom: int) -> int:
    """Give the degrees of freedom of what is told by lines: three for each, less what is fitted to them."""
    lines = len(sightings.lines)
    if lines < 2:
        return freedom
    axes = sum(sightings.has(axis) for axis in range(3))
    return max(LEAST_FREEDOM, min(freedom, axes * lines - LINE_PARAMETERS))


def _group_name(ids: tuple[str, ...]) -> str:
    return f"{len(ids)} points ({ids[0]} to {ids[-1]})"


def _notes(context: Context, sightings: Sightings) -> tuple[str, ...]:
    notes = []
    if sightings.left_out:
        looked_at = len(sightings.ids)
        notes.append(
            f"of {looked_at + sightings.left_out} points {looked_at}, evenly, were looked at"
        )
    if context.base.get("survey_from_same_base"):
        notes.append(
            "checkpoints and flight hang on the same base: what is wrong with it moves both and does not show"
        )
    return tuple(notes)


def _shift(observations: Observations, white: Any, values: Array) -> dict[str, tuple[float, float]]:
    """Fit a shift alone: amount and standard error of each axis that is tested directly."""
    sightings = observations.sightings
    names = [axis for axis in range(3) if sightings.has(axis)]
    columns = []
    for axis in names:
        field = np.zeros((sightings.count, 3))
        field[:, axis] = 1.0
        columns.append(white(observations.seen(field)))
    amounts, covariance, _ = solve(np.column_stack(columns), values)
    return {
        ("east", "north", "up")[axis]: (float(amounts[i]), float(math.sqrt(covariance[i, i])))
        for i, axis in enumerate(names)
    }


def _of_points(sightings: Sightings) -> Array:
    """Give the mean residual of each point, shape (p, 3)."""
    out = np.full((len(sightings.ids), 3), np.nan)
    for place in range(len(sightings.ids)):
        its = sightings.residual_m[sightings.place == place]
        for axis in range(3):
            seen = its[np.isfinite(its[:, axis]), axis]
            if seen.size:
                out[place, axis] = seen.mean()
    return out


__all__ = ["Errors", "diagnose_sightings", "shared_errors"]
