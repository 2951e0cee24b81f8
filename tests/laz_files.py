"""Writing LAZ files that laspy does not write: chunks of any size, and COPC with its hierarchy."""

from __future__ import annotations

import io
import struct
from collections.abc import Sequence
from pathlib import Path

import laspy
import lazrs
import numpy as np

VARIABLE = 0xFFFFFFFF


def write_chunked(path: Path, las: laspy.LasData, chunk: int | Sequence[int]) -> None:
    """Compress in chunks of `chunk` points, or of the sizes it lists."""
    whole = io.BytesIO()
    laspy.LasData(las.header, las.points[:1]).write(whole, do_compress=True)
    plain = whole.getvalue()
    varying = not isinstance(chunk, int)
    where = plain.index(b"laszip encoded") - 2
    length = int.from_bytes(plain[where + 20 : where + 22], "little")
    record = bytearray(plain[where + 54 : where + 54 + length])
    record[12:16] = (VARIABLE if varying else chunk).to_bytes(4, "little")
    start = int.from_bytes(plain[96:100], "little")
    head = bytearray(plain[:start])
    head[where + 54 : where + 54 + length] = record
    las.update_header()
    _copy_counts(head, las)
    raw = np.frombuffer(las.points.array.tobytes(), dtype=np.uint8)
    size = las.points.array.dtype.itemsize
    with path.open("w+b") as file:
        file.write(head)
        compressor = lazrs.LasZipCompressor(file, lazrs.LazVlr(bytes(record)))
        done = 0
        for points in chunk if varying else [len(las)]:
            compressor.compress_many(raw[done * size : (done + points) * size])
            done += points
            if varying and done < len(las):
                compressor.finish_current_chunk()
        assert done == len(las)
        compressor.done()


def _copy_counts(head: bytearray, las: laspy.LasData) -> None:
    """Put count and box of all points where those of the first one stand."""
    minor = head[25]
    legacy = minor < 4 or las.header.point_format.id < 6
    struct.pack_into("<I", head, 107, len(las) if legacy else 0)
    box = [v for i in range(3) for v in (las.header.maxs[i], las.header.mins[i])]
    struct.pack_into("<6d", head, 179, *box)
    if minor >= 4:
        struct.pack_into("<Q", head, 247, len(las))


def write_copc(path: Path, las: laspy.LasData, *, depth: int = 3, pages: bool = False) -> None:
    """Write as COPC: points go to random levels of an octree, as a viewer's overviews would.

    With `pages`, everything below the root stands on a second page of the hierarchy.
    """
    xyz = np.column_stack([las.x, las.y, las.z])
    low = xyz.min(axis=0)
    half = float((xyz.max(axis=0) - low).max()) / 2.0 + 0.01
    level = np.random.default_rng(5).choice(depth + 1, len(las), p=_shares(depth))
    key = np.floor((xyz - low) / (2.0 * half) * np.exp2(level)[:, None]).astype(np.int64)
    rows = np.column_stack([level, key])
    nodes, node, counts = np.unique(rows, axis=0, return_inverse=True, return_counts=True)
    sorted_ = laspy.LasData(las.header, las.points[np.argsort(node.ravel(), kind="stable")])
    sorted_.header.vlrs.insert(0, laspy.VLR("copc", 1, "COPC info", b"\0" * 160))
    write_chunked(path, sorted_, counts.tolist())
    sorted_.header.vlrs.pop(0)
    _append_hierarchy(path, nodes, counts, low + half, half, pages=pages)


def _shares(depth: int) -> np.ndarray:
    shares = 4.0 ** np.arange(depth + 1)
    return shares / shares.sum()


def _append_hierarchy(path, nodes, counts, centre, half, *, pages):
    from accuracy.formats.las import open_las

    chunks = open_las(path)._compression.chunks
    assert [c.points for c in chunks] == counts.tolist()
    entries = [
        struct.pack("<4iQ2i", *key, c.start, c.size_bytes, c.points)
        for key, c in zip(nodes.tolist(), chunks, strict=True)
    ]
    data = bytearray(path.read_bytes())
    evlr = len(data)
    first = evlr + 60
    if pages:
        root, below = entries[:1], entries[1:]
        pointer = struct.pack("<4iQ2i", 1, 0, 0, 0, first + 64, 32 * len(below), -1)
        body, root_size = b"".join([*root, pointer, *below]), 64
    else:
        body, root_size = b"".join(entries), 32 * len(entries)
    data += struct.pack("<H16sHQ32s", 0, b"copc", 1000, len(body), b"hierarchy") + body
    struct.pack_into("<QI", data, 235, evlr, 1)
    info = data.index(b"copc") + 52  # the record's content begins 54 bytes after its start
    struct.pack_into("<5d2Q2d", data, info, *centre, half, half / 64, first, root_size, 0.0, 0.0)
    path.write_bytes(data)
