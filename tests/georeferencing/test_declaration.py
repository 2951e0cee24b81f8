from __future__ import annotations

import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS

from accuracy.errors import ReferenceSystemError
from accuracy.findings import Severity
from accuracy.georeferencing.declaration import checked_epoch
from accuracy.georeferencing.reference import Reference, declared
from accuracy.units import LengthUnit

M, FT, FTUS = LengthUnit.METRE, LengthUnit.FOOT, LengthUnit.US_SURVEY_FOOT
NAD83_2011 = "NAD83 (National Spatial Reference System 2011)"

SITE = (
    'ENGCRS["site grid",EDATUM["site datum"],CS[Cartesian,{n}],'
    'AXIS["e",east],AXIS["n",north],{up}LENGTHUNIT["metre",1]]'
)


@pytest.mark.parametrize(
    ("text", "horizontal", "kind", "unit", "vertical_kind", "vertical", "vertical_unit"),
    [
        # names, units and kinds as the EPSG registry gives them (read through pyproj's own attributes)
        ("EPSG:6345", "EPSG:6345", "projected", M, "none", None, None),
        ("EPSG:6345+5703", "EPSG:6345", "projected", M, "orthometric", "EPSG:5703", M),
        ("epsg:6345+EPSG:5703", "EPSG:6345", "projected", M, "orthometric", "EPSG:5703", M),
        ("EPSG:6430+6360", "EPSG:6430", "projected", FTUS, "orthometric", "EPSG:6360", FTUS),
        ("EPSG:6430+8228", "EPSG:6430", "projected", FTUS, "orthometric", "EPSG:8228", FT),
        ("EPSG:6430+5703", "EPSG:6430", "projected", FTUS, "orthometric", "EPSG:5703", M),
        ("EPSG:2223", "EPSG:2223", "projected", FT, "none", None, None),
        ("EPSG:6557", "EPSG:6557", "projected", FT, "none", None, None),
        ("EPSG:2253", "EPSG:2253", "projected", FT, "none", None, None),
        ("EPSG:6349", "EPSG:6318", "geographic", None, "orthometric", "EPSG:5703", M),
        ("EPSG:6318", "EPSG:6318", "geographic", None, "none", None, None),
        ("EPSG:4978", "EPSG:4978", "geocentric", M, "none", None, None),
        ("EPSG:5703", None, "unknown", None, "orthometric", "EPSG:5703", M),
        ("NAD83(2011) / UTM zone 16N", "EPSG:6345", "projected", M, "none", None, None),
        ("urn:ogc:def:crs:EPSG::6345", "EPSG:6345", "projected", M, "none", None, None),
        (SITE.format(n=2, up=""), "site grid", "engineering", M, "none", None, None),
        (
            SITE.format(n=3, up='AXIS["u",up],'),
            "site grid",
            "engineering",
            M,
            "orthometric",
            "site grid",
            M,
        ),
    ],
)
def test_classification(
    text: str,
    horizontal: str | None,
    kind: str,
    unit: LengthUnit | None,
    vertical_kind: str,
    vertical: str | None,
    vertical_unit: LengthUnit | None,
) -> None:
    """Each part has its code, kind and unit; a code with two axes has no heights."""
    found = declared(text)
    assert (found.horizontal, found.horizontal_kind, found.horizontal_unit) == (
        horizontal,
        kind,
        unit,
    )
    assert (found.vertical_kind, found.vertical, found.vertical_unit) == (
        vertical_kind,
        vertical,
        vertical_unit,
    )
    assert found.findings == ()
    assert found.wkt


@pytest.mark.parametrize(
    ("text", "flat", "frame"),
    [
        ("EPSG:6319", "EPSG:6318", NAD83_2011),
        ("EPSG:4979", "EPSG:4326", "World Geodetic System 1984"),
        (CRS.from_epsg(6345).to_3d().to_wkt(), "EPSG:6345", NAD83_2011),
    ],
)
def test_three_axes_mean_ellipsoidal_heights(text: str, flat: str, frame: str) -> None:
    """A 3D code is its 2D system with ellipsoidal heights, in the unit of its third axis."""
    found = declared(text)
    assert (found.horizontal, found.vertical_kind, found.vertical_unit) == (flat, "ellipsoidal", M)
    assert found.frame == frame


