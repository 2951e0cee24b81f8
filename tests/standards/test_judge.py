"""Verdicts: every row of the design's table, by document, and the cases on the very limit."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from evidence import NAN, alternating, make_evidence
from hypothesis import given
from hypothesis import strategies as st

from accuracy.findings import Severity
from accuracy.standards.judge import Check, Evidence, Judgement, judge
from accuracy.standards.library import load_standard, parse_standard

NSSDA, ASPRS1, ASPRS2, USGS = "nssda-1998", "asprs-2014", "asprs-2024", "usgs-lbs-2025a"
V5 = {"vertical_class_cm": 5.0}
H10 = {"horizontal_class_cm": 10.0}
QL1 = {"quality_level": "QL1"}


def decide(id_: str, claimed: dict[str, Any], evidence: Evidence) -> Judgement:
    return judge(load_standard(id_), claimed, evidence)


def codes(judgement: Judgement) -> set[str]:
    return {finding.code for finding in judgement.findings}


def unverified(judgement: Judgement) -> str:
    """Give what is told to be from memory."""
    return "; ".join(f.message for f in judgement.findings if f.code == "claim-number-unverified")


def check(judgement: Judgement, name: str) -> Check:
    return next(c for c in judgement.checks if c.name.startswith(name))


@pytest.mark.parametrize(
    ("id_", "claimed", "evidence", "verdict", "reason"),
    [
        # value within the limit, test valid by the document's own requirements
        (NSSDA, {"vertical_95_m": 0.1}, make_evidence(20, vegetated=0), "passes", ""),
        (ASPRS1, V5, make_evidence(20), "passes", ""),
        (ASPRS2, V5, make_evidence(30), "passes", ""),
        (USGS, QL1, make_evidence(30), "passes", ""),
        (ASPRS1, H10, make_evidence(20, east_m=0.1, north_m=0.08), "passes", ""),
        (ASPRS2, H10, make_evidence(30, east_m=0.07, north_m=0.07), "passes", ""),
        (
            ASPRS2,
            {"three_d_class_cm": 12.0},
            make_evidence(30, east_m=0.07, north_m=0.07),
            "passes",
            "",
        ),
        # value beyond the limit, however absurd
        (NSSDA, {"vertical_95_m": 0.05}, make_evidence(20, vegetated=0), "fails", ""),
        (ASPRS1, V5, make_evidence(20, up_m=0.051), "fails", ""),
        (ASPRS1, V5, make_evidence(20, vegetated_up_m=0.151), "fails", ""),
        (ASPRS2, V5, make_evidence(30, up_m=0.051), "fails", ""),
        (ASPRS2, V5, make_evidence(30, up_m=4.2e6), "fails", ""),
        (USGS, QL1, make_evidence(30, up_m=0.101), "fails", ""),
        (ASPRS1, H10, make_evidence(20, east_m=0.101, north_m=0.08), "fails", ""),
        (ASPRS2, H10, make_evidence(30, east_m=0.072, north_m=0.072), "fails", ""),
        # vegetated points never decide under Edition 2 and its followers
        (ASPRS2, V5, make_evidence(30, vegetated_up_m=9.0), "passes", ""),
        (USGS, QL1, make_evidence(30, vegetated_up_m=9.0), "passes", ""),
        # no limit claimed and none in the document
        (NSSDA, {}, make_evidence(20), "reported", ""),
        (NSSDA, {}, make_evidence(20, east_m=0.1, north_m=0.1), "reported", ""),
        # fewer points than the document requires
        (NSSDA, {}, make_evidence(19, vegetated=0), "no-statement", "19 checkpoints, at least 20"),
        (
            NSSDA,
            {"vertical_95_m": 9.0},
            make_evidence(19, vegetated=0),
            "no-statement",
            "19 checkp",
        ),
        (ASPRS1, V5, make_evidence(19), "no-statement", "19 non-vegetated checkpoints"),
        (ASPRS2, V5, make_evidence(29), "no-statement", "29 non-vegetated checkpoints"),
        (USGS, QL1, make_evidence(29), "no-statement", "29 non-vegetated checkpoints"),
        (
            ASPRS2,
            H10,
            make_evidence(29, vegetated=0, east_m=0.01, north_m=0.01),
            "no-statement",
            "29 checkpoints",
        ),
        # survey accuracy unknown where the document includes it
        (ASPRS2, V5, make_evidence(30, survey_v_m=NAN), "no-statement", "survey accuracy unknown"),
        (USGS, QL1, make_evidence(30, survey_v_m=NAN), "no-statement", "survey accuracy unknown"),
        (
            ASPRS2,
            H10,
            make_evidence(30, east_m=0.01, north_m=0.01, survey_h_m=NAN),
            "no-statement",
            "survey accuracy unknown",
        ),
        # unknown where the document does not include it
        (NSSDA, {}, make_evidence(20, survey_v_m=NAN), "reported", ""),
        # or not good enough for the class where it requires a ratio, or not shown to be
        (ASPRS1, V5, make_evidence(20, survey_v_m=NAN), "no-statement", "survey accuracy unknown"),
        (
            ASPRS1,
            H10,
            make_evidence(20, east_m=0.01, north_m=0.01, survey_h_m=NAN),
            "no-statement",
            "survey accuracy unknown",
        ),
        (ASPRS1, V5, make_evidence(20, survey_v_m=0.017), "no-statement", "3 times better"),
        (ASPRS2, V5, make_evidence(30, survey_v_m=0.0251), "no-statement", "2 times better"),
        (USGS, QL1, make_evidence(30, survey_v_m=0.0501), "no-statement", "2 times better"),
        # frame or height kind unknown or untransformable, told by the layers below
        (
            ASPRS2,
            V5,
            make_evidence(30, blocked_vertical=("the vertical datum is unknown",)),
            "no-statement",
            "the vertical datum is unknown",
        ),
        (
            ASPRS2,
            H10,
            make_evidence(30, east_m=0.01, north_m=0.01, blocked_horizontal=("no frame",)),
            "no-statement",
            "no frame",
        ),
        (
            ASPRS2,
            {"three_d_class_cm": 12.0},
            make_evidence(30, east_m=0.01, north_m=0.01, blocked_vertical=("no datum",)),
            "no-statement",
            "no datum",
        ),
        # unknown heights still allow a horizontal statement, and the other way round
        (
            ASPRS2,
            H10,
            make_evidence(30, east_m=0.01, north_m=0.01, blocked_vertical=("no datum",)),
            "passes",
            "",
        ),
        (ASPRS2, V5, make_evidence(30, blocked_horizontal=("no frame",)), "passes", ""),
        # no point with a height
        (
            ASPRS2,
            V5,
            make_evidence(30, up_m=NAN),
            "no-statement",
            "no non-vegetated checkpoint has",
        ),
        (
            NSSDA,
            {},
            make_evidence(30, up_m=NAN, vegetated_up_m=NAN),
            "no-statement",
            "no checkpoint has a vertical residual",
        ),
        (ASPRS2, V5, make_evidence(0, vegetated=0), "no-statement", "no non-vegetated checkpoint"),
        # horizontal claim on a dataset without horizontal residuals
        (ASPRS2, H10, make_evidence(30), "no-statement", "no checkpoint has a horizontal residual"),
        (
            ASPRS2,
            H10,
            make_evidence(30, kind="raster"),
            "no-statement",
            "an elevation raster has no horizontal residuals",
        ),
        (NSSDA, {"horizontal_95_m": 1.0}, make_evidence(30), "no-statement", "horizontal residual"),
        # dataset adjusted to the very points
        (
            ASPRS2,
            V5,
            make_evidence(30, adjusted_to_points=True),
            "no-statement",
            "adjusted to the very points",
        ),
        (NSSDA, {}, make_evidence(30, adjusted_to_points=True), "no-statement", "adjusted to the"),
        # NSSDA circle with ratio below 0.6
        (
            NSSDA,
            {"horizontal_95_m": 1.0},
            make_evidence(30, east_m=0.0599, north_m=0.1),
            "no-statement",
            "below a ratio of 0.6",
        ),
        (NSSDA, {}, make_evidence(30, east_m=0.0599, north_m=0.1), "no-statement", "ratio of 0.6"),
        (NSSDA, {}, make_evidence(30, east_m=0.06, north_m=0.1), "reported", ""),
        # too few or no vegetated points where the document only reports them
        (ASPRS2, V5, make_evidence(30, vegetated=0), "passes", ""),
        (ASPRS2, V5, make_evidence(30, vegetated=29), "passes", ""),
        (USGS, QL1, make_evidence(30, vegetated=3), "passes", ""),
        (ASPRS1, V5, make_evidence(20, vegetated=0), "passes", ""),
    ],
)
def test_verdict_table(
    id_: str, claimed: dict[str, Any], evidence: Evidence, verdict: str, reason: str
) -> None:
    """Each row of the table of verdicts, for the documents it concerns, at the smallest valid number."""
    judgement = decide(id_, claimed, evidence)
    assert judgement.verdict == verdict, judgement.reasons
    told = "; ".join(judgement.reasons)
    assert reason in told
    assert bool(told) == (verdict == "no-statement")


@pytest.mark.parametrize("class_cm", [1.0, 2.5, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 33.3, 66.7])
def test_on_the_very_limit(class_cm: float) -> None:
    """A value equal to the limit passes, the next larger number fails, in both editions."""
    limit = float(Fraction(str(class_cm)) / 100)
    claimed = {"vertical_class_cm": class_cm}
    on = make_evidence(20, up_m=limit, vegetated_up_m=limit, survey_v_m=0.0)
    passed = decide(ASPRS1, claimed, on)
    assert passed.verdict == "passes"
    assert check(passed, "RMSE_z").limit == limit
    above = make_evidence(20, up_m=math.nextafter(limit, 1.0), survey_v_m=0.0)
    assert decide(ASPRS1, claimed, above).verdict == "fails"
    # Edition 2, with a survey that is exact
    on = make_evidence(30, up_m=limit, survey_v_m=0.0)
    assert decide(ASPRS2, claimed, on).verdict == "passes"
    above = make_evidence(30, up_m=math.nextafter(limit, 1.0), survey_v_m=0.0)
    assert decide(ASPRS2, claimed, above).verdict == "fails"


def test_percentile_on_the_very_limit() -> None:
    """VVA of exactly 3.00 times the class passes (0.3 m at 10 cm), the next larger number fails."""
    claimed = {"vertical_class_cm": 10.0}
    on = decide(ASPRS1, claimed, make_evidence(20, vegetated_up_m=0.3))
    assert on.verdict == "passes"
    assert check(on, "VVA").limit == 0.3
    above = make_evidence(20, vegetated_up_m=math.nextafter(0.3, 1.0))
    assert decide(ASPRS1, claimed, above).verdict == "fails"


def test_nssda_limit_on_the_very_value() -> None:
    """1.9600 x 0.05 m against a claim of 0.098 m passes; against the next smaller number it fails."""
    evidence = make_evidence(20, vegetated=0, up_m=0.05)
    assert decide(NSSDA, {"vertical_95_m": 0.098}, evidence).verdict == "passes"
    smaller = math.nextafter(0.098, 0.0)
    assert decide(NSSDA, {"vertical_95_m": smaller}, evidence).verdict == "fails"


@pytest.mark.parametrize(
    ("id_", "claimed", "good_m", "part"),
    [
        (ASPRS1, {"vertical_class_cm": 6.0}, 0.02, "v"),
        (ASPRS2, V5, 0.025, "v"),
        (ASPRS2, H10, 0.05, "h"),
        (USGS, {"quality_level": "QL0"}, 0.025, "v"),
        (USGS, {"quality_level": "QL3"}, 0.1, "v"),
    ],
)
def test_survey_ratio_on_the_very_limit(
    id_: str, claimed: dict[str, Any], good_m: float, part: str
) -> None:
    """A survey exactly 3 or 2 times better is good enough, the next coarser one is not."""
    for survey, wanted in ((good_m, True), (math.nextafter(good_m, 1.0), False)):
        evidence = make_evidence(
            30,
            up_m=0.001,
            east_m=0.001,
            north_m=0.001,
            survey_h_m=survey if part == "h" else 0.0,
            survey_v_m=survey if part == "v" else 0.0,
        )
        assert (decide(id_, claimed, evidence).verdict == "passes") == wanted


def test_survey_of_one_axis_under_edition_1() -> None:
    """The class of Edition 1 is per axis: a radial survey error counts with 1 / sqrt 2 of it."""
    good = make_evidence(20, east_m=0.05, north_m=0.05, survey_h_m=0.1 / 3 * math.sqrt(2) - 1e-9)
    bad = make_evidence(20, east_m=0.05, north_m=0.05, survey_h_m=0.1 / 3 * math.sqrt(2) + 1e-9)
    assert decide(ASPRS1, H10, good).verdict == "passes"
    assert decide(ASPRS1, H10, bad).verdict == "no-statement"


def test_usgs_survey_error_decides() -> None:
    """A fit of 0.092 m alone would pass QL1; with a survey of 0.045 m it is 0.102416 m and fails."""
    judgement = decide(USGS, QL1, make_evidence(30, up_m=0.092, survey_v_m=0.045))
    assert judgement.verdict == "fails"
    assert check(judgement, "RMSE_V, non").value == pytest.approx(0.102416, abs=5e-7)
    assert decide(USGS, QL1, make_evidence(30, up_m=0.092, survey_v_m=0.0)).verdict == "passes"


@pytest.mark.parametrize(
    ("method", "verdict"),
    [
        ("real-time-network-gnss", "passes"),  # 2 x 1.6 cm is within 5 cm
        ("digital-level-loop", "passes"),
        ("rtk-single-base", "no-statement"),  # 2 x 3.2 cm is not
        (None, "no-statement"),
        ("pacing", "no-statement"),
    ],
)
def test_survey_method_of_addendum_2(method: str | None, verdict: str) -> None:
    """The document's survey accuracy stands in only where the job names the method, and is said to."""
    evidence = make_evidence(30, survey_v_m=NAN, survey_method=method)
    judgement = decide(ASPRS2, V5, evidence)
    assert judgement.verdict == verdict
    named = any("the method named in the job" in text for text in judgement.assumptions)
    assert named == (method not in (None, "pacing"))
    if method == "pacing":
        assert any("'pacing'" in f.message for f in judgement.findings)


