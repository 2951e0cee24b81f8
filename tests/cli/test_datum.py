"""The command ``accuracy datum``: output, exit codes, JSON, self-test, a foreign environment."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from jobs import write_job, write_points_table

from accuracy.cli import run
from accuracy.errors import ExitCode
from accuracy.georeferencing import self_test
from accuracy.simulation.demo import build_demo

#: Two invented points near each other, longitude, latitude, ellipsoidal height.
POINTS = [["A1", -104.99, 39.74, 1600.0], ["A2", -104.98, 39.75, 1601.5]]
ITRF = {"crs": "EPSG:7912", "epoch": 2025.0}
TARGETS = {"name": "targets", "kind": "measured-points", "files": ["measured.csv"]}


def job(folder: Path, checkpoints: Mapping[str, Any], *targets: Mapping[str, Any]) -> Path:
    """Write a job whose checkpoints are geographic, with measured points in other systems."""
    write_points_table(folder / "points.csv", POINTS, header="id,lon,lat,height")
    write_points_table(
        folder / "measured.csv", [["A1", 500_857.0, 4_398_824.0]], header="id,easting,northing"
    )
    return write_job(folder, checkpoints=checkpoints, datasets=[TARGETS | one for one in targets])


def shown(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> tuple[int, str, str]:
    code = run(["datum", *map(str, arguments), "-q"])
    out, err = capsys.readouterr()
    return code, out, err


def test_a_chain_with_coordinates_after_every_step(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Both sides, operation with code and epoch, digits to check by hand, mistakes, versions."""
    path = job(tmp_path, ITRF, {"crs": "EPSG:6342"})
    code, out, err = shown(capsys, path)
    assert (code, err) == (ExitCode.PASSES, "")
    for words in (
        "frame        International Terrestrial Reference Frame 2014, moves with time; epoch 2025",
        "The way of A1, step by step",
        "-104.990000000°   -104° 59' 24.000000\"",
        "[EPSG:8970]",
        "stated accuracy: unknown",
        "+convention=coordinate_frame",
        "not applied",
        "ITRF2014 taken for NAD83(2011)",
        "in UTM zone 14 in the place of 13",
        "EPSG dataset",
    ):
        assert words in out, words
    assert max(map(len, out.splitlines())) <= 100
    assert "\t" not in out


def test_one_point_and_one_dataset(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is asked for and nothing else; unknown names are usage errors with the known ones."""
    path = job(tmp_path, ITRF, {"crs": "EPSG:6342"}, {"name": "plate", "crs": "EPSG:6318"})
    code, out, _ = shown(capsys, path, "--point", "A2", "--dataset", "plate", "--json")
    assert code == ExitCode.PASSES
    data = json.loads(out)
    (only,) = data["datasets"]
    assert (only["dataset"], only["walk"]["point"]) == ("plate", "A2")
    assert set(data["versions"]) >= {"PROJ", "EPSG dataset", "pyproj"}
    for wrong in (("--point", "A3"), ("--dataset", "cloud")):
        code, out, err = shown(capsys, path, *wrong)
        assert (code, out) == (ExitCode.COULD_NOT_RUN, "")
        assert wrong[1] in err
        assert "A1" in err or "plate" in err


def test_a_refused_chain_ends_with_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without an epoch: shown up to the refusal, with the finding and its remedy."""
    path = job(tmp_path, {"crs": "EPSG:7912"}, {"crs": "EPSG:6342"})
    code, out, _ = shown(capsys, path)
    assert code == ExitCode.FAILS
    assert "longitude and latitude of the point on its own datum" in out
    assert "refused here" in out
    assert "[crs-epoch-missing]" in out
    assert "-> state epoch" in out


def test_an_identity_is_called_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing transformed, nothing added, the same numbers."""
    path = job(tmp_path, {"crs": "EPSG:6319"}, {"crs": "EPSG:6319"})
    code, out, _ = shown(capsys, path)
    assert code == ExitCode.PASSES
    assert "horizontal     identity, compared as it is" in out
    assert "horizontal: identity, nothing is transformed" in out
    assert "as compared with the deliverable: the same numbers" in out
    assert "nothing is transformed, nothing is added" in out


def test_a_job_or_the_self_test(capsys: pytest.CaptureFixture[str]) -> None:
    """Neither and both are usage errors."""
    assert shown(capsys)[0] == ExitCode.COULD_NOT_RUN
    code, _, err = shown(capsys, "job.toml", "--self-test")
    assert code == ExitCode.COULD_NOT_RUN
    assert "stands alone" in err
    assert shown(capsys, "nowhere.toml")[0] == ExitCode.COULD_NOT_RUN


def test_the_self_test_agrees(capsys: pytest.CaptureFixture[str]) -> None:
    """Each value with source, published and computed figures; exit code 0."""
    code, out, _ = shown(capsys, "--self-test")
    assert code == ExitCode.PASSES
    entries = self_test.published()
    total = sum(map(len, entries.values()))
    assert f"{total} of {total} agree (PROJ " in out
    assert out.count("source: ") == total
    assert max(map(len, out.splitlines())) <= 100
    code, out, _ = shown(capsys, "--self-test", "--json")
    assert json.loads(out)["agrees"] is True


def test_the_self_test_can_fail(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A library that gives other numbers is told as such, with exit code 1."""
    entries = self_test.published()
    entries["value"][0]["published"][2] += 0.01
    monkeypatch.setattr(self_test, "published", lambda: entries)
    code, out, _ = shown(capsys, "--self-test")
    assert code == ExitCode.FAILS
    assert "DOES NOT AGREE: ITRF2020 to ETRF2020" in out
    assert "beyond the tolerance" in out
    assert "has changed, or is damaged" in out


def test_a_foreign_environment_is_reported_and_harmless(tmp_path: Path) -> None:
    """A broken database in PROJ_DATA and PROJ_LIB changes no digit, and is told."""
    foreign = tmp_path / "foreign"
    foreign.mkdir()
    (foreign / "proj.db").write_bytes(b"not a database")
    path = job(tmp_path, ITRF, {"crs": "EPSG:6342"})
    clean = {name: v for name, v in os.environ.items() if not name.startswith(("PROJ_", "GDAL_"))}
    texts = []
    for more in ({}, {"PROJ_DATA": str(foreign), "PROJ_LIB": str(foreign)}):
        done = subprocess.run(
            [sys.executable, "-m", "accuracy", "datum", str(path), "-q"],
            capture_output=True,
            encoding="utf-8",
            timeout=120,
            check=False,
            env=clean | more,
        )
        assert done.returncode == ExitCode.PASSES, done.stderr
        texts.append(done.stdout)
    assert texts[1].startswith(texts[0])
    assert "PROJ_DATA is set to" in texts[1]
    assert "PROJ_LIB is set to" in texts[1]


def test_the_readme_shows_real_output(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every line of the README's example is printed for the demo, in that order."""
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text("utf-8")
    found = re.search(
        r"<!-- from accuracy datum, compared by a test -->\n```\n(.*?)```", readme, re.S
    )
    assert found is not None
    monkeypatch.chdir(tmp_path)
    build_demo(Path("site"))
    _, out, _ = shown(capsys, "site/job.toml", "--point", "CP17")
    printed = iter(out.splitlines())
    lines = [line for line in found[1].splitlines() if line.strip() != "..."]
    assert len(lines) > 15
    for line in lines:
        assert any(line == other for other in printed), line
