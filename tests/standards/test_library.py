"""Standards as data: what is packaged, what a file must say, and how mistakes are told."""

from __future__ import annotations

import hashlib
import math
import re
from importlib import resources
from pathlib import Path

import pytest

from accuracy import stats
from accuracy.errors import StandardsError
from accuracy.standards.library import (
    ESTIMATORS,
    check_claim,
    list_standards,
    load_standard,
    parse_standard,
)

#: A client's own specification; invented.
OWN = """
id = "larkfield-2026"
title = "Larkfield Quarries survey specification"
document = "LQ-17"
date = "2026"
class_required = true

[[claim_key]]
name = "grade"
kind = "choice"
choices = ["A", "B"]
required = true
meaning = "grade of the survey"

[[requirement]]
id = "rmse_up"
name = "RMSE of heights"
component = "up"
cover = "all"
estimator = "rmse"
survey_error = "excluded"
limit = { key = "grade", unit = "mm", table = { A = 30, B = 60 } }
operator = "<"
cite = "paragraph 4"
verification = "client"

[[requirement]]
id = "bias"
name = "mean height error"
component = "up"
cover = "all"
estimator = "abs_mean"
survey_error = "excluded"
limit = { value = 0.05, unit = "foot" }
operator = "<="
cite = "paragraph 5"
verification = "client"

[[checkpoints]]
part = "vertical"
cover = "all"
minimum = 3
binding = true
cite = "paragraph 6"
verification = "client"

[survey]
ratio = 2
binding = false
cite = "paragraph 7"
verification = "client"

[[rule]]
kind = "mean-error"
factor = 0.5
operator = "<="
binding = false
cite = "paragraph 8"
verification = "client"

[[statement]]
kind = "tested"
part = "vertical"
text = "Larkfield grade {grade}: heights good to {rmse_up} {unit} at {n} points."
unit = "display"
cite = "paragraph 9"
verification = "client"
"""


def test_packaged_standards_load() -> None:
    """Every packaged file loads, under its own id, and says that or how its numbers were come by."""
    ids = [standard.id for standard in list_standards()]
    assert {"nssda-1998", "asprs-2014", "asprs-2024", "usgs-lbs-2025a"} <= set(ids)
    assert ids == sorted(ids)
    for standard in list_standards():
        assert load_standard(standard.id) == standard
        assert standard.title
        assert standard.document
        assert standard.date
        assert standard.worked_examples, f"{standard.id} has no worked example"
        assert any(m.limit for m in standard.requirements)


def test_superseded_standards_exist() -> None:
    """What a file names as its successor is packaged."""
    ids = {standard.id for standard in list_standards()}
    assert {s.superseded_by for s in list_standards()} - {""} <= ids


def test_estimators_are_those_of_stats() -> None:
    """The names a file may use are those of the statistics that give one length, for the same components."""
    one_number = {
        name: its.components
        for name, its in stats.ESTIMATORS.items()
        if its.unit == "m" and not name.endswith("_interval_95")
    }
    assert dict(ESTIMATORS) == one_number


@pytest.mark.parametrize(
    ("id_", "key", "value", "limits_m"),
    [
        ("asprs-2014", "vertical_class_cm", 10.0, {"rmse_z": 0.1, "nva": 0.196, "vva": 0.3}),
        ("asprs-2014", "vertical_class_cm", 5, {"rmse_z": 0.05, "nva": 0.098, "vva": 0.15}),
        ("asprs-2014", "horizontal_class_cm", 7.5, {"rmse_x": 0.075, "rmse_y": 0.075}),
        ("asprs-2024", "vertical_class_cm", 7.0, {"rmse_v_nva": 0.07}),
        ("asprs-2024", "horizontal_class_cm", 7.5, {"rmse_h": 0.075}),
        ("asprs-2024", "three_d_class_cm", 12.5, {"rmse_3d": 0.125}),
        ("usgs-lbs-2025a", "quality_level", "QL0", {"rmse_v_nva": 0.05}),
        ("usgs-lbs-2025a", "quality_level", "QL1", {"rmse_v_nva": 0.1}),
        ("usgs-lbs-2025a", "quality_level", "QL2", {"rmse_v_nva": 0.1}),
        ("usgs-lbs-2025a", "quality_level", "QL3", {"rmse_v_nva": 0.2}),
        ("nssda-1998", "vertical_95_m", 0.15, {"accuracy_z": 0.15}),
        ("nssda-1998", "horizontal_95_m", 0.25, {"accuracy_r": 0.25}),
    ],
)
def test_limits(id_: str, key: str, value: float | str, limits_m: dict[str, float]) -> None:
    """Limits in metres, exact to the last bit.

    ASPRS 2014 Tables 7.1, 7.2; Edition 2 Tables 7.1 to 7.3; USGS Lidar Base Specification 2025 rev. A, Table 4;
    NSSDA sets none of its own.
    """
    found = {
        m.id: m.limit.metres({key: value})
        for m in load_standard(id_).requirements
        if m.limit and m.limit.metres({key: value}) is not None
    }
    assert found == limits_m


