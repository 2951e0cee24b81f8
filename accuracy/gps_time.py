"""GPS time: seconds since 1980-01-06, weeks, and its whole seconds of difference from UTC.

References
----------
GPS time starts at 1980-01-06 00:00:00 UTC and has no leap seconds (IS-GPS-200; from memory). The leap seconds
are those of the Bulletins C of the IERS (from memory; 18 s since 2017-01-01 stands in RINEX headers, too).
Adjusted standard GPS time, GPS seconds minus 1e9: ASPRS LAS specification, global encoding bit 0.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

EPOCH = datetime(1980, 1, 6, tzinfo=UTC)
DAY_S = 86_400
WEEK_S = 604_800
#: What adjusted standard GPS time leaves off.
ADJUSTED_S = 1_000_000_000

#: UTC date from which GPS time is ahead of UTC by so many seconds. None is added after the last.
LEAP_SECONDS: tuple[tuple[date, int], ...] = tuple(
    (date(year, month, 1), seconds)
    for seconds, (year, month) in enumerate(
        (
            (1981, 7),
            (1982, 7),
            (1983, 7),
            (1985, 7),
            (1988, 1),
            (1990, 1),
            (1991, 1),
            (1992, 7),
            (1993, 7),
            (1994, 7),
            (1996, 1),
            (1997, 7),
            (1999, 1),
            (2006, 1),
            (2009, 1),
            (2012, 7),
            (2015, 7),
            (2017, 1),
        ),
        start=1,
    )
)
#: Seconds from 1980-01-06 to each of these dates as a calendar counts them, without leap seconds.
_CALENDAR_S = tuple((day - EPOCH.date()).days * DAY_S for day, _ in LEAP_SECONDS)
#: 1970-01-01 to 1980-01-06 in seconds of the calendar: what Unix time is ahead.
UNIX_S = int((EPOCH - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds())


def leap_seconds(gps_s: float) -> int:
    """Give GPS minus UTC, in seconds, at a GPS time.

    Examples
    --------
    >>> leap_seconds(0.0), leap_seconds(1.4e9)
    (0, 18)
    """
    return sum(gps_s >= start_s + count for count, start_s in enumerate(_CALENDAR_S, start=1))


def gps_of_calendar(calendar_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Turn UTC, counted in seconds of the calendar since 1980-01-06, into GPS seconds.

    Parameters
    ----------
    calendar_s : ndarray of float64, shape (n,)
        As a calendar counts: 86 400 s a day.
    """
    import numpy as np

    return calendar_s + np.searchsorted(np.array(_CALENDAR_S), calendar_s, side="right")


def utc_of_gps(gps_s: float) -> datetime:
    """Give the UTC date and time of a GPS time; a leap second itself shows as the second after it.

    Raises
    ------
    OverflowError
        Beyond the years that a calendar date can hold.
    """
    return EPOCH + timedelta(seconds=gps_s - leap_seconds(gps_s))


def week_of(gps_s: float) -> int:
    """Give the number of the GPS week, counted on since 1980 without starting over.

    Examples
    --------
    >>> week_of(604_800.0)
    1
    """
    return int(gps_s // WEEK_S)


def week_of_date(day: date) -> int:
    """Give the number of the GPS week that a date falls in; weeks start on Sunday."""
    return (day - EPOCH.date()).days // 7
