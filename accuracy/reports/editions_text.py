"""The same data under several documents: claims side by side, and the tightest class of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from accuracy.standards.judge import Check, Evidence, Judgement, judge
from accuracy.standards.judge.tightest import Tightest, tightest
from accuracy.standards.library import Standard
from accuracy.stats import show, show_both

#: What each estimator is, in words that belong to no document.
WORDS = {
    "rmse": "the root mean square error",
    "accuracy_95": "a 95 % figure made of the root mean square error",
    "p95_abs": "the 95th percentile of the error sizes",
    "std": "the spread alone, bias left out",
    "abs_mean": "the size of the mean error alone",
    "abs_max": "the largest error of any point",
    "p90_counted": "a count of points, a tenth of which may exceed",
    "bias_plus_2_std": "bias and spread added",
    "le90": "a 90 % figure",
    "ce90": "a 90 % figure",
}


@dataclass(frozen=True)
class Row:
    """One figure with a limit under one document."""

    standard: Standard
    check: Check
    judgement: Judgement
    minimum: int | None

    @property
    def traits(self) -> tuple[str, ...]:
        """What makes up the figure, in comparable words."""
        check = self.check
        what = WORDS.get(check.estimator, check.estimator)
        radial = ", of the horizontal distances" if check.component == "horizontal" else ""
        return (
            f"takes {what}{radial}",
            "adds the survey's own error"
            if check.survey_error_included
            else "leaves the survey's own error out",
            f"uses {'all' if check.cover == 'all' else check.cover} points",
            f"wants at least {self.minimum} points"
            if self.minimum
            else "gives no number of points",
            f"wants the value {'below' if check.operator == '<' else 'at or below'} the limit",
        )


def rows(
    claims: Sequence[tuple[Standard, dict[str, float | int | str | bool]]], evidence: Evidence
) -> list[Row]:
    """Judge each claim on one dataset and give every figure with a limit; without any, those reported."""
    found = []
    for standard, keys in claims:
        judged = judge(standard, keys, evidence)
        bare = judged.verdict == "reported"
        wanted = {measure.id for measure in standard.requirements}
        for part in judged.parts:
            for id_, check in part.checks.items():
                if check.limit is not None or (bare and id_ in wanted and check.n):
                    found.append(Row(standard, check, judged, part.minimum))
    return found


def _why(row: Row, first: Row) -> str:
    """Say in one sentence how a figure differs from the first one of the same axis."""
    told = [own for own, other in zip(row.traits, first.traits, strict=True) if own != other]
    if row.check.limit is None:
        told.append("has no limit")
    elif first.check.limit is not None and row.check.limit != first.check.limit:
        told.append(
            f"has the limit {show(row.check.limit)} m instead of {show(first.check.limit)} m"
        )
    if not told:
        return "the same figure and the same limit."
    return "; ".join(told) + "."


def _value(check: Check) -> str:
    points = f"{check.n} points"
    if check.limit is None:
        text = "no value" if check.value is None else f"{show(check.value)} m"
        return f"{text} ({points}), no limit claimed"
    if check.value is None:
        return f"no value ({points}), limit {show(check.limit)} m"
    sign = check.operator or "<="
    value, limit = show_both(check.value, check.limit, sign)
    return f"{value} m ({points}), {'within' if check.passes else 'beyond'} the limit ({sign} {limit} m)"


def render_side_by_side(dataset: str, table: Sequence[Row]) -> str:
    """Show what each document calls its figure, its value, its limit, its verdict, and why they differ."""
    lines = [f"{dataset}: the same data by each document"]
    firsts: dict[str, Row] = {}
    id_width = max(len(row.standard.id) for row in table)
    for row in table:
        check = row.check
        axis = "up" if check.component == "up" else check.component
        lines.append(
            f"  {row.standard.id:<{id_width}}  {check.name}: {_value(check)}; "
            f"verdict {row.judgement.verdict} [{check.verification}]"
        )
        first = firsts.setdefault(axis, row)
        if first is not row:
            lines.append(
                f"  {'':<{id_width}}  differs from {first.standard.id}: {_why(row, first)}"
            )
    for judged in {id(row.judgement): row.judgement for row in table}.values():
        lines += [f"  {judged.standard}: no statement: {reason}" for reason in judged.reasons]
    return "\n".join(lines) + "\n"


def render_tightest(dataset: str, standards: Sequence[Standard], evidence: Evidence) -> str:
    """Show the tightest class the evidence supports under each document, and what the next one needs."""
    lines = [f"{dataset}: the tightest class that is supported"]
    for standard in standards:
        units = {key.name: key.unit or "" for key in standard.claim_keys}
        for found in tightest(standard, evidence):
            lines += _tightest_lines(found, units[found.key])
    return "\n".join(lines) + "\n"


def _tightest_lines(found: Tightest, unit: str) -> list[str]:
    def text(value: float | str | None) -> str:
        return value if isinstance(value, str) else f"{value:g} {unit}"

    own = "none" if found.value is None else text(found.value)
    lines = [f"  {found.standard}, {found.key}: {own}"]
    if found.value is None:
        return [f"{lines[0]}; needed: {'; '.join(found.needed) or 'other data'}"]
    if found.tighter is not None:
        lines.append(f"    for {text(found.tighter)}: {'; '.join(found.needed) or 'not supported'}")
    return lines
