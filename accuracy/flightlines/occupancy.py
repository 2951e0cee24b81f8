"""Which cells of one pulse spacing hold a first return, by line: a bit a cell."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Cells along one side of a block.
SIDE = 256
_BITS = 8
_HALF = 1 << 20
#: Blocks held unpacked while points come in, and packed.
MOST_OPEN, MOST_PACKED = 256, 4096
_PACKED_BYTES = SIDE * SIDE // 8


class Occupancy:
    """Cells with a first return, by label of the line and block.

    Parameters
    ----------
    folder : Path
        Where packed blocks go, 8 KiB each, when there are many.
    cell : float
        Side of a cell, stored unit; cell (0, 0) begins at coordinate (0, 0).
    """

    def __init__(self, folder: Path, cell: float) -> None:
        self.folder = folder
        self.cell = cell
        self._open: dict[tuple[int, int], int] = {}  # row of `_room`
        self._room: NDArray[np.uint8] | None = None
        self._packed: dict[tuple[int, int], NDArray[np.uint8]] = {}
        self._aside: dict[tuple[int, int], list[tuple[Path, int]]] = {}

    def see(self, label: Ints, x: Ints, y: Ints, steps: float) -> None:
        """Take note of first returns: coordinates in steps, `steps` of them to a stored unit."""
        if not len(x):
            return
        width = round(steps * self.cell)
        if abs(width - steps * self.cell) < 1e-9 * width:
            col, row = x // width, y // width
        else:
            factor = 1.0 / (steps * self.cell)
            col = np.floor(x * factor).astype(np.int64)
            row = np.floor(y * factor).astype(np.int64)
        inside = (row & SIDE - 1) << _BITS | (col & SIDE - 1)
        row, col = row >> _BITS, col >> _BITS
        south, west = int(row.min()), int(col.min())
        wide = int(col.max()) - west + 1
        distinct, which = label[:1], np.zeros(1, np.int64)
        if label.min() != label.max():
            distinct, which = np.unique(label, return_inverse=True)
        key = ((row - south) * wide + (col - west)) * len(distinct) + which
        if int(key.max()) > 4 * len(key):  # spread over many blocks
            used, key = np.unique(key, return_inverse=True)
        else:
            used = np.flatnonzero(np.bincount(key))
            place = np.zeros(int(used[-1]) + 1, np.int64)
            place[used] = np.arange(len(used))
            key = place[key]
        if len(used) > MOST_OPEN:
            for part in np.array_split(np.arange(len(x)), 2):
                self.see(label[part], x[part], y[part], steps)
            return
        if len(self._open) + len(used) > MOST_OPEN:
            self._close()
        slots = np.zeros(len(used), np.int64)
        for at, code in enumerate(used.tolist()):
            place_of, line = divmod(code, len(distinct))
            block = (place_of // wide + south + _HALF) << 21 | (place_of % wide + west + _HALF)
            slots[at] = self._open.setdefault((int(distinct[line]), block), len(self._open))
        if self._room is None:
            self._room = np.zeros((MOST_OPEN, SIDE * SIDE), np.uint8)
        self._room.reshape(-1)[slots[key] << 2 * _BITS | inside] = 1

    def joined(self, other: Occupancy) -> Occupancy:
        """Give the cells of both."""
        self._close()
        other._close()
        for key, places in other._aside.items():
            self._aside.setdefault(key, []).extend(places)
        for key, bits in other._packed.items():
            self._pack(key, bits)
        self._lay_aside()
        return self

    def __getstate__(self) -> dict[str, object]:
        """Travel packed."""
        self._close()
        return self.__dict__

    def cells(self, labels: frozenset[int], row: int, col: int) -> Bools | None:
        """Give the cells of one block, shape (SIDE, SIDE), row 0 in the south; None without any."""
        self._close()
        block = (row + _HALF) << 21 | (col + _HALF)
        found: NDArray[np.uint8] | None = None
        for label in labels:
            for bits in self._parts((label, block)):
                found = bits if found is None else found | bits
        if found is None:
            return None
        return np.unpackbits(found).reshape(SIDE, SIDE).astype(np.bool_)

    def _parts(self, key: tuple[int, int]) -> Iterator[NDArray[np.uint8]]:
        bits = self._packed.get(key)
        if bits is not None:
            yield bits
        for path, start in self._aside.get(key, ()):
            yield np.fromfile(path, np.uint8, count=_PACKED_BYTES, offset=start)

    def _close(self) -> None:
        if self._room is not None:
            for key, slot in self._open.items():
                self._pack(key, np.packbits(self._room[slot]))
        self._open, self._room = {}, None
        self._lay_aside()

    def _pack(self, key: tuple[int, int], bits: NDArray[np.uint8]) -> None:
        mine = self._packed.get(key)
        self._packed[key] = bits if mine is None else mine | bits

    def _lay_aside(self) -> None:
        if len(self._packed) <= MOST_PACKED:
            return
        path = self.folder / f"{uuid.uuid4().hex}.bits"
        with path.open("wb") as file:
            for at, (key, bits) in enumerate(self._packed.items()):
                file.write(bits.tobytes())
                self._aside.setdefault(key, []).append((path, at * _PACKED_BYTES))
        self._packed = {}
