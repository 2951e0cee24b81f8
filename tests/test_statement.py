"""The statement: the document's words where the verdict allows them, plain words where not."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest
from evidence import NAN, make_evidence
from hypothesis import given
from hypothesis import strategies as st

from accuracy.standards.judge import Evidence, judge
from accuracy.standards.library import list_standards, load_standard, parse_standard
from accuracy.statement import CAUTIONS, VERIFICATION, Context, Roll, compose
from accuracy.units import LengthUnit

NSSDA, ASPRS1, ASPRS2, USGS = "nssda-1998", "asprs-2014", "asprs-2024", "usgs-lbs-2025a"
V5 = {"vertical_class_cm": 5.0}
CONTEXT = Context(
    title="Quarry at Nordholm",
    dataset="ground cloud",
    files=(("cloud/tile_a.laz", "0a1b"), ("cloud/tile_b.laz", "2c3d")),
    prepared_for="Larkfield Quarries",
    prepared_by="Ostra Survey",
)


def said(
    id_: str, claimed: dict[str, Any], evidence: Evidence, context: Context = CONTEXT
) -> list[str]:
    """Give the lines of a statement."""
    standard = load_standard(id_)
    return compose(standard, judge(standard, claimed, evidence), context).split("\n")


def test_edition_2_vertical() -> None:
    """Section 7.15, V tested, filled in; wording from a quotation of the document."""
    assert (
        "This data set was tested to meet ASPRS Positional Accuracy Standards for Digital Geospatial Data, "
        "Edition 2, Version 2 (2024) for a 5 (cm) RMSEV Vertical Accuracy Class. NVA accuracy was found to "
        "be RMSEV = 3.0 (cm). VVA accuracy was found to be RMSEV = 8.0 (cm)."
    ) in said(ASPRS2, V5, make_evidence(30))


def test_edition_2_horizontal_and_3d() -> None:
    """Section 7.15, H and 3D tested: RMSE_H 5.0 cm of 3 and 4 cm, RMSE_3D 13 cm with 12 cm height."""
    evidence = make_evidence(
        30, east_m=0.03, north_m=0.04, up_m=0.12, survey_h_m=0.0, survey_v_m=0.0
    )
    lines = said(ASPRS2, {"horizontal_class_cm": 7.5, "three_d_class_cm": 13.5}, evidence)
    assert (
        "This data set was tested to meet ASPRS Positional Accuracy Standards for Digital Geospatial Data, "
        "Edition 2, Version 2 (2024) for a 7.5 (cm) RMSEH horizontal positional accuracy class. The tested "
        "horizontal positional accuracy was found to be RMSEH = 5.0 (cm)."
    ) in lines
    assert (
        "This data set was tested to meet ASPRS Positional Accuracy Standards for Digital Geospatial Data, "
        "Edition 2, Version 2 (2024) for a 13.5 (cm) RMSE3D three-dimensional positional accuracy class. "
        "The tested three-dimensional positional accuracy was found to be RMSE3D = 13.0 (cm)."
    ) in lines


def test_edition_2_reduced_number() -> None:
    """Fewer than thirty points: no statement, and the document's words for a reduced number."""
    lines = said(
        ASPRS2,
        {"horizontal_class_cm": 10.0},
        make_evidence(12, vegetated=0, east_m=0.03, north_m=0.04),
    )
    assert lines[5].startswith("No statement of accuracy is possible for the horizontal accuracy")
    assert "12 checkpoints, at least 30 wanted" in lines[5]
    assert (
        "This data set was tested as required by ASPRS Positional Accuracy Standards for Digital Geospatial "
        "Data, Edition 2, Version 2 (2024). Although the Standards call for a minimum of thirty (30) "
        "checkpoints, this test was performed using ONLY 12 checkpoints. This data set was produced to meet "
        "a 10 (cm) RMSEH horizontal positional accuracy class. The tested horizontal positional accuracy was "
        "found to be RMSEH = 5.0 (cm) using the reduced number of checkpoints."
    ) in lines[6]


def test_reduced_words_never_say_produced_to_meet_where_the_limit_is_exceeded() -> None:
    """With too few points and too large an error only the figures are printed."""
    text = "\n".join(said(ASPRS2, V5, make_evidence(12, up_m=0.08)))
    assert "produced to meet" not in text
    assert "tested" not in text.lower()
    assert "beyond the limit of 0.050 metres" in text


