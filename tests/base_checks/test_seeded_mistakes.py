"""Wrong logs made on purpose: each mistake is named, with the right vector; a sound log is met with silence."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from pyproj import Transformer
from stations import (
    ARP_M,
    G01,
    G02,
    H_M,
    LAT,
    LON,
    OTHER,
    SLANT,
    header,
    moved,
    numbers,
    side,
    sound,
    vertical,
)
from support import assert_metres

from accuracy.base_checks import CHECKS, expected, run_checks
from accuracy.base_checks.record import Antenna, BaseCheck, Height, Side, Station
from accuracy.findings import CODES, Severity
from accuracy.formats.antex import AntexAnswer
from accuracy.formats.site_log import Equipment, SiteLog
from accuracy.georeferencing.reference import declared

FOOT_M = 0.3048
#: f1^2 / (f1^2 - f2^2) with 154 and 120 times 10.23 MHz.
IF_L1 = 2.545727780163160


def vector_of(check: BaseCheck) -> tuple[float, ...]:
    assert check.effect is not None
    return numbers(check.effect)


def itrf_numbers() -> tuple[float, float, float]:
    """Give the mark in ITRF2020 at 2026.364, by PROJ's own way between the two (EPSG:10334)."""
    there = Transformer.from_crs("EPSG:6319", "EPSG:9989", always_xy=True, only_best=True)
    x, y, z, _ = there.transform(LON, LAT, H_M, 2026.364)
    return float(x), float(y), float(z)


def itrf_vector() -> tuple[float, float, float]:
    lon, lat, h = itrf_numbers()
    s = math.sin(math.radians(LAT))
    a, e2 = 6378137.0, 0.00669438002290
    w = math.sqrt(1 - e2 * s * s)
    return (
        math.radians(lon - LON) * (a / w + H_M) * math.cos(math.radians(LAT)),
        math.radians(lat - LAT) * (a * (1 - e2) / w**3 + H_M),
        h - H_M,
    )


HEIGHT_ONLY: dict[str, Any] = {"second": None}
SEEDED: dict[str, tuple[Station, str, tuple[float, float, float]]] = {
    "slant as vertical": (
        sound(given=vertical(1.8527), **HEIGHT_ONLY),
        "slant-as-vertical",
        (0, 0, 0.0448),
    ),
    "rim offset left out": (
        sound(given=vertical(1.8429), **HEIGHT_ONLY),
        "rim-offset-omitted",
        (0, 0, 0.0350),
    ),
    "height omitted": (
        sound(given=vertical(0.0), **HEIGHT_ONLY),
        "height-omitted",
        (0, 0, -ARP_M),
    ),
    "height doubled": (
        sound(given=vertical(2 * ARP_M), **HEIGHT_ONLY),
        "height-doubled",
        (0, 0, ARP_M),
    ),
    "feet as metres": (
        sound(given=vertical(ARP_M / FOOT_M), **HEIGHT_ONLY),
        "feet-as-metres",
        (0, 0, ARP_M / FOOT_M - ARP_M),
    ),
    "metres as feet": (
        sound(given=vertical(ARP_M * FOOT_M), **HEIGHT_ONLY),
        "metres-as-feet",
        (0, 0, ARP_M * FOOT_M - ARP_M),
    ),
    "to the phase centre of L1": (
        sound(given=vertical(ARP_M + 0.09135), **HEIGHT_ONLY),
        "phase-centre-counted-twice",
        (0, 0, 0.09135),
    ),
    "to the ionosphere-free phase centre": (
        sound(
            given=vertical(ARP_M + IF_L1 * 0.09135 - (IF_L1 - 1) * 0.11872),
            frequency="ionosphere-free",
            **HEIGHT_ONLY,
        ),
        "phase-centre-counted-twice",
        (0, 0, IF_L1 * 0.09135 - (IF_L1 - 1) * 0.11872),
    ),
    "header in the order of ANTEX": (
        sound(given=None, header=header(delta_hen_m=(0.0, 0.0, ARP_M)), **HEIGHT_ONLY),
        "order-north-east-up",
        (0, ARP_M, -ARP_M),
    ),
    "header in the order of site logs": (
        sound(
            given=None,
            site_log=SiteLog(
                "HESS",
                antennas=(
                    Equipment("QUANTENNA_7     NONE", up_m=ARP_M, north_m=0.034, east_m=0.012),
                ),
            ),
            header=header(delta_hen_m=(ARP_M, 0.034, 0.012)),
            **HEIGHT_ONLY,
        ),
        "order-up-north-east",
        (0.022, -0.022, 0),
    ),
    "wrong antenna model": (
        sound(
            model=Antenna("QUANTENNA_9", "DOME"),
            antex_model=AntexAnswer("1.4", "A", OTHER),
        ),
        "antenna-model-wrong",
        (0.00019 + 0.00041, 0.00102 - 0.00062, 0.06480 - 0.09135),
    ),
    "no antenna model": (
        sound(model=Antenna("", "")),
        "antenna-model-none",
        (0.00041, -0.00062, -0.09135),
    ),
    "held is the reference point": (
        sound(held=moved("held", 0, 0, ARP_M, origin="other"), **HEIGHT_ONLY),
        "reference-point-for-mark",
        (0, 0, ARP_M),
    ),
    "two heights added": (
        sound(held=moved("held", 0, 0, 2 * ARP_M, origin="other"), **HEIGHT_ONLY),
        "height-added-twice",
        (0, 0, 2 * ARP_M),
    ),
    "solved with the slant, held as published": (
        sound(held=moved("held", 0, 0, -0.0448, origin="published"), **HEIGHT_ONLY),
        "slant-as-vertical",
        (0, 0, -0.0448),
    ),
    "ITRF numbers labelled NAD83": (
        sound(held=side("held", x=itrf_numbers()[0], y=itrf_numbers()[1], z=itrf_numbers()[2])),
        "frame-mistaken",
        itrf_vector(),
    ),
    "another mark": (
        sound(held=moved("held", 0.912, -0.433, 0.021)),
        "held-differs",
        (0.912, -0.433, 0.021),
    ),
    "autonomous position": (
        sound(held=moved("held", 1.734, -2.120, 3.911)),
        "held-differs",
        (1.734, -2.120, 3.911),
    ),
}


