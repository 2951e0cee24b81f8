"""The traps of the geodesy library, measured: what this tool answers. One test for each."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from planning import blocking, go, places, warned
from support import assert_metres

from accuracy.errors import ReferenceSystemError
from accuracy.findings import Severity
from accuracy.georeferencing.reference import declared
from accuracy.georeferencing.table_epochs import with_epochs
from accuracy.georeferencing.transform import plan

DENVER = (-104.99, 39.74, 1600.0)
UTM13 = (500_000.0, 4_427_000.0, 1600.0)


# 1. Missing geoid grid: the library returns the height unchanged, silently.
@pytest.mark.parametrize(
    ("source", "target", "at", "geoid"),
    [
        ("EPSG:6319", "EPSG:6349", DENVER, "GEOID18"),
        ("EPSG:6319", "EPSG:6342+5703", DENVER, "GEOID18"),
        ("EPSG:4979", "EPSG:4326+5773", DENVER, None),
        ("EPSG:4979", "EPSG:4326+3855", DENVER, None),
        ("EPSG:6319", "EPSG:6318+6360", DENVER, "GEOID18"),
        ("EPSG:7912@2025.0", "EPSG:6342+5703", DENVER, "GEOID18"),
    ],
)
def test_missing_grid(source: str, target: str, at: tuple, geoid: str | None) -> None:
    """The heights are refused, with the name of the file and where to put it; the horizontal part stands."""
    found, there = go(source, target, at, geoids=(None, geoid))
    assert found.vertical == "differs"
    assert found.horizontal in ("identity", "transformed")
    assert blocking(found) == {"transform-grid-missing"}
    (finding,) = (f for f in found.findings if f.code == "transform-grid-missing")
    assert ".tif" in finding.remedy
    assert np.isnan(there[0, 2])
    assert np.isfinite(there[0, :2]).all()


@pytest.mark.parametrize(
    ("source", "target", "at"),
    [
        ("EPSG:6318", "EPSG:6349", DENVER),
        ("EPSG:6342", "EPSG:6342+5703", UTM13),
        ("EPSG:6349", "EPSG:6318", DENVER),
        ("EPSG:6342", "EPSG:6318+5703", UTM13),
    ],
)
def test_two_dimensions_never_meet_a_compound_system(source: str, target: str, at: tuple) -> None:
    """A side without vertical system leaves the heights unknown; no statement on them, in any combination."""
    found, _ = go(source, target, at, geoids=(None, None))
    assert found.vertical == "unknown"
    assert blocking(found) == {"crs-vertical-unknown"}


# 1a. With some grids there the library takes others in their place.
def test_no_other_grid_in_the_place_of_a_missing_one(tmp_path: Path) -> None:
    """Another model's file in the folder is never taken."""
    (tmp_path / "us_noaa_g1999u01.tif").write_bytes(b"")
    (tmp_path / "us_nga_egm96_15.tif").write_bytes(b"")
    found, _ = go("EPSG:6319", "EPSG:6349", DENVER, geoids=(None, "GEOID18"), folder=tmp_path)
    assert blocking(found) == {"transform-grid-missing"}


# 2. Epoch.
def test_no_epoch() -> None:
    """The library would take the reference epoch 2010; the tool asks, and says how fast the plate moves."""
    found, there = go("EPSG:7912", "EPSG:6319", DENVER)
    assert (found.horizontal, found.vertical) == ("differs", "differs")
    (finding,) = (f for f in found.findings if f.severity is Severity.BLOCKING)
    assert finding.code == "crs-epoch-missing"
    assert "0.017 m a year" in finding.message or "0.018 m a year" in finding.message
    assert np.isnan(there).all()


@pytest.mark.parametrize(
    "epoch", [25.0, 0.0, 20250101.0, 1.7e9, 1979.9, 2100.0, math.nan, math.inf, -math.inf]
)
def test_impossible_epochs(epoch: float) -> None:
    """Two digits, dates, seconds, the far future and infinities are refused, however they came in."""
    from dataclasses import replace

    with pytest.raises(ReferenceSystemError):
        declared("EPSG:7912", epoch_year=epoch)
    side = replace(declared("EPSG:7912"), epoch_year=epoch)
    with pytest.raises(ReferenceSystemError):
        go(side, "EPSG:6319", DENVER)


