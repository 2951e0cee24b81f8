"""Metadata exports, held against the lists of elements of the documents."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import gold
import pytest
from gis_reader import read_layer
from pyproj import CRS
from support import assert_metres

from accuracy.reports import render_kinds
from accuracy.reports.as_iso import NAMESPACES
from accuracy.reports.as_survey_points import FIELDS
from accuracy.result import Result, read_result


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Result:
    """Read the kept record of the demo."""
    path = tmp_path_factory.mktemp("demo") / "result.json"
    text = (gold.ROOT / "reports/demo/result.json").read_text("utf-8")
    run = (
        '{"tool_version": "", "python": "", "libraries": {}, "proj": "", "epsg": "", "started": "", '
        '"finished": "", "paths": {}}'
    )
    path.write_text(text.replace(f'"{gold.RUN_LEFT_OUT}"', run), "utf-8")
    return read_result(path)


#: FGDC-STD-001-1998 as listed in the shared notes on ISO and NATO, section 4: parent to children, in order.
FGDC = {
    "metadata": ["dataqual"],
    "dataqual": ["posacc"],
    "posacc": ["horizpa", "vertacc"],
    "horizpa": ["horizpar", "qhorizpa"],
    "qhorizpa": ["horizpav", "horizpae"],
    "vertacc": ["vertaccr", "qvertpa"],
    "qvertpa": ["vertaccv", "vertacce"],
}


def test_fgdc_has_only_elements_of_the_list_in_their_order(demo: Result) -> None:
    """Every element under its parent; values are numbers; each says in words what it is."""
    files = render_kinds(demo, ["fgdc"])
    assert len(files) == len(demo.datasets)
    for content in files.values():
        root = ET.fromstring(content)
        assert root.tag == "metadata"
        for element in root.iter():
            order = [FGDC[element.tag].index(child.tag) for child in element]
            assert order == sorted(order)
            if element.tag in ("vertaccv", "horizpav"):
                assert element.text is not None
                assert float(element.text) > 0
            if element.tag in ("vertacce", "horizpae"):
                assert "RMSE" in (element.text or "")
                assert (element.text or "").startswith("metres: ")
    cloud = ET.fromstring(files["fgdc/1-ground-cloud.xml"])
    check = demo.datasets[0].claims[0].checks[0]
    found = cloud.findtext(".//vertaccv")
    assert_metres(float(found or 0), check.value or 0.0, within_m=1e-6)
    assert cloud.find(".//horizpa") is None


#: ISO 19115-3 with 19157-2 as listed in the shared notes, section 6: parent to children, in order.
ISO = {
    "mdq:DQ_DataQuality": ["mdq:scope", "mdq:report"],
    "mdq:scope": ["mcc:MD_Scope"],
    "mcc:MD_Scope": ["mcc:level"],
    "mcc:level": ["mcc:MD_ScopeCode"],
    "mdq:report": ["mdq:DQ_AbsoluteExternalPositionalAccuracy"],
    "mdq:DQ_AbsoluteExternalPositionalAccuracy": [
        "mdq:measure",
        "mdq:evaluationMethod",
        "mdq:result",
    ],
    "mdq:measure": ["mdq:DQ_MeasureReference"],
    "mdq:DQ_MeasureReference": [
        "mdq:measureIdentification",
        "mdq:nameOfMeasure",
        "mdq:measureDescription",
    ],
    "mdq:measureIdentification": ["mcc:MD_Identifier"],
    "mcc:MD_Identifier": ["mcc:code", "mcc:codeSpace"],
    "mdq:evaluationMethod": ["mdq:DQ_SampleBasedInspection"],
    "mdq:DQ_SampleBasedInspection": [
        "mdq:evaluationMethodDescription",
        "mdq:samplingScheme",
        "mdq:lotDescription",
        "mdq:samplingRatio",
    ],
    "mdq:result": ["mdq:DQ_QuantitativeResult", "mdq:DQ_ConformanceResult"],
    "mdq:DQ_QuantitativeResult": ["mdq:value", "mdq:valueUnit", "mdq:valueRecordType"],
    "mdq:value": ["gco:Record"],
    "mdq:valueRecordType": ["gco:RecordType"],
    "mdq:DQ_ConformanceResult": ["mdq:specification", "mdq:explanation", "mdq:pass"],
    "mdq:specification": ["cit:CI_Citation"],
    "cit:CI_Citation": ["cit:title"],
    "mdq:pass": ["gco:Boolean"],
}
TEXTS = ("gco:CharacterString",)


def short(tag: str) -> str:
    uri, local = tag[1:].split("}")
    return next(f"{prefix}:{local}" for prefix, known in NAMESPACES.items() if known == uri)


def test_iso_has_only_elements_of_the_list_in_their_order(demo: Result) -> None:
    """Every element under its parent, in order; no claim without a statement has a conformance result."""
    files = render_kinds(demo, ["iso19157"])
    assert len(files) == len(demo.datasets)
    passes: dict[str, list[str]] = {}
    for name, content in files.items():
        root = ET.fromstring(content)
        assert short(root.tag) == "mdq:DQ_DataQuality"
        for element in root.iter():
            children = [short(child.tag) for child in element]
            if not children or children == list(TEXTS):
                continue
            order = [ISO[short(element.tag)].index(child) for child in children]
            assert order == sorted(order), (name, element.tag)
        passes[name] = [e.text or "" for e in root.iter(f"{{{NAMESPACES['gco']}}}Boolean")]
    assert passes["iso19157/1-ground-cloud.xml"] == ["true"]
    assert passes["iso19157/2-elevation-raster.xml"] == ["false"]
    assert passes["iso19157/4-evening-targets.xml"] == []  # no statement


def test_iso_names_the_measures_by_their_identifiers(demo: Result) -> None:
    """ISO 19157: 39 RMSE of one axis, 47 of planimetry, 128 bias (shared notes, section 1), in metres."""
    codes: dict[str, set[tuple[str, str]]] = {}
    for name, content in render_kinds(demo, ["iso19157"]).items():
        root = ET.fromstring(content)
        codes[name] = {
            (
                i.findtext("mcc:code/gco:CharacterString", "", NAMESPACES),
                i.findtext("mcc:codeSpace/gco:CharacterString", "", NAMESPACES),
            )
            for i in root.iterfind(".//mcc:MD_Identifier", NAMESPACES)
        }
        units = {
            u.get(f"{{{NAMESPACES['xlink']}}}title")
            for u in root.iterfind(".//mdq:valueUnit", NAMESPACES)
        }
        assert units <= {"metre"}
    assert codes["iso19157/1-ground-cloud.xml"] == {("39", "ISO 19157"), ("128", "ISO 19157")}
    assert ("47", "ISO 19157") in codes["iso19157/4-evening-targets.xml"]
    assert ("accuracy_95", "FGDC-STD-007.3-1998") in codes["iso19157/3-orthophoto-targets.xml"]


def test_survey_points_have_the_fields_that_are_wanted(demo: Result, tmp_path: Path) -> None:
    """Fields in order; heights inside; used points once and control; who was excluded is not there."""
    path = tmp_path / "points.gpkg"
    path.write_bytes(render_kinds(demo, ["survey-points"])["survey-points.gpkg"])
    name = "accuracy_of_the_may_survey_survey_points"
    system, kind, features = read_layer(path, name)
    assert list(FIELDS) == [key for key in features[0] if key != "geometry"]
    assert kind == "Point Z"
    parts = [part.to_authority() for part in CRS.from_user_input(system).sub_crs_list]
    assert parts == [("EPSG", "6341"), ("EPSG", "5703")]
    written = {row.id: row for row in demo.datasets[0].residuals}
    for feature in features:  # by GDAL, at the places and heights of the record
        ((east, north, up),) = feature["geometry"]
        native = written[feature["unique_identifier"]].native
        assert_metres(east, native["easting"], within_m=0.0)
        assert_metres(north, native["northing"], within_m=0.0)
        assert_metres(up, native["height"], within_m=0.0)
    assert {type(f["source_horizontal_epsg"]).__name__ for f in features} == {"int64"}
    ids = [f["unique_identifier"] for f in features]
    assert len(ids) == len(set(ids)) == 47 + 4
    assert "CP31" not in ids
    assert {f["point_type"] for f in features} == {"NVA", "VVA", "Control"}
    assert all(len(f["geometry"][0]) == 3 for f in features)
    first = features[0]
    assert (first["source_horizontal_epsg"], first["source_vertical_epsg"]) == (6341, 5703)
    assert (first["source_geoid"], first["source_vertical_unit"]) == ("GEOID18", "metres")
    assert all(round(f["source_elevation"], 3) == f["source_elevation"] for f in features)
    assert first["accuracy"] == 0.015


def test_hostile_names_do_no_harm(demo: Result, tmp_path: Path) -> None:
    """Control characters, markup and dots in names: well-formed documents under harmless file names."""
    bad = "../<a>&\x00\x1b\u202e]]>"
    result = replace(
        demo,
        job={"job": {"title": bad}},
        datasets=tuple(replace(d, name=f"{bad}{i}", wkt=None) for i, d in enumerate(demo.datasets)),
    )
    files = render_kinds(result, ["fgdc", "iso19157", "survey-points"])
    for name, content in files.items():
        assert ".." not in name
        if name.endswith(".xml"):
            ET.fromstring(content)
    (tmp_path / "a.gpkg").write_bytes(files["survey-points.gpkg"])
    assert len(read_layer(tmp_path / "a.gpkg", "a_survey_points")[2]) == 51
