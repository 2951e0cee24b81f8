"""Data quality as ISO 19157 has it, in the XML of ISO 19115-3: one element for each dataset.

The root is ``mdq:DQ_DataQuality``, which belongs under ``mdb:dataQualityInfo`` of the dataset's record.

References
----------
ISO 19157:2013 (identifiers of measures: second-hand), ISO/TS 19157-2 (structure and order by the XML Schema
``mdq`` 1.0, read). The tests validate the documents where the schemas are at hand, and hold them against the
list of elements otherwise.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET

from accuracy.reports.metadata import (
    HORIZONTAL,
    as_bytes,
    checks,
    explanation,
    file_name,
    number,
    text_element,
)
from accuracy.result import ClaimResult, DatasetResult, Result
from accuracy.standards.judge import Check

NAMESPACES = {
    "mdq": "http://standards.iso.org/iso/19157/-2/mdq/1.0",
    "mcc": "http://standards.iso.org/iso/19115/-3/mcc/1.0",
    "cit": "http://standards.iso.org/iso/19115/-3/cit/2.0",
    "gco": "http://standards.iso.org/iso/19115/-3/gco/1.0",
    "xlink": "http://www.w3.org/1999/xlink",
}
_SCOPES = "http://standards.iso.org/iso/19115/resources/Codelists/cat/codelists.xml#MD_ScopeCode"
_ISO = "ISO 19157"

#: Statistic and axes to the measure: code space, code, name, description.
_ONE = ("up", "east", "north")
MEASURES: tuple[tuple[str, tuple[str, ...], tuple[str, str, str, str]], ...] = (
    ("rmse", _ONE, (_ISO, "39", "root mean square error", "square root of the mean of e^2")),
    (
        "rmse",
        ("horizontal",),
        (
            _ISO,
            "47",
            "root mean square error of planimetry",
            "square root of the mean of ex^2 + ey^2",
        ),
    ),
    ("mean", _ONE, (_ISO, "128", "bias of positions", "mean of the signed errors of one axis")),
    (
        "accuracy_95",
        ("up", "horizontal"),
        (
            "FGDC-STD-007.3-1998",
            "accuracy_95",
            "accuracy at the 95 % confidence level",
            "multiple of the RMSE by Appendix 3-A; no measure of ISO 19157",
        ),
    ),
)


def _q(name: str) -> str:
    prefix, local = name.split(":")
    return f"{{{NAMESPACES[prefix]}}}{local}"


def render_files(result: Result) -> dict[str, bytes]:
    """Give one element for each dataset of which anything is reported; values in metres."""
    for prefix, uri in NAMESPACES.items():
        ET.register_namespace(prefix, uri)
    roots = ((dataset, _document(result, dataset)) for dataset in result.datasets)
    return {
        file_name(result, dataset): as_bytes(root)
        for dataset, root in roots
        if root.find(_q("mdq:report")) is not None  # the schema wants one at least
    }


def _document(result: Result, dataset: DatasetResult) -> ET.Element:
    root = ET.Element(_q("mdq:DQ_DataQuality"))
    scope = _nested(root, "mdq:scope", "mcc:MD_Scope", "mcc:level")
    code = ET.SubElement(scope, _q("mcc:MD_ScopeCode"))
    code.set("codeList", _SCOPES)
    code.set("codeListValue", "dataset")
    for claim, check, value in checks(dataset):
        measure = _measure(check.estimator, check.component) or (
            claim.standard,
            check.estimator,
            check.name,
            f"{check.cite}; no measure of ISO 19157",
        )
        report = _report(root, dataset, measure, check.component, check.n, result)
        _quantity(report, value)
        if check.passes is not None and claim.verdict in ("passes", "fails"):
            _conformance(report, claim, check)
    for figure in dataset.figures:  # the bias, which no document of accuracy asks for
        bias = _measure(figure.statistic, figure.component)
        wanted = figure.statistic == "mean" and figure.cover == "all"
        if wanted and bias and isinstance(figure.value, float):
            report = _report(root, dataset, bias, figure.component, figure.n, result)
            _quantity(report, figure.value)
    return root


def _measure(statistic: str, component: str) -> tuple[str, str, str, str] | None:
    return next((m for name, axes, m in MEASURES if name == statistic and component in axes), None)


def _nested(parent: ET.Element, *names: str) -> ET.Element:
    for name in names:
        parent = ET.SubElement(parent, _q(name))
    return parent


def _text(parent: ET.Element, name: str, text: str) -> None:
    text_element(ET.SubElement(parent, _q(name)), _q("gco:CharacterString"), text)


def _report(
    root: ET.Element,
    dataset: DatasetResult,
    measure: tuple[str, str, str, str],
    component: str,
    n: int,
    result: Result,
) -> ET.Element:
    """Add a report up to its results; nothing in its class says which axis is meant, so the name does."""
    space, code, name, description = measure
    report = _nested(root, "mdq:report", "mdq:DQ_AbsoluteExternalPositionalAccuracy")
    reference = _nested(report, "mdq:measure", "mdq:DQ_MeasureReference")
    identifier = _nested(reference, "mdq:measureIdentification", "mcc:MD_Identifier")
    _text(identifier, "mcc:code", code)
    _text(identifier, "mcc:codeSpace", space)
    axis = component if component in (*HORIZONTAL, "3d") else "vertical (up)"
    _text(reference, "mdq:nameOfMeasure", f"{name}, {axis}")
    _text(reference, "mdq:measureDescription", description)
    method = _nested(report, "mdq:evaluationMethod", "mdq:DQ_SampleBasedInspection")
    _text(
        method,
        "mdq:evaluationMethodDescription",
        f"{dataset.name} compared with surveyed checkpoints, measured minus surveyed",
    )
    _text(method, "mdq:samplingScheme", f"{n} checkpoints chosen by the survey crew")
    area = next((d.area_km2 for d in result.layout.documents if d.dataset == dataset.name), None)
    lot = "area not known" if area is None else f"area of {area:.6g} km2"
    _text(method, "mdq:lotDescription", f"{dataset.name}, {lot}")
    _text(method, "mdq:samplingRatio", f"{n} points")
    return report


def _quantity(report: ET.Element, value: float) -> None:
    quantity = _nested(report, "mdq:result", "mdq:DQ_QuantitativeResult")
    text_element(ET.SubElement(quantity, _q("mdq:value")), _q("gco:Record"), number(value))
    unit = ET.SubElement(quantity, _q("mdq:valueUnit"))
    unit.set(_q("xlink:href"), "urn:ogc:def:uom:EPSG::9001")
    unit.set(_q("xlink:title"), "metre")
    record = ET.SubElement(quantity, _q("mdq:valueRecordType"))
    text_element(record, _q("gco:RecordType"), "Real")


def _conformance(report: ET.Element, claim: ClaimResult, check: Check) -> None:
    conformance = _nested(report, "mdq:result", "mdq:DQ_ConformanceResult")
    citation = _nested(conformance, "mdq:specification", "cit:CI_Citation")
    _text(citation, "cit:title", claim.title)
    _text(conformance, "mdq:explanation", explanation(claim, check))
    passed = ET.SubElement(conformance, _q("mdq:pass"))
    text_element(passed, _q("gco:Boolean"), "true" if check.passes else "false")