def test_survey_method_never_replaces_what_the_surveyor_states() -> None:
    """Stated survey accuracy stays; the method fills in only the unknown points."""
    survey = np.full(60, 0.004)
    survey[:2] = NAN
    evidence = make_evidence(
        30,
        survey_rmse_v_m=survey,
        survey_rmse_h_m=survey * 0,
        survey_method="real-time-network-gnss",
    )
    judgement = decide(ASPRS2, V5, evidence)
    rms = math.sqrt((28 * 0.004**2 + 2 * 0.016**2) / 30)
    assert check(judgement, "RMSE_V, non").value == pytest.approx(math.hypot(0.03, rms), abs=1e-12)
    assert "vertical 0.016 m at 2 points" in judgement.assumptions[0]


def test_methods_mean_nothing_to_documents_without_them() -> None:
    """A method named in the job changes nothing under a document that gives no values by method."""
    evidence = make_evidence(30, survey_v_m=NAN, survey_method="rtk-single-base")
    assert decide(USGS, QL1, evidence).verdict == "no-statement"


def test_limit_exceeded_without_a_statement_is_told() -> None:
    """Too few points and too large an error: no statement, and the excess is a finding."""
    judgement = decide(ASPRS2, V5, make_evidence(12, up_m=0.08))
    assert judgement.verdict == "no-statement"
    assert judgement.statement_kind == "none"
    assert {"claim-limit-exceeded", "claim-too-few-points"} <= codes(judgement)
    unknown = decide(ASPRS2, V5, make_evidence(30, up_m=0.08, survey_v_m=NAN))
    assert "claim-limit-exceeded" in codes(unknown)
    assert "claim-limit-exceeded" not in codes(decide(ASPRS2, V5, make_evidence(12)))


