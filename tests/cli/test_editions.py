"""``verify --under`` and ``--explain``: several documents side by side, formulas with their numbers."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from evidence import make_evidence

from accuracy.cli import run
from accuracy.cli.editions import split
from accuracy.errors import UsageError
from accuracy.reports.explain_text import render_explained
from accuracy.result import result_schema
from accuracy.simulation.demo import build_demo
from accuracy.standards.judge.side_by_side import side_by_side
from accuracy.standards.library import list_standards, load_standard

NSSDA = load_standard("nssda-1998")


def test_options_are_split() -> None:
    """Commas, repetition and keys; anything else is refused."""
    assert split(("a,b:x=1+y=QL 2", "c")) == [("a", {}), ("b", {"x": "1", "y": "QL 2"}), ("c", {})]
    for wrong in ("", "a,,b", "a:", "a:x", "a:=1", ":x=1"):
        with pytest.raises(UsageError):
            split((wrong,))


def test_demo_under_several_documents(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every document gets its own claim in the record; the screen shows why they differ."""
    job = build_demo(tmp_path / "site", seed=7).job
    under = "asprs-2014,usgs-lbs-2025a:quality_level=QL1,nssda-1998,netherlands-ahn4"
    run(["verify", str(job), "-q", "-o", str(tmp_path / "plain")])
    plain = json.loads((tmp_path / "plain" / "result.json").read_text("utf-8"))
    run(["verify", str(job), "--under", under, "--explain", "-o", str(tmp_path / "more")])
    text = capsys.readouterr().out
    more = json.loads((tmp_path / "more" / "result.json").read_text("utf-8"))
    for before, after in zip(plain["datasets"], more["datasets"], strict=True):
        first = len(before["claims"])
        assert after["claims"][:first] == before["claims"]
        assert after["figures"] == before["figures"]
    names = [claim["standard"] for claim in more["datasets"][0]["claims"]]
    assert names == ["asprs-2024", "asprs-2014", "usgs-lbs-2025a", "nssda-1998", "netherlands-ahn4"]
    assert "Unlike asprs-2024, it leaves out the survey's own error" in text
    assert "asprs-2024, vertical_class_cm = 3.9 is supported; 3.8 needs smaller errors" in text
    assert "with the survey's own error" in text
    beside = more["side_by_side"][0]
    assert beside["dataset"] == "ground cloud"
    shown = {row["standard"] for row in beside["rows"]}
    assert shown == set(names)
    for row in beside["rows"]:  # the table repeats what was judged
        claim = after_claim(more, row["standard"])
        assert row["check"] in claim["checks"]
        assert row["verdict"] == claim["verdict"]
    assert [its["rows"] for its in plain["side_by_side"]] == [[], [], [], []]
    jsonschema.validate(more, result_schema())


def after_claim(record: dict[str, Any], standard: str) -> dict[str, Any]:
    return next(c for c in record["datasets"][0]["claims"] if c["standard"] == standard)


def test_the_record_keeps_the_command_line_apart(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Claims of the job file and of the command line are told apart; later views and comparisons are right."""
    job = build_demo(tmp_path / "site", seed=7).job
    plain, more, again = (tmp_path / name for name in ("plain", "more", "again"))
    run(["verify", str(job), "-q", "-o", str(plain)])
    run(["verify", str(job), "-q", "--under", "asprs-2014,ndep-2004", "-o", str(more)])
    own, its = (json.loads((f / "result.json").read_text("utf-8"))["job"] for f in (plain, more))
    assert own["claim"] == its["claim"]
    assert "command_line" not in own
    assert its["command_line"]["under"] == ["asprs-2014", "ndep-2004"]
    assert its["command_line"]["claim"][0] == {
        "dataset": "ground cloud", "standard": "asprs-2014", "vertical_class_cm": 5.0,
    }  # fmt: skip
    assert run(["report", str(more), "--as", "json,summary,html", "-q", "-o", str(again)]) == 0
    for name in ("result.json", "summary.txt", "report.html"):
        assert (again / name).read_bytes() == (more / name).read_bytes()
    capsys.readouterr()
    assert run(["compare", str(plain), str(more)]) == 0  # the same points, no regression
    told = capsys.readouterr().out
    assert "command_line.claim[ground cloud, asprs-2014].vertical_class_cm" in told


def test_under_a_document_without_a_class_tells_its_tightest(tmp_path: Path) -> None:
    """Nothing is claimed by it, so no verdict comes of it; what could be claimed is told."""
    job = build_demo(tmp_path / "site", seed=7).job
    run(["verify", str(job), "-q", "--under", "ndep-2004", "-o", str(tmp_path / "out")])
    record = json.loads((tmp_path / "out" / "result.json").read_text("utf-8"))
    assert {c["standard"] for c in record["datasets"][0]["claims"]} == {"asprs-2024"}
    told = {its["key"] for its in record["side_by_side"][0]["tightest"]}
    assert told == {"vertical_class_cm", "fva_m", "cva_m"}


@pytest.mark.parametrize(
    "under", ["asprs-2042", "asprs-2014:grade=A", "usgs-lbs-2025a:quality_level=QL9",
              "asprs-2014:vertical_class_cm=nan", "asprs-2014:vertical_class_cm=-1"]
)  # fmt: skip
def test_wrong_documents_and_classes_are_refused(
    under: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One clear message, exit code 2, nothing written."""
    job = tmp_path / "job.toml"
    (tmp_path / "points.csv").write_text("id,easting,northing,height\nA,1,2,3\n", "utf-8")
    job.write_text(
        '[job]\ntitle = "t"\n[checkpoints]\nfile = "points.csv"\ncrs = "EPSG:6341+5703"\n'
        'geoid = "GEOID18"\n[[dataset]]\nname = "d"\nkind = "measured-points"\n'
        'files = ["points.csv"]\ncrs = "EPSG:6341+5703"\ngeoid = "GEOID18"\n',
        "utf-8",
    )
    assert run(["verify", str(job), "-q", "--under", under]) == 2
    assert "error:" in capsys.readouterr().err
    assert not (tmp_path / "job.accuracy").exists()


def test_explained_numbers_are_those_of_the_figure() -> None:
    """RMSE 0.03 m with a survey of 0.005 m is sqrt(0.03^2 + 0.005^2), and is compared with the class."""
    text = render_explained(
        load_standard("asprs-2024"), {"vertical_class_cm": 5.0}, make_evidence()
    )
    assert "sqrt(0.02700000 / 30) = 0.03000000 m" in text
    assert f"= {math.hypot(0.03, 0.005):.8f} m" in text
    assert "0.030414 m <= 0.050000 m is true" in text


@pytest.mark.parametrize("id_", [s.id for s in list_standards()])
def test_every_document_can_be_explained_and_laid_beside(id_: str) -> None:
    """No document and no amount of data stops the screen: none, one, and plenty of points in all axes."""
    standard = load_standard(id_)
    keys = {k.name: k.choices[0] if k.choices else 1.0 for k in standard.claim_keys}
    for n in (0, 1, 40):
        evidence = make_evidence(n, vegetated=n, east_m=0.02, north_m=0.03)
        assert id_ in render_explained(standard, keys, evidence)
        found = side_by_side("d", [(standard, keys), (NSSDA, {})], evidence)
        assert found is not None
        assert all(row.check.n for row in found.rows)
