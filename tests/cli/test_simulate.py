"""``accuracy simulate``: output, files, exit codes."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest

from accuracy.cli import run
from accuracy.simulation import folder as folder_module
from accuracy.simulation.faults import FAULTS, parse_fault
from accuracy.simulation.listing import WIDTH, listing, size_text
from accuracy.simulation.scenarios import SCENARIOS, Scenario, scenario


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fly with few pulses."""

    def thin(name: str) -> Scenario:
        whole = scenario(name)
        return replace(
            whole,
            payload=replace(whole.payload, pulse_rate_hz=400.0, sweep_rate_hz=8.0),
            cell_m=2.0,
        )

    monkeypatch.setattr(folder_module, "scenario_of", thin)


def test_the_list_explains_everything(capsys: pytest.CaptureFixture[str]) -> None:
    """Every scenario and every fault, with unit, sign, vector, what is seen and what it looks like."""
    assert run(["simulate", "--list"]) == 0
    text = capsys.readouterr().out
    for name in SCENARIOS:
        assert f"\n  {name}\n" in text
    for name, fault in FAULTS.items():
        assert f"\n  {name}={fault.example}" in text
    assert max(map(len, text.splitlines())) <= WIDTH
    count = len(FAULTS)
    for label in ("sign    ", "vector  ", "you see ", "like    "):
        assert text.count(f"\n    {label}") == count


def test_the_readme_shows_what_is_printed() -> None:
    """Every line of the README's excerpt stands in the list, in that order; all scenarios are named there."""
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text("utf-8")
    found = re.search(r"<!-- from accuracy simulate --list, .*? -->\n```\n(.*?)```", readme, re.S)
    assert found is not None
    assert found[1] in listing()
    for name in SCENARIOS:
        assert f"`{name}`" in readme


@pytest.mark.usefixtures("quick")
def test_a_flight_is_written_and_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It says what was put in, what was made, and what to do next; several faults at a time."""
    monkeypatch.chdir(tmp_path)
    arguments = ["simulate", "site", "--scenario", "hills", "--seed", "3", "-q"]
    arguments += ["--fault", "boresight-roll=0.02deg", "--fault", "base-slant=44mm"]
    assert run(arguments) == 0
    out = capsys.readouterr().out
    assert "Put in: boresight-roll = 0.02 deg" in out
    assert "Put in: base-slant = 0.044 m" in out
    assert "accuracy verify site/job.toml" in out
    truth = json.loads((tmp_path / "site" / "truth.json").read_text("utf-8"))
    assert (truth["scenario"], truth["seed"]) == ("hills", 3)
    assert {each["name"] for each in truth["faults"]} == {"boresight-roll", "base-slant"}
    for name in ("cloud.laz", "dem.tif", "trajectory.csv", "base/pillar2.26o"):
        assert name in out
        assert (tmp_path / "site" / name).is_file()
    # once more into the same folder
    before = sorted(path.name for path in (tmp_path / "site").iterdir())
    assert run(arguments) == 2
    assert "holds files" in capsys.readouterr().err
    assert sorted(path.name for path in (tmp_path / "site").iterdir()) == before


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ([], "no folder is named"),
        (["site", "--scenario", "hils"], "did you mean hills?"),
        (["site", "--scenario", ""], "there is no scenario ''"),
        (["site", "--fault", "bore-roll=0.02deg"], "there is no fault 'bore-roll'"),
        (["site", "--fault", "base-slnt=44mm"], "did you mean base-slant?"),
        (["site", "--fault", "base-slant=44"], "has no unit"),
        (["site", "--fault", "base-slant"], "has no size"),
        (["site", "--fault", "base-slant=nanmm"], "not a number with a unit"),
        (["site", "--fault", "base-slant=44km"], "has the unit 'km'"),
        (["site", "--fault", "boresight-roll=90deg"], "taken for a slip"),
        (["site", "--fault", "base-up=1mm", "--fault", "base-up=2mm"], "given twice"),
        (["site", "--fault", "frame-older=1"], "no older realisation"),
        (["site", "--seed", "-1"], "the seed is -1"),
        (["site", "--seed", "x"], "Invalid value"),
        (["site", "--cloud", "e57"], "Invalid value"),
    ],
)
def test_wrong_input_is_told_in_words(
    arguments: list[str],
    told: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Exit code 2, one message with a remedy, nothing written."""
    monkeypatch.chdir(tmp_path)
    assert run(["simulate", *arguments, "-q"]) == 2
    error = capsys.readouterr().err
    assert told in error
    assert "remedy" in error
    assert "Traceback" not in error
    assert list(tmp_path.iterdir()) == []


def test_sizes_are_shown_as_they_can_be_typed() -> None:
    """What is printed of a size, typed again, is the same size."""
    for name, fault in FAULTS.items():
        size = parse_fault(f"{name}={fault.example}")[1]
        assert parse_fault(f"{name}={size_text(name, size)}") == (name, size)