def test_a_failing_part_is_told_where_another_has_no_statement() -> None:
    """No statement wins over a failure in one claim; the failing part stands as a finding."""
    judgement = decide(ASPRS2, V5 | H10, make_evidence(30, up_m=0.2))
    assert judgement.verdict == "no-statement"
    assert [part.verdict for part in judgement.parts] == ["fails", "no-statement"]
    assert "claim-limit-exceeded" in codes(judgement)
    assert judgement.reasons[0].startswith("horizontal: ")


def test_mean_error_is_a_finding_only() -> None:
    """A mean of 25 % of the limit is told (recommended: below), and changes no verdict."""
    for mean_m, told in ((0.0125, True), (0.01249, False), (-0.0125, True), (-0.01249, False)):
        evidence = make_evidence(30)
        moved = replace(evidence, up_m=np.full(60, mean_m))
        judgement = decide(ASPRS2, V5, moved)
        assert judgement.verdict == "passes"
        assert ("claim-mean-error" in codes(judgement)) == told, mean_m


def test_mean_error_by_axis() -> None:
    """The easting of Annex D is 32.6 % of a 10-cm target, northing and height are below 25 %."""
    east = np.tile([-0.140, -0.100, 0.017, -0.070, 0.130], 6)
    north = np.tile([-0.070, -0.100, -0.070, 0.150, 0.120], 6)
    up = np.tile([-0.071, 0.010, 0.102, -0.100, 0.087], 6)
    evidence = replace(
        make_evidence(30, vegetated=0, east_m=0.0), east_m=east, north_m=north, up_m=up
    )
    judgement = decide(ASPRS1, H10 | {"vertical_class_cm": 10.0}, evidence)
    told = [f.evidence["axis"] for f in judgement.findings if f.code == "claim-mean-error"]
    assert told == ["east"]


