"""The job file of a simulated flight: what the crew believes, whatever was put in."""

from __future__ import annotations

from accuracy.gps_time import week_of_date
from accuracy.simulation.base_files import base_section
from accuracy.simulation.near import Flight


def job_text(flight: Flight, cloud_file: str, flown_s: float, *, measured: bool = True) -> str:
    """Write the job file; `measured`: targets could be picked in the cloud."""
    scenario, site = flight.scenario, flight.scenario.site
    noise = scenario.noise
    control = ", ".join(f'"{mark.id}"' for mark in scenario.marks if mark.control)
    heights = {each.above_m for each in scenario.passes}
    middle_m = (min(heights) + max(heights)) / 2
    tolerance_m = (max(heights) - min(heights)) / 2 + 12.0
    survey_h_m = max((2 * (noise.survey_h_m**2 + noise.survey_shared_m[0] ** 2)) ** 0.5, 0.001)
    survey_v_m = max((noise.survey_v_m**2 + noise.survey_shared_m[2] ** 2) ** 0.5, 0.001)
    system = f'crs = "{site.crs}"\ngeoid = "{site.geoid}"'
    targets = f"""\
[[dataset]]
name = "targets"                           # their centres as picked in the cloud
kind = "measured-points"
files = ["measured.csv"]
{system}

"""
    return f"""\
# Simulated: place, firm and people are invented. What was put in is in truth.json; this file says what the
# crew believes.

[job]
title = "Scenario {scenario.name}, seed {flight.seed}"
site = "{site.name}"
prepared_for = "Morrowhelm Aggregates"
prepared_by = "Quandril Mapping, O. Brackenfurth"
flown = {site.flown.isoformat()}

[checkpoints]
file = "checkpoints.csv"
{system}
survey_rmse_h_m = {survey_h_m:.4f}
survey_rmse_v_m = {survey_v_m:.4f}
control = [{control}]

[[dataset]]
name = "ground cloud"
kind = "point-cloud"
files = ["{cloud_file}"]
{system}

[[dataset]]
name = "elevation raster"
kind = "raster"
files = ["dem.tif"]
{system}

{targets if measured else ""}{base_section(scenario, flight.faults, flown_s)}
[trajectory]
file = "trajectory.csv"
{system}
time = "gps-seconds-of-week"
week = {week_of_date(site.flown)}
planned_height_m = {middle_m:.1f}
planned_height_tolerance_m = {tolerance_m:.1f}

[[claim]]
dataset = "ground cloud"
standard = "asprs-2024"
vertical_class_cm = 5.0

[[claim]]
dataset = "elevation raster"
standard = "asprs-2024"
vertical_class_cm = 5.0
"""
