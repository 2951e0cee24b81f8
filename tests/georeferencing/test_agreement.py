from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS

from accuracy.findings import Severity
from accuracy.georeferencing.reference import UNKNOWN, Reference, agree, declared
from accuracy.units import LengthUnit

BLOCKING, WARNING = Severity.BLOCKING, Severity.WARNING
NAMED = {"geoid": "GEOID18"}


@pytest.mark.parametrize(
    ("one", "other", "horizontal", "vertical", "blocking"),
    [
        # the same
        ("EPSG:6345+5703", "EPSG:6345+5703", "identity", "identity", set()),
        ("EPSG:3857+5773", "ESRI:102100+EPSG:5773", "identity", "identity", set()),
        ("EPSG:4326+5773", "OGC:CRS84+EPSG:5773", "identity", "identity", {"crs-geographic"}),
        ("EPSG:6319", "EPSG:6319", "identity", "identity", {"crs-geographic"}),
        # frames and realisations: 1 to 2 m apart, equated silently by the library (traps, section 3)
        ("EPSG:6345+5703", "EPSG:26916+5703", "differs", "differs", {"crs-differs"}),
        ("EPSG:6318", "EPSG:4152", "differs", "differs", {"crs-differs"}),
        ("EPSG:6342", "EPSG:32613", "differs", "differs", {"crs-differs"}),
        ("EPSG:4979", "EPSG:6319", "differs", "differs", {"crs-differs"}),
        ("EPSG:4326", "EPSG:4283", "differs", "differs", {"crs-differs"}),
        ("EPSG:28356", "EPSG:7856", "differs", "differs", {"crs-differs"}),
        ("EPSG:4979", "EPSG:4937", "differs", "differs", {"crs-differs"}),
        ("EPSG:4979", "EPSG:9754", "differs", "differs", {"crs-differs"}),
        ("EPSG:7912", "EPSG:4979", "differs", "differs", {"crs-differs"}),
        # feet (traps, section 4)
        ("EPSG:2223", "EPSG:2762", "differs", "differs", {"crs-differs"}),
        ("EPSG:6430+6360", "EPSG:6430+8228", "identity", "differs", {"crs-unit-differs"}),
        ("EPSG:6430+5703", "EPSG:6430+6360", "identity", "differs", {"crs-unit-differs"}),
        # zone, and deprecated codes that are not their successor (section 8)
        ("EPSG:6345", "EPSG:6346", "differs", "differs", {"crs-differs"}),
        ("EPSG:3785", "EPSG:3857", "differs", "differs", {"crs-differs"}),
        # heights
        ("EPSG:6345", "EPSG:6345+5703", "identity", "unknown", {"crs-vertical-unknown"}),
        ("EPSG:6345", "EPSG:6345", "identity", "unknown", {"crs-vertical-unknown"}),
        (
            "EPSG:6319",
            "EPSG:6349",
            "identity",
            "differs",
            {"crs-vertical-differs", "crs-geographic"},
        ),
        ("EPSG:6345+5703", "EPSG:6345+5773", "identity", "differs", {"crs-vertical-differs"}),
        ("EPSG:6345+5713", "EPSG:6345+6647", "identity", "differs", {"crs-vertical-differs"}),
        ("EPSG:6345+5715", "EPSG:6345+5715", "identity", "unknown", {"crs-vertical-unknown"}),
        # no datum named, on both sides even
        (
            "+proj=utm +zone=13 +ellps=GRS80",
            "+proj=utm +zone=13 +ellps=GRS80",
            "unknown",
            "unknown",
            {"crs-unknown", "crs-vertical-unknown"},
        ),
        (
            "+proj=utm +zone=13 +datum=NAD83",
            "EPSG:6342",
            "unknown",
            "unknown",
            {"crs-unknown", "crs-vertical-unknown"},
        ),
        # frames that move, without epoch
        (
            "EPSG:7912",
            "EPSG:7912",
            "unknown",
            "unknown",
            {"crs-epoch-missing", "crs-geographic"},
        ),
        (
            "EPSG:7912@2024.5",
            "EPSG:7912",
            "unknown",
            "unknown",
            {"crs-epoch-missing", "crs-geographic"},
        ),
        (
            "EPSG:7912@2024.5",
            "EPSG:7912@2010.0",
            "differs",
            "differs",
            {"crs-epoch-differs", "crs-geographic"},
        ),
        (
            "EPSG:7912@2024.5",
            "EPSG:7912@2024.5",
            "identity",
            "identity",
            {"crs-geographic"},
        ),
        # X, Y, Z are no plane
        ("EPSG:7789@2024.5", "EPSG:7789@2024.5", "differs", "differs", {"crs-geographic"}),
    ],
)
def test_verdicts(one: str, other: str, horizontal: str, vertical: str, blocking: set[str]) -> None:
    """Identity only where both say the same thing; the verdicts are the same the other way round."""
    for left, right in ((one, other), (other, one)):
        found = agree(declared(left), declared(right), "cloud")
        assert (found.horizontal, found.vertical) == (horizontal, vertical)
        assert {f.code for f in found.findings if f.severity is BLOCKING} == blocking
        for finding in found.findings:
            assert finding.severity is not BLOCKING or finding.remedy


