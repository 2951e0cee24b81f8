"""Density, distribution and voids against counting by brute force, and against known holes."""

from __future__ import annotations

import math
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from line_flights import EAST, NORTH, PAIR, analysed, chosen, flight, write

from accuracy.flightlines.analysis import analyse_lines
from accuracy.flightlines.occupancy import SIDE, Occupancy
from accuracy.flightlines.records import LinesSettings
from accuracy.flightlines.swaths import Swath
from accuracy.flightlines.voids import Place, gaps_of
from accuracy.formats import open_cloud


@pytest.mark.parametrize(("anps_m", "limit_m2"), [(0.35, 1.96), (0.71, 8.0656), (1.41, 31.8096)])
def test_limit_of_a_void(tmp_path, anps_m, limit_m2):
    """(4 x ANPS) squared: worked values of the notes on the Lidar Base Specification."""
    record = analysed(tmp_path, flight(PAIR[:1], per_m2=4.0), design_anps_m=anps_m)
    assert math.isclose(record.coverage.void_limit_m2, limit_m2, abs_tol=1e-9)


def test_density_is_that_of_counting(tmp_path):
    """First returns of one line per square metre in a rectangle well inside, and of all lines."""
    points = flight(seed=31, per_m2=20.0)
    n = len(points["x"])
    second = np.random.default_rng(32).random(n) < 0.3
    points["return_number"] = np.where(second, 2, 1)
    points["number_of_returns"] = np.full(n, 2)
    record = analysed(tmp_path, points)
    x, y = points["x"] - EAST, points["y"] - NORTH
    first = points["return_number"] == 1
    for line, east in zip(record.lines, (0.0, 20.0), strict=True):
        inside = first & (points["point_source_id"] == line.number)
        inside &= (np.abs(x - east) < 15.0) & (y > 5.0) & (y < 115.0)
        counted = inside.sum() / (30.0 * 110.0)
        assert abs(line.density_per_m2 / counted - 1.0) < 0.01
        assert math.isclose(line.spacing_m, line.density_per_m2**-0.5)
        assert line.first_returns == (first & (points["point_source_id"] == line.number)).sum()
        assert abs(line.width_m - 2 * 40.0 * math.tan(math.radians(25.0))) < 1.5
        assert abs(line.length_m - 120.0) < 1.5
        assert abs(line.speed_m_s - 8.0) < 0.05
    for line, heading_deg in zip(record.lines, (0.0, 180.0), strict=True):
        assert abs((line.heading_deg - heading_deg + 180.0) % 360.0 - 180.0) < 0.6
    cells = set(zip(*(np.floor(np.round(v, 4)).tolist() for v in (x, y)), strict=True))
    assert record.coverage.covered_m2 == len(cells)
    assert math.isclose(record.coverage.density_per_m2, first.sum() / len(cells))


def filled_occupancy(cells, labels, folder: Path, anps: float) -> Occupancy:
    """Put one point into the middle of every cell that is True."""
    found = Occupancy(folder, anps)
    for label, mask in zip(labels, cells, strict=True):
        row, col = np.nonzero(mask)
        steps = [((at + 0.5) * anps * 1000).astype(np.int64) for at in (col, row)]
        found.see(np.full(len(row), label), *steps, 1000.0)
    return found


def swath_over(width_m: float, height_m: float, cell_m: float = 1.0) -> Swath:
    """Make a northward swath that fills a rectangle of cells."""
    box = (0.5, 0.5, width_m - 0.5, height_m - 0.5)
    swath = Swath((width_m / 2, height_m / 2), (0.0, 1.0), 0.0, 8.0, cell_m, 0.95, box)
    y, x = np.mgrid[0.5:height_m, 0.5:width_m]
    swath.see(x.ravel(), y.ravel())
    return swath


def brute_voids(empty: np.ndarray, anps: float) -> list[tuple[int, float]]:
    """Count cells and area of voids, cell by cell: flood fill over squares of 2 by 2 empty cells."""
    rows, cols = empty.shape
    part = set()
    for i in range(rows - 1):
        for j in range(cols - 1):
            square = [(i + a, j + b) for a in (0, 1) for b in (0, 1)]
            if all(empty[at] for at in square):
                part.update(square)
    found = []
    left = set(part)
    while left:
        group, waiting = set(), [left.pop()]
        while waiting:
            i, j = waiting.pop()
            group.add((i, j))
            for near in ((i + 1, j), (i - 1, j), (i, j + 1), (i, j - 1)):
                if near in left:
                    left.remove(near)
                    waiting.append(near)
        edges = sum(
            (i + a, j + b) not in part
            for i, j in group
            for a, b in ((1, 0), (-1, 0), (0, 1), (0, -1))
        )
        area = (len(group) + edges / 2 + 1) * anps**2
        if area >= (4 * anps) ** 2 - 1e-12:
            found.append((len(group), area))
    return sorted(found)