def test_mean_error_is_measured_by_the_rmse_limit_alone() -> None:
    """Edition 1 has three vertical limits; the mean is held against that on the RMSE, and told once."""
    judgement = decide(ASPRS1, V5, replace(make_evidence(30), up_m=np.full(60, 0.049)))
    (finding,) = (f for f in judgement.findings if f.code == "claim-mean-error")
    assert finding.evidence["allowed_m"] == 0.0125


def test_blunders_are_named_and_not_dropped() -> None:
    """Errors beyond 3 times the target are named by point; they still count in the verdict."""
    up = alternating(0.01, 60).copy()
    up[[4, 7]] = (0.151, -0.16)
    up[9] = 0.15  # exactly 3 times: not beyond
    judgement = decide(ASPRS2, V5, replace(make_evidence(30), up_m=up))
    (finding,) = (f for f in judgement.findings if f.code == "claim-possible-blunder")
    assert finding.evidence["ids"] == "P5, P8"
    assert check(judgement, "RMSE_V, non").n == 30
    vegetated = decide(ASPRS2, V5, make_evidence(30, vegetated_up_m=9.0))
    assert "claim-possible-blunder" not in codes(vegetated)


def test_vegetated_points_too_few() -> None:
    """None where only reported: a note. Some, or none where judged: a warning."""

    def severity(id_: str, n: int) -> Severity | None:
        judgement = decide(id_, V5, make_evidence(30, vegetated=n))
        found = [f for f in judgement.findings if f.code == "claim-vegetated-few"]
        return found[0].severity if found else None

    assert severity(ASPRS2, 0) is Severity.NOTE
    assert severity(ASPRS2, 29) is Severity.WARNING
    assert severity(ASPRS2, 30) is None
    assert severity(ASPRS1, 0) is Severity.WARNING
    assert severity(ASPRS1, 4) is Severity.WARNING
    assert severity(ASPRS1, 5) is None


