"""What the records of a LAS file declare about the reference system, literally.

References
----------
ASPRS, LAS Specification 1.4 R15, "Georeferencing VLRs"; OGC GeoTIFF 1.1 (19-008r4), "GeoKey directory"
(both from memory).
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from types import MappingProxyType

from accuracy.findings import Finding, Severity
from accuracy.formats import CrsEvidence, GeoKeyValue
from accuracy.formats.las_header import LasHeader, LasRecord, broken_record

MATH_TRANSFORM, WKT, DIRECTORY, DOUBLES, TEXTS = 2111, 2112, 34735, 34736, 34737


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
            keys, problem, notes = _geokeys(
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


def _geokeys(
    directory: bytes, doubles: bytes, texts: bytes
) -> tuple[dict[int, GeoKeyValue], str | None, tuple[str, ...]]:
    """Resolve a GeoKey directory.

    Returns
    -------
    keys : dict
        Key id to value; several doubles of one key as text, separated by blanks.
    problem : str or None
        Why nothing could be read.
    notes : tuple of str
        Keys that had to be left out, with the reason.
    """
    if len(directory) < 8:
        return {}, f"the GeoKey directory has {len(directory)} bytes, fewer than its own header", ()
    version, _, _, count = struct.unpack_from("<4H", directory)
    if version != 1:
        what = "is zeroed" if not any(directory) else f"has version {version} instead of 1"
        return {}, f"the GeoKey directory {what}", ()
    present = (len(directory) - 8) // 8
    keys: dict[int, GeoKeyValue] = {}
    notes: list[str] = []
    if count > present:
        notes.append(f"the GeoKey directory promises {count} keys and holds {present}")
    zeroed = 0
    for number in range(min(count, present)):
        key, location, length, value = struct.unpack_from("<4H", directory, 8 + 8 * number)
        if key == 0:  # no key has id 0
            zeroed += 1
            continue
        found: GeoKeyValue | None = None
        if location == 0:
            found = value
        elif location == DOUBLES and length and 8 * (value + length) <= len(doubles):
            numbers = struct.unpack_from(f"<{length}d", doubles, 8 * value)
            found = numbers[0] if length == 1 else " ".join(map(repr, numbers))
        elif location == TEXTS and value + length <= len(texts):
            found = (
                texts[value : value + length].decode("latin-1").split("\0")[0].strip("|").strip()
            )
        elif location == DIRECTORY and length and 2 * (value + length) <= len(directory):
            shorts = struct.unpack_from(f"<{length}H", directory, 2 * value)
            found = shorts[0] if length == 1 else " ".join(map(str, shorts))
        if found is None:
            notes.append(f"the value of GeoKey {key} lies outside record {location}; key left out")
        elif key in keys and keys[key] != found:
            notes.append(f"GeoKey {key} stands twice with different values; the first is kept")
        else:
            keys[key] = found
    if zeroed:
        notes.append(f"{zeroed} of {count} GeoKeys are zeroed")
    return keys, None if keys else "the GeoKey directory holds no keys", tuple(notes)
