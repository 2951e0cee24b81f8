from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from accuracy.findings import Severity
from accuracy.georeferencing.geokeys import read_geokeys
from accuracy.units import LengthUnit

M, FT, FTUS = LengthUnit.METRE, LengthUnit.FOOT, LengthUnit.US_SURVEY_FOOT
Keys = dict[int, int | float | str]


@pytest.mark.parametrize(
    ("keys", "horizontal", "horizontal_unit", "vertical_kind", "vertical", "vertical_unit"),
    [
        # the traps of the measured table, section 7: the library drops every vertical key
        (
            {1024: 1, 3072: 6342, 4096: 5703, 4099: 9001},
            "EPSG:6342",
            M,
            "orthometric",
            "EPSG:5703",
            M,
        ),
        (
            {1024: 1, 3072: 6430, 4096: 6360, 4099: 9003},
            "EPSG:6430",
            FTUS,
            "orthometric",
            "EPSG:6360",
            FTUS,
        ),
        ({1024: 1, 3072: 6342, 4099: 9003}, "EPSG:6342", M, "unknown", None, FTUS),
        ({1024: 2, 2048: 6318, 4096: 5703}, "EPSG:6318", None, "orthometric", "EPSG:5703", M),
        ({1024: 2, 2048: 6349}, "EPSG:6318", None, "orthometric", "EPSG:5703", M),
        ({3072: 2949}, "EPSG:2949", M, "none", None, None),
        ({1024: 1, 3072: 6342, 2048: 6318, 3076: 9001}, "EPSG:6342", M, "none", None, None),
        ({1024: 3, 2048: 4978}, "EPSG:4978", M, "none", None, None),
        ({1024: 1}, None, None, "unknown", None, None),
        ({1024: 1, 3072: 0, 4096: 0}, None, None, "unknown", None, None),
        ({}, None, None, "unknown", None, None),
        # a vertical datum beside its system is no contradiction
        (
            {1024: 1, 3072: 6342, 4096: 5703, 4098: 5103},
            "EPSG:6342",
            M,
            "orthometric",
            "EPSG:5703",
            M,
        ),
    ],
)
def test_keys_that_hold_together(
    keys: Keys,
    horizontal: str | None,
    horizontal_unit: LengthUnit | None,
    vertical_kind: str,
    vertical: str | None,
    vertical_unit: LengthUnit | None,
) -> None:
    """All keys are read, the vertical ones included, without a finding."""
    found = read_geokeys(keys, "VLR 34735")
    assert (found.horizontal, found.horizontal_unit) == (horizontal, horizontal_unit)
    assert (found.vertical_kind, found.vertical, found.vertical_unit) == (
        vertical_kind,
        vertical,
        vertical_unit,
    )
    assert found.findings == ()


def test_geographic_3d_code_has_ellipsoidal_heights() -> None:
    """2048 = 6319 (three axes): ellipsoidal; a key in another unit contradicts and wins."""
    found = read_geokeys({1024: 2, 2048: 6319}, "VLR")
    assert (found.vertical_kind, found.vertical_unit) == ("ellipsoidal", M)
    feet = read_geokeys({1024: 2, 2048: 6319, 4099: 9003}, "VLR")
    assert (feet.vertical_kind, feet.vertical_unit) == ("ellipsoidal", FTUS)
    assert [(f.code, f.component) for f in feet.findings] == [("crs-contradiction", "vertical")]


@pytest.mark.parametrize(
    ("keys", "component", "says"),
    [
        ({1024: 1, 3072: 26913, 2048: 6318}, "all", ("EPSG:26913", "EPSG:6318")),
        ({1024: 1, 3072: 6342, 3076: 9003}, "all", ("US survey feet", "metres")),
        ({1024: 1, 3072: 32104, 3076: 9003}, "all", ("US survey feet", "EPSG:32104")),
        ({1024: 1, 3072: 2223, 3076: 9003}, "all", ("US survey feet", "international feet")),
        ({1024: 1, 3072: 6342, 4096: 5703, 4099: 9003}, "vertical", ("US survey feet", "5703")),
        ({1024: 1, 3072: 6342, 4096: 5703, 4098: 5114}, "vertical", ("5703", "Canadian")),
        ({1024: 2, 2048: 6318, 3072: 6342}, "all", ("6342",)),
        ({1024: 2, 2048: 6318, 2054: 9105}, "all", ("9105", "degrees")),
        ({1024: 2, 2048: 6319, 4096: 5703}, "vertical", ("NAVD88", "ellipsoidal")),
    ],
)
def test_contradictions_that_change_numbers_block(
    keys: Keys, component: str, says: tuple[str, ...]
) -> None:
    """Two keys that give different numbers are one blocking finding that names both."""
    found = read_geokeys(keys, "VLR 34735")
    blocking = [finding for finding in found.findings if finding.severity is Severity.BLOCKING]
    assert [(finding.code, finding.component) for finding in blocking] == [
        ("crs-contradiction", component)
    ]
    for text in says:
        assert text in blocking[0].message


