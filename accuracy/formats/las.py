"""Point clouds in LAS and LAZ files, version 1.0 to 1.4, point formats 0 to 10.

A file is opened by its header and read in batches, so that memory does not grow with the file. Points far
from every place are thrown out as stored integers, before anything is computed from them. COPC files are
read as the LAZ files they are.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import FormatError
from accuracy.findings import Finding
from accuracy.formats import PointBatch, SurfaceInfo
from accuracy.formats.las_box import BoxWatch, HeaderBox
from accuracy.formats.las_crs import crs_evidence
from accuracy.formats.las_header import (
    LasHeader,
    cut_short,
    read_header,
    read_records,
)
from accuracy.formats.laz import (
    LARGEST_CHUNK_BYTES,
    LAYERS_POINT,
    LAYERS_XY,
    Chunk,
    Compression,
    decompress,
    read_compression,
    stream,
)
from accuracy.formats.places import Places
from accuracy.formats.sidecar import sidecar_evidence

BATCH_POINTS = 1_000_000
BATCH_BYTES = 1 << 26

Records = NDArray[Any]  # structured, with the fields of `_point_dtype`
#: Takes stored x and y of some points, gives the indices of those wanted, ascending.
Choice = Callable[[NDArray[np.int32], NDArray[np.int32]], NDArray[np.intp]]


def open_las(path: Path) -> LasCloud:
    """Open a LAS or LAZ file: header, records and, if compressed, the table of chunks; no points.

    Raises
    ------
    FormatError
        The file is missing, is no LAS file of a kind read here, or ends before its last point.
    """
    with _opened(path) as file:
        header, findings = read_header(file, path)
        records, record_findings = read_records(file, header)
        evidence, crs_findings = crs_evidence(records, header)
        findings += record_findings + crs_findings
        compression = None
        if header.compressed:
            compression, more = read_compression(file, header, records)
            findings += more
        box = HeaderBox(header, _first_point(file, header))
        findings += box.findings()
    copc = any(record.user_id == "copc" and record.record_id == 1 for record in records)
    kind = (", COPC" if copc else ", LAZ") if header.compressed else ""
    info = SurfaceInfo(
        path=path,
        kind="point-cloud",
        format=f"LAS 1.{header.minor_version}, point format {header.point_format}{kind}",
        size_bytes=header.size_bytes,
        bounds=(*header.minimum[:2], *header.maximum[:2]),
        crs_evidence=(*evidence, *sidecar_evidence(path)),
        findings=findings,
        points=header.points,
        decimals=decimals_of(header.scale[2]),
        bounds_believed=box.problem is None,
    )
    return LasCloud(info, header, compression, box)


def decimals_of(scale: float) -> int:
    """Count the decimals of numbers stored with this scale.

    A scale that is a short decimal gives its own (0.001: 3, 0.00025: 5); any other is rounded up to whole
    decimals (0.00139: 3).
    """
    needed = max(0, math.ceil(-math.log10(scale) - 1e-9))
    exponent = Decimal(repr(scale)).normalize().as_tuple().exponent
    own = max(0, -exponent) if isinstance(exponent, int) else needed
    return own if own <= needed + 2 else needed


class LasCloud:
    """A LAS or LAZ file, opened by its header; implements `accuracy.formats.PointSurface`.

    Attributes
    ----------
    info : SurfaceInfo
        What the header says. ``info.bounds`` is the box as written, believable or not.
    grid : StoredGrid
        Scale and offset of stored coordinates.
    reading_findings : list of Finding
        What the last complete pass through `near` found in the points; renewed by each pass.
    """

    def __init__(
        self,
        info: SurfaceInfo,
        header: LasHeader,
        compression: Compression | None,
        box: HeaderBox,
    ) -> None:
        self.info = info
        self.grid = header.grid
        self.reading_findings: list[Finding] = []
        self._header = header
        self._compression = compression
        self._box = box
        self._dtype: np.dtype[np.void] = _point_dtype(header.point_format, header.record_length)

    def near(
        self, x: NDArray[np.float64], y: NDArray[np.float64], radius: float
    ) -> Iterator[PointBatch]:
        """Yield every point within `radius` (stored units, horizontally) of any place (x, y).

        Points up to a few stored units farther away come along. Nothing is read if the header's box of
        points misses all discs, unless that box cannot be believed.

        Raises
        ------
        FormatError
            While reading: points that cannot be decompressed, or that are fewer than promised.
        """
        self.reading_findings = []
        header = self._header
        x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
        if not header.points or not self._box.meets(x, y, radius):
            return
        places = Places(x, y, radius, header.scale[:2], header.offset[:2])
        watch = BoxWatch(self._box)

        def choose(stored_x: NDArray[np.int32], stored_y: NDArray[np.int32]) -> NDArray[np.intp]:
            watch.see(stored_x, stored_y)
            return places.near(stored_x, stored_y)

        for records in self._batches(choose, LAYERS_POINT):
            yield self._batch(records)
        self.reading_findings = watch.findings()

    def _batches(self, choose: Choice, layers: int) -> Iterator[Records]:
        """Read the file once, in order; yield copies of the chosen points' records.

        `choose` sees every point exactly once. `layers` names what must be decompressed of the chosen
        points, where the format allows a choice; other fields are arbitrary then.
        """
        header = self._header
        size = max(1, min(BATCH_POINTS, BATCH_BYTES // header.record_length))
        with _opened(header.path) as file:
            if self._compression is None:
                batches: Iterator[NDArray[np.uint8]] = _uncompressed(file, header, size)
            elif _holdable(self._compression, header):
                yield from self._chunkwise(file, self._compression, choose, layers, size)
                return
            else:
                batches = stream(file, self._compression, layers, header, size)
            for raw in batches:
                records = self._records(raw)
                chosen = choose(records["x"], records["y"])
                if chosen.size:
                    yield records[chosen]

    def _chunkwise(
        self, file: BinaryIO, compression: Compression, choose: Choice, layers: int, size: int
    ) -> Iterator[Records]:
        """Decompress groups of whole chunks.

        In layered files x and y come first and the rest only of chunks with chosen points, unless the
        group before had such points in most of its chunks: then once through everything is cheaper.
        """
        left = self._header.points
        everything = not compression.layered
        for group in _groups(compression.chunks, size):
            data = _read_exactly(
                file, group[0].start, sum(c.size_bytes for c in group), self._header
            )
            raw = decompress(
                data, compression, group, layers if everything else LAYERS_XY, self._header
            )
            records = self._records(raw)[:left]
            left -= len(records)
            chosen = choose(records["x"], records["y"])
            starts = np.cumsum([0, *(chunk.points for chunk in group)])
            per_chunk = np.diff(np.searchsorted(chosen, starts))
            hit = np.flatnonzero(per_chunk)
            if chosen.size and everything:
                yield records[chosen]
            elif chosen.size:
                yield self._rest(data, compression, group, hit, starts, chosen, layers)
            everything = not compression.layered or 2 * hit.size > len(group)

    def _rest(
        self,
        data: bytes,
        compression: Compression,
        group: list[Chunk],
        hit: NDArray[np.intp],
        starts: NDArray[np.int64],
        chosen: NDArray[np.intp],
        layers: int,
    ) -> Records:
        """Decompress the chunks that hold chosen points once more, now with all wanted layers."""
        chunks = [group[i] for i in hit]
        parts = [data[c.start - group[0].start :][: c.size_bytes] for c in chunks]
        raw = decompress(b"".join(parts), compression, chunks, layers, self._header)
        new_starts = np.cumsum([0, *(chunk.points for chunk in chunks)])[:-1]
        which = np.searchsorted(starts, chosen, side="right") - 1
        moved = np.zeros(len(group), dtype=np.int64)
        moved[hit] = new_starts - starts[hit]
        records: Records = self._records(raw)[chosen + moved[which]]
        return records

    def _records(self, raw: NDArray[np.uint8]) -> Records:
        """See rows of bytes as point records, without copying."""
        records: Records = raw.reshape(-1).view(self._dtype)
        return records

    def _batch(self, records: Records) -> PointBatch:
        names = records.dtype.names or ()
        flags = records["flags"]
        if "class_and_flags" in names:  # point formats 0 to 5: five bits of class, three flags
            classification = (flags & 0x1F).astype(np.uint8)
            synthetic, withheld = flags & 0x20, flags & 0x80
            overlap = np.zeros(len(records), dtype=np.bool_)
        else:
            classification = records["classification"].astype(np.uint8)
            synthetic, withheld = flags & 0x01, flags & 0x04
            overlap = (flags & 0x08) != 0
        angle = records["scan_angle"].astype(np.float32)
        if records.dtype["scan_angle"].itemsize == 2:
            angle *= np.float32(0.006)
        if "gps_time" in names:
            gps_time = records["gps_time"].astype(np.float64)
        else:
            gps_time = np.full(len(records), np.nan)
        returns = records["returns"] & (0x07 if self._header.point_format <= 5 else 0x0F)
        return PointBatch(
            grid=self.grid,
            x=records["x"].astype(np.int64),
            y=records["y"].astype(np.int64),
            z=records["z"].astype(np.int64),
            classification=classification,
            withheld=withheld != 0,
            synthetic=synthetic != 0,
            overlap=overlap,
            point_source_id=records["point_source_id"].astype(np.uint16),
            gps_time=gps_time,
            scan_angle_deg=angle,
            return_number=returns.astype(np.uint8),
        )

    def scan(self) -> Iterator[PointBatch]:
        """Yield all points in the order of the file, in bounded memory; fields as from `near`.

        Raises
        ------
        FormatError
            While reading: points that cannot be decompressed, or that are fewer than promised.
        """
        self.reading_findings = []
        watch = BoxWatch(self._box)

        def choose(stored_x: NDArray[np.int32], stored_y: NDArray[np.int32]) -> NDArray[np.intp]:
            watch.see(stored_x, stored_y)
            return np.arange(len(stored_x), dtype=np.intp)

        for records in self._batches(choose, LAYERS_POINT):
            yield self._batch(records)
        self.reading_findings = watch.findings()


@contextmanager
def _opened(path: Path) -> Iterator[BinaryIO]:
    try:
        with path.open("rb") as file:
            yield file
    except FileNotFoundError as error:
        raise FormatError(
            "file not found", where=str(path), remedy="check the path in the job file"
        ) from error
    except OSError as error:
        raise FormatError(
            f"cannot be read: {error.strerror or error}",
            where=str(path),
            remedy="check that it is a file, that you may read it and that the disk is sound",
        ) from error


def _first_point(file: BinaryIO, header: LasHeader) -> tuple[int, int] | None:
    """Read stored x and y of the first point, which chunks keep uncompressed at their beginning."""
    if not header.points:
        return None
    start = header.points_offset + (8 if header.compressed else 0)
    x, y = struct.unpack("<ii", _read_exactly(file, start, 8, header))
    return x, y


def _read_exactly(file: BinaryIO, start: int, length: int, header: LasHeader) -> bytes:
    file.seek(start)
    data = file.read(length)
    if len(data) != length:
        raise cut_short(header.path, header.points, "file became shorter while it was read")
    return data


def _uncompressed(
    file: BinaryIO, header: LasHeader, batch_points: int
) -> Iterator[NDArray[np.uint8]]:
    for first in range(0, header.points, batch_points):
        count = min(batch_points, header.points - first)
        start = header.points_offset + first * header.record_length
        data = _read_exactly(file, start, count * header.record_length, header)
        yield np.frombuffer(data, dtype=np.uint8).reshape(count, header.record_length)


def _holdable(compression: Compression, header: LasHeader) -> bool:
    largest = max((chunk.points for chunk in compression.chunks), default=0)
    return largest * header.record_length <= LARGEST_CHUNK_BYTES


def _groups(chunks: tuple[Chunk, ...], size: int) -> Iterator[list[Chunk]]:
    """Gather consecutive chunks to about `size` points."""
    group: list[Chunk] = []
    for chunk in chunks:
        if group and sum(c.points for c in group) + chunk.points > size:
            yield group
            group = []
        group.append(chunk)
    if group:
        yield group


def _point_dtype(point_format: int, record_length: int) -> np.dtype[np.void]:
    """Lay out the fields read here; all else, extra bytes included, is stepped over."""
    fields: dict[str, tuple[str, int]] = {"x": ("<i4", 0), "y": ("<i4", 4), "z": ("<i4", 8)}
    fields["returns"] = ("u1", 14)
    if point_format <= 5:
        fields |= {
            "class_and_flags": ("u1", 15),
            "scan_angle": ("i1", 16),
            "point_source_id": ("<u2", 18),
        }
        fields["flags"] = fields["class_and_flags"]
        if point_format in (1, 3, 4, 5):
            fields["gps_time"] = ("<f8", 20)
    else:
        fields |= {
            "flags": ("u1", 15),
            "classification": ("u1", 16),
            "scan_angle": ("<i2", 18),
            "point_source_id": ("<u2", 20),
            "gps_time": ("<f8", 22),
        }
    return np.dtype(
        {
            "names": list(fields),
            "formats": [kind for kind, _ in fields.values()],
            "offsets": [at for _, at in fields.values()],
            "itemsize": record_length,
        }
    )
