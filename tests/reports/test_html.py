from __future__ import annotations

import base64
import hashlib
import itertools
import json
import math
import re
import unicodedata
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from drawn_result import make_result, make_rows, with_relief
from hostile import HOSTILE
from hypothesis import given
from hypothesis import strategies as st
from page_reader import Element, read_page

from accuracy.georeferencing.carrying import Step
from accuracy.reports import html_content, html_plan, html_plots, meaning, render_kinds
from accuracy.reports.as_html import render
from accuracy.reports.pictures import relief_of
from accuracy.result import Result, Transformation, read_result
from accuracy.units import LengthUnit, from_metres

METRE = LengthUnit.METRE


@pytest.fixture(scope="module")
def demo(demo_result: Result) -> Result:
    return demo_result


@pytest.fixture(scope="module")
def page(demo_views: Any) -> Element:
    return read_page(demo_views.page)


@pytest.fixture
def no_plots(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave the plots out, which take most of the time and have their own tests."""
    monkeypatch.setattr("accuracy.reports.plots.PLOTS", {})


# --- one file, nothing from elsewhere -------------------------------------------------------------------


def test_nothing_is_fetched_from_anywhere(demo: Result, page: Element) -> None:
    """No attribute and no style names another file or host; every link leads to a place on the page."""
    ids = {element.attrs["id"] for element in page.all() if "id" in element.attrs}
    for element in page.all():
        for name, value in element.attrs.items():
            if name in ("href", "xlink:href", "src", "action", "data", "srcset", "poster"):
                inside = value.startswith("#") and value[1:] in ids
                inside |= value == "data:,"
                inside |= element.tag == "image" and value.startswith("data:image/png;base64,")
                assert inside, f"{element.tag} {name}={value}"
            for reference in re.findall(r"url\(([^)]*)\)", value):
                assert reference.startswith("#"), f"{element.tag} {name}: {reference}"
                assert reference[1:] in ids, reference
    style = page.one("head").one("style").text
    assert "url(" not in style
    assert "@import" not in style
    assert {e.tag for e in page.all()}.isdisjoint({"img", "iframe", "object", "embed", "base"})


def test_only_the_pages_own_script_may_run(page: Element) -> None:
    """The content security policy names the hash of the one script; no element carries a handler."""
    policy = page.one("meta", **{"http-equiv": "Content-Security-Policy"}).attrs["content"]
    scripts = list(page.all("script"))
    assert [s.attrs.get("type") for s in scripts] == ["application/json", None]
    source = "".join(part for part in scripts[1].content if isinstance(part, str))
    digest = base64.b64encode(hashlib.sha256(source.encode("utf-8")).digest()).decode()
    assert policy.startswith("default-src 'none'")
    assert f"script-src 'sha256-{digest}'" in policy
    assert not [name for e in page.all() for name in e.attrs if name.startswith("on")]


@pytest.mark.usefixtures("few_plots")
def test_the_same_record_gives_the_same_bytes(tmp_path: Path) -> None:
    """Rendered twice, and from ``result.json`` with its picture: byte for byte the same page."""
    result = with_relief(make_result(make_rows(12)))
    first = render(result)
    assert render(result) == first
    path = tmp_path / "result.json"
    for name, content in render_kinds(result, ["json"]).items():
        (tmp_path / name).write_bytes(content)
    assert render(read_result(path)) == first


@pytest.mark.usefixtures("no_plots")
def test_the_run_s_own_times_paths_and_notes_are_not_on_it(demo: Result) -> None:
    """Two runs on the same inputs give the same page, whatever was reused and whoever read."""
    run = replace(
        demo.run,
        started="2031-01-01",
        finished="2031-01-02",
        paths={"a": "/b"},
        workers=7,
        notes=("index used",),
    )
    assert render(replace(demo, run=run)) == render(demo)


def test_a_usual_job_stays_small(usual_page: bytes) -> None:
    """120 checkpoints in height and plan, every plot, ground under the plan: under 2 MB."""
    assert len(usual_page) < 2_000_000


@pytest.mark.usefixtures("no_plots")
def test_ten_thousand_checkpoints_are_all_there(many_result: Result) -> None:
    """Nothing is dropped: a row and a mark for each, and their data."""
    page = render(many_result).decode("utf-8")
    assert page.count('<tr id="d0-p') == 10_003
    assert page.count('<a class="mark"') == 10_003
    data = json.loads(re.findall(r'id="data">(.*?)</script>', page)[0])
    assert len(data["d0"]["points"]) == 10_003


# --- what stands on it ----------------------------------------------------------------------------------


def test_the_verdict_stands_first_and_the_sections_follow(page: Element) -> None:
    """Verdict, claims, meaning, datasets, what is apart, the rest; in that order."""
    order = [section.attrs["id"] for section in page.one("main").all("section")]
    assert order == [
        *("verdict", "claims", "documents", "meaning", "d0", "d1", "d2", "d3", "apart", "chain"),
        *("findings", "left-out", "inputs", "cautions", "signature"),
    ]
    assert page.one(id="verdict-h").text == "Verdict FAILS"
    assert page.one("head").one("title").text == "FAILS: Accuracy of the May survey"


def test_every_statement_is_printed_whole(demo: Result, page: Element) -> None:
    """Each line of each claim's statement stands in its own article, none added, none lost."""
    claims = [claim for dataset in demo.datasets for claim in dataset.claims]
    articles = list(page.one(id="verdict").all("article"))
    for claim, article in zip(claims, articles, strict=True):
        lines = [" ".join(line.removeprefix("- ").split()) for line in claim.statement.split("\n")]
        printed = {e.text for e in article.all() if e.tag in ("p", "li")}
        assert set(lines) - {"Sources of what decides:"} <= printed
        assert claim.verdict in article.attrs["class"]


def test_value_and_limit_are_shown_and_drawn_alike(demo: Result, page: Element) -> None:
    """In the drawing the value is to the limit as the numbers are, cut or not; the text says the same."""
    checks = [c for d in demo.datasets for claim in d.claims for c in claim.checks]
    rows = list(page.one(id="claims").one("tbody").all("tr"))
    rows = [row for row in rows if "why" not in row.attrs.get("class", "")]
    assert len(rows) == len(checks)
    drawn = 0
    for check, row in zip(checks, rows, strict=True):
        for bar in row.all("svg", class_="bar"):
            drawn += 1
            assert check.value is not None
            assert check.limit is not None
            width = sum(float(rect.attrs["width"]) for rect in bar.all("rect"))
            limit = float(re.findall(r"M(\d+) ", bar.one("path", class_="limit").attrs["d"])[0])
            assert abs(width / limit - check.value / check.limit) < 0.001
            assert ("within" in bar.attrs["aria-label"]) == check.passes
    assert drawn == 3


@pytest.mark.parametrize(
    ("value", "inside", "beyond", "cut"),
    [
        (0.0, "0.0", "", False),
        (0.025, "70.0", "", False),
        (0.05, "140.0", "", False),
        (0.075, "140.0", "70.0", False),
        (5.0, "140.0", "96.0", True),
    ],
)
def test_bars_go_to_the_limit_beyond_it_or_are_cut(
    value: float, inside: str, beyond: str, cut: bool
) -> None:
    """Closed form: the limit of 0.05 m stands at 140 units, the sheet ends at 236."""
    base = make_result().datasets[0].claims[0]
    check = replace(base.checks[0], value=value, limit=0.05, operator="<=", passes=value <= 0.05)
    dataset = make_result().datasets[0]
    bar = html_content.claim_view(dataset, replace(base, checks=(check,)), METRE).checks[0].bar
    assert bar is not None
    assert (bar.inside, bar.beyond, bar.cut) == (inside, beyond, cut)


def test_a_value_a_hair_beyond_the_limit_is_shown_beyond() -> None:
    """0.0500000001 against 0.05 fails, and the digits on the page say so."""
    base = make_result().datasets[0].claims[0]
    check = replace(base.checks[0], value=0.0500000001, limit=0.05, operator="<=", passes=False)
    view = html_content.claim_view(make_result().datasets[0], replace(base, checks=(check,)), METRE)
    shown = view.checks[0]
    assert float(shown.value) > float(shown.limit)
    assert shown.sense == ">"


def test_every_checkpoint_has_a_row_and_a_mark_that_lead_to_each_other(
    demo: Result, page: Element
) -> None:
    """The rows hold the residuals of the record in millimetres; marks and rows link both ways."""
    by_id = {element.attrs["id"]: element for element in page.all() if "id" in element.attrs}
    for i, dataset in enumerate(demo.datasets):
        section = by_id[f"d{i}"]
        judged = [row for row in dataset.residuals if row.role == "checkpoint"]
        rows = list(section.one("table", class_="points").one("tbody").all("tr"))
        assert [row.one("th").text for row in rows] == [row.id for row in judged]
        axes = html_content.axes_of(dataset.residuals)
        for point, row in zip(judged, rows, strict=True):
            cells = [cell.text.replace("−", "-") for cell in row.all("td")][2 : 2 + len(axes)]
            for axis, cell in zip(axes, cells, strict=True):
                value = getattr(point.residual, axis) if point.residual else None
                assert cell == "–" if value is None else abs(float(cell) - value) <= 0.0005 + 1e-9
            mark = by_id[row.one("a").attrs["href"][1:]]
            assert mark.attrs["href"] == f"#{row.attrs['id']}"
            assert mark.one("title").text.startswith(f"{point.id}: ")
        assert len(list(section.all("a", class_="mark"))) == len(dataset.residuals)


def test_what_does_not_count_stands_apart(demo: Result, page: Element) -> None:
    """Control and excluded points are in no table of checkpoints; apart they are, with their figures."""
    outside = {*demo.control, *(out.id for out in demo.excluded)}
    tables = [page.one(id=f"d{i}").one("table", class_="points") for i in range(4)]
    assert all(outside.isdisjoint(th.text for th in table.all("th")) for table in tables)
    apart = page.one(id="apart")
    first = next(apart.all("table", class_="points"))
    assert {row.one("th").text for row in first.one("tbody").all("tr")} == outside
    assert "Nothing in this section counts." in apart.text
    captions = [caption.text for caption in apart.all("caption")]
    assert "At control points alone (not a test); metres" in captions
    assert "With the excluded points put back: CP31; metres" in captions
    assert "With them, the claim by asprs-2024 would read: FAILS." in apart.text


def test_sensitivity_is_told_in_words(demo: Result, page: Element) -> None:
    """The lowest and highest value without a point are those of the record's series."""
    series = demo.series["ground cloud"]["sensitivity"]["0"]
    text = page.one(id="d0").text
    assert f"{series['lowest']['value']:.4f} m without {series['lowest']['id']}" in text
    assert f"{series['highest']['value']:.4f} m without {series['highest']['id']}" in text


@pytest.mark.usefixtures("no_plots")
def test_a_verdict_that_hangs_on_one_point_says_so() -> None:
    """Where leaving out one point changes the verdict, the page names the point."""
    rows = list(make_rows(60))
    assert rows[4].residual is not None
    rows[4] = replace(rows[4], residual=replace(rows[4].residual, up_m=0.6))
    result = make_result(tuple(rows))
    assert result.verdict == "fails"
    text = read_page(render(result)).one(id="d0").text
    assert re.search(r"The verdict hangs on single points: without Q5: \w+", text)


@pytest.mark.usefixtures("no_plots")
def test_a_record_without_series_is_still_shown(demo: Result) -> None:
    """A record of an older run has no curves: the page has everything else."""
    page = read_page(render(replace(demo, series={}, side_by_side=())))
    assert len(list(page.all("section"))) == 14
    assert "Without each single point" not in page.text


@pytest.mark.usefixtures("no_plots")
def test_files_hashes_versions_cautions_and_signature_are_there(demo: Result) -> None:
    """What a reader needs to tie the page to the bytes, and the paper to a person."""
    job = {**demo.job, "report": {"number": "R-7", "revision": "B", "signer": "I. Quellon"}}
    job["report"]["licence"] = "LS 4711"
    page = read_page(render(replace(demo, job=job)))
    inputs = page.one(id="inputs").text
    for item in demo.inputs:
        assert item.sha256 in inputs
        assert item.path in inputs
    for name, version in demo.run.libraries.items():
        assert f"{name}{version}" in inputs.replace(" ", "")
    for path in demo.run.paths.values():
        assert path not in page.text
    for caution in demo.cautions:
        assert caution in page.one(id="cautions").text
    signature = page.one(id="signature").text
    for word in ("R-7", "revision B", "I. Quellon", "LS 4711"):
        assert word in signature
    assert page.one("header").text.startswith("Report R-7, revision B")


@pytest.mark.usefixtures("no_plots")
def test_the_chain_of_transformations_is_told_step_by_step(demo: Result) -> None:
    """Each step with its code, grid, hash and stated accuracy; unknown is said to be unknown."""
    steps = (
        Step("to geographic coordinates"),
        Step("frame", operation="ITRF2014 to NAD83(2011)", code="EPSG:8970", accuracy_m=None),
        Step("h to H", grid="invented.tif", sha256="ab" * 32, accuracy_m=0.02),
    )
    way = Transformation("ground cloud", "A", "B", "transformed", "transformed", steps, (), None)
    way = replace(way, not_applied=("motion of the plate",))
    page = read_page(render(replace(demo, transformations=(way,))))
    chain = page.one(id="chain")
    told = [item.text for item in chain.all("li")]
    assert len(told) == 3
    assert told[1].startswith("frame: ITRF2014 to NAD83(2011) EPSG:8970; stated accuracy unknown")
    assert "stated accuracy 0.020 m" in told[2]
    assert f"grid invented.tif, SHA-256 {'ab' * 32}" in told[2]
    assert "Not applied: motion of the plate" in chain.text


def test_findings_come_with_their_remedies(demo: Result, page: Element) -> None:
    """Every finding is on the page, the heavier first, each with what to do."""
    section = page.one(id="findings")
    items = [item.text for item in section.all("li")]
    assert len(items) == len(demo.findings)
    for finding in demo.findings:
        line = next(item for item in items if " ".join(finding.message.split()) in item)
        assert finding.code in line
        assert not finding.remedy or f"To do: {finding.remedy}" in line
    heads = [e.text for e in section.all() if e.tag in ("h3", "summary")]
    notes = [finding for finding in demo.findings if finding.severity.value == "note"]
    assert heads == ["Warnings", f"{len(notes)} notes"]


# --- plain words ----------------------------------------------------------------------------------------


def _by_standard(standard: str, estimator: str) -> str:
    result = make_result()
    dataset = result.datasets[0]
    claim = dataset.claims[0]
    check = replace(claim.checks[0], estimator=estimator, value=0.04, limit=None, operator=None)
    claim = replace(claim, standard=standard, checks=(check,), verdict="reported")
    result = replace(result, datasets=(replace(dataset, claims=(claim,)),))
    return read_page(render(result)).text


@pytest.mark.usefixtures("no_plots")
@pytest.mark.parametrize("estimator", ["rmse", "accuracy_95", "p95_abs"])
@pytest.mark.parametrize(
    ("standard", "has_95"),
    [
        ("nssda-1998", True),
        ("asprs-2014", True),
        ("asprs-2024", False),
        ("usgs-lbs-2025a", False),
        ("client.toml", False),
    ],
)
def test_95_of_100_is_said_only_where_the_document_has_it(
    standard: str, has_95: bool, estimator: str
) -> None:
    """NSSDA and ASPRS 2014 define a 95 % value; the others do not, whatever figure is printed."""
    text = _by_standard(standard, estimator)
    assert ("of 100 " in text) == (has_95 and estimator != "rmse")


def test_no_95_is_said_of_a_claim_without_statement(demo: Result) -> None:
    """What no statement is possible about gets none through the back door."""
    result = replace(
        demo,
        datasets=tuple(
            replace(d, claims=tuple(replace(c, verdict="no-statement") for c in d.claims))
            for d in demo.datasets
        ),
    )
    told = meaning.means(result, METRE)
    assert not any("of 100" in text for text in told)
    assert sum("may be quoted" in text for text in told) == 4


def test_what_was_not_tested_is_named(page: Element) -> None:
    """Clouds and rasters say nothing in plan, targets nothing in height; the page says so by name."""
    text = page.one(id="meaning").text
    assert "ground cloud, elevation raster: nothing was tested in plan" in text
    assert "orthophoto targets, evening targets: nothing was tested in height" in text


# --- units ----------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("no_plots")
@pytest.mark.parametrize("unit", list(LengthUnit))
def test_lengths_are_in_the_jobs_unit_and_feet_are_always_named(unit: LengthUnit) -> None:
    """Residuals are those of the record in the unit asked for; "ft" never stands alone."""
    result = make_result(make_rows(40, horizontal=True), unit=unit.value)
    page = read_page(render(result))
    row = page.one("tr", id="d0-p3")
    residual = result.datasets[0].residuals[3].residual
    assert residual is not None
    cells = [cell.text.replace("−", "-") for cell in row.all("td")][2:5]
    for cell, value in zip(cells, (residual.east_m, residual.north_m, residual.up_m), strict=True):
        assert value is not None
        assert abs(float(cell) - from_metres(value, unit)) <= 0.0005 + 1e-9
    text = render(result).decode("utf-8")
    assert not re.search(
        r"\b(ft|feet|foot)\b(?! \((int\.|US survey)\))",
        text.replace("international feet", "").replace("US survey feet", ""),
    )
    assert unit.print_name in page.one("header").text


# --- for every reader -----------------------------------------------------------------------------------


def test_a_screen_reader_finds_its_way(page: Element) -> None:
    """One of each landmark, one main heading, no level left out, named tables, drawings and sections."""
    for tag in ("header", "nav", "main", "footer", "h1"):
        assert len(list(page.all(tag))) == 1, tag
    levels = [int(e.tag[1]) for e in page.all() if re.fullmatch("h[1-6]", e.tag)]
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))
    assert page.attrs["lang"] == "en"
    for table in page.all("table"):
        assert next(table.all("caption")).text
        assert all(th.attrs.get("scope") for th in table.all("th"))
        width = sum(int(th.attrs.get("colspan", 1)) for th in table.one("thead").all("th"))
        assert width > 1
    for svg in page.all("svg"):
        legend = svg.parent is not None and svg.parent.tag == "li"
        named = svg.attrs.get("aria-label") and svg.attrs.get("role") in ("img", "group")
        assert named or legend or svg.attrs.get("aria-hidden") == "true"
    for region in page.all(role="region"):
        assert region.attrs["aria-label"]
        assert region.attrs["tabindex"] == "0"
    ids = Counter(e.attrs["id"] for e in page.all() if "id" in e.attrs)
    assert [name for name, count in ids.items() if count > 1] == []
    for section in page.one("main").all("section"):
        assert page.one(id=section.attrs["aria-labelledby"]).tag == "h2"


