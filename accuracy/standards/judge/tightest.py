"""The tightest class that evidence supports under a document, and what stands against the next."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from accuracy.standards.judge.records import Check, Evidence, Judgement
from accuracy.standards.judge.rules import AXES
from accuracy.standards.judge.verdict import judge
from accuracy.standards.library import UNITS, ClaimKey, Standard
from accuracy.stats import ESTIMATORS, mean, show_both

#: Steps of a class that is a length: a tenth of a centimetre or a thousandth of a metre and alike.
_STEP_M = Fraction(1, 1000)


@dataclass(frozen=True)
class Tightest:
    """What one key of a document could claim.

    Attributes
    ----------
    key : str
        Claim key.
    value : float, str or None
        Tightest class or limit for which the verdict is ``passes``; for lengths in steps of 1 mm. None:
        there is none.
    tighter : float, str or None
        The next, which is not supported; None where there is none.
    needed : tuple of str
        What stands against the next (against any, where `value` is None), in metres.
    unit : str or None
        Of `value` and `tighter`, where they are lengths.
    """

    standard: str
    key: str
    value: float | str | None
    tighter: float | str | None
    needed: tuple[str, ...]
    unit: str | None = None


def tightest(standard: Standard, evidence: Evidence) -> tuple[Tightest, ...]:
    """Find the tightest class for every key of a document, each claimed alone."""
    return tuple(_of_key(standard, key, evidence) for key in standard.claim_keys)


def _of_key(standard: Standard, key: ClaimKey, evidence: Evidence) -> Tightest:
    best: float | str | None
    tighter: float | str | None
    if key.kind == "choice":
        candidates = _choices(standard, key)
        best = next((c for c in candidates if _passes(standard, key, c, evidence)), None)
        place = len(candidates) if best is None else candidates.index(str(best))
        tighter = candidates[place - 1] if place else None
    else:
        best, tighter = _length(standard, key, evidence)
    needed: tuple[str, ...] = ()
    if tighter is not None:
        needed = _needed(standard, key, judge(standard, {key.name: tighter}, evidence), evidence)
    return Tightest(standard.label, key.name, best, tighter, needed, key.unit)


def _passes(standard: Standard, key: ClaimKey, value: float | str, evidence: Evidence) -> bool:
    return judge(standard, {key.name: value}, evidence).verdict == "passes"


def _choices(standard: Standard, key: ClaimKey) -> list[str]:
    """Give the choices, tightest first; of choices with the same limits the first named stands first."""
    tables = [
        m.limit for m in standard.requirements if m.limit is not None and m.limit.key == key.name
    ]
    return sorted(
        key.choices, key=lambda choice: [t.metres({key.name: choice}) or 0.0 for t in tables]
    )


def _length(
    standard: Standard, key: ClaimKey, evidence: Evidence
) -> tuple[float | None, float | None]:
    """Find the smallest length, in steps of 1 mm up to 100 m, that passes.

    What passes at one length passes at every larger one: limits, survey ratio and screens grow with it.
    """
    step = _STEP_M / UNITS[key.unit or "m"]
    low, high = 0, 100_000

    def value(steps: int) -> float:
        return float(steps * step)

    if not _passes(standard, key, value(high), evidence):
        return None, value(high)
    while high - low > 1:
        middle = (low + high) // 2
        if _passes(standard, key, value(middle), evidence):
            high = middle
        else:
            low = middle
    return value(high), value(low) if low else None


def _needed(
    standard: Standard, key: ClaimKey, judged: Judgement, evidence: Evidence
) -> tuple[str, ...]:
    told = []
    for part in judged.parts:
        if part.minimum is not None and part.n < part.minimum:
            told.append(f"more points: {part.minimum - part.n} more ({part.part})")
    coarse = [f.message for f in judged.findings if f.code == "claim-survey-accuracy"]
    told += [
        f"a better survey: {reason}"
        for reason in _bare(judged)
        if any(message.endswith(reason) for message in coarse)
    ]
    for measure in standard.requirements:
        limit = measure.limit.metres(judged.claimed) if measure.limit else None
        check = next(
            (c for p in judged.parts for i, c in p.checks.items() if i == measure.id), None
        )
        if limit is None or check is None or check.passes is not False or check.value is None:
            continue
        told.append(_smaller(check, limit))
        told += _without_survey_error(check, evidence)
        if measure.estimator in ("rmse", "accuracy_95"):
            told += _without_bias(measure.cover, AXES[measure.component], evidence)
    rest = [r for r in _bare(judged) if not told]
    return tuple(dict.fromkeys(told or rest))


def _bare(judged: Judgement) -> list[str]:
    return [reason for part in judged.parts for reason in part.reasons]


def _smaller(check: Check, limit_m: float) -> str:
    texts = show_both(check.value or 0.0, limit_m, check.operator or "<=")
    return f"smaller errors: {check.name} is {texts[0]} m, {texts[1]} m wanted"


def _without_survey_error(check: Check, evidence: Evidence) -> list[str]:
    """Say what the survey's own error adds to a figure that includes it."""
    if not check.survey_error_included:
        return []
    group = evidence.group(check.component, check.cover)  # type: ignore[arg-type]  # a check holds plain names
    bare = ESTIMATORS[check.estimator](group.axes)
    if group.survey_rmse_m is None or not isinstance(bare, float):
        return []
    return [
        f"a better survey: its own RMSE of {group.survey_rmse_m:.3f} m is included; with a survey without "
        f"error {check.name} would be {bare:.3f} m"
    ]


def _without_bias(cover: str, axes: tuple[str, ...], evidence: Evidence) -> list[str]:
    told = []
    for axis in axes:
        (errors,) = evidence.group(axis, cover).axes  # type: ignore[arg-type]  # a check holds plain names
        if len(errors) < 2:
            continue
        bias = mean(errors)
        square = float((errors**2).mean())
        if bias * bias > 0.1 * square:
            left = math.sqrt(max(square - bias * bias, 0.0))
            told.append(
                f"less bias: the mean {axis} error is {bias:+.3f} m; without it the RMSE would be "
                f"{left:.3f} m"
            )
    return told
