"""Pictures in 8 bits a colour, written as PNG."""

from __future__ import annotations

import struct
import zlib

import numpy as np
from numpy.typing import NDArray

from accuracy.formats.png import SIGNATURE, _chunk


def write_png(pixels: NDArray[np.uint8]) -> bytes:
    """Write a picture, shape (rows, cols) in grey or (rows, cols, 3) in colour.

    The bytes depend on the release of zlib; what is drawn does not.

    Examples
    --------
    >>> write_png(np.zeros((2, 3, 3), np.uint8))[:8] == SIGNATURE
    True
    """
    rows, cols = pixels.shape[:2]
    kind = 2 if pixels.ndim == 3 else 0
    lines = np.zeros((rows, 1 + cols * (3 if kind else 1)), np.uint8)  # first byte: no filter
    lines[:, 1:] = pixels.reshape(rows, -1)
    return b"".join(
        [
            SIGNATURE,
            _chunk(b"IHDR", struct.pack(">IIBBBBB", cols, rows, 8, kind, 0, 0, 0)),
            _chunk(b"IDAT", zlib.compress(lines.tobytes(), 9)),
            _chunk(b"IEND", b""),
        ]
    )
