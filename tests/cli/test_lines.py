"""``accuracy lines``, and the section [lines] of ``accuracy verify``: the demo's two lines, and wrong input."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
import rasterio

from accuracy.cli import run
from accuracy.flightlines.records import LinesRecord
from accuracy.formats.las_write import write_points
from accuracy.lines_record import lines_schema
from accuracy.result import read_result
from accuracy.simulation.demo import build_demo

ROOT = Path(__file__).resolve().parents[2]
CLAIM = "asprs-2014:vertical_class_cm=10"


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_demo(tmp_path_factory.mktemp("demo") / "site").folder


@pytest.fixture(scope="module")
def clouds(demo: Path) -> list[str]:
    return sorted(str(path) for path in (demo / "cloud").glob("*.laz"))


def record_of(folder: Path) -> dict[str, Any]:
    """Read the record and hold it against its schema."""
    record: dict[str, Any] = json.loads((folder / "lines.json").read_text("utf-8"))
    jsonschema.Draft202012Validator(lines_schema()).validate(record)
    return record


def test_files_in_the_field(
    clouds: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two files without a job: the text, every file of the folder, and the record by its schema.

    The two lines of the demo are flown without any fault and with 12 mm of noise (`Scanner`): their difference
    has no mean, and an RMSD of some millimetres.
    """
    out = tmp_path / "found"
    code = run(["lines", *clouds, "--by", CLAIM, "-o", str(out), "-q"])
    assert capsys.readouterr().out == ""
    record = record_of(out)
    assert record["verdict"] in ("passes", "fails")
    assert code == {"passes": 0, "fails": 1}[record["verdict"]]
    analysis = LinesRecord.from_dict(record["lines"]["cloud"]["analysis"] | {"findings": []})
    assert [line.source_id for line in analysis.lines] == [11, 12]
    (pair,) = analysis.pairs
    assert abs(pair.differences.mean_m or 1.0) < 0.002
    assert (pair.differences.rmsd_m or 1.0) < 0.01
    assert {path.name for path in out.iterdir()} >= {
        "lines.json",
        "summary.txt",
        "statement.txt",
        "lines.html",
        "lines.gpkg",
        "difference.tif",
        "difference.qml",
        "difference-map.png",
        "density-map.png",
        "pairs.png",
        "lines-1-difference.png",
    }
    with rasterio.open(out / "difference.tif") as raster:
        found = raster.read(1, masked=True)
        assert raster.crs is not None
    assert abs(float(np.median(found.compressed()))) < 0.002
    statement = (out / "statement.txt").read_text("utf-8")
    assert f"{record['inputs'][0]['sha256']}  tile_east.laz" in statement
    assert "only checkpoints" in statement


