"""Streaming through the points of a LAS file in groups of chunks: decode, sift, hand on.

One thread reads, a few decode and sift (numpy and lazrs let go of the interpreter while they work), and what
they found is handed on in file order. Memory is bounded by a few groups. Uncompressed files are treated as
if they were made of chunks. They are read, not mapped: a file cut short under a memory map ends the
process, and its pages would count as memory.
"""

from __future__ import annotations

import os
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import Any, BinaryIO, Protocol

import numpy as np
from numpy.typing import NDArray

from accuracy.formats.las_box import BoxWatch, HeaderBox
from accuracy.formats.las_header import LasHeader, cut_short
from accuracy.formats.laz import LAYERS_XY, Chunk, Compression, decompress, probe, stream

GROUP_POINTS = 500_000
GROUP_BYTES = 1 << 25
#: Chunks of an uncompressed file; small enough to stay in the processor's cache.
BLOCK_POINTS = 50_000
LAS_GROUP_POINTS = 200_000
#: Chunks beyond this are not held whole but streamed on one core.
LARGEST_CHUNK_POINTS = 1_000_000
LARGEST_CHUNK_BYTES = 1 << 27
#: Points at the beginning of a chunk that tell where it begins: a few sweeps of a scanner.
PROBE_POINTS = 1000
THREADS = min(4, os.cpu_count() or 1)
#: Chunks smaller than this are not looked at one by one.
SMALL_CHUNK_POINTS = 500

_PLANE = np.dtype("<i8")

Records = NDArray[Any]  # structured, with the fields of `las.point_dtype`


class Wanted(Protocol):
    """Which points are wanted: `accuracy.formats.places.Places`, or `Everything`."""

    def meets(self, boxes: NDArray[np.int32]) -> NDArray[np.bool_]:
        """Whether a box may hold wanted points; boxes have shape (n, 4)."""
        ...

    def near(
        self, x: NDArray[np.int32], y: NDArray[np.int32], box: NDArray[np.int32] | None = None
    ) -> NDArray[np.intp]:
        """Give the indices of wanted points, ascending."""
        ...


class Everything:
    """All points are wanted."""

    def meets(self, boxes: NDArray[np.int32]) -> NDArray[np.bool_]:
        """Say yes."""
        return np.ones(len(boxes), dtype=np.bool_)

    def near(
        self, x: NDArray[np.int32], y: NDArray[np.int32], box: NDArray[np.int32] | None = None
    ) -> NDArray[np.intp]:
        """Give all indices."""
        return np.arange(len(x), dtype=np.intp)


@dataclass(frozen=True, eq=False)
class Sifted:
    """What one group of chunks held.

    Attributes
    ----------
    points : int
        Points looked at.
    boxes : ndarray of int32, shape (n, 4)
        Least x, least y, largest x, largest y of each chunk.
    records : structured ndarray
        Wanted points, a copy.
    watch : BoxWatch
        Points outside the header's box.
    """

    points: int
    boxes: NDArray[np.int32]
    records: Records
    watch: BoxWatch


