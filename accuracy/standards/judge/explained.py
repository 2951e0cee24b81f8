"""A claim as a calculation on paper: every figure, limit and rule with the job's own numbers put in."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from accuracy.standards.judge.records import Check, Evidence, PartJudgement
from accuracy.standards.judge.rules import AXES, COMPONENT
from accuracy.standards.judge.verdict import judge, of_each_land_cover, with_survey_method
from accuracy.standards.library import UNITS, Limit, Measure, Standard
from accuracy.stats import ESTIMATORS, Component, Operator, show_both
from accuracy.stats.steps import put, steps

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Keys = Mapping[str, float | int | str | bool]


@dataclass(frozen=True)
class Explained:
    """One figure or rule of a claim.

    Attributes
    ----------
    what : str
        The figure or the rule.
    source : str
        Its place in the document.
    mark : str
        How it was come by.
    lines : tuple of str
        The steps; see `accuracy.stats.steps` on how they are written. A comparison ends in ``is true`` or
        ``is false``.
    """

    what: str
    source: str
    mark: str
    lines: tuple[str, ...]


def explain(standard: Standard, claimed: Keys, evidence: Evidence) -> tuple[Explained, ...]:
    """Give the steps to everything that a claim is judged by, part by part."""
    judged = judge(standard, claimed, evidence)
    filled, _, _ = with_survey_method(standard, evidence)
    found: list[Explained] = []
    for part in judged.parts:
        listed = (*standard.requirements, *standard.reports)
        measures = {m.id: m for m in listed}
        for measure in listed:
            measures |= of_each_land_cover(measure, evidence)
        limited = []
        for id_, check in part.checks.items():
            found.append(_figure(standard, measures[id_], check, claimed, filled))
            if check.limit is not None and check.n:
                limited.append((measures[id_], check, check.limit))
        found += _numbers(standard, part, filled)
        found += _survey(standard, part, limited, filled)
        found += _screens(standard, limited, filled)
        if part.reasons:
            why = tuple(f"no statement: {reason}" for reason in part.reasons)
            found.append(Explained(f"verdict on the {part.part} part", "", "", why))
    return tuple(found)


def _truth(value: float, limit: float, operator: Operator, holds: bool | None) -> str:
    shown, wanted = show_both(value, limit, operator, 6)
    return f"{shown} m {operator} {wanted} m is {'true' if holds else 'false'}"


def _figure(
    standard: Standard, measure: Measure, check: Check, claimed: Keys, evidence: Evidence
) -> Explained:
    group = evidence.group(measure.component, measure.cover)
    lines: list[str] = ["no points"]
    if group.n:
        ids = [evidence.ids[i] for i in group.used.nonzero()[0]]
        lines = steps(measure.estimator, group.axes, ids)
        found = ESTIMATORS[measure.estimator](group.axes)
        if measure.survey_error_included and isinstance(found, float):
            lines += _with_survey(standard, measure, found, evidence)
    if measure.limit is not None and check.limit is not None:
        lines.append(_limit(measure.limit, claimed, check.limit))
        if check.value is not None:
            lines.append(_truth(check.value, check.limit, measure.operator, check.passes))
    return Explained(
        f"{check.name}, {check.n} points", check.cite, check.verification, tuple(lines)
    )


def _own(component: Component, evidence: Evidence) -> NDArray[np.float64]:
    """Give the survey's own error for a component, as `accuracy.stats.select` takes it."""
    import numpy as np

    h, v = evidence.survey_rmse_h_m, evidence.survey_rmse_v_m
    own = {"horizontal": h, "up": v, "3d": np.hypot(h, v)}
    return np.asarray(own.get(component, h / math.sqrt(2.0)), dtype=np.float64)


def _survey_line(component: Component, used: NDArray[np.bool_], evidence: Evidence) -> str:
    own = _own(component, evidence)[used]
    total = math.fsum(own * own)
    return (
        f"survey RMSE = sqrt(sum of squares of the survey's own / n) = sqrt({put(total)} / {len(own)}) = "
        f"{put(math.sqrt(total / len(own)))} m"
    )


def _with_survey(
    standard: Standard, measure: Measure, found: float, evidence: Evidence
) -> Iterator[str]:
    group = evidence.group(measure.component, measure.cover)
    if group.survey_rmse_m is None:
        yield "with the survey's own error: it is not known at every point"
        return
    yield _survey_line(measure.component, group.used, evidence)
    cited = standard.survey_error
    yield (
        f"with the survey's own error = sqrt(found^2 + survey^2) = sqrt({put(found)}^2 + "
        f"{put(group.survey_rmse_m)}^2) = {put(math.hypot(found, group.survey_rmse_m))} m"
    )
    if cited is not None:
        yield f"that it is added so: {cited.cite} [{cited.verification}]"


