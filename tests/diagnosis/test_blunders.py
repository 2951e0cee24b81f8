"""Single and clustered blunders: found, not invented, never dropped."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from diagnosis_flights import Setting, fly

from accuracy.diagnosis.blunders import LEAST, find, outliers, without
from accuracy.diagnosis.candidates import Context
from accuracy.diagnosis.diagnosing import diagnose_sightings
from accuracy.diagnosis.model import Observations
from accuracy.diagnosis.records import Sightings


def _plain(up_m: np.ndarray, groups: tuple[tuple[str, tuple[str, ...]], ...] = ()) -> Sightings:
    n = len(up_m)
    rng = np.random.default_rng(8)
    none = np.full(n, np.nan)
    return Sightings(
        ids=tuple(f"P{i}" for i in range(n)),
        place=np.arange(n, dtype=np.intp),
        residual_m=np.column_stack([none, none, up_m]),
        position_m=np.column_stack([rng.uniform(0, 300, (n, 2)), np.zeros(n)]),
        gradient=np.zeros((n, 2)),
        line=np.full(n, -1, dtype=np.intp),
        heading_deg=none,
        across_m=none,
        height_m=none,
        speed_m_s=none,
        returns=np.ones(n),
        order=np.arange(n, dtype=np.intp),
        groups=groups,
    )


def test_rosner_s_example() -> None:
    """Rosner's 54 values hold three outliers at 5 %.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.3; from memory.
    """
    values = [
        -0.25,
        0.68,
        0.94,
        1.15,
        1.20,
        1.26,
        1.26,
        1.34,
        1.38,
        1.43,
        1.49,
        1.49,
        1.55,
        1.56,
        1.58,
        1.65,
        1.69,
        1.70,
        1.76,
        1.77,
        1.81,
        1.91,
        1.94,
        1.96,
        1.99,
        2.06,
        2.09,
        2.10,
        2.14,
        2.15,
        2.23,
        2.24,
        2.26,
        2.35,
        2.37,
        2.40,
        2.47,
        2.54,
        2.62,
        2.64,
        2.90,
        2.92,
        2.92,
        2.93,
        3.21,
        3.26,
        3.30,
        3.59,
        3.68,
        4.30,
        4.64,
        5.34,
        5.42,
        6.01,
    ]
    found = outliers(np.array(values), 0.05)
    assert sorted(values[i] for i, _, _ in found) == [5.34, 5.42, 6.01]
    # First two of the statistics and critical values printed there.
    assert [round(size, 3) for _, size, _ in found[:2]] == [3.119, 2.943]
    assert [round(critical, 3) for _, _, critical in found[:2]] == [3.159, 3.151]


def test_false_alarms_keep_the_stated_rate() -> None:
    """Of 1000 normal samples one in a hundred holds an 'outlier' at that level; not more than 2 %."""
    rng = np.random.default_rng(20)
    alarms = sum(bool(outliers(rng.normal(size=30), 0.01)) for _ in range(1000))
    assert alarms <= 20


def test_groups_keep_the_stated_rate() -> None:
    """Of 150 sets of normal heights at most 3 are said to hold a group, or a point, that is off."""
    alarms = 0
    for seed in range(150):
        sightings = _plain(np.random.default_rng(100 + seed).normal(0.0, 0.02, 24))
        observations = Observations(sightings)
        up = sightings.residual_m[:, 2]
        alarms += bool(find(observations, up - up.mean(), np.full(24, 0.02), 1))
    assert alarms <= 3


def test_a_session_is_found_as_a_group() -> None:
    """Ten points that follow one another and lie 80 mm low are one finding, not ten."""
    rng = np.random.default_rng(2)
    up = rng.normal(0.0, 0.02, 40)
    up[12:22] -= 0.08
    sightings = _plain(up)
    (found,) = find(Observations(sightings), up - np.median(up), np.full(40, 0.02), 1)
    assert found.ids == tuple(f"P{i}" for i in range(12, 22))
    assert abs(found.value_m + 0.08) < 0.02


def test_points_described_alike_are_tested_together() -> None:
    """Every third point, of a session that the table names, is found although it follows no order."""
    rng = np.random.default_rng(4)
    up = rng.normal(0.0, 0.015, 45)
    up[2::3] += 0.05
    group = tuple(f"P{i}" for i in range(2, 45, 3))
    sightings = _plain(up, (("afternoon, second rod", group),))
    (found,) = find(Observations(sightings), up - np.median(up), np.full(45, 0.015), 1)
    assert set(found.ids) == set(group)
    assert "afternoon" in found.how


def test_few_points_are_not_tested() -> None:
    """With fewer points than the test wants nothing is said."""
    values = np.zeros(LEAST - 1)
    values[0] = 5.0
    assert outliers(values, 0.01) == []


def test_a_blunder_is_told_and_stays() -> None:
    """A point 300 mm off is named with figures with and without it, and the shift hardly feels it."""
    sightings = fly(11, Setting(targets=False))
    clean = diagnose_sightings(sightings, Context())
    moved = sightings.residual_m.copy()
    moved[sightings.place == 4, 2] += 0.3
    found = diagnose_sightings(replace(sightings, residual_m=moved), Context())
    assert [b.ids for b in found.blunders] == [("CP05",)]
    assert not clean.blunders
    assert (
        found.without_blunders["up"]["with"]["n"]
        == found.without_blunders["up"]["without"]["n"] + 1
    )
    assert found.conclusion == clean.conclusion
    assert "None is dropped" in found.text


def test_figures_with_and_without() -> None:
    """Mean and RMSE are those of the points named, by hand."""
    from accuracy.diagnosis.records import Blunder

    axes = np.array([[np.nan, np.nan, v] for v in (0.01, -0.01, 0.02, 0.5)])
    told = without([Blunder(("D",), "up", 0.5, 9.0, 3.0, "")], ("A", "B", "C", "D"), axes)
    assert told["up"]["with"]["n"] == 4
    assert abs(told["up"]["without"]["mean_m"] - 0.02 / 3) < 1e-12
    assert abs(told["up"]["without"]["rmse_m"] - np.sqrt(0.0006 / 3)) < 1e-12
