"""What the header of a LAS or LAZ file tells beyond what reading its points needs.

References
----------
ASPRS, LAS Specification 1.4 R15, "Public Header Block" (from memory, checked against laspy).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Literal

from accuracy.errors import FormatError
from accuracy.formats.las_header import RECORD_LENGTHS, read_header, read_records

TimeKind = Literal["none", "gps-week", "adjusted-standard"]
#: Point formats that carry a GPS time.
TIMED = frozenset({1, 3, 4, 5, 6, 7, 8, 9, 10})


@dataclass(frozen=True, slots=True, kw_only=True)
class LasAbout:
    """Header facts for people.

    Attributes
    ----------
    version : str
        ``1.4``.
    compression : {"none", "LAZ", "COPC"}
        How points are stored.
    extra_bytes : int
        Bytes of each point beyond its format.
    system, software : str
        As written; may hold anything.
    created : date or None
        Creation date; None where the header has none, or an impossible one.
    day_of_year, year : int
        The date as written; days count from 1.
    legacy_points : int
        The 32-bit count.
    long_points : int or None
        The 64-bit count of LAS 1.4.
    legacy_by_return, long_by_return : tuple of int
        Points by return number, from 1: five legacy counts, fifteen of LAS 1.4 (else empty).
    names_wkt : bool or None
        What the global encoding names as kind of reference system record (LAS 1.4 only): True WKT, False
        GeoKeys.
    time_kind : {"none", "gps-week", "adjusted-standard"}
        Kind of GPS time by point format and global encoding.
    scale, offset, minimum, maximum : tuple of float
        For x, y, z, as written.
    records : tuple of str
        The records beside the points: ``VLR LASF_Projection 2112``.
    """

    version: str
    point_format: int
    compression: Literal["none", "LAZ", "COPC"]
    extra_bytes: int
    system: str
    software: str
    created: date | None
    day_of_year: int
    year: int
    legacy_points: int
    long_points: int | None
    legacy_by_return: tuple[int, ...]
    long_by_return: tuple[int, ...]
    names_wkt: bool | None
    time_kind: TimeKind
    scale: tuple[float, float, float]
    offset: tuple[float, float, float]
    minimum: tuple[float, float, float]
    maximum: tuple[float, float, float]
    records: tuple[str, ...]

    @property
    def by_return(self) -> tuple[int, ...]:
        """Points by return number that count: those of LAS 1.4 unless they were left empty."""
        return self.long_by_return if any(self.long_by_return) else self.legacy_by_return


def about_las(path: Path) -> LasAbout:
    """Read the header and list the records; no points.

    Raises
    ------
    FormatError
        The file is missing, or no LAS file of a kind read here.
    """
    try:
        with path.open("rb") as file:
            header, _ = read_header(file, path)
            records, _ = read_records(file, header)
            file.seek(0)
            block = file.read(375)
    except OSError as error:
        raise FormatError(
            f"cannot be read: {error.strerror or error}",
            where=str(path),
            remedy="check that it is a file and that you may read it",
        ) from error
    long = header.minor_version >= 4
    copc = any(record.user_id == "copc" and record.record_id == 1 for record in records)
    timed = header.point_format in TIMED
    day, year = struct.unpack_from("<HH", block, 90)
    return LasAbout(
        version=f"1.{header.minor_version}",
        point_format=header.point_format,
        compression="none" if not header.compressed else "COPC" if copc else "LAZ",
        extra_bytes=header.record_length - RECORD_LENGTHS[header.point_format],
        system=_text(block[26:58]),
        software=_text(block[58:90]),
        created=_date(day, year),
        day_of_year=day,
        year=year,
        legacy_points=struct.unpack_from("<I", block, 107)[0],
        long_points=struct.unpack_from("<Q", block, 247)[0] if long else None,
        legacy_by_return=struct.unpack_from("<5I", block, 111),
        long_by_return=struct.unpack_from("<15Q", block, 255) if long else (),
        names_wkt=header.says_wkt if long else None,
        time_kind="none"
        if not timed
        else "adjusted-standard"
        if header.global_encoding & 0x01
        else "gps-week",
        scale=header.scale,
        offset=header.offset,
        minimum=header.minimum,
        maximum=header.maximum,
        records=tuple(record.where for record in records),
    )


def _text(field: bytes) -> str:
    return field.split(b"\0")[0].decode("latin-1").strip()


def _date(day_of_year: int, year: int) -> date | None:
    if not (1980 <= year <= 2200 and 1 <= day_of_year <= 366):
        return None
    return date(year, 1, 1) + timedelta(days=day_of_year - 1)