def _limit(limit: Limit, claimed: Keys, limit_m: float) -> str:
    metres = f"{float(UNITS[limit.unit]):.12g}"
    if limit.key is None:
        return f"limit = {limit.value:.12g} x {metres} = {put(limit_m)} m"
    given = claimed[limit.key]
    if limit.table is not None:
        row = limit.table[str(given)]
        return (
            f"limit for {limit.key} {given} = {row:.12g} {limit.unit} = {row:.12g} x {metres} = "
            f"{put(limit_m)} m"
        )
    return (
        f"limit = {limit.factor:.12g} x {limit.key} = {limit.factor:.12g} x {given} x {metres} = "
        f"{put(limit_m)} m"
    )


def _numbers(standard: Standard, part: PartJudgement, evidence: Evidence) -> Iterator[Explained]:
    for rule in standard.minimums:
        if rule.part != part.part:
            continue
        group = evidence.group(COMPONENT[part.part], rule.cover)
        n = evidence.places(group)
        lines = [f"{n} >= {rule.minimum} is {'true' if n >= rule.minimum else 'false'}"]
        if n < group.n:
            lines.insert(0, f"{group.n} points stand at {n} places, and each place counts once")
        if not rule.binding:
            lines.append("fewer are remarked and take no statement away")
        cover = "" if rule.cover == "all" else f"{rule.cover} "
        yield Explained(f"number of {cover}points", rule.cite, rule.verification, tuple(lines))


def _survey(
    standard: Standard,
    part: PartJudgement,
    limited: list[tuple[Measure, Check, float]],
    evidence: Evidence,
) -> Iterator[Explained]:
    """How good the survey is wanted to be: against each limit on an RMSE, or against the RMSE found."""
    rule = standard.survey
    if rule is None:
        return
    if rule.ratio is None:
        component = COMPONENT[part.part]
        measures = [m for m in (*standard.requirements, *standard.reports) if m.part == part.part]
        group = evidence.group(component, measures[0].cover)
        found = ESTIMATORS["rmse"](group.axes)
        if group.survey_rmse_m is not None and isinstance(found, float):
            holds = group.survey_rmse_m < found
            yield Explained(
                "survey better than what was found",
                rule.cite,
                rule.verification,
                (
                    _survey_line(component, group.used, evidence),
                    *steps("rmse", group.axes, evidence.ids),
                    _truth(group.survey_rmse_m, found, "<", holds),
                ),
            )
        return
    for measure, check, limit in limited:
        group = evidence.group(measure.component, measure.cover)
        if measure.estimator != "rmse":
            continue
        lines = ["the survey's own error is not known at every point"]
        if (known := group.survey_rmse_m) is not None:
            product = Fraction(repr(known)) * Fraction(
                repr(rule.ratio)
            )  # as the rule itself decides
            lines = [
                _survey_line(measure.component, group.used, evidence),
                f"ratio x survey RMSE = {rule.ratio:g} x {put(known)} = {put(float(product))} m",
                _truth(float(product), limit, "<=", product <= Fraction(repr(limit))),
            ]
        if not rule.binding:
            lines.append("a coarser survey is remarked and takes no statement away")
        yield Explained(
            f"survey {rule.ratio:g} times better than the limit for {check.name}",
            rule.cite,
            rule.verification,
            tuple(lines),
        )


def _screens(
    standard: Standard, limited: list[tuple[Measure, Check, float]], evidence: Evidence
) -> Iterator[Explained]:
    """Mean error and largest error of each axis against their share of the limit on the RMSE."""
    for measure, check, limit in limited:
        if measure.estimator != "rmse":
            continue
        for rule in standard.rules:
            allowed = rule.factor * limit
            lines = [
                f"allowed = {rule.factor:g} x limit = {rule.factor:g} x {put(limit)} = {put(allowed)} m"
            ]
            for axis in AXES[measure.component]:
                group = evidence.group(axis, measure.cover)
                ids = [evidence.ids[i] for i in group.used.nonzero()[0]]
                if not group.n:
                    continue
                estimator = "abs_mean" if rule.kind == "mean-error" else "abs_max"
                value = ESTIMATORS[estimator](group.axes)
                assert isinstance(value, float)
                holds = value < allowed if rule.operator == "<" else value <= allowed
                lines.append(f"{axis}:")
                lines += steps(estimator, group.axes, ids)
                lines.append(_truth(value, allowed, rule.operator, holds))
            if not rule.binding:
                lines.append("what goes beyond is remarked and takes no statement away")
            what = "mean error" if rule.kind == "mean-error" else "largest error of a point"
            yield Explained(
                f"{what} against the limit for {check.name}",
                rule.cite,
                rule.verification,
                tuple(lines),
            )
