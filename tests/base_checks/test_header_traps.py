"""Every trap of the sample headers: what is told, and what is silent on purpose."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest
from stations import header, sound

from accuracy.base_checks import cover, header_records, time_system
from accuracy.base_checks.record import Span, Station
from accuracy.base_checks.times import leap_seconds, to_gps
from accuracy.formats.rinex import Instant, read_rinex_header
from accuracy.formats.rinex_epochs import Epochs, read_epochs

#: File -> causes told by the checks that look at the header and the epochs alone.
TRAPS: dict[str, list[str]] = {
    # two epochs are left of a day: the sample itself is cut off
    "rinex211_demo_mixed.10o": ["interval-long", "file-cut-off"],
    "rinex301_demo_mixed.10o": ["phase-centre-in-header", "interval-long", "file-cut-off"],
    "rinex301_minimal_no_position.10o": ["record-missing"],
    # 2.0000 m exactly is a fixed-height pole: silent
    "rinex211_unknown_antenna_2m.18o": ["antenna-nameless", "interval-long"],
    # the comment "0000.000 (antenna height)" and the ground plane in the antenna's name: silent
    "crinex1_rinex211_york_header.15d": ["interval-long"],
    # a mark called p433, number 0, 8.3 mm height: silent
    "crinex3_rinex303_P433_header.crx": ["interval-long"],
    # height before position, no INTERVAL told twice: silent
    "crinex3_rinex305_YEBE_header.crx": ["interval-long"],
    "rinex302_blank_records_header.23o": ["position-zero", "antenna-nameless", "interval-long"],
    # position without decimals: silent, its digits are honoured
    "rinex304_missing_antenna_delta_header.06o": [
        "record-missing",
        "antenna-nameless",
        "interval-long",
    ],
    "rinex211_missing_ant_type_header.16o": ["record-missing", "interval-long"],
    "rinex400_HANDMADE_header.rnx": [],
}


def causes(station: Station) -> list[str]:
    checks = (header_records.check, cover.check, time_system.check)
    return [found.cause for check in checks for found in check(station)]


@pytest.mark.shared_data
@pytest.mark.parametrize("name", TRAPS)
def test_traps_of_the_samples(shared_geodesy: Path, name: str) -> None:
    """Each sample brings up what stands beside it, and nothing else."""
    path = shared_geodesy / "samples" / name
    found = read_rinex_header(path)
    station = Station("mark", header=found, header_name=name, epochs=read_epochs(path, found))
    assert causes(station) == TRAPS[name]


def test_records_that_cannot_be_right() -> None:
    """Heights below the mark or above three metres, eccentricities, vehicles, one frequency: each is told."""
    for changes, cause in (
        ({"delta_hen_m": (-0.1, 0.0, 0.0)}, "height-odd"),
        ({"delta_hen_m": (5.93, 0.0, 0.0)}, "height-odd"),
        ({"delta_hen_m": (1.5, 0.01, 0.0)}, "eccentric"),
        ({"delta_xyz_m": (0.1, 0.0, 0.0)}, "antenna-of-vehicle"),
        ({"observations": {"G": ("C1C", "L1C")}}, "one-frequency"),
        ({"unreadable": ("INTERVAL: 'x'",)}, "record-unreadable"),
        ({"antenna_field": ""}, "antenna-nameless"),
    ):
        station = Station("mark", header=header(**changes), header_name="base.26o")
        assert [found.cause for found in header_records.check(station)] == [cause]


def flown(start: tuple[int, int], end: tuple[int, int]) -> Span:
    return Span(datetime(2026, 5, 14, *start), datetime(2026, 5, 14, *end), "flight")


@pytest.mark.parametrize(
    ("flight", "cause", "words"),
    [
        (flown((15, 22), (19, 8)), "record-margin", "0 s to spare"),
        (flown((15, 20), (17, 0)), "record-short", "120 s at the begin"),
        (flown((17, 0), (20, 0)), "record-short", "3120 s at the end"),
        (
            Span(datetime(2026, 5, 15, 17), datetime(2026, 5, 15, 18), "flight"),
            "record-elsewhere",
            "a slip of 1 day",
        ),
        (
            Span(datetime(2026, 5, 7, 17), datetime(2026, 5, 7, 18), "flight"),
            "record-elsewhere",
            "a slip of a week",
        ),
    ],
)
def test_cover_of_the_flight(flight: Span, cause: str, words: str) -> None:
    """A record that falls short, lies elsewhere or has no margin is told with the numbers."""
    (found,) = cover.check(sound(flight=flight))
    assert found.cause == cause
    assert words in found.what


def test_gaps_and_intervals() -> None:
    """Gaps during the flight warn, others are a note; 30 s warns; a thinned file is a note."""
    first, last = datetime(2026, 5, 14, 15, 22), datetime(2026, 5, 14, 19, 8)
    for minute, severity in ((10, "warning"), (50, "note")):
        gap = (datetime(2026, 5, 14, 17, minute), datetime(2026, 5, 14, 17, minute, 41))
        epochs = Epochs(first, last, 13_000, 1.0, (gap,), 1, True)
        (found,) = cover.check(sound(epochs=epochs))
        assert (found.cause, found.severity.value) == ("gaps", severity)
        assert "for 41 s" in found.what
    thinned = Epochs(first, last, 453, 30.0, (), 0, True)
    assert [f.cause for f in cover.check(sound(epochs=thinned))] == [
        "interval-long",
        "interval-differs",
    ]


def test_time_systems() -> None:
    """UTC and BeiDou time are brought to GPS time; wrong leap seconds and unknown systems are told."""
    at = datetime(2026, 5, 14, 12)
    assert (to_gps(at, "GLO") - at).total_seconds() == 18.0
    assert (to_gps(at, "BDT") - at).total_seconds() == 14.0
    assert to_gps(at, "GAL") == to_gps(at, "") == at
    assert [leap_seconds(datetime(y, 6, 1)) for y in (2010, 2013, 2016, 2018)] == [15, 16, 17, 18]
    for changes, cause in (
        ({"leap_seconds": 17}, "leap-seconds-wrong"),
        ({"first": Instant(at, "LOC"), "last": None}, "time-system-unknown"),
        ({"first": Instant(at, "GLO"), "last": Instant(at, "GLO")}, "time-system"),
        ({"first": Instant(at, "GPS"), "last": Instant(at, "GLO")}, "time-systems-differ"),
        ({"first": Instant(at, ""), "system": "R", "last": None}, "time-system-blank"),
    ):
        assert [f.cause for f in time_system.check(sound(header=header(**changes)))] == [cause]
    for silent in ({"leap_seconds": None}, {"leap_seconds": 0}, {"leap_seconds": 4}):
        assert list(time_system.check(sound(header=header(**silent)))) == []
