"""Precision inside a swath: the literal formula against worked values, thickness against the noise put in."""

from __future__ import annotations

import math

import numpy as np
import pytest
from line_flights import EAST, NORTH, PAIR, SIGMA_M, analysed, flight, waves

from accuracy.flightlines.within import literal_precision, steepest

#: Worked values of the notes on the Lidar Base Specification (derived there): range, slope, precision.
WORKED = (
    (0.062, 0.010, 0.033720),
    (0.055, 0.008, 0.032376),
    (0.081, 0.012, 0.047064),
    (0.047, 0.006, 0.030032),
    (0.090, 0.020, 0.033440),
)


def test_literal_formula_gives_the_worked_values():
    """Cell by cell, and the root mean square 0.035834 m."""
    found = literal_precision(
        np.array([r for r, _, _ in WORKED]), np.array([s for _, s, _ in WORKED]), 2.0
    )
    np.testing.assert_allclose(found, [p for _, _, p in WORKED], rtol=0.0, atol=5e-7)
    assert round(math.sqrt(np.mean(found**2)), 6) == 0.035834


def test_precision_may_be_negative():
    """A steep neighbour takes off more than the range: kept with its sign."""
    assert float(literal_precision(np.array(0.02), np.array(0.1), 2.0)) == pytest.approx(-0.2628)


def test_slope_is_the_steepest_of_eight():
    """A plane: rise over the run to the neighbour across or at the corner, whichever is steeper."""
    y, x = np.mgrid[0:5, 0:5]
    slope = steepest(0.3 * x + 0.4 * y.astype(float), 1.0)
    np.testing.assert_allclose(slope, 0.7 / math.sqrt(2.0), rtol=0.0, atol=1e-12)
    np.testing.assert_allclose(steepest(0.3 * x.astype(float), 1.0), 0.3, rtol=0.0, atol=1e-12)
    hole = (0.3 * x).astype(float)
    hole[0, 0] = np.nan
    assert np.isnan(steepest(hole, 1.0)[0, 0])
    assert not np.isnan(steepest(hole, 1.0)[2, 2])


def test_literal_figures_are_those_of_brute_force(tmp_path):
    """Cells of 2 m from the points themselves, inside one swath."""
    points = flight(PAIR[:1], seed=41, per_m2=25.0)
    record = analysed(tmp_path, points)
    x, y, z = points["x"] - EAST, points["y"] - NORTH, np.round(points["z"], 4)
    low, high = {}, {}
    for key, height in zip(
        zip((x // 2).astype(int).tolist(), (y // 2).astype(int).tolist(), strict=True),
        z.tolist(),
        strict=True,
    ):
        low[key] = min(low.get(key, math.inf), height)
        high[key] = max(high.get(key, -math.inf), height)
    expected = []
    for (i, j), lowest in low.items():
        around = [(i + a, j + b) for a in (-1, 0, 1) for b in (-1, 0, 1) if (a, b) != (0, 0)]
        if not all(near in low for near in around):
            continue
        slope = max(
            abs(low[near] - lowest) / (2.0 * math.hypot(near[0] - i, near[1] - j))
            for near in around
        )
        expected.append(high[i, j] - lowest - slope * 2.0 * 1.414)
    part = record.within[0]
    assert part.part == "all"
    # brute force takes all inner cells; the analysis those whose neighbours are whole and smooth, too
    assert len(expected) * 0.75 < part.literal_cells <= len(expected)
    assert part.literal_mean_m == pytest.approx(np.mean(expected), abs=2e-3)
    assert part.literal_rmsd_m == pytest.approx(math.sqrt(np.mean(np.square(expected))), abs=2e-3)


def test_thickness_is_the_noise_put_in(tmp_path):
    """Standard deviation about planes equals the range noise as seen in height, left, centre and right."""
    record = analysed(tmp_path, flight(PAIR[:1], seed=42, per_m2=40.0))
    cosine = {"all": 0.955, "left": 0.93, "centre": 0.99, "right": 0.93}
    [line] = record.lines
    assert line.within == record.within
    for part in line.within:
        assert part.plane_rms_m == pytest.approx(SIGMA_M * cosine[part.part], rel=0.03)
        assert part.plane_p95_m > part.plane_rms_m
    by_part = {part.part: part for part in line.within}
    thirds = [by_part[name].plane_cells for name in ("left", "centre", "right")]
    assert sum(thirds) == by_part["all"].plane_cells
    assert max(thirds) < 1.3 * min(thirds)


def test_the_literal_formula_measures_slope_where_ground_bends(tmp_path):
    """Same noise, gentle waves: the thickness stays, the literal figure does not (where they part ways)."""
    level = analysed(tmp_path, flight(PAIR[:1], seed=43, per_m2=30.0)).within[0]

    def gentle(x, y):
        return 100.0 + 0.25 * (waves(x, y) - 100.0)

    bent = analysed(tmp_path, flight(PAIR[:1], gentle, seed=43, per_m2=30.0)).within[0]
    assert bent.plane_rms_m == pytest.approx(level.plane_rms_m, rel=0.10)
    assert abs(bent.literal_mean_m - level.literal_mean_m) > 0.02
    dense = analysed(tmp_path, flight(PAIR[:1], seed=43, per_m2=120.0)).within[0]
    assert dense.literal_rmsd_m > level.literal_rmsd_m * 1.08
    assert dense.plane_rms_m == pytest.approx(level.plane_rms_m, rel=0.03)
