"""``--explain``: every document's figures, limits and rules, computed anew from what is printed."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest
from evidence import make_evidence
from paper import check_line, last_result, result_of

from accuracy.standards.judge import Evidence, judge
from accuracy.standards.judge.explained import Explained, explain
from accuracy.standards.library import Standard, list_standards, load_standard

DOCUMENTS = list_standards()


def keys_of(standard: Standard) -> dict[str, float | int | str | bool]:
    return {k.name: k.choices[0] if k.choices else 10.0 for k in standard.claim_keys}


def uneven(n: int = 40) -> Evidence:
    """Errors of three sizes with a bias in every axis, so that no formula degenerates."""
    plain = make_evidence(n, vegetated=12, east_m=0.02, north_m=0.025)
    drift = [0.001 * (i % 7) for i in range(n + 12)]
    return replace(
        plain,
        east_m=plain.east_m + drift,
        north_m=plain.north_m - drift,
        up_m=plain.up_m + drift,
    )


def figure(found: tuple[Explained, ...], name: str) -> Explained:
    return next(its for its in found if its.what.startswith(f"{name},"))


@pytest.mark.parametrize("standard", DOCUMENTS, ids=lambda s: s.id)
def test_every_printed_line_comes_out(standard: Standard) -> None:
    """Each formula and comparison is right in its printed numbers; each value is that of the check."""
    evidence, keys = uneven(), keys_of(standard)
    found = explain(standard, keys, evidence)
    lines = [line for its in found for line in its.lines]
    assert sum(check_line(line) for line in lines) >= 2
    for part in judge(standard, keys, evidence).parts:
        for check in part.checks.values():
            its = figure(found, check.name)
            assert its.source == check.cite
            assert its.mark == check.verification
            if check.value is None:
                continue
            steps = [line for line in its.lines if not line.startswith("limit")]
            assert last_result(steps) == pytest.approx(check.value, rel=1e-6, abs=1e-6)
            limits = [line for line in its.lines if line.startswith("limit")]
            if check.limit is not None:
                assert result_of(limits[0]) == pytest.approx(check.limit, rel=1e-6)
                assert its.lines[-1].endswith("is true" if check.passes else "is false")
            else:
                assert limits == []


@pytest.mark.parametrize("standard", DOCUMENTS, ids=lambda s: s.id)
@pytest.mark.parametrize("n", [0, 1, 2])
def test_few_points_stop_nothing(standard: Standard, n: int) -> None:
    """None, one and two points: what cannot be computed is told in words."""
    evidence = make_evidence(n, vegetated=n, east_m=0.02, north_m=0.03)
    for its in explain(standard, keys_of(standard), evidence):
        for line in its.lines:
            check_line(line)


@pytest.mark.parametrize("standard", DOCUMENTS, ids=lambda s: s.id)
def test_every_rule_of_a_document_is_explained(standard: Standard) -> None:
    """Minimum numbers, survey and screens stand there with their citation, as far as they apply to a part."""
    evidence, keys = uneven(), keys_of(standard)
    parts = {part.part for part in judge(standard, keys, evidence).parts}
    sources = {its.source for its in explain(standard, keys, evidence)}
    wanted = {rule.cite for rule in standard.minimums if rule.part in parts}
    has_rmse = any(
        m.estimator == "rmse" and m.limit for m in standard.requirements if m.part in parts
    )
    if has_rmse:
        wanted |= {rule.cite for rule in standard.rules}
    if standard.survey and (has_rmse or standard.survey.ratio is None):
        wanted.add(standard.survey.cite)
    assert wanted <= sources


def test_what_the_judge_finds_is_what_the_paper_says() -> None:
    """A bias and a blunder beyond the screens, a coarse survey and too few points: the same truth in both."""
    standard, keys = load_standard("asprs-2024"), {"vertical_class_cm": 5.0}
    plain = make_evidence(25, vegetated=0, survey_v_m=0.03)
    evidence = replace(plain, up_m=plain.up_m + 0.02 + 0.2 * (plain.up_m == plain.up_m[0]))
    codes = {finding.code for finding in judge(standard, keys, evidence).findings}
    assert {
        "claim-mean-error",
        "claim-possible-blunder",
        "claim-survey-accuracy",
        "claim-too-few-points",
    } <= codes
    false = {
        its.what.split(" against")[0].split(" than")[0]
        for its in explain(standard, keys, evidence)
        if any(line.endswith("is false") for line in its.lines)
    }
    assert {
        "mean error",
        "largest error of a point",
        "survey 2 times better",
        "number of non-vegetated points",
    } <= false


def test_exact_boundaries_are_not_contradicted_by_rounding() -> None:
    """One unit in the last place above a limit reads as false, with digits that show it."""
    standard, keys = load_standard("usgs-lbs-2023a"), {"quality_level": "QL2"}
    for up_m, word in ((0.1, "true"), (math.nextafter(0.1, 1.0), "false")):
        evidence = make_evidence(60, vegetated=0, up_m=up_m, survey_v_m=0.0)
        line = figure(explain(standard, keys, evidence), "RMSE_z, non-vegetated").lines[-1]
        assert line.endswith(f"is {word}")
        check_line(line)


def test_survey_accuracy_of_the_named_method_is_put_in() -> None:
    """Where the survey states none and the job names a method, the document's value stands in the steps."""
    standard = load_standard("asprs-2024")
    method = next(m for m in standard.survey_methods if m.rmse_v_m)
    evidence = replace(make_evidence(30, vegetated=0, survey_v_m=math.nan), survey_method=method.id)
    lines = explain(standard, {"vertical_class_cm": 10.0}, evidence)[0].lines
    survey = next(line for line in lines if line.startswith("survey RMSE"))
    assert result_of(survey) == pytest.approx(method.rmse_v_m, abs=1e-6)


@pytest.mark.parametrize("id_", ["asprs-2023", "asprs-2024"])
def test_no_other_vocabulary_in_edition_2(id_: str) -> None:
    """No step of Edition 2 speaks of 95 % or of a confidence level."""
    keys = {"vertical_class_cm": 5.0, "horizontal_class_cm": 5.0, "three_d_class_cm": 7.0}
    for its in explain(load_standard(id_), keys, uneven()):
        assert not re.search(r"95|confidence|percentile", " ".join((its.what, *its.lines)))