# --- hostile content ------------------------------------------------------------------------------------


def test_hostile_text_stays_text(hostile_page: bytes) -> None:
    """Markup, quotes, template code and closing tags from files change no element of the page."""
    hostile = read_page(hostile_page)
    assert len(list(hostile.all("script"))) == 2
    assert not [name for e in hostile.all() for name in e.attrs if name.startswith("on")]
    assert {e.tag for e in hostile.all()}.isdisjoint({"img", "iframe", "object", "embed"})
    assert "<script>alert(1)</script>" in hostile.one("h1").text
    assert "{{ 7 * 7 }}" in hostile.one("h1").text
    data = json.loads(hostile.one(id="data").text)
    assert data["d0"]["ids"][0] == HOSTILE[0]
    for text in HOSTILE[:6]:
        assert text in next(hostile.all("table", class_="points")).text


def test_no_control_character_reaches_the_page(hostile_page: bytes) -> None:
    """Control characters and those that turn the direction of writing become visible marks."""
    text = hostile_page.decode("utf-8")
    found = {c for c in text if unicodedata.category(c) in ("Cc", "Cf", "Cs", "Co", "Cn")}
    assert found <= {"\n"}
    assert "\ufffdgnp.exe\ufffd" in text


# --- the plan -------------------------------------------------------------------------------------------