def test_full_agreement_has_no_finding() -> None:
    """Same frame, same vertical system and unit, same geoid model: nothing to say."""
    for code in ("EPSG:6345+5703", "EPSG:6430+6360"):
        side = declared(code, geoid="GEOID18")
        found = agree(side, side, "cloud")
        assert (found.horizontal, found.vertical, found.findings) == ("identity", "identity", ())


@pytest.mark.parametrize("code", ["EPSG:2193", "EPSG:2180", "EPSG:31467"])
def test_northing_first_planes_agree_with_their_wkt(code: str) -> None:
    """Declared axis order does not matter: files store easting first (traps, section 5)."""
    crs = CRS.from_user_input(code)
    for version in ("WKT1_GDAL", "WKT1_ESRI", "WKT2_2019"):
        assert (
            agree(declared(code), declared(crs.to_wkt(version)), "cloud").horizontal == "identity"
        )


@pytest.mark.parametrize("code", ["EPSG:2306", "EPSG:3053"])
def test_axes_to_the_west_are_not_ignored(code: str) -> None:
    """A plane counted westwards is not the one counted eastwards that its WKT 1 describes."""
    written = CRS.from_user_input(code).to_wkt("WKT1_GDAL")
    found = agree(declared(code), declared(written), "cloud")
    assert found.horizontal != "identity"


def test_real_false_eastings_agree() -> None:
    """ESRI WKT with its own rounding of false eastings and angles is the system of the code."""
    nebraska = (
        'PROJCS["NE_ft",GEOGCS["GCS_NAD_1983_2011",DATUM["D_NAD_1983_2011",'
        'SPHEROID["GRS_1980",6378137,298.257222101]],PRIMEM["Greenwich",0],'
        'UNIT["Degree",0.017453292519943295]],PROJECTION["Lambert_Conformal_Conic"],'
        'PARAMETER["standard_parallel_1",40],PARAMETER["standard_parallel_2",43],'
        'PARAMETER["central_meridian",-100],PARAMETER["latitude_of_origin",39.83333333333334],'
        'PARAMETER["false_easting",1640416.666666667],PARAMETER["false_northing",0],'
        'UNIT["Foot_US",0.30480060960121924]]'
    )
    assert agree(declared("EPSG:6880"), declared(nebraska), "cloud").horizontal == "identity"


def test_horizontal_difference_blocks_heights_too() -> None:
    """The finding of a horizontal difference concerns every component."""
    found = agree(declared("EPSG:6345+5703"), declared("EPSG:6346+5703"), "cloud")
    (finding,) = found.findings
    assert (finding.code, finding.component, finding.dataset) == ("crs-differs", "all", "cloud")
    assert "zone 16N" in finding.message
    assert "zone 17N" in finding.message
    assert finding.blocks("cloud", "vertical")


