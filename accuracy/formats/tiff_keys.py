"""The GeoKeys of a GeoTIFF, as they literally stand in its tags.

The raster library interprets them and drops what it does not follow; what they say is evidence of its own.

References
----------
Adobe, TIFF 6.0, section 2 (classic TIFF); the BigTIFF design by AWare Systems; OGC GeoTIFF 1.1 (19-008r4),
"GeoKeyDirectoryTag" (all from memory). The tests compare with files written by GDAL.
"""

from __future__ import annotations

import struct
from pathlib import Path
from types import MappingProxyType
from typing import BinaryIO

from accuracy.formats import CrsEvidence
from accuracy.formats.geokeys import DIRECTORY, DOUBLES, TEXTS, resolve_geokeys

#: Bytes of a value by TIFF field type; the types that the three tags may have.
_SIZES = {2: 1, 3: 2, 12: 8}

#: More than any real directory holds.
_MOST_ENTRIES = 4096
_LONGEST_BYTES = 1 << 20


def geokey_evidence(path: Path) -> tuple[CrsEvidence, ...]:
    """Give the GeoKey directory of a TIFF file; nothing where the file is no TIFF or has none."""
    try:
        with path.open("rb") as stream:
            tags, order = _tags(stream)
    except (OSError, struct.error):
        return ()
    if DIRECTORY not in tags:
        return ()
    doubles = tags.get(DOUBLES, b"")
    if order == ">":  # stored big-endian; the directory is understood little-endian
        tags[DIRECTORY] = _swapped(tags[DIRECTORY], 2)
        doubles = _swapped(doubles, 8)
    keys, problem, _ = resolve_geokeys(tags[DIRECTORY], doubles, tags.get(TEXTS, b""))
    where = f"TIFF tag {DIRECTORY} (GeoKeys)"
    return (CrsEvidence("geokeys", where, geokeys=MappingProxyType(keys), problem=problem),)


def _swapped(data: bytes, size: int) -> bytes:
    whole = data[: len(data) // size * size]
    return b"".join(whole[i : i + size][::-1] for i in range(0, len(whole), size))


def _tags(stream: BinaryIO) -> tuple[dict[int, bytes], str]:
    """Read the three GeoTIFF tags of the first image directory."""
    head = stream.read(16)
    order = {b"II": "<", b"MM": ">"}.get(head[:2], "")
    if not order:
        return {}, "<"
    (magic,) = struct.unpack_from(order + "H", head, 2)
    if magic == 42:
        (start,) = struct.unpack_from(order + "I", head, 4)
        count_format, entry_format, inline = "H", "HHI4s", 4
    elif magic == 43:
        (start,) = struct.unpack_from(order + "Q", head, 8)
        count_format, entry_format, inline = "Q", "HHQ8s", 8
    else:
        return {}, order
    stream.seek(start)
    (count,) = struct.unpack(
        order + count_format, stream.read(struct.calcsize(order + count_format))
    )
    size = struct.calcsize(order + entry_format)
    entries = stream.read(size * min(count, _MOST_ENTRIES))
    found: dict[int, bytes] = {}
    for offset in range(0, len(entries) - size + 1, size):
        tag, kind, number, value = struct.unpack_from(order + entry_format, entries, offset)
        length = number * _SIZES.get(kind, 0)
        if tag not in (DIRECTORY, DOUBLES, TEXTS) or not 0 < length <= _LONGEST_BYTES:
            continue
        if length <= inline:
            found[tag] = value[:length]
        else:
            (at,) = struct.unpack(order + ("I" if inline == 4 else "Q"), value)
            stream.seek(at)
            found[tag] = stream.read(length)
    return found, order