@given(st.floats(1e-9, 1e9))
def test_round_lengths_are_round_and_not_above(value: float) -> None:
    """1, 2 or 5 times a power of ten, within a factor 2.5 below the value."""
    rounded = html_plan.nice(value)
    assert rounded <= value * (1 + 1e-6)
    assert rounded * 2.5 > value * (1 - 1e-6)
    digits = f"{rounded:.6e}".partition("e")[0].rstrip("0").rstrip(".")
    assert digits in ("1", "2", "5")


def test_arrows_point_where_the_deliverable_is_off() -> None:
    """East is right, north is up, and lengths on paper are as the residuals; the factor is stated."""
    rows = make_rows(12, vertical=False, horizontal=True)
    plan = html_plan.draw(rows, METRE)
    assert plan is not None
    where = {mark.key: (float(mark.x), float(mark.y)) for mark in plan.marks}
    a, b = rows[0].surveyed, rows[5].surveyed
    assert a.east_m is not None
    assert b.east_m is not None
    per_metre = (where["5"][0] - where["0"][0]) / (b.east_m - a.east_m)
    assert a.north_m is not None
    assert b.north_m is not None
    assert math.isclose(
        where["0"][1] - where["5"][1], (b.north_m - a.north_m) * per_metre, abs_tol=0.2
    )
    for i in range(12):
        mark, residual = plan.marks[i], rows[i].residual
        assert residual is not None
        assert residual.east_m is not None
        assert residual.north_m is not None
        found = re.match(r"M0 0L(-?[\d.]+) (-?[\d.]+)M", mark.arrow)
        assert found is not None
        scale = per_metre * float(plan.factor)
        assert abs(float(found[1]) - residual.east_m * scale) <= 0.06
        assert abs(float(found[2]) + residual.north_m * scale) <= 0.06