@pytest.mark.parametrize("seed", [1, 2])
def test_voids_and_distribution_are_those_of_brute_force(tmp_path, seed):
    """Random occupancy over several blocks: the same voids, across seams too, and the same shares."""
    anps = 0.125
    rng = np.random.default_rng(seed)
    rows, cols = 2 * SIDE + 64, SIDE + 112
    mask = rng.random((rows, cols)) < 0.6
    mask[250:262, 240:275] = False  # across the seams of four blocks
    mask[500:530, 250:258] = False
    width_m, height_m = cols * anps, rows * anps
    swath = swath_over(width_m, height_m)
    found = gaps_of(
        filled_occupancy([mask], [5], tmp_path, anps),
        frozenset({5}),
        frozenset(),
        swath,
        Place(anps, 0.0, 0.0, 1.0),
        5,
    )
    y, x = np.mgrid[0:rows, 0:cols]
    inside = swath.usable(
        np.floor((x.ravel() + 0.5) * anps) + 0.5, np.floor((y.ravel() + 0.5) * anps) + 0.5
    ).reshape(mask.shape)
    expected = brute_voids(inside & ~mask, anps)
    assert len(expected) > 5
    assert sorted(v.area_m2 for v in found.voids) == pytest.approx(sorted(a for _, a in expected))
    double = inside.reshape(rows // 2, 2, cols // 2, 2).all(axis=(1, 3))
    held = mask.reshape(rows // 2, 2, cols // 2, 2).any(axis=(1, 3))
    assert found.filled == (double & held).sum()
    in_voids = (double & ~held).sum() - (found.cells - found.filled)
    assert 0 < in_voids < (double & ~held).sum()


def test_a_hole_is_found_with_its_area_and_place(tmp_path):
    """A square of 3 m without points of one line: one void of 9 m2, filled by the other line or not."""
    points = flight(seed=33, per_m2=120.0)
    x, y = points["x"] - EAST, points["y"] - NORTH
    both = (np.abs(x - 10.4) < 1.5) & (np.abs(y - 60.3) < 1.5) & (points["point_source_id"] == 11)
    alone = (np.abs(x + 9.2) < 1.5) & (np.abs(y - 30.7) < 1.5)
    record = analysed(tmp_path, chosen(points, np.flatnonzero(~both & ~alone)), design_anps_m=0.25)
    found = record.coverage
    assert found.voids_found == 2
    assert found.voids_unfilled == 1
    for void in found.voids:
        assert abs(void.area_m2 - 9.0) < 0.9
        assert void.line == 11
        assert void.cause == "to be confirmed"
        east, north = (10.4, 60.3) if void.filled else (-9.2, 30.7)
        assert abs(void.place[0] - EAST - east) < 0.15
        assert abs(void.place[1] - NORTH - north) < 0.15
        west, south, east_side, north_side = void.box
        assert west < void.place[0] < east_side
        assert south < void.place[1] < north_side
    assert record.lines[0].voids == 2
    assert record.lines[1].voids == 0


def test_distribution_of_even_and_of_clustered_points(tmp_path):
    """A point in every cell of twice the spacing is 100 %; chance leaves exp(-4) of cells empty."""
    points = flight(seed=34, per_m2=16.0)
    even = analysed(tmp_path, points, design_anps_m=1.0)
    assert even.coverage.distribution == 1.0
    chance = analysed(tmp_path, points, design_anps_m=0.25)  # ordered what is there: Poisson
    share, n = chance.coverage.distribution, chance.coverage.distribution_cells
    expected = 1.0 - math.exp(-4.0)
    assert share > expected - 4.0 * math.sqrt(expected * (1 - expected) / n)
    assert share < 1.0
    counts = Counter(void.line for void in chance.coverage.voids)
    assert counts[11] == chance.lines[0].voids


def test_overlap_width_of_parallel_lines(tmp_path):
    """Swaths of 37.3 m, 20 m apart, share 17.3 m."""
    [pair] = analysed(tmp_path, flight(seed=35)).pairs
    width = 2 * 40.0 * math.tan(math.radians(25.0))
    assert abs(pair.overlap_width_m - (width - 20.0)) < 1.5
    assert abs(pair.overlap_share - (width - 20.0) / width) < 0.05
    assert abs(pair.overlap_m2 / ((width - 20.0) * 120.0) - 1.0) < 0.1
    assert pair.outline[0] == pair.outline[-1]
    east = [place[0] - EAST for place in pair.outline]
    assert -0.5 < min(east) < 3.0
    assert 17.0 < max(east) < 20.5


def test_feet_are_metres(tmp_path):
    """The same points in feet give the same figures in metres; the ceiling of the literal cell acts on feet."""
    foot = 0.3048
    points = flight(seed=36, per_m2=30.0)
    metres = analysed(tmp_path, points, cell_m=4 * foot)
    scaled = {k: (v / foot if k in "xyz" else v) for k, v in points.items()}
    from accuracy.formats.las_write import write_points

    path = tmp_path / "feet.las"
    offset = tuple(round(v / foot) for v in (EAST, NORTH, 100.0))
    write_points(path, points=scaled, scale=(0.001, 0.001, 0.001), offset=offset)
    settings = LinesSettings(
        horizontal_unit_m=foot, vertical_unit_m=foot, design_anps_m=0.35, cell_m=None
    )
    feet = analyse_lines([open_cloud(path)], settings)
    assert feet.cell_m == pytest.approx(4 * foot)  # two feet would be 0.61 m: too small
    assert feet.literal_cell_m == pytest.approx(4 * foot)  # CEILING(1.15 ft) x 2
    assert metres.literal_cell_m is None
    assert feet.differences.n == metres.differences.n
    assert feet.differences.rmsd_m == pytest.approx(metres.differences.rmsd_m, abs=2e-4)
    assert feet.lines[0].density_per_m2 == pytest.approx(metres.lines[0].density_per_m2, rel=1e-3)


def test_one_place_far_away_makes_no_giant_raster(tmp_path):
    """A few points of a line far off are told and left out."""
    points = flight(seed=37, per_m2=8.0)
    points["x"][:3] += 150_000.0
    record = analyse_lines([open_cloud(write(tmp_path / "far.las", points))], LinesSettings())
    assert any("lie alone" in f.message for f in record.findings)
    assert max(record.grids.state.shape) < 300