def test_limit_table_of_asprs_2014() -> None:
    """NVA and VVA limits of the ten common classes as printed in Annex B (rows from memory), in cm."""
    limits = {m.id: m.limit for m in load_standard("asprs-2014").requirements}
    for class_cm, nva, vva in (
        (1, 2.0, 3.0),
        (2.5, 4.9, 7.5),
        (5, 9.8, 15.0),
        (10, 19.6, 30.0),
        (15, 29.4, 45.0),
        (20, 39.2, 60.0),
        (33.3, 65.3, 100.0),
        (66.7, 130.7, 200.0),
        (100, 196.0, 300.0),
        (333.3, 653.3, 1000.0),
    ):
        for id_, printed in (("nva", nva), ("vva", vva)):
            limit = limits[id_]
            assert limit is not None
            metres = limit.metres({"vertical_class_cm": class_cm})
            assert metres is not None
            assert metres * 100 == pytest.approx(printed, rel=0.0, abs=0.11)


def test_units_of_limits() -> None:
    """Millimetres, feet and fixed limits become metres: 30 mm = 0.03 m, 0.05 ft = 0.01524 m exactly."""
    limits = {m.id: m.limit for m in parse_standard(OWN, "own").requirements}
    assert limits["rmse_up"] is not None
    assert limits["rmse_up"].metres({"grade": "A"}) == 0.03
    assert limits["bias"] is not None
    assert limits["bias"].metres({}) == 0.01524


def test_numbers_and_minimums() -> None:
    """Fewest points and survey ratios by document (their sources stand in the files)."""
    found = {
        standard.id: (
            {(m.part, m.cover): (m.minimum, m.binding) for m in standard.minimums},
            standard.survey and (standard.survey.ratio, standard.survey.binding),
        )
        for standard in list_standards()
    }
    assert found["nssda-1998"] == (
        {("vertical", "all"): (20, True), ("horizontal", "all"): (20, True)},
        (None, False),
    )
    assert found["asprs-2014"] == (
        {
            ("vertical", "non-vegetated"): (20, True),
            ("vertical", "vegetated"): (5, False),
            ("horizontal", "all"): (20, True),
        },
        (3.0, True),
    )
    assert found["asprs-2024"] == (
        {
            ("vertical", "non-vegetated"): (30, True),
            ("vertical", "vegetated"): (30, False),
            ("horizontal", "all"): (30, True),
            ("3d", "non-vegetated"): (30, True),
        },
        (2.0, True),
    )
    assert found["usgs-lbs-2025a"] == (
        {("vertical", "non-vegetated"): (30, True), ("vertical", "vegetated"): (30, False)},
        (2.0, True),
    )


def test_edition_2_never_speaks_of_95_percent() -> None:
    """ASPRS Edition 2 has no 95 % confidence level: not in its wording, nor in what it judges."""
    standard = load_standard("asprs-2024")
    for wording in standard.wordings:
        assert "95" not in wording.text + wording.vegetated_text
    assert {m.estimator for m in (*standard.requirements, *standard.reports)} == {"rmse"}


