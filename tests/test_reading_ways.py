"""Ways of reading, from the command line: same bytes outside `run`, and `run` says what was done."""

from __future__ import annotations

import json
import os

import pytest
from jobs import CRS, plane_checkpoints, write_job, write_plane_cloud, write_points_table

from accuracy.cli import progress as progress_module
from accuracy.cli import run
from accuracy.cli.progress import Progress
from accuracy.formats import las_search
from accuracy.formats.las import open_las
from accuracy.provenance import Hashing, sha256_of


@pytest.fixture
def site(tmp_path, monkeypatch):
    """Write a job of two uncompressed tiles, each of several chunks."""
    monkeypatch.setattr(las_search, "BLOCK_POINTS", 700)
    for name in ("west.las", "east.las"):
        write_plane_cloud(tmp_path / name, wkt=None)
    write_points_table(tmp_path / "points.csv", plane_checkpoints())
    dataset = {"name": "cloud", "kind": "point-cloud", "files": ["west.las", "east.las"]}
    return write_job(tmp_path, datasets=[dataset | {"crs": CRS, "max_circumradius_m": 2.0}])


def verified(site, *options):
    """Run the command; give the result without `run`, and `run`."""
    assert run(["verify", str(site), "-q", *options]) == 0
    result = json.loads((site.parent / "job.accuracy" / "result.json").read_text("utf-8"))
    return result, result.pop("run")


def test_every_way_gives_the_same_result(site):
    """Alone, with an index, with recorded hashes, with two workers: only `run` differs, and tells how."""
    plain, ran = verified(site, "--no-index")
    assert ran["workers"] == 1
    assert ran["notes"] == []
    assert not (site.parent / "job.accuracy-index").exists()
    verified(site, "--reuse-hashes")
    names = {p.name.split("-")[0] for p in (site.parent / "job.accuracy-index").iterdir()}
    assert names == {"west.las", "east.las", "hashes.json"}
    again, ran = verified(site, "--reuse-hashes")
    assert again == plain
    assert sum("SHA-256 was recorded" in note for note in ran["notes"]) == 4  # job, table, tiles
    several, ran = verified(site, "--workers", "2", "--index", str(site.parent / "elsewhere"))
    assert several == plain
    assert ran["workers"] == 2


def test_a_run_that_fails_leaves_no_index(site, capsys):
    """One tile is whole and one cut: the run fails with the tile's name, and no new folder stays."""
    (site.parent / "east.las").write_bytes((site.parent / "east.las").read_bytes()[:-300])
    assert run(["verify", str(site), "-q"]) == 2
    assert "east.las" in capsys.readouterr().err
    assert not (site.parent / "job.accuracy-index").exists()


def test_recorded_hashes_are_taken_only_while_size_and_time_agree(tmp_path):
    """A file that changed is hashed again; a damaged record is said and made again."""
    path, record = tmp_path / "a.las", tmp_path / "aside" / "hashes.json"
    path.write_bytes(b"one")
    for taken in (False, True):
        with Hashing(record) as hashing:
            assert hashing.of(path) == sha256_of(path)
        assert bool(hashing.notes) is taken
    state = path.stat()
    path.write_bytes(b"two")
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns + 1_000_000))
    with Hashing(record) as hashing:
        assert hashing.of(path) == sha256_of(path)
    assert hashing.notes == []
    for damage in ("{", "[]", '{"format": "accuracy-hashes", "files": {"x": {"sha256": "1"}}}'):
        record.write_text(damage, encoding="utf-8")
        with Hashing(record) as hashing:
            assert hashing.of(path) == sha256_of(path)
        assert "not used" in hashing.notes[0]
    with Hashing(record) as hashing:
        hashing.of(path)
    assert "recorded by an earlier run" in hashing.notes[0]
    with Hashing() as hashing:
        hashing.of(path)
    assert hashing.notes == []


def test_progress_tells_points_rate_and_time_left(site, monkeypatch, capsys):
    """After ten of forty million points in ten seconds, thirty seconds are left at that rate."""
    now = [100.0]
    monkeypatch.setattr(progress_module.time, "monotonic", lambda: now[0])
    with Progress(quiet=False) as progress:
        progress("west.las")
        now[0] += 1.0
        progress.points(5_000_000, 40_000_000)  # too soon for another line
        now[0] += 9.0
        progress.points(10_000_000, 40_000_000)
        progress("east.las")
    assert capsys.readouterr().err.splitlines() == [
        "west.las",
        "west.las: 10.0 of 40.0 million points, 1.0 million/s, 30 s left",
        "east.las",
    ]


def test_a_cloud_tells_how_many_points_were_looked_at(site, monkeypatch):
    """The numbers grow to the total, whatever the way of reading."""
    monkeypatch.setattr(las_search, "LAS_GROUP_POINTS", 1500)
    told = []
    cloud = open_las(site.parent / "west.las")
    cloud.on_read = lambda done, total: told.append((done, total))
    assert sum(len(batch.x) for batch in cloud.scan()) == 4000
    assert [done for done, _ in told] == [1400, 2800, 4000]
    assert {total for _, total in told} == {4000}
