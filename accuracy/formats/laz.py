"""Compressed LAS points: the laszip record, the table of chunks, and decompression through lazrs.

Everything is checked before lazrs sees it: it panics on some damaged files, and reads others short
without a word.

References
----------
M. Isenburg, "LASzip: lossless compression of LiDAR data", PE&RS 79(2), 2013; the layout of the record and
of the table of chunks follows the open implementations (from memory, checked on real files).
"""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import FormatError
from accuracy.findings import Finding
from accuracy.formats.las_header import (
    COPY_AGAIN,
    LasHeader,
    LasRecord,
    cut_short,
    surplus_points,
)

COMPRESS_AGAIN = "compress the points again with current software, or hand in uncompressed .las"
POINTWISE_CHUNKED, LAYERED_CHUNKED = 2, 3
VARIABLE = 0xFFFFFFFF
#: Item type -> versions that lazrs reads, for both compressors.
ITEM_VERSIONS: dict[int, dict[int, tuple[int, ...]]] = {
    POINTWISE_CHUNKED: {0: (1, 2), 6: (1, 2), 7: (1, 2), 8: (1, 2), 9: (1, 2)},
    LAYERED_CHUNKED: {10: (3,), 11: (3,), 12: (3,), 13: (3,), 14: (3,)},
}
LAYERS_OF_ITEM = {10: 9, 11: 1, 12: 2, 13: 1}  # type 14, extra bytes: one per byte
# layers to decompress: x, y and return numbers always come along
LAYERS_XY = 0
LAYERS_POINT = 1 | 2 | 4 | 16 | 64 | 128  # z, class, flags, scan angle, point source id, GPS time


@dataclass(frozen=True, slots=True)
class Chunk:
    """Points compressed together: where they lie in the file and how many they are."""

    start: int
    size_bytes: int
    points: int


@dataclass(frozen=True, slots=True)
class Compression:
    """How the points of one file are compressed.

    Attributes
    ----------
    record : bytes
        The laszip record.
    layer_count : int
        Number of layers that can be decompressed apart (point formats 6 to 10), else 0.
    chunks : tuple of Chunk
        Those that hold the first `LasHeader.points` points, checked against header and file size; the
        last one may hold more.
    """

    record: bytes
    layer_count: int
    chunks: tuple[Chunk, ...]

    @property
    def layered(self) -> bool:
        """Whether fields can be decompressed apart."""
        return self.layer_count > 0


def read_compression(
    file: BinaryIO, header: LasHeader, records: Sequence[LasRecord]
) -> tuple[Compression, tuple[Finding, ...]]:
    """Check that the points can be decompressed and list the chunks.

    Raises
    ------
    FormatError
        The compression is not supported, or the file was cut short.
    """
    record = next((r.data for r in records if r.user_id == "laszip encoded"), None)
    if record is None:
        raise FormatError(
            "points are compressed but the record that says how is missing or damaged",
            where=str(header.path),
            remedy=COMPRESS_AGAIN,
        )
    chunk_size, layer_count = _check_record(record, header)
    if not header.points:
        return Compression(record, layer_count, ()), ()
    start, table = _read_table(file, header, record)
    if chunk_size != VARIABLE:  # then the table need not count; only the last chunk may be smaller
        table = [(chunk_size, size) for _, size in table]
    chunks: list[Chunk] = []
    for points, size in table:
        if not points and not size:
            continue  # an empty chunk holds nothing to read
        chunks.append(Chunk(start, size, points))
        start += size
    if layer_count and chunks:
        chunks[-1] = _with_own_count(file, header, chunks[-1])
    counted = bool(layer_count) or chunk_size == VARIABLE
    fitted, findings = _fit(chunks, header, counted=counted)
    return Compression(record, layer_count, fitted), findings


def decompress(
    data: bytes,
    compression: Compression,
    chunks: Sequence[Chunk],
    layers: int,
    header: LasHeader,
    records: NDArray[np.uint8],
) -> None:
    """Decompress whole chunks on all cores.

    Parameters
    ----------
    records : ndarray of uint8, shape (n * record length,)
        Room for all points of the chunks, filled here; what the layers do not name is arbitrary.
    """
    import lazrs

    if compression.layered:
        _check_chunks(data, compression, chunks, header)
    with lazrs_errors(header.path):
        lazrs.decompress_points_with_chunk_table(
            data,
            compression.record,
            records,
            [(chunk.points, chunk.size_bytes) for chunk in chunks],
            lazrs.DecompressionSelection(layers),
        )


