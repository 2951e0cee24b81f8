"""The README tells the truth: its commands, its tables and its output."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import accuracy
from accuracy.errors import ExitCode
from accuracy.standards.library import list_standards, load_standard

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text("utf-8")


def block_after(comment: str) -> str:
    found = re.search(
        rf"<!-- from {re.escape(comment)}, compared by a test -->\n```\n(.*?)```", README, re.S
    )
    assert found is not None
    return found[1]


@pytest.mark.parametrize("name", ["summary.txt", "statement.txt"])
def test_shown_output_is_real_output(name: str) -> None:
    """Every line shown stands in the kept example, in that order; ``...`` stands for lines left out."""
    kept = iter((ROOT / "reports" / "demo" / name).read_text("utf-8").splitlines())
    shown = block_after(f"reports/demo/{name}").splitlines()
    assert len(shown) > 8
    for line in shown:
        if line.strip() != "...":
            assert any(line == other for other in kept), line


def test_the_shown_plan_is_a_real_plan(tmp_path: Path) -> None:
    """Every line shown of a plan stands in the plan of the demo, in that order."""
    from accuracy.job import load_job
    from accuracy.planning import plan
    from accuracy.reports.plan_text import render
    from accuracy.simulation.demo import build_demo

    job = load_job(build_demo(tmp_path / "site").job, planning=True)
    made = iter(render(plan(job)).splitlines())
    for line in block_after("accuracy plan").splitlines():
        if line.strip() != "...":
            assert any(line == other for other in made), line


def _plain(lines: list[str]) -> list[str]:
    """Widths of columns follow the longest name, so they mean nothing here."""
    return [" ".join(line.split()) for line in lines]


def test_the_shown_documents_side_by_side_are_real(tmp_path: Path) -> None:
    """The table of the demo's cloud, the tightest classes, and the steps to its figures."""
    from accuracy.cli.editions import explained, with_editions
    from accuracy.job import load_job
    from accuracy.pipeline import verify
    from accuracy.reports import as_summary
    from accuracy.simulation.demo import build_demo
    from accuracy.standards.judge import Evidence

    under = re.search(r"`accuracy verify JOB --under (\S+)` judges", README)
    assert under is not None
    job = with_editions(load_job(build_demo(tmp_path / "site").job), (under[1],))
    kept: dict[str, Evidence] = {}
    summary = as_summary.render(verify(job, kept=kept)).decode("utf-8")
    assert block_after("accuracy verify --under") in summary
    made = iter("".join(explained(job, kept)).splitlines())
    for line in block_after("accuracy verify --explain").splitlines():
        assert line.strip() == "..." or any(line == other for other in made), line


def test_the_shown_share_of_numbers_is_real() -> None:
    """Every document stands there with how its numbers were come by, as ``accuracy standards`` prints it."""
    from accuracy.reports.standards_text import render_list

    listed = render_list(list_standards()).split("\n\n")[0].splitlines()
    wanted = _plain([" ".join(line.split()[:6]) for line in listed])
    assert _plain(block_after("accuracy standards").splitlines()) == wanted, "\n".join(wanted)


def test_the_shown_diagnosis_is_a_real_one(demo_result: accuracy.Result) -> None:
    """Every line shown of a diagnosis stands in that of the demo, in that order."""
    from accuracy.reports.diagnosis_text import render_diagnosis
    from accuracy.units import LengthUnit

    made = iter(render_diagnosis(demo_result, LengthUnit.METRE).splitlines())
    for line in block_after("accuracy diagnose").splitlines():
        if line.strip() != "...":
            assert any(line == other for other in made), line


def test_ci_runs_exactly_the_test_command() -> None:
    """The test command of the README is the one that ``.ci/run`` executes."""
    commands = re.findall(r"^python3 -m venv .*$", README, re.M)
    assert len(commands) == 2
    assert commands[1] in (ROOT / ".ci" / "run").read_text("utf-8").splitlines()


def test_exit_codes_standards_and_claim_keys_are_all_told() -> None:
    """The tables of the README list what the code has."""
    for code in ExitCode:
        assert f"| {code.value} | " in README
    for standard in list_standards():
        name = getattr(standard, "id", standard)
        assert f"`{name}`" in README
        for key in load_standard(str(name), ROOT).claim_keys:
            assert key.name in README


def test_every_key_of_the_job_file_is_declared_with_a_meaning() -> None:
    """The schema for editors explains each key."""
    from accuracy.job import job_schema

    schema = job_schema()
    for definition in schema["$defs"].values():
        for name, key in definition.get("properties", {}).items():
            assert key.get("description"), name


def test_versions_agree() -> None:
    """The version of the package and of the project file are one."""
    assert f'version = "{accuracy.__version__}"' in (ROOT / "pyproject.toml").read_text("utf-8")


def test_top_level_is_the_house() -> None:
    """Nothing else stands at the top level."""
    import subprocess

    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.splitlines()
    allowed = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "LICENSE",
        "accuracy",
        "tests",
        "checkpoints",
        "reports",
        ".ci",
        ".gitignore",
    }
    assert {name.split("/")[0] for name in listed} <= allowed