def test_edition_1_vertical_and_horizontal() -> None:
    """Section 7.11, wording from memory: 1.9600 x 3.0 = 5.9 cm, 2.4477 x 3.5 = 8.6 cm."""
    lines = said(
        ASPRS1,
        V5 | {"horizontal_class_cm": 5.0},
        make_evidence(20, east_m=0.03, north_m=0.04),
    )
    assert (
        "This data set was tested to meet ASPRS Positional Accuracy Standards for Digital Geospatial Data "
        "(2014) for a 5 (cm) RMSEz Vertical Accuracy Class. Actual NVA accuracy was found to be RMSEz = 3.0 "
        "cm, equating to +/- 5.9 at 95% confidence level. Actual VVA accuracy was found to be +/- 8.0 cm "
        "at the 95th percentile."
    ) in lines
    assert (
        "This data set was tested to meet ASPRS Positional Accuracy Standards for Digital Geospatial Data "
        "(2014) for a 5 (cm) RMSEx / RMSEy Horizontal Accuracy Class. Actual positional accuracy was found "
        "to be RMSEx = 3.0 (cm) and RMSEy = 4.0 cm which equates to Positional Horizontal Accuracy = +/- 8.6 "
        "at 95% confidence level."
    ) in lines


def test_edition_1_without_vegetated_points() -> None:
    """Without vegetated points the words on them are left out, and that is said."""
    text = "\n".join(said(ASPRS1, V5, make_evidence(20, vegetated=0)))
    assert "VVA accuracy" not in text
    assert "No vegetated checkpoints were used." in text


def test_edition_1_without_a_circle_uses_plain_words() -> None:
    """Where the wording has a value that does not exist, it is not filled in by halves."""
    lines = said(
        ASPRS1, {"horizontal_class_cm": 10.0}, make_evidence(20, east_m=0.02, north_m=0.09)
    )
    assert not any("equates to" in line for line in lines)
    assert any(
        line.startswith("Tested against ASPRS") and "meets every limit" in line for line in lines
    )


@pytest.mark.parametrize(
    ("unit", "vertical", "horizontal"),
    [
        (LengthUnit.METRE, "0.098 metres", "0.173 metres"),
        (LengthUnit.FOOT, "0.322 international feet", "0.568 international feet"),
        (LengthUnit.US_SURVEY_FOOT, "0.322 US survey feet", "0.568 US survey feet"),
    ],
)
def test_nssda_reported(unit: LengthUnit, vertical: str, horizontal: str) -> None:
    """Section 3.2.3: 1.9600 x 0.05 = 0.098 m = 0.322 ft; 1.7308 x sqrt 2 x 0.0707 = 0.173 m = 0.568 ft."""
    evidence = make_evidence(20, vegetated=0, up_m=0.05, east_m=0.0707, north_m=0.0707)
    context = Context(title="t", dataset="d", display_unit=unit)
    lines = said(NSSDA, {}, evidence, context)
    assert f"Tested {vertical} vertical accuracy at 95% confidence level." in lines
    assert f"Tested {horizontal} horizontal accuracy at 95% confidence level." in lines
    assert any("1.7308 x RMSE_r" in line for line in lines)


def test_nssda_with_a_limit() -> None:
    """The document's words, and in plain words whether the claimed limit is met."""
    evidence = make_evidence(20, vegetated=0, up_m=0.05)
    passed = said(NSSDA, {"vertical_95_m": 0.1}, evidence)
    assert "Tested 0.098 metres vertical accuracy at 95% confidence level." in passed
    assert any(line.startswith("The limit that was claimed is met") for line in passed)
    failed = "\n".join(said(NSSDA, {"vertical_95_m": 0.09}, evidence))
    assert "does not meet the limit" in failed
    assert "0.098 metres, beyond the limit of 0.090 metres" in failed


def test_nssda_digits_follow_the_coordinates() -> None:
    """Coordinates to 0.01 m give an accuracy to 0.01 m (section 3.2.3)."""
    context = Context(title="t", dataset="d", decimals=2)
    lines = said(NSSDA, {}, make_evidence(20, vegetated=0, up_m=0.05), context)
    assert "Tested 0.10 metres vertical accuracy at 95% confidence level." in lines