def probe(
    data: bytes, compression: Compression, chunks: Sequence[Chunk], header: LasHeader, points: int
) -> NDArray[np.uint8]:
    """Decompress x and y of the first points of each layered chunk, which costs that much less.

    Returns
    -------
    ndarray of uint8, shape (chunks, points, record length)
    """
    import lazrs

    _check_chunks(data, compression, chunks, header)
    records = np.zeros(len(chunks) * points * header.record_length, dtype=np.uint8)
    with lazrs_errors(header.path):
        lazrs.decompress_points_with_chunk_table(
            data,
            compression.record,
            records,
            [(points, chunk.size_bytes) for chunk in chunks],
            lazrs.DecompressionSelection(LAYERS_XY),
        )
    return records.reshape(len(chunks), points, header.record_length)


def stream(
    file: BinaryIO, compression: Compression, layers: int, header: LasHeader, batch_points: int
) -> Iterator[NDArray[np.uint8]]:
    """Decompress in order on one core, for files whose chunks are too large to hold."""
    import lazrs

    file.seek(header.points_offset)
    with lazrs_errors(header.path):
        decompressor = lazrs.LasZipDecompressor(
            file, compression.record, lazrs.DecompressionSelection(layers)
        )
    left = header.points
    while left:
        count = min(left, batch_points)
        records = np.zeros(count * header.record_length, dtype=np.uint8)
        with lazrs_errors(header.path):
            decompressor.decompress_many(records)
        yield records.reshape(count, header.record_length)
        left -= count


@contextmanager
def lazrs_errors(path: Path) -> Iterator[None]:
    """Turn every failure of lazrs into a `FormatError`; its panics are no subclass of Exception."""
    import lazrs

    try:
        yield
    except BaseException as error:
        if isinstance(error, lazrs.LazrsError) or type(error).__name__ == "PanicException":
            raise FormatError(
                f"compressed points cannot be read, the file is damaged ({error})",
                where=str(path),
                remedy=COPY_AGAIN,
            ) from error
        raise


def _check_record(record: bytes, header: LasHeader) -> tuple[int, int]:
    """Check the laszip record; give chunk size and number of layers."""

    def refused(why: str) -> FormatError:
        return FormatError(
            f"compressed points are not supported: {why}",
            where=str(header.path),
            remedy=COMPRESS_AGAIN,
        )

    if len(record) < 34:
        raise refused(f"the laszip record has {len(record)} bytes, too few")
    compressor, coder = struct.unpack_from("<HH", record)
    (chunk_size,) = struct.unpack_from("<I", record, 12)
    (count,) = struct.unpack_from("<H", record, 32)
    if compressor not in ITEM_VERSIONS:
        known = ", pointwise without a table of chunks" if compressor == 1 else ""
        raise refused(f"compressor {compressor}{known}")
    if coder != 0:
        raise refused(f"coder {coder} is unknown")
    if chunk_size == 0:
        raise refused("chunks of no points")
    if len(record) < 34 + 6 * count:
        raise refused("the laszip record ends inside its list of items")
    length = layer_count = 0
    for number in range(count):
        item, size, version = struct.unpack_from("<HHH", record, 34 + 6 * number)
        if version not in ITEM_VERSIONS[compressor].get(item, ()):
            raise refused(f"item type {item} in version {version}")
        length += size
        if compressor == LAYERED_CHUNKED:
            layer_count += LAYERS_OF_ITEM.get(item, size)
    if length != header.record_length:
        raise refused(f"it has points of {length} bytes, the header says {header.record_length}")
    if (compressor == LAYERED_CHUNKED) != (header.point_format >= 6):
        raise refused(f"compressor {compressor} does not fit point format {header.point_format}")
    return chunk_size, layer_count


