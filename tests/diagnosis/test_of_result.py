"""The diagnosis in a result: made with it, made again from its record alone, and seen in every view."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from drawn_result import make_result, make_rows
from numpy.testing import assert_allclose

from accuracy.cli import run
from accuracy.diagnosis import diagnose
from accuracy.diagnosis.candidates import Context
from accuracy.diagnosis.what_if import HYPOTHESIS
from accuracy.diagnosis_of_result import evidence_of, standards_of, with_diagnosis
from accuracy.georeferencing.grids import GridShelf
from accuracy.reports.as_summary import render as summary
from accuracy.reports.diagnosis_text import paragraphs, render_diagnosis
from accuracy.reports.plots import plot_svg
from accuracy.residuals import Position, ResidualRow
from accuracy.result import Result, parse_result, result_schema
from accuracy.units import LengthUnit

METRE = LengthUnit.METRE
NAME = "north slope"


def _raised(rows: tuple[ResidualRow, ...], up_m: float) -> tuple[ResidualRow, ...]:
    """Raise the deliverable, and every flight line of it."""
    raised = []
    for row in rows:
        assert row.residual is not None
        assert row.residual.up_m is not None
        assert row.support is not None
        lines = tuple(
            replace(line, height_m=(line.height_m or 0.0) + up_m) for line in row.support.lines
        )
        residual = Position(row.residual.east_m, row.residual.north_m, row.residual.up_m + up_m)
        support = replace(row.support, lines=lines)
        raised.append(replace(row, residual=residual, support=support))
    return tuple(raised)


def _with_log(result: Result, up_m: float) -> Result:
    """Let the base's log show a mistake."""
    check = {
        "code": "base-height",
        "cause": "slant-as-vertical",
        "severity": "warning",
        "what": "the slant height was typed as the vertical one",
        "effect": {"east_m": 0.0, "north_m": 0.0, "up_m": up_m},
        "sigma": None,
        "part": "height",
        "consistent_with": [],
        "remedy": "process again with 1.625 m",
    }
    job = dict(result.job) | {"claim": [{"dataset": NAME, "standard": "asprs-2024"}]}
    return replace(result, job=job, base={"checks": [check], "survey_from_same_base": False})


@pytest.fixture(scope="module")
def named() -> Result:
    """Give a cloud that is 80 mm high, with a log that shows why."""
    result = _with_log(make_result(_raised(make_rows(40), 0.080)), 0.080)
    return with_diagnosis(result, GridShelf(), standards_of(result, None))


def test_the_log_s_mistake_is_named_and_supposed_away(named: Result) -> None:
    """The cause is named; without it the figures are those of before, and that is a hypothesis."""
    its = named.diagnosis[NAME]
    assert its["conclusion"] == "named"
    assert its["causes"][0]["causes"][0]["cause"] == "slant-as-vertical"
    assert its["what_if"]["is"] == HYPOTHESIS
    before = evidence_of(make_result(make_rows(40)), make_result(make_rows(40)).datasets[0])
    by_name = {
        (f["statistic"], f["component"], f["cover"]): f["value"] for f in its["what_if"]["figures"]
    }
    assert_allclose(by_name["mean", "up", "all"], before.up_m.mean(), atol=1e-9)
    assert_allclose(by_name["rmse", "up", "all"], np.sqrt((before.up_m**2).mean()), atol=1e-9)
    assert its["what_if"]["verdicts"] == ["passes"]
    assert named.datasets[0].claims[0].verdict == "fails"
    assert named.verdict == "fails"


def test_nothing_but_the_diagnosis_changes(named: Result) -> None:
    """Residuals, figures and claims are what they were."""
    assert replace(named, diagnosis={}) == replace(
        _with_log(make_result(_raised(make_rows(40), 0.080)), 0.080), diagnosis={}
    )


