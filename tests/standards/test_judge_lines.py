"""The judge of flight lines: each rule for itself, on unrounded numbers, and never more than was shown."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from accuracy.line_statement import LINE_CAUTIONS, compose_lines
from accuracy.standards.judge import LineEvidence, LineJudgement, LineValue, judge_lines
from accuracy.standards.judge.lines import keeps, texts
from accuracy.standards.library import load_standard
from accuracy.statement import Context

#: A flight that keeps every limit of QL1; invented.
SOUND = {
    "swath-rmsd": LineValue(0.031, 900),
    "swath-max": LineValue(0.07, 900),
    "pair-rmsd-largest": LineValue(0.04, 3),
    "pair-mean-largest": LineValue(0.02, 3),
    "precision-rmsd": LineValue(0.02, 400),
    "precision-max": LineValue(0.025, 400),
    "precision-thickness": LineValue(0.012, 1600),
    "density-single-swath": LineValue(30.0, 4),
    "density-aggregate": LineValue(61.0, 4),
    "voids-open": LineValue(0, 0),
    "distribution-share": LineValue(0.99, 5000),
    "overlap-least": LineValue(80.0, 3),
    "duplicate-points": LineValue(0, 0),
}


def judged(
    standard: str = "usgs-lbs-2025a",
    claimed: dict[str, float | int | str | bool] | None = None,
    blocked: tuple[str, ...] = (),
    **changed: LineValue,
) -> LineJudgement:
    """Judge the sound flight with some values changed; underscores stand for hyphens."""
    values = SOUND | {name.replace("_", "-"): value for name, value in changed.items()}
    found = judge_lines(
        load_standard(standard),
        {"quality_level": "QL1"} if claimed is None else claimed,
        LineEvidence("cloud", values, blocked),
    )
    assert found is not None
    return found


def test_a_sound_flight_passes() -> None:
    """Every rule is kept; what is as found is reported."""
    found = judged()
    assert found.verdict == "passes"
    assert {c.id: c.verdict for c in found.checks if c.verdict != "passes"} == {
        "swath_overlap_max": "reported",
        "overlap_width": "reported",
        "duplicates": "reported",
    }
    assert found.findings == ()


@pytest.mark.parametrize(
    ("quantity", "limit"),
    [("swath-rmsd", 0.08), ("precision-rmsd", 0.06), ("density-single-swath", 8.0)],
)
def test_the_limit_itself_is_kept_and_the_next_number_is_not(quantity: str, limit: float) -> None:
    """The operators are <= and >=, on unrounded numbers: LBS 2025 rev. A, Tables 1 and 2."""
    import math

    key = quantity.replace("-", "_")
    worse = math.nextafter(limit, 0.0 if quantity.startswith("density") else 1.0)
    kept: dict[str, Any] = {key: LineValue(limit, 900)}
    broken: dict[str, Any] = {key: LineValue(worse, 900)}
    assert judged(**kept).verdict == "passes"
    assert judged(**broken).verdict == "fails"


def test_thin_evidence_gives_no_statement_and_tells_what_was_exceeded() -> None:
    """99 cells are fewer than the about 100 of LBS; the value beyond the limit is a finding."""
    found = judged(precision_rmsd=LineValue(0.09, 99), precision_thickness=LineValue(0.08, 400))
    assert found.verdict == "no-statement"
    assert "99 cells, at least 100 wanted" in found.reasons[0]
    assert [finding.code for finding in found.findings] == ["claim-limit-exceeded"]


def test_where_a_document_names_no_number_thirty_cells_are_wanted() -> None:
    """29 cells prove nothing, 30 do; told as common practice."""
    few = judged(
        "asprs-2024",
        {"vertical_class_cm": 5.0},
        swath_rmsd=LineValue(0.01, 29),
        swath_max=LineValue(0.01, 30),
    )
    assert few.verdict == "no-statement"
    assert [check.verdict for check in few.checks] == ["reported", "no-statement", "passes"]
    assert "common practice, no source" in few.reasons[0]


def test_what_is_measured_in_an_unknown_way_does_not_decide() -> None:
    """ASPRS limits a within-swath difference whose measurement was not read: remarked, never a failure."""
    found = judged("asprs-2024", {"vertical_class_cm": 5.0}, precision_max=LineValue(0.07, 900))
    assert found.verdict == "passes"
    assert {finding.code for finding in found.findings} == {
        "claim-lines-remarked",
        "claim-lines-literal",
    }


def test_a_broken_limit_wins_over_a_missing_statement() -> None:
    """Rules stand for themselves: unknown voids do not excuse a density that is too low."""
    found = judged(density_single_swath=LineValue(3.0, 4), voids_open=LineValue(2, 2))
    assert found.verdict == "fails"
    assert found.reasons == ()
    assert {c.id for c in found.checks if c.verdict == "no-statement"} == {"voids"}


def test_voids_are_for_people_to_judge() -> None:
    """LBS accepts voids by cause, and no cause is in the points: no statement, never a failure."""
    found = judged(voids_open=LineValue(2, 2))
    assert found.verdict == "no-statement"
    assert "people have to confirm" in found.reasons[0]


def test_what_was_not_measured_gives_no_statement_with_the_reason() -> None:
    """No value, whatever the others say."""
    found = judged(swath_rmsd=LineValue(None, why="one flight line only"))
    assert found.verdict == "no-statement"
    assert found.reasons == ("swath overlap difference, RMSD: one flight line only",)


def test_blocked_evidence_proves_nothing() -> None:
    """A cloud without a unit has no metres."""
    found = judged(blocked=("nothing declares the unit",))
    assert found.verdict == "no-statement"
    assert all(c.verdict != "passes" for c in found.checks)


def test_rules_that_do_not_bind_are_remarked() -> None:
    """A drone's overlap below 75 m is a note and changes no verdict."""
    found = judged(overlap_least=LineValue(22.0, 3))
    assert found.verdict == "passes"
    assert [finding.code for finding in found.findings] == ["claim-lines-remarked"]