def test_epoch_moves_the_answer() -> None:
    """Denver, 2025 against 2010 (computed with PROJ): east +0.243, north +0.100, up -0.016 m."""
    _, early = go("EPSG:7912@2010.0", "EPSG:6319", DENVER)
    _, late = go("EPSG:7912@2025.0", "EPSG:6319", DENVER)
    metres = (late - early)[0] * (85_730.0, 111_030.0, 1.0)
    assert_metres(metres, (0.243, 0.100, -0.016), within_m=0.001)


def test_two_epochs_of_moving_frames() -> None:
    """ITRF2014 at 2010 against ITRF2020 at 2025: refused, with the plate's motion here."""
    found, _ = go("EPSG:7912@2010.0", "EPSG:9989@2025.0", DENVER)
    (finding,) = (f for f in found.findings if f.severity is Severity.BLOCKING)
    assert finding.code == "crs-epoch-differs"
    # 17.5 mm a year at Denver (from the published rates).
    assert finding.evidence["plate_motion_m"] == pytest.approx(0.263, abs=0.005)


def test_two_epochs_in_one_moving_frame_and_two_projections() -> None:
    """Another projection does not hide that the epochs differ."""
    found, _ = go("EPSG:7912@2010.0", "EPSG:7912@2025.0", DENVER)
    assert blocking(found) == {"crs-epoch-differs"}
    found, _ = go("EPSG:7789@2010.0", "EPSG:7912@2025.0", (-1_269_000.0, -4_744_000.0, 4_057_000.0))
    assert blocking(found) == {"crs-epoch-differs"}


def test_velocity_not_applied_is_said_with_its_size() -> None:
    """ITRF2014 at 2024.9968 to NAD83(2011) at 2010: 15 years, and what the plate moves in them."""
    found, _ = go("EPSG:7912@2024.9968", "EPSG:6319@2010.0", (-119.287, 47.19, 328.6))
    (finding,) = (f for f in found.findings if f.code == "transform-velocity")
    assert finding.severity is Severity.WARNING
    assert finding.evidence["years"] == pytest.approx(14.9968)
    assert finding.evidence["plate_motion_m"] == pytest.approx(0.305, abs=0.01)
    assert "15.0 years" in found.not_applied[0]
    assert found.accuracy_m is None


def test_epoch_of_a_column() -> None:
    """The epochs of a table's points count; several epochs in a moving frame block."""
    side, findings = with_epochs(declared("EPSG:7912"), [2024.5, 2024.5], "t.csv")
    assert (side.epoch_year, findings) == (2024.5, ())
    _, (finding,) = with_epochs(declared("EPSG:7912"), [2024.5, 2019.5], "t.csv")
    assert (finding.code, finding.severity) == ("crs-epoch-differs", Severity.BLOCKING)
    _, (finding,) = with_epochs(declared("EPSG:7912@2020.0"), [2024.5], "t.csv")
    assert finding.severity is Severity.BLOCKING
    _, (finding,) = with_epochs(declared("EPSG:7912"), [2024.5, None], "t.csv")
    assert "without one" in finding.message
    _, (finding,) = with_epochs(declared("EPSG:6319"), [2024.5, 2019.5], "t.csv")
    assert finding.severity is Severity.WARNING
    assert with_epochs(declared("EPSG:6319"), [None], "t.csv")[1] == ()


# 3. The ensemble, and null transformations between different frames.
@pytest.mark.parametrize(
    ("source", "target", "at"),
    [
        ("EPSG:4979", "EPSG:6319", DENVER),
        ("EPSG:4979", "EPSG:4939", (151.21, -33.87, 50.0)),
        ("EPSG:4979", "EPSG:7843", (151.21, -33.87, 50.0)),
        ("EPSG:4979", "EPSG:4937", (13.4, 52.52, 50.0)),
        ("EPSG:7912@2025.0", "EPSG:4979", DENVER),
        ("EPSG:9754@2025.0", "EPSG:4979", DENVER),
        ("EPSG:32613+5703", "EPSG:6342+5703", UTM13),
    ],
)
def test_ensemble_is_never_taken_for_another_frame(source: str, target: str, at: tuple) -> None:
    """Refused, both ways, with both readings and what lies between them here."""
    for one, other in ((source, target), (target, source)):
        found, there = go(one, other, at)
        (finding,) = (f for f in found.findings if f.severity is Severity.BLOCKING)
        assert finding.code == "transform-ensemble"
        assert 0.25 < float(finding.evidence["difference_m"] or 0.0) < 2.5
        assert "realisation" in finding.remedy
        assert np.isnan(there).all()


