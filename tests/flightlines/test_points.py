"""Points stored twice, out of order, and what cannot be analysed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from line_flights import PAIR, analysed, chosen, flight, joined, write

from accuracy.errors import FormatError, UsageError
from accuracy.flightlines.analysis import analyse_lines
from accuracy.flightlines.records import LinesRecord, LinesSettings
from accuracy.flightlines.repeats import HashSample
from accuracy.formats import open_cloud


def test_repeated_points_are_counted_across_files(tmp_path):
    """Two tiles that overlap: every point of the overlap is stored twice, and counted exactly."""
    points = flight(per_m2=6.0)
    south = np.flatnonzero(points["y"] < np.median(points["y"]) + 5.0)
    north = np.flatnonzero(points["y"] > np.median(points["y"]) - 5.0)
    paths = [
        write(tmp_path / f"{k}.las", chosen(points, k_)) for k, k_ in (("s", south), ("n", north))
    ]
    record = analyse_lines([open_cloud(p) for p in paths], LinesSettings(design_anps_m=0.5))
    twice = len(np.intersect1d(south, north))
    assert twice > 500
    assert record.duplicates.surplus == twice
    assert record.duplicates.surplus_error == 0.0
    assert "lines-duplicates" in {f.code for f in record.findings}


def test_a_sample_estimates_repeats_within_its_error():
    """With room for few fingerprints the number is estimated, the same for any order."""
    rng = np.random.default_rng(3)
    n = 40_000
    columns = [rng.integers(-(10**6), 10**6, n) for _ in range(3)]
    time, source, returned = rng.random(n), np.full(n, 3), np.ones(n, np.uint8)
    again = np.concatenate([np.arange(n), np.arange(4000)])
    surplus = []
    for order in (again, rng.permutation(again)):
        sample = HashSample(most=5000)
        other = HashSample(most=5000)
        for part, into in ((order[:9000], sample), (order[9000:], other)):
            into.see(*(c[part] for c in columns), time[part], source[part], returned[part])
        surplus.append(sample.joined(other).duplicates())
    assert surplus[0] == surplus[1]
    assert surplus[0].sampled < 1.0
    assert abs(surplus[0].surplus - 4000) < 4.0 * surplus[0].surplus_error


def test_order_is_told_file_by_file(tmp_path):
    """Steps back in time and returns out of order are counted in each file."""
    points = flight(PAIR[:1], per_m2=4.0)
    n = len(points["x"])
    points["number_of_returns"][:] = 2
    points["gps_time"] = np.repeat(points["gps_time"][::2], 2)[:n]
    points["return_number"] = np.tile([1, 2], n)[:n]
    points["return_number"][100:102] = [2, 1]
    points["gps_time"][[200, 201]] += 0.5
    record = analysed(tmp_path, points)
    [order] = record.order
    assert order.points == n
    assert order.steps_back == 1
    assert order.returns_out_of_order == 1
    assert 0.45 < order.largest_back_s < 0.5
    assert "lines-order" in {f.code for f in record.findings}


def test_noise_and_withheld_points_change_nothing_but_counts(tmp_path):
    """Points of the noise classes and withheld ones are counted, and used nowhere."""
    points = flight(per_m2=15.0, seed=4)
    clean = analysed(tmp_path, points)
    bad = chosen(points, np.arange(0, 4000))
    bad["z"] = bad["z"] + 3.0
    bad["classification"] = np.where(np.arange(4000) % 2, 7, 2)
    marked = {**points, "withheld": np.zeros(len(points["x"]), bool)}
    bad["withheld"] = np.arange(4000) % 2 == 0
    record = analysed(tmp_path, joined([marked, bad]))
    assert (record.noise, record.withheld) == (2000, 2000)
    assert record.classes == {2: len(points["x"]) + 2000, 7: 2000}
    assert record.differences.n == clean.differences.n
    assert record.differences.rmsd_m == pytest.approx(clean.differences.rmsd_m, abs=1e-9)
    assert record.coverage == clean.coverage
    for part, same in zip(record.within, clean.within, strict=True):
        assert part.literal_cells == same.literal_cells
        assert part.literal_rmsd_m == pytest.approx(same.literal_rmsd_m, abs=1e-9)


def test_several_returns_and_plants_are_not_assessed(tmp_path):
    """Half of the overlap with double returns, a part of the rest with plants: left out by reason."""
    points = flight(per_m2=20.0, seed=5)
    y = points["y"] - points["y"].min()
    points["number_of_returns"] = np.where(y < 60.0, 2, 1)
    points["return_number"] = points["number_of_returns"].copy()
    points["classification"] = np.where(y > 90.0, 5, 2)
    [pair] = analysed(tmp_path, points).pairs
    cells = pair.differences.n + sum(pair.left_out.values())
    assert pair.left_out["multiple-returns"] > 0.4 * cells
    assert 0.15 * cells < pair.left_out["class"] < 0.35 * cells
    assert 0.15 * cells < pair.differences.n < 0.35 * cells


def test_a_record_survives_json(tmp_path):
    """Everything but the rasters comes back from plain values."""
    import json

    record = analysed(tmp_path, flight(per_m2=10.0))
    back = LinesRecord.from_dict(json.loads(json.dumps(record.to_dict())))
    assert back == record
    assert back.grids is None
    json.dumps(record.to_dict(), allow_nan=False)


@pytest.mark.parametrize(
    "settings",
    [
        {"cell_m": 0.0},
        {"cell_m": -1.0},
        {"cell_m": math.nan},
        {"cell_m": 1e9},
        {"cell_m": 0.001},
        {"design_anps_m": math.inf},
        {"slope_limit_deg": -3.0},
        {"horizontal_unit_m": 0.0},
        {"least_points": 2},
        {"folder": "no such folder"},
    ],
    ids=str,
)
def test_settings_without_sense_are_refused(tmp_path, settings):
    """One error of ours that says what to do, whatever the number."""
    with pytest.raises(UsageError) as told:
        analysed(tmp_path, flight(PAIR[:1], per_m2=1.0), **settings)
    assert told.value.remedy


def test_a_cloud_without_points_is_refused(tmp_path):
    """No points, or no files: said so."""
    empty = chosen(flight(PAIR[:1], per_m2=1.0), np.zeros(0, int))
    path = write(tmp_path / "empty.las", empty)
    for clouds in ([open_cloud(path)], []):
        with pytest.raises(FormatError):
            analyse_lines(clouds, LinesSettings())


def test_a_handful_of_points_is_no_crash(tmp_path):
    """One point, and twenty at one place."""
    points = flight(PAIR, per_m2=2.0)
    for index in (np.array([3]), np.full(20, 7), np.arange(0, 40)):
        record = analysed(tmp_path, chosen(points, index))
        assert record.points == len(index)
        assert record.differences.n == 0


def test_absurd_times_and_heights_are_no_crash(tmp_path):
    """NaN, infinite and huge times count as none; heights far off make cells rough, not wrong."""
    points = flight(per_m2=15.0, seed=6)
    points["gps_time"][:4] = [np.nan, np.inf, -np.inf, 1e300]
    points["z"][10:14] = [9000.0, -9000.0, 5000.0, 1e5]
    record = analysed(tmp_path, points)
    assert record.untimed == 4
    assert record.differences.rmsd_m < 0.02