def test_a_clients_own_file(tmp_path: Path) -> None:
    """A specification beside the job loads by its path, relative to the folder of the job."""
    (tmp_path / "own.toml").write_text("\ufeff" + OWN, encoding="utf-8")
    standard = load_standard("own.toml", tmp_path)
    assert standard.id == "larkfield-2026"
    assert standard == load_standard(str(tmp_path / "own.toml"), tmp_path)
    assert standard.client_file == "own.toml"
    assert standard.sha256 == hashlib.sha256((tmp_path / "own.toml").read_bytes()).hexdigest()
    assert standard.label == (
        f'client\'s own specification "larkfield-2026", file own.toml, SHA-256 {standard.sha256}'
    )
    assert load_standard("asprs-2024").label == "asprs-2024"
    assert check_claim("own.toml", {"grade": "A"}, "claim[0]", tmp_path) == []


@pytest.mark.parametrize(
    ("old", "new", "where", "said"),
    [
        ('cover = "all"', 'covers = "all"', "requirement[0].covers", "did you mean cover?"),
        ('date = "2026"', 'date = "2026"\nauthor = "me"', "author", "is not a known key"),
        ('cite = "paragraph 4"\n', "", "requirement[0].cite", "is missing"),
        ('cite = "paragraph 6"\n', "", "checkpoints[0].cite", "is missing"),
        ('cite = "paragraph 7"\n', "", "survey.cite", "is missing"),
        ('cite = "paragraph 8"\n', "", "rule[0].cite", "is missing"),
        ('cite = "paragraph 9"\n', "", "statement[0].cite", "is missing"),
        ('verification = "client"\n\n[[rule]]', "[[rule]]", "survey.verification", "is missing"),
        (
            '4"\nverification = "client"',
            '4"\nverification = "sure"',
            "requirement[0].verification",
            "'sure'",
        ),
        (
            'estimator = "rmse"',
            'estimator = "rmsee"',
            "requirement[0].estimator",
            "did you mean rmse?",
        ),
        ('estimator = "rmse"', 'estimator = "mean"', "requirement[0].estimator", "use abs_mean"),
        ('unit = "mm"', 'unit = "inch"', "requirement[0].limit.unit", "'inch'"),
        ('component = "up"', 'component = "z"', "requirement[0].component", "'z'"),
        (
            'component = "up"\ncover = "all"\nestimator = "rmse"',
            'component = "3d"\ncover = "all"\nestimator = "accuracy_95"',
            "requirement[0].estimator",
            "not defined for 3d",
        ),
        (
            'estimator = "abs_mean"\nsurvey_error = "excluded"',
            'estimator = "abs_mean"\nsurvey_error = "included"',
            "requirement[1].survey_error",
            "only an rmse",
        ),
        ('key = "grade"', 'key = "grad"', "requirement[0].limit.key", "did you mean grade?"),
        ("A = 30, ", "", "requirement[0].limit.table", "one row for each choice"),
        ("A = 30", "A = -30", "requirement[0].limit.table.A", "above 0"),
        ("value = 0.05", "value = nan", "requirement[1].limit.value", "finite"),
        ("value = 0.05", 'value = "5"', "requirement[1].limit.value", "a number"),
        (
            '"foot" }\noperator = "<="',
            '"foot" }\noperator = "=="',
            "requirement[1].operator",
            "'=='",
        ),
        ('id = "bias"', 'id = "rmse_up"', "id of a requirement or report", "used twice"),
        ("minimum = 3", "minimum = 3.5", "checkpoints[0].minimum", "whole number"),
        ("minimum = 3", "minimum = true", "checkpoints[0].minimum", "whole number"),
        ("ratio = 2\nbinding = false", "binding = true", "survey.binding", "without a ratio"),
        ('kind = "mean-error"', 'kind = "mean-errors"', "rule[0].kind", "did you mean mean-error?"),
        ("{rmse_up}", "{rmse_upp}", "statement[0].text", "did you mean rmse_up?"),
        ("{rmse_up}", "{rmse_up", "statement[0].text", "brace"),
        ("{rmse_up}", "{rmse_up:.3f}", "statement[0].text", "bare name"),
        ("{rmse_up}", "{rmse_up.real}", "statement[0].text", "is not defined"),
        ('choices = ["A", "B"]', "", "claim_key[0].choices", "missing or empty"),
        ('title = "Larkfield Quarries survey specification"', "title = 5", "title", "a text"),
        ('title = "Larkfield Quarries survey specification"', 'title = ""', "title", "is empty"),
        ("[survey]", "[[survey]]", "survey", "a table"),
        ("[[rule]]", "[rule]", "rule", "an array of tables"),
        (
            'estimator = "rmse"\nsurvey_error = "excluded"',
            'estimator = "rmse"\nsurvey_error = "included"',
            "survey_error",
            "[survey_error] with cite",
        ),
    ],
)
def test_mistakes_are_told_by_key(old: str, new: str, where: str, said: str) -> None:
    """Each mistake in a file is an error naming the file, the path of the key and what may stand there."""
    assert old in OWN
    with pytest.raises(StandardsError) as caught:
        parse_standard(OWN.replace(old, new, 1), "own.toml")
    assert "own.toml" in str(caught.value)
    told = {problem.where: str(problem) for problem in caught.value.problems}
    assert where in told, told
    assert said in told[where]


