"""The verdict on two runs: significant, large enough to matter, and beyond what shared errors do.

One test decides whether the difference is chance: `accuracy.stats.paired.sign_flip` on the differences of
squared residuals. It takes points as independent, and within one flight they are not: base station,
trajectory and calibration move all of them together, differently in each flight. No test of the points sees
that. So a difference must also exceed a tolerance, and the two RMSE must be further apart than a shared part
of a fifth of the variance often puts them: the larger more than `LEAST_RATIO` times the smaller. Runs of one
flight that share these errors may say so; then that last condition is dropped.

``tests/benchmarks/compare_power.py`` shows by simulation what the three conditions let through.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from accuracy.comparison.claimed import Claimed
from accuracy.comparison.points import Side, judged
from accuracy.comparison_record import AxisInfo, Group, Outcome, Pair, Rank
from accuracy.residuals import ResidualRow
from accuracy.stats import formulas, paired
from accuracy.stats.several import holm, tied

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Vector = NDArray[np.float64]

Axis = Literal["east", "north", "up"]

#: Ratio of RMSE that reruns with a fifth of the variance shared by all points exceed, and are significant
#: besides, in at most one case of twenty: by simulation, see tests/benchmarks/compare_power.py.
LEAST_RATIO = 1.75

#: Letters for runs that are not shown to differ.
_LETTERS = "abcdefghijklmnopqrstuvwxyz"

_AXES: Mapping[str, tuple[Axis, ...]] = {
    "east": ("east",),
    "north": ("north",),
    "up": ("up",),
    "horizontal": ("east", "north"),
    "3d": ("east", "north", "up"),
}


@dataclass(frozen=True, eq=False)
class _Data:
    """Residuals of all runs at the common points of one group: one tuple of axes for each run."""

    ids: tuple[str, ...]
    axes: tuple[tuple[Vector, ...], ...]


def group(
    name: str, sides: Sequence[Side], common: Sequence[str], claimed: Claimed, least_ratio: float
) -> Group | None:
    """Compare every two runs in one component and cover; None where no run has such points.

    The p of the pairs are not adjusted yet, and no verdict is set: see `judge`.
    """
    data = _collect(sides, common, claimed)
    if not data.ids and not any(
        _fits(row, claimed) for side in sides for row in side.rows.values()
    ):
        return None
    count = len(sides)
    pairs = (
        tuple(
            _pair(i, j, data, claimed, least_ratio)
            for i in range(count)
            for j in range(i + 1, count)
        )
        if data.ids
        else ()
    )
    lengths = [_lengths(axes) for axes in data.axes] if data.ids else [()] * count
    return Group(
        dataset=name,
        component=claimed.component,
        cover=claimed.cover,
        claims=claimed.names,
        tolerance_m=claimed.tolerance_m,
        tolerance_source=claimed.source,
        ids=data.ids,
        residuals_m=tuple(tuple(map(float, values)) for values in lengths),
        pairs=pairs,
        ranking=(),
    )


def judge(groups: Sequence[Group], runs: int, least_ratio: float) -> tuple[tuple[Group, ...], int]:
    """Adjust p for all tests together, set the verdicts and rank the runs; give the number of tests, too."""
    places = [
        (g, i)
        for g, its in enumerate(groups)
        if its.tolerance_m is not None
        for i, pair in enumerate(its.pairs)
        if pair.differing
    ]
    adjusted = dict(zip(places, holm([groups[g].pairs[i].p for g, i in places]), strict=True))
    done = []
    for g, its in enumerate(groups):
        pairs = tuple(
            _judged(pair, adjusted.get((g, i)), its, len(places), least_ratio)
            for i, pair in enumerate(its.pairs)
        )
        ranking = _rank(pairs, runs) if runs > 2 and its.tolerance_m is not None else ()
        done.append(replace(its, pairs=pairs, ranking=ranking))
    return tuple(done), len(places)


def whole(groups: Sequence[Group]) -> Outcome:
    """Fold the verdicts on the first run's pairs: worse first, then better."""
    outcomes = {pair.outcome for its in groups for pair in its.pairs if pair.before == 0}
    for outcome in ("worse", "better", "no-difference-shown"):
        if outcome in outcomes:
            return outcome
    return "no-verdict"


def _value(row: ResidualRow, axis: Axis) -> float | None:
    return None if row.residual is None else getattr(row.residual, f"{axis}_m")


def _fits(row: ResidualRow, claimed: Claimed) -> bool:
    return (
        judged(row)
        and claimed.cover in ("all", row.cover)
        and all(_value(row, axis) is not None for axis in _AXES[claimed.component])
    )


