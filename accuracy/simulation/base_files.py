"""The base of a simulated flight: header of its observation file, calibrations, and the job's section [base].

A fault of the base is put in as it happens: in what the processing was told. What was measured on the mark,
the header, and the published coordinates are right.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping

import numpy as np

from accuracy.simulation.motion import first_second
from accuracy.simulation.scenario_record import Scenario

OTHER_ANTENNA = "QUANTENNA_9     NONE"
RIM_OFFSET_M = 0.044  # the rim mark above the reference point
HOURS_BEFORE, HOURS_AFTER = 1.5, 0.75


def _position_m(scenario: Scenario) -> tuple[float, float, float]:
    """Easting, northing and height of the mark."""
    site = scenario.site
    return (
        site.origin_m[0] + site.base_m[0],
        site.origin_m[1] + site.base_m[1],
        site.base_m[2],
    )


def _occupation(scenario: Scenario, flown_s: float) -> tuple[datetime.datetime, datetime.datetime]:
    day = datetime.datetime.combine(scenario.site.flown, datetime.time())
    begin = day + datetime.timedelta(seconds=first_second(scenario) % 86_400.0)
    end = begin + datetime.timedelta(seconds=flown_s)
    return (
        begin - datetime.timedelta(hours=HOURS_BEFORE),
        (end + datetime.timedelta(hours=HOURS_AFTER)).replace(microsecond=0),
    )


def observation_text(scenario: Scenario, flown_s: float) -> str:
    """Write the header of the observation file (RINEX 3.05); no epochs follow."""
    site, antenna = scenario.site, scenario.site.antenna
    computed_m = site.geocentric_m(*np.add(_position_m(scenario), site.autonomous_m).tolist())
    start, end = _occupation(scenario, flown_s)

    def time(at: datetime.datetime) -> str:
        return f"{at.year:6d}{at.month:6d}{at.day:6d}{at.hour:6d}{at.minute:6d}{at.second:13.7f}     GPS"

    run = f"{end:%Y%m%d %H%M%S} UTC"
    lines = (
        ("     3.05           OBSERVATION DATA    M", "RINEX VERSION / TYPE"),
        (f"simulated           Quandril Mapping    {run}", "PGM / RUN BY / DATE"),
        ("Invented: no receiver recorded this, and no epochs follow", "COMMENT"),
        ("PILLAR 2", "MARKER NAME"),
        ("GEODETIC", "MARKER TYPE"),
        ("O. Brackenfurth     Quandril Mapping", "OBSERVER / AGENCY"),
        ("R0042               QUANTUBE R1         1.4", "REC # / TYPE / VERS"),
        (f"{antenna.serial:<20}{antenna.type}", "ANT # / TYPE"),
        ("".join(f"{part:14.4f}" for part in computed_m), "APPROX POSITION XYZ"),
        (f"{antenna.height_m:14.4f}{0:14.4f}{0:14.4f}", "ANTENNA: DELTA H/E/N"),
        ("G    4 C1C L1C C2W L2W", "SYS / # / OBS TYPES"),
        ("E    4 C1C L1C C5Q L5Q", "SYS / # / OBS TYPES"),
        ("     1.000", "INTERVAL"),
        (time(start), "TIME OF FIRST OBS"),
        (time(end), "TIME OF LAST OBS"),
        ("    18", "LEAP SECONDS"),
        ("", "END OF HEADER"),
    )
    return "".join(f"{content:<60}{label}\n" for content, label in lines)


def antex_text(scenario: Scenario, faults: Mapping[str, float]) -> str:
    """Write calibrations of the antenna, and of another where its model was taken by mistake."""
    antenna = scenario.site.antenna
    more_m = faults.get("antenna-model", 0.0)
    text = _rows(
        (
            ("     1.4            M", "ANTEX VERSION / SYST"),
            ("A", "PCV TYPE / REFANT"),
            ("Invented: no such antenna was calibrated", "COMMENT"),
            ("", "END OF HEADER"),
        )
    )
    text += _calibration(antenna.type, antenna.phase_centre_up_m)
    if more_m:
        text += _calibration(OTHER_ANTENNA, antenna.phase_centre_up_m + more_m)
    return text


def _calibration(name: str, up_m: float) -> str:
    frequencies: list[tuple[str, str | None]] = []
    for band, more_mm in (("G01", 0.0), ("G02", 27.37)):
        frequencies += [
            (f"   {band}", "START OF FREQUENCY"),
            (f"{0.62:10.2f}{-0.41:10.2f}{up_m * 1000.0 + more_mm:10.2f}", "NORTH / EAST / UP"),
            ("   NOAZI    0.00   -2.10    1.40", None),
            (f"   {band}", "END OF FREQUENCY"),
        ]
    return _rows(
        (
            ("", "START OF ANTENNA"),
            (name, "TYPE / SERIAL NO"),
            ("ROBOT               Quandril Mapping         1    03-FEB-26", "METH / BY / # / DATE"),
            ("     0.0", "DAZI"),
            ("     0.0  90.0  45.0", "ZEN1 / ZEN2 / DZEN"),
            ("     2", "# OF FREQUENCIES"),
            *frequencies,
            ("", "END OF ANTENNA"),
        )
    )


def _rows(lines: tuple[tuple[str, str | None], ...]) -> str:
    return "".join(
        f"{content}\n" if label is None else f"{content:<60}{label}\n" for content, label in lines
    )


def base_section(scenario: Scenario, faults: Mapping[str, float], flown_s: float) -> str:
    """Write the section [base] of the job: what the crew noted and what it typed."""
    site, antenna = scenario.site, scenario.site.antenna
    east, north, up = _position_m(scenario)
    held = (
        east + faults.get("base-east", 0.0),
        north + faults.get("base-north", 0.0),
        up + faults.get("base-up", 0.0),
    )
    origin = "published"
    if faults.get("base-autonomous"):
        held = tuple(np.add(held, site.autonomous_m).tolist())
        origin = "autonomous"

    # the slant height that leads to the true vertical one
    radius_m, offset_m = antenna.rim_radius_m, RIM_OFFSET_M
    slant_m = math.hypot(antenna.height_m + offset_m, radius_m)
    typed_m = antenna.height_m
    if size := faults.get("base-slant"):
        slant_m = antenna.height_m + size
        offset_m = math.sqrt(slant_m**2 - radius_m**2) - antenna.height_m
        typed_m = slant_m
    typed_m += faults.get("antenna-height", 0.0) * antenna.height_m
    typed_m += faults.get("antenna-feet", 0.0) * (1 / 0.3048 - 1) * antenna.height_m
    model = OTHER_ANTENNA if faults.get("antenna-model") else antenna.type
    phase = faults.get("phase-centre", 0.0)
    typed_m += max(phase, 0.0) * antenna.phase_centre_up_m
    model = "none" if phase < 0 else model
    start, end = _occupation(scenario, flown_s)

    def place(at: tuple[float, ...]) -> str:
        return (
            f'crs = "{site.crs}"\ngeoid = "{site.geoid}"\n'
            f"easting = {at[0]:.4f}\nnorthing = {at[1]:.4f}\nheight = {at[2]:.4f}\n"
        )

    return f"""\
[base]
mark = "{site.name}, pillar 2"
observation = "base/pillar2.{site.flown:%y}o"
antex = "base/antennas.atx"
survey_from_same_base = false

[base.published]
{place((east, north, up))}source = "control sheet 114"
accuracy_h_m = 0.010
accuracy_v_m = 0.015

[base.held]
{place(held)}origin = "{origin}"

[base.antenna]
type = "{antenna.type}"
serial = "{antenna.serial}"

[base.height]                              # as measured over the mark
value = {slant_m:.4f}
unit = "metre"
kind = "slant"
to = "rim"
radius_m = {radius_m:.4f}
offset_m = {offset_m:.4f}
measured_by = "O. Brackenfurth"

[base.processing]                          # as typed
height = {{ value = {typed_m:.4f}, unit = "metre", kind = "vertical", to = "arp" }}
antenna_model = "{model}"
frequency = "L1"

[[base.occupation]]
start = {start.isoformat()}
end = {end.isoformat()}
time_system = "GPS"
interval_s = 1.0
"""