def test_nssda_with_too_few_points_is_never_tested() -> None:
    """Below twenty points neither 'Tested' nor 'Compiled to meet' is printed."""
    text = "\n".join(said(NSSDA, {}, make_evidence(19, vegetated=0))).lower()
    assert "no statement of accuracy is possible" in text
    assert "tested" not in text
    assert "compiled to meet" not in text


def test_nssda_without_a_circle() -> None:
    """Vertical is reported, horizontal has no statement and names the ratio rule."""
    lines = said(NSSDA, {}, make_evidence(20, east_m=0.02, north_m=0.09))
    assert any(line.startswith("Tested ") and "vertical accuracy" in line for line in lines)
    assert not any(line.startswith("Tested ") and "horizontal" in line for line in lines)
    assert any("below a ratio of 0.6" in line for line in lines)


def test_failure_is_said_plainly() -> None:
    """A failure names value and limit and says that the words are the tool's own."""
    lines = said(ASPRS2, V5, make_evidence(30, up_m=0.0500001, survey_v_m=0.0))
    at = next(i for i, line in enumerate(lines) if "does not meet the limit" in line)
    assert "0.0500001 metres, beyond the limit of 0.0500000 metres" in lines[at]
    assert lines[at + 1] == (
        "No wording of the document for this case is known; these words are the tool's own."
    )
    assert not any("tested to meet" in line for line in lines)


def test_usgs_has_no_wording_of_its_own() -> None:
    """A pass under the USGS specification is said in plain words, with class, value, limit and number."""
    lines = said(USGS, {"quality_level": "QL1"}, make_evidence(30, survey_v_m=0.0))
    (line,) = (line for line in lines if line.startswith("Tested against USGS"))
    assert "(quality_level = QL1)" in line
    assert (
        "0.030 metres, within the limit of 0.100 metres (30 checkpoints, survey error included)"
        in line
    )


def test_plain_words_in_feet() -> None:
    """0.06096 m is 0.200 international feet exactly; the limit of 0.050 m is 0.164 ft."""
    context = Context(title="t", dataset="d", display_unit=LengthUnit.FOOT)
    evidence = make_evidence(30, up_m=0.06096, survey_v_m=0.0)
    text = "\n".join(said(USGS, {"quality_level": "QL0"}, evidence, context))
    assert "0.200 international feet, beyond the limit of 0.164 international feet" in text


def test_what_is_assumed_and_where_numbers_come_from() -> None:
    """Assumptions, remarks, number of points and the source of every deciding number stand in it."""
    evidence = make_evidence(20, cover_assumed_count=4, survey_v_m=0.0)
    lines = said(ASPRS1, V5, evidence)
    assert any(line.startswith("Assumed: the land cover of 4 of 50") for line in lines)
    assert any(
        line.startswith("Remark: ") and "stated as exactly 0 at 50" in line for line in lines
    )
    used = "Checkpoints used for the vertical accuracy: 50 (20 non-vegetated, 30 vegetated)."
    assert used in lines
    assert "- minimum of 20 checkpoints: Annex C, from memory, not verified" in lines
    assert any(line.startswith("- wording: section 7.11, from memory") for line in lines)


def test_warnings_of_lower_layers_stand_in_it() -> None:
    """A warning handed over by the caller is printed."""
    context = Context(title="t", dataset="d", warnings=("one side names no geoid",))
    assert "Remark: one side names no geoid." in said(ASPRS2, V5, make_evidence(30), context)


def test_standalone_and_inside_a_page() -> None:
    """Alone it carries names, files by hash and cautions; inside a page that prints them, it does not."""
    alone = said(ASPRS2, V5, make_evidence(30))
    assert "Prepared for: Larkfield Quarries" in alone
    assert "Prepared by: Ostra Survey" in alone
    assert "File: cloud/tile_b.laz, SHA-256 2c3d" in alone
    assert alone[-len(CAUTIONS) :] == list(CAUTIONS)
    inside = said(
        ASPRS2, V5, make_evidence(30), Context(title="t", dataset="ground cloud", standalone=False)
    )
    assert inside[0].startswith("This data set was tested to meet")
    assert not set(inside) & set(CAUTIONS)


