"""Real clouds with several lines."""

from __future__ import annotations

import math

import laspy
import numpy as np
import pytest

from accuracy.flightlines.analysis import analyse_lines
from accuracy.flightlines.records import ASSESSED, LinesSettings
from accuracy.formats import open_cloud

pytestmark = pytest.mark.shared_data


def by_cell(path, cell, least, statistic):
    """Height of last returns by cell and line with laspy alone: later line minus earlier."""
    las = laspy.read(path)
    last = np.asarray(las.return_number) == np.asarray(las.number_of_returns)
    x, y, z = (np.asarray(v)[last] for v in (las.x, las.y, las.z))
    source = np.asarray(las.point_source_id)[last]
    key = np.floor(x / cell).astype(np.int64) * 10**8 + np.floor(y / cell).astype(np.int64)
    found = []
    for one in np.unique(key):
        inside = key == one
        parts = [z[inside & (source == s)] for s in np.unique(source)]
        if min(map(len, parts)) >= least:
            found.append(statistic(parts[1]) - statistic(parts[0]))
    return np.array(found)


def test_a_clean_overlap_of_two_lines(shared_data):
    """400 cells of 1 m: plain means as counted apart with laspy; the corpus prints medians, RMSD 0.0400."""
    path = shared_data / "france-lambert93" / "faceraster_numerical_imprecision.laz"
    record = analyse_lines([open_cloud(path)], LinesSettings())
    [pair] = record.pairs
    assert (pair.earlier, pair.later, pair.kind) == (305, 306, "opposite")
    means = by_cell(path, 1.0, 3, np.mean)
    assert pair.plain.n == len(means) == 400
    assert pair.plain.mean_m == pytest.approx(means.mean(), abs=1e-9)
    assert pair.plain.rmsd_m == pytest.approx(math.sqrt(np.mean(means**2)), abs=1e-9)
    # the README beside the file: medians of class 2, mean 0.0236, RMSD 0.0400; means scatter less
    assert pair.plain.mean_m == pytest.approx(0.0236, abs=0.001)
    medians = by_cell(path, 1.0, 1, np.median)
    assert math.sqrt(np.mean(medians**2)) == pytest.approx(0.0400, abs=0.0005)
    # planes see the same offset without what slope and one-sided cells add
    assert pair.differences.mean_m == pytest.approx(0.024, abs=0.004)
    assert pair.differences.rmsd_m < pair.plain.rmsd_m
    assert pair.differences.n == np.count_nonzero(record.grids.state == ASSESSED)


def test_three_lines_over_forest(shared_data):
    """Planes agree to centimetres where means of all last returns differ by metres; the sanity band holds."""
    files = sorted((shared_data / "bcts-als").glob("bcts_*.laz"))
    record = analyse_lines([open_cloud(p) for p in files], LinesSettings(cell_m=2.0))
    assert [line.number for line in record.lines] == [66, 67, 68]
    assert record.points == 2_242_861
    assert {p.kind for p in record.pairs} == {"opposite", "same-direction"}
    for pair in record.pairs:
        # README: RMSD of ground medians in 1 m cells 0.039 to 0.102 by part and pair
        assert 0.01 < pair.differences.rmsd_m < 0.10
        assert abs(pair.differences.mean_m) < 0.05
        assert pair.plain.rmsd_m > 1.0
        assert pair.expected_rmsd_m < pair.differences.rmsd_m
