"""Flight lines in every view: the same numbers in text, page, PDF and statement; no text that could harm."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import jsonschema
import pytest
from drawn_result import make_result, make_rows
from hostile import HOSTILE
from made_lines import made_dataset
from page_reader import read_page

from accuracy import reports
from accuracy.lines_of_job import DatasetLines
from accuracy.reports import as_html, as_pdf, as_statement, as_summary, junit, pdf_content
from accuracy.reports.lines_text import render
from accuracy.reports.lines_view import (
    LinesSubject,
    check_row,
    facts,
    flown_at,
    subjects_of,
    tables,
)
from accuracy.reports.plots_lines import LINES_PLOTS, lines_png, lines_svg
from accuracy.result import Result, overall, parse_result, read_result, result_schema
from accuracy.units import LengthUnit


def with_lines(result: Result, *found: DatasetLines) -> Result:
    """Put flight lines into a result, as the pipeline does."""
    verdicts = [claim.verdict for dataset in result.datasets for claim in dataset.claims]
    verdicts += [verdict for its in found for verdict in its.verdicts]
    return replace(
        result,
        lines={its.name: its.data for its in found},
        side_files={
            **result.side_files,
            **{n: p for its in found for n, p in its.pictures.items()},
        },
        findings=(*result.findings, *(finding for its in found for finding in its.findings)),
        verdict=overall(verdicts),
    )


@pytest.fixture(scope="module")
def faulty() -> Result:
    """Give a result of a flight whose second line is tilted, and which has a void that nothing fills."""
    found = made_dataset(fault=0.0012)
    return with_lines(make_result(make_rows(40)), found)


def subject(**changed: object) -> LinesSubject:
    """One cloud as views see it."""
    found = made_dataset(**changed)  # type: ignore[arg-type]  # passed on as they are
    return LinesSubject(found.name, found.data, found.pictures)


def test_the_record_fits_its_schema_and_is_read_again(demo_result: Result, tmp_path: Path) -> None:
    """Written, validated, read: the same bytes; the pictures that lie beside it come with it."""
    faulty = with_lines(demo_result, made_dataset(fault=0.0012))
    text = faulty.to_json()
    jsonschema.Draft202012Validator(result_schema()).validate(json.loads(text))
    again = parse_result(text, "result.json")
    assert again.to_json() == text
    for name, content in reports.render_kinds(faulty, ["json"]).items():
        (tmp_path / name).write_bytes(content)
    read = read_result(tmp_path / "result.json")
    assert dict(read.side_files) == dict(faulty.side_files)
    (told,) = subjects_of(read)
    assert told.record == replace(subjects_of(faulty)[0].record, grids=None)


def test_a_result_without_lines_has_no_trace_of_them(demo_result: Result) -> None:
    """The key is absent, and page, summary and statement say nothing."""
    assert "lines" not in json.loads(demo_result.to_json())
    bare = make_result(make_rows(12))
    for view in (as_html, as_summary, as_statement):
        assert "light lines of" not in view.render(bare).decode("utf-8")
    assert pdf_content.content(bare, drawings=False)["lines"] == []


def test_text_gives_the_numbers_of_the_record() -> None:
    """The table of pairs: mean, RMSD, noise, largest; sizes from the invented analysis."""
    told = subject(fault=0.0012)
    text = render("Alder Creek", "no-statement", [told], ())
    row = next(line for line in text.splitlines() if line.strip().startswith("2 − 1"))
    assert row.split()[:9] == [
        "2",
        "−",
        "1",
        "opposite",
        "3900",
        "+0.040",
        "0.044",
        "0.008",
        "0.072",
    ]
    assert "+2.40±0.12*" in text
    assert (
        "a roll of -0.0344 degrees" in text
    )  # atan(0.000601) in degrees; what rises to the right is a roll below zero
    assert max(map(len, text.splitlines())) <= 108


def test_a_summary_says_what_decides(faulty: Result) -> None:
    """The head counts claims on lines with the others; the section shows their reason."""
    text = as_summary.render(faulty).decode("utf-8")
    assert "without statement" in text.splitlines()[0]
    assert "Flight lines" in text
    assert "people have to" in text


def test_statement_and_junit_carry_each_claim(faulty: Result) -> None:
    """No statement is an error for a build server, never green."""
    assert "ground cloud, flight lines, USGS" in as_statement.render(faulty).decode("utf-8")
    root = ElementTree.fromstring(junit.of_result(faulty))
    case = next(c for c in root.iter("testcase") if "flight lines" in str(c.get("name")))
    assert case.find("error") is not None


def test_failing_lines_fail_the_whole_result() -> None:
    """A claim that checkpoints keep and lines break fails, and the page counts both."""
    thin = made_dataset(standard="asprs-2024", claimed={"vertical_class_cm": 0.5})
    result = with_lines(make_result(make_rows(40)), thin)
    assert thin.verdicts == ("fails",)
    assert result.verdict == "fails"
    assert result.exit_code == 1
    assert "1 fail" in read_page(as_html.render(result)).text


def test_the_page_shows_everything_once(faulty: Result) -> None:
    """Section, claim, tables and four plots; no request to elsewhere."""
    page = as_html.render(faulty)
    told = read_page(page).text
    for text in (
        "Line against line",
        "Shift, tilt and drift",
        "Precision inside one line",
        "Voids",
        "told apart by",
        "No statement on the flight lines is possible",
    ):
        assert text in told
    assert page.count(b'class="plot map"') == 2
    assert b"http://www.w3.org" not in page.split(b"</style>")[0]


def test_the_pdf_sets_everything(faulty: Result) -> None:
    """Claims, facts, tables and drawings are in what the template sets, and it can be set."""
    (told,) = pdf_content.content(faulty)["lines"]
    assert [table["title"] for table in told["tables"]] == [
        table.title for table in tables(subjects_of(faulty)[0])
    ]
    assert len(told["plots"]) == len(LINES_PLOTS) == 4
    assert as_pdf.render(faulty).startswith(b"%PDF")


def test_maps_say_scale_unit_and_sign() -> None:
    """Words in the drawing: unit, direction of the sign, distance, what is grey."""
    drawing = lines_svg(subject(fault=0.0012), "difference-map")
    assert drawing is not None
    for text in (
        "Height of the later line minus the earlier, in metres",
        "50 m; north is up",
        "Orange: it is higher",
        "shared, not assessed",
        "+0.12",
        "−0.12",
    ):
        assert text in drawing
    feet = LinesSubject(
        "cloud", made_dataset().data, made_dataset().pictures, LengthUnit.US_SURVEY_FOOT
    )
    assert "in US survey feet" in str(lines_svg(feet, "difference-map"))
    assert "per square metre" in str(lines_svg(feet, "density-map"))


def test_trends_show_each_axis_with_its_pairs() -> None:
    """Across, along and with time, with the number of cells; none without profiles."""
    drawing = str(lines_svg(subject(fault=0.0012), "trends"))
    for text in (
        "Metres to the right of the earlier line",
        "Metres forward",
        "Seconds since the later line",
        "2 − 1 (n = 3900 cells)",
        "Difference in metres",
    ):
        assert text in drawing
    bare = tuple(replace(pair, profiles=()) for pair in subject().record.pairs)
    assert lines_svg(subject(pairs=bare), "trends") is None


def test_plots_are_the_same_bytes_every_time() -> None:
    """Nothing in a drawing depends on when it was drawn."""
    for name in LINES_PLOTS:
        assert lines_svg(subject(), name) == lines_svg(subject(), name)
    assert lines_png(subject(), "pairs") == lines_png(subject(), "pairs")


def test_a_picture_of_another_hash_is_not_shown() -> None:
    """Swapped, absent or cut: no map, and no traceback."""
    told = subject()
    (difference, density) = (its["file"] for its in told.data["maps"])
    swapped = dict(told.pictures) | {difference: told.pictures[density]}
    for pictures in (swapped, {}, {difference: b"junk"}):
        bare = LinesSubject("cloud", told.data, pictures)
        assert lines_svg(bare, "difference-map") is None
        assert f"not those that it names: {difference}" in dict(facts(bare))["pictures"]
    assert "pictures" not in dict(facts(told))


def test_one_line_alone_has_no_pairs() -> None:
    """Views without a pair, a void or a class: nothing breaks, and the reason stands there."""
    from accuracy.flightlines.records import Coverage, Differences

    whole = made_dataset()
    alone = made_dataset(
        lines=(subject().record.lines[0],),
        pairs=(),
        differences=Differences(n=0),
        plain=Differences(n=0),
        coverage=Coverage(),
        classes={},
        stray=(),
        order=(),
        gaps=(),
    )
    told = LinesSubject(alone.name, alone.data, alone.pictures)
    text = render("t", "no-statement", [told], ())
    assert "there is one flight line only" in text
    assert "Line against line" not in text
    assert lines_svg(told, "difference-map") is None
    assert lines_svg(told, "pairs") is None
    assert lines_svg(told, "density-map") is not None
    assert [its["name"] for its in whole.data["maps"]] == ["difference", "density"]


def test_text_of_others_is_harmless_everywhere() -> None:
    """Names and reasons full of markup and controls: escaped on the page, visible as text, set in the PDF."""
    from accuracy.flightlines.records import FileOrder, Stray

    everywhere = " | ".join(HOSTILE)
    found = made_dataset(
        name=everywhere,
        stray=(Stray(source_id=3, points=2, reason=everywhere),),
        order=(FileOrder(name=everywhere, points=9, steps_back=1, largest_back_s=1.0),),
    )
    result = with_lines(make_result(make_rows(12)), found)
    page = as_html.render(result)
    tree = read_page(page)
    assert "alert(1)" in tree.text
    assert b"<script>alert(1)" not in page
    text = as_summary.render(result).decode("utf-8")
    assert "\x1b" not in text
    assert "\u202e" not in text
    pdf_content.content(result)
    lines_svg(LinesSubject(everywhere, found.data, found.pictures), "pairs")


def test_a_check_is_shown_with_the_sign_that_holds() -> None:
    """Kept and not kept, for both directions of limits."""
    (claim,) = subject().claims
    rows = {check.id: check_row(check, LengthUnit.METRE) for check in claim.checks}
    assert rows["swath_overlap"] == ("0.009 m", "≤", "0.080 m", "7800 cells")
    assert rows["density"] == ("76.40 per m²", "≥", "8.00 per m²", "3 lines")
    assert rows["overlap_width"] == ("28.000 m", "<", "75.000 m", "2 pairs")
    assert rows["swath_overlap_max"][1:3] == ("", "")


@pytest.mark.parametrize("seconds", [1e300, -1e300, 0.0, 604_799.9, 604_800.0, 4.2e8])
def test_times_never_break(seconds: float) -> None:
    """Whatever is stored as a time is shown somehow."""
    assert flown_at(seconds)