def test_size_of_the_two_readings() -> None:
    """Denver 2025: ITRF2020 and NAD83(2011) are 1.42 m apart in plan and 0.86 m in height (computed)."""
    found, _ = go(declared("EPSG:4979", epoch_year=2025.0), "EPSG:6319", DENVER)
    (finding,) = (f for f in found.findings if f.code == "transform-ensemble")
    assert finding.evidence["difference_m"] == pytest.approx(math.hypot(1.4191, 0.8622), abs=0.02)


def test_the_same_ensemble_is_compared_with_a_warning() -> None:
    """WGS 84 on both sides in two projections: carried, and the statement says what is not known."""
    found, _ = go("EPSG:4326+5773", "EPSG:32613+5773", DENVER)
    assert (found.horizontal, found.vertical, blocking(found)) == ("transformed", "identity", set())
    assert "crs-realisation-unknown" in warned(found)


@pytest.mark.parametrize(
    ("source", "at"),
    [
        ("EPSG:26913", UTM13),  # NAD83
        ("EPSG:4152", DENVER),  # NAD83(HARN)
        ("EPSG:4759", DENVER),  # NAD83(NSRS2007)
        ("EPSG:4267", DENVER),  # NAD27
        ("EPSG:6783", DENVER),  # NAD83(CORS96): through ITRF2000, but only with an epoch
    ],
)
def test_no_null_between_realisations(source: str, at: tuple) -> None:
    """The library equates them (ballpark); the tool finds no named operation, or needs what it lacks."""
    found, _ = go(source, "EPSG:6318", at)
    assert found.horizontal == "differs"
    assert blocking(found) & {"transform-no-operation", "transform-epoch-missing"}


def test_a_realisation_is_not_moved_like_the_ensemble() -> None:
    """WGS 84 (G2139) to ITRF2014 is null by EPSG:9757; to NAD83(2011) it moves as ITRF2014 does."""
    found, there = go("EPSG:9754@2025.0", "EPSG:7912@2025.0", DENVER)
    assert [step.code for step in found.steps if step.code] == ["EPSG:9757"]
    # The ellipsoids of WGS 84 and GRS 80 differ by 0.1 mm at the poles.
    assert_metres((there[0] - DENVER) * (85_730.0, 111_030.0, 1.0), 0.0, within_m=0.0002)


def test_sign_convention() -> None:
    """EPSG:8970 is a coordinate frame rotation: the published pair fits to 1 mm, the other sign by metres."""
    xyz = (-2124258.2880, -3787360.8980, 4656407.2760)
    published = np.array([-2124257.4740, -3787362.0910, 4656407.2320])
    _, there = go("EPSG:7789@2010.0", "EPSG:6317", xyz)
    assert_metres(there[0], published, within_m=0.001)


# 4. Feet.
@pytest.mark.parametrize(
    ("source", "target", "height", "expected"),
    [
        ("EPSG:6430+5703", "EPSG:6342+5703", 5249.0, 5249.0),  # metres say both sides
        ("EPSG:6430+6360", "EPSG:6342+5703", 5249.0, 5249.0 * 1200 / 3937),
        ("EPSG:6430+8228", "EPSG:6342+5703", 5249.0, 5249.0 * 0.3048),
        ("EPSG:6430+6360", "EPSG:6342+8228", 5249.0, 5249.0 * 1200 / 3937 / 0.3048),
    ],
)
def test_heights_in_feet(source: str, target: str, height: float, expected: float) -> None:
    """The unit of heights is that of the vertical system, whatever the horizontal one."""
    _, there = go(source, target, (3_140_090.0, 1_240_756.0, height))
    assert_metres(there[0, 2], expected, within_m=1e-9)