def test_all_mistakes_at_once() -> None:
    """Two mistakes are told together."""
    text = OWN.replace('unit = "mm"', 'unit = "inch"').replace("minimum = 3", "minimum = -3")
    with pytest.raises(StandardsError) as caught:
        parse_standard(text, "own.toml")
    assert len(caught.value.problems) == 2


def test_not_toml_and_not_text(tmp_path: Path) -> None:
    """Broken TOML is told with its line; other files and missing ones are told too."""
    with pytest.raises(StandardsError, match="line 2"):
        parse_standard("id = 'x'\ntitle = = 5\n", "own.toml")
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00\x80")
    with pytest.raises(StandardsError, match="UTF-8"):
        load_standard("binary.toml", tmp_path)
    with pytest.raises(StandardsError, match=r"none\.toml"):
        load_standard("none.toml", tmp_path)
    with pytest.raises(StandardsError, match=r"UTF-8|cannot be read"):
        load_standard("nul\0.toml", tmp_path)
    (tmp_path / "folder.toml").mkdir()
    with pytest.raises(StandardsError, match="cannot be read"):
        load_standard("folder.toml", tmp_path)


@pytest.mark.parametrize(
    ("standard", "keys", "where", "said"),
    [
        (
            "asprs-2024",
            {"vertical_clas_cm": 5.0},
            "claim[2].vertical_clas_cm",
            "did you mean vertical_class_cm",
        ),
        ("asprs-2024", {}, "claim[2]", "at least one of vertical_class_cm"),
        ("asprs-2024", {"vertical_class_cm": 0.0}, "claim[2].vertical_class_cm", "above 0"),
        ("asprs-2024", {"vertical_class_cm": -5}, "claim[2].vertical_class_cm", "above 0"),
        ("asprs-2024", {"vertical_class_cm": float("inf")}, "claim[2].vertical_class_cm", "finite"),
        ("asprs-2024", {"vertical_class_cm": float("nan")}, "claim[2].vertical_class_cm", "finite"),
        ("asprs-2024", {"vertical_class_cm": True}, "claim[2].vertical_class_cm", "finite"),
        ("asprs-2024", {"vertical_class_cm": "5"}, "claim[2].vertical_class_cm", "finite"),
        ("asprs-2024", {"vertical_class_cm": [5]}, "claim[2].vertical_class_cm", "finite"),
        ("asprs-2024", {"horizontal_class_cm": 1e300}, "claim[2].horizontal_class_cm", "to 1e+06"),
        (
            "asprs-2024",
            {"horizontal_class_cm": 1000001},
            "claim[2].horizontal_class_cm",
            "to 1e+06",
        ),
        ("asprs-2024", {"horizontal_class_cm": 10**400}, "claim[2].horizontal_class_cm", "finite"),
        (
            "asprs-2024",
            {"horizontal_class_cm": 1e-300},
            "claim[2].horizontal_class_cm",
            "from 0.0001",
        ),
        ("nssda-1998", {"vertical_95_m": 10001.0}, "claim[2].vertical_95_m", "to 10000"),
        ("asprs-2014", {"three_d_class_cm": 5}, "claim[2].three_d_class_cm", "; known: "),
        ("usgs-lbs-2025a", {}, "claim[2]", "quality_level is missing"),
        (
            "usgs-lbs-2025a",
            {"quality_level": "QL4"},
            "claim[2].quality_level",
            "QL0, QL1, QL2, QL3",
        ),
        ("usgs-lbs-2025a", {"quality_level": 1}, "claim[2].quality_level", "QL0, QL1, QL2, QL3"),
        (
            "nssda-1998",
            {"vertical_95_cm": 5},
            "claim[2].vertical_95_cm",
            "did you mean vertical_95_m",
        ),
        ("asprs-2042", {"vertical_class_cm": 5}, "claim[2].standard", "did you mean asprs-20"),
        ("own.toml", {"vertical_class_cm": 5}, "claim[2].standard", "cannot be read"),
    ],
)
def test_claims_that_cannot_be_judged(
    tmp_path: Path, standard: str, keys: dict[str, object], where: str, said: str
) -> None:
    """Every mistake in a claim is a problem at its key, with the nearest key or what may stand there."""
    (problem,) = check_claim(standard, keys, "claim[2]", tmp_path)
    assert problem.where == where
    assert said in str(problem)


