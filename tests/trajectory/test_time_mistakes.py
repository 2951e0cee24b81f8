"""Time mistakes injected into simulated flights: named, with the right offset, and silence on a sound one."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from flights import (
    SPEED_M_S,
    START_S,
    WEEK,
    WEEK_START_S,
    check,
    codes,
    fly,
    read,
    scan,
    write_cloud,
)
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from accuracy.trajectory.mistakes import usual_mistakes
from accuracy.trajectory.record import Span, TimeCheck, TrajectoryCheck
from accuracy.trajectory.times import Timed, check_positions
from accuracy.trajectory.track import track_of

FLIGHT = fly()
POINTS = scan(FLIGHT)


@pytest.fixture(scope="module")
def cloud(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write a cloud with adjusted standard GPS time."""
    path = tmp_path_factory.mktemp("cloud") / "adjusted.laz"
    write_cloud(path, POINTS, lambda t: t - 1e9, adjusted=True)
    return path


@pytest.fixture(scope="module")
def week_cloud(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the same with seconds of the week."""
    path = tmp_path_factory.mktemp("cloud") / "week.laz"
    write_cloud(path, POINTS, lambda t: t - WEEK_START_S, adjusted=False)
    return path


def against_cloud(found: TrajectoryCheck) -> TimeCheck:
    (only,) = [c for c in found.time_checks if c.against == "cloud"]
    return only


def test_silence_on_a_sound_flight(cloud: Path, week_cloud: Path, tmp_path: Path) -> None:
    """Nothing is found where nothing is wrong, whatever notation of one time each side has."""
    adjusted = read(tmp_path, FLIGHT.table_text())
    weekly = read(
        tmp_path,
        FLIGHT.table_text(lambda t: f"{t - WEEK_START_S:.4f}"),
        "gps-seconds-of-week",
        week=WEEK,
    )
    whole = read(tmp_path, FLIGHT.table_text(lambda t: f"{t:.4f}"), "gps-seconds")
    for table in (adjusted, weekly, whole):
        for path in (cloud, week_cloud):
            found = check(table, path)
            assert codes(found) == []
            assert against_cloud(found).fits
            assert against_cloud(found).how == "positions"
            assert abs(against_cloud(found).found_offset_s or 0.0) < 0.02
            assert (found.points_outside, found.points_in_gaps) == (0, 0)


#: What is written instead of the right time; the offset that undoes it; a part of what must be said. Arithmetic
#: by hand from the definitions; 18 s are the leap seconds of 2026.
MISTAKES = [
    ("utc for gps", lambda t: t - 1e9 - 18, 18.0, "are UTC, not GPS time (18 s)"),
    ("leap seconds twice", lambda t: t - 1e9 + 18, -18.0, "leap seconds were added"),
    ("a day late", lambda t: t - 1e9 + 86_400, -86_400.0, "1 day late"),
    ("two days early", lambda t: t - 1e9 - 172_800, 172_800.0, "2 days early"),
    ("a week early", lambda t: t - 1e9 - 604_800, 604_800.0, "1 week early"),
    ("rollover", lambda t: t - 1e9 - 1024 * 604_800, 1024 * 604_800.0, "1024 weeks early"),
    ("gps seconds", lambda t: t, -1e9, "are GPS seconds, not adjusted standard GPS time"),
    (
        "seconds of week",
        lambda t: t - WEEK_START_S,
        WEEK_START_S - 1e9,
        "are seconds of the GPS week, not adjusted standard GPS time",
    ),
    (
        "unix",
        lambda t: t + 315_964_800 - 18,
        -(1e9 + 315_964_800 - 18),
        "are seconds since 1970 (Unix time), not adjusted",
    ),
    ("local", lambda t: t - 1e9 - 18 - 6 * 3600, 6 * 3600 + 18.0, "local time, 6 h behind UTC"),
]


@pytest.mark.parametrize(
    ("written", "offset_s", "told"), [m[1:] for m in MISTAKES], ids=[m[0] for m in MISTAKES]
)
def test_each_mistake_is_named(
    cloud: Path, tmp_path: Path, written: object, offset_s: float, told: str
) -> None:
    """One mistake, one finding, one cause, and the offset that undoes it to a few hundredths of a second."""
    assert callable(written)
    table = read(tmp_path, FLIGHT.table_text(lambda t: f"{written(t):.4f}"))
    found = check(table, cloud)
    assert codes(found) == ["trajectory-time-offset"]
    only = against_cloud(found)
    assert only.fits is False
    assert only.offset_s == offset_s
    assert only.found_offset_s == pytest.approx(offset_s, abs=0.02)
    assert len(only.consistent_with) == 1
    assert told in only.consistent_with[0]
    (finding,) = [f for f in found.findings if f.code == "trajectory-time-offset"]
    assert told in finding.message
    assert finding.severity == "warning"


def test_utc_dates_that_are_gps_time(cloud: Path, tmp_path: Path) -> None:
    """GPS time written as a date and declared as UTC is 18 s late."""
    base = np.datetime64("1980-01-06T00:00:00", "us")

    def date(t: float) -> str:
        return str(base + np.timedelta64(round(t * 1e6), "us")) + "Z"

    only = against_cloud(check(read(tmp_path, FLIGHT.table_text(date), "utc"), cloud))
    assert only.offset_s == -18.0
    assert "dates are GPS time, not UTC" in only.consistent_with[0]
    sound = read(tmp_path, FLIGHT.table_text(lambda t: date(t - 18)), "utc")
    assert codes(check(sound, cloud)) == []


def test_the_vector_of_the_effect(cloud: Path, tmp_path: Path) -> None:
    """Speed times offset along each line: north, south and east by 108 m (6 m/s times 18 s), to 1 mm."""
    only = against_cloud(
        check(read(tmp_path, FLIGHT.table_text(lambda t: f"{t - 1e9 - 18:.4f}")), cloud)
    )
    assert only.along_m == pytest.approx(18 * SPEED_M_S, abs=1e-3)
    north, south, east = only.effects
    assert (north.east_m, north.north_m) == pytest.approx((0.0, 108.0), abs=1e-3)
    assert (south.east_m, south.north_m) == pytest.approx((0.0, -108.0), abs=1e-3)
    assert (east.east_m, east.north_m) == pytest.approx((108.0, 0.0), abs=1e-3)


def test_a_slip_beyond_the_flight_has_no_vector(cloud: Path, tmp_path: Path) -> None:
    """A day off, nothing overlaps, so nothing is displaced along the track."""
    table = read(tmp_path, FLIGHT.table_text(lambda t: f"{t - 1e9 - 86_400:.4f}"))
    assert against_cloud(check(table, cloud)).along_m is None


def test_an_offset_that_is_no_usual_mistake(cloud: Path, tmp_path: Path) -> None:
    """It is measured and told, and no cause is named."""
    table = read(tmp_path, FLIGHT.table_text(lambda t: f"{t - 1e9 - 41.5:.4f}"))
    found = check(table, cloud)
    only = against_cloud(found)
    assert only.found_offset_s == pytest.approx(41.5, abs=0.02)
    assert only.consistent_with == ()
    assert any("no usual mistake" in f.message for f in found.findings)


def test_a_scanner_that_looks_ahead_is_no_mistake(tmp_path: Path) -> None:
    """Points 30 m ahead of the sensor (27 degrees at 60 m) act like 5 s, below the floor: silence."""
    path = tmp_path / "ahead.laz"
    write_cloud(path, scan(FLIGHT, ahead_m=30.0), lambda t: t - 1e9, adjusted=True)
    found = check(read(tmp_path, FLIGHT.table_text()), path)
    only = against_cloud(found)
    assert only.fits
    assert only.floor_s is not None
    assert only.found_offset_s == pytest.approx(-30.0 / SPEED_M_S, abs=0.1)
    assert abs(only.found_offset_s or 0) < only.floor_s
    assert codes(found) == []


@pytest.mark.parametrize(
    ("stored", "adjusted", "told"),
    [
        (lambda t: t - 1e9, False, "they are adjusted standard GPS time"),
        (lambda t: t - WEEK_START_S, True, "they are seconds of the GPS week"),
        (lambda t: t, True, "they are GPS seconds"),
        (lambda t: t, False, "they are GPS seconds"),
    ],
)
def test_the_header_bit_that_does_not_fit(
    tmp_path: Path, stored: object, adjusted: bool, told: str
) -> None:
    """A header that names another kind of time than its values have is told, and no offset is invented."""
    assert callable(stored)
    path = tmp_path / "bit.laz"
    write_cloud(path, POINTS, stored, adjusted=adjusted)
    found = check(read(tmp_path, FLIGHT.table_text()), path)
    assert codes(found) == ["trajectory-cloud-time"]
    assert told in next(f.message for f in found.findings if f.code == "trajectory-cloud-time")
    assert against_cloud(found).fits


def test_a_cloud_without_times(tmp_path: Path) -> None:
    """Zeros and NaN are no times: told, and nothing is compared."""
    for stored in (lambda t: t * 0.0, lambda t: t * np.nan):
        path = tmp_path / "none.laz"
        write_cloud(path, POINTS, stored, adjusted=True)
        found = check(read(tmp_path, FLIGHT.table_text()), path)
        assert codes(found) == ["trajectory-cloud-time"]
        assert found.time_checks == ()
        assert found.height is not None


def test_base_records(tmp_path: Path) -> None:
    """A record that covers the flight is silent; a day off is named; a short one is told with its share."""
    table = read(tmp_path, FLIGHT.table_text())
    end_s = float(FLIGHT.time_s[-1])
    sound = check(table, base=Span("base.obs", START_S - 600, end_s + 600))
    assert codes(sound) == []
    (overlap,) = sound.overlaps
    assert (overlap.covered, overlap.before_s, overlap.after_s) == pytest.approx((1.0, 600, 600))

    day = check(table, base=Span("base.obs", START_S - 600 + 86_400, end_s + 600 + 86_400))
    assert codes(day) == ["trajectory-time-offset"]
    (only,) = day.time_checks
    assert only.offset_s == 86_400
    assert any("1 day early" in words for words in only.consistent_with)

    middle = (START_S + end_s) / 2
    short = check(table, base=Span("base.obs", START_S - 600, middle))
    assert codes(short) == ["trajectory-base-outside"]
    assert short.overlaps[0].covered == pytest.approx(0.5, abs=1e-9)


def test_spans_alone_are_only_consistent_with(cloud: Path, tmp_path: Path) -> None:
    """Where positions cannot be compared, first and last times speak, and say so."""
    text = FLIGHT.table_text(lambda t: f"{t - 1e9 - 86_400:.4f}")
    found = check(read(tmp_path, text), cloud, crs="EPSG:4267")
    only = against_cloud(found)
    assert (only.how, only.offset_s, only.found_offset_s) == ("spans", 86_400, None)
    assert "consistent with" in next(
        f.message for f in found.findings if f.code == "trajectory-time-offset"
    )


def _timed(shift_s: float) -> Timed:
    every = slice(None, None, 40)
    return Timed(POINTS["gps_time"][every] + shift_s, POINTS["x"][every], POINTS["y"][every])


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.floats(-3e5, 3e5))
def test_shifting_the_clock_shifts_what_is_found(tmp_path: Path, shift_s: float) -> None:
    """Whatever the cloud's clock is off by is found, to a few hundredths of a second, from positions alone."""
    table = read(tmp_path, FLIGHT.table_text())
    track = track_of(table, table.easting, table.northing, table.height)
    usual = usual_mistakes("gps-adjusted-standard", START_S - 1e9, START_S, START_S, "the cloud")
    found = check_positions(track, _timed(shift_s), usual, SPEED_M_S, 60.0)
    assert found is not None
    assert found.found_offset_s == pytest.approx(shift_s, abs=0.05)
    assert (
        found.fits is (abs(shift_s) < (found.floor_s or 0.0))
        or abs(abs(shift_s) - (found.floor_s or 0.0)) < 0.1
    )
