"""What files beside a file declare of its reference system: ``.prj`` and ``.aux.xml``, literally.

References
----------
A ``.prj`` holds one WKT text; a ``.aux.xml`` of GDAL's persistent auxiliary metadata holds it in the element
``SRS`` (GDAL documentation, "PAM"; both from memory).
"""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

from accuracy.formats import CrsEvidence

#: A declaration longer than this is something else.
_LONGEST_BYTES = 1 << 20


def sidecar_evidence(path: Path) -> tuple[CrsEvidence, ...]:
    """Collect what stands beside a file: ``a.prj`` or ``a.laz.prj``, and ``a.laz.aux.xml``.

    A side file that cannot be read or is empty is evidence with its problem; none is no evidence.
    """
    found: list[CrsEvidence] = []
    for name in (f"{path.stem}.prj", f"{path.name}.prj"):
        beside = _beside(path, name)
        if beside is not None:
            text, problem = _text(beside)
            if problem is None and not text.strip():
                problem = "the file is empty"
            found.append(
                CrsEvidence(
                    "sidecar-prj", f"file {beside.name}", text.strip() or None, problem=problem
                )
            )
    beside = _beside(path, f"{path.name}.aux.xml")
    if beside is not None:
        text, problem = _text(beside)
        if problem is None:
            text, problem = _srs(text)
        if problem is not None or text:
            found.append(
                CrsEvidence("sidecar-aux-xml", f"file {beside.name}", text or None, problem=problem)
            )
    return tuple(found)


def _beside(path: Path, name: str) -> Path | None:
    """Find a side file, in whatever case its name is written."""
    exact = path.with_name(name)
    if exact.is_file():
        return exact
    upper = path.with_name(name[: -len("prj")] + "PRJ") if name.endswith("prj") else None
    return upper if upper is not None and upper.is_file() else None


def _text(path: Path) -> tuple[str, str | None]:
    try:
        with path.open("rb") as stream:
            data = stream.read(_LONGEST_BYTES + 1)
    except OSError as error:
        return "", f"cannot be read: {error.strerror or error}"
    if len(data) > _LONGEST_BYTES:
        return "", "is too long for a declaration of a reference system"
    try:
        return data.decode("utf-8-sig"), None
    except UnicodeDecodeError:
        return data.decode("latin-1"), None


def _srs(text: str) -> tuple[str, str | None]:
    """Take the reference system out of auxiliary metadata; empty where it declares none."""
    if "<!DOCTYPE" in text or "<!ENTITY" in text:  # entities could grow without end
        return "", "declares entities, which are not read"
    try:
        root = ElementTree.fromstring(text)
    except ElementTree.ParseError as error:
        return "", f"is not XML: {error}"
    element = root.find("SRS")
    return ("" if element is None else (element.text or "").strip()), None
