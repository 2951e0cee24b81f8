"""Time systems: everything to GPS time, with the leap seconds of the date.

References
----------
GPS minus UTC: 13 s from 1999, 14 from 2006, 15 from 2009, 16 from July 2012, 17 from July 2015, 18 from 2017
(IERS Bulletin C; the last from the project's notes, the others from memory). BeiDou time is 14 s behind GPS
time, GLONASS time is UTC in RINEX (RINEX 3.05; from memory). Galileo, QZSS and NavIC time are GPS time here.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from accuracy.base_checks.record import Station
from accuracy.formats.rinex import Instant

_LEAPS = (
    (datetime(2017, 1, 1), 18),
    (datetime(2015, 7, 1), 17),
    (datetime(2012, 7, 1), 16),
    (datetime(2009, 1, 1), 15),
    (datetime(2006, 1, 1), 14),
    (datetime(1999, 1, 1), 13),
)
BEIDOU_BEHIND_S = 14
KNOWN = ("", "GPS", "GLO", "GAL", "BDT", "QZS", "IRN", "UTC")


def leap_seconds(utc: datetime) -> int | None:
    """Give GPS minus UTC at a date; None before 1999."""
    return next((seconds for start, seconds in _LEAPS if utc >= start), None)


def to_gps(when: datetime, system: str) -> datetime:
    """Turn a time of a system into GPS time; a time with a zone is UTC."""
    if when.tzinfo is not None:
        when, system = when.astimezone(UTC).replace(tzinfo=None), "UTC"
    if system in ("GLO", "UTC"):
        return when + timedelta(seconds=leap_seconds(when) or 0)
    if system == "BDT":
        return when + timedelta(seconds=BEIDOU_BEHIND_S)
    return when


def gps_of(instant: Instant) -> datetime:
    """Turn a time of a header into GPS time; blank is GPS time."""
    return to_gps(instant.when, instant.system)


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
