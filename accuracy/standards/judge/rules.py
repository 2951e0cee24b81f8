"""The rules: what takes a statement away, and what a reader must know. Each is one function of a case."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction

from accuracy.findings import EvidenceValue, Severity
from accuracy.standards.judge.case import AFFECTED, AXES, COMPONENT, Case, Told
from accuracy.standards.judge.procedures import rule_procedure
from accuracy.standards.library import Measure, Rule
from accuracy.stats import (
    ESTIMATORS,
    Component,
    mean,
    rmse,
    show,
    show_both,
    within,
)

#: NSSDA, Appendix 3-A, case 2, which names 0.6 to 1.0 (second-hand).
NO_CIRCLE = (
    "FGDC-STD-007.3-1998, Appendix 3-A: the range from 0.6 second-hand; that none is given below it, from "
    "memory, not verified"
)


def _rule_adjusted(case: Case) -> list[Told]:
    if not case.evidence.adjusted_to_points:
        return []
    reason = "the dataset was adjusted to the very points"
    remedy = "use checkpoints that took no part in the processing"
    severity = Severity.BLOCKING
    return [
        case.tell("claim-adjusted-to-points", reason, {}, remedy, reason=reason, severity=severity)
    ]


def _rule_blocked(case: Case) -> list[Told]:
    """Pass on the reasons of the layers below, which have told them as findings already."""
    horizontal, vertical = case.evidence.blocked_horizontal, case.evidence.blocked_vertical
    reasons = {
        "vertical": vertical,
        "horizontal": horizontal,
        "3d": tuple(dict.fromkeys((*horizontal, *vertical))),
    }
    return [Told(None, reason) for reason in reasons[case.part]]


def _rule_residuals(case: Case) -> list[Told]:
    decisive = [m for m, _, _ in case.limited()] or list(case.measures)
    missing = [m for m in decisive if case.checks[m.id].n == 0]
    bare = [m for m in missing if m.cover != "vegetated"]
    if not missing or (not bare and len(missing) < len(decisive)):
        return []  # vegetated points alone are missing: the rule on their number tells
    if case.part != "vertical" and case.evidence.kind == "raster":
        reason = f"an elevation raster has no {case.part} residuals"
    else:
        cover = "" if missing[0].cover == "all" else f"{missing[0].cover} "
        reason = f"no {cover}checkpoint has a {case.part} residual"
    return [
        case.tell(
            "claim-no-residuals",
            reason,
            {"checkpoints": len(case.evidence.ids)},
            "test positions in a table of measured points, or claim what was measured",
            reason=reason,
        )
    ]


def _rule_number(case: Case) -> list[Told]:
    told = []
    rules = [
        (rule, name)
        for rule in case.standard.minimums
        for name in (case.evidence.land_covers if rule.each_land_cover else (rule.cover,))
    ]
    for rule, cover_name in rules:
        group = case.evidence.group(COMPONENT[case.part], cover_name)
        n = case.evidence.places(group)
        if rule.part != case.part or n >= rule.minimum:
            continue
        cover = "" if cover_name == "all" else f"{cover_name} "
        counted = f"{group.n} {cover}checkpoints"
        if n < group.n:
            counted += f" at {n} place{'s' * (n != 1)}"
        message = f"{counted}, at least {rule.minimum} wanted ({rule.cite})"
        facts: Mapping[str, EvidenceValue] = {"n": n, "minimum": rule.minimum, "cover": cover_name}
        remedy = f"survey {rule.minimum - n} more {cover}checkpoints"
        if rule.binding and n > 0:
            told.append(case.tell("claim-too-few-points", message, facts, remedy, reason=message))
        elif not rule.binding:
            judged = any(m.cover == rule.cover for m, _, _ in case.limited())
            code = "claim-vegetated-few" if cover_name == "vegetated" else "claim-too-few-points"
            severity = Severity.WARNING if judged or n else Severity.NOTE
            told.append(case.tell(code, message, facts, remedy, severity=severity))
    return told


def _rule_survey(case: Case) -> list[Told]:
    remedy = "give survey_rmse_h_m and survey_rmse_v_m, or survey with better instruments"
    rule = case.standard.survey
    for measure, check, limit in case.limited():
        group = case.group(measure)
        known = group.survey_rmse_m
        if group.n == 0:
            continue
        if known is None and check.survey_error_included:
            reason = (
                f"survey accuracy unknown at some of {group.n} points, and {check.name} includes it"
            )
            facts: Mapping[str, EvidenceValue] = {"n": group.n}
            return [case.tell("claim-survey-accuracy", reason, facts, remedy, reason=reason)]
        if rule is None or measure.estimator != "rmse":
            continue
        if known is None:
            return [_survey_unknown(case, rule.cite, remedy, binding=rule.binding)]
        if rule.ratio is not None and _exact(known) * _exact(rule.ratio) > _exact(limit):
            allowed = limit / rule.ratio
            texts = show_both(known, allowed)
            reason = (
                f"the survey's own RMSE of {texts[0]} m is not {rule.ratio:g} times better than the "
                f"limit for {check.name}: at most {texts[1]} m wanted ({rule.cite})"
            )
            facts = {"survey_rmse_m": known, "allowed_m": allowed, "ratio": rule.ratio}
            binding = reason if rule.binding else None
            return [case.tell("claim-survey-accuracy", reason, facts, remedy, reason=binding)]
    if rule is not None and rule.ratio is None:
        return _survey_better_at_all(case, rule.cite, remedy)
    return []


def _exact(number: float) -> Fraction:
    return Fraction(repr(number))


def _survey_unknown(case: Case, cite: str, remedy: str, *, binding: bool = False) -> Told:
    message = (
        f"survey accuracy unknown, so the survey is not shown to be better than the data ({cite})"
    )
    reason = message if binding else None
    return case.tell("claim-survey-accuracy", message, {}, remedy, reason=reason)


def _rule_survey_zero(case: Case) -> list[Told]:
    """Warn where a survey is said to have no error at all."""
    sides = {
        "vertical": (case.evidence.survey_rmse_v_m,),
        "horizontal": (case.evidence.survey_rmse_h_m,),
        "3d": (case.evidence.survey_rmse_h_m, case.evidence.survey_rmse_v_m),
    }
    used = case.evidence.group(COMPONENT[case.part], "all").used
    zero = [side == 0.0 for side in sides[case.part]]
    n = int(((zero[0] | zero[-1]) & used).sum())
    if not n:
        return []
    message = (
        f"the survey's own RMSE is stated as exactly 0 at {n} of {used.sum()} checkpoints, and no survey is "
        "without error"
    )
    facts: Mapping[str, EvidenceValue] = {"points": n}
    return [case.tell("checkpoints-survey-zero", message, facts, "state what the survey achieved")]


def _survey_better_at_all(case: Case, cite: str, remedy: str) -> list[Told]:
    """Warn where the document wants a source of higher accuracy without saying how much higher."""
    group = case.evidence.group(COMPONENT[case.part], case.measures[0].cover)
    found = ESTIMATORS["rmse"](group.axes)
    if not isinstance(found, float):
        return []
    known = group.survey_rmse_m
    if known is None:
        return [_survey_unknown(case, cite, remedy)]
    if known < found:
        return []
    message = (
        f"the survey's own RMSE of {show(known)} m is not better than the RMSE of {show(found)} m found; "
        f"a source of higher accuracy is wanted ({cite})"
    )
    facts: Mapping[str, EvidenceValue] = {"survey_rmse_m": known, "rmse_m": found}
    return [case.tell("claim-survey-accuracy", message, facts, remedy)]


def _is_circle(measure: Measure) -> bool:
    return measure.estimator == "accuracy_95" and measure.component == "horizontal"


def _rule_circle(case: Case) -> list[Told]:
    for measure in case.measures:
        check = case.checks[measure.id]
        if not _is_circle(measure) or check.n == 0 or check.value is not None:
            continue
        small, large = sorted(rmse(axis) for axis in case.group(measure).axes)
        ratio = small / large
        message = (
            f"the two horizontal RMSE are {show(small)} m and {show(large)} m; below a ratio of 0.6 "
            f"the document gives no formula for the circle ({NO_CIRCLE})"
        )
        decides = check.limit is not None or not case.limited()
        told = case.tell(
            "claim-circular-ratio",
            message,
            {"ratio": ratio},
            "look for the cause of the larger error; report both axes",
            reason=message if decides else None,
        )
        return [told, *(_unverified(case, ["no circle below a ratio of 0.6"]) if decides else ())]
    return []


def _rule_screens(case: Case) -> list[Told]:
    """Mean error and possible blunders, axis by axis, against the limit on the RMSE."""
    screens = {"mean-error": _mean_error, "blunder": _blunders}
    return [
        told
        for measure, _, limit in case.limited()
        if measure.estimator == "rmse"
        for rule in case.standard.rules
        for axis in AXES[measure.component]
        for told in screens[rule.kind](case, rule, measure, limit, axis)
    ]


def _mean_error(
    case: Case, rule: Rule, measure: Measure, limit: float, axis: Component
) -> list[Told]:
    group = case.evidence.group(axis, measure.cover)
    allowed = rule.factor * limit
    if group.n == 0 or within(abs(mean(group.axes[0])), allowed, rule.operator):
        return []
    value = mean(group.axes[0])
    texts = show_both(abs(value), allowed, rule.operator, decimals=4)
    message = (
        f"the mean {axis} error is {show(value)} m; its size of {texts[0]} m is not "
        f"{'below' if rule.operator == '<' else 'within'} {rule.factor:.0%} of the limit for "
        f"{measure.name}, {texts[1]} m ({rule.cite})"
    )
    facts: Mapping[str, EvidenceValue] = {"axis": axis, "mean_m": value, "allowed_m": allowed}
    remedy = "look for a systematic cause before acceptance"
    reason = message if rule.binding else None
    return [case.tell("claim-mean-error", message, facts, remedy, reason=reason)]


def _blunders(
    case: Case, rule: Rule, measure: Measure, limit: float, axis: Component
) -> list[Told]:
    group = case.evidence.group(axis, measure.cover)
    allowed = rule.factor * limit
    sizes, places = abs(group.axes[0]), group.used.nonzero()[0]
    large = [
        case.evidence.ids[places[i]]
        for i in (sizes >= allowed).nonzero()[0]  # few, and among them all that are not within
        if not within(float(sizes[i]), allowed, rule.operator)
    ]
    if not large:
        return []
    message = (
        f"{axis} error beyond {rule.factor:g} times the limit for {measure.name}, "
        f"{show(allowed)} m, at {', '.join(large)} ({rule.cite})"
    )
    facts: Mapping[str, EvidenceValue] = {
        "axis": axis,
        "ids": ", ".join(large),
        "allowed_m": allowed,
    }
    remedy = "investigate these points; leave one out only with a reason"
    reason = message if rule.binding else None
    return [case.tell("claim-possible-blunder", message, facts, remedy, reason=reason)]


def _rule_unverified(case: Case) -> list[Told]:
    limited = case.limited()
    if not limited:
        return []
    standard = case.standard
    numbers = [
        f"limit for {m.name} ({m.cite})" for m, _, _ in limited if m.verification == "from-memory"
    ]
    numbers += [
        f"minimum of {rule.minimum} points ({rule.cite})"
        for rule in standard.minimums
        if rule.part == case.part and rule.binding and rule.verification == "from-memory"
    ]
    survey = standard.survey
    if survey and survey.binding and survey.verification == "from-memory":
        numbers.append(f"survey ratio of {survey.ratio:g} ({survey.cite})")
    formula = standard.survey_error
    included = any(check.survey_error_included for _, check, _ in limited)
    if formula and included and formula.verification == "from-memory":
        numbers.append(f"how the survey error is included ({formula.cite})")
    return _unverified(case, numbers)


def _unverified(case: Case, numbers: list[str]) -> list[Told]:
    if not numbers:
        return []
    message = f"not read in the document, but from memory: {'; '.join(numbers)}"
    remedy = "compare these numbers with the document before relying on the verdict"
    return [case.tell("claim-number-unverified", message, {"numbers": len(numbers)}, remedy)]


def _rule_value(case: Case) -> list[Told]:
    """Take the statement away where there are points but no value to compare with the limit."""
    for measure, check, _ in case.limited():
        survey_unknown = check.survey_error_included and case.group(measure).survey_rmse_m is None
        if check.n == 0 or check.value is not None or survey_unknown or _is_circle(measure):
            continue  # another rule tells
        reason = f"{check.name} cannot be computed from {check.n} points"
        remedy = (
            f"{measure.estimator} needs at least {ESTIMATORS[measure.estimator].at_least} points"
        )
        return [case.tell("claim-no-residuals", reason, {"n": check.n}, remedy, reason=reason)]
    return []


RULES: tuple[Callable[[Case], list[Told]], ...] = (
    _rule_adjusted,
    _rule_blocked,
    _rule_residuals,
    _rule_number,
    _rule_value,
    _rule_survey,
    _rule_survey_zero,
    _rule_circle,
    rule_procedure,
    _rule_screens,
    _rule_unverified,
)

__all__ = ["AFFECTED", "AXES", "COMPONENT", "RULES", "Case", "Told"]
