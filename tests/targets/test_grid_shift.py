"""A raster that lies aside of its cloud: told from the slopes, against a surface whose shape is known."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from jobs import EAST, NORTH, write_job, write_points_table
from target_site import wkt

from accuracy import load_job, verify
from accuracy.formats.las_write import write_points
from accuracy.formats.raster_write import write_raster

CELL_M, WIDTH_M = 0.5, 60.0


def hills_m(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """Give smooth hills: closed form."""
    return 100.0 + 1.5 * np.sin(east / 7.0) + 1.2 * np.cos(north / 6.0 + 0.5)


def make(folder: Path, shift_m: tuple[float, float], lift_m: float, *, flat: bool = False) -> Path:
    """Write a cloud of the hills, a raster of them that lies aside, and checkpoints."""
    random = np.random.default_rng(5)
    shape = (lambda e, n: np.full(np.shape(e), 100.0)) if flat else hills_m
    east, north = random.uniform(0.0, WIDTH_M, (2, 40_000))
    up = shape(east, north) + random.normal(0.0, 0.01, len(east))
    write_points(
        folder / "cloud.laz",
        points={
            "x": EAST + east,
            "y": NORTH + north,
            "z": up,
            "classification": np.full(len(east), 2, np.uint8),
        },
        offset=(EAST, NORTH, 0.0),
        wkt=wkt(),
    )
    count = int(WIDTH_M / CELL_M)
    col, row = np.meshgrid(np.arange(count) + 0.5, np.arange(count) + 0.5)
    cell_east, cell_north = col * CELL_M, WIDTH_M - row * CELL_M
    write_raster(
        folder / "dem.tif",
        shape(cell_east - shift_m[0], cell_north - shift_m[1]) + lift_m,
        (CELL_M, 0.0, EAST, 0.0, -CELL_M, NORTH + WIDTH_M),
        wkt(),
    )
    places = random.uniform(8.0, WIDTH_M - 8.0, (12, 2))
    write_points_table(
        folder / "points.csv",
        [
            [f"P{i}", EAST + e, NORTH + n, f"{float(shape(e, n)):.4f}", "non-vegetated"]
            for i, (e, n) in enumerate(places)
        ],
    )
    datasets = [
        {"name": "cloud", "kind": "point-cloud", "files": ["cloud.laz"]},
        {"name": "dem", "kind": "raster", "files": ["dem.tif"]},
    ]
    path = write_job(folder, datasets=datasets)
    path.write_text(path.read_text("utf-8") + "[together]\n", "utf-8")
    return path


@pytest.mark.parametrize("shift_m", [(0.25, 0.0), (0.25, -0.25)])
def test_half_a_cell_is_told(tmp_path: Path, shift_m: tuple[float, float]) -> None:
    """A raster half a cell aside is found to lie so, within a tenth of a cell, and its lift as well."""
    result = verify(load_job(make(tmp_path, shift_m, 0.03)))
    (shift,) = result.targets["together"]["grid_shifts"]
    assert math.hypot(shift["east_m"] - shift_m[0], shift["north_m"] - shift_m[1]) < 0.1 * CELL_M
    assert abs(shift["up_m"] - 0.03) < 0.01
    assert shift["differs"]
    told = [f.message for f in result.findings if f.code == "together-differs"]
    assert any("of a cell" in message for message in told)


def test_a_raster_in_place_is_not_told(tmp_path: Path) -> None:
    """A raster that lies where its cloud lies gives no finding."""
    result = verify(load_job(make(tmp_path, (0.0, 0.0), 0.0)))
    (shift,) = result.targets["together"]["grid_shifts"]
    assert math.hypot(shift["east_m"], shift["north_m"]) < 0.1 * CELL_M
    assert not [f for f in result.findings if f.code == "together-differs"]


def test_even_ground_tells_no_shift(tmp_path: Path) -> None:
    """On level ground a sideways shift cannot be seen, and none is claimed; a lift is."""
    result = verify(load_job(make(tmp_path, (0.25, 0.0), 0.05, flat=True)))
    assert result.targets["together"]["grid_shifts"] == []
    (pair,) = result.targets["together"]["pairs"]
    assert abs(pair["mean_m"] - 0.05) < 0.01
    assert pair["differs"]
