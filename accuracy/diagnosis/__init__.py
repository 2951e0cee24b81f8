"""Diagnosis: why a deliverable is off, as far as its residuals can say. It corrects nothing.

The way: rows to `sightings` (every point by every flight line), errors (`noise`), a general fit (`fit`), the
`candidates` and what each predicts here, and the `ranking` with its rule for naming one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from accuracy.diagnosis.records import Diagnosis

if TYPE_CHECKING:
    from accuracy.diagnosis.candidates.context import Context
    from accuracy.residuals import ResidualRow

__all__ = ["Diagnosis", "diagnose"]


def diagnose(
    rows: Sequence[ResidualRow],
    context: Context,
    *,
    trajectory: Mapping[str, Any] | None = None,
    targets: Sequence[Mapping[str, Any]] = (),
) -> Diagnosis:
    """Diagnose one dataset.

    Parameters
    ----------
    rows : sequence of ResidualRow
        All its rows.
    context : Context
        What is known besides.
    trajectory : mapping, optional
        ``trajectory`` of the result.
    targets : sequence of mapping
        ``targets.measured`` of the result for this dataset: their centres by flight line.

    Returns
    -------
    Diagnosis
        Without a what-if; see `accuracy.diagnosis.what_if`.
    """
    from accuracy.diagnosis.diagnosing import diagnose_sightings
    from accuracy.diagnosis.sightings import sightings_of

    sightings = sightings_of(rows, trajectory or {}, context.kind, targets)
    if sightings is None:
        return Diagnosis("no-residuals", "No residuals, so nothing to look at.")
    return diagnose_sightings(sightings, replace(context))
