"""What if a named cause were removed: figures and verdicts as they would be. A hypothesis, never a result."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from accuracy.diagnosis.records import Array, Scored, Sightings
from accuracy.standards.judge import Evidence, judge
from accuracy.standards.library import Standard

HYPOTHESIS = "a hypothesis, not a result: nothing was corrected; process again, and test again"
_FIGURES = ("n", "mean", "std", "rmse")


def predicted_of_points(scored: Scored, sightings: Sightings) -> Array:
    """Give what a cause does to each point's residual, the mean of its flight lines; shape (p, 3)."""
    moved = scored.predicted.copy()
    moved[:, 2] -= (scored.predicted[:, :2] * sightings.gradient).sum(axis=1)
    total = np.zeros((len(sightings.ids), 3))
    weight = np.zeros(len(sightings.ids))
    np.add.at(total, sightings.place, moved * sightings.returns[:, None])
    np.add.at(weight, sightings.place, sightings.returns)
    return np.asarray(total / weight[:, None])


def what_if(
    scored: Scored,
    sightings: Sightings,
    evidence: Evidence,
    claims: Sequence[tuple[Standard, Mapping[str, float | int | str | bool]] | None],
) -> dict[str, Any]:
    """Take a cause off the residuals and judge again.

    Parameters
    ----------
    evidence : Evidence
        What the judge was given.
    claims : sequence of (Standard, mapping) or None
        In the order of the dataset's claims; None where its standard is not at hand.
    """
    predicted = predicted_of_points(scored, sightings)
    at = {id_: i for i, id_ in enumerate(sightings.ids)}
    effect = np.array([predicted[at[id_]] if id_ in at else np.zeros(3) for id_ in evidence.ids])
    effect = effect.reshape(-1, 3)
    freed = replace(
        evidence,
        east_m=evidence.east_m - effect[:, 0],
        north_m=evidence.north_m - effect[:, 1],
        up_m=evidence.up_m - effect[:, 2],
    )
    return {
        "causes": list(scored.names),
        "is": HYPOTHESIS,
        "figures": _figures(freed),
        "verdicts": [
            None if claim is None else judge(claim[0], claim[1], freed).verdict for claim in claims
        ],
    }


def _figures(evidence: Evidence) -> list[dict[str, Any]]:
    return evidence.main_figures(_FIGURES)