def test_three_axes_of_a_state_plane_in_feet() -> None:
    """Third axis in metres over a plane in US survey feet (trap: to_3d): both units are told apart."""
    found = declared(CRS.from_epsg(6430).to_3d().to_wkt())
    assert (found.horizontal_unit, found.vertical_unit) == (FTUS, M)


@pytest.mark.parametrize("version", ["WKT1_GDAL", "WKT1_ESRI", "WKT2_2015", "WKT2_2019", "json"])
@pytest.mark.parametrize(
    "code",
    ["EPSG:6345+5703", "EPSG:6430+6360", "EPSG:2193", "EPSG:2154", "EPSG:2180", "EPSG:27700"],
)
def test_every_way_of_writing_is_read_alike(code: str, version: str) -> None:
    """WKT 1, ESRI, WKT 2 and PROJ JSON give the facts of the code, northing-first planes included."""
    crs = CRS.from_user_input(code)
    text = crs.to_json() if version == "json" else crs.to_wkt(version)
    found, expected = declared(text), declared(code)
    for fact in (
        "horizontal",
        "horizontal_unit",
        "frame",
        "vertical_kind",
        "vertical",
        "vertical_unit",
    ):
        assert getattr(found, fact) == getattr(expected, fact), fact


@pytest.mark.parametrize(
    ("code", "dynamic", "ensemble_accuracy_m"),
    [
        ("EPSG:4326", False, 2.0),
        ("EPSG:32616", False, 2.0),
        ("EPSG:4978", False, 2.0),
        ("EPSG:25832", False, 0.1),
        ("EPSG:7912", True, None),
        ("EPSG:9000", True, None),
        ("EPSG:9755", True, None),
        ("EPSG:10605", True, None),
        ("EPSG:6319", False, None),
        ("EPSG:7844", False, None),
    ],
)
def test_frames_that_move_and_ensembles(
    code: str, dynamic: bool, ensemble_accuracy_m: float | None
) -> None:
    """Told from the code, and from WKT that cannot say it (accuracies: EPSG registry)."""
    crs = CRS.from_user_input(code)
    texts = [code, crs.to_wkt("WKT2_2019")]
    if len(crs.axis_info) == 2:
        texts += [crs.to_wkt("WKT1_GDAL"), crs.to_wkt("WKT1_ESRI")]
    for text in texts:
        found = declared(text)
        assert found.dynamic is dynamic
        assert found.ensemble_accuracy_m == ensemble_accuracy_m
        assert found.ensemble is (ensemble_accuracy_m is not None)


@pytest.mark.parametrize(
    ("text", "epoch"),
    [
        ("EPSG:7912@2024.5", 2024.5),
        ("EPSG:6345+5703 @ 2010.0", 2010.0),
        ("ITRF2014@2025.25", 2025.25),
        (f"COORDINATEMETADATA[{CRS.from_epsg(9000).to_wkt()}, EPOCH[2025.5]]", 2025.5),
        (
            json.dumps(
                {
                    "type": "CoordinateMetadata",
                    "crs": CRS.from_epsg(9000).to_json_dict(),
                    "coordinateEpoch": 2025.5,
                }
            ),
            2025.5,
        ),
    ],
)
def test_epoch_is_carried(text: str, epoch: float) -> None:
    """The epoch in a declaration is taken off before the library sees it, and kept."""
    assert declared(text).epoch_year == epoch
    assert declared(text, epoch_year=epoch).epoch_year == epoch


def test_two_epochs_that_contradict_are_refused() -> None:
    """An epoch in the text and another one beside it: the message has both."""
    with pytest.raises(ReferenceSystemError, match=r"2024\.5.*2010"):
        declared("EPSG:7912@2024.5", epoch_year=2010.0)


@pytest.mark.parametrize(
    ("written", "hint"),
    [
        ("25", "four digits"),
        ("0", "four digits"),
        ("20250101", "looks like a date"),
        ("1767225600", "looks like seconds"),
        ("2025-05-01", ""),
        ("nan", ""),
        ("inf", ""),
        ("1979.9", ""),
        ("2200", ""),
        ("", ""),
    ],
)
def test_impossible_epochs_are_refused(written: str, hint: str) -> None:
    """Everything the library takes without a word (measured table of traps, section 2) is refused."""
    with pytest.raises(ReferenceSystemError) as refused:
        declared(f"EPSG:7912@{written}")
    assert "coordinate epoch" in refused.value.message
    assert hint in refused.value.message
    assert "2024.5" in (refused.value.remedy or "")


