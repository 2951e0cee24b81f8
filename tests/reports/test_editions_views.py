"""The documents side by side in summary, page and PDF: right units, hostile text, nothing where nothing is."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from drawn_result import make_result, make_rows
from evidence import make_evidence
from page_reader import read_page

from accuracy.reports import as_html, as_summary, pdf_content
from accuracy.reports.editions_text import views
from accuracy.result import Result, parse_result
from accuracy.standards.judge.side_by_side import SideBySide, side_by_side
from accuracy.standards.library import load_standard
from accuracy.units import LengthUnit

BAD = "\x1b]0;<b>\u202e"


@pytest.fixture(autouse=True)
def _no_plots(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("accuracy.reports.plots.PLOTS", {})


def two_documents() -> SideBySide:
    """Lay two editions beside each other: RMSE 0.3048 m, so exactly one foot, without a survey error."""
    found = side_by_side(
        "drawn",
        [
            (load_standard("nssda-1998"), {"vertical_95_m": 0.7}),
            (load_standard("usgs-lbs-2025a"), {"quality_level": "QL3"}),
        ],
        make_evidence(up_m=0.3048, survey_v_m=0.0, vegetated=0),
    )
    assert found is not None
    return found


def with_table(**job: str) -> Result:
    return replace(make_result(make_rows(30)), side_by_side=(two_documents(),), job={"job": job})


def test_figures_stand_in_the_display_unit() -> None:
    """One foot is printed as 1.0000 in feet, its limit of 0.2 m as 0.6562; the record keeps metres."""
    result = with_table(display_units="foot")
    text = as_summary.render(result).decode("utf-8")
    assert "1.0000 > 0.6562 ft" in text
    (view,) = views(result, LengthUnit.FOOT)
    assert view.claims[1].rows[0].check.value == "1.0000"
    record = json.loads(result.to_json())
    assert record["side_by_side"][0]["rows"][-1]["check"]["value"] == pytest.approx(0.3048)
    assert parse_result(result.to_json(), "here").side_by_side == result.side_by_side


def test_page_and_pdf_have_every_row_and_every_tightest_class() -> None:
    """What the record holds stands in both, with its mark."""
    result = with_table()
    (section,) = [
        s
        for s in read_page(as_html.render(result)).all("section")
        if s.attrs.get("id") == "documents"
    ]
    text, pdf = section.text, pdf_content.content(result)["documents"]
    assert sum(len(claim["rows"]) for claim in pdf[0]["claims"]) == len(two_documents().rows)
    for row in two_documents().rows:
        assert row.check.name in text
        assert row.verdict in [claim["verdict"] for claim in pdf[0]["claims"]]
        assert f"[{row.check.verification}]" in text
    for its in two_documents().tightest:
        assert f"{its.standard}, {its.key}" in text
        assert any(f"{its.standard}, {its.key}" in pair[0] for pair in pdf[0]["supported"])


def test_a_record_without_the_table_is_as_before() -> None:
    """Neither key nor section nor link."""
    result = make_result(make_rows(30))
    assert "side_by_side" not in json.loads(result.to_json())
    assert "By each document" not in as_summary.render(result).decode("utf-8")
    assert b"By each document" not in as_html.render(result)
    assert b"#documents" not in as_html.render(result)
    assert pdf_content.content(result)["documents"] == []


def test_hostile_names_do_no_harm() -> None:
    """Names from a client's own file and from the job are text, whatever they hold."""
    its = two_documents()
    rows = tuple(
        replace(
            row,
            standard=BAD,
            title=BAD,
            claimed={BAD: BAD},
            unlike=BAD,
            check=replace(row.check, name=BAD, cite=BAD),
        )
        for row in its.rows
    )
    tight = tuple(replace(t, standard=BAD, key=BAD, value=BAD, needed=(BAD,)) for t in its.tightest)
    result = replace(with_table(), side_by_side=(SideBySide(BAD, rows, tight),))
    for content in (
        as_summary.render(result).decode("utf-8"),
        as_html.render(result).decode("utf-8"),
        json.dumps(pdf_content.content(result), ensure_ascii=False),
    ):
        assert "\x1b" not in content
        assert "\u202e" not in content
    assert b"]0;<b>" not in as_html.render(result)
