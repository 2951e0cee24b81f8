"""``accuracy base``, and the base in ``accuracy verify``: the demo's sound base, and the same made wrong."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from support import assert_metres

from accuracy.cli import run
from accuracy.job import load_job
from accuracy.pipeline import verify
from accuracy.reports import render_all
from accuracy.result import Result, read_result, result_schema
from accuracy.simulation.demo import build_demo
from accuracy.trajectory.record import trajectory_schema

#: Slant 1.672 m typed in the place of 1.6258 m; the reference point is 1.6258 m over the mark (mean of both
#: readings, by Pythagoras).
SLANT = ("{ value = 1.6258,", "{ value = 1.672,")
SAME = ("survey_from_same_base = false", "survey_from_same_base = true")
HELD = ("height = 1316.482\norigin", "height = 1316.182\norigin")


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_demo(tmp_path_factory.mktemp("demo") / "site").folder


def changed(demo: Path, *changes: tuple[str, str]) -> Path:
    text = (demo / "job.toml").read_text("utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path = demo / "changed.toml"
    path.write_text(text, "utf-8")
    return path


def as_json(capsys: pytest.CaptureFixture[str], path: Path) -> tuple[int, dict[str, Any]]:
    code = run(["base", str(path), "--json", "-q"])
    record: dict[str, Any] = json.loads(capsys.readouterr().out)
    schema = result_schema()
    for key in ("base", "trajectory"):
        part = {"$defs": schema["$defs"], **schema["properties"][key]}
        jsonschema.Draft202012Validator(part).validate(record[key])
    return code, record


def test_the_sound_base(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The demo's base: no finding, no shift, exit code 0; the trajectory is told as well."""
    assert run(["base", str(demo / "job.toml"), "-q"]) == 0
    out = capsys.readouterr().out
    assert "nothing: the log is sound" in out
    assert "no shift of the deliverable is expected" in out
    assert "Trajectory trajectory.csv" in out
    assert max(map(len, out.splitlines())) <= 100
    code, record = as_json(capsys, demo / "job.toml")
    assert code == 0
    assert record["base"]["checks"] == []
    assert record["base"]["held_minus_published"] == {"east_m": 0.0, "north_m": 0.0, "up_m": 0.0}


