"""Centres of targets by flight line, as the record has them, joined to the heights of the lines."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any

import numpy as np
import pytest
from diagnosis_flights import CROSSING, Wrong, displaced
from numpy.testing import assert_allclose

from accuracy.diagnosis import diagnose
from accuracy.diagnosis.candidates import Context
from accuracy.diagnosis.sightings import sightings_of
from accuracy.residuals import Position, ResidualRow
from accuracy.sampling import LineSupport, Support

LINES = [
    {
        "start_s": 1000.0 * line.number,
        "end_s": 1000.0 * line.number + 100.0,
        "heading_deg": line.heading_deg,
        "speed_m_s": line.speed_m_s,
        "height_above_ground_m": line.height_m,
    }
    for line in CROSSING
]
TRAJECTORY = {"lines": LINES}


def job(
    wrong: Wrong, points: int = 24, plate: int | None = None
) -> tuple[tuple[ResidualRow, ...], list[dict[str, Any]]]:
    """Give rows and targets of a result: flat ground, every line sees every point, exact rotations."""
    rng = np.random.default_rng(8)
    rows, targets = [], []
    for i in range(points):
        east, north = 412_000.0 + rng.uniform(0.0, 150.0), 4_541_000.0 + rng.uniform(0.0, 150.0)
        survey = rng.normal(0.0, 0.006, 3)
        seen, by_line = [], []
        for line in CROSSING:
            across = float(rng.uniform(-30.0, 30.0))
            moved = displaced(line, across, wrong) - survey + rng.normal(0.0, 0.008, 3)
            angle = float(np.degrees(np.arctan2(across, line.height_m)))
            time = 1000.0 * line.number + 50.0
            lower = 0.6 if i == plate else 0.0
            seen.append(LineSupport(line.number, 30, 1300.0 + float(moved[2]) - lower, angle, time))
            by_line.append(
                {
                    "line": line.number,
                    "refused": None,
                    "east_m": float(moved[0]),
                    "north_m": float(moved[1]),
                    "sigma_east_m": 0.008,
                    "sigma_north_m": 0.008,
                    "correlation": 0.0,
                    "points": 60,
                }
            )
        flat = np.mean([[one["east_m"], one["north_m"]] for one in by_line], axis=0)
        up_m = float(np.mean([(one.height_m or 0.0) - 1300.0 for one in seen]))
        up_m += 0.6 if i == plate else 0.0
        rows.append(
            ResidualRow(
                id=f"T{i + 1:02d}",
                cover="non-vegetated",
                role="checkpoint",
                used=True,
                reason=None,
                detail="",
                surveyed=Position(east, north, 1300.0),
                measured=None,
                residual=Position(float(flat[0]), float(flat[1]), up_m),
                native=MappingProxyType({"easting": east, "northing": north}),
                survey_rmse_h_m=0.006,
                survey_rmse_v_m=0.006,
                support=Support(120, slope_deg=0.0, roughness_m=0.004, lines=tuple(seen)),
                line=i + 2,
            )
        )
        targets.append(
            {
                "id": f"T{i + 1:02d}",
                "pattern": "plate" if i == plate else "disc",
                "refused": None,
                "lines": by_line,
            }
        )
    return tuple(rows), targets


@pytest.mark.parametrize(
    ("wrong", "cause"),
    [
        (Wrong(heading_deg=0.15), "boresight-heading"),
        (Wrong(lever_m=(0.0, 0.06, 0.0)), "lever-arm-right"),
        (Wrong(roll_deg=-0.06), "boresight-roll"),
    ],
    ids=["heading", "lever", "roll"],
)
def test_centres_by_line_name_what_turns_with_the_aircraft(wrong: Wrong, cause: str) -> None:
    """A cause that moves targets to and fro with the heading is named, and its size is right."""
    rows, targets = job(wrong)
    found = diagnose(rows, Context(), trajectory=TRAJECTORY, targets=targets)
    assert found.conclusion == "named"
    assert found.listed[0].names == (cause,)
    amount = found.listed[0].amounts[0]
    truth = {
        "boresight-heading": wrong.heading_deg,
        "lever-arm-right": wrong.lever_m[1],
        "boresight-roll": wrong.roll_deg,
    }[cause]
    assert abs(amount.value - truth) < 3.0 * amount.sigma


def test_common_centres_alone_do_not_show_it() -> None:
    """The common centre of lines to and fro hardly moves: without the lines nothing is named."""
    rows, _ = job(Wrong(heading_deg=0.15))
    assert diagnose(rows, Context(), trajectory=TRAJECTORY).conclusion == "nothing-to-explain"


def test_each_line_carries_its_own_centre_and_height() -> None:
    """Rows are those of the lines, the common centre is not counted beside them, and sigmas go along."""
    rows, targets = job(Wrong(), points=6)
    targets[1]["lines"][2]["refused"] = "low-contrast"
    targets[2]["refused"] = "wrong-pattern"
    targets[3]["lines"] = []
    found = sightings_of(rows, TRAJECTORY, "point-cloud", targets)
    assert found is not None
    first = found.place == 0
    assert first.sum() == 4
    wanted = [[one["east_m"], one["north_m"]] for one in targets[0]["lines"]]
    assert_allclose(found.residual_m[first, :2], wanted, rtol=0.0, atol=1e-12)
    assert np.isfinite(found.residual_m[first, 2]).all()
    assert found.centre_sigma_m is not None
    assert_allclose(found.centre_sigma_m[first], 0.008, rtol=0.0, atol=1e-12)
    second = found.place == 1
    assert np.isnan(found.residual_m[second & (found.line == 3), 0]).all()
    assert np.isfinite(found.residual_m[second & (found.line != 3), 0]).all()
    for place in (2, 3):  # refused, or not told line by line: as without
        common = (found.place == place) & (found.line == -1)
        assert common.sum() == 1
        assert np.isfinite(found.residual_m[common, 0]).all()


def test_the_height_of_a_plate_is_its_own() -> None:
    """Lines tell the height of the ground around a raised plate: only its own height is compared."""
    rows, targets = job(Wrong(), points=6, plate=4)
    found = sightings_of(rows, TRAJECTORY, "point-cloud", targets)
    assert found is not None
    its = found.place == 4
    up_m = found.residual_m[its, 2]
    assert np.isfinite(up_m).sum() == 1
    assert np.nanmax(np.abs(up_m)) < 0.05
    assert np.isfinite(found.residual_m[its & (found.line >= 0), 0]).all()


def test_without_targets_rows_are_as_before() -> None:
    """No record of targets, or an empty one: the same sightings, centres common to all lines."""
    rows, _ = job(Wrong(), points=6)
    found = sightings_of(rows, TRAJECTORY, "point-cloud")
    assert found is not None
    assert found.centre_sigma_m is None
    assert np.isnan(found.residual_m[found.line >= 0, 0]).all()
    assert np.isfinite(found.residual_m[found.line == -1, 0]).all()
