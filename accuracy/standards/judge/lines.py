"""Flight lines against what a document wants of them: evidence in, verdict out.

Each rule of a document stands for itself. A rule whose evidence is no evidence gives no statement, with the
reason; one that is not kept, fails. The claim fails where any rule fails, since one broken promise is enough;
otherwise it has no statement where any rule has none.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from types import MappingProxyType

from accuracy.findings import Finding, Severity
from accuracy.standards.judge.records import Verdict
from accuracy.standards.library import LineOperator, LineRule, Standard
from accuracy.standards.library.line_rules import counted as counted_words
from accuracy.stats import show, show_both, within

#: Fewest cells for a statement where the document names no number: then an RMSD is known to 13 %.
#: (sigma of an RMSE is about RMSE / sqrt(2 n); cells are taken as independent.) Common practice, no source.
LEAST_CELLS = 30

#: Decimals of a kind of quantity as it is shown, and the size of the unit it is shown in.
SHOWN: Mapping[str, tuple[int, Fraction]] = MappingProxyType(
    {
        "length": (3, Fraction(1)),
        "density": (2, Fraction(1)),
        "share": (1, Fraction(1, 100)),
        "count": (0, Fraction(1)),
    }
)
UNIT_WORDS: Mapping[str, str] = MappingProxyType(
    {"length": " m", "density": " per m²", "share": " %", "count": ""}
)


@dataclass(frozen=True)
class LineValue:
    """A measured quantity: in metres, points per square metre, a share or a count.

    Attributes
    ----------
    value : float or None
        None where it could not be measured; then `why` says it.
    n : int
        How much stands behind it, counted in what `QUANTITIES` says.
    why : str
        Why there is no value, or why the value proves nothing.
    """

    value: float | None
    n: int = 0
    why: str = ""


@dataclass(frozen=True)
class LineEvidence:
    """What was measured on the flight lines of one dataset, by names of quantities."""

    dataset: str
    values: Mapping[str, LineValue]
    blocked: tuple[str, ...] = ()


@dataclass(frozen=True)
class LineCheck:
    """One rule of the document against the lines.

    Attributes
    ----------
    kind : str
        Of the quantity: length (metres), density (per square metre), share, count.
    verdict : {"passes", "fails", "no-statement", "reported"}
        ``reported``: as found, or a rule that does not decide; then `passes` tells whether it is kept.
    reason : str or None
        Why there is no statement.
    """

    id: str
    name: str
    quantity: str
    kind: str
    counted: str
    n: int
    value: float | None
    limit: float | None
    operator: LineOperator | None
    binding: bool
    passes: bool | None
    verdict: Verdict
    reason: str | None
    cite: str
    verification: str


@dataclass(frozen=True)
class LineJudgement:
    """What a document makes of the flight lines of one claim."""

    standard: str
    title: str
    claimed: Mapping[str, float | int | str | bool]
    dataset: str
    checks: tuple[LineCheck, ...]
    verdict: Verdict
    findings: tuple[Finding, ...]

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why there is no statement; empty otherwise."""
        told = [f"{check.name}: {check.reason}" for check in self.checks if check.reason]
        return tuple(told) if self.verdict == "no-statement" else ()


def judge_lines(
    standard: Standard,
    claimed: Mapping[str, float | int | str | bool],
    evidence: LineEvidence,
) -> LineJudgement | None:
    """Judge the flight lines of one claim; None where the document says nothing of flight lines.

    Parameters
    ----------
    standard : Standard
        The document.
    claimed : mapping
        Claim keys, checked with `accuracy.standards.library.check_claim`.
    evidence : LineEvidence
        What was measured.
    """
    if not standard.line_rules:
        return None
    checks = tuple(_check(rule, claimed, evidence) for rule in standard.line_rules)
    deciding = [check.verdict for check in checks if check.binding and check.limit is not None]
    order: tuple[Verdict, ...] = ("fails", "no-statement", "passes")
    verdict: Verdict = next((v for v in order if v in deciding), "reported")
    judgement = LineJudgement(
        standard=standard.id,
        title=standard.full_title,
        claimed=MappingProxyType(dict(claimed)),
        dataset=evidence.dataset,
        checks=checks,
        verdict=verdict,
        findings=(),
    )
    findings = (
        *_not_kept(judgement),
        *_unverified(judgement),
        *_one_pair(judgement, evidence),
        *_literal_alone(judgement, evidence),
    )
    return replace(judgement, findings=findings)


def keeps(value: float, limit: float, operator: LineOperator) -> bool:
    """Decide a limit on unrounded numbers.

    Examples
    --------
    >>> keeps(0.9, 0.9, ">="), keeps(0.25, 0.25, "<")
    (True, False)
    """
    return within(limit, value) if operator == ">=" else within(value, limit, operator)


def texts(check: LineCheck, length_unit: Fraction = Fraction(1)) -> tuple[str, str | None]:
    """Show value and limit of a check, with digits enough never to contradict the verdict.

    Lengths in a unit of so many metres, shares in percent, densities per square metre, counts as they are.
    """
    assert check.value is not None
    decimals, unit = SHOWN[check.kind]
    unit = length_unit if check.kind == "length" else unit
    if check.limit is None or check.operator is None:
        return show(check.value, decimals=decimals, per_unit=unit), None
    if check.operator == ">=":
        limit, value = show_both(check.limit, check.value, "<=", decimals, unit)
    else:
        value, limit = show_both(check.value, check.limit, check.operator, decimals, unit)
    return value, limit


