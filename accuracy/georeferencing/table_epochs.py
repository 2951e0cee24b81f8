"""What the epoch column of a table says, held against its reference system."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from accuracy.findings import Finding, Severity
from accuracy.georeferencing.evidence import SAME_EPOCH_YEARS
from accuracy.georeferencing.record import Reference


def with_epochs(
    reference: Reference, epochs: Sequence[float | None], where: str
) -> tuple[Reference, tuple[Finding, ...]]:
    """Take the epoch of a table's points where the job states none; refuse points of several epochs.

    Parameters
    ----------
    reference : Reference
        What the table's coordinates refer to.
    epochs : sequence of float or None
        Decimal year of each point; None where its cell is empty or the table has no such column.
    where : str
        The table, for messages.

    Returns
    -------
    reference : Reference
        With the epoch.
    findings : tuple of Finding
        Blocking where the frame moves and the points, or points and job, have different epochs; a warning
        where it does not move.
    """
    stated = sorted({epoch for epoch in epochs if epoch is not None})
    if not stated:
        return reference, ()
    known = reference.epoch_year
    lowest = min(stated[0], stated[0] if known is None else known)
    highest = max(stated[-1], stated[-1] if known is None else known)
    silent = known is None and None in epochs
    if highest - lowest > SAME_EPOCH_YEARS or silent:
        told = f"epochs from {lowest:g} to {highest:g}" + (
            ", and points without one" if silent else ""
        )
        finding = Finding(
            "crs-epoch-differs",
            Severity.BLOCKING if reference.dynamic else Severity.WARNING,
            f"{where}: the points carry {told}"
            + ("" if known is None else f" (the job states {known:g})"),
            remedy="bring all points to one epoch with their velocities, and state it as epoch in "
            "[checkpoints]",
        )
        return reference, (finding,)
    if known is not None:
        return reference, ()
    sources = (*reference.sources, f"epoch {stated[0]:g}: {where}, column epoch")
    return replace(reference, epoch_year=stated[0], sources=sources), ()
