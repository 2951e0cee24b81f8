"""The ground under vertical checkpoints, by the document's own rule."""

from __future__ import annotations

from collections.abc import Sequence

from accuracy.residuals import ResidualRow
from accuracy.standards.library import Siting


def steep(rows: Sequence[ResidualRow], rule: Siting) -> tuple[str, ...]:
    """Name the points on ground steeper than the rule allows."""
    limit = rule.slope_deg
    if limit is None:
        return ()
    return tuple(
        row.id
        for row in rows
        if row.support is not None
        and row.support.slope_deg is not None
        and (row.support.slope_deg >= limit if rule.below else row.support.slope_deg > limit)
    )


def rough(rows: Sequence[ResidualRow], rule: Siting, limit_m: float | None) -> tuple[str, ...]:
    """Name the points whose neighbourhood deviates from a plane by more than the rule allows.

    What is known is the root mean square of the deviations of the deliverable's own points, its noise
    included. The largest deviation is not smaller, so whoever is named here breaks the rule.

    Parameters
    ----------
    limit_m : float or None
        Claimed limit on the vertical RMSE.
    """
    if rule.deviation_share is None or limit_m is None:
        return ()
    allowed_m = float(rule.deviation_share) * limit_m
    return tuple(
        row.id
        for row in rows
        if row.support is not None
        and row.support.roughness_m is not None
        and row.support.roughness_m >= allowed_m
    )
