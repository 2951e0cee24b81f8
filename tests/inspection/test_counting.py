"""Counting tile by tile is counting all at once."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from accuracy.formats import open_cloud
from accuracy.formats.las_write import write_points
from accuracy.formats.scanning import reduce_points
from accuracy.inspection import bulk
from accuracy.inspection.counting import PointCounter
from accuracy.parallel import Workers

SHIFTS = (7, 8, 3)


def facts(counter: PointCounter) -> dict[str, object]:
    """Everything that a counter tells."""
    told = {
        name: value.tolist() if isinstance(value, np.ndarray) else value
        for name, value in vars(counter).items()
        if name not in ("cells", "heights", "ground")
    }
    for name in ("cells", "heights", "ground"):
        part = getattr(counter, name)
        keys, counts = part._tally.merged()
        told[name] = (part.level, keys.tolist(), counts.tolist(), part.stray())
    return told | {"density": counter.cells.density()}


@pytest.mark.parametrize("most", [40, 1_000_000])
def test_tiles_counted_apart_and_merged_are_the_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, most: int
) -> None:
    """The same facts from one file, from three merged ones, and from two processes; few cells or many."""
    monkeypatch.setattr(bulk, "MOST_CELLS", most)
    rng = np.random.default_rng(8)
    n = 6000
    points = {
        "x": rng.integers(-40_000, 90_000, n),
        "y": rng.integers(0, 30_000, n),
        "z": rng.normal(0.0, 700.0, n).astype(int),
        "classification": rng.choice([1, 2, 7], n),
        "point_source_id": rng.choice([3, 11], n),
        "gps_time": rng.uniform(0.0, 1e5, n),
    }
    write_points(tmp_path / "all.laz", points=points, point_format=6)
    paths = []
    for number in range(3):
        paths.append(tmp_path / f"part-{number}.laz")
        part = {
            name: values[number * 2000 : (number + 1) * 2000] for name, values in points.items()
        }
        write_points(paths[-1], points=part, point_format=6)

    def counted(path: Path) -> PointCounter:
        return reduce_points(open_cloud(path), PointCounter(SHIFTS, timed=True))

    whole = facts(counted(tmp_path / "all.laz"))
    first, second, third = map(counted, paths)
    assert facts(first.merged(second).merged(third)) == whole
    assert whole["points"] == n
    assert whole["classes"][7] == np.count_nonzero(points["classification"] == 7)
    if most == 1_000_000:  # a limit that other processes know, too
        with Workers(2) as workers:
            made = workers.reduce(paths, lambda: PointCounter(SHIFTS, timed=True), lambda _: None)
        assert facts(made) == whole
