"""Faults of simulated flights, recovered; fault-free flights give the predicted noise."""

from __future__ import annotations

import math

import numpy as np
import pytest
from line_flights import (
    EAST,
    FOUR,
    HEIGHT_M,
    NORTH,
    PAIR,
    SIGMA_M,
    SPEED_M_S,
    START_S,
    Fault,
    analysed,
    flight,
    waves,
)

from accuracy.flightlines.records import ASSESSED, Estimate

SPACING_M = 20.0


def within_sigmas(found: Estimate | None, truth: float, sigmas: float = 3.5) -> None:
    """Check that the estimate lies within so many of its own standard errors of the truth."""
    assert found is not None
    assert found.standard_error is not None
    assert found.standard_error > 0.0
    assert abs(found.value - truth) <= sigmas * found.standard_error


def test_noise_of_a_sound_flight_is_as_propagated(tmp_path):
    """RMSD equals the noise put in, carried through both planes by a fit of its own for every cell."""
    points = flight(seed=3)
    record = analysed(tmp_path, points)
    [pair] = record.pairs
    x, y = points["x"] - EAST, points["y"] - NORTH
    cosine = np.cos(np.radians(points["scan_angle_deg"]))
    cell = np.floor(x).astype(int) * 10_000 + np.floor(y).astype(int)
    expected, used = 0.0, 0
    grids = record.grids
    for row, col in np.argwhere(grids.state == ASSESSED).tolist():
        place = (grids.west + col + 0.5 - EAST, grids.north - row - 0.5 - NORTH)
        inside = cell == math.floor(place[0]) * 10_000 + math.floor(place[1])
        for line in (11, 12):
            mine = inside & (points["point_source_id"] == line)
            design = np.column_stack([np.ones(mine.sum()), x[mine] - place[0], y[mine] - place[1]])
            weights = np.linalg.pinv(design)[0]
            # on level ground a range error r moves a point by r cos(angle) up
            expected += float(weights**2 @ (SIGMA_M * cosine[mine]) ** 2)
        used += 1
    assert used == pair.differences.n > 1500
    predicted = math.sqrt(expected / used)
    assert abs(pair.differences.rmsd_m / predicted - 1.0) < 3.5 / math.sqrt(2 * used)
    assert abs(pair.expected_rmsd_m / predicted - 1.0) < 0.02
    assert abs(pair.differences.mean_m) < 3.5 * predicted / math.sqrt(used)
    assert pair.kind == "opposite"
    assert not pair.trends.across.significant
    assert not pair.trends.along.significant
    assert pair.offset.identified == "none"
    assert pair.offset.reason.startswith("flat")


