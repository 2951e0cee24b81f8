"""Every document on the very edge: each of its limits and each of its minimums."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from evidence import NAN, make_evidence

from accuracy.layout.siting import rough, steep
from accuracy.residuals import Position, ResidualRow
from accuracy.sampling import Support
from accuracy.standards.judge import Check, Evidence, TakenHeights, judge
from accuracy.standards.library import (
    UNITS,
    HeightProcedure,
    Limit,
    Measure,
    Minimum,
    Standard,
    list_standards,
    load_standard,
)
from accuracy.stats import ESTIMATORS

STANDARDS = {standard.id: standard for standard in list_standards()}


def claims(standard: Standard, limit: Limit) -> list[dict[str, Any]]:
    """Give claims that set a limit: every choice of its key, or two lengths that are no round floats."""
    if limit.key is None:
        return [{}]
    key = next(key for key in standard.claim_keys if key.name == limit.key)
    required = {
        k.name: k.choices[0] for k in standard.claim_keys if k.required and k.name != key.name
    }
    values: tuple[str | float, ...] = key.choices or (0.3, 7.7)
    return [required | {key.name: value} for value in values]


LIMITS = [
    pytest.param(standard, measure, claim, id=f"{standard.id}-{measure.id}-{n}")
    for standard in STANDARDS.values()
    for measure in standard.requirements
    if measure.limit is not None
    for n, claim in enumerate(claims(standard, measure.limit))
]


def exact_limit(limit: Limit, claim: dict[str, Any]) -> Fraction:
    """Reckon the limit from what stands in the file, as decimals and fractions."""
    unit = UNITS[limit.unit]
    if limit.key is None:
        return Fraction(str(limit.value)) * unit
    if limit.table is not None:
        return Fraction(str(limit.table[claim[limit.key]])) * unit
    factor = Fraction(limit.factor_text) if limit.factor_text else Fraction(str(limit.factor))
    return factor * Fraction(str(claim[limit.key])) * unit


def evidence_at(measure: Measure, size_m: float) -> Evidence:
    """Residuals of one size on every axis, both signs in turn; all of one sign for the size of a mean."""
    n = 60
    sign = np.where(np.arange(n) % 2 == 0, 1.0, -1.0)
    errors = np.full(n, size_m) if measure.estimator == "abs_mean" else sign * size_m
    vegetated = measure.cover == "vegetated"
    base = make_evidence(n, vegetated=0, survey_h_m=0.0, survey_v_m=0.0)
    return replace(
        base,
        kind="measured-points",
        east_m=errors,
        north_m=errors,
        up_m=errors,
        vegetated=np.full(n, vegetated),
    )


def check_at(standard: Standard, measure: Measure, claim: dict[str, Any], size_m: float) -> Check:
    judged = judge(standard, claim, evidence_at(measure, size_m))
    return next(
        check for part in judged.parts for id_, check in part.checks.items() if id_ == measure.id
    )


@pytest.mark.parametrize(("standard", "measure", "claim"), LIMITS)
def test_every_limit_to_the_last_bit(
    standard: Standard, measure: Measure, claim: dict[str, Any]
) -> None:
    """The size of errors at which a limit begins to fail is found among neighbouring floats.

    There the value is within the limit by the document's own operator, one float above it is not. The limit
    itself is the float nearest to the exact number in the file.
    """
    assert measure.limit is not None
    exact = exact_limit(measure.limit, claim)
    limit_m = measure.limit.metres(claim)
    assert limit_m == float(exact)
    low, high = 0.0, limit_m * 8.0 + 1.0
    assert check_at(standard, measure, claim, high).passes is False
    while math.nextafter(low, high) < high:
        middle = (low + high) / 2.0
        if check_at(standard, measure, claim, middle).passes:
            low = middle
        else:
            high = middle
    inside, outside = (check_at(standard, measure, claim, size) for size in (low, high))
    assert inside.value is not None
    assert outside.value is not None
    assert inside.passes
    assert outside.passes is False
    if measure.operator == "<=":
        assert inside.value <= limit_m < outside.value
    else:
        assert inside.value < limit_m <= outside.value
    assert abs(inside.value - limit_m) <= 1e-12 * limit_m


@pytest.mark.parametrize(("standard", "measure", "claim"), LIMITS)
def test_a_value_equal_to_the_limit(
    standard: Standard,
    measure: Measure,
    claim: dict[str, Any],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The value is the limit itself, and the float above it: passes as the operator says, and never."""
    assert measure.limit is not None
    limit_m = measure.limit.metres(claim)
    assert limit_m is not None
    estimator = ESTIMATORS[measure.estimator]
    for value, passes in (
        (limit_m, measure.operator == "<="),
        (math.nextafter(limit_m, 9e9), False),
        (math.nextafter(limit_m, 0.0), True),
    ):
        # the estimator gives the very value: what is looked at is the decision
        fixed = replace(estimator, compute=lambda _, value=value: value)
        monkeypatch.setattr(
            "accuracy.standards.judge.verdict.ESTIMATORS",
            {**ESTIMATORS, measure.estimator: fixed},
        )
        check = check_at(standard, measure, claim, 0.001)
        assert check.value == value
        assert check.passes is passes


