"""The header of LAS files and the list of their records, read with guards.

A count or length in a file is believed only as far as the file's own size allows, so that no file,
however damaged, makes this reader loop or fill the memory.

References
----------
ASPRS, LAS Specification 1.4 R15, "Public Header Block", "Variable Length Records" and "Extended Variable
Length Records"; versions 1.0 to 1.3 differ in what is named here (from memory, checked against laspy).
"""

from __future__ import annotations

import math
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import BinaryIO

from accuracy.errors import FormatError
from accuracy.findings import Finding, Severity
from accuracy.formats import StoredGrid

COPY_AGAIN = "copy the file again from its source and compare the sizes"
EXPORT_AGAIN = "export the file again from the software that made it"

#: Bytes of one point in point format 0 to 10, without extra bytes.
RECORD_LENGTHS = (20, 28, 26, 34, 57, 63, 30, 36, 38, 59, 67)

STORED_REACH = 1 << 31  # stored coordinates are 32-bit integers
SMALLEST_HEADER = {0: 227, 1: 227, 2: 227, 3: 235, 4: 375}
MOST_RECORDS = 100_000  # per kind; real files hold a handful, copc files one page each
LONGEST_TEXT_BYTES = 4_000_000  # a reference system longer than this is damage
KEPT_RECORDS = {
    ("LASF_Projection", 2111),
    ("LASF_Projection", 2112),
    ("LASF_Projection", 34735),
    ("LASF_Projection", 34736),
    ("LASF_Projection", 34737),
    ("laszip encoded", 22204),
    ("copc", 1),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LasHeader:
    """The public header block, checked.

    Attributes
    ----------
    points : int
        Number of points the file is read for: the 64-bit count of LAS 1.4, the legacy count before.
    grid : StoredGrid
        Scale and offset, exact.
    scale, offset, minimum, maximum : tuple of float
        For x, y, z in stored units, as written.
    points_end : int
        First byte that cannot belong to points, as far as the header tells.
    """

    path: Path
    size_bytes: int
    minor_version: int
    global_encoding: int
    header_size: int
    points_offset: int
    record_count: int
    extended_offset: int
    extended_count: int
    point_format: int
    compressed: bool
    record_length: int
    points: int
    grid: StoredGrid
    scale: tuple[float, float, float]
    offset: tuple[float, float, float]
    minimum: tuple[float, float, float]
    maximum: tuple[float, float, float]
    points_end: int

    @property
    def says_wkt(self) -> bool:
        """Whether the global encoding names WKT as the kind of reference system record."""
        return bool(self.global_encoding & 0x10)


@dataclass(frozen=True, slots=True)
class LasRecord:
    """One variable length record; `data` is kept only for the kinds in `KEPT_RECORDS`."""

    user_id: str
    record_id: int
    extended: bool
    data: bytes

    @property
    def where(self) -> str:
        """For people: ``VLR LASF_Projection 2112``."""
        return f"{'EVLR' if self.extended else 'VLR'} {self.user_id} {self.record_id}"


def cut_short(path: Path, promised: int, held: str) -> FormatError:
    """Make the error of a file that ends before its last point."""
    return FormatError(
        f"cut short: header promises {promised} points, {held}", where=str(path), remedy=COPY_AGAIN
    )


def broken_record(path: Path, message: str) -> Finding:
    """Make the finding of a record that was not used."""
    return Finding(
        "file-record-broken",
        Severity.WARNING,
        f"{path.name}: {message}",
        remedy=f"check what else declares the reference system, or {EXPORT_AGAIN}",
    )


def read_header(file: BinaryIO, path: Path) -> tuple[LasHeader, tuple[Finding, ...]]:
    """Read the public header block of LAS 1.0 to 1.4.

    Raises
    ------
    FormatError
        Not a LAS file, a version or point format not read here, a header that cannot be right, or
        uncompressed points that end before the promised number.
    """
    size = file.seek(0, 2)
    file.seek(0)
    block = file.read(375)
    minor = _check_beginning(block, size, path)
    (encoding,) = struct.unpack_from("<H", block, 6)
    header_size, points_offset, record_count = struct.unpack_from("<HII", block, 94)
    format_byte, record_length, legacy_points = struct.unpack_from("<BHI", block, 104)
    numbers = struct.unpack_from("<12d", block, 131)
    box = numbers[6:]  # max x, min x, max y, min y, max z, min z

    if header_size < SMALLEST_HEADER[minor]:
        raise _wrong(
            path,
            f"a header of LAS 1.{minor} has no less than {SMALLEST_HEADER[minor]} bytes, "
            f"this one says {header_size}",
        )
    if points_offset < header_size:
        raise _wrong(path, f"points are said to start at byte {points_offset}, inside the header")
    point_format, compressed = _check_point_format(format_byte, record_length, path)
    waveform_offset = extended_offset = extended_count = 0
    points = legacy_points
    findings: list[Finding] = []
    if minor >= 3:
        (waveform_offset,) = struct.unpack_from("<Q", block, 227)
    if minor >= 4:
        extended_offset, extended_count, long_points = struct.unpack_from("<QIQ", block, 235)
        points, findings = _count(long_points, legacy_points, path)
    if points_offset > size:
        raise cut_short(path, points, f"but they start at byte {points_offset} of {size}")

    points_end = size
    if extended_count and points_offset <= extended_offset:
        points_end = min(points_end, extended_offset)
    if points_offset <= waveform_offset:  # waveforms inside the file follow the points
        points_end = min(points_end, waveform_offset)
    header = LasHeader(
        path=path,
        size_bytes=size,
        minor_version=minor,
        global_encoding=encoding,
        header_size=header_size,
        points_offset=points_offset,
        record_count=record_count,
        extended_offset=extended_offset,
        extended_count=extended_count,
        point_format=point_format,
        compressed=compressed,
        record_length=record_length,
        points=points,
        grid=_grid(numbers[:3], numbers[3:6], path),
        scale=numbers[:3],
        offset=numbers[3:6],
        minimum=(box[1], box[3], box[5]),
        maximum=(box[0], box[2], box[4]),
        points_end=points_end,
    )
    if not compressed:
        findings.extend(_check_uncompressed(header))
    return header, tuple(findings)


def read_records(
    file: BinaryIO, header: LasHeader
) -> tuple[tuple[LasRecord, ...], tuple[Finding, ...]]:
    """List the variable length records, then the extended ones, in file order.

    Points are found by their own offset, so a broken record only ends its list: what follows it cannot be
    found, and the finding says so.
    """
    findings: list[Finding] = []
    records = [*_walk(file, header, findings, extended=False)]
    if header.extended_count:
        earliest = header.points_offset
        if not header.compressed:
            earliest += header.points * header.record_length
        if earliest <= header.extended_offset <= header.size_bytes:
            records += _walk(file, header, findings, extended=True)
        else:
            findings.append(
                broken_record(
                    header.path,
                    f"extended records are said to start at byte {header.extended_offset}, where they "
                    f"cannot be (points start at {header.points_offset}, the file has "
                    f"{header.size_bytes} bytes); they were not read",
                )
            )
    return tuple(records), tuple(findings)


def _walk(
    file: BinaryIO, header: LasHeader, findings: list[Finding], *, extended: bool
) -> Iterator[LasRecord]:
    if extended:
        kind, layout, start = "extended record", "<H16sHQ", header.extended_offset
        count, end, head_size = header.extended_count, header.size_bytes, 60
    else:
        kind, layout, start = "record", "<H16sHH", header.header_size
        count, end, head_size = header.record_count, header.points_offset, 54
    for number in range(1, count + 1):
        problem = "lies outside the room for records"
        if number > MOST_RECORDS:
            problem = "is more than any file needs"
        elif start + head_size <= end:
            file.seek(start)
            head = file.read(head_size)
            _, raw_user, record_id, length = struct.unpack_from(layout, head)
            user_id = raw_user.split(b"\0")[0].decode("ascii", "replace")
            kept = (user_id, record_id) in KEPT_RECORDS
            problem = (
                f"({user_id} {record_id}) says it has {length} bytes, which is impossible here"
            )
            if start + head_size + length <= end and not (kept and length > LONGEST_TEXT_BYTES):
                yield LasRecord(user_id, record_id, extended, file.read(length) if kept else b"")
                start += head_size + length
                continue
        findings.append(
            broken_record(
                header.path,
                f"{kind} {number} of {count} {problem}; it and what follows it were not read",
            )
        )
        return


def _check_beginning(block: bytes, size: int, path: Path) -> int:
    if block[:4] != b"LASF":
        what = (
            "the file is empty"
            if not block
            else "not a LAS or LAZ file (it does not begin with LASF)"
        )
        raise FormatError(what, where=str(path), remedy="hand in the point cloud as .las or .laz")
    if len(block) < 227:
        raise FormatError(
            f"cut short: {size} bytes cannot hold a header", where=str(path), remedy=COPY_AGAIN
        )
    major, minor = block[24], block[25]
    if major != 1 or minor > 4:
        raise FormatError(
            f"LAS {major}.{minor} is not read here, only 1.0 to 1.4",
            where=str(path),
            remedy="export the points as LAS 1.4",
        )
    if len(block) < SMALLEST_HEADER[minor]:
        raise FormatError(
            f"cut short: {size} bytes cannot hold a header", where=str(path), remedy=COPY_AGAIN
        )
    return minor


def _check_point_format(format_byte: int, record_length: int, path: Path) -> tuple[int, bool]:
    compressed, point_format = bool(format_byte & 0x80), format_byte & 0x7F
    if point_format > 10:
        raise FormatError(
            f"point format {point_format} is not read here, only 0 to 10",
            where=str(path),
            remedy="export the points as LAS 1.4 with point format 6 or 7",
        )
    smallest = RECORD_LENGTHS[point_format]
    if record_length < smallest:
        raise _wrong(
            path,
            f"a point of format {point_format} has no less than {smallest} bytes, "
            f"the header says {record_length}",
        )
    return point_format, compressed


def _count(long_points: int, legacy_points: int, path: Path) -> tuple[int, list[Finding]]:
    """Choose between the two counts of LAS 1.4: the 64-bit one, unless it was left empty."""
    if legacy_points in (0, long_points):
        return long_points, []
    points = long_points or legacy_points
    return points, [
        Finding(
            "file-count-differs",
            Severity.WARNING,
            f"{path.name}: the header counts {long_points} points and, in its legacy field, "
            f"{legacy_points}; {points} are read",
            evidence={"points": long_points, "legacy_points": legacy_points},
            remedy=EXPORT_AGAIN,
        )
    ]


def _check_uncompressed(header: LasHeader) -> list[Finding]:
    room = header.points_end - header.points_offset
    held = room // header.record_length
    if held >= header.points:
        return surplus_points(header, held)
    if (header.size_bytes - header.points_offset) // header.record_length >= header.points:
        return []  # what is said to follow the points starts too early: read_records says so
    raise cut_short(header.path, header.points, f"file holds {held}" if held else "file has none")


def surplus_points(header: LasHeader, held: int) -> list[Finding]:
    """Say that a file has room for more points than its header counts."""
    if held <= header.points:
        return []
    return [
        Finding(
            "file-count-differs",
            Severity.WARNING,
            f"{header.path.name}: the header counts {header.points} points, the file has room for "
            f"{held}; those beyond the count are not read",
            evidence={"points": header.points, "points_held": held},
            remedy=EXPORT_AGAIN,
        )
    ]


def _grid(scale: tuple[float, ...], offset: tuple[float, ...], path: Path) -> StoredGrid:
    for axis, one_scale, one_offset in zip("xyz", scale, offset, strict=True):
        if not (math.isfinite(one_scale) and one_scale > 0.0 and math.isfinite(one_offset)):
            raise _wrong(
                path,
                f"scale {one_scale!r} and offset {one_offset!r} of {axis} make no "
                "coordinates: a scale is a number above zero, an offset a number",
            )
    sx, sy, sz = (Fraction(repr(value)) for value in scale)
    ox, oy, oz = (Fraction(repr(value)) for value in offset)
    return StoredGrid(scale=(sx, sy, sz), offset=(ox, oy, oz))


def _wrong(path: Path, message: str) -> FormatError:
    return FormatError(f"the header is wrong: {message}", where=str(path), remedy=EXPORT_AGAIN)
