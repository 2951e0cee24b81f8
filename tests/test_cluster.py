"""A scheduler and its workers, started as the README tells, and what happens when one of them dies."""

from __future__ import annotations

import json
import os
import re
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np
import pytest
from jobs import CRS, plane_checkpoints, write_job, write_plane_cloud, write_points_table

from accuracy.cli import run
from accuracy.errors import ExitCode, FormatError, UsageError
from accuracy.formats import open_cloud
from accuracy.formats.las_write import write_points
from accuracy.parallel import Workers
from accuracy.sampling.reading import read_in_turn

ROOT = Path(__file__).resolve().parents[1]
README_ADDRESS = "tcp://127.0.0.1:8786"

pytestmark = pytest.mark.cluster


def free_port() -> int:
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        return int(listening.getsockname()[1])


def answers(port: int) -> bool:
    with socket.socket() as trying:
        return trying.connect_ex(("127.0.0.1", port)) == 0


def wait_for(reached: Callable[[], bool]) -> None:
    for _ in range(300):
        if reached():
            return
        time.sleep(0.1)
    raise AssertionError("not reached in 30 s")


def readme_commands(port: int) -> list[list[str]]:
    """Give the README's commands after the installation, with another port."""
    block = re.search(r"```\npip install 'accuracy\[cluster\]'\n(.*?)```", README, re.S)
    assert block is not None
    lines = block[1].replace("8786", str(port)).splitlines()
    assert [line.split()[:2] for line in lines] == [
        ["dask", "scheduler"],
        ["dask", "worker"],
        ["accuracy", "verify"],
    ]
    return [line.split() for line in lines]


README = (ROOT / "README.md").read_text("utf-8")


@pytest.fixture
def started(tmp_path: Path) -> Iterator[Callable[[Sequence[str]], subprocess.Popen[bytes]]]:
    """Start ``dask`` commands, and end them with all they started."""
    running: list[subprocess.Popen[bytes]] = []
    environment = os.environ | {
        "PYTHONPATH": str(ROOT),
        "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "1",
    }

    def start(command: Sequence[str]) -> subprocess.Popen[bytes]:
        assert command[0] == "dask"
        options = ["--no-dashboard"]
        if command[1] == "worker":
            options += ["--local-directory", str(tmp_path / "scratch")]
        log = (tmp_path / f"{command[1]}.log").open("ab")
        with log:
            running.append(
                subprocess.Popen(
                    [sys.executable, "-m", "dask", *command[1:], *options],
                    stdout=log,
                    stderr=log,
                    env=environment,
                    cwd=tmp_path,
                )
            )
        return running[-1]

    yield start
    for process in reversed(running):  # the workers first
        process.terminate()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(20)


def outside_run(folder: Path) -> dict[str, object]:
    """Read a result without what may differ between identical runs."""
    result: dict[str, object] = json.loads((folder / "result.json").read_text("utf-8"))
    return {key: value for key, value in result.items() if key != "run"}


def test_the_readme_s_commands_give_the_result_of_one_process(
    tmp_path: Path, started: Callable[[Sequence[str]], subprocess.Popen[bytes]]
) -> None:
    """Scheduler and two workers on one machine: the demo's result, byte for byte; the run says who read."""
    site = tmp_path / "site"
    assert run(["demo", str(site), "-q"]) == ExitCode.PASSES
    job = next(site.rglob("*.toml"))
    scheduler, worker, verify = readme_commands(free_port())
    started(scheduler)
    started(worker)
    assert verify[2] == "site/job.toml"
    asked = ["verify", str(job), *verify[3:], "-q", "-o", str(tmp_path / "cluster")]
    assert run(asked) == ExitCode.FAILS  # as a claim of the demo does
    assert outside_run(tmp_path / "cluster") == outside_run(job.with_name("job.accuracy"))
    told = json.loads((tmp_path / "cluster" / "result.json").read_text("utf-8"))["run"]
    assert told["scheduler"] == verify[4]
    assert told["workers"] in (1, 2)  # the second may have come later


_DEADLY = '''
"""A preload of a worker: it dies on its first tile, or whenever it meets one tile."""
import os, time
from pathlib import Path
import accuracy.parallel as parallel

real = getattr(parallel.read_tile, "real", parallel.read_tile)  # a preload may be run twice
mark = Path({mark!r})

def dies(task):
    if task.path.name == {always!r} or not mark.exists():
        mark.touch()
        time.sleep(0.5)
        os._exit(9)
    return real(task)

dies.real = real
parallel.read_tile = dies
'''


