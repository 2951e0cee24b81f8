"""GPS time against published dates."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from accuracy.gps_time import (
    ADJUSTED_S,
    LEAP_SECONDS,
    WEEK_S,
    gps_of_calendar,
    leap_seconds,
    utc_of_gps,
    week_of,
    week_of_date,
)

SYSTEM_LEAPS = Path("/usr/share/zoneinfo/leapseconds")
MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]


def calendar(moment: datetime) -> np.ndarray:
    return np.array([(moment - datetime(1980, 1, 6, tzinfo=UTC)).total_seconds()])


@pytest.mark.parametrize(
    ("weeks", "utc"),
    [
        (0, datetime(1980, 1, 6, 0, 0, 0)),
        (1024, datetime(1999, 8, 21, 23, 59, 47)),
        (2048, datetime(2019, 4, 6, 23, 59, 42)),
    ],
)
def test_starts_of_the_ten_bit_weeks(weeks: int, utc: datetime) -> None:
    """The epoch and both week rollovers fall at the published moments (US Coast Guard notices; from memory)."""
    utc = utc.replace(tzinfo=UTC)
    assert utc_of_gps(weeks * WEEK_S) == utc
    assert gps_of_calendar(calendar(utc)).tolist() == [weeks * WEEK_S]
    assert week_of(weeks * WEEK_S) == weeks
    assert week_of_date((utc + timedelta(minutes=1)).date()) == weeks


def test_adjusted_standard_time_starts_in_september_2011() -> None:
    """GPS second 1e9 is 2011-09-14 01:46:40 GPS time (calendar), 15 s less in UTC."""
    gps = datetime(1980, 1, 6, tzinfo=UTC) + timedelta(seconds=ADJUSTED_S)
    assert gps == datetime(2011, 9, 14, 1, 46, 40, tzinfo=UTC)
    assert utc_of_gps(ADJUSTED_S) == gps - timedelta(seconds=15)


def test_eighteen_seconds_since_2017() -> None:
    """The count steps at the right moment: 2017-01-01 00:00:00 UTC is GPS 00:00:18 (RINEX LEAP SECONDS)."""
    start = int(
        (datetime(2017, 1, 1, tzinfo=UTC) - datetime(1980, 1, 6, tzinfo=UTC)).total_seconds()
    )
    assert [leap_seconds(start + s) for s in (17, 17.999, 18)] == [17, 17, 18]
    assert gps_of_calendar(np.array([start - 1.0, start])).tolist() == [start + 16.0, start + 18.0]


@pytest.mark.skipif(not SYSTEM_LEAPS.exists(), reason="no table of leap seconds on this system")
def test_leap_seconds_are_those_of_the_time_zone_database() -> None:
    """The table equals the public-domain list of the time zone database since 1980."""
    found = re.findall(r"^Leap\s+(\d+)\s+(\w+)\s+(\d+)", SYSTEM_LEAPS.read_text("utf-8"), re.M)
    days = [date(int(y), MONTHS.index(m) + 1, int(d)) + timedelta(days=1) for y, m, d in found]
    later = [day for day in days if day > date(1980, 1, 6)]
    assert later == [day for day, _ in LEAP_SECONDS]
    assert [count for _, count in LEAP_SECONDS] == list(range(1, len(later) + 1))


@given(st.datetimes(datetime(1980, 1, 6), datetime(2060, 1, 1)))
def test_there_and_back(moment: datetime) -> None:
    """UTC to GPS time and back gives the same moment, to a microsecond."""
    moment = moment.replace(tzinfo=UTC)
    (gps_s,) = gps_of_calendar(calendar(moment)).tolist()
    assert abs((utc_of_gps(gps_s) - moment).total_seconds()) < 2e-6
