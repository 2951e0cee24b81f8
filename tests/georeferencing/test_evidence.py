from __future__ import annotations

from types import MappingProxyType

import pytest
from pyproj import CRS

from accuracy.findings import Finding, Severity
from accuracy.formats import CrsEvidence, GeoKeyValue
from accuracy.georeferencing.reference import (
    UNKNOWN,
    declared,
    interpret,
    supplement,
    with_units,
)
from accuracy.units import LengthUnit

M, FT, FTUS = LengthUnit.METRE, LengthUnit.FOOT, LengthUnit.US_SURVEY_FOOT


def wkt(code: str, preferred: bool | None = None) -> CrsEvidence:
    return CrsEvidence(
        "wkt-record",
        "VLR 2112",
        wkt=CRS.from_user_input(code).to_wkt("WKT1_GDAL"),
        preferred=preferred,
    )


def keys(values: dict[int, GeoKeyValue], preferred: bool | None = None) -> CrsEvidence:
    return CrsEvidence(
        "geokeys", "VLR 34735", geokeys=MappingProxyType(values), preferred=preferred
    )


def told(findings: tuple[Finding, ...]) -> list[tuple[str, Severity, str]]:
    return [(finding.code, finding.severity, finding.component) for finding in findings]


BLOCKING, WARNING, NOTE = Severity.BLOCKING, Severity.WARNING, Severity.NOTE


def test_nothing_declared() -> None:
    """No record: unknown, without a finding of its own (the comparison says what that means)."""
    assert interpret([]) == (UNKNOWN, ())
    assert UNKNOWN.name == "unknown"


@pytest.mark.parametrize("preferred", [True, False])
def test_two_records_that_agree(preferred: bool) -> None:
    """WKT and GeoKeys of one system: one reference, both sources, no finding."""
    reference, findings = interpret(
        [
            wkt("EPSG:6342+5703", preferred),
            keys({1024: 1, 3072: 6342, 4096: 5703}, not preferred),
        ]
    )
    assert findings == ()
    assert reference.name == "NAD83(2011) / UTM zone 13N + NAVD88 height"
    assert len(reference.sources) == 4


@pytest.mark.parametrize("preferred", [True, False])
def test_the_header_bit_decides_between_records_that_contradict(preferred: bool) -> None:
    """WKT 6342 and GeoKeys 26913 in LAS 1.4: the record the header names is kept, and it blocks."""
    reference, findings = interpret(
        [keys({1024: 1, 3072: 26913}, not preferred), wkt("EPSG:6342", preferred)]
    )
    assert reference.horizontal == ("EPSG:6342" if preferred else "EPSG:26913")
    assert told(findings) == [("crs-contradiction", BLOCKING, "all")]
    assert "EPSG:6342" in findings[0].message
    assert "EPSG:26913" in findings[0].message


@pytest.mark.parametrize(
    ("first", "second", "component"),
    [
        ("EPSG:6342+5703", "EPSG:6342+6360", "vertical"),  # metre and US survey foot
        ("EPSG:6342+5703", "EPSG:6342+5773", "vertical"),  # NAVD88 and EGM96
        ("EPSG:2762", "EPSG:2223", "all"),  # metre and foot
    ],
)
def test_what_changes_a_number_blocks(first: str, second: str, component: str) -> None:
    """Two WKT records that differ in unit or vertical system: blocking, for the part concerned."""
    _, findings = interpret([wkt(first), wkt(second)])
    assert (("crs-contradiction", BLOCKING, component)) in told(findings)


@pytest.mark.parametrize("first_says_more", [True, False])
def test_saying_less_is_a_warning(first_says_more: bool) -> None:
    """Only one record has a vertical system: it is taken, with a warning about heights."""
    records = [wkt("EPSG:6342+5703", True), keys({1024: 1, 3072: 6342}, False)]
    if not first_says_more:
        records = [wkt("EPSG:6342", True), keys({1024: 1, 3072: 6342, 4096: 5703}, False)]
    reference, findings = interpret(records)
    assert (reference.vertical, reference.vertical_kind) == ("EPSG:5703", "orthometric")
    assert reference.name == "NAD83(2011) / UTM zone 13N + NAVD88 height"
    assert "NAVD88" in (reference.wkt or "")
    assert told(findings) == (
        [] if first_says_more else [("crs-contradiction", WARNING, "vertical")]
    )


