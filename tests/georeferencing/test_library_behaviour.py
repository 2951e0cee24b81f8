"""What pyproj does today, on the facts that `accuracy.georeferencing` relies on or guards against.

These tests say nothing about this package. One that fails after an upgrade says that a rule built on it
must be looked at again. Measured with pyproj 3.7.2, PROJ 9.5.1, EPSG v11.022.
"""

from __future__ import annotations

import re

import pyproj.crs
import pytest
from pyproj import CRS
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import CRSError

Datum = pyproj.crs.Datum


def same(one: str, other: str) -> bool:
    return CRS.from_user_input(one).equals(CRS.from_user_input(other), ignore_axis_order=True)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("EPSG:6345", "EPSG:26916"),  # NAD83(2011) and NAD83
        ("EPSG:6318", "EPSG:4152"),  # NAD83(2011) and NAD83(HARN)
        ("EPSG:4759", "EPSG:6318"),  # NAD83(NSRS2007) and NAD83(2011)
        ("EPSG:4326", "EPSG:6318"),
        ("EPSG:4326", "EPSG:9755"),  # WGS 84 and WGS 84 (G2139)
        ("EPSG:4283", "EPSG:7844"),  # GDA94 and GDA2020
        ("EPSG:4258", "EPSG:4326"),  # ETRS89 and WGS 84
        ("EPSG:9000", "EPSG:9990"),  # ITRF2014 and ITRF2020
        ("EPSG:5703", "EPSG:6360"),  # metre and US survey foot
        ("EPSG:6360", "EPSG:8228"),  # US survey foot and international foot
        ("EPSG:2163", "EPSG:9311"),  # deprecated code and its successor
        ("EPSG:3785", "EPSG:3857"),
        ("+proj=utm +zone=13 +ellps=GRS80", "EPSG:6342"),
    ],
)
def test_different_systems_are_not_called_equal(one: str, other: str) -> None:
    """`CRS.equals` keeps realisations and kinds of foot apart."""
    assert not same(one, other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("EPSG:3857", "ESRI:102100"),
        ("EPSG:3857", "EPSG:900913"),
        ("EPSG:2154", "IGNF:LAMB93"),
        ("EPSG:4326", "OGC:CRS84"),
        ("+proj=utm +zone=13 +datum=NAD83", "EPSG:26913"),
    ],
)
def test_other_names_of_one_system_are_called_equal(one: str, other: str) -> None:
    """`CRS.equals` sees through names and authorities."""
    assert same(one, other)


def test_axis_order_of_planes_is_not_ignored() -> None:
    """`ignore_axis_order` concerns degrees only: NZTM written as WKT 1 differs from EPSG:2193."""
    written = CRS.from_epsg(2193).to_wkt("WKT1_GDAL")
    assert [axis.direction for axis in CRS.from_wkt(written).axis_info] == ["east", "north"]
    assert [axis.direction for axis in CRS.from_epsg(2193).axis_info] == ["north", "east"]
    assert not same(written, "EPSG:2193")


def test_equality_depends_on_codes_inside_and_is_not_transitive() -> None:
    """WKT written by the library drops inner codes, and an alias is then not recognised."""
    datum = "Reseau Geodesique Francais 1993"
    text = (
        CRS.from_epsg(4171).to_wkt("WKT1_GDAL").replace("Reseau_Geodesique_Francais_1993_v1", datum)
    )
    assert same(text, "EPSG:4171")
    again, registered = CRS.from_wkt(text).to_wkt(), CRS.from_epsg(4171).to_wkt()
    assert same(again, text)
    assert same(registered, "EPSG:4171")
    assert not same(again, registered)


def test_low_confidence_identification_invents_a_datum() -> None:
    """A PROJ string without datum gets a code of some datum at the default confidence."""
    crs = CRS.from_user_input("+proj=utm +zone=13 +ellps=GRS80")
    assert crs.to_epsg() is not None
    assert crs.to_epsg(min_confidence=100) is None
    assert "Unknown" in crs.datum.name


def test_a_code_inside_wkt_is_believed_whatever_the_parameters() -> None:
    """WKT that calls itself EPSG:6345 keeps that code with another central meridian."""
    text = CRS.from_epsg(6345).to_wkt("WKT1_GDAL").replace("-87", "-93")
    assert CRS.from_wkt(text).to_json_dict()["id"] == {"authority": "EPSG", "code": 6345}
    assert not same(text, "EPSG:6345")