def test_unknown_heights_leave_the_horizontal_result_standing() -> None:
    """2D on one side: heights blocked, the plane not; both sides and the job key are named."""
    found = agree(declared("EPSG:6345+5703"), declared("EPSG:6345"), "cloud")
    (finding,) = found.findings
    assert (finding.code, finding.component) == ("crs-vertical-unknown", "vertical")
    assert not finding.blocks("cloud", "horizontal")
    assert "heights of cloud" in finding.message
    assert "EPSG:5703" in finding.message
    assert '[[dataset]] "cloud"' in finding.remedy
    assert "[checkpoints]" not in finding.remedy


@pytest.mark.parametrize(
    ("surveyed", "measured", "named"),
    [
        (UNKNOWN, declared("EPSG:6345+5703"), ["[checkpoints]"]),
        (declared("EPSG:6345+5703"), UNKNOWN, ['[[dataset]] "cloud"']),
        (UNKNOWN, UNKNOWN, ["[checkpoints]", '[[dataset]] "cloud"']),
    ],
)
def test_nothing_declared_names_the_key_to_fill(
    surveyed: Reference, measured: Reference, named: list[str]
) -> None:
    """Unknown blocks everything, and the remedy says where in the job to state it."""
    found = agree(surveyed, measured, "cloud")
    assert (found.horizontal, found.vertical) == ("unknown", "unknown")
    first = found.findings[0]
    assert (first.code, first.severity, first.component) == ("crs-unknown", BLOCKING, "all")
    for key in named:
        assert key in first.remedy
    assert ("[checkpoints]" in first.remedy) is ("[checkpoints]" in named)


@pytest.mark.parametrize(
    ("one", "other", "verdict", "code", "severity"),
    [
        ("GEOID18", "GEOID18", "identity", None, None),
        ("GEOID18", "Geoid 18", "identity", None, None),
        ("GEOID18", "GEOID12B", "differs", "crs-geoid-differs", BLOCKING),
        ("GEOID18", None, "identity", "crs-geoid-unnamed", WARNING),
        (None, None, "identity", "crs-geoid-unnamed", WARNING),
    ],
)
def test_geoid_models(
    one: str | None, other: str | None, verdict: str, code: str | None, severity: Severity | None
) -> None:
    """Two models block heights, one unnamed is a warning that stands in the statement."""
    sides = declared("EPSG:6345+5703", geoid=one), declared("EPSG:6345+5703", geoid=other)
    for left, right in (sides, sides[::-1]):
        found = agree(left, right, "cloud")
        assert (found.horizontal, found.vertical) == ("identity", verdict)
        assert [(f.code, f.severity, f.component) for f in found.findings] == (
            [] if code is None else [(code, severity, "vertical")]
        )


@pytest.mark.parametrize(
    ("code", "metres"), [("EPSG:32616+5703", "2 m"), ("EPSG:25832+5783", "0.1 m")]
)
def test_an_ensemble_on_both_sides_is_compared_with_a_warning(code: str, metres: str) -> None:
    """The same ensemble code: identity, and how well it is known stands in a warning."""
    side = declared(code, **NAMED)
    found = agree(side, side, "cloud")
    assert (found.horizontal, found.vertical) == ("identity", "identity")
    assert [(f.code, f.severity) for f in found.findings] == [("crs-realisation-unknown", WARNING)]
    assert metres in found.findings[0].message


def test_epochs_in_a_frame_fixed_to_its_plate() -> None:
    """Different epochs in NAD83(2011): compared, with a warning; a few days apart: nothing."""
    one = declared("EPSG:6345+5703", geoid="GEOID18", epoch_year=2010.0)
    other = replace(one, epoch_year=2024.5)
    found = agree(one, other, "cloud")
    assert (found.horizontal, found.vertical) == ("identity", "identity")
    assert [(f.code, f.severity) for f in found.findings] == [("crs-epoch-differs", WARNING)]
    assert agree(one, replace(one, epoch_year=2010.009), "cloud").findings == ()


def test_units_of_columns_that_differ_from_the_other_side() -> None:
    """Same system, but one side counts in another unit: not compared."""
    one = declared("EPSG:6345+5703", **NAMED)
    feet = replace(one, horizontal_unit=LengthUnit.FOOT)
    found = agree(one, feet, "cloud")
    assert (found.horizontal, found.vertical) == ("differs", "differs")
    assert [f.code for f in found.findings] == ["crs-unit-differs"]
    high = agree(one, replace(one, vertical_unit=LengthUnit.FOOT), "cloud")
    assert (high.horizontal, high.vertical) == ("identity", "differs")


