"""Series: the computed curves behind every plot, and what the verdict would be without each single point.

All that a view would otherwise have to compute. Lengths in metres; residual = measured - surveyed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from accuracy.residuals import ResidualRow
from accuracy.series.curves import by_line, component_curves
from accuracy.series.numbers import round_number
from accuracy.series.plan import Box, exaggeration, footprint, from_base
from accuracy.series.what_if import (
    Claimed,
    EvidenceOf,
    of_role,
    sensitivity,
    with_exclusions_restored,
)
from accuracy.standards.library import Standard
from accuracy.stats import COMPONENTS
from accuracy.units import LengthUnit

__all__ = ["compute_series", "round_number"]


def compute_series(
    rows: Sequence[ResidualRow],
    claims: Sequence[tuple[Standard, Claimed]],
    evidence_of: EvidenceOf,
    boxes: Iterable[Box] = (),
    unit: LengthUnit | None = None,
    base_m: tuple[float, float] | None = None,
) -> dict[str, Any]:
    """Compute every series of one dataset.

    Parameters
    ----------
    rows : sequence of ResidualRow
        All surveyed points.
    claims : sequence of (Standard, mapping)
        What is claimed of the dataset, in the order of its claims.
    evidence_of : callable
        Gives the evidence of the used rows among those handed in.
    boxes : iterable of (min x, min y, max x, max y)
        Outlines of the files, in stored units of the deliverable.
    unit : LengthUnit or None
        The stored unit of the plane; None for degrees or unknown.
    base_m : tuple of float or None
        East and north of the base of the flight in the frame of the deliverable, metres.

    Returns
    -------
    dict
        The value under the dataset's name in ``series`` of ``result.schema.json``.
    """
    evidence = evidence_of(tuple(rows))
    return {
        "curves": {
            component: curves
            for component in COMPONENTS
            if component != "3d" and (curves := component_curves(evidence, component))
        },
        "by_line": by_line(rows),
        "plan": {
            "exaggeration_horizontal": exaggeration(rows, "horizontal"),
            "exaggeration_vertical": exaggeration(rows, "vertical"),
        },
        "from_base": from_base(rows, base_m),
        "footprint": footprint(tuple(boxes), unit),
        "sensitivity": {
            str(index): sensitivity(standard, claimed, evidence)
            for index, (standard, claimed) in enumerate(claims)
        },
        "with_exclusions_restored": with_exclusions_restored(rows, claims, evidence_of),
        "control": of_role(rows, "control", evidence_of),
    }