def test_triangles_point_up_where_the_deliverable_is_too_high() -> None:
    """The shape tells the sign without colour, and the larger residual has the larger triangle."""
    rows = make_rows(30)
    plan = html_plan.draw(rows, METRE)
    assert plan is not None
    sides = []
    for row, mark in zip(rows[:30], plan.marks, strict=False):
        assert row.residual is not None
        assert row.residual.up_m is not None
        corners = [tuple(map(float, c.split(","))) for c in mark.outline.split()]
        assert (corners[0][1] < 0) == (row.residual.up_m >= 0)
        assert mark.shape == ("high" if row.residual.up_m >= 0 else "low")
        sides.append((abs(row.residual.up_m), corners[1][0] - corners[2][0]))
    ordered = [side for _, side in sorted(sides)]
    assert all(a <= b + 0.11 for a, b in itertools.pairwise(ordered))


def test_names_stay_on_the_sheet_and_off_each_other() -> None:
    """Long names at the border are turned inward or shortened."""
    plan = html_plan.draw(make_rows(80, names={i: f"{i}" + "W" * 60 for i in range(80)}), METRE)
    assert plan is not None
    named = [mark for mark in plan.marks if mark.name]
    assert len(named) >= html_plan.NAMED
    for mark in named:
        width = html_plan.LETTER * len(mark.name) * (1 if mark.name_anchor == "start" else -1)
        assert -1 <= float(mark.x) + float(mark.name_x) + width <= html_plan.WIDTH + 1
        assert len(mark.name) <= html_plan.LETTERS


