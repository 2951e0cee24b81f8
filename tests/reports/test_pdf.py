"""The PDF of a result: what stands on its pages, read by another program, and its form."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from drawn_result import make_result, make_rows, with_relief
from hostile import HOSTILE, hostile_result
from pdf_reader import facts, fonts_embedded, metadata, pages, pictures, urls, words

from accuracy.reports.as_pdf import render, typeset
from accuracy.reports.pdf_content import LONGEST_BAR, content, share_of_limit
from accuracy.reports.words import printable
from accuracy.result import Result
from accuracy.standards.judge import Check

ORDER = (
    "Statement",
    "Claims, value against limit",
    "What the figures mean, and what they do not",
    "Dataset: ground cloud",
    "Figures by land cover",
    "Plots",
    "Checkpoint by checkpoint",
    "Apart: control points and excluded points",
    "Findings and what to do about them",
    "Reference systems, and how the checkpoints came to them",
    "Who was left out, and why",
    "Files read",
    "Versions of everything that computed",
    "Cautions",
    "Signature",
)


def without_plots(result: Result) -> dict[str, Any]:
    """Give the content without drawings, which take most of the time."""
    return content(result, drawings=False)


@pytest.fixture(scope="module")
def told(demo_views: Any) -> dict[str, Any]:
    its: dict[str, Any] = demo_views.pdf
    return its


@pytest.fixture(scope="module")
def path(told: dict[str, Any], tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("pdf") / "report.pdf"
    path.write_bytes(typeset(told))
    return path


def written(folder: Path, pdf: bytes) -> Path:
    path = folder / "report.pdf"
    path.write_bytes(pdf)
    return path


def test_sections_follow_in_the_order_of_the_page(path: Path) -> None:
    """Verdict first, signature last."""
    text = words(path)
    places = [text.index(heading) for heading in ORDER]
    assert places == sorted(places)
    assert 0 <= text.index("FAILS") < places[0]


def test_the_first_page_tells_verdict_and_every_claim(path: Path, demo_result: Result) -> None:
    """One minute of reading: what, for whom, the verdict, each claim's own verdict."""
    first = " ".join(pages(path)[0].split())
    assert "Accuracy of the May survey" in first
    assert "Morrowhelm Aggregates" in first
    for dataset in demo_result.datasets:
        for claim in dataset.claims:
            word = claim.verdict.replace("-", " ").capitalize()
            assert f"{word}: {dataset.name}, {claim.standard}" in first


def test_every_statement_figure_and_reason_is_there(path: Path, demo_result: Result) -> None:
    """Statements, messages, hashes, reasons and cautions, word for word but for the ends of lines."""
    text = re.sub(r"\s+", "", words(path))

    def there(wanted: str) -> bool:
        return re.sub(r"\s+", "", wanted) in text

    for dataset in demo_result.datasets:
        for claim in dataset.claims:
            first, *_ = claim.statement.split("\n")
            assert there(first)
    # a message can run over the end of a page, where header and footer stand in between
    missing = [f.message for f in demo_result.findings if not there(f.message)]
    assert len(missing) <= 1
    assert all(there(item.sha256) for item in demo_result.inputs)
    assert all(there(out.reason) for out in demo_result.excluded)
    assert all(there(caution) for caution in demo_result.cautions)
    assert there(f"PROJ {demo_result.run.proj}")


def test_every_point_stands_in_its_table_with_its_residual(path: Path, demo_result: Result) -> None:
    """One line per point and dataset, the number with its sign, 1 mm."""
    lines = [line.split() for page in pages(path) for line in page.splitlines() if line.strip()]
    rows = [line for line in lines if line[0] in {r.id for r in demo_result.datasets[0].residuals}]
    for dataset in demo_result.datasets[:2]:
        for row in dataset.residuals:
            assert row.residual is not None
            assert row.residual.up_m is not None
            shown = f"{round(row.residual.up_m, 3) + 0.0:+.3f}".replace("-", "\u2212")
            assert any(line[0] == row.id and shown in line for line in rows), (row.id, shown)


def test_figures_stand_in_rows_of_their_own(path: Path, told: dict[str, Any]) -> None:
    """Each row of each table of figures is one line: component, cover, points, numbers."""
    lines = [" ".join(line.split()) for page in pages(path) for line in page.splitlines()]
    for dataset in told["datasets"]:
        tables = [dataset["figures"]]
        tables += [part["figures"] for part in (dataset["control"], dataset["restored"]) if part]
        for table in tables:
            assert table["rows"]
            for row in table["rows"]:
                assert " ".join(row) in lines


