"""From evidence to verdict: compute the checks, ask the rules, decide."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from accuracy.findings import Finding, Severity
from accuracy.standards.judge.records import (
    Check,
    Evidence,
    Judgement,
    PartJudgement,
    StatementKind,
    Verdict,
)
from accuracy.standards.judge.rules import AFFECTED, COMPONENT, RULES, Case, Told
from accuracy.standards.library import Measure, Part, Standard
from accuracy.stats import (
    CIRCULAR_FORMULAS,
    ESTIMATORS,
    Cover,
    circular_case,
    combine_survey,
    rmse,
    show,
    show_both,
    within,
)


def judge(
    standard: Standard, claimed: Mapping[str, float | int | str | bool], evidence: Evidence
) -> Judgement:
    """Judge one claim on one dataset.

    Parameters
    ----------
    standard : Standard
        The document.
    claimed : mapping
        Claim keys, checked with `accuracy.standards.library.check_claim`.
    evidence : Evidence
        Residuals, and what stands against a statement.

    Returns
    -------
    Judgement
        ``no-statement`` wins over ``fails`` and ``passes``, in each part and for the claim.
    """
    evidence, assumptions, told = with_survey_method(standard, evidence)
    findings = [t.finding for t in told if t.finding]
    parts = []
    for part in _parts(standard, claimed, evidence):
        judged, its = _judge_part(standard, claimed, evidence, part)
        parts.append(judged)
        findings += its
    order: tuple[Verdict, ...] = ("no-statement", "fails", "passes", "reported")
    verdict = next(v for v in order if any(part.verdict == v for part in parts))
    if verdict == "no-statement":
        for judged in parts:
            if judged.verdict == "fails":
                findings.append(_exceeded(standard, evidence, judged))
    if evidence.cover_assumed_count:
        assumptions = (
            *assumptions,
            f"the land cover of {evidence.cover_assumed_count} of {len(evidence.ids)} checkpoints was not "
            "stated and was taken as non-vegetated",
        )
    return Judgement(
        standard=standard.id,
        title=standard.full_title,
        claimed=MappingProxyType(dict(claimed)),
        dataset=evidence.dataset,
        parts=tuple(parts),
        verdict=verdict,
        findings=tuple(findings),
        assumptions=assumptions,
    )


def _parts(
    standard: Standard, claimed: Mapping[str, object], evidence: Evidence
) -> tuple[Part, ...]:
    """Give the parts that the claim is about: those with a limit; without any, those with residuals."""
    all_parts: tuple[Part, ...] = ("vertical", "horizontal", "3d")
    limited = {
        m.part for m in standard.requirements if m.limit and m.limit.metres(claimed) is not None
    }
    if limited:
        return tuple(part for part in all_parts if part in limited)
    measured = {m.part for m in (*standard.requirements, *standard.reports)}
    present = {part for part in measured if evidence.group(COMPONENT[part], "all").n}
    return tuple(part for part in all_parts if part in (present or measured))


def _judge_part(
    standard: Standard,
    claimed: Mapping[str, float | int | str | bool],
    evidence: Evidence,
    part: Part,
) -> tuple[PartJudgement, list[Finding]]:
    listed = tuple(m for m in (*standard.requirements, *standard.reports) if m.part == part)
    measures = tuple(m for m in listed if not (m.each_land_cover and evidence.land_covers))
    checks = {
        m.id: _check(m, m.limit.metres(claimed) if m.limit else None, evidence) for m in measures
    }
    for measure in listed:
        checks |= _by_land_cover(measure, evidence)
    case = Case(standard, claimed, evidence, part, measures, MappingProxyType(checks))
    told = [t for rule in RULES for t in rule(case)]
    reasons = tuple(t.reason for t in told if t.reason)
    findings = [t.finding for t in told if t.finding]
    codes = {t.finding.code if t.finding else None for t in told if t.reason}
    limited = case.limited()
    exceeded = any(_is_exceeded(case, m, check, limit) for m, check, limit in limited)
    verdict: Verdict
    if reasons:
        verdict = "no-statement"
    elif not limited:
        verdict = "reported"
    else:
        verdict = "fails" if exceeded else "passes"
    counts = [m for m in standard.minimums if m.part == part and m.binding]
    its_cover: Cover = counts[0].cover if counts else "all"
    kinds: Mapping[Verdict, StatementKind] = {
        "passes": "tested",
        "fails": "failed",
        "reported": "reported",
    }
    kind = kinds.get(verdict, "none")
    can_reduce = codes == {"claim-too-few-points"} and not exceeded
    if can_reduce and standard.wording("reduced", part) is not None:
        kind = "reduced"
    judged = PartJudgement(
        part=part,
        verdict=verdict,
        reasons=reasons,
        checks=case.checks,
        n=evidence.places(evidence.group(COMPONENT[part], its_cover)),
        minimum=counts[0].minimum if counts else None,
        statement_kind=kind,
        notes=_notes(case),
    )
    if exceeded and reasons:
        findings.append(_exceeded(standard, evidence, judged))
    return judged, findings


def _check(measure: Measure, limit: float | None, evidence: Evidence) -> Check:
    group = evidence.group(measure.component, measure.cover)
    value = ESTIMATORS[measure.estimator](group.axes)
    assert not isinstance(value, tuple), f"{measure.estimator} gives several numbers"
    if value is not None and measure.survey_error_included:
        known = group.survey_rmse_m
        value = None if known is None else combine_survey(value, known)
    passes = None
    if value is not None and limit is not None:
        passes = within(value, limit, measure.operator)
    return Check(
        name=measure.name + ", all land covers together" * measure.each_land_cover,
        component=measure.component,
        cover=measure.cover,
        estimator=measure.estimator,
        n=group.n,
        value=value,
        limit=limit,
        operator=None if limit is None else measure.operator,
        unit=ESTIMATORS[measure.estimator].unit,
        passes=passes,
        survey_error_included=measure.survey_error_included,
        cite=measure.cite,
        verification=measure.verification,
    )


def of_each_land_cover(measure: Measure, evidence: Evidence) -> dict[str, Measure]:
    """Give the measure of each land cover that the points name, where the document wants one of each."""
    if not measure.each_land_cover:
        return {}
    return {
        f"{measure.id} {name}": replace(measure, cover=name, each_land_cover=False)  # type: ignore[arg-type]  # a land cover
        for name in evidence.land_covers
        if name not in measure.except_land_covers
    }


def _by_land_cover(measure: Measure, evidence: Evidence) -> dict[str, Check]:
    return {
        id_: replace(_check(its, None, evidence), name=f"{measure.name}: {its.cover}")
        for id_, its in of_each_land_cover(measure, evidence).items()
    }


def _is_exceeded(case: Case, measure: Measure, check: Check, limit: float) -> bool:
    """Whether the limit is exceeded, also where the survey error, which only adds, is unknown."""
    if check.passes is None and check.survey_error_included:
        bare = ESTIMATORS[measure.estimator](case.group(measure).axes)
        return isinstance(bare, float) and not within(bare, limit, measure.operator)
    return check.passes is False


def _exceeded(standard: Standard, evidence: Evidence, judged: PartJudgement) -> Finding:
    over = [c.name for c in judged.checks.values() if c.passes is False]
    texts = [
        "{} is {} m, the limit {} m".format(
            c.name, *show_both(c.value, c.limit, c.operator or "<=")
        )
        for c in judged.checks.values()
        if c.passes is False and c.value is not None and c.limit is not None
    ]
    what = "; ".join(texts) or "the limit is exceeded even without the survey's own error"
    return Finding(
        code="claim-limit-exceeded",
        severity=Severity.WARNING,
        message=f"{standard.id}, {judged.part}: no statement is possible, and {what}",
        dataset=evidence.dataset,
        component=AFFECTED[judged.part],
        evidence=MappingProxyType({"standard": standard.id, "checks": ", ".join(over)}),
        remedy="look at the residuals before surveying more points",
    )


def _notes(case: Case) -> tuple[str, ...]:
    """Name the formula behind every 95 % circle that has a value."""
    notes = []
    for measure in case.measures:
        has_value = case.checks[measure.id].value is not None
        if measure.estimator == "accuracy_95" and measure.component == "horizontal" and has_value:
            x, y = (rmse(axis) for axis in case.group(measure).axes)
            number = circular_case(x, y)
            if number is not None:
                notes.append(f"{measure.name} by the formula {CIRCULAR_FORMULAS[number]}")
    return tuple(notes)


def with_survey_method(
    standard: Standard, evidence: Evidence
) -> tuple[Evidence, tuple[str, ...], list[Told]]:
    """Put the document's survey accuracy of the method named in the job where the survey gives none."""
    import numpy as np

    if evidence.survey_method is None or not standard.survey_methods:
        return evidence, (), []
    method = next((m for m in standard.survey_methods if m.id == evidence.survey_method), None)
    if method is None:
        known = ", ".join(m.id for m in standard.survey_methods)
        finding = Finding(
            code="claim-survey-accuracy",
            severity=Severity.WARNING,
            message=f"{standard.id} has no survey method {evidence.survey_method!r}",
            dataset=evidence.dataset,
            evidence=MappingProxyType({"standard": standard.id, "known": known}),
            remedy=f"name one of {known}, or give the survey's own accuracy",
        )
        return evidence, (), [Told(finding)]
    filled, words = {}, []
    for label, stated, default in (
        ("horizontal", evidence.survey_rmse_h_m, method.rmse_h_m),
        ("vertical", evidence.survey_rmse_v_m, method.rmse_v_m),
    ):
        unknown = np.isnan(stated)
        filled[label] = stated if default is None else np.where(unknown, default, stated)
        if default is not None and unknown.any():
            words.append(f"{label} {show(default)} m at {int(unknown.sum())} points")
    if not words:
        return evidence, (), []
    assumption = (
        f"survey accuracy not stated by the surveyor: {', '.join(words)}, the document's value for "
        f"{method.name} ({method.cite}; {method.verification}), the method named in the job"
    )
    its = replace(
        evidence, survey_rmse_h_m=filled["horizontal"], survey_rmse_v_m=filled["vertical"]
    )
    return its, (assumption,), []
