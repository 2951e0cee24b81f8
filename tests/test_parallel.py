"""Several workers: the same result whatever their number, kind and fate."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from pathlib import Path

import laspy
import numpy as np
import pytest

from accuracy.errors import FormatError, UsageError
from accuracy.formats import open_cloud
from accuracy.formats.las_write import write_points
from accuracy.formats.scanning import reduce_points
from accuracy.parallel import Task, Workers, read_tile
from accuracy.sampling.reading import read_in_turn
from accuracy.sampling.tin import CloudSetting, sample_cloud

SETTING = CloudSetting((2,), metres_h=1.0, metres_v=1.0, max_circumradius_m=2.0)


@pytest.fixture(scope="module")
def tiles(tmp_path_factory):
    """Write four tiles of 20 m of one invented slope; they overlap by 2 m, with the same points there."""
    folder = tmp_path_factory.mktemp("tiles")
    rng = np.random.default_rng(6)
    x, y = rng.integers(0, 80_000, 12_000), rng.integers(0, 20_000, 12_000)
    paths = []
    for number in range(4):
        own = (x >= number * 20_000 - 1000) & (x < (number + 1) * 20_000 + 1000)
        points = {"x": x[own], "y": y[own], "z": x[own] // 20 + y[own] // 50}
        points["classification"] = np.full(own.sum(), 2)
        points["gps_time"] = 1e8 + np.flatnonzero(own) * 1e-4
        path = folder / f"tile-{number}.{'laz' if number % 2 else 'las'}"
        write_points(path, points=points, point_format=6)
        paths.append(path)
    return paths


def sampled(paths, read):
    """Everything the sampling says at places all over the tiles, as text that shows each bit."""
    rng = np.random.default_rng(9)
    x, y = rng.uniform(0.0, 80.0, 25).round(3), rng.uniform(0.0, 20.0, 25).round(3)
    return repr(sample_cloud([open_cloud(p) for p in paths], x, y, SETTING, read=read))


def test_processes_in_any_number_give_the_same_bits(tiles):
    """One process or three, tiles in any order: the bits of reading in turn."""
    expected = sampled(tiles, read_in_turn)
    assert expected.count("circumradius_m") > 20
    assert "file-duplicate-points" in expected
    for count in (1, 3):
        with Workers(count) as workers:
            assert sampled(tiles, workers.read) == expected
            assert sampled(tiles[::-1], workers.read) == expected


def test_unreadable_tiles_are_named_after_the_others_were_read(tiles, tmp_path):
    """The run fails with the name of each bad tile, and the good ones were all read before."""
    bad = []
    for name in ("cut.las", "gone.las"):
        bad.append(tmp_path / name)
        bad[-1].write_bytes(tiles[0].read_bytes())
    surfaces = [open_cloud(p) for p in (bad[0], *tiles, bad[1])]
    bad[0].write_bytes(tiles[0].read_bytes()[:-40])
    bad[1].unlink()
    x, y = np.array([10.0, 30.0, 50.0, 70.0]), np.full(4, 10.0)
    for read in (read_in_turn, None):
        told: list[str] = []
        with Workers(2) as workers, pytest.raises(FormatError) as caught:
            (read or workers.read)(surfaces, x, y, 2.0, told.append)
        assert "2 files cannot be read" in str(caught.value)
        assert "cut.las" in str(caught.value)
        assert "gone.las" in str(caught.value)
        assert len(told) == 6


def test_errors_survive_the_way_between_processes(tmp_path):
    """Message, place and remedy of an error come back from a worker as they were."""
    answer = read_tile(Task(tmp_path / "none.las", None, np.zeros(1), np.zeros(1), 1.0))
    again = pickle.loads(pickle.dumps(answer)).error
    assert str(again) == str(answer.error)
    assert again.where == str(tmp_path / "none.las")
    assert again.remedy == answer.error.remedy


class PerClass:
    """Counts points and sums heights by class: a reducer."""

    fields = ("z", "classification")

    def __init__(self) -> None:
        self.count = np.zeros(256, dtype=np.int64)
        self.first: list[int] = []

    def see(self, batch):
        """Count."""
        self.count += np.bincount(batch.classification, weights=batch.z, minlength=256).astype(int)
        self.first = self.first or [int(batch.z[0])]
        assert batch.gps_time.size == 0

    def merged(self, other):
        """Add."""
        both = PerClass()
        both.count, both.first = self.count + other.count, self.first + other.first
        return both


def test_reducers_of_tiles_merge_in_their_order(tiles, tmp_path):
    """One reducer per tile, in other processes, merged as if read in turn; a bad tile is named."""
    plain = [laspy.read(path) for path in tiles]
    with Workers(2) as workers:
        found = workers.reduce(tiles, PerClass, lambda _: None)
        assert found.count[2] == sum(int(np.sum(las.Z, dtype=np.int64)) for las in plain)
        assert found.first == [int(las.Z[0]) for las in plain]
        with pytest.raises(FormatError, match=r"none\.las"):
            workers.reduce([*tiles, tmp_path / "none.las"], PerClass, lambda _: None)
    alone = reduce_points(open_cloud(tiles[0]), PerClass())
    assert alone.count[2] == int(np.sum(plain[0].Z, dtype=np.int64))


_DEADLY = """
import os, sys
from pathlib import Path
import numpy as np
import accuracy.parallel as parallel

