"""Documents side by side: own words, right values, and what the next class would need."""

from __future__ import annotations

import math
import re

import pytest
from evidence import make_evidence

from accuracy.standards.judge import Evidence, judge
from accuracy.standards.judge.side_by_side import WORDS, SideBySide, side_by_side
from accuracy.standards.library import UNITS, Standard, list_standards, load_standard

IDS = [standard.id for standard in list_standards()]

#: Words of trade that belong to some document: none may stand in a sentence between two of them.
OWN_WORDS = re.compile(
    r"\b(NVA|VVA|FVA|SVA|CVA|RMSE\w*|CE90|LE90|CMAS|VMAS|confidence|percentile|Accuracy_\w)\b"
)


def keys_of(standard: Standard) -> dict[str, float | int | str | bool]:
    """Claim the first choice or a length of one unit, whatever the document asks."""
    return {k.name: k.choices[0] if k.choices else 1.0 for k in standard.claim_keys}


def laid(*ids: str, evidence: Evidence | None = None) -> SideBySide:
    standards = [load_standard(id_) for id_ in ids]
    found = side_by_side("d", [(s, keys_of(s)) for s in standards], evidence or make_evidence())
    assert found is not None
    return found


def test_nothing_asked_and_one_document() -> None:
    """Without a document there is nothing; with one there is its tightest class and no table."""
    assert side_by_side("d", [], make_evidence()) is None
    one = laid("asprs-2024")
    assert one.rows == ()
    assert {its.key for its in one.tightest} == {"vertical_class_cm"}  # nothing measured in plan


def test_a_document_named_without_a_claim_has_its_tightest_class_alone() -> None:
    """The table has no row of it."""
    found = side_by_side("d", [], make_evidence(), [load_standard("asprs-2014")])
    assert found is not None
    assert found.rows == ()
    assert [its.standard for its in found.tightest] == ["asprs-2014"]


def test_values_of_two_editions_and_the_sentence_between_them() -> None:
    """0.03 m at 30 points, survey 0.005 m: sqrt(0.03^2 + 0.005^2) by one, 0.03 m by the other."""
    new, _, old, old_95, old_vva = laid("asprs-2024", "asprs-2014").rows
    assert new.check.value == pytest.approx(math.sqrt(0.03**2 + 0.005**2), abs=1e-12)
    assert (new.unlike, new.why) == (None, "")
    assert old.check.value == pytest.approx(0.03, abs=1e-12)
    assert old.unlike == "asprs-2024"
    assert old.why == "It leaves out the survey's own error and wants at least 20 points."
    assert old_95.check.value == pytest.approx(1.96 * 0.03, abs=1e-12)
    assert old_95.unlike == "asprs-2014"  # held against the first figure of its own document
    assert "larger limit" in old_95.why
    assert old_vva.check.cover == "vegetated"
    assert old_vva.unlike == "asprs-2024"  # not against open ground
    assert old_vva.why.endswith("and has a limit.")


def test_the_same_figure_is_called_the_same() -> None:
    """Two editions with one rule differ in nothing."""
    first, *_ = (row for row in laid("usgs-lbs-2024a", "usgs-lbs-2025a").rows if row.unlike)
    assert first.why == "The same figure and the same limit."


@pytest.mark.parametrize("id_", IDS)
def test_vocabulary_never_crosses(id_: str) -> None:
    """Beside every other document: no sentence has words of trade, each row has its own document's names."""
    evidence = make_evidence(40, vegetated=40, east_m=0.02, north_m=0.03)
    own = {m.name for m in (*load_standard(id_).requirements, *load_standard(id_).reports)}
    for other in ("asprs-2024", "nssda-1998", "ndep-2004"):
        for pair in ((id_, other), (other, id_)):
            for row in laid(*pair, evidence=evidence).rows:
                assert not OWN_WORDS.search(row.why), row.why
                assert row.standard != id_ or row.check.name in own


@pytest.mark.parametrize("id_", ["asprs-2023", "asprs-2024"])
def test_no_95_in_a_row_of_edition_2(id_: str) -> None:
    """Neither name, sentence nor need of Edition 2 speaks of 95 %, beside any document."""
    evidence = make_evidence(40, vegetated=40, east_m=0.02, north_m=0.03)
    for other in IDS:
        found = laid(other, id_, evidence=evidence)
        texts = [
            text for row in found.rows if row.standard == id_ for text in (row.check.name, row.why)
        ] + [text for its in found.tightest if its.standard == id_ for text in its.needed]
        assert texts
        assert not any("95" in text for text in texts)


def test_every_estimator_that_a_document_uses_has_plain_words() -> None:
    """No row falls back on the name of a function."""
    used = {
        measure.estimator
        for standard in list_standards()
        for measure in (*standard.requirements, *standard.reports)
    }
    assert used <= set(WORDS)


@pytest.mark.parametrize("id_", IDS)
def test_the_tightest_passes_and_the_next_does_not(id_: str) -> None:
    """Held against the judge itself; lengths are a millimetre apart."""
    standard = load_standard(id_)
    evidence = make_evidence(40, vegetated=40, east_m=0.02, north_m=0.03)
    for found in laid(id_, evidence=evidence).tightest:
        if found.value is not None:
            assert judge(standard, {found.key: found.value}, evidence).verdict == "passes"
        if found.tighter is not None:
            assert judge(standard, {found.key: found.tighter}, evidence).verdict != "passes"
            assert found.needed
        if isinstance(found.value, float) and isinstance(found.tighter, float):
            step_m = (found.value - found.tighter) * float(UNITS[found.unit or "m"])
            assert step_m == pytest.approx(0.001, abs=1e-9)


def test_what_the_next_class_needs_is_told_with_right_numbers() -> None:
    """More points, a better survey, less bias: each from numbers that are known beforehand."""
    few = laid("asprs-2024", evidence=make_evidence(25)).tightest[0]
    assert (few.value, few.needed) == (None, ("more points: 5 more (vertical)",))
    coarse = laid("asprs-2024", evidence=make_evidence(up_m=0.0113, survey_v_m=0.005)).tightest[0]
    assert coarse.value == pytest.approx(1.3)  # sqrt(0.0113^2 + 0.005^2) = 0.01236 m
    assert "a better survey: its own RMSE of 0.005 m is included" in "; ".join(coarse.needed)
    assert any("would be 0.011 m" in text for text in coarse.needed)
    shifted = make_evidence(30, vegetated=0)
    errors = [0.05 + up for up in shifted.up_m]  # mean 0.05 m, spread 0.03 m
    biased = Evidence(**{**shifted.__dict__, "up_m": errors})
    needs = "; ".join(laid("asprs-2024", evidence=biased).tightest[0].needed)
    assert "the mean up error is +0.050 m; without it the RMSE would be 0.030 m" in needs