def test_unit_of_heights_alone_leaves_their_datum_unknown() -> None:
    """WKT without heights and a GeoKey with their unit: unit known, datum not."""
    reference, _ = interpret(
        [wkt("EPSG:6342", True), keys({1024: 1, 3072: 6342, 4099: 9003}, False)]
    )
    assert (reference.vertical_kind, reference.vertical_unit) == ("unknown", FTUS)


def test_wkt_supplies_what_user_defined_keys_leave_open() -> None:
    """GeoKeys with a user-defined system beside WKT: the WKT stands, nothing to warn about."""
    user_defined = keys({1024: 1, 3072: 32767, 3076: 9002})
    reference, findings = interpret([user_defined, wkt("EPSG:2994")])
    assert (reference.horizontal, reference.horizontal_unit) == ("EPSG:2994", FT)
    assert findings == ()
    alone, findings = interpret([user_defined])
    assert (alone.horizontal_known, alone.horizontal_unit) == (False, FT)
    assert told(findings) == [("crs-unreadable", WARNING, "all")]


def test_unit_of_user_defined_keys_must_fit_the_wkt() -> None:
    """User-defined system in feet beside WKT in metres: a contradiction that blocks."""
    _, findings = interpret([keys({1024: 1, 3072: 32767, 3076: 9002}), wkt("EPSG:2992")])
    _, contradicting = interpret([keys({1024: 1, 3072: 32767, 3076: 9003}), wkt("EPSG:2992")])
    assert findings == ()
    assert ("crs-contradiction", BLOCKING, "all") in told(contradicting)


@pytest.mark.parametrize(
    "broken",
    [
        CrsEvidence("wkt-record", "VLR 2112", problem="the record is empty"),
        CrsEvidence("wkt-record", "VLR 2112", wkt="hello"),
        CrsEvidence("wkt-record", "VLR 2112", wkt=""),
        CrsEvidence("wkt-record", "VLR 2112", wkt=None),
        CrsEvidence("geokeys", "VLR 34735", problem="the GeoKey directory is zeroed"),
    ],
)
def test_records_that_cannot_be_read_are_said(broken: CrsEvidence) -> None:
    """An unreadable record is a warning; another readable one counts, or the reference is unknown."""
    reference, findings = interpret([broken])
    assert reference == UNKNOWN
    assert told(findings) == [("crs-unreadable", WARNING, "all")]
    reference, findings = interpret([broken, wkt("EPSG:6342")])
    assert reference.horizontal == "EPSG:6342"
    assert told(findings) == [("crs-unreadable", WARNING, "all")]


def test_header_that_names_a_record_that_is_not_there() -> None:
    """LAS 1.4 whose header bit says WKT, with GeoKeys only: used, with a warning."""
    reference, findings = interpret([keys({1024: 1, 3072: 6342}, False)])
    assert reference.horizontal == "EPSG:6342"
    assert told(findings) == [("crs-contradiction", WARNING, "all")]


# the job beside the file -----------------------------------------------------------------------------


def test_without_a_job_the_file_stands() -> None:
    """No crs in the job: the file's own, unchanged."""
    file = declared("EPSG:6345+5703")
    assert supplement(file, None, "tile.las") == (file, ())


def test_job_supplies_everything() -> None:
    """File silent: the job's system, geoid and epoch, with one note."""
    job = declared("EPSG:6345+5703", geoid="GEOID18", epoch_year=2010.0)
    reference, findings = supplement(UNKNOWN, job, "tile.las")
    for fact in ("name", "horizontal", "vertical", "geoid", "epoch_year", "wkt", "frame"):
        assert getattr(reference, fact) == getattr(job, fact)
    assert told(findings) == [("crs-supplied-by-job", NOTE, "all")]


def test_job_in_two_dimensions_supplies_two() -> None:
    """File silent and job horizontal only: heights stay undeclared."""
    reference, _ = supplement(UNKNOWN, declared("EPSG:6345"), "tile.las")
    assert (reference.horizontal, reference.vertical_kind) == ("EPSG:6345", "none")