class Sieve:
    """Reads chunks of one file and keeps the wanted points.

    Parameters
    ----------
    header, compression, box
        Of the file; `compression` is None for LAS.
    dtype : structured dtype
        Fields of a record.
    wanted : Wanted
        Which points to keep.
    layers : int
        What must be decompressed of them; other fields are arbitrary.
    """

    def __init__(
        self,
        header: LasHeader,
        compression: Compression | None,
        box: HeaderBox,
        dtype: np.dtype[np.void],
        wanted: Wanted,
        layers: int,
    ) -> None:
        self._header = header
        self._compression = compression
        self._box = box
        self._dtype = dtype
        self._wanted = wanted
        self._layers = layers
        self._own = threading.local()
        self._size = max(
            1,
            min(
                GROUP_POINTS if compression else LAS_GROUP_POINTS,
                GROUP_BYTES // header.record_length,
            ),
        )

    def sift(
        self, file: BinaryIO, chunks: Sequence[Chunk], *, known: bool = False
    ) -> Iterator[Sifted]:
        """Yield what groups of chunks hold, in order.

        In layered files all layers are decompressed only of chunks that are expected to hold wanted points,
        or are `known` to; of the others x and y, and the rest if they do after all.
        """
        waiting: deque[Future[Sifted]] = deque()
        with ThreadPoolExecutor(THREADS) as pool:
            try:
                for group in groups(chunks, self._size):
                    data = self._read(file, group)
                    waiting.append(pool.submit(self._sift_group, data, group, known))
                    if len(waiting) > THREADS:
                        yield waiting.popleft().result()
                while waiting:
                    yield waiting.popleft().result()
            finally:
                for task in waiting:
                    task.cancel()

    def sift_stream(self, file: BinaryIO) -> Iterator[Sifted]:
        """Yield what a file holds whose chunks are too large to be held."""
        assert self._compression is not None
        for raw in stream(file, self._compression, self._layers, self._header, self._size):
            records = self._records(raw)
            yield self._look(_plane(records), [len(records)], partial(_picked, records))

    def _read(self, file: BinaryIO, group: Sequence[Chunk]) -> bytes:
        """Read a group, neighbours at once."""
        parts = []
        first = 0
        for i, chunk in enumerate(group):
            following = group[i + 1].start if i + 1 < len(group) else -1
            if chunk.start + chunk.size_bytes != following:
                start = group[first].start
                length = chunk.start + chunk.size_bytes - start
                parts.append(read_exactly(file, start, length, self._header))
                first = i + 1
        return parts[0] if len(parts) == 1 else b"".join(parts)

    def _sift_group(self, data: bytes, group: list[Chunk], known: bool) -> Sifted:
        counts = [chunk.points for chunk in group]
        if isinstance(self._wanted, Everything):
            records = self._decode(data, group, self._layers)
            boxes, watch = self._boxes(_plane(records), counts)
            return Sifted(len(records), boxes, records.copy(), watch)
        layered = self._compression is not None and self._compression.layered
        everything = known or not layered
        full = np.ones(len(group), np.bool_) if everything else self._expected(data, group)
        if full.all() or not full.any():
            records = self._decode(data, group, self._layers if full.all() else LAYERS_XY)
            plane = _plane(records)
            parts = [(full.copy(), records)] if full.all() else []
        else:
            parts = [
                (which, self._decode_some(data, group, which, layers))
                for which, layers in ((~full, LAYERS_XY), (full, self._layers))
            ]
            plane = np.empty(sum(len(records) for _, records in parts), dtype=_PLANE)
            starts = np.cumsum(counts) - counts
            for which, records in parts:
                own = 0
                for i in np.flatnonzero(which).tolist():
                    mine = records[own : own + counts[i]]
                    own += counts[i]
                    plane[starts[i] : starts[i] + len(mine)] = _pairs(mine)
            parts = parts[1:]

        def take(chosen: NDArray[np.intp], hit: NDArray[np.intp]) -> Records:
            surprising = np.zeros(len(group), dtype=np.bool_)
            surprising[hit] = ~full[hit]
            taken = np.zeros(len(chosen), dtype=self._dtype)
            for which, records in parts:
                self._pick(taken, chosen, counts, which, records)
            if surprising.any():
                records = self._decode_some(data, group, surprising, self._layers)
                self._pick(taken, chosen, counts, surprising, records)
            return taken

        return self._look(plane, counts, take)

    def _expected(self, data: bytes, group: list[Chunk]) -> NDArray[np.bool_]:
        """Guess which chunks hold wanted points from where they and the next ones begin.

        Points come in order of time, as a rule, so that a chunk fills about the box between the first sweep
        of its own and that of the next. A wrong guess costs time only.
        """
        assert self._compression is not None
        points = min(PROBE_POINTS, min(chunk.points for chunk in group))
        first = probe(data, self._compression, group, self._header, points)
        records = self._records(first).reshape(len(group), points)
        low = np.column_stack([records["x"].min(axis=1), records["y"].min(axis=1)])
        high = np.column_stack([records["x"].max(axis=1), records["y"].max(axis=1)])
        if len(group) > 1:
            next_low, next_high = np.roll(low, -1, axis=0), np.roll(high, -1, axis=0)
            next_low[-1], next_high[-1] = next_low[-2], next_high[-2]
            for ends in (next_low, next_high):  # the last chunk goes on as the one before did
                ends[-1] = np.clip(
                    2.0 * ends[-2] - ends[-3] if len(group) > 2 else ends[-2], -(2**31), 2**31 - 1
                )
            low, high = np.minimum(low, next_low), np.maximum(high, next_high)
        return self._wanted.meets(np.column_stack([low, high]))

    def _decode_some(
        self, data: bytes, group: list[Chunk], which: NDArray[np.bool_], layers: int
    ) -> Records:
        """Decompress some chunks of a group."""
        at = np.cumsum([0, *(chunk.size_bytes for chunk in group)]).tolist()
        chosen = np.flatnonzero(which).tolist()
        parts = [data[at[i] : at[i + 1]] for i in chosen]
        return self._decode(b"".join(parts), [group[i] for i in chosen], layers)

    @staticmethod
    def _pick(
        taken: Records,
        chosen: NDArray[np.intp],
        counts: list[int],
        which: NDArray[np.bool_],
        records: Records,
    ) -> None:
        """Copy chosen points, numbered within the group, from the records of some of its chunks."""
        held = np.where(which, counts, 0)
        starts, own_starts = (np.cumsum(c) - c for c in (np.asarray(counts), held))
        chunk = np.searchsorted(starts + counts, chosen, side="right")
        mine = which[chunk]
        taken[mine] = records[(chosen - starts[chunk] + own_starts[chunk])[mine]]

    def _look(
        self,
        plane: NDArray[np.int64],
        counts: list[int],
        take: Callable[[NDArray[np.intp], NDArray[np.intp]], Records],
    ) -> Sifted:
        """Find boxes and wanted points; `take` copies these, given the chunks that hold some."""
        boxes, watch = self._boxes(plane, counts)
        x, y = plane.view("<i4").reshape(-1, 2).T
        ends = np.minimum(np.cumsum(counts), len(x))  # the last chunk may hold more than counted
        starts = np.concatenate([[0], ends[:-1]])
        possible = np.flatnonzero(self._wanted.meets(boxes))
        if not possible.size:
            chosen = np.zeros(0, dtype=np.intp)
        elif len(x) < SMALL_CHUNK_POINTS * len(counts):
            chosen = self._wanted.near(x, y)
        else:
            chosen = np.concatenate(
                [
                    starts[i]
                    + self._wanted.near(x[starts[i] : ends[i]], y[starts[i] : ends[i]], boxes[i])
                    for i in possible.tolist()
                ]
            )
        hit = np.unique(np.searchsorted(ends, chosen, side="right"))
        taken = take(chosen, hit) if chosen.size else np.zeros(0, dtype=self._dtype)
        return Sifted(len(x), boxes, taken, watch)

    def _boxes(
        self, plane: NDArray[np.int64], counts: list[int]
    ) -> tuple[NDArray[np.int32], BoxWatch]:
        """Find the box of each chunk, and points outside the header's."""
        x, y = plane.view("<i4").reshape(-1, 2).T
        ends = np.minimum(np.cumsum(counts), len(x))  # the last chunk may hold more than counted
        starts = np.concatenate([[0], ends[:-1]])
        boxes = np.column_stack(
            [f.reduceat(v, starts) for f in (np.minimum, np.maximum) for v in (x, y)]
        )
        watch = BoxWatch(self._box)
        watch.see(x, y, boxes)
        return boxes, watch

    def _decode(self, data: bytes, group: Sequence[Chunk], layers: int) -> Records:
        """Give the records of whole chunks; they live until this thread decodes again."""
        total = sum(chunk.points for chunk in group)
        if self._compression is None:
            return self._records(np.frombuffer(data, dtype=np.uint8))
        needed = total * self._header.record_length
        kind = "full" if layers else "plane"
        room: NDArray[np.uint8] | None = getattr(self._own, kind, None)
        if room is None or len(room) < needed:
            room = np.zeros(needed, dtype=np.uint8)
            setattr(self._own, kind, room)
        decompress(data, self._compression, group, layers, self._header, room[:needed])
        return self._records(room[:needed])[: self._counted(group, total)]

    def _counted(self, group: Sequence[Chunk], total: int) -> int:
        """Leave out what the very last chunk of a file holds beyond the header's count."""
        assert self._compression is not None
        last = self._compression.chunks[-1]
        if group[-1] != last:
            return total
        surplus = sum(chunk.points for chunk in self._compression.chunks) - self._header.points
        return total - surplus

    def _records(self, raw: NDArray[np.uint8]) -> Records:
        """See bytes as point records, without copying."""
        records: Records = raw.reshape(-1).view(self._dtype)
        return records