def test_a_third_of_a_contour_interval_is_exact() -> None:
    """ASPRS 1990: CI / 3 is a third: of 0.3 m 0.1 m, of 1 m the float nearest to 1/3, of 3 m 1 m."""
    limit = next(m.limit for m in load_standard("asprs-1990").requirements if m.id == "rmse_z")
    assert limit is not None
    assert limit.factor_text == "1/3"
    for interval, third in (
        (0.3, 0.1),
        (1.0, 1 / 3),
        (3.0, 1.0),
        (0.6, 0.2),
        (2, 2 / 3),
        (0.9, 0.3),
    ):
        assert limit.metres({"contour_interval_m": interval}) == third
    rounded = replace(limit, factor_text="")
    assert rounded.metres({"contour_interval_m": 0.3}) != 0.1  # what a rounded factor would give


RATIOS = [
    pytest.param(standard, measure, claim, id=f"{standard.id}-{measure.id}-{n}")
    for standard in STANDARDS.values()
    if standard.survey and standard.survey.ratio
    for measure in standard.requirements
    if measure.limit is not None and measure.estimator == "rmse"
    for n, claim in enumerate(claims(standard, measure.limit))
]


@pytest.mark.parametrize(("standard", "measure", "claim"), RATIOS)
def test_survey_ratio_on_either_side(
    standard: Standard, measure: Measure, claim: dict[str, Any]
) -> None:
    """A survey RMSE at the ratio, a few floats below, is good enough; a few floats above it is not.

    Of one axis the survey's radial RMSE carries a share of 1 / sqrt 2, so the limit is on that.
    """
    assert measure.limit is not None
    assert standard.survey is not None
    limit_m = measure.limit.metres(claim)
    assert limit_m is not None
    allowed = Fraction(repr(limit_m)) / Fraction(repr(standard.survey.ratio))
    share = math.sqrt(2.0) if measure.component in ("east", "north") else 1.0
    for factor, told in ((1.0 - 1e-15, False), (1.0 + 4e-15, True)):
        known_m = float(allowed) * share * factor
        evidence = replace(
            evidence_at(measure, 1e-6 * limit_m),
            survey_rmse_h_m=np.full(
                60, known_m / math.sqrt(2.0 * (measure.component == "3d") or 1)
            ),
            survey_rmse_v_m=np.full(
                60, known_m / math.sqrt(2.0 * (measure.component == "3d") or 1)
            ),
        )
        judged = judge(standard, claim, evidence)
        found = [f.message for f in judged.findings if f.code == "claim-survey-accuracy"]
        assert any("times better" in text for text in found) is told
        if told:
            assert (judged.verdict == "no-statement") is standard.survey.binding


SITED = [
    pytest.param(standard, id=standard.id)
    for standard in STANDARDS.values()
    if standard.layout.siting is not None
]