@pytest.mark.parametrize("name", SEEDED)
def test_a_mistake_is_named_with_its_vector(name: str) -> None:
    """Exactly one effect is told, of the right cause, right to a millimetre, and it is the expected shift."""
    station, cause, true_m = SEEDED[name]
    checks = run_checks(station)
    told = [check for check in checks if check.part is not None]
    assert [check.cause for check in told] == [cause], [check.what for check in checks]
    assert_metres(vector_of(told[0]), true_m, within_m=0.001)
    assert told[0].severity is Severity.BLOCKING
    shift = expected(checks).shift
    assert shift is not None
    assert_metres(numbers(shift), true_m, within_m=0.001)
    assert told[0].remedy


@pytest.mark.parametrize("given", [None, vertical(ARP_M)])
def test_a_sound_log_is_met_with_silence(given: Height | None) -> None:
    """Nothing is found where nothing is wrong, whether the height was stated or taken from the header."""
    checks = run_checks(sound(given=given))
    assert [check.what for check in checks] == []
    shift = expected(checks).shift
    assert shift is not None
    assert shift.values == (0.0, 0.0, 0.0)


def test_frames_that_look_alike_are_all_named() -> None:
    """ITRF2014, ITRF2020 and WGS 84 (G2296) differ by millimetres: none of them is chosen."""
    station, _, _ = SEEDED["ITRF numbers labelled NAD83"]
    (told,) = [check for check in run_checks(station) if check.part == "coordinates"]
    assert "consistent with" in told.what
    names = " ".join(candidate.what for candidate in told.consistent_with)
    assert all(frame in names for frame in ("ITRF2014", "ITRF2020", "WGS 84 (G2296)"))


def test_a_wrong_height_used_throughout_cancels() -> None:
    """Own solution and flight with the same slant: no shift, a note; held minus published shows the slant."""
    wrong = vertical(1.8527)
    held = moved("held", 0, 0, -0.0448, origin="own-solution", solved_with=wrong)
    for published in (side("published"), None):
        checks = run_checks(sound(held=held, given=wrong, published=published, second=None))
        parts = {check.part: check for check in checks if check.part is not None}
        assert parts["height"].severity is Severity.NOTE
        assert "cancels" in parts["height"].what
        assert_metres(vector_of(parts["height"]), (0, 0, 0), within_m=0.0001)
        if published is not None:
            shift = expected(checks).shift
            assert shift is not None
            assert_metres(numbers(shift), (0, 0, 0), within_m=0.001)
            assert "slant" in parts["coordinates"].what