def test_numbers_from_memory_that_decide_are_told() -> None:
    """Edition 1's minimum, the formula of the survey error, and that no circle holds below 0.6.

    Section 7.11 and the glossary of the USGS were read without their formulas (shared notes: M).
    """
    assert "minimum of 20 points" in unverified(decide(ASPRS1, V5, make_evidence(20)))
    flat = make_evidence(30, east_m=0.01, north_m=0.01)
    for id_, claimed in ((ASPRS2, V5), (ASPRS2, H10), (USGS, QL1)):
        assert "how the survey error is included" in unverified(decide(id_, claimed, flat))
    assert unverified(decide(NSSDA, {}, make_evidence(30, east_m=0.1, north_m=0.1))) == ""
    oblong = make_evidence(30, east_m=0.05, north_m=0.1)
    assert "below a ratio of 0.6" in unverified(decide(NSSDA, {}, oblong))
    assert "below a ratio of 0.6" not in unverified(decide(ASPRS1, H10, oblong))
    assert "from memory, not verified" in "; ".join(decide(NSSDA, {}, oblong).reasons)


def test_survey_accuracy_findings_that_do_not_block() -> None:
    """Unknown under the NSSDA: a warning; a survey no better than the data likewise."""
    for id_, claimed in ((ASPRS1, V5), (NSSDA, {})):
        assert "claim-survey-accuracy" in codes(decide(id_, claimed, make_evidence(survey_v_m=NAN)))
        assert "claim-survey-accuracy" not in codes(decide(id_, claimed, make_evidence()))
    coarse = make_evidence(30, vegetated=0, up_m=0.03, survey_v_m=0.03)
    assert "claim-survey-accuracy" in codes(decide(NSSDA, {}, coarse))


