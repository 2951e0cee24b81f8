"""Spread of simulated points over the spread that the error budget predicts; for a test and a benchmark."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from accuracy.budget import predict
from accuracy.job.sections import Flight as PlannedFlight
from accuracy.job.sections import Sensor
from accuracy.simulation.memory import prepare
from accuracy.simulation.near import pulses_at
from accuracy.simulation.returns import observe
from accuracy.simulation.scenarios import Noise, scenario
from accuracy.simulation.sensing import process, pulses_of

#: Standard deviations of a payload, as `accuracy.budget` takes them (invented).
SENSOR = Sensor(
    gnss_axis_m=0.02,
    gnss_height_m=0.03,
    roll_pitch_deg=0.015,
    heading_deg=0.05,
    boresight_roll_pitch_deg=0.005,
    boresight_heading_deg=0.01,
    range_m=0.015,
    scan_deg=0.01,
    lever_arm_m=0.005,
)


def ratios(seeds: Iterable[int]) -> NDArray[np.float64]:
    """Root mean square of errors over the predicted standard deviation: along, across, up."""
    noise = Noise(
        gnss_m=(0.02, 0.02, 0.03),
        shared_m=(0.0, 0.0, 0.0),
        attitude_deg=(0.015, 0.015, 0.05),
        range_m=0.015,
        scan_deg=0.01,
        boresight_deg=(0.005, 0.005, 0.01),
        lever_arm_m=(0.005, 0.005, 0.005),
    )
    flown = replace(scenario("flat"), sway=0.0).with_noise(noise)
    away, angle, above = [], [], []
    for seed in seeds:
        flight = prepare(flown, {}, seed)
        for track in flight.motion.tracks:
            number = np.arange(20_000, 120_000, 10_037, dtype=np.int64)
            pulses = pulses_of(flight.motion, track, flown.payload, number)
            returns = observe(flown, seed, pulses, spoiled=False)
            shot = pulses_at(pulses, returns.pulse)
            made = process(
                flight.motion, shot, flight.mount, returns.angle_deg, returns.range_m, noisy=True
            )
            heading = np.radians(shot.attitude_deg[:, 2])
            d = made - returns.true_m
            along = d[:, 0] * np.sin(heading) + d[:, 1] * np.cos(heading)
            across = d[:, 0] * np.cos(heading) - d[:, 1] * np.sin(heading)
            away.append(np.column_stack([along, across, d[:, 2]]))
            angle.append(shot.angle_deg + 0.35)  # the scanner is mounted rolled by so much
            above.append(shot.position_m[:, 2] - returns.true_m[:, 2])
    error_m, angle_deg, height_m = (np.concatenate(each) for each in (away, angle, above))
    shares = []
    for k in range(len(angle_deg)):
        plan = PlannedFlight(
            height_m=float(height_m[k]),
            largest_scan_angle_deg=max(abs(float(angle_deg[k])), 0.001),
        )
        expected = predict(plan, SENSOR)
        shares.append(error_m[k] / (expected.along_m, expected.across_m, expected.up_m))
    return np.asarray(np.sqrt(np.mean(np.square(shares), axis=0)))