@pytest.mark.parametrize("n", [1, 2])
def test_few_points_make_a_plan(n: int) -> None:
    """One place, or two: no division by nothing, all marks on the sheet."""
    plan = html_plan.draw(make_rows(n)[:n], METRE)
    assert plan is not None
    for mark in plan.marks:
        assert 0 <= float(mark.x) <= float(plan.width)
        assert 0 <= float(mark.y) <= float(plan.height)


def test_degrees_have_a_plan_without_a_scale_in_metres() -> None:
    """Where the frame is in degrees, places are drawn, and no length on the ground is claimed."""
    plan = html_plan.draw(make_rows(20, degrees=True, horizontal=True), METRE)
    assert plan is not None
    assert len(plan.marks) == 23
    assert plan.scale_bar is None
    assert plan.factor == ""


@pytest.mark.usefixtures("no_plots")
def test_no_known_place_makes_no_plan() -> None:
    """Without coordinates the page says so instead of drawing."""
    rows = tuple(
        replace(row, surveyed=replace(row.surveyed, east_m=None, north_m=None), native={})
        for row in make_rows(5)
    )
    assert html_plan.draw(rows, METRE) is None
    assert "No plan: no point has known coordinates" in read_page(render(make_result(rows))).text


# --- plots on the page ----------------------------------------------------------------------------------


