"""Positional accuracy as FGDC CSDGM has it: one document for each dataset, to be put into its metadata.

References
----------
FGDC-STD-001-1998, Content Standard for Digital Geospatial Metadata: names, order and repetition of the
elements by its XML Schema 1.0.0 of 2003-08-01 (read), against which the tests validate ``posacc`` where the
schema is at hand, and hold it against the list of elements otherwise.
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
from accuracy.result import DatasetResult, Result

#: Axes to: element, its report, its assessment, value and explanation.
_PARTS = (
    (HORIZONTAL, ("horizpa", "horizpar", "qhorizpa", "horizpav", "horizpae")),
    (("up",), ("vertacc", "vertaccr", "qvertpa", "vertaccv", "vertacce")),
)


def render_files(result: Result) -> dict[str, bytes]:
    """Give one document for each dataset; values in metres."""
    return {file_name(result, dataset): _document(dataset) for dataset in result.datasets}


def _document(dataset: DatasetResult) -> bytes:
    root = ET.Element("metadata")
    posacc = ET.SubElement(ET.SubElement(root, "dataqual"), "posacc")
    for axes, (part, report, assessment, value, explains) in _PARTS:
        found = [item for item in checks(dataset) if item[1].component in axes]
        if not found:
            continue
        element = ET.SubElement(posacc, part)
        statements = dict.fromkeys(" ".join(claim.statement.split()) for claim, _, _ in found)
        text_element(element, report, f"{dataset.name}: " + " ".join(statements))
        for claim, check, size in found:
            holds = ET.SubElement(element, assessment)
            text_element(holds, value, number(size))
            text_element(holds, explains, f"metres: {explanation(claim, check)}")
    return as_bytes(root)
