"""Published solutions through the base's comparison; criteria for solutions; antennas; distance."""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from stations import ARP_M, CALIBRATION, H_M, LAT, LON, header, moved, numbers, side, sound
from support import assert_metres

from accuracy.base_checks import antenna, distance, header_height, solutions
from accuracy.base_checks.differences import difference
from accuracy.base_checks.record import Antenna, Side, Site, Solution, Vector
from accuracy.formats.antex import AntexAnswer
from accuracy.formats.site_log import Equipment, SiteLog
from accuracy.georeferencing.geodetic import Points
from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.reference import declared

#: The published operation of each row depends on time, or not.
_TARGETS = {
    "NAD83(2011) epoch 2010.0": ("EPSG:6317", 2010.0),
    "NAD83(CORS96) epoch 2002.0": ("EPSG:6781", 2002.0),
}


@pytest.mark.shared_data
def test_published_solutions_are_the_same_mark(shared_geodesy: Path) -> None:
    """One mark published in two frames: held in one and published in the other they agree as published.

    The row without velocity step differs by east 5.1, north 4.4, up -2.2 cm, as its note says, and the velocity
    that was not applied is told.
    """
    with (shared_geodesy / "check_frames.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 17
    for row in rows:
        epoch = float(row["epoch"]) if row["epoch"] else None
        one = Side("held", declared(row["src_epsg"], epoch_year=epoch), *_xyz(row, "src"))
        moving = declared(row["dst_epsg"]).dynamic
        code, year = _TARGETS.get(row["dst_frame"], (row["dst_epsg"], epoch if moving else None))
        other = Side("published", declared(code, epoch_year=year), *_xyz(row, "dst"))
        found = difference(one, other, GridShelf())
        assert found.obstacles == (), row["id"]
        assert found.vector is not None
        if row["id"] == "NGS-1b":
            assert_metres(numbers(found.vector), (0.051, 0.044, -0.022), within_m=0.0015)
            assert "motion" in found.remarks[0]
            continue
        assert found.vector.size_m <= 2.0 * float(row["tolerance_m"]), row["id"]


def _xyz(row: dict[str, str], end: str) -> tuple[float, float, float]:
    return float(row[f"{end}_x"]), float(row[f"{end}_y"]), float(row[f"{end}_z"])


GOOD = Solution(
    side("first"),
    "static",
    hours=5.0,
    observations=(45655, 47140),
    ambiguities=(178, 194),
    rms_m=0.025,
    orbits="rapid",
    peak_to_peak=Vector(0.012, 0.010, 0.031),
)


def test_published_criteria() -> None:
    """The published sample report meets all criteria but its hours, which it does not name; each is told.

    97 % of observations, 92 % of ambiguities, RMS 0.025 m: sample report of the NGS; criteria of the NGS.
    """
    assert solutions.shortcomings(replace(GOOD, hours=None)) == []
    for changes, words in (
        ({"hours": 4.0}, "4 h"),
        ({"observations": (70, 100)}, "70 % of observations"),
        ({"ambiguities": (50, 100)}, "50 % of ambiguities"),
        ({"rms_m": 0.03}, "RMS"),
        ({"peak_to_peak": Vector(0.04, 0.01, 0.01)}, "peak-to-peak east"),
        ({"peak_to_peak": Vector(0.01, 0.01, 0.08)}, "peak-to-peak up"),
        ({"orbits": "ultra-rapid"}, "orbits"),
    ):
        (told,) = solutions.shortcomings(replace(GOOD, **changes))
        assert words in told


def causes(*several: Solution) -> list[str]:
    return [found.cause for found in solutions.check(sound(solutions=several))]


def test_pairs_of_solutions() -> None:
    """Like is compared with like within three sigma; peak-to-peak and sigma never are."""
    near = replace(GOOD, side=moved("second", 0.004, -0.006, 0.010))
    far = replace(GOOD, side=moved("second", 0.004, -0.006, 0.110))
    rapid = replace(near, kind="rapid-static", peak_to_peak=None, sigma=Vector(0.010, 0.010, 0.030))
    assert causes(GOOD, near) == []
    assert causes(GOOD, far) == ["solutions-disagree"]
    assert causes(GOOD, rapid) == ["solutions-not-judged"]
    assert causes(replace(GOOD, sigma=Vector(0.01, 0.01, 0.03))) == ["quality-figure-odd"]
    # 3 * sqrt(0.030^2 + 0.030^2) = 0.127 m
    for up_m, told in ((0.126, []), (0.129, ["solutions-disagree"])):
        other = replace(rapid, side=moved("third", 0.0, 0.0, up_m))
        assert causes(replace(rapid, side=side("second")), other) == told


def test_antennas() -> None:
    """Radome missing, not calibrated, other papers, relative calibrations, fewer frequencies than announced."""
    bare = AntexAnswer("1.4", "A", None, CALIBRATION, ("NONE",))

    def told(**changes: object) -> list[str]:
        return [found.cause for found in antenna.check(sound(**changes))]

    assert told() == []
    assert told(antenna=Antenna("QUANTENNA_7", "")) == ["radome-not-stated"]
    assert told(antenna=None) == ["antenna-not-named"]
    assert told(
        antenna=Antenna("QUANTENNA_7", "DOME"),
        antex=bare,
        header=header(antenna_field="QUANTENNA_7     DOME"),
    ) == ["radome-not-calibrated"]
    assert told(antex=AntexAnswer("1.4", "A")) == ["antenna-not-calibrated"]
    assert told(antex=AntexAnswer("1.4", "R", CALIBRATION)) == ["relative-calibration"]
    assert told(header=header(antenna_field="QUANTENNA_9     NONE")) == ["antenna-differs"]
    short = AntexAnswer("1.4", "A", replace(CALIBRATION, announced=21))
    assert told(antex=short) == ["calibration-incomplete"]


def test_site_log_against_the_job() -> None:
    """The entry in place at the time of the record counts; another height and another antenna are told."""
    entry = Equipment("QUANTENNA_7     NONE", up_m=1.7, installed=datetime(2020, 1, 1))
    old = Equipment("QUANTENNA_1     NONE", up_m=0.1, removed=datetime(2020, 1, 1))
    log = SiteLog("HESS", antennas=(old, entry))
    (told,) = header_height.check(sound(site_log=log))
    assert told.cause == "site-log-differs"
    assert "+108" in told.what
    fits = replace(entry, up_m=ARP_M + 0.0002)
    assert list(header_height.check(sound(site_log=SiteLog("HESS", antennas=(fits,))))) == []


def test_header_that_nobody_used() -> None:
    """A header with another height than the one used is told, named, and moves nothing."""
    (told,) = header_height.check(sound(header=header(delta_hen_m=(1.8527, 0.0, 0.0)), second=None))
    assert told.cause == "header-height-differs"
    assert "slant" in told.what
    assert told.effect is None


def test_distance() -> None:
    """A degree of latitude is 111 km (WGS 84); one sigma grows by a millimetre for each kilometre."""
    site = Site(
        Points(np.array([LON]), np.array([LAT + 1.0]), np.array([H_M + 400.0])), "ellipsoidal"
    )
    station = sound(site=site)
    found = distance.distance(station)
    assert found is not None
    assert found.horizontal_m == pytest.approx(111_060.0, abs=100.0)
    assert found.sigma.up_m == pytest.approx((0.020**2 + 0.11106**2) ** 0.5, abs=0.0002)
    assert [f.cause for f in distance.check(station)] == ["base-far", "base-height-difference"]
    other_kind = sound(site=replace(site, height_kind="orthometric"))
    assert [f.cause for f in distance.check(other_kind)] == ["base-far"]