def test_epoch_given_beside_the_text_is_checked_too() -> None:
    """The job's epoch key meets the same range."""
    for wrong in (25.0, math.inf, math.nan):
        with pytest.raises(ReferenceSystemError, match="coordinate epoch"):
            declared("EPSG:7912", epoch_year=wrong)


@given(st.floats(min_value=1980.0, max_value=2025.0))
def test_epochs_in_range_come_through_unchanged(year: float) -> None:
    """A decimal year from 1980 on is kept bit for bit."""
    assert checked_epoch(year, "test") == year


@pytest.mark.parametrize(
    ("text", "geoid"),
    [
        # form of the USGS Lidar Base Specification: the geoid behind the name of the vertical system
        (CRS.from_epsg(6360).to_wkt("WKT1_GDAL").replace("(ftUS)", "(ftUS) - GEOID18"), "GEOID18"),
        (
            'VERTCRS["NAVD88 height",VDATUM["North American Vertical Datum 1988"],CS[vertical,1],'
            'AXIS["up (H)",up,LENGTHUNIT["metre",1]],GEOIDMODEL["GEOID12B"]]',
            "GEOID12B",
        ),
        ('VERT_CS["NAVD88 (Geoid03) ContUS",VERT_DATUM["NAVD88",2005],UNIT["metre",1]]', "Geoid03"),
        ("EPSG:4326+5773", "EGM96"),
        ("EPSG:6345+5703", None),
    ],
)
def test_geoid_model_in_the_vertical_system(text: str, geoid: str | None) -> None:
    """The model is read from name or GEOIDMODEL, and EPSG:5703 alone names none."""
    assert declared(text).geoid == geoid


def test_geoid_model_beside_the_text() -> None:
    """The job's geoid fills in; the same model otherwise spelt is no contradiction."""
    assert declared("EPSG:6345+5703", geoid="GEOID18").geoid == "GEOID18"
    named = CRS.from_epsg(5703).to_wkt("WKT1_GDAL").replace("height", "height - GEOID18")
    assert declared(named, geoid="Geoid 18").geoid == "GEOID18"
    with pytest.raises(ReferenceSystemError, match=r"GEOID18.*GEOID12B"):
        declared(named, geoid="GEOID12B")
    with pytest.raises(ReferenceSystemError, match="ellipsoidal"):
        declared("EPSG:6319", geoid="GEOID18")


@pytest.mark.parametrize(
    ("code", "successor", "severity"),
    [
        # successors: EPSG registry, also in the measured table of traps, section 8
        ("EPSG:3785", "EPSG:3857", Severity.WARNING),
        ("EPSG:102100", "EPSG:3857", Severity.NOTE),
        ("EPSG:2163", "EPSG:9311", Severity.WARNING),
        ("EPSG:4268", "EPSG:4267", Severity.WARNING),
        ("EPSG:2192", "EPSG:2154", Severity.WARNING),
        ("EPSG:900913", "no successor", Severity.WARNING),
    ],
)
def test_deprecated_codes_are_named_with_their_successor(
    code: str, successor: str, severity: Severity
) -> None:
    """A deprecated code is used as it is, and said so; a warning where the successor is another system."""
    found = [finding for finding in declared(code).findings if finding.code == "crs-deprecated"]
    assert [finding.severity for finding in found] == [severity]
    assert successor in found[0].message
    again = declared(CRS.from_user_input(code).to_wkt())  # the WKT carries the code as well
    assert "crs-deprecated" in [finding.code for finding in again.findings]


@pytest.mark.parametrize(
    "text",
    [
        "+proj=utm +zone=13 +ellps=GRS80",
        "+proj=utm +zone=13 +datum=NAD83",
        "+proj=utm +zone=13 +ellps=GRS80 +towgs84=0,0,0 +units=us-ft",
        'LOCAL_CS["unnamed",UNIT["metre",1]]',
        'GEOGCS["unknown",DATUM["D_Unknown",SPHEROID["GRS80",6378137,298.257222101]],'
        'PRIMEM["Greenwich",0],UNIT["Degree",0.0174532925199433]]',
    ],
)
def test_no_datum_stays_unknown(text: str) -> None:
    """A declaration that names no realisation gets none, and no code either."""
    found = declared(text)
    assert found.frame is None
    assert not found.horizontal_known
    assert not (found.horizontal or "").startswith("EPSG")
    assert "crs-unreadable" in [finding.code for finding in found.findings]