real = parallel.read_tile
mark = Path(sys.argv[1])

def dies_once(task):
    if not mark.exists() or sys.argv[2] == "always" and task.path.name == "tile-1.laz":
        mark.touch()
        os._exit(9)
    return real(task)

parallel.read_tile = dies_once
if __name__ == "__main__":
    surfaces = [parallel.open_cloud(Path(p)) for p in sys.argv[3:]]
    x, y = np.array([10.0, 30.0, 50.0, 70.0]), np.full(4, 10.0)
    try:
        with parallel.Workers(2) as workers:
            batches = workers.read(surfaces, x, y, 2.0, lambda _: None)
        print(sum(len(b.x) for b in batches))
    except parallel.FormatError as error:
        print(error)
"""


@pytest.mark.parametrize("when", ["once", "always"])
def test_tiles_of_a_dead_worker_are_read_again(tiles, tmp_path, when):
    """A process that dies costs nothing but time; a tile that kills every one is named in the end."""
    script = tmp_path / "deadly.py"
    script.write_text(_DEADLY, encoding="utf-8")
    command = [sys.executable, script, tmp_path / "mark", when, *tiles]
    root = str(Path(__file__).resolve().parents[1])
    environment = os.environ | {"PYTHONPATH": root}
    done = subprocess.run(
        command, capture_output=True, text=True, timeout=120, check=True, env=environment
    )
    if when == "once":
        x, y = np.array([10.0, 30.0, 50.0, 70.0]), np.full(4, 10.0)
        batches = read_in_turn([open_cloud(p) for p in tiles], x, y, 2.0, lambda _: None)
        assert int(done.stdout) == sum(len(b.x) for b in batches) > 0
    else:
        assert "tile-1.laz: the worker that read it died" in done.stdout
        assert "tile-0" not in done.stdout


def test_no_scheduler_is_told_in_words(monkeypatch):
    """An address where nobody answers, and a missing extra, are mistakes of usage with a remedy."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(UsageError, match=r"accuracy\[cluster\]"):
        Workers(scheduler="tcp://127.0.0.1:9")


@pytest.mark.cluster
def test_a_scheduler_and_two_workers_give_the_same_bits(tiles, tmp_path):
    """As the README tells: a scheduler and two workers on one machine, here on the loopback address."""
    from distributed import LocalCluster

    expected = sampled(tiles, read_in_turn)
    with (
        LocalCluster(
            n_workers=2,
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            dashboard_address=None,
            local_directory=str(tmp_path),
            silence_logs=50,
        ) as cluster,
        Workers(scheduler=cluster.scheduler_address) as workers,
    ):
        assert sampled(tiles, workers.read) == expected
        assert sampled(tiles[::-1], workers.read) == expected