def test_the_beginning_of_a_name_is_enough() -> None:
    """An incomplete name is accepted where only one registered name starts like it."""
    assert CRS.from_user_input("NAD83(2011) / UTM zone 16").name == "NAD83(2011) / UTM zone 16N"


def test_wkt_1_loses_that_a_frame_moves_and_that_a_datum_is_an_ensemble() -> None:
    """Only the registry can tell; it finds both by the name of the datum."""
    itrf = CRS.from_wkt(CRS.from_epsg(9000).to_wkt("WKT1_GDAL")).datum
    wgs = CRS.from_wkt(CRS.from_epsg(4326).to_wkt("WKT1_GDAL")).datum
    assert itrf.type_name == wgs.type_name == "Geodetic Reference Frame"
    assert Datum.from_name(itrf.name).type_name == "Dynamic Geodetic Reference Frame"
    assert Datum.from_name(wgs.name).type_name == "Datum Ensemble"


def test_two_geodetic_ensembles() -> None:
    """The EPSG dataset has two: WGS 84 (2 m) and ETRS89 (0.1 m)."""
    kinds = [
        PJType.GEOGRAPHIC_2D_CRS,
        PJType.GEOGRAPHIC_3D_CRS,
        PJType.GEOCENTRIC_CRS,
    ]
    found = {}
    for info in query_crs_info("EPSG", kinds):
        facts = CRS.from_epsg(info.code).to_json_dict()
        if "datum_ensemble" in facts:
            found[facts["datum_ensemble"]["name"]] = facts["datum_ensemble"]["accuracy"]
    assert found == {
        "World Geodetic System 1984 ensemble": "2.0",
        "European Terrestrial Reference System 1989 ensemble": "0.1",
    }


def test_epoch_is_not_carried() -> None:
    """Coordinate metadata is no CRS to pyproj: this package carries the epoch itself."""
    for text in (
        "EPSG:6345@2024.5",
        "ITRF2014@2025.5",
        f"COORDINATEMETADATA[{CRS.from_epsg(9000).to_wkt()},EPOCH[2025.5]]",
    ):
        with pytest.raises(CRSError):
            CRS.from_user_input(text)


def test_deprecated_codes_come_without_a_warning() -> None:
    """A deprecated code is read silently (a warning would be an error here), and WKT forgets it."""
    for code in ("EPSG:3785", "EPSG:2163", "EPSG:4268", "EPSG:2192"):
        assert CRS.from_user_input(code).is_deprecated
    assert not CRS.from_wkt(CRS.from_epsg(4268).to_wkt()).is_deprecated


def test_to_3d_of_feet_has_heights_in_metres() -> None:
    """Height of a state plane in US survey feet, made 3D, counts in metres."""
    units = [axis.unit_name for axis in CRS.from_epsg(6430).to_3d().axis_info]
    assert units == ["US survey foot", "US survey foot", "metre"]


def test_geoid_in_the_name_of_a_vertical_system() -> None:
    """The library takes the geoid off the name in WKT 1, and ignores it in comparison."""
    text = CRS.from_epsg(6360).to_wkt("WKT1_GDAL").replace("(ftUS)", "(ftUS) - GEOID18")
    facts = CRS.from_wkt(text).to_json_dict()
    assert (facts["name"], facts["geoid_model"]["name"]) == ("NAVD88 height (ftUS)", "GEOID18")
    assert same(text, "EPSG:6360")


def test_vertical_node_inside_a_projected_system_is_dropped_silently() -> None:
    """WKT with VERTCS inside PROJCS (met in real files) is read as horizontal only."""
    inside = (
        ',VERTCS["NAVD88",VERT_DATUM["North American Vertical Datum 1988",2005],UNIT["metre",1]]]'
    )
    crs = CRS.from_wkt(CRS.from_epsg(6345).to_wkt("WKT1_GDAL")[:-1] + inside)
    assert len(crs.axis_info) == 2


def test_unit_of_parameters_in_simplified_wkt() -> None:
    """Simplified WKT 2 leaves the unit of false eastings out, and it is read back as metres: not equal."""
    text = CRS.from_epsg(6430).to_wkt("WKT2_2019_SIMPLIFIED")
    assert not re.search(r'Easting at false origin",3000000,LENGTHUNIT', text)
    assert not same(text, "EPSG:6430")


def test_some_codes_of_old_geokeys_are_no_systems() -> None:
    """5103 is the code of a datum, 5030 of nothing."""
    for code in (5103, 5030):
        with pytest.raises(CRSError):
            CRS.from_epsg(code)
    assert Datum.from_epsg(5103).name == "North American Vertical Datum 1988"