def _collect(sides: Sequence[Side], common: Sequence[str], claimed: Claimed) -> _Data:
    import numpy as np

    rows = [side.rows for side in sides]
    ids = tuple(id_ for id_ in common if all(_fits(its[id_], claimed) for its in rows))
    axes = tuple(
        tuple(
            np.array([_value(its[id_], axis) for id_ in ids], dtype=np.float64)
            for axis in _AXES[claimed.component]
        )
        for its in rows
    )
    return _Data(ids, axes)


def _lengths(axes: tuple[Vector, ...]) -> Vector:
    import numpy as np

    return axes[0] if len(axes) == 1 else np.hypot(axes[0], _lengths(axes[1:]))


def _rmse(axes: tuple[Vector, ...]) -> float:
    return math.hypot(*(formulas.rmse(axis) for axis in axes))


def _pair(i: int, j: int, data: _Data, claimed: Claimed, least_ratio: float) -> Pair:
    before, after = data.axes[i], data.axes[j]
    unit_m = paired.largest(before, after)
    test = paired.sign_flip(paired.difference_of_squares(before, after, unit_m))
    old_m, new_m = _rmse(before), _rmse(after)
    smallest = paired.smallest_change(before, after, claimed.tolerance_m or 0.0, least_ratio)
    beyond = None if claimed.tolerance_m is None else abs(new_m - old_m) > claimed.tolerance_m
    return Pair(
        before=i,
        after=j,
        rmse_before_m=old_m,
        rmse_after_m=new_m,
        change_m=new_m - old_m,
        p=test.p,
        p_adjusted=test.p,
        differing=test.n,
        draws=test.draws,
        significant=test.p <= paired.LEVEL,
        beyond_tolerance=beyond,
        beyond_shared=max(old_m, new_m) > least_ratio * min(old_m, new_m),
        outcome="no-verdict",
        reason=claimed.source,
        smallest_better_m=smallest.better_m,
        smallest_worse_m=smallest.worse_m,
        axes=tuple(
            _information(axis, b, a)
            for axis, b, a in zip(_AXES[claimed.component], before, after, strict=True)
        ),
    )


def _information(axis: Axis, before_m: Vector, after_m: Vector) -> AxisInfo:
    several = len(before_m) >= 2
    return AxisInfo(
        axis=axis,
        mean_before_m=formulas.mean(before_m),
        mean_after_m=formulas.mean(after_m),
        shift=paired.shift(before_m, after_m),
        std_before_m=formulas.std(before_m) if several else None,
        std_after_m=formulas.std(after_m) if several else None,
        spread=paired.spread_ratio(before_m, after_m),
    )


def _judged(pair: Pair, adjusted: float | None, its: Group, tests: int, least_ratio: float) -> Pair:
    if its.tolerance_m is None:
        return pair
    adjusted = pair.p if adjusted is None else adjusted
    significant = adjusted <= paired.LEVEL
    outcome: Outcome = "no-difference-shown"
    if not significant:
        reason = _not_significant(pair, len(its.ids), tests)
    elif not pair.beyond_tolerance:
        reason = "more than chance, but not larger than the tolerance"
    elif not pair.beyond_shared:
        reason = (
            "more than chance and larger than the tolerance, but not more than errors may do that all points "
            "of a flight share; where both runs are of one flight, say so (--same-flight)"
        )
    else:
        outcome = "better" if pair.change_m < 0 else "worse"
        reason = "more than chance, and larger than the tolerance"
        if least_ratio > 1.0:
            reason = (
                "more than chance, larger than the tolerance, and more than shared errors often do"
            )
    return replace(
        pair, p_adjusted=adjusted, significant=significant, outcome=outcome, reason=reason
    )


def _not_significant(pair: Pair, n: int, tests: int) -> str:
    if not pair.differing:
        return "the runs agree at every checkpoint"
    if 2.0 ** (1 - n) * max(tests, 1) > paired.LEVEL:
        return f"{n} checkpoints can show no difference at the level of these tests, however large"
    return "chance alone may do as much"


def _rank(pairs: Sequence[Pair], runs: int) -> tuple[Rank, ...]:
    """Order runs by RMSE; runs that share a letter are not shown to differ."""
    rmse_m: dict[int, float] = {}
    for pair in pairs:
        rmse_m |= {pair.before: pair.rmse_before_m, pair.after: pair.rmse_after_m}
    order = sorted(range(runs), key=lambda run: (rmse_m[run], run))
    place = {run: i for i, run in enumerate(order)}
    different = {
        (place[pair.before], place[pair.after])
        for pair in pairs
        if pair.outcome in ("better", "worse")
    }
    groups = tied(runs, different)
    return tuple(
        Rank(
            i + 1,
            run,
            rmse_m[run],
            " ".join(_letter(g) for g, members in enumerate(groups) if i in members),
        )
        for i, run in enumerate(order)
    )


def _letter(number: int) -> str:
    return _LETTERS[number % 26] * (number // 26 + 1)