def test_unit_key_wins_over_the_unit_of_the_code() -> None:
    """3072 = 32104 (metre) with 3076 = 9003: the plane of EPSG:32104, counted in US survey feet."""
    found = read_geokeys({1024: 1, 3072: 32104, 3076: 9003}, "VLR")
    assert found.horizontal_unit is FTUS
    assert "0.3048006" in (found.horizontal_wkt or "")
    assert found.horizontal != "EPSG:32104"
    both = read_geokeys({1024: 1, 3072: 6342, 4096: 5703, 4099: 9003}, "VLR")
    assert both.vertical_unit is FTUS
    assert both.vertical != "EPSG:5703"
    assert both.horizontal_unit is M


@pytest.mark.parametrize(
    ("keys", "code", "says"),
    [
        (
            {1024: 1, 3072: 32767, 1026: "North Field"},
            "crs-unreadable",
            ("user-defined", "North Field"),
        ),
        ({1024: 2, 2048: 32767}, "crs-unreadable", ("user-defined",)),
        ({1024: 1, 3072: 4326}, "crs-unreadable", ("4326", "WGS 84")),
        ({1024: 1, 3072: 9}, "crs-unreadable", ("9", "no reference system")),
        ({1024: 1, 3072: 6342, 3076: 32632}, "crs-unreadable", ("3076", "32632")),
        ({1024: 1, 3072: 6342, 3076: 9005}, "crs-unit-unknown", ("9005",)),  # Clarke's foot
        ({1024: 1, 3072: 6342, 4096: 32767, 4097: "local"}, "crs-unreadable", ("local",)),
        ({1024: 1, 3072: 6342, 4096: 6342}, "crs-unreadable", ("4096", "6342")),
        ({1024: 1, 3072: 6342, 4098: 5103, 4099: 9003}, "crs-unreadable", ("Vertical Datum 1988",)),
        ({1024: 1, 3072: 6342, 4096: 5030}, "crs-contradiction", ("5030", "ellipsoidal")),
        (
            {1024: 1, 3072: 26913, 1026: "NAD83(2011) / UTM zone 13N"},
            "crs-contradiction",
            ("another realisation",),
        ),
    ],
)
def test_keys_that_cannot_be_used_are_said(keys: Keys, code: str, says: tuple[str, ...]) -> None:
    """What is not used is a warning with the key's value: the job may still supply the fact."""
    findings = read_geokeys(keys, "VLR 34735").findings
    assert [(finding.code, finding.severity) for finding in findings] == [(code, Severity.WARNING)]
    for text in says:
        assert text in findings[0].message


def test_swapped_vertical_codes() -> None:
    """4096 = 5103 (a datum) and 4098 = 5703 (a system): unknown, and what was probably meant is said."""
    found = read_geokeys({1024: 1, 3072: 2903, 4096: 5103, 4098: 5703, 4099: 9003}, "VLR")
    assert (found.vertical_kind, found.vertical, found.vertical_unit) == ("unknown", None, FTUS)
    (finding,) = found.findings
    assert (finding.code, finding.component) == ("crs-contradiction", "vertical")
    for text in ("5103", "5703", "swapped", "North American Vertical Datum 1988", "US survey feet"):
        assert text in finding.message


def test_a_year_in_a_citation_is_no_realisation() -> None:
    """Only 2011 behind NAD83 names a realisation, and the code's own name is no contradiction."""
    for keys in (
        {1024: 1, 3072: 26913, 1026: "Spring survey 2011"},
        {1024: 1, 3072: 6342, 1026: "NAD_1983_2011_UTM_Zone_13N"},
        {1024: 1, 3072: 2903, 2049: "NAD83(HARN)"},
        {1024: 1, 3072: 28356, 1026: "GDA94 / MGA zone 56"},
    ):
        assert read_geokeys(keys, "VLR").findings == ()


def test_sources_say_where_each_fact_was_read() -> None:
    """Key and record stand behind each fact."""
    sources = read_geokeys({1024: 1, 3072: 6342, 4096: 5703}, "VLR LASF_Projection 34735").sources
    assert sources == (
        "horizontal EPSG:6342: VLR LASF_Projection 34735, GeoKey 3072",
        "vertical EPSG:5703: VLR LASF_Projection 34735, GeoKey 4096",
    )


@given(
    st.dictionaries(
        st.sampled_from([1024, 1026, 2048, 2049, 2054, 3072, 3073, 3076, 4096, 4097, 4098, 4099]),
        st.one_of(
            st.integers(0, 65535),
            st.sampled_from([1, 2, 3, 6342, 6318, 4326, 5703, 6360, 5103, 9001, 9002, 9003, 32767]),
            st.floats(),
            st.text(max_size=8),
        ),
    )
)
@settings(deadline=None)
def test_any_keys_are_read_or_said_to_be_unreadable(keys: Keys) -> None:
    """No set of keys is a crash, and nothing is called known without a WKT behind it."""
    found = read_geokeys(keys, "VLR")
    assert (found.frame is None) or found.horizontal_wkt
    assert found.vertical_kind != "orthometric" or found.vertical_wkt