def test_a_wrong_base(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A slant and a low mark: exit code 1, both vectors and their sum in text and JSON."""
    path = changed(demo, SLANT, HELD)
    assert run(["base", str(path), "-q"]) == 1
    out = capsys.readouterr().out
    assert "slant-as-vertical" in out
    assert "-0.3000" in out
    assert max(map(len, out.splitlines())) <= 100
    code, record = as_json(capsys, path)
    assert code == 1
    shift = record["base"]["expected_shift"]
    assert_metres(list(shift["effect"].values()), (0.0, 0.0, 0.0462 - 0.300), within_m=0.001)
    assert set(shift["causes"]) == {"held-differs", "slant-as-vertical"}


def test_the_readme_shows_real_output(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every line of the excerpt stands in the output, in that order."""
    assert run(["base", str(changed(demo, SLANT)), "-q"]) == 1
    printed = iter(capsys.readouterr().out.splitlines())
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text("utf-8")
    shown = readme.split("<!-- from accuracy base, compared by a test -->\n```\n")[1].split("```")[
        0
    ]
    for line in shown.splitlines():
        if line.strip() != "...":
            assert any(line == other for other in printed), line


def test_a_job_without_base(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Neither base nor trajectory: refused with what to write; a trajectory alone is checked."""
    text = (demo / "job.toml").read_text("utf-8")
    start, end = text.index("# ---- What it all stands on"), text.index("# ---- How it was flown")
    path = demo / "changed.toml"
    path.write_text(text[:start] + text[end:], "utf-8")
    assert run(["base", str(path), "-q"]) == 0
    assert "Base" not in capsys.readouterr().out
    claims = text.index("# ---- What is claimed")
    path.write_text(text[:start] + text[claims:], "utf-8")
    assert run(["base", str(path), "-q"]) == 2
    assert "[base]" in capsys.readouterr().err


def test_without_a_trajectory_the_cloud_tells_the_flight(
    demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Seconds of the week get their week from the date of the flight: 17:00 GPS time in the demo."""
    text = (demo / "job.toml").read_text("utf-8")
    start, end = text.index("# ---- How it was flown"), text.index("# ---- What is claimed")
    path = demo / "changed.toml"
    path.write_text(text[:start] + text[end:], "utf-8")
    _, record = as_json(capsys, path)
    assert record["base"]["flight"]["source"] == "ground cloud"
    assert record["base"]["flight"]["start"].startswith("2026-05-14T17:00:0")
    assert record["base"]["checks"] == []


def verified(path: Path) -> Result:
    result = verify(load_job(path))
    jsonschema.validate(json.loads(result.to_json()), result_schema())
    return result


def test_verify_carries_base_and_trajectory(demo: Path, tmp_path: Path) -> None:
    """An independent test stays a test: the mistake is a warning with its vector, the verdicts stand."""
    before, after = verified(demo / "job.toml"), verified(changed(demo, SLANT))
    verdicts = [[c.verdict for d in r.datasets for c in d.claims] for r in (before, after)]
    assert verdicts[0] == verdicts[1]
    (told,) = [f for f in after.findings if f.code == "base-height"]
    assert told.severity.value == "warning"
    assert "raise the deliverable by 46.2 mm" in told.message
    assert_metres(float(str(told.evidence["up_m"])), 0.0462, within_m=0.001)
    assert after.trajectory["file"] == "trajectory.csv"
    assert {i.role for i in after.inputs} >= {"base-observation", "base-antex", "trajectory"}
    path = tmp_path / "result.json"
    path.write_text(after.to_json(), "utf-8")
    assert read_result(path).to_json() == after.to_json()
    files = render_all(after)
    assert "slant" in files["statement.txt"].decode()
    assert "expected to be off" in files["summary.txt"].decode()


def test_a_relative_test_says_so(demo: Path) -> None:
    """Checkpoints from the same base: said in every statement; a mistake in height leaves none of heights."""
    sound = verified(changed(demo, SAME))
    for dataset in sound.datasets:
        for claim in dataset.claims:
            assert "the test is relative to it" in claim.statement
    wrong = verified(changed(demo, SAME, SLANT))
    verdicts = {d.name: [c.verdict for c in d.claims] for d in wrong.datasets}
    assert verdicts["ground cloud"] == verdicts["elevation raster"] == ["no-statement"]
    assert verdicts["orthophoto targets"] == ["reported"]


def test_schema_of_the_trajectory_is_the_one_of_its_room() -> None:
    """The copy inside the result's schema is that of the trajectory, its parts renamed."""
    schema, own = result_schema()["$defs"], trajectory_schema()

    def renamed(part: Any) -> Any:
        return json.loads(json.dumps(part).replace('"#/$defs/', '"#/$defs/trajectory_'))

    for name, part in own["$defs"].items():
        assert schema[f"trajectory_{name}"] == renamed(part)
    whole = {k: v for k, v in own.items() if k not in ("$defs", "$schema")}
    assert schema["trajectory"] == renamed(whole)


@pytest.mark.parametrize("junk", [b"", b"\x00" * 4096, "нет".encode(), b"\x1f\x8b\x08"])
def test_junk_in_the_files(demo: Path, capsys: pytest.CaptureFixture[str], junk: bytes) -> None:
    """Observation, ANTEX or site log of junk: exit code 2, the file named, no traceback."""
    (demo / "junk").write_bytes(junk)
    for change in (
        ('observation = "base/pillar2.26o"', 'observation = "junk"'),
        ('antex = "base/antennas.atx"', 'antex = "junk"'),
        ('antex = "base/antennas.atx"', 'antex = "base/antennas.atx"\nsite_log = "junk"'),
    ):
        assert run(["base", str(changed(demo, change)), "-q"]) == 2
        err = capsys.readouterr().err
        assert "junk" in err
        assert "Traceback" not in err
        assert "fault" not in err