def test_edition_1_without_a_circle_is_still_judged() -> None:
    """Edition 1 limits each axis, so unequal axes take no statement away; the missing circle is told."""
    judgement = decide(ASPRS1, H10, make_evidence(20, east_m=0.02, north_m=0.09))
    assert judgement.verdict == "passes"
    assert "claim-circular-ratio" in codes(judgement)


def test_the_circle_names_its_formula() -> None:
    """Equal axes are case 1, unequal ones case 2; the statement must name it."""
    equal = decide(NSSDA, {}, make_evidence(30, east_m=0.1, north_m=0.1))
    unequal = decide(NSSDA, {}, make_evidence(30, east_m=0.1, north_m=0.08))
    assert "Case 1" in equal.parts[1].notes[0]
    assert "Case 2" in unequal.parts[1].notes[0]


def test_what_counts() -> None:
    """Non-vegetated points alone count where a requirement says so; NSSDA counts all."""
    evidence = make_evidence(31, vegetated=33)
    assert check(decide(ASPRS2, V5, evidence), "RMSE_V, non").n == 31
    assert check(decide(ASPRS2, V5, evidence), "RMSE_V, veg").n == 33
    assert check(decide(NSSDA, {}, evidence), "RMSE_z").n == 64


def test_statement_kinds() -> None:
    """What kind of statement belongs to which verdict; reduced only where points alone are missing."""
    assert decide(ASPRS2, V5, make_evidence(30)).statement_kind == "tested"
    assert decide(ASPRS2, V5, make_evidence(30, up_m=0.2)).statement_kind == "failed"
    assert decide(ASPRS2, V5, make_evidence(12)).statement_kind == "reduced"
    assert decide(ASPRS2, V5, make_evidence(0)).statement_kind == "none"
    assert decide(ASPRS2, V5, make_evidence(12, adjusted_to_points=True)).statement_kind == "none"
    assert decide(ASPRS2, V5, make_evidence(12, blocked_vertical=("x",))).statement_kind == "none"
    assert decide(ASPRS1, V5, make_evidence(12)).statement_kind == "none"
    assert decide(NSSDA, {}, make_evidence(30)).statement_kind == "reported"


