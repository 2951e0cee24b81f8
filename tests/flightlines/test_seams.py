"""The same record whatever the tiling of the files, their order, and the number of workers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from line_flights import EAST, FOUR, NORTH, Fault, chosen, flight, waves, write

from accuracy.flightlines import analysis, collecting, occupancy, tables
from accuracy.flightlines.analysis import analyse_lines
from accuracy.flightlines.records import LinesRecord, LinesSettings
from accuracy.formats import open_cloud
from accuracy.parallel import Workers


def points_of_flight():
    """Four lines with returns of several kinds, noise and withheld points."""
    points = flight(FOUR[:3], waves, Fault(roll=0.0008), seed=21, per_m2=12.0)
    rng = np.random.default_rng(22)
    n = len(points["x"])
    several = rng.random(n) < 0.02
    points["number_of_returns"] = np.where(several, 2, 1)
    points["return_number"] = np.where(several, rng.integers(1, 3, n), 1)
    points["classification"] = np.where(rng.random(n) < 0.01, 7, 2)
    points["withheld"] = rng.random(n) < 0.01
    return points


def everything(record: LinesRecord) -> tuple[dict, tuple]:
    """All but the order of points, which is that of the files."""
    plain = record.to_dict()
    del plain["order"]
    plain["findings"] = [f for f in plain["findings"] if f["code"] != "lines-order"]
    grids = record.grids
    arrays = (grids.difference_m, grids.state, grids.lines, grids.first_returns)
    return plain, tuple(array.tobytes() for array in arrays)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Give the points, and the record of them in one file."""
    folder = tmp_path_factory.mktemp("whole")
    points = points_of_flight()
    path = write(folder / "whole.las", points)
    return points, everything(analyse_lines([open_cloud(path)], SETTINGS))


SETTINGS = LinesSettings(design_anps_m=0.4)


def tiles(folder, points, side_m, suffix=".las", seed=None):
    """Cut into tiles, optionally with their points and files in another order."""
    col = np.floor((points["x"] - EAST) / side_m).astype(int)
    row = np.floor((points["y"] - NORTH) / side_m).astype(int)
    rng = np.random.default_rng(seed)
    paths = []
    for key in sorted(set(zip(col.tolist(), row.tolist(), strict=True))):
        index = np.flatnonzero((col == key[0]) & (row == key[1]))
        if seed is not None:
            rng.shuffle(index)
        name = f"tile_{key[0]}_{key[1]}{suffix}"
        paths.append(write(folder / name, chosen(points, index)))
    if seed is not None:
        rng.shuffle(paths)
    return paths


@pytest.mark.parametrize(
    ("side_m", "suffix", "seed"),
    [(50.0, ".las", None), (33.3, ".laz", 4), (1000.0, ".las", 5)],
    ids=["tiles", "odd tiles shuffled", "one file shuffled"],
)
def test_tiling_does_not_matter(tmp_path, whole, side_m, suffix, seed):
    """Tiles of any size, shuffled or not, give the same bits."""
    points, expected = whole
    paths = tiles(tmp_path, points, side_m, suffix, seed)
    assert everything(analyse_lines([open_cloud(p) for p in paths], SETTINGS)) == expected


def test_workers_do_not_matter(tmp_path, whole):
    """Two processes give the same bits as one."""
    points, expected = whole
    paths = tiles(tmp_path, points, 60.0)
    with Workers(2) as workers:
        record = analyse_lines([open_cloud(p) for p in paths], SETTINGS, reading=workers.reduce)
    assert everything(record) == expected


def test_tables_laid_aside_do_not_matter(tmp_path, whole, monkeypatch):
    """Memory for a few hundred rows only: tables go to disk and come back, blocks are merged again."""
    points, expected = whole
    monkeypatch.setattr(tables, "MOST_ROWS", 300)
    monkeypatch.setattr(tables.CellTable.__init__, "__defaults__", (300,))
    monkeypatch.setattr("accuracy.flightlines.blocks.MOST_KEPT", 0)
    monkeypatch.setattr(occupancy, "MOST_OPEN", 3)
    monkeypatch.setattr(occupancy, "MOST_PACKED", 1)
    monkeypatch.setattr(collecting, "SLICE", 777)
    monkeypatch.setattr("accuracy.flightlines.comparing.MOST_IN_MEMORY", 10)
    folder = tmp_path / "aside"
    folder.mkdir()
    path = write(tmp_path / "whole.las", points)
    record = analyse_lines([open_cloud(path)], replace(SETTINGS, folder=str(folder)))
    assert everything(record) == expected
    assert list(folder.iterdir()) == []


def test_a_pass_for_gaps_alone_sees_the_same(tmp_path, whole):
    """Where the spacing is measured, a second pass finds what the first one finds when it is given."""
    points, _ = whole
    path = write(tmp_path / "whole.las", points)
    measured = analyse_lines([open_cloud(path)], LinesSettings())
    spacing = measured.coverage.anps_m
    given = analyse_lines([open_cloud(path)], LinesSettings(design_anps_m=spacing))
    assert measured.coverage == replace(given.coverage, anps_designed=False)
    assert {f.code for f in measured.findings} - {f.code for f in given.findings} == {
        "lines-anps-measured"
    }
    assert analysis.MOST_VOIDS >= len(given.coverage.voids) > 0
