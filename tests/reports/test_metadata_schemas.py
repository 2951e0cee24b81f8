"""Metadata exports against the schemas of their standards, where these are at hand.

The schemas are not part of the project and are not fetched. Where a folder named by the environment variable
``ACCURACY_METADATA_SCHEMAS`` holds them, the documents are validated: ``iso/`` is the tree of
standards.iso.org/iso (ISO 19115-3 and ISO 19157-2 ``mdq`` 1.0 with what they import), ``fgdc/`` holds the XML
Schema of FGDC-STD-001-1998 (1.0.0 of 2003-08-01). Otherwise the tests of `test_metadata.py` hold the documents
against lists of elements.
"""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from accuracy.reports import render_kinds
from accuracy.result import Result

ISO, FGDC = "iso", "fgdc"

#: Attributes of links, which the W3C's own file declares so; no package at hand has that file.
XLINK = """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" xmlns:xlink="http://www.w3.org/1999/xlink"
 targetNamespace="http://www.w3.org/1999/xlink">
<xs:attribute name="type" type="xs:string"/><xs:attribute name="href" type="xs:anyURI"/>
<xs:attribute name="role" type="xs:anyURI"/><xs:attribute name="arcrole" type="xs:anyURI"/>
<xs:attribute name="title" type="xs:string"/><xs:attribute name="show" type="xs:string"/>
<xs:attribute name="actuate" type="xs:string"/>
<xs:attributeGroup name="simpleAttrs"><xs:attribute ref="xlink:type" fixed="simple"/>
<xs:attribute ref="xlink:href"/><xs:attribute ref="xlink:role"/><xs:attribute ref="xlink:arcrole"/>
<xs:attribute ref="xlink:title"/><xs:attribute ref="xlink:show"/><xs:attribute ref="xlink:actuate"/>
</xs:attributeGroup></xs:schema>"""


@pytest.fixture(scope="module")
def etree() -> Any:
    """Give lxml, which knows XML Schema."""
    return pytest.importorskip("lxml.etree", reason="lxml is not installed")


def folder(name: str) -> Path:
    where = Path(os.environ.get("ACCURACY_METADATA_SCHEMAS", "")) / name
    if not os.environ.get("ACCURACY_METADATA_SCHEMAS") or not where.is_dir():
        pytest.skip(
            "the schemas are not at hand: ACCURACY_METADATA_SCHEMAS names no folder with them"
        )
    return where


@pytest.fixture(scope="module")
def fgdc(etree: Any) -> Any:
    """Give the schema of FGDC-STD-001-1998."""
    return etree.XMLSchema(etree.parse(str(folder(FGDC) / "fgdc-std-001-1998-annotated.xsd")))


@pytest.fixture(scope="module")
def iso(etree: Any) -> Any:
    """Give the schema of ISO 19157-2 with what it imports, read from the folder alone."""
    base = folder(ISO)

    class Offline(etree.Resolver):  # type: ignore[misc]  # lxml has no types
        def resolve(self, url: str, _: str, context: Any) -> Any:
            if url.endswith("1999/xlink.xsd"):
                return self.resolve_string(XLINK, context)
            if url.startswith("http"):
                place = url.split("://", 1)[1].removeprefix("standards.iso.org/iso/")
                return self.resolve_filename(str(base / place), context)
            return None

    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(Offline())
    imports = "".join(
        f'<xs:import namespace="http://standards.iso.org/iso/{name}" '
        f'schemaLocation="{(base / name / file).as_uri()}"/>'
        for name, file in (("19157/-2/mdq/1.0", "mdq.xsd"), ("19115/-3/cit/2.0", "cit.xsd"))
    )
    text = f'<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema">{imports}</xs:schema>'
    return etree.XMLSchema(etree.fromstring(text, parser))


def results(demo: Result) -> list[Result]:
    """Give the demo, and the demo with a client's hostile names and no points at all."""
    bad = "\x00<&]]>\u202e"
    empty = tuple(
        replace(d, name=f"{bad}{i}", claims=(), figures=(), residuals=())
        for i, d in enumerate(demo.datasets)
    )
    named = tuple(replace(d, name=f"{bad}{i}") for i, d in enumerate(demo.datasets))
    return [demo, replace(demo, datasets=named), replace(demo, datasets=empty)]


def test_fgdc_is_valid(etree: Any, fgdc: Any, demo_result: Result) -> None:
    """The accuracy elements are valid as they are; the root is a frame to put them in, not a whole record."""
    for result in results(demo_result):
        for name, content in render_kinds(result, ["fgdc"]).items():
            part = etree.fromstring(content).find(".//posacc")
            assert fgdc.validate(etree.ElementTree(part)), (name, fgdc.error_log)


def test_fgdc_schema_finds_a_wrong_order(etree: Any, fgdc: Any, demo_result: Result) -> None:
    """The test could fail: the report after its value, and a value in words, are refused."""
    content = next(iter(render_kinds(demo_result, ["fgdc"]).values()))
    part = etree.fromstring(content).find(".//posacc")
    value = part.find(".//vertaccv")
    value.text = "five centimetres"
    assert not fgdc.validate(etree.ElementTree(part))
    value.text = "0.05"
    part[0].append(part[0][0])
    assert not fgdc.validate(etree.ElementTree(part))


def test_iso_is_valid(etree: Any, iso: Any, demo_result: Result) -> None:
    """Every document is a valid ``mdq:DQ_DataQuality``; of nothing there is none."""
    assert render_kinds(results(demo_result)[2], ["iso19157"]) == {}
    for result in results(demo_result):
        for name, content in render_kinds(result, ["iso19157"]).items():
            assert iso.validate(etree.ElementTree(etree.fromstring(content))), (name, iso.error_log)


def test_iso_schema_finds_a_wrong_order(etree: Any, iso: Any, demo_result: Result) -> None:
    """The test could fail: parts of a method or a result in another order are refused."""
    content = next(iter(render_kinds(demo_result, ["iso19157"]).values()))
    for name in (
        "DQ_SampleBasedInspection",
        "DQ_QuantitativeResult",
        "DQ_ConformanceResult",
        "DQ_MeasureReference",
    ):
        root = etree.fromstring(content)
        element = root.find(f".//{{http://standards.iso.org/iso/19157/-2/mdq/1.0}}{name}")
        element.append(element[0])  # moves it behind the others
        assert not iso.validate(etree.ElementTree(root)), name
