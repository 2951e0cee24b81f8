"""What if: the claims judged without each single point, or with the excluded ones; control points apart."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from accuracy.residuals import ResidualRow, Role
from accuracy.standards.judge import Check, Evidence, Judgement, judge
from accuracy.standards.library import Standard

if TYPE_CHECKING:
    from numpy.typing import NDArray

Claimed = Mapping[str, float | int | str | bool]

#: Gives the evidence of the used rows among those handed in.
EvidenceOf = Callable[[tuple[ResidualRow, ...]], Evidence]

#: Claims are judged again without each of so many points at most: half of them those of the largest error,
#: half those of the smallest, because these move the figures most.
MOST_LEFT_OUT = 400

_FIGURES = ("n", "mean", "median", "std", "rmse", "min", "max", "p95_abs")


def sensitivity(standard: Standard, claimed: Claimed, evidence: Evidence) -> dict[str, Any]:
    """Judge a claim again without each single point.

    Parameters
    ----------
    standard : Standard
        The document.
    claimed : mapping
        Claim keys.
    evidence : Evidence
        All points that count.

    Returns
    -------
    dict
        ``check`` is the check whose value comes nearest to its limit or is furthest beyond it (the first
        with a value, where none has a limit); ``without`` has its value and the claim's verdict without
        each point, smallest value first; ``changes`` those of them with another verdict.
    """
    whole = judge(standard, claimed, evidence)
    check = _deciding(whole)
    tried = _points_to_try(evidence)
    without: list[dict[str, Any]] = []
    for place in tried:
        judgement = judge(standard, claimed, _reduced(evidence, place))
        value = _value_of(judgement, check)
        without.append(
            {
                "id": evidence.ids[place],
                "verdict": judgement.verdict,
                "value": value,
            }
        )
    known = sorted((w for w in without if w["value"] is not None), key=lambda w: w["value"])
    ordered = known + [w for w in without if w["value"] is None]
    return {
        "verdict": whole.verdict,
        "check": None if check is None else check.name,
        "component": None if check is None else check.component,
        "unit": None if check is None else check.unit,
        "value": None if check is None else check.value,
        "limit": None if check is None else check.limit,
        "tried": len(tried),
        "of": len(evidence.ids),
        "lowest": known[0] if known else None,
        "highest": known[-1] if known else None,
        "changes": [w for w in ordered if w["verdict"] != whole.verdict],
        "without": ordered,
    }


def _deciding(judgement: Judgement) -> Check | None:
    valued = [check for check in judgement.checks if check.value is not None]
    limited = [check for check in valued if check.limit]
    if limited:
        return max(limited, key=lambda c: (c.value or 0.0) / (c.limit or 1.0))
    return valued[0] if valued else None


def _value_of(judgement: Judgement, like: Check | None) -> float | None:
    """Give the value of the same check in another judgement."""
    if like is None:
        return None
    key = (like.name, like.component, like.cover)
    return next((c.value for c in judgement.checks if (c.name, c.component, c.cover) == key), None)


def _points_to_try(evidence: Evidence) -> list[int]:
    n = len(evidence.ids)
    if n <= MOST_LEFT_OUT:
        return list(range(n))
    axes = np.nan_to_num(np.stack([evidence.east_m, evidence.north_m, evidence.up_m]))
    order = np.argsort(np.sqrt((axes**2).sum(axis=0)), kind="stable")
    half = MOST_LEFT_OUT // 2
    return sorted(int(i) for i in np.concatenate([order[:half], order[-half:]]))


def _reduced(evidence: Evidence, place: int) -> Evidence:
    """Leave out the point at this place."""

    def cut(values: NDArray[Any]) -> NDArray[Any]:
        return np.delete(values, place)

    return replace(
        evidence,
        ids=evidence.ids[:place] + evidence.ids[place + 1 :],
        east_m=cut(evidence.east_m),
        north_m=cut(evidence.north_m),
        up_m=cut(evidence.up_m),
        vegetated=cut(evidence.vegetated),
        survey_rmse_h_m=cut(evidence.survey_rmse_h_m),
        survey_rmse_v_m=cut(evidence.survey_rmse_v_m),
        place=evidence.place[:place] + evidence.place[place + 1 :],
        land_cover=evidence.land_cover[:place] + evidence.land_cover[place + 1 :],
    )


def with_exclusions_restored(
    rows: Sequence[ResidualRow],
    claims: Sequence[tuple[Standard, Claimed]],
    evidence_of: EvidenceOf,
) -> dict[str, Any] | None:
    """Give figures and verdicts as they would be with the excluded points counted; None without any."""
    back = [row.id for row in rows if row.role == "excluded" and row.residual is not None]
    if not back:
        return None
    every = tuple(
        replace(row, used=True) if row.role == "excluded" and row.residual is not None else row
        for row in rows
    )
    evidence = evidence_of(every)
    return {
        "ids": back,
        "figures": _figures(evidence),
        "verdicts": {
            str(index): judge(standard, claimed, evidence).verdict
            for index, (standard, claimed) in enumerate(claims)
        },
    }


def of_role(
    rows: Sequence[ResidualRow],
    role: Role,
    evidence_of: EvidenceOf,
) -> dict[str, Any] | None:
    """Give the figures of the points of one role alone; None where none has a residual."""
    its = tuple(
        replace(row, used=True) for row in rows if row.role == role and row.residual is not None
    )
    if not its:
        return None
    return {"ids": [row.id for row in its], "figures": _figures(evidence_of(its))}


def _figures(evidence: Evidence) -> list[dict[str, Any]]:
    """Give the main figures, in the form they have in the record."""
    return evidence.main_figures(_FIGURES)