def test_code_and_content_of_wkt_that_contradict() -> None:
    """WKT that calls itself EPSG:6345 on another meridian is a blocking contradiction."""
    found = declared(CRS.from_epsg(6345).to_wkt("WKT1_GDAL").replace("-87", "-93"))
    blocking = [finding for finding in found.findings if finding.severity is Severity.BLOCKING]
    assert [finding.code for finding in blocking] == ["crs-contradiction"]
    assert "EPSG:6345" in blocking[0].message
    assert found.horizontal != "EPSG:6345"


def test_vertical_system_in_the_wrong_place_is_not_lost_silently() -> None:
    """VERTCS inside PROJCS (met in real files): heights unknown, not 'horizontal only'."""
    inside = (
        ',VERTCS["NAVD88",VERT_DATUM["North American Vertical Datum 1988",2005],UNIT["metre",1]]]'
    )
    found = declared(CRS.from_epsg(6345).to_wkt("WKT1_GDAL")[:-1] + inside)
    assert found.vertical_kind == "unknown"
    assert '"NAVD88"' in found.findings[0].message


@pytest.mark.parametrize(
    "text",
    [
        "EPSG:5715",  # MSL depth
        'VERT_CS["unknown",VERT_DATUM["unknown",2005],UNIT["metre",1],AXIS["Up",UP]]',
        'VERT_CS["WGS 84",VERT_DATUM["World Geodetic System 1984",2002],UNIT["metre",1]]',
    ],
)
def test_vertical_systems_that_say_nothing_usable(text: str) -> None:
    """Depths, unnamed datums and ellipsoids without a horizontal system are not heights one can compare."""
    found = declared(text)
    assert found.vertical_kind == "unknown"
    assert [finding.component for finding in found.findings] == ["vertical"]


def test_units_beyond_the_three() -> None:
    """Clarke's foot (EPSG:2314, Trinidad) is none of the three units: unit unknown, with a finding."""
    found = declared("EPSG:2314")
    assert found.horizontal_unit is None
    assert [finding.code for finding in found.findings] == ["crs-unit-unknown"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("hello", "hello"),
        ("", "empty"),
        ("EPSG:1", "EPSG:1"),
        ("EPSG:5703+6345", "EPSG:5703"),
        ("EPSG:4979+5703", "EPSG:4979"),
        ("NAD83(2011) / UTM zone 16", "NAD83(2011) / UTM zone 16N"),
        ("+init=epsg:6345", "init"),
        ("{'not': 'json'}", "JSON"),
        ('TIMECRS["t",TDATUM["x"],CS[temporal,1],AXIS["t",future]]', "TIMECRS"),
    ],
)
def test_nonsense_is_refused_with_a_remedy(text: str, says: str) -> None:
    """One error that repeats what stands there, where, and what to write instead."""
    with pytest.raises(ReferenceSystemError) as refused:
        declared(text, where="checkpoints.crs")
    assert says in refused.value.message
    assert refused.value.where == "checkpoints.crs"
    assert refused.value.remedy


SEEDS = [
    "EPSG:6345+5703@2024.5",
    CRS.from_user_input("EPSG:6345+5703").to_wkt("WKT1_GDAL"),
    CRS.from_epsg(6430).to_json(),
    "+proj=utm +zone=13 +datum=NAD83",
]


@given(st.sampled_from(SEEDS), st.data())
@settings(deadline=None)
def test_damaged_text_is_read_or_refused(seed: str, data: st.DataObject) -> None:
    """Whatever is cut out of or put into a declaration, the answer is a Reference or our own error."""
    start = data.draw(st.integers(0, len(seed)))
    end = data.draw(st.integers(start, min(len(seed), start + 40)))
    text = seed[:start] + data.draw(st.text(max_size=6)) + seed[end:]
    answer: Reference | ReferenceSystemError
    try:
        answer = declared(text)
    except ReferenceSystemError as error:
        answer = error
    assert isinstance(answer, Reference) or answer.remedy