def test_plots_cannot_collide_or_run() -> None:
    """Ids are told apart, references follow, scripts, handlers and links to elsewhere are gone."""
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="9" '
        'onload="x()"><metadata>m</metadata><defs><path id="a"/></defs><script>x()</script>'
        '<use xlink:href="#a" clip-path="url(#c)"/><a xlink:href="http://example.org/"><text>t</text></a></svg>'
    )
    out = html_plots.inline(svg, "p-", "what it shows")
    assert 'id="p-a"' in out
    assert 'xlink:href="#p-a"' in out
    assert 'clip-path="url(#p-c)"' in out
    assert 'aria-label="what it shows"' in out
    for gone in ("script", "onload", "metadata", "example.org", "width"):
        assert gone not in out


def test_pictures_of_many_marks_stay_and_pictures_from_elsewhere_go() -> None:
    """What is drawn as one embedded PNG is kept; any other address of a picture is dropped."""
    start = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink">'
    for address, kept in (
        ("data:image/png;base64,iVBORw0KGgo=", True),
        ("data:image/png;base64,iVBOR\nw0KGgo=", True),
        ("data:image/svg+xml;base64,PHN2Zy8+", False),
        ("data:image/png;base64,a&quot; onload=&quot;x()", False),
        ("https://example.org/a.png", False),
        ("data:text/html,x", False),
    ):
        out = html_plots.inline(f'{start}<image xlink:href="{address}"/></svg>', "p-", "x")
        assert ("href" in out) == kept, address
    linked = html_plots.inline(
        f'{start}<a xlink:href="data:image/png;base64,iVBORw0KGgo="><text>t</text></a></svg>',
        "p-",
        "x",
    )
    assert "href" not in linked