@pytest.mark.parametrize("always", [None, "tile-1.las"])
def test_tiles_of_a_lost_worker_are_read_again(
    tmp_path: Path,
    started: Callable[[Sequence[str]], subprocess.Popen[bytes]],
    always: str | None,
) -> None:
    """A worker that dies costs nothing but time; a tile that kills each one is named, the others are read."""
    paths = []
    rng = np.random.default_rng(5)
    for number in range(3):
        x = number * 20_000 + rng.integers(0, 20_000, 3000)
        y = rng.integers(0, 20_000, 3000)
        paths.append(tmp_path / f"tile-{number}.las")
        write_points(paths[-1], points={"x": x, "y": y, "z": x // 20}, point_format=6)
    preload = tmp_path / "deadly.py"
    preload.write_text(_DEADLY.format(mark=str(tmp_path / "mark"), always=always), "utf-8")
    scheduler, worker, _ = readme_commands(free_port())
    started(scheduler)
    started([*worker, "--preload", str(preload)])
    surfaces = [open_cloud(path) for path in paths]
    x, y = np.array([10.0, 30.0, 50.0]), np.full(3, 10.0)
    told: list[str] = []
    with Workers(scheduler=worker[2]) as workers:
        wait_for(lambda: workers.count == 2)  # a nanny gives up a worker that dies while it starts
        if always is None:
            batches = workers.read(surfaces, x, y, 2.0, told.append)
            plain = read_in_turn([open_cloud(p) for p in paths], x, y, 2.0, lambda _: None)
            for field in ("x", "y", "z"):
                ours, theirs = (
                    np.sort(np.concatenate([getattr(batch, field) for batch in found]))
                    for found in (batches, plain)
                )
                np.testing.assert_array_equal(ours, theirs)
            assert len(plain[0].x) > 0
        else:
            with pytest.raises(FormatError, match="worker that read it died") as caught:
                workers.read(surfaces, x, y, 2.0, told.append)
            assert always in str(caught.value)
            assert "tile-0" not in str(caught.value)
    assert (tmp_path / "mark").exists()
    assert len(told) == 3


def test_a_scheduler_that_is_absent_or_has_no_workers_is_told(
    started: Callable[[Sequence[str]], subprocess.Popen[bytes]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody answers, or nobody works: a mistake of usage with the command that mends it."""
    monkeypatch.setattr("accuracy.parallel.CONNECT_S", 1)
    port = free_port()
    with pytest.raises(UsageError, match="no scheduler answers"):
        Workers(scheduler=f"tcp://127.0.0.1:{port}")
    scheduler, worker, _ = readme_commands(port)
    started(scheduler)
    wait_for(lambda: answers(port))
    with pytest.raises(UsageError, match="has no workers") as caught:
        Workers(scheduler=worker[2])
    assert worker[2] in str(caught.value.remedy)


def test_a_scheduler_that_goes_away_is_told_without_a_traceback(
    tmp_path: Path, started: Callable[[Sequence[str]], subprocess.Popen[bytes]]
) -> None:
    """The scheduler dies while a tile is read: exit code 2, a remedy, and nothing of the library's."""
    site = tmp_path / "site"
    site.mkdir()
    write_plane_cloud(site / "a.laz", wkt=None)
    write_points_table(site / "points.csv", plane_checkpoints())
    dataset = {"name": "cloud", "kind": "point-cloud", "files": ["a.laz"], "crs": CRS}
    job, mark, preload = (
        write_job(site, datasets=[dataset]),
        tmp_path / "mark",
        tmp_path / "slow.py",
    )
    preload.write_text(
        "import time\nfrom pathlib import Path\nimport accuracy.parallel as parallel\n"
        f"parallel.read_tile = lambda task: (Path({str(mark)!r}).touch(), time.sleep(600))\n",
        "utf-8",
    )
    scheduler, worker, verify = readme_commands(free_port())
    process = started(scheduler)
    started([*worker, "--preload", str(preload)])
    program = "import sys; from accuracy.cli import run; sys.exit(run())"
    running = subprocess.Popen(
        [sys.executable, "-c", program, "verify", str(job), *verify[3:], "-q"],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        wait_for(mark.exists)
        process.kill()
        _, told = running.communicate(timeout=60)
    finally:
        running.kill()
    assert running.returncode == ExitCode.COULD_NOT_RUN
    assert told.startswith(f"error: the scheduler at {worker[2]} went away")
    assert "remedy: start it again" in told
    assert "Traceback" not in told
    assert not job.with_name("job.accuracy").exists()


def test_a_scheduler_that_loses_its_workers_is_told(
    tmp_path: Path,
    started: Callable[[Sequence[str]], subprocess.Popen[bytes]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Workers that end before a tile is read, and do not come back: an error, not a wait for ever."""
    monkeypatch.setattr("accuracy.parallel.LOOK_S", 0.1)
    monkeypatch.setattr("accuracy.parallel.LOST_S", 0.5)
    write_points(tmp_path / "a.las", points={"x": [0], "y": [0], "z": [0]}, point_format=6)
    preload = tmp_path / "slow.py"
    preload.write_text(
        "import time\nimport accuracy.parallel as parallel\n"
        "parallel.read_tile = lambda task: time.sleep(600)\n",
        "utf-8",
    )
    scheduler, worker, _ = readme_commands(free_port())
    started(scheduler)
    process = started([*worker, "--preload", str(preload)])
    with Workers(scheduler=worker[2]) as workers:
        wait_for(lambda: workers.count == 2)
        threading.Timer(0.5, process.terminate).start()
        with pytest.raises(UsageError, match="has lost all its workers") as caught:
            workers.read([open_cloud(tmp_path / "a.las")], np.zeros(1), np.zeros(1), 2.0, print)
    assert worker[2] in str(caught.value.remedy)
