"""Time systems: everything to GPS time, with the leap seconds of the date.

References
----------
BeiDou time is 14 s behind GPS time, GLONASS time is UTC in RINEX (RINEX 3.05; from memory). Galileo, QZSS and
NavIC time are GPS time here. Leap seconds: `accuracy.gps_time`.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from accuracy.base_checks.record import Station
from accuracy.formats.rinex import Instant
from accuracy.gps_time import EPOCH, LEAP_SECONDS

BEIDOU_BEHIND_S = 14
KNOWN = ("", "GPS", "GLO", "GAL", "BDT", "QZS", "IRN", "UTC")


def leap_seconds(utc: datetime) -> int:
    """Give GPS minus UTC at a date, in seconds."""
    return sum(utc.date() >= day for day, _ in LEAP_SECONDS)


def to_gps(when: datetime, system: str) -> datetime:
    """Turn a time of a system into GPS time; a time with a zone is UTC."""
    if when.tzinfo is not None:
        when, system = when.astimezone(UTC).replace(tzinfo=None), "UTC"
    if system in ("GLO", "UTC"):
        return when + timedelta(seconds=leap_seconds(when))
    if system == "BDT":
        return when + timedelta(seconds=BEIDOU_BEHIND_S)
    return when


def gps_of(instant: Instant) -> datetime:
    """Turn a time of a header into GPS time; blank is GPS time."""
    return to_gps(instant.when, instant.system)


def gps_seconds(gps: datetime) -> float:
    """Give seconds since 1980-01-06 of a GPS time."""
    return (gps - EPOCH.replace(tzinfo=None)).total_seconds()


def of_gps_seconds(gps_s: float) -> datetime:
    """Give the GPS time of seconds since 1980-01-06."""
    return EPOCH.replace(tzinfo=None) + timedelta(seconds=gps_s)


def observation_year(station: Station) -> float | None:
    """Give the epoch of the observations as decimal year, from header or flight."""
    when = None
    if station.header is not None and station.header.first is not None:
        when = station.header.first.when
    elif station.flight is not None:
        when = station.flight.start
    if when is None:
        return None
    start, end = datetime(when.year, 1, 1), datetime(when.year + 1, 1, 1)
    return when.year + (when - start) / (end - start)