def test_the_marks_of_many_points_are_on_the_page(many_result: Result) -> None:
    """Above 1500 points the marks are a picture, and the picture stands in the page's drawing."""
    from accuracy.reports import plots

    for name in ("against-height", "by-cover", "against-line"):
        svg = plots.plot_svg(many_result, "north slope", name)
        assert svg is not None
        found = re.findall(
            r'href="(data:image/png;base64,[^"]+)"', html_plots.inline(svg, "p-", "x")
        )
        assert found, name
        assert all(base64.b64decode(f.partition(",")[2]).startswith(b"\x89PNG") for f in found)


def test_many_marks_are_drawn_smaller() -> None:
    """400 points have marks of full size; beyond, marks shrink with the room they have, to a quarter."""
    sides = {}
    for n in (397, 1597, 7000):
        plan = html_plan.draw(make_rows(n, horizontal=True), METRE)
        assert plan is not None
        corners = [
            [float(v) for v in corner.split(",")]
            for mark in plan.marks[:97]
            for corner in mark.outline.split()
        ]
        sides[n] = max(x for x, _ in corners) - min(x for x, _ in corners)
        assert plan.crowded == (n > 400)
    assert abs(sides[1597] / sides[397] - 0.5) < 0.02
    assert abs(sides[7000] / sides[397] - 0.25) < 0.02


# --- the ground under the plan --------------------------------------------------------------------------


@pytest.mark.usefixtures("no_plots")
def test_the_relief_lies_under_the_plan_in_its_place() -> None:
    """One picture on the page however many plans show it; its corners are where the marks' scale puts them."""
    result = with_relief(make_result(make_rows(40)))
    page = read_page(render(result))
    picture = page.one("image")
    content = base64.b64decode(picture.attrs["href"].partition(",")[2])
    assert content == result.side_files["relief-1.png"]
    use = page.one("use", class_="ground")
    assert use.attrs["href"] == f"#{picture.attrs['id']}"
    x, y, wide, high = map(float, re.findall(r"-?[\d.]+", use.attrs["transform"]))
    rows = result.datasets[0].residuals
    places = [
        [float(v) for v in re.findall(r"-?[\d.]+", page.one(id=f"d0-m{i}").attrs["transform"])]
        for i in (0, 30)
    ]
    west, south, east, north = 6800.0, 51800.0, 8600.0, 53000.0
    for (at_x, at_y), row in zip(places, (rows[0], rows[30]), strict=True):
        assert row.surveyed.east_m is not None
        assert row.surveyed.north_m is not None
        assert abs(x + wide * (row.surveyed.east_m - west) / (east - west) - at_x) < 0.1
        assert abs(y + high * (north - row.surveyed.north_m) / (north - south) - at_y) < 0.1
    assert "Ground: relief of invented ground, lit from the north-west" in page.one(id="d0").text
    marks = list(page.one(id="d0").one("svg", role="group").all())
    assert marks.index(use) < marks.index(page.one(id="d0-m0")), "the ground lies below the marks"


