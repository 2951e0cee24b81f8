"""What the header of the observation file lacks, or says that it should not."""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.base_checks.antenna import NAMELESS
from accuracy.base_checks.record import BaseCheck, Station
from accuracy.findings import Severity
from accuracy.formats.antex import split_antenna
from accuracy.formats.rinex import RinexHeader

#: Heights over a mark that no tripod, pole or pillar has.
TALLEST_M = 3.0
NAMES = {
    "MARKER NAME": "the name of the mark",
    "ANT # / TYPE": "the antenna",
    "REC # / TYPE / VERS": "the receiver",
    "APPROX POSITION XYZ": "an approximate position",
    "ANTENNA: DELTA H/E/N": "the antenna height",
    "TIME OF FIRST OBS": "the time of the first observation",
}


def check(station: Station) -> Iterator[BaseCheck]:
    """Go through the records."""
    header, name = station.header, station.header_name
    if header is None:
        return
    if header.missing:
        told = ", ".join(NAMES.get(label, label) for label in header.missing)
        yield _told("record-missing", f"the header of {name} does not give {told}")
    for text in header.unreadable:
        yield _told("record-unreadable", f"a record of {name} cannot be understood: {text}")
    if header.position_m is not None and not any(header.position_m):
        yield _told("position-zero", f"the header of {name} gives position 0, 0, 0: none")
    field = header.antenna_field
    if "ANT # / TYPE" not in header.missing and split_antenna(field)[0].upper() in NAMELESS:
        what = f'says "{field}"' if field else "leaves the antenna blank"
        yield _told(
            "antenna-nameless",
            f"the header of {name} {what}: a program that relies on it applies no calibration",
        )
    yield from _height(header, name)
    if header.phase_centres:
        system, code, values = header.phase_centres[0]
        numbers = ", ".join(f"{value:.4f}" for value in values)
        yield _told(
            "phase-centre-in-header",
            f"the header of {name} holds a phase centre ({system} {code}: {numbers} m): a program "
            "that adds it to "
            "its own calibration counts it twice",
        )
    if header.delta_xyz_m is not None and any(header.delta_xyz_m):
        yield _told(
            "antenna-of-vehicle",
            f"the header of {name} places the antenna in the frame of a vehicle: is this the base?",
        )
    if header.dual_frequency is False:
        yield _told(
            "one-frequency", f"{name} lists carrier phase on one frequency only", Severity.NOTE
        )


def _height(header: RinexHeader, name: str) -> Iterator[BaseCheck]:
    if header.delta_hen_m is None:
        return
    up, east, north = header.delta_hen_m
    if up < 0.0 or up > TALLEST_M:
        yield _told(
            "height-odd",
            f"the header of {name} gives an antenna height of {up:.4f} m"
            + (": feet in place of metres?" if up > TALLEST_M else ": below the mark?"),
        )
    if east or north:
        yield _told(
            "eccentric",
            f"the header of {name} sets the antenna {east:+.4f} m east and {north:+.4f} m north of "
            "the mark",
            Severity.NOTE,
        )


def _told(cause: str, what: str, severity: Severity = Severity.WARNING) -> BaseCheck:
    return BaseCheck(
        "base-header",
        cause,
        severity,
        what,
        remedy=""
        if severity is Severity.NOTE
        else "compare with the field notes; tell the processing software what is right",
    )