@pytest.mark.parametrize(
    ("standard", "keys"),
    [
        ("asprs-2014", {"vertical_class_cm": 5}),
        (
            "asprs-2024",
            {"vertical_class_cm": 5.0, "horizontal_class_cm": 10, "three_d_class_cm": 12},
        ),
        ("usgs-lbs-2025a", {"quality_level": "QL2"}),
        ("nssda-1998", {}),
        ("nssda-1998", {"horizontal_95_m": 0.25}),
        ("nssda-1998", {"horizontal_95_m": 1e4, "vertical_95_m": 1e-6}),
        ("asprs-2024", {"vertical_class_cm": 1e6}),
    ],
)
def test_claims_that_can_be_judged(standard: str, keys: dict[str, object]) -> None:
    """Right claims have no problems; the NSSDA needs no limit because it sets none."""
    assert check_claim(standard, keys, "claim[0]") == []


def test_mistakes_in_a_clients_file_are_problems_of_the_claim(tmp_path: Path) -> None:
    """The job's reader gets the file's mistakes as problems, with file and key."""
    (tmp_path / "own.toml").write_text(
        OWN.replace('unit = "mm"', 'unit = "inch"'), encoding="utf-8"
    )
    (problem,) = check_claim("own.toml", {"grade": "A"}, "claim[0]", tmp_path)
    assert "own.toml" in problem.where
    assert "requirement[0].limit.unit" in problem.where


def test_every_number_in_the_packaged_files_has_a_source() -> None:
    """Each requirement, minimum, ratio, rule, wording and example carries both cite and verification."""
    for standard in list_standards():
        sources = [(m.cite, m.verification) for m in (*standard.requirements, *standard.reports)]
        sources += [(m.cite, m.verification) for m in standard.minimums]
        sources += [(m.cite, m.verification) for m in standard.survey_methods]
        sources += [(r.cite, r.verification) for r in standard.rules]
        sources += [(w.cite, w.verification) for w in standard.wordings]
        sources += [(e.cite, e.verification) for e in standard.worked_examples]
        sources += [(s.cite, s.verification) for s in (standard.survey_error,) if s]
        for cite, verification in sources:
            assert cite
            assert re.fullmatch("read|second-hand|from-memory|derived", verification)


def packaged_text(name: str) -> str:
    return resources.files("accuracy.standards").joinpath(name).read_text("utf-8")


def refused(folder: Path, text: str) -> dict[str, str]:
    """Load a client's file that must be refused; give its problems by key."""
    (folder / "own.toml").write_text(text, encoding="utf-8")
    with pytest.raises(StandardsError, match="client's own specification") as caught:
        load_standard("own.toml", folder)
    assert caught.value.remedy
    return {problem.where: str(problem) for problem in caught.value.problems}