def test_an_average_does_not_hide_one_bad_pair() -> None:
    """All pairs together keep 0.08 m, one pair alone does not: told as a warning."""
    found = judged(pair_rmsd_largest=LineValue(0.11, 3))
    assert found.verdict == "passes"
    assert [finding.code for finding in found.findings] == ["claim-lines-one-pair"]


def test_a_literal_formula_that_parts_from_sense_is_told() -> None:
    """Range less slope is beyond the limit, the scatter within: the claim fails, and it is said why."""
    found = judged(precision_rmsd=LineValue(0.063, 1891))
    assert found.verdict == "fails"
    assert [finding.code for finding in found.findings] == ["claim-lines-literal"]
    both = judged(precision_rmsd=LineValue(0.2, 900), precision_thickness=LineValue(0.07, 900))
    assert both.findings == ()


def test_numbers_from_memory_are_told() -> None:
    """A verdict by an older edition says which numbers were not read."""
    found = judged("usgs-lbs-2.1")
    assert found.verdict == "passes"
    assert [finding.code for finding in found.findings] == ["claim-number-unverified"]


def test_a_class_that_was_not_claimed_has_no_limit() -> None:
    """ASPRS with a horizontal class alone: as found."""
    found = judged("asprs-2024", {"horizontal_class_cm": 10.0})
    assert found.verdict == "reported"
    assert judge_lines(load_standard("nssda-1998"), {}, LineEvidence("cloud", SOUND)) is None


@given(
    value=st.floats(0.0, 0.2, allow_nan=False),
    limit=st.sampled_from([0.03, 0.06, 0.08]),
    operator=st.sampled_from(["<=", "<", ">="]),
)
def test_what_is_printed_never_contradicts_the_verdict(
    value: float, limit: float, operator: str
) -> None:
    """The two printed numbers compare as the unrounded ones do."""
    from dataclasses import replace
    from fractions import Fraction

    check = replace(
        next(c for c in judged().checks if c.id == "swath_overlap"),
        value=value,
        limit=limit,
        operator=operator,  # type: ignore[arg-type]  # one of three
    )
    shown, shown_limit = texts(check)
    assert shown_limit is not None
    a, b = Fraction(shown), Fraction(shown_limit)
    compared = {"<=": a <= b, "<": a < b, ">=": a >= b}[operator]
    assert compared == keeps(value, limit, operator)  # type: ignore[arg-type]  # one of three


def test_the_statement_says_what_was_found_and_what_it_does_not_mean() -> None:
    """Value, limit, evidence, source and the caution that only checkpoints tell where the lines are."""
    text = compose_lines(judged(), Context("Alder Creek", "cloud", files=(("a.las", "00ff"),)))
    assert "keep every limit" in text
    assert (
        "Swath overlap difference, RMSD: 0.031 metres, within the limit of 0.080 metres (900 cells)."
        in text
    )
    assert "30.00 per m², not below the 8.00 per m² wanted (4 lines)" in text
    assert "read in the document or an official companion" in text
    assert "File: a.las, SHA-256 00ff" in text
    assert LINE_CAUTIONS[0] in text


def test_the_statement_without_a_verdict_gives_reasons_first() -> None:
    """No statement is the first sentence, with every reason."""
    text = compose_lines(
        judged(voids_open=LineValue(2, 2), swath_rmsd=LineValue(None, why="one flight line only")),
        Context("Alder Creek", "cloud", standalone=False),
    )
    first = text.splitlines()[0]
    assert first.startswith("No statement on the flight lines is possible by USGS")
    assert "one flight line only" in first
    assert "people have to confirm" in first


def test_the_statement_names_what_fails_and_uses_the_display_unit() -> None:
    """Lengths in US survey feet where the job asks for them; the limit with them."""
    from accuracy.units import LengthUnit

    text = compose_lines(
        judged(swath_rmsd=LineValue(0.1, 900)),
        Context("t", "cloud", display_unit=LengthUnit.US_SURVEY_FOOT, standalone=False),
    )
    assert "do not keep the limit for swath overlap difference, RMSD." in text
    assert "0.328 US survey feet, beyond the limit of 0.262 US survey feet" in text  # x 3937 / 1200