@pytest.mark.parametrize("standard", SITED)
def test_siting_to_the_last_bit(standard: Standard) -> None:
    """Ground on the very slope breaks a rule that says below, not one that says at most; deviation alike."""
    rule = standard.layout.siting
    assert rule is not None

    def at(slope_deg: float, roughness_m: float) -> ResidualRow:
        support = Support(9, slope_deg=slope_deg, roughness_m=roughness_m)
        return ResidualRow(
            id="P",
            cover="non-vegetated",
            role="checkpoint",
            used=True,
            reason=None,
            detail="",
            surveyed=Position(),
            measured=Position(),
            residual=Position(),
            native={},
            support=support,
        )

    limit_deg = rule.slope_deg or 0.0
    for slope_deg, told in (
        (math.nextafter(limit_deg, 0.0), False),
        (limit_deg, rule.below),
        (math.nextafter(limit_deg, 90.0), True),
    ):
        assert (steep([at(slope_deg, 0.0)], rule) == ("P",)) is told
    if rule.deviation_share is None:
        assert rough([at(0.0, 1.0)], rule, 0.1) == ()
        return
    allowed_m = float(rule.deviation_share) * 0.1
    assert rough([at(0.0, math.nextafter(allowed_m, 0.0))], rule, 0.1) == ()
    assert rough([at(0.0, allowed_m)], rule, 0.1) == ("P",)  # "less than a third"


def counted(standard: Standard, rule: Minimum, n: int) -> bool:
    """Whether a claim on a part passes with so many good points."""
    measure = next(
        m
        for m in standard.requirements
        if m.part == rule.part and m.limit and m.cover != "vegetated"
    )
    assert measure.limit is not None
    key = next(k for k in standard.claim_keys if k.name == measure.limit.key)
    claim = {key.name: key.choices[-1] if key.choices else 100.0}
    horizontal = {"east_m": 0.001, "north_m": 0.001} if rule.part != "vertical" else {}
    heights = next((taken(p) for p in standard.procedures if p.binding), TakenHeights("tin"))
    evidence = make_evidence(
        n, vegetated=0, up_m=0.001, survey_v_m=1e-5, survey_h_m=1e-5, heights=heights, **horizontal
    )
    return judge(standard, claim, evidence).verdict == "passes"


def taken(rule: HeightProcedure) -> TakenHeights:
    """Heights taken by the book, for a spacing of 0.2 m."""
    across_m = float(rule.across or 0) * 0.2
    return TakenHeights(rule.method, rule.shapes[0], across_m, 0.2)


MINIMUMS = [
    pytest.param(standard, rule, id=f"{standard.id}-{rule.part}-{rule.cover}")
    for standard in STANDARDS.values()
    for rule in standard.minimums
    if rule.binding
]


@pytest.mark.parametrize(("standard", "rule"), MINIMUMS)
def test_minimum_exactly_and_one_less(standard: Standard, rule: Minimum) -> None:
    """With exactly the binding minimum a statement is possible in each part, with one point less it is not."""
    assert counted(standard, rule, rule.minimum)
    assert not counted(standard, rule, rule.minimum - 1)


@pytest.mark.parametrize(
    ("small", "large"), [(0.3, 0.5), (0.06, 0.1), (0.09, 0.15), (0.033, 0.055), (0.012, 0.02)]
)
def test_nssda_circle_at_a_ratio_of_exactly_six_tenths(small: float, large: float) -> None:
    """RMSE of decimals whose ratio is 0.6 has a circle by Case 2; a millionth below it there is none."""
    assert Fraction(str(small)) / Fraction(str(large)) == Fraction(3, 5)
    standard = load_standard("nssda-1998")
    for east_m, north_m in ((small, large), (large, small)):
        evidence = make_evidence(20, vegetated=0, up_m=NAN, east_m=east_m, north_m=north_m)
        judged = judge(standard, {"horizontal_95_m": 9.0}, evidence)
        check = next(c for c in judged.checks if c.estimator == "accuracy_95")
        assert judged.verdict == "passes"
        assert check.value == pytest.approx(2.4477 * 0.5 * (small + large), abs=1e-12)
    below = make_evidence(20, vegetated=0, up_m=NAN, east_m=small * (1 - 1e-6), north_m=large)
    assert judge(standard, {"horizontal_95_m": 9.0}, below).verdict == "no-statement"