def test_findings_block_only_what_they_mean() -> None:
    """What is wrong with one claim never blocks another claim on the same dataset."""
    few = decide(ASPRS2, V5, make_evidence(20, survey_v_m=NAN))
    assert all(f.severity is not Severity.BLOCKING for f in few.findings)
    adjusted = decide(ASPRS2, V5, make_evidence(30, adjusted_to_points=True))
    assert any(f.blocks("ground cloud", "vertical") for f in adjusted.findings)
    for judgement in (few, adjusted):
        assert all(f.dataset == "ground cloud" for f in judgement.findings)


def test_assumed_cover_is_said() -> None:
    """Land cover that was assumed stands among the assumptions."""
    judgement = decide(ASPRS2, V5, make_evidence(30, cover_assumed_count=7))
    assert "7 of 60 checkpoints" in judgement.assumptions[0]


OWN = """
id = "larkfield"
title = "Larkfield specification"
document = "LQ-17"
date = "2026"
class_required = false
[[requirement]]
id = "spread"
name = "spread"
component = "up"
cover = "all"
estimator = "std"
survey_error = "excluded"
limit = { value = 0.05, unit = "m" }
operator = "<"
cite = "4"
verification = "client"
[[requirement]]
id = "bias"
name = "bias"
component = "up"
cover = "all"
estimator = "abs_mean"
survey_error = "excluded"
limit = { value = 20, unit = "mm" }
operator = "<="
cite = "5"
verification = "client"
"""


def test_a_clients_own_limits() -> None:
    """Fixed limits need no claim key; "<" refuses equality; the mean counts by its size."""
    own = parse_standard(OWN, "own.toml")
    zero = make_evidence(4, vegetated=0)

    def verdict(up: list[float]) -> str:
        return judge(own, {}, replace(zero, up_m=np.array(up))).verdict

    assert verdict([0.02, 0.02, 0.02, 0.02]) == "passes"
    assert verdict([-0.03, -0.03, -0.03, -0.03]) == "fails"
    assert verdict([-0.1, 0.1, -0.1, 0.1]) == "fails"
    one = judge(own, {}, make_evidence(1, vegetated=0, up_m=0.01))
    assert one.verdict == "no-statement"
    assert "cannot be computed from 1 points" in one.reasons[0]


def test_a_binding_rule_takes_the_statement_away() -> None:
    """Where a client's file marks the mean-error rule binding, it forbids a statement."""
    rule = """
[[rule]]
kind = "mean-error"
factor = 0.25
operator = "<"
binding = true
cite = "6"
verification = "client"
"""
    text = OWN.replace('"std"', '"rmse"') + rule
    evidence = replace(make_evidence(4, vegetated=0), up_m=np.full(4, 0.019))
    assert judge(parse_standard(OWN, "x"), {}, evidence).verdict == "passes"
    assert judge(parse_standard(text, "x"), {}, evidence).verdict == "no-statement"


