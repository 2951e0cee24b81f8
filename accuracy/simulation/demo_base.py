"""The base of the demo's flight: header of its observation file, calibration of its antenna. Invented."""

from __future__ import annotations

#: RINEX 3.05: content to column 60, then the label. The position is what a receiver computes by itself.
_HEADER = (
    ("     3.05           OBSERVATION DATA    M", "RINEX VERSION / TYPE"),
    ("simulated           Quandril Mapping    20260514 193000 UTC", "PGM / RUN BY / DATE"),
    ("Invented: no receiver recorded this, and no epochs follow", "COMMENT"),
    ("HESSOWAY PILLAR 2", "MARKER NAME"),
    ("GEODETIC", "MARKER TYPE"),
    ("O. Brackenfurth     Quandril Mapping", "OBSERVER / AGENCY"),
    ("R0042               QUANTUBE R1         1.4", "REC # / TYPE / VERS"),
    ("A0117               QUANTENNA_7     NONE", "ANT # / TYPE"),
    (" -1809868.1410 -4467218.9022  4165169.3317", "APPROX POSITION XYZ"),
    ("        1.6253        0.0000        0.0000", "ANTENNA: DELTA H/E/N"),
    ("G    4 C1C L1C C2W L2W", "SYS / # / OBS TYPES"),
    ("E    4 C1C L1C C5Q L5Q", "SYS / # / OBS TYPES"),
    ("     1.000", "INTERVAL"),
    ("  2026     5    14    15    22    0.0000000     GPS", "TIME OF FIRST OBS"),
    ("  2026     5    14    19     8   30.0000000     GPS", "TIME OF LAST OBS"),
    ("    18", "LEAP SECONDS"),
    ("", "END OF HEADER"),
)

#: ANTEX 1.4: phase centres north, east, up in millimetres.
_CALIBRATION = (
    ("     1.4            M", "ANTEX VERSION / SYST"),
    ("A", "PCV TYPE / REFANT"),
    ("Invented: no such antenna was calibrated", "COMMENT"),
    ("", "END OF HEADER"),
    ("", "START OF ANTENNA"),
    ("QUANTENNA_7     NONE", "TYPE / SERIAL NO"),
    ("ROBOT               Quandril Mapping         1    03-FEB-26", "METH / BY / # / DATE"),
    ("     0.0", "DAZI"),
    ("     0.0  90.0  45.0", "ZEN1 / ZEN2 / DZEN"),
    ("     2", "# OF FREQUENCIES"),
    ("   G01", "START OF FREQUENCY"),
    ("      0.62     -0.41     91.35", "NORTH / EAST / UP"),
    ("   NOAZI    0.00   -2.10    1.40", None),
    ("   G01", "END OF FREQUENCY"),
    ("   G02", "START OF FREQUENCY"),
    ("     -0.20      0.33    118.72", "NORTH / EAST / UP"),
    ("   NOAZI    0.00   -1.60    2.20", None),
    ("   G02", "END OF FREQUENCY"),
    ("", "END OF ANTENNA"),
)


def observation_text() -> str:
    """Write the header of the observation file."""
    return "".join(f"{content:<60}{label}\n" for content, label in _HEADER)


def antex_text() -> str:
    """Write the calibration."""
    return "".join(
        f"{content}\n" if label is None else f"{content:<60}{label}\n"
        for content, label in _CALIBRATION
    )
