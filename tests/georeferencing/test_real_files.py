"""Real files: what their records declare, against the descriptions beside the files."""

from __future__ import annotations

from pathlib import Path

import pytest

from accuracy.findings import Finding, Severity
from accuracy.formats import open_cloud
from accuracy.georeferencing.reference import Reference, agree, declared, interpret, supplement
from accuracy.units import LengthUnit

pytestmark = pytest.mark.shared_data
M, FT, FTUS = LengthUnit.METRE, LengthUnit.FOOT, LengthUnit.US_SURVEY_FOOT


def read(path: Path) -> tuple[Reference, tuple[Finding, ...]]:
    return interpret(open_cloud(path).info.crs_evidence)


@pytest.mark.parametrize(
    ("name", "horizontal", "horizontal_unit", "vertical_kind", "vertical", "vertical_unit"),
    [
        # expected: the README of each folder and the literal records
        ("bcts-als/bcts_1.laz", "EPSG:3005", M, "orthometric", "EPSG:5713", M),
        ("bcts-als/bcts_3.laz", "EPSG:3005", M, "orthometric", "EPSG:5713", M),
        ("france-lambert93/crop.las", "EPSG:2154", M, "none", None, None),
        (
            "france-lambert93/las_with_several_extra_byte_bloc.laz",  # WKT and GeoKeys, rounded ellipsoid
            "EPSG:2154",
            M,
            "none",
            None,
            None,
        ),
        ("autzen-feet/autzen-utm.las", "EPSG:26910", M, "none", None, None),
        ("autzen-feet/autzen-dd.las", "EPSG:4326", None, "none", None, None),
        (
            "autzen-feet/autzen_clip_native.copc.laz",
            "EPSG:2991",
            M,
            "orthometric",
            "EPSG:6360",
            FTUS,
        ),
        ("las-formats/fullwave.laz", "EPSG:32723", M, "none", None, None),
        ("las-formats/permutation-1.0_0.las", "EPSG:26915", M, "none", None, None),
        ("copc/ellipsoid-1.4.laz", "EPSG:3857", M, "none", None, None),
        ("copc/lone-star.copc.laz", "EPSG:4978", M, "none", None, None),  # called "unnamed"
        ("copc/1.2-with-color.copc.laz", "EPSG:2991", M, "orthometric", "EPSG:6360", FTUS),
        ("las-formats/simple.las", None, None, "unknown", None, None),
    ],
)
def test_records_that_hold_together(
    shared_data: Path,
    name: str,
    horizontal: str | None,
    horizontal_unit: LengthUnit | None,
    vertical_kind: str,
    vertical: str | None,
    vertical_unit: LengthUnit | None,
) -> None:
    """Horizontal and vertical system and both units, without a finding."""
    found, findings = read(shared_data / name)
    assert (found.horizontal, found.horizontal_unit) == (horizontal, horizontal_unit)
    assert (found.vertical_kind, found.vertical, found.vertical_unit) == (
        vertical_kind,
        vertical,
        vertical_unit,
    )
    assert findings == ()


@pytest.mark.parametrize("name", ["autzen_trim.laz", "autzen_trim_7.las"])
def test_plane_in_feet_that_names_no_code(shared_data: Path, name: str) -> None:
    """Oregon Lambert in international feet, user-defined in the GeoKeys: the system of EPSG:2994."""
    found, findings = read(shared_data / "autzen-feet" / name)
    assert found.horizontal_unit is FT
    assert findings == ()
    assert agree(declared("EPSG:2994"), found, "cloud").horizontal == "identity"
    assert agree(declared("EPSG:2992"), found, "cloud").horizontal == "differs"  # NAD83, not HARN


def test_user_defined_keys_alone(shared_data: Path) -> None:
    """Only the unit is known; the job may supply the system, in that unit."""
    found, findings = read(shared_data / "autzen-feet/autzen-thin-srs.las")
    assert (found.horizontal_known, found.horizontal_unit) == (False, FT)
    assert [finding.code for finding in findings] == ["crs-unreadable"]
    right, said = supplement(found, declared("EPSG:2994"), "autzen-thin-srs.las")
    assert right.horizontal == "EPSG:2994"
    assert Severity.BLOCKING not in {finding.severity for finding in said}
    _, said = supplement(found, declared("EPSG:2993"), "autzen-thin-srs.las")  # the same in metres
    assert Severity.BLOCKING in {finding.severity for finding in said}


def test_swapped_vertical_codes(shared_data: Path) -> None:
    """4_6_crop: heights unknown in US survey feet; the job can say what they are."""
    found, findings = read(shared_data / "newmexico-ftus/4_6_crop.las")
    assert (found.horizontal, found.horizontal_unit) == ("EPSG:2903", FTUS)
    assert (found.vertical_kind, found.vertical_unit) == ("unknown", FTUS)
    assert "swapped" in findings[0].message
    right, _ = supplement(found, declared("EPSG:2903+6360"), "4_6_crop.las")
    assert (right.vertical_kind, right.vertical) == ("orthometric", "EPSG:6360")


@pytest.mark.parametrize("name", ["test1_4.las", "1_4_w_evlr.laz"])
def test_vertical_system_inside_the_projected_one(shared_data: Path, name: str) -> None:
    """A vertical node where WKT has none (with a unit of 1.0): not lost, not believed."""
    found, findings = read(shared_data / "newmexico-ftus" / name)
    assert (found.horizontal, found.horizontal_unit) == ("EPSG:2903", FTUS)
    assert found.vertical_kind == "unknown"
    assert "North American Vertical Datum of 1988" in findings[0].message


def test_wkt_and_geokeys_that_contradict(shared_data: Path) -> None:
    """Nebraska: the header names the WKT (EPSG:6880, US survey feet); the keys are another datum."""
    found, findings = read(shared_data / "las-formats/file_with_both_wkt_and_geotiff_vlrs.las")
    assert (found.horizontal, found.horizontal_unit) == ("EPSG:6880", FTUS)
    assert found.vertical_kind == "none"  # nothing is taken over from the record that contradicts
    blocking = [f.message for f in findings if f.severity is Severity.BLOCKING]
    assert any("US survey feet" in text and "EPSG:32104" in text for text in blocking)
    assert any("EPSG:6880" in text and "EPSG:32104" in text for text in blocking)


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("warsaw_small.las", "crs-unreadable"),  # empty WKT
        ("las14_pdrf6.laz", "crs-unreadable"),  # WKT that cannot be parsed
    ],
)
def test_broken_records(shared_data: Path, name: str, code: str) -> None:
    """Unreadable records leave the system unknown, and say so."""
    found, findings = read(shared_data / "malformed-odd" / name)
    assert not found.horizontal_known
    assert [finding.code for finding in findings] == [code]


def test_keys_in_the_wrong_place(shared_data: Path) -> None:
    """simple1_3: a system code in the unit key, and an ellipsoid of GeoTIFF 1.0 in the vertical key."""
    found, findings = read(shared_data / "las-formats/simple1_3.las")
    assert (found.horizontal_known, found.vertical_kind) == (False, "unknown")
    assert "32632" in findings[0].message
    assert "ellipsoidal" in findings[1].message