def _check(
    rule: LineRule, claimed: Mapping[str, float | int | str | bool], evidence: LineEvidence
) -> LineCheck:
    found = evidence.values.get(rule.quantity, LineValue(None, why="it was not measured"))
    limit = rule.limit.number(claimed) if rule.limit else None
    passes = None
    if found.value is not None and limit is not None:
        passes = keeps(found.value, limit, rule.operator)
    reason = _reason(rule, found, passes, evidence) if limit is not None else None
    verdict: Verdict = "reported"
    if limit is not None and rule.binding:
        verdict = "no-statement" if reason else "passes" if passes else "fails"
    return LineCheck(
        id=rule.id,
        name=rule.name,
        quantity=rule.quantity,
        kind=rule.measured.kind,
        counted=rule.measured.counted,
        n=found.n,
        value=found.value,
        limit=limit,
        operator=None if limit is None else rule.operator,
        binding=rule.binding,
        passes=passes,
        verdict=verdict,
        reason=reason,
        cite=rule.cite,
        verification=rule.verification,
    )


def _reason(
    rule: LineRule, found: LineValue, passes: bool | None, evidence: LineEvidence
) -> str | None:
    """Say what takes the statement away; None where nothing does."""
    if evidence.blocked:
        return "; ".join(evidence.blocked)
    if found.why or found.value is None:
        return found.why or "there is no value"
    counted = rule.measured.counted
    least = rule.at_least or (LEAST_CELLS if counted == "cells" else 0)
    if found.n < least:
        whose = rule.cite if rule.at_least else "common practice, no source"
        return f"{counted_words(found.n, counted)}, at least {least} wanted ({whose})"
    if rule.confirm and passes is False:
        return (
            f"{show(found.value, decimals=0)} found; whether they are accepted depends on their causes, "
            "which people have to confirm"
        )
    return None


def _finding(
    judgement: LineJudgement,
    code: str,
    message: str,
    remedy: str,
    severity: Severity = Severity.WARNING,
) -> Finding:
    return Finding(
        code=code,
        severity=severity,
        message=f"{judgement.standard}, flight lines: {message}",
        dataset=judgement.dataset,
        component="vertical",
        evidence=MappingProxyType({"standard": judgement.standard}),
        remedy=remedy,
    )


def _words(check: LineCheck) -> str:
    value, limit = texts(check)
    word = UNIT_WORDS[check.kind]
    return f"{check.name} is {value}{word}, the limit {limit}{word} ({check.cite})"


def _not_kept(judgement: LineJudgement) -> Iterator[Finding]:
    """Tell limits that are not kept and do not decide, or whose evidence is too thin."""
    for check in judgement.checks:
        if check.passes is not False or check.verdict == "fails":
            continue
        if check.counted == "voids":
            continue  # the reason tells
        thin = check.verdict == "no-statement"
        yield _finding(
            judgement,
            "claim-limit-exceeded" if thin else "claim-lines-remarked",
            f"{'no statement is possible, and ' if thin else ''}{_words(check)}",
            "look at the flight lines before flying again"
            if thin
            else "agree with the client whether this is wanted",
            severity=Severity.WARNING if thin else Severity.NOTE,
        )


def _unverified(judgement: LineJudgement) -> Iterator[Finding]:
    numbers = [
        f"limit for {check.name} ({check.cite})"
        for check in judgement.checks
        if check.binding and check.limit is not None and check.verification == "from-memory"
    ]
    if numbers:
        yield _finding(
            judgement,
            "claim-number-unverified",
            f"not read in the document, but from memory: {'; '.join(numbers)}",
            "compare these numbers with the document before relying on the verdict",
        )


def _one_pair(judgement: LineJudgement, evidence: LineEvidence) -> Iterator[Finding]:
    """Tell a single pair beyond the limit that all pairs together keep: an average hides it."""
    worst = evidence.values.get("pair-rmsd-largest")
    whole = next((c for c in judgement.checks if c.quantity == "swath-rmsd"), None)
    if worst is None or worst.value is None or whole is None or not whole.passes:
        return
    if whole.limit is None or keeps(worst.value, whole.limit, whole.operator or "<="):
        return
    value, limit = show_both(worst.value, whole.limit)
    yield _finding(
        judgement,
        "claim-lines-one-pair",
        f"all pairs together keep the limit on {whole.name}, {limit} m, and one pair alone does not: its "
        f"RMSD is {value} m",
        "look at that pair in the table and in the picture",
    )


def _literal_alone(judgement: LineJudgement, evidence: LineEvidence) -> Iterator[Finding]:
    """Tell a literal formula beyond its limit where the points lie within it about planes."""
    thickness = evidence.values.get("precision-thickness")
    if thickness is None or thickness.value is None:
        return
    for check in judgement.checks:
        if not check.quantity.startswith("precision-") or check.quantity == "precision-thickness":
            continue
        if check.passes is not False or check.limit is None:
            continue
        if keeps(thickness.value, check.limit, check.operator or "<="):
            yield _finding(
                judgement,
                "claim-lines-literal",
                f"{_words(check)}, and the points scatter by {show(thickness.value)} m about planes: the "
                "formula takes a range, which grows with the number of points, and subtracts a slope, which "
                "plants and edges beside a cell make too large",
                "look at the table of precision; agree with the client which measure counts",
            )