def test_feet_dropped_with_the_vertical_system() -> None:
    """Heights in feet against a side that says nothing: not known, not taken as metres."""
    found, _ = go("EPSG:6430+6360", "EPSG:6342", (3_140_090.0, 1_240_756.0, 5249.0))
    assert (found.horizontal, found.vertical) == ("transformed", "unknown")
    assert "crs-vertical-unknown" in blocking(found)


def test_the_two_feet_are_metres_apart_at_a_million() -> None:
    """Arizona Central counts in international feet: 1 000 000 ft north is 304 800.00 m, not 304 800.61 m."""
    _, there = go("EPSG:2223+5703", "EPSG:26949+5703", (700_000.0, 1_000_000.0, 0.0))
    assert_metres(there[0], (213_360.0, 304_800.0, 0.0), within_m=1e-4)


# 5. Axes.
def test_swapped_axes() -> None:
    """Latitude given for longitude: in America not finite, in Europe far outside the area of use."""
    for source, target, at in (
        ("EPSG:6318+5703", "EPSG:6342+5703", (39.74, -104.99, 1600.0)),
        ("EPSG:4258", "EPSG:25832", (47.0, 9.0, 400.0)),
    ):
        found, there = go(source, target, at)
        assert found.horizontal == "differs"
        assert blocking(found) & {"transform-outside-area", "transform-not-finite"}
        assert np.isnan(there).all()


@pytest.mark.parametrize("lon", [0.0, -15.0, 500.0, -101.0 + 3.0])
def test_far_out_of_the_zone(lon: float) -> None:
    """The library gives finite nonsense; the tool says where the system may be used."""
    found, _ = go("EPSG:6318", "EPSG:6342", (lon, 40.0, 0.0))
    assert blocking(found) >= {"transform-outside-area"}


def test_a_little_over_the_border_of_the_zone_is_a_warning() -> None:
    """Surveys at the border keep to one zone: within a degree it is told, not refused."""
    found, there = go("EPSG:6318+5703", "EPSG:6342+5703", (-101.5, 40.0, 0.0))
    assert "transform-outside-area" in warned(found)
    assert blocking(found) == set()
    assert np.isfinite(there).all()


def test_a_control_point_outside_blocks_nothing() -> None:
    """Only points that are judged can block; a stray control point comes out as NaN or far away."""
    from dataclasses import replace

    points = places([-105.0, 0.0], [40.0, 0.0], [1.0, 1.0])
    points = replace(points, judged=np.array([True, False]))
    found = plan(
        declared("EPSG:6318+5703"),
        declared("EPSG:6342+5703"),
        dataset_name="cloud",
        places=points,
    )
    assert (found.horizontal, blocking(found)) == ("transformed", set())


def test_south_and_west_axes_are_not_carried() -> None:
    """A south-orientated system is refused rather than misread."""
    found, _ = go("EPSG:4148", "EPSG:2048", (19.0, -33.0, 0.0))
    assert "transform-unsupported" in blocking(found)


# 6. Zones.
def test_wrong_zone_is_carried_as_declared_or_refused() -> None:
    """A point of zone 13 declared in zone 14 falls outside where it is compared."""
    found, there = go("EPSG:6342+5703", "EPSG:6343+5703", (744_000.0, 4_432_000.0, 0.0))
    assert blocking(found) == set()
    assert_metres(there[0, 0], 232_000.0, within_m=2000.0)  # about dE -512 km at the boundary


# 8. Deprecated codes.
def test_deprecated_code_with_the_same_successor_is_carried() -> None:
    """4268 is 4267 by another number (NAD27): one frame, compared, and the code is told of."""
    found, _ = go("EPSG:2192", "EPSG:4171", (600_000.0, 2_000_000.0, 0.0))
    assert found.horizontal in ("transformed", "differs")
    assert "crs-deprecated" in {f.code for f in (*declared("EPSG:2192").findings, *found.findings)}


def test_unknown_sides_are_left_alone() -> None:
    """Nothing declared: unknown on both parts, the same numbers, and findings that block."""
    found, there = go("+proj=utm +zone=13 +ellps=GRS80", "EPSG:6342", UTM13)
    assert (found.horizontal, found.vertical) == ("unknown", "unknown")
    assert (there[0] == UTM13).all()
    assert "crs-unknown" in blocking(found)