def closed_form(fault: Fault, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Later minus earlier on level ground, first order in the fault (derived)."""

    def up(right: np.ndarray, time: np.ndarray) -> np.ndarray:
        cosine = HEIGHT_M / np.hypot(HEIGHT_M, right)
        return (
            -fault.roll * right
            - fault.range_m * cosine
            - fault.down_m
            + fault.drift_m_s * (time - START_S)
        )

    first = up(x, START_S + y / SPEED_M_S)
    second = up(SPACING_M - x, START_S + 40.0 + (120.0 - y) / SPEED_M_S)
    return second - first


@pytest.mark.parametrize(
    "fault",
    [
        Fault(roll=math.radians(0.06)),
        Fault(range_m=0.25),
        Fault(drift_m_s=0.0006),
        Fault(down_m=0.10),
        Fault(roll=math.radians(-0.05), drift_m_s=0.0008, range_m=-0.1),
    ],
    ids=["roll", "range", "drift", "lever-down", "together"],
)
def test_height_faults_show_cell_by_cell_as_predicted(tmp_path, fault):
    """Every cell's difference is the closed form and the expected noise; what cancels does not show."""
    record = analysed(tmp_path, flight(fault=fault, seed=5))
    grids = record.grids
    row, col = np.nonzero(grids.state == ASSESSED)
    x = grids.west + col + 0.5 - EAST
    y = grids.north - row - 0.5 - NORTH
    left = grids.difference_m[row, col] - closed_form(fault, x, y)
    n, noise = len(left), record.expected_rmsd_m
    assert n > 1500
    assert abs(left.mean()) < 3.5 * noise / math.sqrt(n) + 2e-5  # second order of the angles
    assert abs(math.sqrt(np.mean(left**2)) / noise - 1.0) < 0.06


def test_roll_is_a_tilt_and_no_shift(tmp_path):
    """Opposite lines: twice the roll across, nothing along; all lines together tell the roll itself."""
    roll = math.radians(0.05)
    record = analysed(tmp_path, flight(FOUR, fault=Fault(roll=roll), seed=6))
    neighbours = [p for p in record.pairs if p.later - p.earlier == 1]
    assert len(neighbours) == 3
    for pair in neighbours:
        within_sigmas(pair.trends.across, 2.0 * roll)
        assert pair.trends.across.significant
        within_sigmas(pair.trends.along, 0.0)
        within_sigmas(pair.trends.shift_m, 0.0, 4.0)
    within_sigmas(record.trends.roll_rad, -roll)
    within_sigmas(record.trends.drift_m_s, 0.0)


def test_drift_is_told_from_tilt_by_all_lines_together(tmp_path):
    """Within one pair drift looks like a tilt along; times apart of several pairs tell it."""
    drift = 0.0005
    record = analysed(tmp_path, flight(FOUR, fault=Fault(drift_m_s=drift), seed=7))
    first = record.pairs[0]
    within_sigmas(first.trends.along, -2.0 * drift / SPEED_M_S)
    assert abs(first.trends.time_along_correlation) > 0.99
    within_sigmas(record.trends.drift_m_s, drift)
    assert record.trends.drift_m_s.significant
    within_sigmas(record.trends.roll_rad, 0.0)


def test_a_jump_of_one_line_is_a_shift_of_its_pairs(tmp_path):
    """One line 60 mm high: the pairs before and after it differ by it, with opposite signs."""
    faults = [Fault(), Fault(up_m=0.06), Fault(), Fault()]
    record = analysed(tmp_path, flight(FOUR, fault=faults, seed=8))
    shift = {(p.earlier, p.later): p.trends.shift_m for p in record.pairs if p.trends}
    within_sigmas(shift[11, 12], 0.06)
    within_sigmas(shift[12, 13], -0.06)
    within_sigmas(shift[13, 14], 0.0)


@pytest.mark.parametrize(
    ("fault", "east_m", "north_m"),
    [
        (Fault(pitch=math.radians(0.12)), 0.0, -2 * HEIGHT_M * math.radians(0.12)),
        (Fault(forward_m=0.08), 0.0, -0.16),
        (Fault(right_m=0.07), -0.14, 0.0),
        (Fault(heading=math.radians(0.3)), 0.0, SPACING_M * math.radians(0.3)),
    ],
    ids=["pitch", "lever-forward", "lever-right", "heading"],
)
def test_horizontal_faults_show_through_slopes(tmp_path, fault, east_m, north_m):
    """On slopes of several aspects the offset between lines is found, east and north (closed forms: module)."""
    record = analysed(tmp_path, flight(ground=waves, fault=fault, seed=9))
    [pair] = record.pairs
    assert pair.offset.identified == "both"
    within_sigmas(pair.offset.east_m, east_m)
    within_sigmas(pair.offset.north_m, north_m)
    within_sigmas(pair.offset.up_m, 0.0)
    assert pair.offset.worst_error_m < 0.03


def test_slopes_of_one_aspect_show_one_direction(tmp_path):
    """Ground that rises eastward only cannot tell a shift to the north, and says so."""

    def ridges(x, y):
        return 100.0 + 0.6 * np.sin(2 * np.pi * x / 13.0) + 0.0 * y

    record = analysed(tmp_path, flight(ground=ridges, fault=Fault(right_m=0.07), seed=10))
    [pair] = record.pairs
    assert pair.offset.identified == "one-direction"
    assert abs(pair.offset.best_direction_deg - 90.0) < 5.0
    within_sigmas(pair.offset.best_m, -0.14)


def test_slope_does_not_masquerade_as_difference(tmp_path):
    """On slopes planes agree to their noise where plain means of the same cells do not."""
    record = analysed(tmp_path, flight(ground=waves, seed=11, per_m2=15.0))
    [pair] = record.pairs
    assert pair.differences.rmsd_m < 1.1 * pair.expected_rmsd_m
    assert pair.plain.rmsd_m > 2.0 * pair.differences.rmsd_m


def test_standard_errors_cover(tmp_path):
    """Over seeds, errors in units of their own standard error scatter as they should (chi-square, 99.9 %)."""
    roll = math.radians(0.03)
    scores = []
    for seed in range(8):
        points = flight(PAIR, waves, Fault(roll=roll, right_m=0.05), seed=100 + seed, per_m2=12.0)
        record = analysed(tmp_path, points)
        [pair] = record.pairs
        for found, truth in (
            (pair.trends.across, 2.0 * roll),
            (pair.trends.along, 0.0),
            (pair.offset.east_m, -0.10 + 2.0 * HEIGHT_M * roll),
            (pair.offset.north_m, 0.0),
            (record.trends.roll_rad, -roll),
            (record.trends.drift_m_s, 0.0),
        ):
            scores.append((found.value - truth) / found.standard_error)
    squares = np.square(scores)
    assert np.mean(np.abs(scores) <= 3.0) > 0.95
    assert 0.25 < squares.mean() < 1.7
