"""The index of chunks: used when it fits, made again when not, never trusted beyond that."""

from __future__ import annotations

import os

import numpy as np
import pytest

from accuracy.formats import las_search
from accuracy.formats.chunk_index import index_path
from accuracy.formats.las import open_las
from accuracy.formats.las_write import write_points

COUNT = 300_000


def strip(path, shift=0):
    """Write points flown along x: six chunks side by side."""
    rng = np.random.default_rng(8)
    x = np.sort(rng.integers(0, 600_000, COUNT)) + shift
    points = {"x": x, "y": rng.integers(0, 20_000, COUNT), "z": x // 50}
    write_points(path, points=points, point_format=6)


@pytest.fixture(params=[".las", ".laz"])
def cloud(request, tmp_path):
    """Give the path of a strip, and a folder for its index."""
    path = tmp_path / f"strip{request.param}"
    strip(path)
    return path, tmp_path / "aside"


def near(opened):
    """Points near one place, and the notes."""
    batches = list(opened.near(np.array([150.0]), np.array([10.0]), 3.0))
    rows = np.concatenate([np.column_stack([b.x, b.y, b.z]) for b in batches])
    return rows.tolist(), opened.notes, opened.reading_findings


def test_a_second_run_reads_the_chunks_it_needs(cloud):
    """The first run keeps an index beside nothing of the client's; the second reads one chunk of six."""
    path, folder = cloud
    before = sorted(path.parent.iterdir())
    plain, _, _ = near(open_las(path))
    assert sorted(path.parent.iterdir()) == before  # none is kept unless asked for
    first, notes, _ = near(open_las(path, folder))
    assert notes == []
    assert [f.name for f in folder.iterdir()] == [index_path(folder, path).name]
    second, notes, _ = near(open_las(path, folder))
    assert notes == [f"{path.name}: 1 of 6 chunks were read, chosen by the index of an earlier run"]
    assert first == second == plain


def test_an_index_of_a_changed_file_is_made_again(cloud):
    """Other points, or only another time: the index is out of date, said, and made again."""
    path, folder = cloud
    near(open_las(path, folder))
    strip(path, shift=40_000)
    rows, notes, _ = near(open_las(path, folder))
    assert notes == [
        f"{path.name}: its index is out of date: the file has changed; it is made again"
    ]
    assert rows == near(open_las(path))[0]
    state = path.stat()
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns + 1_000_000_000))
    assert "out of date" in near(open_las(path, folder))[1][0]
    assert "1 of 6" in near(open_las(path, folder))[1][0]


@pytest.mark.parametrize("damage", ["cut", "bit", "head", "empty", "folder"])
def test_a_damaged_index_is_made_again(cloud, damage):
    """No damage to an index changes an answer."""
    path, folder = cloud
    expected, _, _ = near(open_las(path, folder))
    kept = index_path(folder, path)
    data = bytearray(kept.read_bytes())
    if damage == "folder":
        kept.unlink()
        kept.mkdir()
    elif damage == "bit":
        data[-7] ^= 1
        kept.write_bytes(data)
    else:
        kept.write_bytes({"cut": data[:-1], "head": b"[]" + data[2:], "empty": b""}[damage])
    rows, notes, _ = near(open_las(path, folder))
    assert rows == expected
    assert "it is made again" in notes[0]
    assert [f.name for f in folder.iterdir()] == [kept.name]  # nothing half written is left
    if damage != "folder":
        assert "1 of 6" in near(open_las(path, folder))[1][0]


def test_an_index_that_lies_is_found_out(tmp_path):
    """Points changed behind the file's size, time and header: what is read does not fill the stated boxes."""
    path, folder = tmp_path / "strip.las", tmp_path / "aside"
    strip(path)
    near(open_las(path, folder))
    state = path.stat()
    data = bytearray(path.read_bytes())
    start = int.from_bytes(data[96:100], "little")
    for point in range(50_000):  # other points near the place
        at = start + (50_000 + point) * 30
        data[at : at + 4] = (148_000 + point // 10).to_bytes(4, "little")
    path.write_bytes(data)
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))
    rows, notes, _ = near(open_las(path, folder))
    assert "does not fit the points" in notes[0]
    assert rows == near(open_las(path))[0]


def test_an_index_that_cannot_be_written_is_said(cloud):
    """The answer does not depend on room for the index."""
    path, folder = cloud
    folder.write_text("in the way", encoding="utf-8")
    rows, notes, _ = near(open_las(path, folder))
    assert any("cannot be written" in note for note in notes)
    assert rows == near(open_las(path))[0]


def test_findings_are_those_of_the_first_run(tmp_path):
    """Points outside the header's box are told of in full, although most are not read again."""
    path, folder = tmp_path / "strip.las", tmp_path / "aside"
    strip(path)
    data = bytearray(path.read_bytes())
    data[179:187] = np.array([350.0]).tobytes()  # largest x: 600 m in truth
    path.write_bytes(data)
    first = near(open_las(path, folder))
    second = near(open_las(path, folder))
    assert "1 of 6" in second[1][0]
    assert second[2] == first[2]
    assert "lie outside the box" in first[2][0].message


def test_scanning_gives_every_point_in_order(cloud, monkeypatch):
    """A scan of some fields gives those of all points, in file order, and leaves the others empty."""
    path, _ = cloud
    monkeypatch.setattr(las_search, "GROUP_POINTS", 70_000)
    batches = list(open_las(path).scan(["z"]))
    assert len(batches) > 1
    rng = np.random.default_rng(8)
    x = np.sort(rng.integers(0, 600_000, COUNT))
    assert np.array_equal(np.concatenate([b.x for b in batches]), x)
    assert np.array_equal(np.concatenate([b.z for b in batches]), x // 50)
    assert all(len(b.classification) == len(b.gps_time) == len(b.withheld) == 0 for b in batches)
