"""Page, PDF, plot and text of a comparison: they show the record, and text from files stays text."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import compare_site
import numpy as np
import pytest
from hostile import HOSTILE
from pdf_reader import words

from accuracy.comparison import compare
from accuracy.comparison_record import Comparison
from accuracy.reports.comparison import KINDS, render
from accuracy.reports.junit import of_comparison


@pytest.fixture(scope="module")
def cases(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, Comparison]:
    """Two runs, four runs, nothing in common, nothing claimed, feet."""
    folder = tmp_path_factory.mktemp("views")
    runs = {
        name: compare_site.run(folder / name, compare_site.errors(name), processing=settings)
        for name, (_, _, settings) in compare_site.RUNS.items()
    }
    other = compare_site.run(
        folder / "o", compare_site.errors("better"), ids=[f"X{i}" for i in range(40)]
    )
    silent = compare_site.run(folder / "s", compare_site.errors("better"), claims=[])
    feet = compare_site.run(
        folder / "f", compare_site.errors("better"), job={"display_units": "foot"}
    )
    return {
        "two": compare(runs["before"], runs["better"]),
        "many": compare(*runs.values()),
        "nothing common": compare(runs["before"], other),
        "nothing claimed": compare(silent, silent),
        "feet": compare(feet, runs["before"]),
    }


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("case", ["two", "many", "nothing common", "nothing claimed", "feet"])
def test_every_view_of_every_case_is_made_and_the_same_each_time(
    cases: Mapping[str, Comparison], case: str, kind: str
) -> None:
    """No case breaks a view, and the same record gives the same bytes."""
    content = render(cases[case], kind)
    assert content == render(cases[case], kind)
    start = {".html": b"<!DOCTYPE html>", ".pdf": b"%PDF-", ".svg": b"<svg", ".json": b"{"}
    assert content.lstrip().startswith(start.get(kind, b""))


def shown(comparison: Comparison, kind: str, folder: Path) -> str:
    content = render(comparison, kind)
    if kind == ".pdf":
        (folder / "c.pdf").write_bytes(content)
        return " ".join(words(folder / "c.pdf").replace("\u200b", "").split())
    text = re.sub(r"<[^>]*>", " ", content.decode("utf-8"))
    return " ".join(text.split())


@pytest.mark.parametrize("kind", [".html", ".pdf", ".txt"])
def test_page_and_paper_show_verdict_numbers_and_changes(
    cases: Mapping[str, Comparison], kind: str, tmp_path: Path
) -> None:
    """Verdict, RMSE of both runs, p, tolerance, settings and checkpoints, the same in every view."""
    text = shown(cases["two"], kind, tmp_path)
    for told in ("BETTER", "0.0428", "0.0159", "0.0125", "1.0e-05", "strip.adjusted", "40", "1.75"):
        assert told in text, told
    many = shown(cases["many"], kind, tmp_path)
    for told in ("WORSE", "1 claim that passed now fails", "common letter", "run 4"):
        assert told in many, told
    feet = shown(cases["feet"], kind, tmp_path)
    assert "international feet" in feet
    rmse_m = np.sqrt(np.mean(compare_site.errors("before") ** 2))
    assert f"{rmse_m / 0.3048:.4f}" in feet


@pytest.mark.parametrize("text", HOSTILE)
def test_text_from_files_stays_text(
    cases: Mapping[str, Comparison], text: str, tmp_path: Path
) -> None:
    """Hostile names change no view's structure: no tag, no reference to the outside, XML that parses."""
    told = cases["two"]
    group = replace(told.groups[0], dataset=text, tolerance_source=text)
    runs = tuple(
        replace(run, label=text, title=text, site=text, processing={text: text})
        for run in told.runs
    )
    changes = tuple(replace(change, what=text, before=text, after=text) for change in told.changes)
    hostile = replace(told, runs=runs, groups=(group,), changes=changes)
    page = render(hostile, ".html").decode("utf-8")
    plain = render(told, ".html").decode("utf-8")
    for tag in ("<script", "<img", "<iframe", "<a "):
        assert page.lower().count(tag) == plain.lower().count(tag)
    ElementTree.fromstring(render(hostile, ".svg"))
    ElementTree.fromstring(of_comparison(hostile))
    assert render(hostile, ".pdf").startswith(b"%PDF-")
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f\x1b]", render(hostile, ".txt").decode("utf-8"))


def test_the_page_fetches_nothing(cases: Mapping[str, Comparison]) -> None:
    """No address outside the page but the names of XML, and no script at all."""
    page = render(cases["many"], ".html").decode("utf-8")
    addresses = set(re.findall(r"(?:href|src)=\"([^\"#][^\"]*)\"", page))
    assert addresses <= {"data:,"}
    assert "<script" not in page