@pytest.mark.parametrize(
    ("file", "job", "kind"),
    [
        ("EPSG:6345", "EPSG:6345+5703", "orthometric"),
        ("EPSG:6345", "EPSG:5703", "orthometric"),
        ("EPSG:6318", "EPSG:6319", "ellipsoidal"),
    ],
)
def test_job_supplies_the_vertical_part(file: str, job: str, kind: str) -> None:
    """File horizontal only: the job's vertical system, with a note about heights."""
    reference, findings = supplement(declared(file), declared(job), "tile.las")
    assert (reference.horizontal, reference.vertical_kind) == (file, kind)
    assert told(findings) == [("crs-supplied-by-job", NOTE, "vertical")]
    assert reference.vertical_unit is M
    rebuilt = declared(reference.wkt or "")
    assert (rebuilt.horizontal, rebuilt.vertical_kind) == (file, kind)


def test_job_may_say_less_or_the_same() -> None:
    """A job that repeats the file, or leaves heights out, changes nothing."""
    file = declared("EPSG:6345+5703")
    for job in ("EPSG:6345+5703", "EPSG:6345"):
        reference, findings = supplement(file, declared(job), "tile.las")
        assert (reference.name, findings) == (file.name, ())


def test_job_supplies_geoid_and_epoch() -> None:
    """A geoid model or epoch that the file cannot carry comes from the job, with a note."""
    job = declared("EPSG:6345+5703", geoid="GEOID18", epoch_year=2024.5)
    reference, findings = supplement(declared("EPSG:6345+5703"), job, "tile.las")
    assert (reference.geoid, reference.epoch_year) == ("GEOID18", 2024.5)
    assert told(findings) == [("crs-supplied-by-job", NOTE, "all")]


@pytest.mark.parametrize(
    ("file", "job", "component"),
    [
        ("EPSG:6345+5703", "EPSG:6346+5703", "all"),  # zone
        ("EPSG:26916", "EPSG:6345", "all"),  # realisation
        ("EPSG:2223", "EPSG:2762", "all"),  # unit
        ("EPSG:6345+5703", "EPSG:6345+6360", "vertical"),  # unit of heights
        ("EPSG:6345+5703", "EPSG:6345+5773", "vertical"),  # vertical datum
        ("EPSG:6319", "EPSG:6349", "vertical"),  # ellipsoidal and orthometric
        ("+proj=utm +zone=13 +ellps=GRS80", "EPSG:6345", "all"),  # zone, datum unknown
    ],
)
def test_job_never_overrules_a_file(file: str, job: str, component: str) -> None:
    """A contradiction blocks, names both, and the file's own statement is kept."""
    reference, findings = supplement(declared(file), declared(job), "tile.las")
    blocking = [finding for finding in findings if finding.severity is BLOCKING]
    assert told(tuple(blocking)) == [("crs-contradiction", BLOCKING, component)]
    assert blocking[0].evidence["file"] == declared(file).name
    assert blocking[0].evidence["job"] == declared(job).name
    assert "tile.las" in blocking[0].message
    assert reference.horizontal == declared(file).horizontal
    assert reference.vertical == declared(file).vertical


def test_job_names_the_datum_of_a_plane_without_one() -> None:
    """A file whose datum is not named, in the job's projection: the job supplies the datum."""
    file = declared("+proj=utm +zone=16 +ellps=GRS80")
    reference, findings = supplement(file, declared("EPSG:6345"), "tile.las")
    assert reference.horizontal == "EPSG:6345"
    assert ("crs-supplied-by-job", NOTE, "all") in told(findings)


def test_geoid_and_epoch_contradictions_with_the_job() -> None:
    """Another geoid model blocks heights, another epoch blocks everything."""
    file = declared("EPSG:6345+5703", geoid="GEOID12B", epoch_year=2010.0)
    job = declared("EPSG:6345+5703", geoid="GEOID18", epoch_year=2020.0)
    reference, findings = supplement(file, job, "tile.las")
    assert sorted(told(findings)) == [
        ("crs-contradiction", BLOCKING, "all"),
        ("crs-contradiction", BLOCKING, "vertical"),
    ]
    assert (reference.geoid, reference.epoch_year) == ("GEOID12B", 2010.0)


