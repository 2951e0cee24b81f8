"""Predicted accuracy: closed form against a numeric Jacobian, and the published tables."""

from __future__ import annotations

import math

import numpy as np
import pytest
from simulation_budget import SENSOR
from support import assert_metres

from accuracy.budget import (
    asprs_2014_height_m,
    asprs_2014_horizontal_m,
    asprs_2023_horizontal_m,
    estimates_m,
    predict,
    sensor_findings,
)
from accuracy.findings import Severity
from accuracy.job.sections import Flight
from accuracy.standards.library import load_standard

FLIGHT = Flight(height_m=80.0, largest_scan_angle_deg=30.0)


def rotation(roll: float, pitch: float, heading: float) -> np.ndarray:
    """Rz(heading) Ry(pitch) Rx(roll), radians."""
    cr, sr, cp, sp, ch, sh = (f(v) for v in (roll, pitch, heading) for f in (math.cos, math.sin))
    x = np.array([[1, 0, 0], [0, cr, -sr], [0, sr, cr]])
    y = np.array([[cp, 0, sp], [0, 1, 0], [-sp, 0, cp]])
    z = np.array([[ch, -sh, 0], [sh, ch, 0], [0, 0, 1]])
    return np.asarray(z @ y @ x)


def georeferenced(p: np.ndarray) -> np.ndarray:
    """Glennie 2007: p = P + R_bm (R_sb r + a); x along, y across, z down; the 14 inputs in one array."""
    position, attitude, sight, arm = p[0:3], p[3:6], p[6:9], p[9:12]
    rho, t = p[12], p[13]
    r = rho * np.array([0.0, math.sin(t), math.cos(t)])
    return np.asarray(position + rotation(*attitude) @ (rotation(*sight) @ r + arm))


@pytest.mark.parametrize("angle_deg", [0.0, 12.5, 30.0, 44.0])
@pytest.mark.parametrize("height_m", [40.0, 80.0, 1500.0])
def test_the_closed_form_is_that_of_a_numeric_jacobian(angle_deg: float, height_m: float) -> None:
    """C = J S J^T with J by central differences of the equation of georeferencing: equal to a micrometre."""
    t = math.radians(angle_deg)
    at = np.zeros(14)
    at[12], at[13] = height_m / math.cos(t), t
    rad = math.radians
    sigma = np.array(
        [0.02, 0.02, 0.03]
        + [rad(0.015), rad(0.015), rad(0.05)]
        + [rad(0.005), rad(0.005), rad(0.01)]
        + [0.005] * 3
        + [0.015, rad(0.01)]
    )
    step = 1e-5
    jacobian = np.column_stack(
        [
            (georeferenced(at + step * e) - georeferenced(at - step * e)) / (2 * step)
            for e in np.eye(14)
        ]
    )
    expected = np.sqrt(np.diag(jacobian @ np.diag(sigma**2) @ jacobian.T))
    flight = Flight(height_m=height_m, largest_scan_angle_deg=angle_deg)
    found = predict(flight, SENSOR)
    assert_metres([found.along_m, found.across_m, found.up_m], expected, within_m=1e-6)


def test_the_worked_example() -> None:
    """Example G0 of the shared notes on practice (derived there): along, across, up, horizontal."""
    found = predict(FLIGHT, SENSOR)
    assert_metres(
        [found.along_m, found.across_m, found.up_m, found.horizontal_m],
        [0.05101, 0.03411, 0.03635, 0.06136],
        within_m=6e-6,
    )
    assert_metres(
        math.hypot(*(term.up_m for term in found.terms)), found.up_m, within_m=1e-12
    )  # the causes add up


def test_a_slope_turns_horizontal_error_into_height() -> None:
    """Derived: mean square over all directions of a slope of 20 degrees is (h tan q)^2 / 2."""
    slope = Flight(height_m=80.0, largest_scan_angle_deg=30.0, ground_slope_deg=20.0)
    flat, steep = predict(FLIGHT, SENSOR), predict(slope, SENSOR)
    added = math.sqrt(steep.up_m**2 - flat.up_m**2)
    assert_metres(
        added, flat.horizontal_m * math.tan(math.radians(20)) / math.sqrt(2), within_m=1e-9
    )


def test_the_table_of_edition_1() -> None:
    """ASPRS Edition 1, Annex B.6 (from memory in the shared notes): GNSS 0.11314 m, IMU 0.00427 degrees."""
    printed = {500: 13.1, 1000: 17.5, 1500: 23.0, 2000: 29.0, 2500: 35.2}
    printed |= {3000: 41.6, 3500: 48.0, 4000: 54.5, 4500: 61.1, 5000: 67.6}
    for height_m, rmse_cm in printed.items():
        found_m = asprs_2014_horizontal_m(0.11314, 0.00427, height_m)
        assert_metres(100 * found_m, rmse_cm, within_m=0.05 + 1e-9)
        assert_metres(asprs_2014_height_m(found_m, 0.11314, 0.00427), height_m, within_m=1e-6)
    with pytest.raises(ValueError, match="GNSS"):
        asprs_2014_height_m(0.1, 0.11314, 0.00427)


def test_the_examples_of_edition_2() -> None:
    """Shared notes, section 5 of Edition 2 (computed there); the slope from the published assumptions."""
    assert_metres(asprs_2023_horizontal_m(0.02, 0.025, 0.08, 100.0), 0.1256, within_m=5e-5)
    assert_metres(asprs_2023_horizontal_m(0.02, 0.025, 0.08, 50.0), 0.0651, within_m=5e-5)
    per_metre_cm = 100 * asprs_2023_horizontal_m(0.0, 10 / 3600, 15 / 3600, 1.0)
    assert_metres(per_metre_cm, 8.200e-3, within_m=1e-6)
    both = list(estimates_m(FLIGHT, SENSOR).values())
    by_hand_m = math.hypot(0.02 * math.sqrt(2), 80 * math.tan(math.radians(0.015)) / 0.5589417)
    assert_metres(both[0], by_hand_m, within_m=1e-6)


def test_a_claim_that_the_sensor_cannot_support_is_called_out() -> None:
    """Right below 3.06 cm, at the edge 3.64 cm: 2.5 cm is a warning, 3.5 cm a note, 5 cm nothing."""
    standard = load_standard("asprs-2024")

    def told(**claimed: float) -> list[Severity]:
        return [f.severity for f in sensor_findings(FLIGHT, SENSOR, "d", standard, claimed)]

    assert told(vertical_class_cm=2.5) == [Severity.WARNING]
    assert told(vertical_class_cm=3.5) == [Severity.NOTE]
    assert told(vertical_class_cm=5.0) == []
    assert told(vertical_class_cm=5.0, horizontal_class_cm=2.0) == [Severity.WARNING]
    assert sensor_findings(None, SENSOR, "d", standard, {"vertical_class_cm": 1.0}) == ()
    nssda = load_standard("nssda-1998")
    (found,) = sensor_findings(FLIGHT, SENSOR, "d", nssda, {"vertical_95_m": 0.05})
    assert_metres(float(found.evidence["limit_m"] or 0), 0.05 / 1.96, within_m=1e-12)
