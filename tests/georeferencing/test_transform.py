"""Checkpoints are carried as published coordinates say, and left alone where both sides are the same.

Published values are written here with their source; the tests marked `shared_data` take every row of the
tables of check values that stand beside the checkout.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))
from planning import blocking, go, warned
from support import assert_metres

from accuracy.georeferencing.operations import FRAMES, OPERATIONS, way
from accuracy.georeferencing.realisation import with_realisation
from accuracy.georeferencing.reference import declared

TN1 = "EUREF Technical Note 1 (Altamimi, 31 January 2024), worked example"
NGS = "NGS, annotated solution reports"
A, B = 2010.0, 2020.0

#: (source, epoch, X, Y, Z, target, X, Y, Z, within metres, where published)
FRAME_VALUES = [
    (
        "EPSG:9988",
        A,
        4027893.6750,
        307045.9069,
        4919475.1721,
        "EPSG:10569",
        4027893.9585,
        307045.5550,
        4919474.9619,
        0.0002,
        TN1,
    ),
    (
        "EPSG:9988",
        A,
        4027893.6750,
        307045.9069,
        4919475.1721,
        "EPSG:7789",
        4027893.6719,
        307045.9064,
        4919475.1704,
        0.0002,
        TN1,
    ),
    (
        "EPSG:9988",
        B,
        4027893.5389,
        307046.0755,
        4919475.2745,
        "EPSG:7789",
        4027893.5358,
        307046.0740,
        4919475.2748,
        0.0002,
        TN1,
    ),
    (
        "EPSG:7789",
        A,
        4027893.6719,
        307045.9064,
        4919475.1704,
        "EPSG:8401",
        4027893.9620,
        307045.5480,
        4919474.9553,
        0.0002,
        TN1,
    ),
    (
        "EPSG:7789",
        B,
        4027893.5358,
        307046.0740,
        4919475.2748,
        "EPSG:4919",
        4027893.5505,
        307046.0772,
        4919475.2456,
        0.0002,
        TN1,
    ),
    (
        "EPSG:4919",
        B,
        4027893.5505,
        307046.0772,
        4919475.2456,
        "EPSG:7930",
        4027894.0033,
        307045.5889,
        4919474.9047,
        0.0002,
        TN1,
    ),
    (
        "EPSG:7789",
        B,
        4027893.5358,
        307046.0740,
        4919475.2748,
        "EPSG:7930",
        4027894.0033,
        307045.5889,
        4919474.9047,
        0.0002,
        TN1,
    ),
    (
        "EPSG:9988",
        A,
        4027893.6750,
        307045.9069,
        4919475.1721,
        "EPSG:8401",
        4027893.9620,
        307045.5480,
        4919474.9553,
        0.0002,
        TN1,
    ),
    (
        "EPSG:7789",
        A,
        -2124258.2880,
        -3787360.8980,
        4656407.2760,
        "EPSG:6317",
        -2124257.4740,
        -3787362.0910,
        4656407.2320,
        0.002,
        NGS,
    ),
    (
        "EPSG:4919",
        2003.5685,
        1095790.1170,
        -4831326.5430,
        4003934.2400,
        "EPSG:6781",
        1095790.7670,
        -4831327.9940,
        4003934.3600,
        0.002,
        NGS,
    ),
    (
        "EPSG:4938",
        None,
        -4052051.7643,
        4212836.2017,
        -2545106.0245,
        "EPSG:7842",
        -4052052.7379,
        4212835.9897,
        -2545104.5898,
        0.0001,
        "ICSM GDA2020 Technical Manual 1.0 (2017)",
    ),
    (
        "EPSG:5332",
        2013.9,
        -3789470.7020,
        4841770.4110,
        -1690893.9500,
        "EPSG:4938",
        -3789470.0080,
        4841770.6850,
        -1690895.1030,
        0.013,
        "IOGP Guidance Note 7-2, time-dependent coordinate frame; its intermediate values are rounded",
    ),
]


def at_epoch(code: str, epoch: float | str | None) -> str:
    return f"{code}@{epoch}" if epoch else code


@pytest.mark.parametrize("row", FRAME_VALUES, ids=lambda row: f"{row[0]}-{row[5]}-{row[1]}")
def test_published_frames(row: tuple) -> None:
    """Geocentric coordinates come out as published."""
    source, epoch, x, y, z, target, *there, within_m, _ = row
    found, carried = go(
        at_epoch(source, epoch), target if "NAD" in source else _moving(target, epoch), (x, y, z)
    )
    assert (found.horizontal, blocking(found)) == ("transformed", set())
    assert_metres(carried[0], there, within_m=within_m)


def _moving(code: str, epoch: float | None) -> str:
    """Give a moving frame the same epoch; a plate-fixed one needs none."""
    return at_epoch(code, epoch) if declared(code).dynamic else code


#: (frame, lat, lon, h, X, Y, Z): NGS coordinate pages and reports; the last from PROJ test/gie/epsg_no_grid.
GEOCENTRIC_VALUES = [
    ("7912", "7789", 9.3575090389, 2.6256550000, 423.917, 6287630.499, 288340.869, 1030266.214),
    ("7912", "7789", 52.7146196139, 174.0762686056, 18.309, -3851330.396, 399608.571, 5051382.453),
    (
        "7912",
        "7789",
        -14.3260935528,
        -170.7224362222,
        53.552,
        -6100260.08,
        -996503.222,
        -1567977.593,
    ),
    ("7912", "7789", 5.4556435444, -55.2030763417, -17.251, 3623419.977, -5214015.457, 602359.251),
    (
        "7912",
        "7789",
        19.4316533861,
        -99.0683895528,
        2235.68,
        -948701.102,
        -5943935.692,
        2109212.719,
    ),
    (
        "6319",
        "6317",
        47.1902777694,
        -119.2872162194,
        329.021,
        -2124257.474,
        -3787362.091,
        4656407.232,
    ),
    ("4979", "4978", 55.0, 12.0, 10.0, 3586475.2672, 762328.8513, 5201391.7147),
]


@pytest.mark.parametrize(
    "row", GEOCENTRIC_VALUES, ids=lambda row: f"{row[0]} {row[2]:.0f} {row[3]:.0f}"
)
def test_published_geocentric(row: tuple) -> None:
    """Latitude, longitude, height and X, Y, Z of one frame, both ways, within the published millimetre."""
    code, xyz_code, lat, lon, h, *xyz = row
    epoch = "2010.0" if code == "7912" else None
    geographic, geocentric = at_epoch(f"EPSG:{code}", epoch), at_epoch(f"EPSG:{xyz_code}", epoch)
    found, there = go(geographic, geocentric, (lon, lat, h))
    assert (found.horizontal, found.vertical, found.accuracy_m) == ("transformed", "identity", 0.0)
    assert_metres(there[0], xyz, within_m=0.001)
    _, back = go(geocentric, geographic, tuple(xyz))
    assert_metres(back[0, :2] * 111_000.0, np.array([lon, lat]) * 111_000.0, within_m=0.001)
    assert_metres(back[0, 2], h, within_m=0.001)


#: (geographic, lat, lon, projected, easting, northing, within): NGS reports; PROJ test/gie/epsg_no_grid.
PLANE_VALUES = [
    ("EPSG:6318", 47.1902777694, -119.2872162194, "EPSG:6340", 326734.825, 5228847.071, 0.002),
    ("EPSG:6318", 47.1902777694, -119.2872162194, "EPSG:6598", 591905.162, 207112.47, 0.002),
    ("EPSG:6318", 39.1339834472, -77.2209774500, "EPSG:6347", 308035.018, 4333993.902, 0.002),
    ("EPSG:4258", 55.0, 12.0, "EPSG:25832", 691875.6321, 6098907.825, 0.0001),
]


@pytest.mark.parametrize("row", PLANE_VALUES, ids=lambda row: row[3])
def test_published_planes(row: tuple) -> None:
    """UTM and state plane coordinates come out as published."""
    geographic, lat, lon, projected, east, north, within_m = row
    found, carried = go(geographic, projected, (lon, lat, 0.0))
    assert (found.horizontal, found.accuracy_m) == ("transformed", None)  # heights: not declared
    assert_metres(carried[0, :2], (east, north), within_m=within_m)


def rows(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.shared_data
def test_every_published_frame(shared_geodesy: Path) -> None:
    """Every row of the table of frames, at its own tolerance; the row without velocities says what it lacks."""
    checked = 0
    for row in rows(shared_geodesy, "check_frames.csv"):
        epoch = float(row["epoch"]) if row["epoch"] else None
        target = _moving(row["dst_epsg"], epoch)
        if "2010.0" in row["dst_frame"]:
            target = at_epoch(target, 2010.0)
        xyz = tuple(float(row[f"src_{axis}"]) for axis in "xyz")
        found, carried = go(at_epoch(row["src_epsg"], epoch), target, xyz)
        there = [float(row[f"dst_{axis}"]) for axis in "xyz"]
        assert_metres(carried[0], there, within_m=float(row["tolerance_m"]))
        if row["id"] == "NGS-1b":
            (finding,) = (f for f in found.findings if f.code == "transform-velocity")
            assert finding.evidence["years"] == pytest.approx(14.9968)
            assert found.not_applied
        checked += 1
    assert checked >= 16


@pytest.mark.shared_data
def test_every_published_plane_and_geocentric_position(shared_geodesy: Path) -> None:
    """Every row of both tables, at its own tolerance."""
    # A datum name such as NAD83(CORS96) stands for the frame; the conversion is the same on every GRS 80 frame.
    for row in rows(shared_geodesy, "check_projections.csv"):
        if not row["crs"]:
            continue
        base = {"NAD83(CORS96)": "EPSG:6318", "NAD83(2011)": "EPSG:6318"}.get(
            row["datum"], "EPSG:4258"
        )
        _, carried = go(base, row["crs"], (float(row["lon_deg"]), float(row["lat_deg"]), 0.0))
        there = (float(row["easting"]), float(row["northing"]))
        assert_metres(carried[0, :2], there, within_m=float(row["tolerance"]))
    for row in rows(shared_geodesy, "check_geodetic_geocentric.csv"):
        pair = (
            ("EPSG:4979", "EPSG:4978")
            if "WGS" in row["frame_epoch"]
            else ("EPSG:6319", "EPSG:6317")
        )
        place = (float(row["lon_deg"]), float(row["lat_deg"]), float(row["ell_height_m"]))
        _, carried = go(*pair, place)
        if not carried.size or np.isnan(carried).any():  # outside the area of use of NAD83(2011)
            _, carried = go("EPSG:7912@2010", "EPSG:7789@2010", place)
        assert_metres(
            carried[0], [float(row[axis]) for axis in "xyz"], within_m=float(row["tolerance_m"])
        )


@pytest.mark.shared_data
def test_sizes_of_frames_against_each_other(shared_geodesy: Path) -> None:
    """ITRF minus NAD83(2011) at twelve places comes out as tabulated (computed with PROJ; not published)."""
    from pyproj import Geod

    for row in rows(shared_geodesy, "measured_itrf_minus_nad83_2011.csv"):
        code = {"ITRF2014": "EPSG:7912", "ITRF2020": "EPSG:9989"}[row["itrf"]]
        lon, lat, h = (float(row[key]) for key in ("lon_deg", "lat_deg", "h_m"))
        _, there = go(f"{code}@{row['epoch']}", "EPSG:6319", (lon, lat, h))
        azimuth, _, distance = Geod(ellps="GRS80").inv(there[0, 0], there[0, 1], lon, lat)
        east, north = distance * np.sin(np.radians(azimuth)), distance * np.cos(np.radians(azimuth))
        expected = [float(row[key]) for key in ("E_m", "N_m", "U_m")]
        assert_metres((east, north, h - there[0, 2]), expected, within_m=0.0006)


def test_operations_are_those_of_the_registry() -> None:
    """Each whitelisted code links, in the EPSG dataset, the frames that the list says, by a Helmert or null."""
    from pyproj.crs import CoordinateOperation

    for code, source, target in OPERATIONS:
        facts = CoordinateOperation.from_epsg(code).to_json_dict()
        for side, short in (("source_crs", source), ("target_crs", target)):
            assert facts[side]["datum"]["name"] == FRAMES[short], code
        (operation,) = way(source, target) or ()
        assert operation.code == f"EPSG:{code}"
        assert operation.helmert.startswith(("+proj=helmert ", "+proj=noop"))


@pytest.mark.parametrize(
    ("source", "target", "codes"),
    [
        ("ITRF2014", "NAD83(2011)", ["EPSG:8970"]),
        ("WGS 84 (G2139)", "ITRF2014", ["EPSG:9757"]),
        ("WGS 84 (G1762)", "NAD83(2011)", ["EPSG:7666", "EPSG:7807"]),
        ("GDA94", "ITRF2014", ["EPSG:8048", "EPSG:8049"]),
        ("ETRF2000", "ETRF2014", ["EPSG:8405", "EPSG:8366"]),
        ("GDA2020", "ITRF2020", ["EPSG:8049", "EPSG:9991"]),
    ],
)
def test_ways_between_frames(source: str, target: str, codes: list[str]) -> None:
    """The fewest named operations, and the same ones back."""
    there, back = way(source, target), way(target, source)
    assert there is not None
    assert back is not None
    assert [operation.code for operation in there] == codes
    assert {operation.code for operation in back} == set(codes)


def test_identity_gives_the_same_bits() -> None:
    """Nothing is touched where both sides are the same, in feet, too."""
    at = (
        [3_140_000.123456789, 3_140_001.0],
        [1_240_000.987654321, 1_240_001.0],
        [5249.123, 5250.0],
    )
    found, carried = go("EPSG:6430+6360", "EPSG:6430+6360", at, geoids=("GEOID18", "GEOID18"))
    assert (found.horizontal, found.vertical, found.accuracy_m) == ("identity", "identity", 0.0)
    assert found.findings == ()
    assert (carried == np.column_stack(at)).all()


def test_feet_of_both_kinds() -> None:
    """Metres to US survey feet to international feet, horizontally and vertically; exact factors (NIST)."""
    at = (500_000.0, 4_427_000.0, 1600.0)
    _, metre = go("EPSG:6342+5703", "EPSG:6429+5703", at)  # Colorado North, metres
    found, ftus = go("EPSG:6342+5703", "EPSG:6430+6360", at)
    assert found.vertical == "transformed"
    # The registry rounds the false easting of the zone in metres to 0.1 mm.
    assert_metres(ftus[0] * 1200 / 3937, metre[0], within_m=1e-4)
    assert ftus[0, 2] == pytest.approx(5249.33333333, abs=1e-8)
    _, foot = go("EPSG:6342+5703", "EPSG:6342+8228", at)
    assert foot[0, 2] == pytest.approx(5249.34383202, abs=1e-8)
    assert (foot[0, :2] == at[:2]).all()  # the plane is the same: to the bit


def test_heights_pass_whatever_the_projection() -> None:
    """One vertical datum on both sides: no grid, no geoid, the same bits."""
    found, carried = go("EPSG:6342+5703", "EPSG:6318+5703", (500_000.0, 4_427_000.0, 1600.123456))
    assert (found.horizontal, found.vertical, found.accuracy_m) == ("transformed", "identity", 0.0)
    assert carried[0, 2] == 1600.123456
    assert blocking(found) == set()
    assert all(step.grid is None for step in found.steps)


def test_heights_pass_between_frames_too() -> None:
    """NAVD88 on ITRF2014 and on NAD83(2011): the position moves 1.4 m, the height above NAVD88 does not."""
    found, carried = go("EPSG:9000+5703@2025.0", "EPSG:6318+5703", (-104.99, 39.74, 1600.0))
    assert (found.horizontal, found.vertical) == ("transformed", "identity")
    assert carried[0, 2] == 1600.0
    assert abs(carried[0, 0] + 104.99) * 85_000 > 1.0


def test_northing_first_codes_are_stored_easting_first() -> None:
    """EPSG:2193 declares northing first; tables hold easting first, and so does what comes out."""
    _, carried = go("EPSG:4167", "EPSG:2193", (173.0, -41.0, 0.0))
    assert carried[0, 0] == pytest.approx(1_600_000.0, abs=1e-6)  # on the central meridian
    assert 5_400_000 < carried[0, 1] < 5_500_000


def test_every_step_is_in_the_record() -> None:
    """Name, code, parameters and epoch of the operation; unknown accuracy is None, never 0."""
    found, _ = go("EPSG:7912@2024.9968", "EPSG:6342", (-105.0, 40.0, 1600.0))
    (step,) = (step for step in found.steps if step.code == "EPSG:8970")
    assert step.operation == "ITRF2014 to NAD83(2011) (1)"
    assert "+rx=0.02678138" in (step.parameters or "")
    assert "+convention=coordinate_frame" in (step.parameters or "")
    assert (step.epoch_year, step.accuracy_m, found.accuracy_m) == (2024.9968, None, None)
    assert "transform-accuracy-unknown" in warned(found)
    assert found.steps[-1].code == "EPSG:6342"


def test_stated_accuracies_add_up() -> None:
    """GDA94 to GDA2020 is stated to 0.01 m in the registry; conversions add nothing."""
    found, _ = go("EPSG:4939", "EPSG:7843", (133.88, -23.67, 603.0))
    assert found.accuracy_m == pytest.approx(0.01)
    assert "transform-accuracy-unknown" not in warned(found)


def test_a_stated_realisation_opens_the_way() -> None:
    """UTM on "WGS 84" with its realisation and epoch is carried; without it is refused."""
    ensemble = declared("EPSG:32613+5703", epoch_year=2025.0)
    stated = with_realisation(ensemble, "WGS 84 (G2139)", "job")
    at = (500_000.0, 4_427_000.0, 1600.0)
    refused, _ = go(ensemble, "EPSG:6342+5703", at)
    assert blocking(refused) == {"transform-ensemble"}
    found, carried = go(stated, "EPSG:6342+5703", at)
    assert (found.horizontal, found.vertical) == ("transformed", "identity")
    itrf, _ = go("EPSG:9000@2025.0", "EPSG:6318", (-105.0, 39.9931776, 1600.0))
    assert [s.code for s in found.steps if s.code and "89" in s.code] == [
        s.code for s in itrf.steps if s.code and "89" in s.code
    ]
    assert_metres(carried[0, :2], (at[0] + 1.3189, at[1] - 0.529), within_m=0.02)


COORDINATE = {"allow_nan": False, "allow_infinity": False}


@settings(max_examples=40, deadline=None)
@given(
    lon=st.floats(-106.5, -103.5, **COORDINATE),
    lat=st.floats(37.5, 40.9, **COORDINATE),
    h=st.floats(-100.0, 4000.0, **COORDINATE),
    pair=st.sampled_from(
        [
            ("EPSG:6319", "EPSG:6317"),
            ("EPSG:6319", "EPSG:7912@2024.5"),
            ("EPSG:6319", "EPSG:9989@2015.0"),
            ("EPSG:6319", "EPSG:9754@2022.0"),
            ("EPSG:6319", "EPSG:5332@2012.5"),
        ]
    ),
)
def test_there_and_back(lon: float, lat: float, h: float, pair: tuple[str, str]) -> None:
    """A plan and the plan back give the same place within 0.1 mm."""
    one, other = pair
    _, there = go(one, other, (lon, lat, h))
    _, back = go(other, one, tuple(there[0]))
    offset = (back[0] - (lon, lat, h)) * (111_320.0 * np.cos(np.radians(lat)), 111_320.0, 1.0)
    assert_metres(offset, 0.0, within_m=1e-4)


@settings(max_examples=25, deadline=None)
@given(
    east=st.floats(300_000.0, 700_000.0, **COORDINATE),
    north=st.floats(4_400_000.0, 4_530_000.0, **COORDINATE),
    h=st.floats(-100.0, 4000.0, **COORDINATE),
)
def test_planes_there_and_back(east: float, north: float, h: float) -> None:
    """Metres to US survey feet in another projection and back within 0.1 mm, heights included."""
    _, there = go("EPSG:6342+5703", "EPSG:6430+6360", (east, north, h))
    _, back = go("EPSG:6430+6360", "EPSG:6342+5703", tuple(there[0]))
    assert_metres(back[0], (east, north, h), within_m=1e-4)