def test_a_wrong_height_of_the_solution_alone_does_not_cancel() -> None:
    """Solved with the slant, flown with the right height: the cloud is too low by the slant's error."""
    held = moved("held", 0, 0, -0.0448, origin="own-solution", solved_with=vertical(1.8527))
    for published in (side("published"), None):
        checks = run_checks(
            sound(held=held, given=vertical(ARP_M), published=published, second=None)
        )
        (height,) = [check for check in checks if check.part == "height"]
        assert height.cause == "slant-as-vertical"
        assert_metres(vector_of(height), (0, 0, -0.0448), within_m=0.001)
    assert expected(checks).shift is None  # nothing published: the coordinates are not known
    checks = run_checks(sound(held=held, given=vertical(ARP_M), second=None))
    shift = expected(checks).shift
    assert shift is not None
    assert_metres(numbers(shift), (0, 0, -0.0448), within_m=0.001)


def test_mistakes_add_up() -> None:
    """A slant typed as vertical and a mark held too low: the expected shift is the sum, both causes stand."""
    station = sound(given=vertical(1.8527), held=moved("held", 0.300, 0.0, -0.100), second=None)
    shift = expected(run_checks(station))
    assert shift.shift is not None
    assert_metres(numbers(shift.shift), (0.300, 0.0, -0.0552), within_m=0.001)
    assert set(shift.causes) == {"held-differs", "slant-as-vertical"}


def test_causes_that_cannot_be_told_apart_are_both_named() -> None:
    """A rim as high as its phase centre: both mistakes have one size, and neither is chosen."""
    rim = Height(
        1.60 + G01.up_mm / 1000.0, "1.69135 m", "vertical", "rim", None, G01.up_mm / 1000.0
    )
    checks = run_checks(
        sound(
            height=rim,
            second=None,
            given=vertical(rim.value_m),
            header=header(delta_hen_m=(1.60, 0, 0)),
        )
    )
    (told,) = [check for check in checks if check.part == "height"]
    assert {c.cause for c in told.consistent_with} == {
        "rim-as-reference-point",
        "phase-centre-counted-twice",
    }
    assert "consistent with" in told.what
    assert told.cause == "antenna-height"


def test_readings_that_disagree() -> None:
    """Two readings 0.1 m apart: both possible shifts are told, none is chosen, and nothing is added up."""
    second = replace(SLANT, value_m=1.9522, written="1.9522 m")  # 1.9079 m to the reference point
    checks = run_checks(sound(second=second, given=vertical(ARP_M)))
    (told,) = [check for check in checks if check.code == "base-height-readings"]
    ups = [candidate.effect.up_m or 0.0 for candidate in told.consistent_with]
    assert_metres(ups, [0.0, -0.0999], within_m=0.001)
    assert told.effect is None
    assert expected(checks).shift is None


def test_offset_by_frequency_where_it_is_not_stated() -> None:
    """Without a stated frequency the vectors of each are listed and none is taken."""
    checks = run_checks(sound(model=Antenna("", ""), frequency=None))
    (told,) = [check for check in checks if check.part == "antenna"]
    assert told.effect is None
    ups = {
        c.what.split(":")[0].removeprefix("a solution on "): c.effect.up_m
        for c in told.consistent_with
    }
    assert set(ups) == {"G01", "G02", "ionosphere-free"}
    assert_metres(ups["G02"] or 0.0, -G02.up_mm / 1000.0, within_m=1e-6)
    assert expected(checks).why_not


def test_autonomous_position_copied_from_the_header() -> None:
    """Held coordinates that are the header's own: named; a station whose header carries its mark: silence."""
    to_xyz = Transformer.from_crs("EPSG:6319", "EPSG:6317", always_xy=True)
    xyz = tuple(float(v) for v in to_xyz.transform(LON, LAT, H_M))
    own = header(position_m=xyz)
    checks = run_checks(
        sound(header=own, held=side("held"), published=moved("published", 1.2, -0.8, 4.0))
    )
    assert "autonomous-position" in [check.cause for check in checks]
    (told,) = [check for check in checks if check.part == "coordinates"]
    assert_metres(vector_of(told), (-1.2, 0.8, -4.0), within_m=0.001)
    assert run_checks(sound(header=own, held=side("held"))) == ()
    coarse = header(position_m=tuple(round(v) for v in xyz), position_step_m=1.0)
    assert run_checks(sound(header=coarse, held=side("held"))) == ()


