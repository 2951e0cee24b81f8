"""``verify --under`` and ``--explain``: several documents side by side, formulas with their numbers."""

from __future__ import annotations

import json
import math
import re
from contextlib import redirect_stdout
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from evidence import make_evidence

import accuracy
from accuracy.cli import run
from accuracy.cli.editions import split, with_editions
from accuracy.errors import UsageError
from accuracy.job import load_job
from accuracy.reports.explain_text import render_explained
from accuracy.result import result_schema
from accuracy.simulation.demo import build_demo
from accuracy.standards.judge.side_by_side import side_by_side
from accuracy.standards.library import list_standards, load_standard

NSSDA = load_standard("nssda-1998")
PACKAGED = Path(accuracy.__file__).parent / "standards"


def test_options_are_split() -> None:
    """Commas, repetition and keys; anything else is refused."""
    assert split(("C:/jobs/own.toml:k=1",)) == [("C:/jobs/own.toml", {"k": "1"})]
    assert split(("a,b:x=1+y=QL 2", "c")) == [("a", {}), ("b", {"x": "1", "y": "QL 2"}), ("c", {})]
    for wrong in ("", "a,,b", "a:", "a:x", "a:=1", ":x=1"):
        with pytest.raises(UsageError):
            split((wrong,))


@dataclass(frozen=True)
class Runs:
    """The demo verified as it is, and under more documents; what the second run printed."""

    job: Path
    plain: Path
    more: Path
    told: str

    def record(self, which: str) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(
            (getattr(self, which) / "result.json").read_text("utf-8")
        )
        return found


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> Runs:
    """Verify the demo twice; a client's own specification lies beside the job."""
    folder = tmp_path_factory.mktemp("editions")
    job = build_demo(folder / "site", seed=7).job
    text = (PACKAGED / "netherlands-ahn4.toml").read_text("utf-8")
    for key in ("id", "title"):  # of the document, not of its rules
        text = re.sub(rf'^{key} = ".*"', f'{key} = "morrowhelm_heights"', text, count=1, flags=re.M)
    text = re.sub(r'^verification = ".*"', 'verification = "client"', text, flags=re.M)
    (job.parent / "own.toml").write_text(text, "utf-8")
    plain, more = folder / "plain", folder / "more"
    under = "asprs-2014,usgs-lbs-2025a:quality_level=QL1,nssda-1998,own.toml:product=point height,ndep-2004"
    run(["verify", str(job), "-q", "-o", str(plain)])
    with redirect_stdout(StringIO()) as told:
        run(["verify", str(job), "--under", under, "--explain", "-o", str(more)])
    return Runs(job, plain, more, told.getvalue())


def test_demo_under_several_documents(runs: Runs) -> None:
    """Every document gets its own claim in the record; table, screen and claims agree."""
    plain, more = runs.record("plain"), runs.record("more")
    for before, after in zip(plain["datasets"], more["datasets"], strict=True):
        first = len(before["claims"])
        assert after["claims"][:first] == before["claims"]
        assert after["figures"] == before["figures"]
    claims = {claim["standard"]: claim for claim in more["datasets"][0]["claims"]}
    packaged = ["asprs-2024", "asprs-2014", "usgs-lbs-2025a", "nssda-1998"]
    assert list(claims)[:4] == packaged
    beside = more["side_by_side"][0]
    assert beside["dataset"] == "ground cloud"
    assert {row["standard"] for row in beside["rows"]} == set(claims)
    for row in beside["rows"]:  # the table repeats what was judged
        assert row["check"] in claims[row["standard"]]["checks"]
        assert row["verdict"] == claims[row["standard"]]["verdict"]
    assert [its["rows"] for its in plain["side_by_side"]] == [[], [], [], []]
    jsonschema.validate(more, result_schema())
    assert "Unlike asprs-2024, it leaves out the survey's own error" in runs.told
    assert "asprs-2024, vertical_class_cm = 3.9 is supported; 3.8 needs smaller errors" in runs.told
    assert "with the survey's own error = sqrt(" in runs.told


def test_under_takes_a_clients_own_file(runs: Runs) -> None:
    """Its path starts at the job file; its label stands in the record, and its hash among the inputs."""
    record = runs.record("more")
    labels = {row["standard"] for row in record["side_by_side"][0]["rows"]}
    assert any(label.startswith("client's own specification") for label in labels)
    assert any(item["role"] == "standard" for item in record["inputs"])
    assert "Unlike asprs-2024, it takes the size of the mean error alone" in runs.told


def test_the_record_keeps_the_command_line_apart(
    runs: Runs, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Claims of the job file and of the command line are told apart; later views and comparisons are right."""
    own, its = runs.record("plain")["job"], runs.record("more")["job"]
    assert own["claim"] == its["claim"]
    assert "command_line" not in own
    named = ["asprs-2014", "usgs-lbs-2025a", "nssda-1998", "own.toml", "ndep-2004"]
    assert its["command_line"]["under"] == named
    assert its["command_line"]["claim"][0] == {
        "dataset": "ground cloud",
        "standard": "asprs-2014",
        "vertical_class_cm": 5.0,
    }
    assert run(["report", str(runs.more), "--as", "json,summary", "-q", "-o", str(tmp_path)]) == 0
    for name in ("result.json", "summary.txt"):
        assert (tmp_path / name).read_bytes() == (runs.more / name).read_bytes()
    capsys.readouterr()
    assert run(["compare", str(runs.plain), str(runs.more)]) == 0  # the same points, no regression
    told = capsys.readouterr().out
    assert "command_line.claim[ground cloud, asprs-2014].vertical_class_cm" in told


def test_under_a_document_without_a_class_tells_its_tightest(runs: Runs) -> None:
    """Nothing is claimed by it, so no verdict comes of it; what could be claimed is told."""
    record = runs.record("more")
    assert "ndep-2004" not in {c["standard"] for c in record["datasets"][0]["claims"]}
    told = [
        its["key"]
        for its in record["side_by_side"][0]["tightest"]
        if its["standard"] == "ndep-2004"
    ]
    assert told == ["fva_m", "cva_m"]


def test_under_claims_nothing_where_nothing_can_be_said(runs: Runs) -> None:
    """A document on heights leaves a table of positions in plan alone, and the other way round."""
    job = load_job(runs.job)
    more = with_editions(
        job, ("usgs-lbs-2025a:quality_level=QL1,asprs-2024:horizontal_class_cm=5",)
    )
    added = [(c.dataset, c.standard) for c in more.claim if c not in job.claim]
    assert added == [
        ("ground cloud", "usgs-lbs-2025a"),
        ("elevation raster", "usgs-lbs-2025a"),
        ("orthophoto targets", "asprs-2024"),
    ]


def test_dry_run_checks_the_documents_too(runs: Runs) -> None:
    """A document that does not exist is told before anything is computed."""
    assert run(["verify", str(runs.job), "-q", "--dry-run", "--under", "asprs-2042"]) == 2
    assert run(["verify", str(runs.job), "-q", "--dry-run", "--under", "asprs-2014"]) == 0


@pytest.mark.parametrize(
    "under",
    [
        "asprs-2042",
        "asprs-2014:grade=A",
        "usgs-lbs-2025a:quality_level=QL9",
        "asprs-2014:vertical_class_cm=nan",
        "asprs-2014:vertical_class_cm=-1",
    ],
)
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