def test_evidence_is_checked_and_locked() -> None:
    """Arrays of the wrong length are refused; the caller's arrays stay their own."""
    with pytest.raises(ValueError, match="shape"):
        make_evidence(3, vegetated=0, up_m=0.1, vegetated_up_m=0.1, ids=("a", "b"))
    up = np.zeros(60)
    evidence = make_evidence(30, vegetated=30, east_m=NAN, up_m=0.0)
    evidence = replace(evidence, up_m=up)
    up[0] = 1.0
    assert evidence.up_m[0] == 0.0
    with pytest.raises(ValueError, match="read-only"):
        evidence.up_m[0] = 1.0


@given(
    st.lists(st.floats(-0.2, 0.2), min_size=30, max_size=40),
    st.floats(1.0, 20.0),
    st.floats(0.0, 0.01),
)
def test_a_coarser_class_never_turns_a_pass_into_a_fail(
    up: list[float], class_cm: float, survey_m: float
) -> None:
    """Whoever passes a class passes every coarser one, and the verdict is that of the numbers.

    The check squares in plain floats, which lose residuals below 1e-150 m.
    """
    n = len(up)
    evidence = replace(make_evidence(n, vegetated=0, survey_v_m=survey_m), up_m=np.array(up))
    fine = decide(ASPRS2, {"vertical_class_cm": class_cm}, evidence)
    coarse = decide(ASPRS2, {"vertical_class_cm": class_cm * 1.5}, evidence)
    its = check(fine, "RMSE_V, non")
    assert its.value == pytest.approx(
        math.sqrt(np.mean(np.square(up)) + survey_m**2), rel=1e-12, abs=1e-150
    )
    assert its.limit is not None
    assert its.value is not None
    if fine.verdict != "no-statement":
        assert (fine.verdict == "passes") == (its.value <= its.limit)
    if fine.verdict == "passes":
        assert coarse.verdict == "passes"


def test_many_ids_at_one_place_count_once() -> None:
    """Thirty ids at one place are one test; at thirty places they are thirty, whatever else shares them."""
    one = decide(ASPRS2, V5, make_evidence(30, vegetated=0, place=(0,) * 30))
    assert one.verdict == "no-statement"
    assert "30 non-vegetated checkpoints at 1 place, at least 30 wanted" in one.reasons[0]
    assert one.parts[0].n == 1
    nearly = decide(ASPRS2, V5, make_evidence(30, vegetated=0, place=(*range(29), 0)))
    assert nearly.verdict == "no-statement"
    assert "at 29 places" in nearly.reasons[0]
    enough = decide(ASPRS2, V5, make_evidence(31, vegetated=0, place=(*range(30), 0)))
    assert enough.verdict == "passes"
    assert enough.parts[0].n == 30
    apart = decide(ASPRS2, V5, make_evidence(30, vegetated=30, place=(*range(30), *range(30))))
    assert apart.verdict == "passes"
    with pytest.raises(ValueError, match="place"):
        make_evidence(30, place=(1, 2))


@pytest.mark.parametrize(
    ("id_", "claimed"), [(ASPRS1, V5), (ASPRS2, V5), (ASPRS2, H10), (USGS, QL1), (NSSDA, {})]
)
def test_a_survey_without_error_is_wondered_at(id_: str, claimed: dict[str, Any]) -> None:
    """A survey RMSE of exactly 0, even at one point, is a warning; the other component's is not."""
    survey = np.full(60, 0.004)
    survey[3] = 0.0
    good = np.full(60, 0.004)
    part = "h" if claimed is H10 else "v"
    for side, told in ((part, True), ("v" if part == "h" else "h", claimed == {})):
        rmse = {"survey_rmse_h_m": good, "survey_rmse_v_m": good, f"survey_rmse_{side}_m": survey}
        judgement = decide(id_, claimed, make_evidence(30, east_m=0.01, north_m=0.01, **rmse))
        found = [f for f in judgement.findings if f.code == "checkpoints-survey-zero"]
        assert bool(found) == told
        for finding in found:
            assert finding.severity is Severity.WARNING
            assert "at 1 of 60 checkpoints" in finding.message