def _pairs(records: Records) -> NDArray[np.int64]:
    """See x and y of each record, its first eight bytes, as one number."""
    pairs: NDArray[np.int64] = records.getfield(_PLANE)
    return pairs


def _plane(records: Records) -> NDArray[np.int64]:
    """Copy x and y in one go through the memory."""
    return np.ascontiguousarray(_pairs(records))


def _picked(records: Records, chosen: NDArray[np.intp], _: NDArray[np.intp]) -> Records:
    taken: Records = records[chosen]
    return taken


def chunks_of(header: LasHeader, compression: Compression | None) -> tuple[Chunk, ...]:
    """List the chunks of a file; those of an uncompressed file are made up."""
    if compression is not None:
        return compression.chunks
    length = header.record_length
    return tuple(
        Chunk(header.points_offset + first * length, count * length, count)
        for first in range(0, header.points, BLOCK_POINTS)
        for count in (min(BLOCK_POINTS, header.points - first),)
    )


def holdable(header: LasHeader, compression: Compression | None) -> bool:
    """Whether every chunk may be decompressed as a whole."""
    if compression is None:
        return True
    largest = max((chunk.points for chunk in compression.chunks), default=0)
    return largest <= LARGEST_CHUNK_POINTS and largest * header.record_length <= LARGEST_CHUNK_BYTES


def groups(chunks: Iterable[Chunk], size: int) -> Iterator[list[Chunk]]:
    """Gather consecutive chunks to about `size` points."""
    group: list[Chunk] = []
    held = 0
    for chunk in chunks:
        if group and held + chunk.points > size:
            yield group
            group, held = [], 0
        group.append(chunk)
        held += chunk.points
    if group:
        yield group


def read_exactly(file: BinaryIO, start: int, length: int, header: LasHeader) -> bytes:
    """Read bytes that were there when the file was opened."""
    file.seek(start)
    data = file.read(length)
    if len(data) != length:
        raise cut_short(header.path, header.points, "file became shorter while it was read")
    return data