@pytest.mark.usefixtures("no_plots")
@pytest.mark.parametrize(
    ("content", "says"),
    [
        (None, "relief-1.png, the relief of invented ground, is not beside the record"),
        (b"\x89PNG\r\n\x1a\nother", "its SHA-256 differs"),
        (b"<svg onload='x()'/>", "its SHA-256 differs"),
    ],
)
def test_a_missing_or_changed_picture_is_said(content: bytes | None, says: str) -> None:
    """A picture is shown only where its bytes are those that the record names."""
    result = with_relief(make_result(make_rows(12)))
    files = {} if content is None else {"relief-1.png": content}
    page = read_page(render(replace(result, side_files=files)))
    assert not list(page.all("image"))
    assert says in page.one(id="d0").text


@pytest.mark.parametrize(
    "damage",
    [
        {"box_m": [1.0, 2.0]},
        {"box_m": [0.0, 0.0, math.nan, 1.0]},
        {"box_m": [5.0, 0.0, 1.0, 1.0]},
        {"box_m": None},
        {"exaggeration": "<b>"},
        {"of": None, "box_m": "abcd"},
    ],
)
def test_a_damaged_record_of_the_picture_is_said(damage: dict[str, Any]) -> None:
    """Page and paper are made, without the picture."""
    result = with_relief(make_result(make_rows(6)))
    its = result.series["north slope"]
    relief = {**its["plan"]["relief"], **damage}
    series = {"north slope": {**its, "plan": {**its["plan"], "relief": relief}}}
    found = relief_of(replace(result, series=series), "north slope")
    assert found is not None
    assert found.picture is None
    assert found.told == "No relief under the plan: what the record says of it is damaged."


@pytest.mark.usefixtures("no_plots")
def test_a_plan_without_relief_says_why(demo: Result) -> None:
    """The reason in the record's words."""
    plan = {**demo.series["ground cloud"]["plan"], "relief": {"file": None, "why": "no raster <b>"}}
    series = {**demo.series, "ground cloud": {**demo.series["ground cloud"], "plan": plan}}
    page = read_page(render(replace(demo, series=series)))
    assert "No relief under the plan: no raster <b>." in page.one(id="d0").text


@pytest.mark.usefixtures("no_plots")
def test_a_clients_own_standard_is_named_with_its_hash_once_where_it_matters() -> None:
    """The statement has the hash; tables have the short name."""
    label = f'client\'s own specification "x", file own.toml, SHA-256 {"0f" * 32}'
    result = make_result(make_rows(40))
    claim = replace(
        result.datasets[0].claims[0], standard=label, statement=f"Judged by the {label}."
    )
    dataset = replace(result.datasets[0], claims=(claim,))
    page = read_page(render(replace(result, datasets=(dataset,))))
    short = 'client\'s own specification "x", file own.toml'
    assert short in page.one(id="claims").text
    assert "0f0f" not in page.one(id="claims").text
    assert "0f0f" not in page.one(id="d0").text
    assert label in page.one(id="verdict").text


def test_every_plot_that_applies_is_on_the_page(demo_views: Any, page: Element) -> None:
    """Each plot that the PDF has but the plan, which the page draws itself, dataset by dataset."""
    for i, dataset in enumerate(demo_views.pdf["datasets"]):
        expected = [f"{plot['title']}: " for plot in dataset["plots"]]
        captions = [
            f.one("figcaption").text for f in page.one(id=f"d{i}").one(class_="plots").all("figure")
        ]
        assert len(captions) == len(expected) > 3
        assert all(c.startswith(e) for c, e in zip(captions, expected, strict=True))


def test_the_templates_are_in_the_package() -> None:
    """Page, parts, style and script are read as package data."""
    from importlib import resources

    folder = resources.files("accuracy.reports").joinpath("templates")
    for name in ("page.html", "parts.html", "page.css", "page.js"):
        assert folder.joinpath(name).is_file()
