"""Tables of integer sums by key: merged exactly, and laid aside on disk by block when they grow."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from accuracy.flightlines.lattice import block_of

Ints = NDArray[np.int64]

#: Rows held in memory by one table.
MOST_ROWS = 250_000


@dataclass(frozen=True, eq=False)
class Rows:
    """Rows of sums, smallest and largest values by two keys.

    Attributes
    ----------
    keys : ndarray of int64, shape (n, 2)
        First and second key; a pair occurs once after `merged`.
    sums : ndarray of int64, shape (n, s)
        Added when rows merge.
    lows, highs : ndarray of int64, shape (n, m)
        Smallest and largest values.
    """

    keys: Ints
    sums: Ints
    lows: Ints
    highs: Ints

    def __len__(self) -> int:
        return len(self.keys)

    def take(self, index: NDArray[np.intp] | slice | NDArray[np.bool_]) -> Rows:
        """Pick rows."""
        return Rows(self.keys[index], self.sums[index], self.lows[index], self.highs[index])


def empty_rows(sums: int, extremes: int) -> Rows:
    """Make a table without rows."""
    return Rows(*(np.zeros((0, n), np.int64) for n in (2, sums, extremes, extremes)))


def merged(parts: list[Rows]) -> Rows:
    """Put tables into one, sorted by both keys, rows of equal keys merged."""
    whole = Rows(
        *(
            np.concatenate([getattr(p, name) for p in parts])
            for name in ("keys", "sums", "lows", "highs")
        )
    )
    if not len(whole):
        return whole
    order = np.lexsort((whole.keys[:, 1], whole.keys[:, 0]))
    keys = whole.keys[order]
    new = np.ones(len(keys), np.bool_)
    new[1:] = (keys[1:] != keys[:-1]).any(axis=1)
    starts = np.flatnonzero(new)
    if len(starts) == len(keys):
        return whole.take(order)
    return Rows(
        keys[starts],
        np.add.reduceat(whole.sums[order], starts, axis=0),
        np.minimum.reduceat(whole.lows[order], starts, axis=0),
        np.maximum.reduceat(whole.highs[order], starts, axis=0),
    )


@dataclass(frozen=True, eq=False)
class _Aside:
    """Rows on disk, sorted by block."""

    path: Path
    blocks: Ints
    starts: Ints  # one more than blocks
    widths: tuple[int, int, int, int]

    def rows(self, block: int) -> Rows | None:
        at = int(np.searchsorted(self.blocks, block))
        if at == len(self.blocks) or self.blocks[at] != block:
            return None
        start, stop = int(self.starts[at]), int(self.starts[at + 1])
        width = sum(self.widths)
        values = np.fromfile(
            self.path, np.int64, count=(stop - start) * width, offset=start * width * 8
        ).reshape(-1, width)
        return Rows(*np.split(values, np.cumsum(self.widths)[:-1], axis=1))


class CellTable:
    """Rows by packed cell (first key) and segment (second), in bounded memory.

    Parameters
    ----------
    folder : Path
        Where rows are laid aside.
    sums, extremes : int
        Columns of a row.
    most_rows : int
        Rows held in memory.
    """

    def __init__(self, folder: Path, sums: int, extremes: int, most_rows: int = MOST_ROWS) -> None:
        self.folder = folder
        self.most_rows = most_rows
        self._parts = [empty_rows(sums, extremes)]
        self._waiting = 0
        self._settled = 0
        self._aside: list[_Aside] = []

    def add(self, rows: Rows) -> None:
        """Take in rows."""
        self._parts.append(rows)
        self._waiting += len(rows)
        if self._waiting > self.most_rows // 4 + self._settled // 2:
            self._settle()

    def joined(self, other: CellTable) -> CellTable:
        """Give a table of the rows of both; neither is used afterwards."""
        self._aside += other._aside
        for rows in other._parts:
            self.add(rows)
        return self

    def settle(self) -> None:
        """Merge what is held, before the table travels or is read."""
        self._settle()

    def blocks(self) -> list[int]:
        """Give the numbers of all blocks with rows, ascending."""
        self._settle()
        held = block_of(self._parts[0].keys[:, 0])
        found: list[int] = np.unique(
            np.concatenate([held, *(a.blocks for a in self._aside)])
        ).tolist()
        return found

    def rows(self, block: int) -> Rows:
        """Give the merged rows of one block."""
        held = self._parts[0]
        first, last = np.searchsorted(block_of(held.keys[:, 0]), [block, block + 1])
        parts = [held.take(slice(int(first), int(last)))]
        parts += [rows for a in self._aside if (rows := a.rows(block)) is not None]
        return merged(parts) if len(parts) > 1 else parts[0]

    def _settle(self) -> None:
        if len(self._parts) > 1:
            self._parts = [merged(self._parts)]
        self._waiting, self._settled = 0, len(self._parts[0])
        if self._settled > self.most_rows:
            self._lay_aside()

    def _lay_aside(self) -> None:
        rows = self._parts[0]
        blocks, starts = np.unique(block_of(rows.keys[:, 0]), return_index=True)
        path = self.folder / f"{uuid.uuid4().hex}.rows"
        whole = np.concatenate([rows.keys, rows.sums, rows.lows, rows.highs], axis=1)
        whole.tofile(path)
        widths = (2, rows.sums.shape[1], rows.lows.shape[1], rows.highs.shape[1])
        self._aside.append(_Aside(path, blocks, np.append(starts, len(rows)), widths))
        self._parts = [empty_rows(widths[1], widths[2])]
        self._settled = 0