# What `transform` guards against: the library asked to find its own way.

PLACE = (-105.0, 40.0, 1600.0)


def ask(source: str, target: str, *args: float, **flags: object) -> tuple[float, ...]:
    change = pyproj.Transformer.from_crs(source, target, always_xy=True, **flags)
    return tuple(float(value) for value in change.transform(*(args or PLACE)))


@pytest.mark.parametrize("flags", [{}, {"only_best": True}])
def test_missing_geoid_grid_leaves_heights_unchanged(flags: dict[str, object]) -> None:
    """(b) `only_best` alone does not help: 17 m wrong, without a word."""
    assert ask("EPSG:6319", "EPSG:6349", **flags)[2] == pytest.approx(1600.0)


def test_ballpark_can_be_forbidden() -> None:
    """(c) `allow_ballpark=False` refuses when nothing else is left."""
    with pytest.raises(pyproj.exceptions.ProjError):
        ask("EPSG:6319", "EPSG:6349", allow_ballpark=False)


@pytest.mark.parametrize("flags", [{}, {"allow_ballpark": False, "only_best": True}])
def test_two_dimensions_to_compound_is_silent(flags: dict[str, object]) -> None:
    """(a) A horizontal system against a compound one: height unchanged, accuracy 0, no flag helps."""
    change = pyproj.Transformer.from_crs("EPSG:6318", "EPSG:6349", always_xy=True, **flags)
    assert change.transform(*PLACE)[2] == pytest.approx(1600.0)
    assert change.accuracy == 0.0


def test_no_epoch_means_the_reference_epoch() -> None:
    """(d) ITRF2014 to NAD83(2011) without time is evaluated at 2010.0, and infinite time is, too."""
    change = pyproj.Transformer.from_crs("EPSG:7912", "EPSG:6319", always_xy=True)
    silent = change.transform(*PLACE)
    assert change.transform(*PLACE, 2010.0)[:3] == pytest.approx(silent, abs=1e-12)
    assert abs(change.transform(*PLACE, 2025.0)[0] - silent[0]) * 85_000 > 0.2
    assert change.transform(*PLACE, float("inf"))[:3] == pytest.approx(silent, abs=1e-12)


def test_itrf_to_the_ensemble_moves_in_the_united_states_only() -> None:
    """(e) By way of NAD83: 1.4 m in Colorado, nothing in Berlin."""
    east, _, up, _ = ask("EPSG:7912", "EPSG:4979", *PLACE, 2025.0)
    assert abs(east - PLACE[0]) * 85_000 > 1.0
    assert abs(up - PLACE[2]) > 0.5
    berlin = ask("EPSG:7912", "EPSG:4979", 13.4, 52.52, 100.0, 2025.0)
    assert berlin[:3] == pytest.approx((13.4, 52.52, 100.0), abs=1e-9)


@pytest.mark.parametrize(
    ("source", "target"), [("EPSG:4979", "EPSG:6319"), ("EPSG:4759", "EPSG:6318")]
)
def test_null_between_frames(source: str, target: str) -> None:
    """The ensemble, and older realisations, are equated with NAD83(2011)."""
    assert ask(source, target) == pytest.approx(PLACE, abs=1e-12)


def test_detour_between_realisations_of_one_datum() -> None:
    """NAD83(HARN) to NAD83(2011), centimetres apart, moves by 1.1 m here: by way of WGS 84, taken as null."""
    lon, lat, _ = ask("EPSG:4152", "EPSG:6318")
    assert 0.5 < abs(lon - PLACE[0]) * 85_400 < 1.5
    assert 0.5 < abs(lat - PLACE[1]) * 111_000 < 1.5


def test_registry_states_accuracy_zero_for_time_dependent_operations() -> None:
    """0 m stands for ITRF2014 to NAD83(2011): this package reads it as not stated."""
    assert pyproj.crs.CoordinateOperation.from_epsg(8970).accuracy == 0.0


def test_heights_of_a_horizontal_system_in_feet_are_not_converted() -> None:
    """A height beside state plane feet stays what it was."""
    assert ask("EPSG:6430", "EPSG:6342", 3_140_090.0, 1_240_756.0, 5249.0)[2] == 5249.0


def test_far_outside_a_zone_numbers_are_finite() -> None:
    """Longitude 0 in UTM zone 13 gives a number."""
    assert abs(ask("EPSG:6318", "EPSG:6342", 0.0, 40.0, 0.0)[0]) < 1e8
