"""COPC: the octree that says in which chunk of a LAZ 1.4 file points lie.

A COPC file is a LAZ file whose chunks are the nodes of an octree. The hierarchy is walked once, for all
places, and becomes one box per chunk. Heights do not restrict a search around checkpoints, so of the
three-dimensional boxes the horizontal sides decide. The hierarchy is believed only if its nodes are exactly
the chunks of the file and add up to the header's count; else the file is read as the LAZ file it is.

References
----------
Hobu, Inc., COPC Specification 1.0 (from memory, checked on real files).
"""

from __future__ import annotations

import math
import struct
from collections.abc import Sequence
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from accuracy.findings import Finding, Severity
from accuracy.formats.las_header import STORED_REACH, LasHeader, LasRecord
from accuracy.formats.laz import Compression

_INFO = struct.Struct("<5d2Q")
_ENTRY = np.dtype("<i4,<i4,<i4,<i4,<u8,<i4,<i4")
_ENTRY.names = ("depth", "x", "y", "z", "offset", "size", "points")
_DEEPEST = 31  # keys are 32-bit integers
_PAGE = -1  # instead of a number of points: the entry names another page
#: A point may lie this many stored units outside its node: sides fall between stored integers.
ROUNDING_UNITS = 2


def info_record(records: Sequence[LasRecord]) -> bytes | None:
    """Find the record that makes a LAZ file a COPC file."""
    for record in records:
        if record.user_id == "copc" and record.record_id == 1 and not record.extended:
            return record.data
    return None


def node_boxes(
    file: BinaryIO, header: LasHeader, info: bytes, compression: Compression
) -> tuple[NDArray[np.int32] | None, tuple[Finding, ...]]:
    """Walk the hierarchy and give the box of each chunk.

    Returns
    -------
    boxes : ndarray of int32, shape (n, 4), or None
        Least x, least y, largest x, largest y of each chunk in stored integers, a little widened; None
        where the hierarchy cannot be believed.
    findings : tuple of Finding
        Why not.
    """
    if len(info) < _INFO.size:
        return None, (incomplete(header, f"its record has {len(info)} bytes, too few"),)
    x, y, _, half, _, start, size = _INFO.unpack_from(info)
    if not (all(map(math.isfinite, (x, y, half))) and half > 0.0):
        return None, (incomplete(header, "it states no cube"),)
    nodes, problem = _walk(file, header, start, size)
    if problem is None:
        problem = _compare(nodes, header, compression)
    if problem is not None:
        return None, (incomplete(header, problem),)
    order = np.argsort(nodes["offset"], kind="stable")
    return _boxes(nodes[order], header, (x - half, y - half), 2.0 * half), ()


def _walk(
    file: BinaryIO, header: LasHeader, start: int, size: int
) -> tuple[NDArray[np.void], str | None]:
    """Read every page once; give the nodes with points, or what is wrong."""
    waiting, seen = [(start, size)], set()
    found = [np.zeros(0, dtype=_ENTRY)]
    while waiting:
        start, size = waiting.pop()
        if start in seen:
            return found[0], f"its page at byte {start} is named twice"
        seen.add(start)
        if size < 0 or size % _ENTRY.itemsize or start + size > header.size_bytes:
            return found[0], f"its page of {size} bytes at byte {start} cannot be"
        file.seek(start)
        entries = np.frombuffer(file.read(size), dtype=_ENTRY)
        depth = np.clip(entries["depth"], 0, _DEEPEST)
        wrong = (entries["depth"] != depth) | (entries["points"] < _PAGE)
        for axis in "xyz":
            wrong |= (entries[axis] < 0) | (entries[axis].astype(np.int64) >> depth > 0)
        if wrong.any():
            return found[0], f"its page at byte {start} holds an impossible entry"
        pages = entries[entries["points"] == _PAGE]
        waiting += zip(pages["offset"].tolist(), pages["size"].tolist(), strict=True)
        found.append(entries[entries["points"] > 0])
    return np.concatenate(found), None


def _compare(nodes: NDArray[np.void], header: LasHeader, compression: Compression) -> str | None:
    """Say how nodes and chunks differ, if they do."""
    held = int(nodes["points"].sum(dtype=np.int64))
    if held != header.points:
        return f"it leads to {held} points, the header counts {header.points}"
    stated = sorted(nodes[["offset", "size", "points"]].tolist())
    chunks = [(c.start, c.size_bytes, c.points) for c in compression.chunks]
    if stated != chunks:
        return f"its {len(stated)} nodes are not the {len(chunks)} chunks of the file"
    return None


def _boxes(
    nodes: NDArray[np.void], header: LasHeader, corner: tuple[float, float], side: float
) -> NDArray[np.int32]:
    boxes = np.empty((len(nodes), 4), dtype=np.int32)
    width = side / np.exp2(nodes["depth"].astype(np.float64))
    for axis, name in enumerate("xy"):
        low = corner[axis] + nodes[name] * width
        for column, value, turn in ((axis, low, np.floor), (axis + 2, low + width, np.ceil)):
            stored = turn((value - header.offset[axis]) / header.scale[axis])
            stored += ROUNDING_UNITS if column > axis else -ROUNDING_UNITS
            boxes[:, column] = np.clip(stored, -STORED_REACH, STORED_REACH - 1)
    return boxes


def incomplete(header: LasHeader, why: str) -> Finding:
    """Make the finding of a hierarchy that is not used."""
    return Finding(
        "file-hierarchy-incomplete",
        Severity.WARNING,
        f"{header.path.name}: the COPC hierarchy cannot be used: {why}; every point of the file is read "
        "instead",
        remedy="write the COPC file again from its source",
    )