def test_it_is_made_again_from_the_record_alone(
    named: Result, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`accuracy diagnose` on the written record gives the same, as text and as JSON."""
    record = json.loads(named.to_json())
    record[
        "base"
    ] = {}  # the made-up base is too short to be read by other views, and not needed here
    record["diagnosis"] = {}
    path = tmp_path / "result.json"
    path.write_text(json.dumps(record), "utf-8")
    assert run(["diagnose", str(path), "--json", "-q"]) == 0
    again = json.loads(capsys.readouterr().out)
    assert again[NAME]["conclusion"] == "consistent"
    again_here = with_diagnosis(parse_result(json.dumps(record), "x"), GridShelf(), {})
    assert again == json.loads(again_here.to_json())["diagnosis"]
    assert run(["diagnose", str(tmp_path), "-q"]) == 0
    told = capsys.readouterr().out
    assert f"Diagnosis of {NAME}" in told
    assert "base-height-unexplained" in told


def test_the_record_keeps_to_the_schema(named: Result) -> None:
    """The section validates, and reading it back loses nothing."""
    data = json.loads(named.to_json())
    schema = result_schema()
    part = {"$defs": schema["$defs"], **schema["properties"]["diagnosis"]}
    jsonschema.validate(data["diagnosis"], part)
    assert (
        json.loads(parse_result(named.to_json(), "x").to_json())["diagnosis"] == data["diagnosis"]
    )


def test_the_demo_is_diagnosed(demo_result: Result) -> None:
    """The demo's cloud is sound but for one point; its raster, raised by 70 mm, names no one by chance."""
    jsonschema.validate(json.loads(demo_result.to_json()), result_schema())
    cloud = demo_result.diagnosis["ground cloud"]
    assert cloud["conclusion"] == "nothing-to-explain"
    assert [b["ids"] for b in cloud["blunders"]["found"]] == [["CP17"]]
    raster = demo_result.diagnosis["elevation raster"]
    assert raster["conclusion"] == "consistent"
    names = {c["causes"][0]["cause"] for c in raster["causes"] if c["standing"] == "consistent"}
    assert {"base-height-unexplained", "height-reference-unexplained"} <= names


def test_every_view_tells_it(named: Result) -> None:
    """Summary, page and PDF carry the paragraph; what is supposed is marked as such."""
    told = paragraphs(named, NAME, METRE)
    assert "slant-as-vertical" in told[0]
    assert HYPOTHESIS in told[1]
    shown = replace(named, base={})
    text = summary(shown).decode("utf-8")
    assert "Diagnosis: why it is off" in text
    assert "slant-as-vertical" in text
    assert "hypothesis" in " ".join(text.split())
    assert "slant-as-vertical" in render_diagnosis(shown, METRE)


def test_without_a_diagnosis_no_view_speaks_of_one() -> None:
    """A record made before there was a diagnosis reads as before."""
    result = replace(make_result(make_rows(12)), diagnosis={})
    assert paragraphs(result, NAME, METRE) == ()
    assert "Diagnosis" not in summary(result).decode("utf-8")
    assert plot_svg(result, NAME, "diagnosis") is None


def test_the_evidence_is_drawn(named: Result) -> None:
    """The plot shows the residuals beside the prediction and names the cause; without a cause there is none."""
    svg = plot_svg(named, NAME, "diagnosis")
    assert svg is not None
    assert "slant-as-vertical" in svg
    evidence = named.diagnosis[NAME]["evidence"]["axes"]["up"]
    assert_allclose(evidence["predicted_m"], 0.080, atol=1e-9)


def test_what_is_hostile_stays_text(named: Result) -> None:
    """Ids with markup and control characters are made harmless in the words."""
    rows = make_rows(20, names={3: "<b>\x1b[31m"})
    bad = _raised(rows, 0.0)
    far = replace(bad[3], cover="non-vegetated", residual=Position(None, None, 9.0))
    assert far.support is not None
    far = replace(far, support=replace(far.support, lines=()))
    result = make_result(rows)
    shown = replace(result.datasets[0], residuals=(*bad[:3], far, *bad[4:]))
    result = replace(result, datasets=(shown,))
    its = with_diagnosis(result, GridShelf(), {})
    assert "\x1b" not in " ".join(paragraphs(its, NAME, METRE))


@pytest.mark.parametrize("text", ["", "{}", "junk", '{"format": "accuracy-result"}'])
def test_what_is_no_result_is_refused(
    tmp_path: Path, text: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Anything else than a result is an input that cannot be used."""
    path = tmp_path / "result.json"
    path.write_text(text, "utf-8")
    assert run(["diagnose", str(path), "-q"]) == 2
    assert "remedy" in capsys.readouterr().err


def test_missing_words_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No result, no such file, no such folder of grids."""
    assert run(["diagnose"]) == 2
    assert run(["diagnose", str(tmp_path / "nowhere"), "-q"]) == 2
    assert run(["diagnose", str(tmp_path), "--grids", str(tmp_path / "none")]) == 2
    assert "no folder" in capsys.readouterr().err


def test_many_points_are_thinned_and_that_is_said() -> None:
    """Of ten thousand points six hundred are looked at."""
    found = diagnose(make_rows(4000), Context())
    assert found.sightings is not None
    assert len(found.sightings.ids) <= 600
    assert "of 4000 points" in found.text.lower()


@pytest.mark.parametrize("value", [1e9, -1e12, 0.0])
def test_absurd_sizes_end_in_words(value: float) -> None:
    """Any finite residuals give a diagnosis, never a fault of the tool."""
    found = diagnose(_raised(make_rows(20), value), Context())
    assert found.text


def test_equal_residuals_are_no_fault() -> None:
    """Residuals without any spread, as of a copied table, are diagnosed too."""
    rows = tuple(
        replace(row, residual=Position(0.0, 0.0, 0.0), support=None) for row in make_rows(20)
    )
    assert diagnose(rows, Context(kind="measured-points")).conclusion == "nothing-to-explain"


def test_no_residuals_are_told() -> None:
    """Without a single residual there is nothing to say."""
    rows = tuple(replace(row, used=False) for row in make_rows(5))
    assert diagnose(rows, Context()).conclusion == "no-residuals"