def _read_table(
    file: BinaryIO, header: LasHeader, record: bytes
) -> tuple[int, list[tuple[int, int]]]:
    """Find and read the table of chunks; give the start of the first chunk and (points, bytes) of each."""
    import lazrs

    first = header.points_offset + 8
    file.seek(header.points_offset)
    (offset,) = struct.unpack("<q", file.read(8).ljust(8, b"\xff"))
    if offset == -1:  # a writer that could not go back puts the offset at the very end
        file.seek(max(header.size_bytes - 8, 0))
        (offset,) = struct.unpack("<q", file.read(8).ljust(8, b"\xff"))
    if not first <= offset <= header.size_bytes - 8:
        raise cut_short(
            header.path,
            header.points,
            f"file ends before the table of chunks (expected at byte {offset}, "
            f"the file has {header.size_bytes} bytes)",
        )
    file.seek(offset)
    version, count = struct.unpack("<II", file.read(8))
    room = offset - first
    if version != 0 or not count or count * header.record_length > room:
        raise FormatError(
            f"the table of chunks is damaged (version {version}, {count} chunks in {room} bytes)",
            where=str(header.path),
            remedy=COPY_AGAIN,
        )
    file.seek(offset)
    with lazrs_errors(header.path):
        table = lazrs.read_chunk_table_only(
            io.BytesIO(file.read(64 + 24 * count)), lazrs.LazVlr(record)
        )
    if len(table) != count or sum(size for _, size in table) != room:
        raise FormatError(
            "the table of chunks is damaged: its sizes do not add up to the compressed points",
            where=str(header.path),
            remedy=COPY_AGAIN,
        )
    return first, [(int(points), int(size)) for points, size in table]


def _with_own_count(file: BinaryIO, header: LasHeader, chunk: Chunk) -> Chunk:
    """Take the number of points from the layered chunk itself, where it follows the first point."""
    file.seek(chunk.start + header.record_length)
    raw = file.read(4)
    return (
        Chunk(chunk.start, chunk.size_bytes, struct.unpack("<I", raw)[0])
        if len(raw) == 4
        else chunk
    )


def _check_chunks(
    data: bytes, compression: Compression, chunks: Sequence[Chunk], header: LasHeader
) -> None:
    """Check what layered chunks say of themselves: lazrs would reserve any number of bytes they claim.

    A chunk is its first point, the number of points, the size of each layer, and the layers.
    """
    start = 0
    for chunk in chunks:
        preamble = struct.Struct(f"<{1 + compression.layer_count}I")
        payload = chunk.size_bytes - header.record_length - preamble.size
        if payload < 0:
            raise _damaged_chunk(chunk, header, f"{chunk.size_bytes} bytes hold no chunk")
        points, *sizes = preamble.unpack_from(data, start + header.record_length)
        if points != chunk.points:
            raise _damaged_chunk(chunk, header, f"{points} points instead of {chunk.points}")
        if sum(sizes) != payload:
            raise _damaged_chunk(chunk, header, f"layers of {sum(sizes)} bytes in {payload}")
        start += chunk.size_bytes


def _damaged_chunk(chunk: Chunk, header: LasHeader, what: str) -> FormatError:
    return FormatError(
        f"compressed points at byte {chunk.start} are damaged: {what}",
        where=str(header.path),
        remedy=COPY_AGAIN,
    )


def _fit(
    chunks: list[Chunk], header: LasHeader, *, counted: bool
) -> tuple[tuple[Chunk, ...], tuple[Finding, ...]]:
    """Compare the chunks with the header's count.

    Where the chunks do not count their points (`counted` false), the last one is as large as the header
    makes it.
    """
    held = sum(chunk.points for chunk in chunks)
    if held < header.points:
        raise cut_short(header.path, header.points, f"file holds {held}")
    findings = tuple(surplus_points(header, held))
    if not counted and held - chunks[-1].points < header.points:
        findings = ()
    kept: list[Chunk] = []
    missing = header.points
    for chunk in chunks:
        if missing <= 0:
            break
        points = chunk.points if counted else min(chunk.points, missing)
        if points:
            kept.append(Chunk(chunk.start, chunk.size_bytes, points))
        missing -= points
    return tuple(kept), findings
