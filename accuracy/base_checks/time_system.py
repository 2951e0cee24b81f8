"""Time system and leap seconds of the observation file."""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.base_checks.record import BaseCheck, Station
from accuracy.base_checks.times import KNOWN, leap_seconds
from accuracy.findings import Severity


def check(station: Station) -> Iterator[BaseCheck]:
    """Tell a time system that is not GPS time, and leap seconds that are not those of the date."""
    header, name = station.header, station.header_name
    if header is None or header.first is None:
        return
    system = header.first.system
    if system not in KNOWN:
        yield _told(
            "time-system-unknown",
            f"{name} counts in time system {system!r}, which is not known; read as GPS time",
        )
    elif system == "" and header.system not in ("", "G", "M"):
        yield _told(
            "time-system-blank",
            f"{name} does not say its time system, which for satellite system {header.system} need "
            "not be GPS time",
        )
    elif system in ("GLO", "UTC", "BDT"):
        yield BaseCheck(
            "base-time-system",
            "time-system",
            Severity.NOTE,
            f"{name} counts in {system} time; brought to GPS time here",
        )
    if header.last is not None and header.last.system not in (system, ""):
        yield _told(
            "time-systems-differ",
            f"{name} counts its first epoch in {system or 'an unnamed'} time and its last in "
            f"{header.last.system}",
        )
    right = leap_seconds(header.first.when)
    said = header.leap_seconds
    # Some receivers write the difference to BeiDou time, and old headers none or zero: both mean "not known".
    if said and said not in (right, right - 14):
        yield _told(
            "leap-seconds-wrong",
            f"{name} gives {said} leap seconds; at {header.first.when:%Y-%m-%d} they are {right}: "
            "times turned "
            f"from UTC by them are {said - right:+d} s off",
        )


def _told(cause: str, what: str) -> BaseCheck:
    return BaseCheck(
        "base-time-system",
        cause,
        Severity.WARNING,
        what,
        remedy="tell the processing software the time system; convert the file again with a current "
        "program",
    )