def test_a_precise_header_tells_the_frame() -> None:
    """Nothing published: numbers that fit a precise header only in another frame are told, with the vector."""
    x, y, z = itrf_numbers()
    to_xyz = Transformer.from_crs("EPSG:9989", "EPSG:9988", always_xy=True)
    own = header(position_m=tuple(float(v) for v in to_xyz.transform(x, y, z)))
    right = run_checks(sound(header=own, published=None, held=side("held", origin="other")))
    assert [check.cause for check in right] == ["coordinates-not-stated"]
    wrong = side("held", origin="other", x=x + 1e-8, y=y, z=z + 0.02)  # ITRF labelled NAD83(2011)
    checks = run_checks(sound(header=own, published=None, held=wrong))
    (told,) = [check for check in checks if check.cause == "frame-mistaken"]
    effects = {c.what.partition(" taken")[0]: c.effect for c in told.consistent_with}
    assert {"ITRF2014", "ITRF2020", "WGS 84 (G2296)"} < set(effects)
    assert_metres(numbers(effects["ITRF2020"]), itrf_vector(), within_m=0.001)
    autonomous = run_checks(sound(published=None, held=wrong))
    assert "frame-mistaken" not in [check.cause for check in autonomous]


def test_a_header_of_another_place() -> None:
    """A header 80 km away is of another station."""
    checks = run_checks(sound(header=header(position_m=(-1809868.0, -4467218.0, 4245169.0))))
    assert [check.cause for check in checks] == ["another-place"]


def test_bare_wgs84_is_not_compared() -> None:
    """WGS 84 without realisation is known to 2 m: no vector, and the remedy names the realisation."""
    checks = run_checks(sound(held=side("held", reference=declared("EPSG:4979"))))
    told = {check.cause: check for check in checks}
    assert told["coordinates-not-comparable"].effect is None
    assert "realisation" in told["frame-ensemble"].remedy
    assert expected(checks).shift is None


def test_missing_epoch_and_velocity() -> None:
    """ITRF without epoch cannot be compared; with one, the motion inside the plate is said to be left out."""
    itrf = declared("EPSG:9989")
    causes = [c.cause for c in run_checks(sound(held=side("held", reference=itrf)))]
    assert "epoch-missing" in causes
    assert "coordinates-not-comparable" in causes
    x, y, z = itrf_numbers()
    held = side("held", reference=declared("EPSG:9989", epoch_year=2026.364), x=x, y=y, z=z)
    plate = declared("EPSG:6319", epoch_year=2010.0)
    checks = run_checks(sound(held=held, published=side("published", reference=plate)))
    told = {check.cause: check for check in checks}
    assert set(told) == {"velocity-not-applied", "frame-changed"}
    assert "not applied" in told["velocity-not-applied"].what
    assert told["frame-changed"].severity is Severity.NOTE
    assert_metres(
        numbers(told["frame-changed"].consistent_with[0].effect), itrf_vector(), within_m=0.001
    )


def test_what_is_not_stated_is_asked_for() -> None:
    """A base of which only the mark is known: what is missing is named, nothing is guessed."""
    checks = run_checks(Station("mark only"))
    assert {check.cause for check in checks} == {
        "coordinates-not-stated",
        "height-not-stated",
        "antenna-not-named",
        "survey-base-not-stated",
    }
    assert all(check.effect is None for check in checks)
    assert expected(checks).shift is None


def test_same_base_makes_the_test_relative() -> None:
    """Checkpoints from the same base: said always; a mistake then blocks, because the test cannot show it."""
    (told,) = run_checks(sound(same_base=True))
    assert told.code == "base-same-for-survey"
    assert "relative" in told.what
    (slant,) = [
        check
        for check in run_checks(sound(given=vertical(1.8527), second=None, same_base=True))
        if check.part == "height"
    ]
    assert slant.finding(relative=True).severity is Severity.BLOCKING
    assert slant.finding(relative=False).severity is Severity.WARNING
    assert "raise the deliverable by 44.8 mm" in slant.finding(relative=True).message


def test_codes_are_registered_and_used() -> None:
    """Every code of a seeded mistake stands in the registry; each check is a function of its own file."""
    for station, _, _ in SEEDED.values():
        assert all(check.code in CODES for check in run_checks(station))
    assert len(set(CHECKS.values())) == len(CHECKS)
    assert np.all([check.__module__.endswith(name) for name, check in CHECKS.items()])


def test_readings_that_lead_nowhere() -> None:
    """A slant shorter than the radius, a phase centre without calibration: told, and no shift is made up."""
    for station in (
        sound(height=replace(SLANT, value_m=0.1, written="0.1 m")),
        sound(height=vertical(1.9, "phase-centre"), second=None, antex=None),
    ):
        checks = run_checks(station)
        assert "height-irreducible" in [check.cause for check in checks]
        assert expected(checks).shift is None


def test_coordinates_nowhere() -> None:
    """Numbers that a system cannot hold are told and not called sound."""
    lost = Side("held", declared("EPSG:6341+5703"), 1e8, 1e9, 0.0)
    checks = run_checks(sound(held=lost))
    assert "coordinates-not-comparable" in [check.cause for check in checks]
    assert expected(checks).shift is None