def test_pages_are_counted_and_table_heads_repeated(tmp_path: Path) -> None:
    """Page x of y on every page; the head of the table of points on every page of it."""
    path = written(tmp_path, typeset(without_plots(make_result(make_rows(300)))))
    found = pages(path)
    for number, page in enumerate(found, 1):
        assert f"page {number} of {len(found)}" in page
    with_points = [page for page in found if re.search(r"^ *Q\d+ ", page, re.M)]
    assert len(with_points) >= 5
    assert all("description and remarks" in page for page in with_points)


def test_form_for_archives(path: Path) -> None:
    """PDF/A-2b by its own declaration (ISO 19005-2), every font inside, nothing that runs or leads away."""
    pdf = path.read_bytes()
    assert pdf.startswith(b"%PDF-1.7")
    assert b"<pdfaid:part>2</pdfaid:part>" in pdf
    assert b"<pdfaid:conformance>B</pdfaid:conformance>" in pdf
    assert re.search(rb"/Type ?/OutputIntent\b.{0,80}/S ?/GTS_PDFA1", pdf, re.S)
    described = metadata(path)
    assert "<pdfaid:part>2</pdfaid:part>" in described
    assert "<pdfaid:conformance>B</pdfaid:conformance>" in described
    assert urls(path) == []
    embedded = fonts_embedded(path)
    assert len(embedded) >= 4
    assert all(embedded)
    for word in (b"/JavaScript", b"/Launch", b"/URI", b"/EmbeddedFile", b"/SubmitForm"):
        assert word not in pdf
    about = facts(path)
    assert about["Title"] == "Accuracy of the May survey"
    assert about["Author"] == "Quandril Mapping, O. Brackenfurth"
    assert about["CreationDate"].startswith("2026-05-14")  # the day of the flight, no clock
    assert about["Tagged"] == "yes"
    assert (about["Encrypted"], about["JavaScript"], about["Form"]) == ("no", "no", "none")


def test_the_same_record_gives_the_same_bytes(told: dict[str, Any], path: Path) -> None:
    """Set twice, the file is the same; when and where the run took place does not show."""
    assert typeset(told) == path.read_bytes()


def test_the_run_s_own_times_and_paths_are_not_in_it(demo_result: Result) -> None:
    """Two runs on the same inputs give the same content."""
    later = replace(
        demo_result,
        run=replace(
            demo_result.run,
            started="2031-01-01",
            finished="2031-01-02",
            paths={"a": "/b"},
            workers=7,
            notes=("index used",),
        ),
    )
    assert without_plots(later) == without_plots(demo_result)


def test_a_job_without_a_date_of_flight(tmp_path: Path) -> None:
    """The document has a fixed date then, for it must have one."""
    path = written(tmp_path, typeset(without_plots(make_result(make_rows(4)))))
    assert facts(path)["CreationDate"].startswith("2000-01-01")
    assert without_plots(make_result(make_rows(4)))["date"] == [2000, 1, 1]


@pytest.mark.parametrize("unit", ["metre", "foot", "us-survey-foot"])
def test_units_are_named_in_full(unit: str, tmp_path: Path) -> None:
    """Numbers in the unit of the job; a foot always says which."""
    result = make_result(make_rows(8), unit=unit)
    text = words(written(tmp_path, typeset(without_plots(result))))
    name = {"metre": "metres", "foot": "international feet", "us-survey-foot": "US survey feet"}[
        unit
    ]
    assert f"Lengths in {name}; difference" in text
    assert not re.search(r"\bft\b(?! \((int\.|US survey)\))", text)
    row = result.datasets[0].residuals[3]
    assert row.residual is not None
    assert row.residual.up_m is not None
    metres = {"metre": 1.0, "foot": 0.3048, "us-survey-foot": 1200 / 3937}[unit]
    assert f"{row.residual.up_m / metres:+.3f}".replace("-", "\u2212") in text


@pytest.mark.parametrize(
    "change",
    [
        {"datasets": (), "verdict": "none"},
        {"verdict": "passes"},
        {"verdict": "reported"},
        {"verdict": "no-statement"},
    ],
    ids=lambda change: str(change["verdict"]),
)
def test_any_verdict_can_be_printed(change: dict[str, Any], tmp_path: Path) -> None:
    """Nothing in the template needs a claim, a dataset or a residual."""
    result = replace(make_result(make_rows(4)), **change)
    text = words(written(tmp_path, typeset(without_plots(result))))
    assert without_plots(result)["word"] in text


def test_a_dataset_without_residuals_or_claims(tmp_path: Path) -> None:
    """Empty parts are said to be empty."""
    result = make_result(make_rows(4))
    bare = replace(result.datasets[0], residuals=(), figures=(), claims=())
    text = words(written(tmp_path, render(replace(result, datasets=(bare,), series={}))))
    assert "Nothing is claimed, so nothing is judged." in text
    assert "No plan: no point has known coordinates" in text
    assert "No residuals." in text


