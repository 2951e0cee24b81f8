"""What an outline of the project tells beside numbers and quadrants: who lies outside, and what has no data."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

import numpy as np

from accuracy.findings import Finding, Severity
from accuracy.layout.footprint import Footprint
from accuracy.residuals import ResidualRow

#: Share of an outline that data must cover, else it is a warning: what cells leave out at the rim is not told.
#: No source.
COVERED_SHARE = 0.98


def coverage(outline: Footprint, own: Footprint, dataset: str) -> Finding:
    """Tell what share of an outline a deliverable covers.

    Parameters
    ----------
    outline, own : Footprint
        The outline of the project, and the footprint of the data in the same plane.
    """
    at = np.floor((outline.centres_m() - (own.west_m, own.south_m)) / own.cell_m).astype(np.int64)
    rows, columns = own.filled.shape
    within = ((at >= 0) & (at < (columns, rows))).all(axis=1)
    share = float(own.filled[at[within, 1], at[within, 0]].sum()) / len(at)
    short = share < COVERED_SHARE
    return Finding(
        "area-coverage",
        Severity.WARNING if short else Severity.NOTE,
        f"{dataset} covers {share:.1%} of the outline of [area], by {own.source}",
        dataset=dataset,
        evidence={"share": round(share, 6), "outline_m2": outline.area_m2, "data_m2": own.area_m2},
        remedy="deliver the rest, or hand in the outline of what was flown" if short else "",
    )


def others_outside(
    outline: Footprint, rows: Sequence[ResidualRow], told: Collection[str], dataset: str
) -> Iterator[Finding]:
    """Tell points outside an outline that no document was asked about: control, checkpoints without a claim.

    Parameters
    ----------
    told : collection of str
        Ids that are told already.
    """
    placed = [
        (row, row.surveyed.east_m, row.surveyed.north_m)
        for row in rows
        if row.surveyed.east_m is not None and row.surveyed.north_m is not None
    ]
    if not placed:
        return
    within = outline.contains(np.array([place[1:] for place in placed], dtype=np.float64))
    outside = [row for (row, *_), inside in zip(placed, within.tolist(), strict=True) if not inside]
    for role, severity, remedy in (
        ("checkpoint", Severity.WARNING, "a point outside proves nothing about the area"),
        ("control", Severity.NOTE, "control outside may be meant; make sure that it ties the area"),
    ):
        ids = [row.id for row in outside if row.role == role and row.id not in told]
        if ids:
            shown = ", ".join(ids[:12]) + (f" and {len(ids) - 12} more" if len(ids) > 12 else "")
            yield Finding(
                "area-points-outside",
                severity,
                f"{len(ids)} {role} point{'s lie' if len(ids) > 1 else ' lies'} outside {outline.source}: "
                + shown,
                dataset=dataset,
                evidence={"points": len(ids), "role": role},
                remedy=remedy,
            )
