"""What documents want of flight lines, as data: the numbers of the notes, and mistakes in a file."""

from __future__ import annotations

from pathlib import Path

import pytest

from accuracy.errors import StandardsError
from accuracy.standards.library import list_standards, load_standard, parse_standard

#: USGS 3DEP LBS 2025 rev. A, Tables 1 and 2: ANPS, ANPD, smooth surface, swath overlap. (m, 1/m2, m, m)
LBS_2025A = {
    "QL0": (0.35, 8.0, 0.03, 0.04),
    "QL1": (0.35, 8.0, 0.06, 0.08),
    "QL2": (0.71, 2.0, 0.06, 0.08),
    "QL3": (1.41, 0.5, 0.12, 0.16),
}

#: A client's own specification; invented.
OWN = """
id = "larkfield-lines"
title = "Larkfield Quarries flight lines"
document = "LQ-18"
date = "2026"
class_required = true

[[claim_key]]
name = "grade"
kind = "choice"
choices = ["A", "B"]
required = true
meaning = "grade of the survey"

[[claim_key]]
name = "limit_mm"
kind = "length"
unit = "mm"
meaning = "a limit"

[[report]]
id = "rmse_up"
name = "RMSE of heights"
component = "up"
cover = "all"
estimator = "rmse"
survey_error = "excluded"
cite = "paragraph 4"
verification = "client"

[[line_rule]]
id = "overlap"
name = "overlap difference"
quantity = "swath-rmsd"
limit = { key = "limit_mm", factor = 1.5 }
operator = "<"
binding = true
cite = "paragraph 5"
verification = "client"
"""


def limits(standard: str, claimed: dict[str, object]) -> dict[str, float | None]:
    """Limits of a document by the id of the rule."""
    rules = load_standard(standard).line_rules
    return {rule.id: rule.limit.number(claimed) if rule.limit else None for rule in rules}


@pytest.mark.parametrize("level", LBS_2025A)
def test_the_limits_of_usgs_2025a_are_those_of_its_tables(level: str) -> None:
    """Tables 1 and 2 by quality level, the 90 % of spatial distribution and the 75 m of overlap."""
    anps_m, density, precision_m, overlap_m = LBS_2025A[level]
    standard = load_standard("usgs-lbs-2025a")
    found = limits("usgs-lbs-2025a", {"quality_level": level})
    assert standard.line_spacing is not None
    assert standard.line_spacing.limit.number({"quality_level": level}) == anps_m
    assert found["density"] == density
    assert found["smooth_surface"] == precision_m
    assert found["swath_overlap"] == overlap_m
    assert found["spatial_distribution"] == 0.9
    assert found["overlap_width"] == 75.0
    assert found["voids"] == 0.0
    assert found["swath_overlap_max"] is None  # removed in 1.3


def test_asprs_classes_scale_as_the_table_says() -> None:
    """0.60, 0.80 and 1.60 times the class; asprs-2014 prints 6, 8 and 16 cm for the 10-cm class."""
    for standard in ("asprs-2014", "asprs-2023", "asprs-2024"):
        found = limits(standard, {"vertical_class_cm": 10.0})
        assert found == {"within_swath_max": 0.06, "swath_rmsd": 0.08, "swath_max": 0.16}
        assert set(limits(standard, {"horizontal_class_cm": 10.0}).values()) == {None}


def test_only_the_edition_of_2012_to_2014_limits_the_largest_difference() -> None:
    """The revision history of LBS says that 1.3 removed it."""
    with_limit = {
        standard.id
        for standard in list_standards()
        for rule in standard.line_rules
        if standard.id.startswith("usgs") and rule.quantity == "swath-max" and rule.limit
    }
    assert with_limit == {"usgs-lbs-1.2"}


def test_what_decides_was_read_only_where_it_was_read() -> None:
    """Limits of older USGS editions and of ASPRS 2014 are marked as from memory."""
    marks = {
        standard.id: {rule.verification for rule in standard.line_rules if rule.binding}
        for standard in list_standards()
        if standard.line_rules
    }
    assert marks["usgs-lbs-2025a"] == {"read"}
    assert marks["asprs-2024"] == {"second-hand"}
    for name in ("asprs-2014", "usgs-lbs-1.2", "usgs-lbs-2.1", "usgs-lbs-2024a"):
        assert marks[name] == {"from-memory"}


def test_a_clients_file_may_have_rules_of_its_own(tmp_path: Path) -> None:
    """A factor of a length in millimetres gives metres; the marks must be the client's."""
    path = tmp_path / "own.toml"
    path.write_text(OWN, encoding="utf-8")
    (rule,) = load_standard(str(path)).line_rules
    assert rule.limit is not None
    assert rule.limit.number({"limit_mm": 30}) == 0.045
    path.write_text(OWN.replace('5"\nverification = "client"', '5"\nverification = "read"'))
    with pytest.raises(StandardsError) as refused:
        load_standard(str(path))
    assert [problem.where for problem in refused.value.problems] == ["line_rule[0].verification"]


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ('"swath-rmsd"', '"swath-rms"', "line_rule[0].quantity"),
        ('operator = "<"', 'operator = "=="', "line_rule[0].operator"),
        ("binding = true\n", "", "line_rule[0].binding"),
        ('"limit_mm", factor', '"limit_cm", factor', "line_rule[0].limit.key"),
        ("factor = 1.5", "factor = -1", "line_rule[0].limit.factor"),
        ("factor = 1.5", "factor = nan", "line_rule[0].limit.factor"),
        ('key = "limit_mm", factor = 1.5', 'value = 3, unit = "per-m2"', "line_rule[0].limit.unit"),
        (
            'key = "limit_mm", factor = 1.5',
            'key = "grade", unit = "m", table = { A = 1 }',
            "line_rule[0].limit.table",
        ),
        ('key = "limit_mm", factor = 1.5', 'key = "grade"', "line_rule[0].limit.table"),
        ("cite = ", "confirmed = true\ncite = ", "line_rule[0].confirmed"),
        ('[[line_rule]]\nid = "overlap"', "[[line_rule]]", "line_rule[0].id"),
    ],
)
def test_mistakes_are_told_with_the_path_of_their_key(old: str, new: str, where: str) -> None:
    """One mistake in a rule, one message that leads to it."""
    rule = OWN.rindex("[[line_rule]]")
    text = OWN[:rule] + OWN[rule:].replace(old, new, 1)
    assert text != OWN
    with pytest.raises(StandardsError) as refused:
        parse_standard(text, "own.toml")
    assert where in [problem.where for problem in refused.value.problems]


def test_one_id_is_used_once() -> None:
    """Two rules of one name could not be told apart in a result."""
    rule = OWN[OWN.rindex("[[line_rule]]") :]
    with pytest.raises(StandardsError) as refused:
        parse_standard(OWN + rule, "own.toml")
    assert [problem.where for problem in refused.value.problems] == ["line_rule.id"]
