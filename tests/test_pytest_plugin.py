"""The pytest plugin, in a throw-away repository with a pytest of its own."""

from __future__ import annotations

import subprocess
import sys
from importlib import metadata
from pathlib import Path

import compare_site
import pytest

TESTS = """
def test_meets(accuracy_job):
    claim = accuracy_job("jobs/job.toml").meets("asprs-2024", vertical_class_cm=5)
    assert claim.verdict == "passes"

def test_is_missed(accuracy_job):
    accuracy_job("jobs/job.toml").meets("asprs-2024", vertical_class_cm=2)

def test_has_no_statement(accuracy_job):
    accuracy_job("few/job.toml").meets("asprs-2024", vertical_class_cm=5)

def test_wrong_key(accuracy_job):
    accuracy_job("jobs/job.toml").meets("asprs-2024", vertical_class=5)

def test_no_limit(accuracy_job):
    accuracy_job("jobs/job.toml").meets("nssda-1998")

def test_no_such_dataset(accuracy_job):
    accuracy_job("jobs/job.toml").meets("asprs-2024", dataset="orthophoto", vertical_class_cm=5)

def test_no_such_job(accuracy_job):
    accuracy_job("jobs/none.toml").meets("asprs-2024", vertical_class_cm=5)

def test_the_result_itself(accuracy_job):
    assert accuracy_job("jobs/job.toml").result.verdict == "passes"
"""


def run_pytest(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run pytest there; the plugin comes by its entry point where the package is installed with it."""
    known = {point.name for point in metadata.entry_points(group="pytest11")}
    plugin = [] if "accuracy" in known else ["-p", "accuracy.pytest_plugin"]
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", *plugin, *arguments],
        cwd=folder,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        timeout=120,
    )


@pytest.fixture(scope="module")
def repository(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("repository")
    compare_site.make_run(folder / "jobs", compare_site.errors("before"))
    compare_site.make_run(folder / "few", compare_site.errors("before")[:10])
    (folder / "pytest.ini").write_text("[pytest]\nfilterwarnings = error\n", "utf-8")
    (folder / "test_site.py").write_text(TESTS, "utf-8")
    return folder


def test_a_processing_repository_tests_its_deliverables(repository: Path) -> None:
    """One claim met, one missed; no statement and wrong use fail as well: none is skipped, none passes."""
    done = run_pytest(repository, "-rA", "-q")
    outcomes = {
        line.split("::")[1].split(" ")[0]: (line.split(" ")[0], line.partition(" - ")[2])
        for line in done.stdout.splitlines()
        if line.startswith(("PASSED", "FAILED", "ERROR", "SKIPPED")) and "::" in line
    }
    assert outcomes["test_meets"][0] == "PASSED", done.stdout
    assert outcomes["test_the_result_itself"][0] == "PASSED"
    for name, says in (
        ("test_is_missed", "AssertionError: "),
        ("test_has_no_statement", "accuracy.errors.NoState"),
        ("test_wrong_key", "accuracy.errors.JobError"),
        ("test_no_limit", "accuracy.errors.UsageEr"),
        ("test_no_such_dataset", "accuracy.errors.JobError"),
        ("test_no_such_job", "accuracy.errors.JobError"),
    ):
        word, message = outcomes[name]
        assert word == "FAILED"
        assert message.startswith(says), message
    assert "ground targets: FAILS asprs-2024, vertical_class_cm = 2" in done.stdout
    assert "ground targets: NO STATEMENT asprs-2024, vertical_class_cm = 5" in done.stdout
    assert "0.0431 > 0.0200 m, n = 40" in done.stdout
    assert "because 10 non-vegetated checkpoints, at least 30 wanted" in done.stdout
    assert "6 failed, 2 passed" in done.stdout
    assert "skipped" not in done.stdout


def test_nothing_heavy_is_loaded_when_pytest_starts(tmp_path: Path) -> None:
    """A project that has the package installed and does not use it pays nothing."""
    heavy = ["numpy", "scipy", "pandas", "laspy", "rasterio", "pyproj", "pydantic", "matplotlib"]
    (tmp_path / "test_light.py").write_text(
        "import sys\n\ndef test_light():\n"
        f"    assert 'accuracy.pytest_plugin' in sys.modules\n"
        f"    assert [m for m in {heavy} if m in sys.modules] == []\n",
        "utf-8",
    )
    done = run_pytest(tmp_path, "-q")
    assert done.returncode == 0, done.stdout
