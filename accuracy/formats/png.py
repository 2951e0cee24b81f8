"""Small pictures of few colours, written as PNG with the same bytes on every machine."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

#: What a PNG file begins with. (W3C Recommendation "Portable Network Graphics", section 5.2.)
SIGNATURE = b"\x89PNG\r\n\x1a\n"

#: Most bytes in a stored block of deflate (RFC 1951, section 3.2.4).
_BLOCK = 0xFFFF


def write_palette_png(places: NDArray[np.uint8], palette: Sequence[tuple[int, int, int]]) -> bytes:
    """Write a picture whose pixels are places in a palette; the first colour is transparent.

    Four bits a pixel, stored and not squeezed: what a squeezer makes depends on its release, and the hash of
    the file stands in a record.

    Parameters
    ----------
    places : ndarray of uint8, shape (rows, cols)
        Each below the length of the palette.
    palette : sequence of (int, int, int)
        Red, green, blue, 0 to 255; at most 16.

    Examples
    --------
    >>> content = write_palette_png(np.zeros((2, 3), np.uint8), [(255, 255, 255)])
    >>> content[:8] == SIGNATURE, len(content)
    (True, 92)
    """
    rows, cols = places.shape
    if not 1 <= len(palette) <= 16 or int(places.max(initial=0)) >= len(palette):
        raise ValueError("a palette of at most 16 colours, and every pixel in it")
    padded = np.zeros((rows, cols + cols % 2), np.uint8)
    padded[:, :cols] = places
    packed = np.zeros((rows, 1 + padded.shape[1] // 2), np.uint8)  # first byte of a line: no filter
    packed[:, 1:] = padded[:, 0::2] << 4 | padded[:, 1::2]
    return b"".join(
        [
            SIGNATURE,
            _chunk(b"IHDR", struct.pack(">IIBBBBB", cols, rows, 4, 3, 0, 0, 0)),
            _chunk(b"PLTE", bytes(value for colour in palette for value in colour)),
            _chunk(b"tRNS", b"\x00"),
            _chunk(b"IDAT", _stored(packed.tobytes())),
            _chunk(b"IEND", b""),
        ]
    )


def _chunk(kind: bytes, content: bytes) -> bytes:
    return (
        struct.pack(">I", len(content))
        + kind
        + content
        + struct.pack(">I", zlib.crc32(kind + content))
    )


def _stored(content: bytes) -> bytes:
    """Wrap bytes as a zlib stream of stored blocks (RFC 1950, RFC 1951)."""
    blocks = [content[i : i + _BLOCK] for i in range(0, len(content), _BLOCK)] or [b""]
    last = len(blocks) - 1
    body = b"".join(
        struct.pack("<BHH", i == last, len(block), 0xFFFF - len(block)) + block
        for i, block in enumerate(blocks)
    )
    return b"\x78\x01" + body + struct.pack(">I", zlib.adler32(content))
