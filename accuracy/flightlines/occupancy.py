"""Which cells of one pulse spacing hold a first return, by line: a bit a cell."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from itertools import pairwise
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
MOST_OPEN, MOST_PACKED = 512, 4096
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
        self._open: dict[tuple[int, int], NDArray[np.uint8]] = {}
        self._packed: dict[tuple[int, int], NDArray[np.uint8]] = {}
        self._aside: dict[tuple[int, int], list[tuple[Path, int]]] = {}

    def see(self, label: Ints, x: Ints, y: Ints, steps: float) -> None:
        """Take note of first returns: coordinates in steps, `steps` of them to a stored unit."""
        if not len(x):
            return
        factor = 1.0 / (steps * self.cell)
        col = np.floor(x * factor).astype(np.int64)
        row = np.floor(y * factor).astype(np.int64)
        block = ((row >> _BITS) + _HALF) << 21 | ((col >> _BITS) + _HALF)
        inside = (row & SIDE - 1) << _BITS | (col & SIDE - 1)
        change = np.flatnonzero((block[1:] != block[:-1]) | (label[1:] != label[:-1])) + 1
        if len(change) * 8 > len(x):
            order = np.lexsort((block, label))
            block, label, inside = block[order], label[order], inside[order]
            change = np.flatnonzero((block[1:] != block[:-1]) | (label[1:] != label[:-1])) + 1
        bounds = [0, *change.tolist(), len(x)]
        for start, stop in pairwise(bounds):
            self._cells((int(label[start]), int(block[start])))[inside[start:stop]] = 1
        if len(self._open) > MOST_OPEN:
            self._close()

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

    def _cells(self, key: tuple[int, int]) -> NDArray[np.uint8]:
        cells = self._open.get(key)
        if cells is None:
            cells = self._open[key] = np.zeros(SIDE * SIDE, np.uint8)
        return cells

    def _parts(self, key: tuple[int, int]) -> Iterator[NDArray[np.uint8]]:
        bits = self._packed.get(key)
        if bits is not None:
            yield bits
        for path, start in self._aside.get(key, ()):
            yield np.fromfile(path, np.uint8, count=_PACKED_BYTES, offset=start)

    def _close(self) -> None:
        for key, cells in self._open.items():
            self._pack(key, np.packbits(cells))
        self._open = {}
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