def test_cautions_say_what_it_is_not() -> None:
    """Files by hash, points, date; no certificate; local law and licensed surveyors; engineering."""
    text = " ".join(CAUTIONS)
    for words in (
        "SHA-256",
        "checkpoints",
        "date",
        "not a survey certificate",
        "local law",
        "licensed surveyors",
        "engineering",
        "responsible",
    ):
        assert words in text


def test_marks_cover_every_verification() -> None:
    """Every mark a packaged file uses has words, so none can be printed bare."""
    for standard in list_standards():
        marks = {m.verification for m in (*standard.requirements, *standard.reports)}
        marks |= {rule.verification for rule in standard.minimums}
        marks |= {wording.verification for wording in standard.wordings}
        assert marks <= set(VERIFICATION)


#: A client's own specification; invented.
OWN = """
id = "larkfield"
title = "Larkfield specification"
document = "LQ-17"
date = "2026"
class_required = false
[[claim_key]]
name = "grade"
kind = "choice"
choices = ["A"]
meaning = "grade"
[[requirement]]
id = "rmse_up"
name = "RMSE"
component = "up"
cover = "all"
estimator = "rmse"
survey_error = "excluded"
limit = { key = "grade", unit = "mm", table = { A = 30 } }
operator = "<="
cite = "4"
verification = "client"
[[statement]]
kind = "tested"
part = "vertical"
text = "Grade {grade} {{sic}}: {rmse_up} {unit}, {n} points"
unit = "display"
cite = "9"
verification = "client"
"""


def test_braces_of_a_client_come_out() -> None:
    """Doubled braces in a client's wording print as braces; values fill the placeholders."""
    own = parse_standard(OWN, "own.toml")
    judgement = judge(own, {"grade": "A"}, make_evidence(4, vegetated=0, up_m=0.03))
    context = Context(title="t", dataset="d", standalone=False)
    assert compose(own, judgement, context).startswith("Grade A {sic}: 0.030 metres, 4 points.")


def test_words_for_a_pass_are_kept_for_a_pass() -> None:
    """Without a limit the value is reported in plain words, even where words for a pass exist."""
    own = parse_standard(OWN.replace("Grade {grade}", "Grade"), "own.toml")
    judgement = judge(own, {}, make_evidence(4, vegetated=0, up_m=0.03))
    assert judgement.verdict == "reported"
    text = compose(own, judgement, Context(title="t", dataset="d", standalone=False))
    assert "{sic}" not in text
    assert text.startswith("Tested by Larkfield specification without a limit")


CLAIMS: list[tuple[str, dict[str, Any]]] = [
    (ASPRS2, V5),
    (ASPRS2, V5 | {"horizontal_class_cm": 5.0, "three_d_class_cm": 7.5}),
    (ASPRS1, V5 | {"horizontal_class_cm": 5.0}),
    (USGS, {"quality_level": "QL0"}),
    (NSSDA, {}),
    (NSSDA, {"vertical_95_m": 0.1, "horizontal_95_m": 0.1}),
]

SIZES = st.one_of(st.just(NAN), st.floats(0.0, 0.2), st.floats(0.0, 1e6))


@given(
    claim=st.sampled_from(CLAIMS),
    n=st.integers(0, 35),
    vegetated=st.integers(0, 35),
    sizes=st.tuples(SIZES, SIZES, SIZES, SIZES),
    survey=st.one_of(st.just(NAN), st.floats(0.0, 0.05)),
    adjusted=st.booleans(),
    kind=st.sampled_from(["point-cloud", "raster", "measured-points"]),
)
def test_words_follow_the_verdict(
    claim: tuple[str, dict[str, Any]],
    n: int,
    vegetated: int,
    sizes: tuple[float, float, float, float],
    survey: float,
    adjusted: bool,
    kind: str,
) -> None:
    """Whatever comes: a statement is written, and says 'tested to meet' only where a part passes.

    Under Edition 2 it never speaks of 95 %; without a statement it never says 'tested' in its own words.
    """
    id_, claimed = claim
    evidence = make_evidence(
        n,
        vegetated=vegetated,
        kind=kind,
        up_m=sizes[0],
        east_m=sizes[1],
        north_m=sizes[2],
        vegetated_up_m=sizes[3],
        survey_h_m=survey,
        survey_v_m=survey,
        adjusted_to_points=adjusted,
    )
    standard = load_standard(id_)
    judgement = judge(standard, claimed, evidence)
    text = compose(standard, judgement, CONTEXT)
    verdicts = {part.verdict for part in judgement.parts}
    if "tested to meet" in text:
        assert "passes" in verdicts
    assert ("No statement of accuracy is possible" in text) == ("no-statement" in verdicts)
    assert ("does not meet" in text) == ("fails" in verdicts)
    assert "nan" not in text.lower().split()
    assert "Compiled to meet" not in text
    if id_ == ASPRS2:
        assert not any(words in text for words in ("95 %", "95%", "95th", "confidence"))
    if {part.statement_kind for part in judgement.parts} == {"none"}:
        assert "tested" not in text.lower()


