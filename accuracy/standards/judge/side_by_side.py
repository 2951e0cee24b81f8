"""The same data by several documents: their figures side by side, and the tightest class of each.

No document's words stand in the row of another: a row has the document's own name for its figure, and the
sentence that tells two rows apart uses plain words that belong to none.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from accuracy.standards.judge.records import Check, Evidence, Judgement, Verdict
from accuracy.standards.judge.rules import COMPONENT
from accuracy.standards.judge.tightest import Tightest, tightest
from accuracy.standards.judge.verdict import judge
from accuracy.standards.library import Standard

#: What each estimator is, in words that belong to no document.
WORDS: Mapping[str, str] = {
    "rmse": "the root mean square error",
    "accuracy_95": "a fixed multiple of the root mean square error, meant to hold 95 % of the errors",
    "p95_abs": "the size that 95 % of the errors found do not exceed",
    "p90_counted": "the size that all but a tenth of the errors found do not exceed",
    "std": "the spread about the mean, with the mean error left out",
    "mean": "the mean error with its sign",
    "abs_mean": "the size of the mean error alone",
    "mean_abs": "the mean size of the errors",
    "abs_max": "the largest error of any point",
    "bias_plus_2_std": "the size of the mean error plus twice the spread",
    "le90": "the size that 90 % of normal errors with this mean and spread do not exceed",
    "ce90": "the radius that 90 % of normal errors with these means and spreads do not exceed",
}

Keys = Mapping[str, float | int | str | bool]


@dataclass(frozen=True)
class DocumentRow:
    """One figure of one document.

    Attributes
    ----------
    standard, title, claimed
        As in the claim; `check` has what the document calls the figure, its value and limit in metres.
    verdict : str
        Of the whole claim.
    unlike : str or None
        The document held against: for its first row of an axis and cover that of the table's first such row,
        for further ones its own. None for the table's first row.
    why : str
        One sentence: how this figure differs from that of `unlike`; empty without it.
    """

    standard: str
    title: str
    claimed: Keys
    check: Check
    verdict: Verdict
    unlike: str | None = None
    why: str = ""


@dataclass(frozen=True)
class SideBySide:
    """One dataset by each document; `rows` only where there are several documents."""

    dataset: str
    rows: tuple[DocumentRow, ...]
    tightest: tuple[Tightest, ...]


@dataclass(frozen=True)
class _Figure:
    standard: Standard
    judgement: Judgement
    check: Check
    minimum: int | None

    @property
    def group(self) -> tuple[str, bool]:
        """What figures are held against each other: the same axis, and vegetation apart."""
        return self.check.component, self.check.cover == "vegetated"

    def traits(self) -> tuple[str, ...]:
        """Tell what makes up the figure, in comparable words."""
        check = self.check
        points = "all points" if check.cover == "all" else f"{check.cover} points alone"
        return (
            f"takes {WORDS.get(check.estimator, check.estimator)}",
            ("adds" if check.survey_error_included else "leaves out") + " the survey's own error",
            f"uses {points}",
            f"wants at least {self.minimum} points" if self.minimum else "sets no number of points",
            *(["wants the value below the limit, not at it"] if check.operator == "<" else []),
        )


def side_by_side(
    dataset: str,
    claims: Sequence[tuple[Standard, Keys]],
    evidence: Evidence,
    more: Sequence[Standard] = (),
) -> SideBySide | None:
    """Lay the claims on one dataset beside each other.

    Parameters
    ----------
    dataset : str
        Name.
    claims : sequence of (Standard, mapping)
        What is claimed, in order.
    evidence : Evidence
        What the claims are judged with.
    more : sequence of Standard
        Documents whose tightest class is asked for although nothing is claimed by them.

    Returns
    -------
    SideBySide or None
        None where no document is asked.
    """
    standards = {standard.label: standard for standard, _ in claims}
    asked = standards | {standard.label: standard for standard in more}
    if not asked:
        return None
    found = [part for standard, keys in claims for part in _figures(standard, keys, evidence)]
    rows = tuple(_rows(_shown(found))) if len(standards) > 1 else ()
    supported = tuple(
        its
        for standard in asked.values()
        for its in tightest(standard, evidence)
        if _has_points(standard, its.key, evidence)
    )
    return SideBySide(dataset, rows, supported)


def _figures(standard: Standard, keys: Keys, evidence: Evidence) -> Iterator[_Figure]:
    judged = judge(standard, keys, evidence)
    for part in judged.parts:
        for check in part.checks.values():
            yield _Figure(standard, judged, check, part.minimum)


def _shown(found: Sequence[_Figure]) -> list[_Figure]:
    """Choose figures with a limit; where another document has one and this has none, its first as found."""
    found = [its for its in found if its.check.n]
    limited = {its.group for its in found if its.check.limit is not None}
    kept: list[_Figure] = []
    for its in found:
        reported = its.judgement.verdict == "reported" or its.group in limited
        has_one = any(
            other.judgement is its.judgement and other.group == its.group
            for other in (*kept, *found)
            if other.check.limit is not None or other in kept
        )
        if its.check.limit is not None or (reported and not has_one):
            kept.append(its)
    return kept


def _rows(shown: Sequence[_Figure]) -> Iterator[DocumentRow]:
    firsts: dict[object, _Figure] = {}
    for its in shown:
        own = firsts.setdefault((its.judgement.standard, its.group), its)
        first = firsts.setdefault(its.group, its)
        other = own if own is not its else first if first is not its else None
        yield DocumentRow(
            standard=its.standard.label,
            title=its.standard.full_title,
            claimed=its.judgement.claimed,
            check=its.check,
            verdict=its.judgement.verdict,
            unlike=None if other is None else other.standard.label,
            why="" if other is None else _why(its, other),
        )


def _why(own: _Figure, other: _Figure) -> str:
    """Say in one sentence how a figure differs from another of the same axis."""
    theirs = other.traits()
    told = [trait for trait in own.traits() if trait not in theirs]
    if own.check.limit is None:
        told += [] if other.check.limit is None else ["has no limit"]
    elif other.check.limit is None:
        told.append("has a limit")
    elif own.check.limit != other.check.limit:
        larger = own.check.limit > other.check.limit
        told.append(f"has the {'larger' if larger else 'smaller'} limit")
    if not told:
        return f"The same figure{'' if own.check.limit is None else ' and the same limit'}."
    comma = "," if len(told) > 2 or any("," in trait for trait in told) else ""
    return f"It {told[0] if len(told) == 1 else ', '.join(told[:-1]) + f'{comma} and {told[-1]}'}."


def _has_points(standard: Standard, key: str, evidence: Evidence) -> bool:
    """Whether anything was measured that a class of this key speaks of."""
    parts = {m.part for m in standard.requirements if m.limit is not None and m.limit.key == key}
    return not parts or any(evidence.group(COMPONENT[part], "all").n for part in parts)