def test_a_unit_beyond_the_three_blocks() -> None:
    """Clarke's foot on both sides: the same system, and still no metres."""
    side = declared("EPSG:2314")
    found = agree(side, side, "cloud")
    assert found.horizontal == "unknown"
    assert ("crs-unit-unknown", BLOCKING) in [(f.code, f.severity) for f in found.findings]


def test_a_unit_of_heights_beyond_the_three_blocks_heights_only() -> None:
    """British foot of 1936 (EPSG:5754, Poolbeg): the plane stands, heights do not."""
    side = declared("EPSG:6345+5754")
    found = agree(side, side, "cloud")
    assert (found.horizontal, found.vertical) == ("identity", "unknown")
    assert [(f.code, f.component) for f in found.findings if f.severity is BLOCKING] == [
        ("crs-unit-unknown", "vertical")
    ]


def test_local_grids_are_told_apart_by_their_datum() -> None:
    """Two site grids with the same name and datum agree; another datum does not."""
    text = (
        'ENGCRS["site grid",EDATUM["north yard"],CS[Cartesian,3],AXIS["e",east],AXIS["n",north],'
        'AXIS["u",up],LENGTHUNIT["metre",1]]'
    )
    same = agree(declared(text), declared(text), "cloud")
    assert (same.horizontal, same.vertical, same.findings) == ("identity", "identity", ())
    other = agree(declared(text), declared(text.replace("north yard", "south yard")), "cloud")
    assert other.horizontal == "differs"


SIDES = [
    UNKNOWN,
    *(
        declared(text)
        for text in (
            "EPSG:6345",
            "EPSG:6345+5703",
            "EPSG:6345+6360",
            "EPSG:26916+5703",
            "EPSG:6430+6360",
            "EPSG:6319",
            "EPSG:6318",
            "EPSG:4979",
            "EPSG:7912",
            "EPSG:4978",
            "EPSG:5703",
            "EPSG:25832",
            "+proj=utm +zone=16 +ellps=GRS80",
        )
    ),
]
sides = st.builds(
    lambda side, geoid, epoch, unit: replace(
        side, geoid=geoid, epoch_year=epoch, vertical_unit=unit or side.vertical_unit
    ),
    st.sampled_from(SIDES),
    st.sampled_from([None, "GEOID18", "GEOID12B"]),
    st.sampled_from([None, 2010.0, 2024.5]),
    st.sampled_from([None, *LengthUnit]),
)


@given(sides, sides)
@settings(max_examples=200, deadline=None)
def test_laws_of_agreement(one: Reference, other: Reference) -> None:
    """Symmetric; heights never better than the plane; anything but identity has a blocking finding."""
    there, back = agree(one, other, "cloud"), agree(other, one, "cloud")
    assert (there.horizontal, there.vertical) == (back.horizontal, back.vertical)
    assert sorted((f.code, f.severity, f.component) for f in there.findings) == sorted(
        (f.code, f.severity, f.component) for f in back.findings
    )
    order = ["identity", "unknown", "differs"]
    assert order.index(there.vertical) >= order.index(there.horizontal)
    if there.horizontal != "identity":
        assert any(f.blocks("cloud", "horizontal") for f in there.findings)
    if there.vertical != "identity":
        assert any(f.blocks("cloud", "vertical") for f in there.findings)


@given(sides)
@settings(deadline=None)
def test_a_side_agrees_with_itself_only_where_it_is_known(side: Reference) -> None:
    """Reflexive for what is declared with its datum; unknown is never the same as unknown."""
    found = agree(side, side, "cloud")
    if not side.horizontal_known:
        assert found.horizontal == "unknown"
    elif side.horizontal_kind in ("projected", "geographic") and not side.dynamic:
        assert found.horizontal == "identity"
    if not side.vertical_known:
        assert found.vertical != "identity"
