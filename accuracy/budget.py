"""Predicted accuracy of a drone lidar survey: the error budget, and two published horizontal estimates.

Axes: along the flight, across it, up. Level flight over level ground, a scanner that sweeps across the flight,
small boresight angles.

References
----------
C. Glennie, "Rigorous 3D error analysis of kinematic scanning LIDAR systems", J. Applied Geodesy 1 (2007),
147-157, for the equation of georeferencing (second-hand); the closed form for level flight is derived from it,
and a test compares it with a numeric Jacobian of that equation.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from accuracy.findings import Component, Finding, Severity
from accuracy.job.sections import Flight, Sensor
from accuracy.standards.library import Measure, Standard
from accuracy.stats import show

#: ASPRS Edition 1, section 7.5: ranging and timing errors are a quarter of the orientation error. From memory.
ASPRS_2014_CONSTANT = 0.55894170
#: ASPRS Edition 2, section 7.6. From memory.
ASPRS_2023_CONSTANT = 1.478


@dataclass(frozen=True)
class Term:
    """What one cause adds, one standard deviation in metres."""

    cause: str
    along_m: float
    across_m: float
    up_m: float


@dataclass(frozen=True)
class Prediction:
    """Predicted standard deviations at one scan angle, in metres, and their causes."""

    scan_angle_deg: float
    along_m: float
    across_m: float
    up_m: float
    terms: tuple[Term, ...]

    @property
    def horizontal_m(self) -> float:
        """Radial horizontal standard deviation."""
        return math.hypot(self.along_m, self.across_m)

    @property
    def three_d_m(self) -> float:
        """Standard deviation in three dimensions."""
        return math.hypot(self.horizontal_m, self.up_m)


def predict(flight: Flight, sensor: Sensor, scan_angle_deg: float | None = None) -> Prediction:
    """Predict the standard deviations of a point.

    Parameters
    ----------
    scan_angle_deg : float, optional
        From nadir; by default the largest that is used.
    """
    angle_deg = flight.largest_scan_angle_deg if scan_angle_deg is None else scan_angle_deg
    t, h = math.radians(angle_deg), flight.height_m
    y = h * math.tan(t)
    roll_pitch, heading = math.radians(sensor.roll_pitch_deg), math.radians(sensor.heading_deg)
    sight = math.radians(sensor.boresight_roll_pitch_deg)
    sight_heading = math.radians(sensor.boresight_heading_deg)
    scan = math.radians(sensor.scan_deg)
    range_m, arm_m = sensor.range_m, sensor.lever_arm_m
    terms = [
        Term("GNSS position", sensor.gnss_axis_m, sensor.gnss_axis_m, sensor.gnss_height_m),
        Term("attitude", math.hypot(h * roll_pitch, y * heading), h * roll_pitch, y * roll_pitch),
        Term("boresight", math.hypot(h * sight, y * sight_heading), h * sight, y * sight),
        Term("range", 0.0, range_m * math.sin(t), range_m * math.cos(t)),
        Term("scan angle", 0.0, h * scan, y * scan),
        Term("lever arm", arm_m, arm_m, arm_m),
    ]
    along_m = math.hypot(*(term.along_m for term in terms))
    across_m = math.hypot(*(term.across_m for term in terms))
    if flight.ground_slope_deg:
        # The steepest direction is not known: the mean square over all directions of the slope.
        share = math.tan(math.radians(flight.ground_slope_deg)) / math.sqrt(2.0)
        terms.append(Term("slope", 0.0, 0.0, share * math.hypot(along_m, across_m)))
    up_m = math.hypot(*(term.up_m for term in terms))
    return Prediction(angle_deg, along_m, across_m, up_m, tuple(terms))


def asprs_2014_horizontal_m(gnss_radial_m: float, imu_deg: float, height_m: float) -> float:
    """Estimate the radial RMSE by ASPRS Edition 1, section 7.5 (from memory; its table comes out)."""
    return math.hypot(
        gnss_radial_m, math.tan(math.radians(imu_deg)) / ASPRS_2014_CONSTANT * height_m
    )


def asprs_2014_height_m(rmse_r_m: float, gnss_radial_m: float, imu_deg: float) -> float:
    """Give the flying height that reaches a radial RMSE: the inverse of `asprs_2014_horizontal_m`.

    Raises
    ------
    ValueError
        The GNSS error alone is larger.
    """
    if gnss_radial_m > rmse_r_m:
        raise ValueError("the GNSS error alone is larger than the RMSE wanted")
    left_m = math.sqrt(rmse_r_m**2 - gnss_radial_m**2)
    return ASPRS_2014_CONSTANT / math.tan(math.radians(imu_deg)) * left_m


def asprs_2023_horizontal_m(
    gnss_radial_m: float, roll_pitch_deg: float, heading_deg: float, height_m: float
) -> float:
    """Estimate the radial RMSE by ASPRS Edition 2, section 7.6 (from memory)."""
    slopes = math.tan(math.radians(roll_pitch_deg)) + math.tan(math.radians(heading_deg))
    return math.hypot(gnss_radial_m, slopes / ASPRS_2023_CONSTANT * height_m)


def estimates_m(flight: Flight, sensor: Sensor) -> Mapping[str, float]:
    """Give the two published estimates of the radial horizontal RMSE for a flight, by their documents."""
    radial_m = sensor.gnss_axis_m * math.sqrt(2.0)
    return {
        "ASPRS Edition 1, section 7.5, from memory": asprs_2014_horizontal_m(
            radial_m, sensor.roll_pitch_deg, flight.height_m
        ),
        "ASPRS Edition 2, section 7.6, from memory": asprs_2023_horizontal_m(
            radial_m, sensor.roll_pitch_deg, sensor.heading_deg, flight.height_m
        ),
    }


def rmse_limit_m(measure: Measure, claimed: Mapping[str, object]) -> float | None:
    """Give the RMSE at which a measure reaches its limit; None where it has none, or is no RMSE.

    The 95 % values of the NSSDA are multiples of the RMSE: 1.9600 of heights, 1.7308 of positions with equal
    axes (Appendix 3-A, second-hand).
    """
    limit_m = measure.limit.metres(claimed) if measure.limit else None
    if limit_m is None:
        return None
    if measure.estimator == "rmse":
        return limit_m
    if measure.estimator == "accuracy_95":
        return limit_m / (1.9600 if measure.component == "up" else 1.7308)
    return None


def predicted_m(measure: Measure, prediction: Prediction) -> float:
    """Give what is predicted for the RMSE that a measure is of."""
    return {
        "up": prediction.up_m,
        "horizontal": prediction.horizontal_m,
        "3d": prediction.three_d_m,
    }.get(measure.component, max(prediction.along_m, prediction.across_m))


def sensor_findings(
    flight: Flight | None,
    sensor: Sensor | None,
    dataset: str,
    standard: Standard,
    claimed: Mapping[str, object],
) -> tuple[Finding, ...]:
    """Say which limits of a claim the sensor cannot be expected to keep.

    A warning where the prediction is beyond the limit right below the flight already, a note where it is at
    the largest scan angle only. Vegetated ground is not predicted.
    """
    if flight is None or sensor is None:
        return ()
    nadir, edge = predict(flight, sensor, 0.0), predict(flight, sensor)
    findings = []
    for measure in standard.requirements:
        limit_m = rmse_limit_m(measure, claimed)
        if limit_m is None or measure.cover == "vegetated":
            continue
        at_nadir_m, at_edge_m = predicted_m(measure, nadir), predicted_m(measure, edge)
        if max(at_nadir_m, at_edge_m) <= limit_m:
            continue
        severity = Severity.WARNING if at_nadir_m > limit_m else Severity.NOTE
        affected: Component = {"up": "vertical", "3d": "all"}.get(measure.component, "horizontal")  # type: ignore[assignment]  # the three words
        findings.append(
            Finding(
                "claim-beyond-sensor",
                severity,
                f"{standard.id}: from [flight] and [sensor] an RMSE of {show(at_nadir_m)} m is expected right "
                f"below and {show(at_edge_m)} m at {edge.scan_angle_deg:g} degrees, where {measure.name} asks "
                f"for {show(limit_m)} m",
                dataset=dataset,
                component=affected,
                evidence={
                    "standard": standard.id,
                    "measure": measure.id,
                    "nadir_m": at_nadir_m,
                    "edge_m": at_edge_m,
                    "limit_m": limit_m,
                },
                remedy="fly lower, use a smaller scan angle or a better sensor, or claim a wider class",
            )
        )
    return tuple(findings)
