"""What the records of a LAS file declare about the reference system, literally.

References
----------
ASPRS, LAS Specification 1.4 R15, "Georeferencing VLRs"; OGC GeoTIFF 1.1 (19-008r4), "GeoKey directory"
(both from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from types import MappingProxyType

from accuracy.findings import Finding, Severity
from accuracy.formats import CrsEvidence
from accuracy.formats.geokeys import DIRECTORY, DOUBLES, TEXTS, resolve_geokeys
from accuracy.formats.las_header import LasHeader, LasRecord, broken_record

MATH_TRANSFORM, WKT = 2111, 2112


def crs_evidence(
    records: Sequence[LasRecord], header: LasHeader
) -> tuple[tuple[CrsEvidence, ...], tuple[Finding, ...]]:
    """Collect every WKT record and GeoKey directory, in file order; broken ones with their problem."""
    projection = [record for record in records if record.user_id == "LASF_Projection"]
    names_kind = header.minor_version >= 4
    evidence: list[CrsEvidence] = []
    findings: list[Finding] = []
    for record in projection:
        if record.record_id == WKT:
            wkt, problem = _wkt(record.data)
            notes: tuple[str, ...] = ()
            evidence.append(
                CrsEvidence(
                    source="wkt-extended-record" if record.extended else "wkt-record",
                    where=record.where,
                    wkt=wkt,
                    preferred=header.says_wkt if names_kind else None,
                    problem=problem,
                )
            )
        elif record.record_id == DIRECTORY:
            keys, problem, notes = resolve_geokeys(
                record.data, _first(projection, DOUBLES), _first(projection, TEXTS)
            )
            evidence.append(
                CrsEvidence(
                    source="geokeys",
                    where=record.where,
                    geokeys=MappingProxyType(keys),
                    preferred=not header.says_wkt if names_kind else None,
                    problem=problem,
                )
            )
        elif record.record_id == MATH_TRANSFORM:
            findings.append(
                Finding(
                    "crs-unreadable",
                    Severity.WARNING,
                    f"{header.path.name}: {record.where} declares a transform of the coordinates, "
                    "which is not applied",
                    remedy="hand in coordinates in their final reference system",
                )
            )
            continue
        else:
            continue
        for text in (*((problem,) if problem else ()), *notes):
            findings.append(broken_record(header.path, f"{record.where}: {text}"))
    return tuple(evidence), tuple(findings)


def _first(records: Sequence[LasRecord], record_id: int) -> bytes:
    return next((record.data for record in records if record.record_id == record_id), b"")


def _wkt(data: bytes) -> tuple[str | None, str | None]:
    """Give (text, problem); text ends at the first zero byte."""
    raw = data.split(b"\0")[0].strip()
    if not raw.strip(b"'\""):  # an empty text may stand in quotes
        return None, "the record is empty"
    try:
        return raw.decode("utf-8"), None
    except UnicodeDecodeError:  # accented names, written in the code page of the machine
        return raw.decode("latin-1"), None