@pytest.mark.usefixtures("few_plots")
def test_the_relief_is_in_the_plan(tmp_path: Path) -> None:
    """The part of the picture that the plan shows, and the words below it; without the file, why not."""
    result = with_relief(make_result(make_rows(12)))
    path = written(tmp_path, render(result))
    ((wide, high),) = pictures(path)
    assert 0 < wide <= 90
    assert 0 < high <= 60
    assert "Ground: relief of invented ground, lit from the north-west" in words(path)
    without = written(tmp_path, render(replace(result, side_files={})))
    assert pictures(without) == []
    assert "is not beside the record" in words(without)


def test_hostile_text_is_set_as_text(tmp_path: Path) -> None:
    """Every text of the collection, in every place, drawings included: shown, harmless, nothing runs."""
    path = written(tmp_path, render(hostile_result()))
    text = re.sub(r"[\s\ufffd\u200b]+", "", words(path))
    for hostile in HOSTILE:
        if not any("\u0590" <= c < "\u0600" for c in hostile):  # written from right to left
            shown = printable(hostile).replace("\ufffd", "")
            assert all(piece[:12] in text for piece in shown.split()), hostile
    pdf = path.read_bytes()
    assert b"/URI" not in pdf
    assert b"/JavaScript" not in pdf


@pytest.mark.parametrize(
    "text",
    [
        '#panic("x")',
        '#import "@preview/a:1.0.0"',
        "$x^2$ *b* _i_ `c` = h // c /* d */ <label> @ref",
        "#{",
        "\\u{41} \\",
        "https://example.invalid/a",
        '"',
    ],
)
def test_markup_of_the_typesetter_is_only_text(text: str, tmp_path: Path) -> None:
    """What would be code in a template is printed letter by letter."""
    result = make_result(make_rows(4))
    result = replace(
        result,
        job={"job": {"title": text}, "report": {"signer": text}},
        cautions=(text,),
    )
    path = written(tmp_path, typeset(without_plots(result)))
    flat = re.sub(r"\s+", "", words(path))
    assert flat.count(re.sub(r"\s+", "", text)) >= 3
    assert facts(path)["Title"] == text
    assert b"/URI" not in path.read_bytes()


@pytest.mark.parametrize(
    "text",
    [
        "東京測量 株式会社",
        "\U0001f600 \U000103a0",
        "שלום עולם",
        "мост Übergröße žluťoučký",
        "\u0e01\u0e33",
    ],
)
def test_any_writing_gives_a_document(text: str) -> None:
    """Characters that no font at hand can show are boxes, never a failure."""
    result = replace(make_result(make_rows(4)), job={"job": {"title": text, "prepared_by": text}})
    assert typeset(without_plots(result)).startswith(b"%PDF-1.7")


def test_long_words_stay_on_the_page(tmp_path: Path) -> None:
    """A name without a blank breaks over lines, and all of it is there."""
    name = "".join(f"{i:04d}" for i in range(120))
    result = replace(make_result(make_rows(4)), job={"job": {"title": name}})
    path = written(tmp_path, typeset(without_plots(result)))
    first = re.sub(r"[\s\u200b]+", "", pages(path)[0])
    assert name in first


def test_ten_thousand_points(many_result: Result, tmp_path: Path) -> None:
    """Every point has its line; the pages are counted to the last."""
    result = many_result
    found = pages(written(tmp_path, typeset(without_plots(result))))
    ids = re.findall(r"^ *(Q\d+) ", "\n".join(found), re.M)
    assert set(ids) == {row.id for row in result.datasets[0].residuals}
    assert f"page {len(found)} of {len(found)}" in found[-1]


def test_a_date_that_is_none_is_no_date() -> None:
    """What is not a date in the record does not stop the document."""
    result = make_result(make_rows(4))
    odd = replace(result, job={"job": {"title": "x", "flown": "last spring"}})
    assert date(*without_plots(odd)["date"]) == date(2000, 1, 1)


@pytest.mark.parametrize(
    ("value", "limit", "share"),
    [(0.04, 0.05, 0.8), (0.05, 0.05, 1.0), (0.5, 0.05, LONGEST_BAR), (-1.0, 0.05, 0.0)],
)
def test_bars_are_shares_of_the_limit(value: float, limit: float, share: float) -> None:
    """The limit is 1; what goes far beyond is cut at the end of the bar."""
    check = Check("a", "up", "all", "rmse", 9, value, limit, "<=", "m", None, False, "", "")
    found = share_of_limit(check)
    assert found is not None
    assert abs(found - share) < 1e-12
    assert share_of_limit(replace(check, limit=None)) is None
    assert share_of_limit(replace(check, value=None)) is None
