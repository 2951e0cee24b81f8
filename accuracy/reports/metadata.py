"""What the metadata exports share: names of files, and the parts of a claim that speak of an axis."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator

from accuracy.reports.words import printable
from accuracy.result import ClaimResult, DatasetResult, Result
from accuracy.standards.judge import Check

HORIZONTAL = ("east", "north", "horizontal")


def file_name(result: Result, dataset: DatasetResult) -> str:
    """Give a file name for one dataset: its place among them and its name in harmless letters."""
    place = result.datasets.index(dataset) + 1
    name = re.sub(r"[^a-z0-9]+", "-", dataset.name.lower()).strip("-")[:40]
    return f"{place}-{name}.xml" if name else f"{place}.xml"


def checks(dataset: DatasetResult) -> Iterator[tuple[ClaimResult, Check, float]]:
    """Give every check of every claim that has a value."""
    for claim in dataset.claims:
        for check in claim.checks:
            if check.value is not None:
                yield claim, check, check.value


def explanation(claim: ClaimResult, check: Check) -> str:
    """Say what a value is, by which document, and what became of the claim: no value stands without it."""
    what = f"{check.name}, {check.n} checkpoints"
    if check.survey_error_included:
        what += ", survey error included"
    what += f"; {claim.title}, {check.cite}"
    if check.verification not in ("read", "client"):
        what += f" ({check.verification})"
    if check.limit is not None:
        what += f"; limit {check.operator} {check.limit:.6g} {check.unit}"
    what += f"; claim: {claim.verdict}"
    if claim.reason:
        what += f", {claim.reason}"
    return printable(what)


def number(value: float) -> str:
    """Write a length in metres to the micrometre, as in the tables."""
    return f"{round(value, 6) + 0.0:.6f}".rstrip("0").rstrip(".")


def text_element(parent: ET.Element, name: str, text: str) -> ET.Element:
    """Add an element that holds text."""
    element = ET.SubElement(parent, name)
    element.text = printable(text)
    return element


def as_bytes(root: ET.Element) -> bytes:
    """Write a document, indented."""
    ET.indent(root)
    content: bytes = ET.tostring(root, encoding="UTF-8", xml_declaration=True)
    return content + b"\n"