def test_a_job_without_its_checkpoints(
    demo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Clouds and claims of a job, and not one checkpoint read: its table may be absent."""
    text = (demo / "job.toml").read_text("utf-8")
    lines = [line for line in text.splitlines() if not line.startswith('file = "checkpoints')]
    assert len(lines) == len(text.splitlines()) - 1
    bare = demo / "bare.toml"
    bare.write_text("\n".join(lines) + "\n", "utf-8")
    code = run(["lines", str(bare), "-o", str(tmp_path / "out"), "-q", "--json"])
    record = json.loads(capsys.readouterr().out)
    assert list(record["lines"]) == ["ground cloud"]
    assert [claim["standard"] for claim in record["lines"]["ground cloud"]["claims"]] == [
        "asprs-2024"
    ]
    assert record == record_of(tmp_path / "out")
    assert code in (0, 1)
    readme = (ROOT / "README.md").read_text("utf-8")
    shown = readme.split("<!-- from accuracy lines, compared by a test -->\n```\n")[1].split("```")[
        0
    ]
    made = iter((tmp_path / "out" / "summary.txt").read_text("utf-8").splitlines())
    for line in shown.splitlines():
        if line.strip() != "...":
            assert any(line == other for other in made), line


def test_with_workers_it_is_the_same(clouds: list[str], tmp_path: Path) -> None:
    """Two processes find what one finds, to the last digit; what is asked for is used and recorded."""
    options = ["--design-spacing", "0.25", "--slope-limit", "8", "-q"]
    for name, workers in (("one", "1"), ("two", "2")):
        assert (
            run(["lines", *clouds, *options, "--workers", workers, "-o", str(tmp_path / name)]) == 0
        )
    one, two = record_of(tmp_path / "one"), record_of(tmp_path / "two")
    assert one["lines"] == two["lines"]
    assert one["verdict"] == "none"
    settings = one["lines"]["cloud"]["settings"]
    assert (settings["design_anps_m"], settings["slope_limit_deg"]) == (0.25, 8.0)


def test_a_second_run_replaces_the_first_and_nothing_else(
    clouds: list[str], tmp_path: Path
) -> None:
    """A folder of ours is swapped; one with other files is left alone."""
    target = tmp_path / "out"
    assert run(["lines", clouds[0], "-o", str(target), "-q"]) in (0, 1)
    assert run(["lines", clouds[0], "-o", str(target), "-q"]) in (0, 1)
    other = tmp_path / "photos"
    other.mkdir()
    (other / "a.jpg").write_bytes(b"x")
    assert run(["lines", clouds[0], "-o", str(other), "-q"]) == 2
    assert [path.name for path in other.iterdir()] == ["a.jpg"]


def test_verify_with_the_section(demo: Path, tmp_path: Path) -> None:
    """The job's own section: in the record, the summary, the statement and the page; without it nowhere."""
    job = demo / "with-lines.toml"
    job.write_text((demo / "job.toml").read_text("utf-8") + "\n[lines]\ncell_m = 1.0\n", "utf-8")
    assert run(["verify", str(job), "-o", str(tmp_path / "out"), "--no-index", "-q"]) in (0, 1, 3)
    result = read_result(tmp_path / "out" / "result.json")
    assert list(result.lines) == ["ground cloud"]
    assert result.line_verdicts == [
        claim["verdict"] for claim in result.lines["ground cloud"]["claims"]
    ]
    assert "lines-1-difference.png" in result.side_files
    for name in ("summary.txt", "statement.txt", "report.html"):
        assert "light lines" in (tmp_path / "out" / name).read_text("utf-8")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ([], "no job and no file given"),
        (["absent.laz"], "absent.laz"),
        (["junk.laz"], "junk.laz"),
        (["empty.laz"], "empty.laz"),
        (["job.toml", "a.laz"], "a job stands alone"),
        (["absent.toml"], "no such file"),
        (["*.las"], "no file matches"),
        (["table.csv"], "table.csv"),
        (["plane.laz", "--cell", "0"], "--cell 0"),
        (["plane.laz", "--cell", "nan"], "--cell nan"),
        (["plane.laz", "--slope-limit", "90"], "--slope-limit 90"),
        (["plane.laz", "--design-spacing", "-1"], "--design-spacing -1"),
        (["plane.laz", "--by", "usgs-lbs-2025a"], "quality_level is missing"),
        (["plane.laz", "--by", "usgs-lbs-2025a:quality_level=QL9"], "QL9"),
        (["plane.laz", "--by", "nssda-1998:vertical_95_m=0.2"], "says nothing of flight lines"),
        (["plane.laz", "--by", "no-such"], "no-such"),
        (["plane.laz", "--by", "usgs-lbs-2025a:quality_level"], "is not understood"),
    ],
)
def test_wrong_input_is_told_in_one_line(
    arguments: list[str],
    told: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Exit code 2, words with a remedy, no traceback, no folder left."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "junk.laz").write_bytes(b"LASF" + bytes(range(256)) * 4)
    (tmp_path / "empty.laz").touch()
    (tmp_path / "table.csv").write_text("id,easting\n", "utf-8")
    (tmp_path / "a.laz").touch()
    (tmp_path / "job.toml").write_text("", "utf-8")
    write_points(tmp_path / "plane.laz", points={name: np.arange(50.0) for name in "xyz"})
    before = sorted(path.name for path in tmp_path.iterdir())
    assert run(["lines", *arguments]) == 2
    caught = capsys.readouterr()
    assert told in caught.err
    assert "Traceback" not in caught.err
    assert sorted(path.name for path in tmp_path.iterdir()) == before


def test_the_schema_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    """As shipped."""
    assert run(["lines", "--schema"]) == 0
    assert json.loads(capsys.readouterr().out) == lines_schema()


def test_a_cloud_that_declares_nothing_proves_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No unit: looked at in metres, claims without statement (3); with the unit stated, judged."""
    random = np.random.default_rng(5)
    n = 40_000
    x, y = random.uniform(0.0, 40.0, n), random.uniform(0.0, 40.0, n)
    lines = np.where(np.arange(n) % 2 == 0, 1, 2)
    write_points(
        tmp_path / "bare.las",
        points={
            "x": x,
            "y": y,
            "z": 10.0 + random.normal(0.0, 0.005, n),
            "point_source_id": lines,
            "gps_time": 1000.0 + 100.0 * lines + y / 4.0,
            "return_number": np.ones(n),
            "number_of_returns": np.ones(n),
            "classification": np.full(n, 2),
        },
    )
    arguments = ["lines", str(tmp_path / "bare.las"), "--by", CLAIM, "-o", str(tmp_path / "out")]
    assert run(arguments) == 3
    assert "nothing declares the unit" in capsys.readouterr().out
    assert run([*arguments, "--unit", "metre", "-q"]) == 0
    record = record_of(tmp_path / "out")
    whole = record["lines"]["cloud"]["analysis"]["differences"]
    assert abs(whole["mean_m"]) < 0.001
    assert whole["n"] > 1000