@pytest.mark.parametrize(
    ("size_m", "decimals", "shown"),
    [
        (0.447 / 1.96, 0, "0.45"),  # not 0
        (0.4411 / 1.96, 0, "0.45"),  # not 0.44, which would be better than found
        (0.1411 / 1.96, 2, "0.15"),
        (0.0021 / 1.96, 2, "0.0021"),
        (0.00212 / 1.96, 3, "0.0021"),  # two digits, a tenth of a millimetre: no rounding up
        (12.01 / 1.96, 0, "13"),
        (0.17306 / 1.96, 3, "0.173"),
    ],
)
def test_no_accuracy_is_rounded_to_something_better(
    size_m: float, decimals: int, shown: str
) -> None:
    """At least two significant digits; where coordinates cut the digits above a millimetre, rounded up."""
    context = Context(title="t", dataset="d", decimals=decimals)
    evidence = make_evidence(20, vegetated=0, up_m=size_m)
    assert f"Tested {shown} metres vertical accuracy at 95% confidence level." in said(
        NSSDA, {}, evidence, context
    )
    within_limit = {"vertical_95_m": size_m * 1.961}
    words = "\n".join(said(NSSDA, within_limit, evidence, context))
    assert "The limit that was claimed is met" in words
    value, limit = re.findall(
        r"confidence level ([0-9.]+) metres, within the limit of ([0-9.]+)", words
    )[0]
    assert float(value) <= float(limit)


def test_who_was_surveyed_and_who_does_not_count() -> None:
    """Per part: points surveyed, control, exclusions with reason, points without a value, points used.

    A reason of several lines stays on one, so that it cannot look like a line of the statement.
    """
    reason = "disturbed\nThis data set was tested to meet everything"
    roll = Roll(
        surveyed=66,
        control=("C1", "C2"),
        excluded=(("X1", reason), ("X2", "flooded")),
        without_value={"vertical": ("P61", "P62")},
    )
    lines = said(ASPRS2, V5, make_evidence(30), Context(title="t", dataset="d", roll=roll))
    assert (
        "Surveyed 66; control 2 (C1; C2); excluded 2 (X1: disturbed This data set was tested to meet "
        "everything; X2: flooded); without a value for the vertical accuracy 2 (P61; P62)."
    ) in lines
    used = "Checkpoints used for the vertical accuracy: 60 (30 non-vegetated, 30 vegetated)."
    assert used in lines
    everyone = Context(title="t", dataset="d", roll=Roll(surveyed=60))
    assert (
        "Surveyed 60; control 0; excluded 0; without a value for the vertical accuracy 0."
    ) in said(ASPRS2, V5, make_evidence(30), everyone)


def test_a_clients_own_specification_is_called_one() -> None:
    """The first words say whose file it is and which, before any words of the file."""
    own = replace(parse_standard(OWN, "own.toml"), client_file="own.toml", sha256="ab" * 32)
    judgement = judge(own, {"grade": "A"}, make_evidence(4, vegetated=0, up_m=0.03))
    text = compose(own, judgement, Context(title="t", dataset="d", standalone=False))
    assert text.startswith(
        f'Judged by the client\'s own specification "larkfield", file own.toml, SHA-256 {"ab" * 32}; it is no '
        "published standard.\nGrade A"
    )


def test_the_formula_of_the_survey_error_has_its_own_mark() -> None:
    """That it is from memory stands beside the marks of limit and minimum; not where it is excluded."""
    mark = "- survey error included: section 7.11, formula: sqrt(found^2 + survey^2), from memory, not verified"
    assert mark in said(ASPRS2, V5, make_evidence(30))
    assert not any("survey error included" in line for line in said(ASPRS1, V5, make_evidence(20)))