def test_unit_of_heights_in_the_file_binds_the_job() -> None:
    """A file with heights in feet of unknown datum: the job may name the datum, not another unit."""
    file, _ = interpret([keys({1024: 1, 3072: 6345, 4099: 9003})])
    right, findings = supplement(file, declared("EPSG:6345+6360"), "tile.las")
    assert (right.vertical, told(findings)) == (
        "EPSG:6360",
        [("crs-supplied-by-job", NOTE, "vertical")],
    )
    wrong, findings = supplement(file, declared("EPSG:6345+5703"), "tile.las")
    assert told(findings) == [("crs-contradiction", BLOCKING, "vertical")]
    assert (wrong.vertical_kind, wrong.vertical_unit) == ("unknown", FTUS)


def test_findings_of_the_job_are_handed_on_once() -> None:
    """A deprecated code in the job comes out of supplement, and not again later."""
    job = declared("EPSG:3785")
    reference, findings = supplement(UNKNOWN, job, "tile.las")
    assert "crs-deprecated" in [finding.code for finding in findings]
    assert reference.findings == ()


# units in the columns of a table ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("crs", "horizontal", "vertical", "geographic", "expected"),
    [
        ("EPSG:6345+5703", M, M, False, []),
        ("EPSG:6345+5703", None, None, False, []),
        ("EPSG:6430+6360", FTUS, FTUS, False, []),
        ("EPSG:6319", None, M, True, []),
        ("EPSG:6345+5703", FT, None, False, [("crs-unit-differs", BLOCKING, "all")]),
        ("EPSG:6430+6360", FT, FTUS, False, [("crs-unit-differs", BLOCKING, "all")]),
        ("EPSG:6345+5703", M, FTUS, False, [("crs-unit-differs", BLOCKING, "vertical")]),
        ("EPSG:6345+5703", None, None, True, [("crs-unit-differs", BLOCKING, "all")]),
        ("EPSG:6319", M, None, False, [("crs-unit-differs", BLOCKING, "all")]),
        ("EPSG:6319", None, None, False, [("crs-geographic", WARNING, "all")]),
    ],
)
def test_units_of_columns_against_the_system(
    crs: str,
    horizontal: LengthUnit | None,
    vertical: LengthUnit | None,
    geographic: bool,
    expected: list[tuple[str, Severity, str]],
) -> None:
    """A column in another unit than the system blocks the part it stands for; the system is kept."""
    before = declared(crs)
    after, findings = with_units(before, horizontal, vertical, geographic, "points.csv")
    assert told(findings) == expected
    assert after == before


def test_units_of_columns_fill_in_what_is_unknown() -> None:
    """Without a system, columns give units, and longitude and latitude their kind; nothing else."""
    after, findings = with_units(UNKNOWN, FTUS, FT, False, "points.csv")
    assert (after.horizontal_unit, after.vertical_unit, findings) == (FTUS, FT, ())
    assert (after.horizontal_known, after.vertical_kind) == (False, "unknown")
    degrees, _ = with_units(UNKNOWN, None, M, True, "points.csv")
    assert (degrees.horizontal_kind, degrees.horizontal_known) == ("geographic", False)


def test_unit_of_a_height_column_beside_a_horizontal_system() -> None:
    """``height_ftus`` under EPSG:6345: the unit is known, what the heights refer to is not."""
    after, findings = with_units(declared("EPSG:6345"), None, FTUS, False, "points.csv")
    assert (after.vertical_kind, after.vertical_unit, findings) == ("none", FTUS, ())


def test_findings_of_the_declaration_come_out_with_the_units() -> None:
    """What reading the checkpoints' crs brought up is handed on here, once."""
    after, findings = with_units(declared("EPSG:3785"), None, None, False, "points.csv")
    assert [finding.code for finding in findings] == ["crs-deprecated"]
    assert after.findings == ()


def test_job_that_names_heights_only() -> None:
    """Silent file and a job with a vertical system alone: heights known, the plane still unknown."""
    file, _ = interpret([keys({1024: 1, 3072: 32767, 3076: 9001})])
    reference, findings = supplement(file, declared("EPSG:5703"), "tile.las")
    assert (reference.horizontal_known, reference.vertical) == (False, "EPSG:5703")
    assert reference.name == "unknown + EPSG:5703"
    assert told(findings) == [("crs-supplied-by-job", NOTE, "vertical")]