@pytest.mark.parametrize("name", ["asprs-2014", "asprs-2024", "nssda-1998", "usgs-lbs-2025a"])
def test_a_copy_of_a_packaged_standard_is_refused(tmp_path: Path, name: str) -> None:
    """A packaged file with other numbers beside the job has their id, title and marks: all refused."""
    text = re.sub(r"minimum = \d+", "minimum = 1", packaged_text(f"{name}.toml"))
    told = refused(tmp_path, text)
    assert {"id", "title", "requirement[0].verification", "checkpoints[0].verification"} <= set(
        told
    )
    assert "survey.verification" in told
    assert 'write "client"' in told["requirement[0].verification"]
    (problem,) = [p for p in check_claim("own.toml", {}, "claim[0]", tmp_path) if ": id" in p.where]
    assert "packaged standard" in problem.found


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ('id = "larkfield-2026"', 'id = "ASPRS_2024"', "id"),
        ('id = "larkfield-2026"', 'id = "lark\\u001bfield"', "id"),
        (
            'title = "Larkfield Quarries survey specification"',
            'title = "ASPRS  positional accuracy standards for digital geospatial data, Edition 3"',
            "title",
        ),
        (
            'document = "LQ-17"',
            'document = "USGS 3D Elevation Program Lidar Base Specification"',
            "document",
        ),
        (
            "Larkfield grade",
            "This data set was tested to meet ASPRS Positional Accuracy Standards for Digital Geospatial Data "
            "for grade",
            "statement[0].text",
        ),
        ('4"\nverification = "client"', '4"\nverification = "read"', "requirement[0].verification"),
        ('6"\nverification = "client"', '6"\nverification = "read"', "checkpoints[0].verification"),
        ('7"\nverification = "client"', '7"\nverification = "derived"', "survey.verification"),
        ('8"\nverification = "client"', '8"\nverification = "second-hand"', "rule[0].verification"),
        ('9"\nverification = "client"', '9"\nverification = "read"', "statement[0].verification"),
    ],
)
def test_a_clients_file_cannot_pass_for_a_published_standard(
    tmp_path: Path, old: str, new: str, where: str
) -> None:
    """Neither by its id, title or words, in whatever case and spacing, nor by its marks."""
    assert old in OWN
    assert set(refused(tmp_path, OWN.replace(old, new, 1))) == {where}


def test_what_was_read_where_in_edition_2() -> None:
    """Marks of what decides, as in the notes: formula and 3D from memory, number 30 read for NVA only."""
    standard = load_standard("asprs-2024")
    assert standard.survey_error is not None
    assert standard.survey_error.verification == "from-memory"
    marks = {(m.part, m.cover): (m.verification, m.cite) for m in standard.minimums}
    assert marks["vertical", "non-vegetated"][0] == "read"
    assert "USGS Lidar Base Specification 2025 rev. A" in marks["vertical", "non-vegetated"][1]
    assert marks["horizontal", "all"][0] == "second-hand"
    tested = standard.wording("tested", "vertical")
    assert tested is not None
    assert tested.verification == "second-hand"
    assert "2023" in tested.cite


def test_survey_methods_of_addendum_2() -> None:
    """Addendum II (second-hand), millimetres: horizontal, vertical, and the 3D column, which closes."""
    table = {
        "digital-level-loop": (None, 5, None),
        "real-time-network-gnss": (10, 16, 19),
        "real-time-ppp": (15, 24, 28),
        "rtk-single-base": (20, 32, 38),
    }
    methods = load_standard("asprs-2024").survey_methods
    assert [method.id for method in methods] == list(table)
    for method in methods:
        horizontal_mm, vertical_mm, three_d_mm = table[method.id]
        assert method.rmse_h_m == (None if horizontal_mm is None else horizontal_mm / 1000)
        assert method.rmse_v_m == vertical_mm / 1000
        if method.rmse_h_m is not None:
            assert round(1000 * math.hypot(method.rmse_h_m, method.rmse_v_m)) == three_d_mm


@pytest.mark.shared_data
def test_survey_methods_are_those_of_the_notes(shared_standards: Path) -> None:
    """The same table, read from the notes on Edition 2."""
    text = (shared_standards / "asprs-2023.md").read_text("utf-8")
    rows = {
        cells[0]: cells[1:3]
        for cells in ([c.strip() for c in line.split("|")[1:-1]] for line in text.splitlines())
        if len(cells) == 4
    }
    for method in load_standard("asprs-2024").survey_methods:
        wanted = [None if text == "-" else int(text) / 1000 for text in rows[method.name]]
        assert [method.rmse_h_m, method.rmse_v_m] == wanted
