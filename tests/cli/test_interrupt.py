"""An interrupt at any moment leaves nothing half-written behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from jobs import CRS, plane_checkpoints, write_job, write_plane_cloud, write_points_table

from accuracy.errors import ExitCode

ROOT = Path(__file__).resolve().parents[2]

#: Runs the command line, and waits at one place until the signal comes.
_SLOW = """
import importlib, sys, time
from pathlib import Path

if __name__ == "__main__":
    module, name, mark = sys.argv[1:4]
    holder = importlib.import_module(module)
    *owners, attribute = name.split(".")
    for owner in owners:
        holder = getattr(holder, owner)
    real = getattr(holder, attribute)

    def slow(*args, **kwargs):
        found = real(*args, **kwargs)
        Path(mark).touch()
        for _ in range(600):
            time.sleep(0.05)
        return found

    setattr(holder, attribute, slow)
    from accuracy.cli import run
    sys.exit(run(sys.argv[4:]))
"""


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """Write a job of two tiles."""
    site = tmp_path / "site"
    site.mkdir()
    for name in ("a.laz", "b.laz"):
        write_plane_cloud(site / name, wkt=None)
    write_points_table(site / "points.csv", plane_checkpoints())
    dataset = {"name": "cloud", "kind": "point-cloud", "files": ["*.laz"], "crs": CRS}
    return write_job(site, datasets=[dataset])


@pytest.mark.skipif(os.name != "posix", reason="sends POSIX signals")
@pytest.mark.parametrize(
    ("module", "name", "more"),
    [
        ("accuracy.preparation", "prepare", []),
        ("accuracy.formats.las", "LasCloud._tell", ["--reuse-hashes"]),
        ("accuracy.pipeline", "inputs_of_job", ["--reuse-hashes"]),
        ("accuracy.pipeline", "inputs_of_job", ["--workers", "2"]),
        ("accuracy.reports.folder", "_write", []),
    ],
)
def test_an_interrupt_ends_with_130_and_no_residue(
    job: Path, tmp_path: Path, module: str, name: str, more: list[str]
) -> None:
    """While reading, hashing or writing: exit code 130, one line, and the folder as it was before."""
    before = sorted(job.parent.rglob("*"))
    script, mark = tmp_path / "slow.py", tmp_path / "mark"
    script.write_text(_SLOW, "utf-8")
    process = subprocess.Popen(
        [sys.executable, script, module, name, mark, "verify", job, "-q", *more],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        for _ in range(600):
            if mark.exists() or process.poll() is not None:
                break
            time.sleep(0.05)
        assert mark.exists()
        os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to the workers as well
        out, err = process.communicate(timeout=60)
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
    assert process.returncode == ExitCode.INTERRUPTED
    assert out == ""
    assert err.strip() == "interrupted; no half-written result was left behind"
    assert sorted(job.parent.rglob("*")) == before
