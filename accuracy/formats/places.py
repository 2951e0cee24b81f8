"""Which stored points lie near any of some places: the sieve that streamed clouds pass through."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from accuracy.formats.las_header import STORED_REACH

MOST_CELLS = 1 << 22
FEW_PLACES = 12  # up to so many, asking each place is quicker than looking cells up
_PAIRS_AT_ONCE = 1 << 20


class Places:
    """Discs around places, searched in stored integer coordinates.

    A coarse mask of cells, at least one radius wide, throws most points out with integer arithmetic; the
    rest are measured against the places of their cell.

    Parameters
    ----------
    x, y : ndarray of float64, shape (n,)
        Places in stored units; places that are not finite are near nothing.
    radius : float
        In stored units, measured horizontally.
    scale, offset : tuple of float
        Of stored x and y.

    Notes
    -----
    A place is carried to stored integers in floating point. Its error there, plus two stored units, is
    added to the radius, so that no point within the radius is missed.
    """

    def __init__(
        self,
        x: NDArray[np.float64],
        y: NDArray[np.float64],
        radius: float,
        scale: tuple[float, float],
        offset: tuple[float, float],
    ) -> None:
        axes = []
        for values, one_scale, one_offset in zip((x, y), scale, offset, strict=True):
            with np.errstate(over="ignore"):  # places as far away as that are dropped below
                stored = (np.asarray(values, dtype=np.float64) - one_offset) / one_scale
            stored = np.clip(stored, -1e300, 1e300)  # infinities would not add up
            largest = abs(one_offset) + STORED_REACH * one_scale  # of any point in the file
            if math.isfinite(radius):
                largest += radius
            margin = 2.0 + 4.0 * math.ulp(largest) / one_scale
            axes.append((stored, margin * one_scale))
        (px, margin_x), (py, margin_y) = axes
        self._reach = radius + math.hypot(margin_x, margin_y)
        # two units more: whatever is within reach is within the box, so that all ways of search agree
        reach_x, reach_y = (self._reach / one_scale + 2.0 for one_scale in scale)
        with np.errstate(invalid="ignore"):
            kept = (np.abs(px) <= STORED_REACH + reach_x) & (np.abs(py) <= STORED_REACH + reach_y)
        self._px, self._py = px[kept], py[kept]
        self._scale = scale
        self._build(reach_x, reach_y)

    def _build(self, reach_x: float, reach_y: float) -> None:
        """Lay the cells out and list the places whose disc touches each."""
        low_high = []
        inside = []  # the same limits as 32-bit integers, which numpy compares without a detour
        for stored, reach in ((self._px, reach_x), (self._py, reach_y)):
            low = np.clip(np.floor(stored - reach), -STORED_REACH, STORED_REACH).astype(np.int64)
            high = np.clip(np.ceil(stored + reach), -STORED_REACH, STORED_REACH).astype(np.int64)
            inside += [
                np.clip(v, -STORED_REACH, STORED_REACH - 1).astype(np.int32) for v in (low, high)
            ]
            low_high.append((low, high, math.ceil(min(reach, STORED_REACH)).bit_length()))
        (x_low, x_high, shift_x), (y_low, y_high, shift_y) = low_high
        self._limits = np.column_stack([inside[0], inside[2], inside[1], inside[3]])
        if not self._px.size:
            self._box = (0, -1, 0, -1)
            return
        self._box = (int(x_low.min()), int(x_high.max()), int(y_low.min()), int(y_high.max()))
        while True:
            columns = ((self._box[1] - self._box[0]) >> shift_x) + 1
            rows = ((self._box[3] - self._box[2]) >> shift_y) + 1
            if columns * rows <= MOST_CELLS:
                break
            if columns > rows:
                shift_x += 1
            else:
                shift_y += 1
        self._shifts, self._rows = (shift_x, shift_y), rows
        column0, column1 = ((v - self._box[0]) >> shift_x for v in (x_low, x_high))
        row0, row1 = ((v - self._box[2]) >> shift_y for v in (y_low, y_high))
        cells, members = [], []
        for right in range(3):  # a disc is at most two cells wide and touches at most three
            for up in range(3):
                touched = np.flatnonzero((column0 + right <= column1) & (row0 + up <= row1))
                cells.append((column0[touched] + right) * rows + row0[touched] + up)
                members.append(touched)
        cell, member = np.concatenate(cells), np.concatenate(members)
        self._members = member[np.argsort(cell, kind="stable")]
        self._counts = np.bincount(cell, minlength=columns * rows).astype(np.int32)
        self._starts = (np.cumsum(self._counts, dtype=np.int64) - self._counts).astype(np.int64)

    def meets(self, boxes: NDArray[np.int32]) -> NDArray[np.bool_]:
        """Say of boxes of stored integers whether a disc's own box touches them.

        Parameters
        ----------
        boxes : ndarray of int32, shape (n, 4)
            Least x, least y, largest x, largest y.

        Returns
        -------
        ndarray of bool, shape (n,)
        """
        met = np.zeros(len(boxes), dtype=np.bool_)
        step = max(1, _PAIRS_AT_ONCE // max(1, len(self._limits)))
        for start in range(0, len(boxes), step):
            met[start : start + step] = self._touch(boxes[start : start + step]).any(axis=1)
        return met

    def _touch(self, boxes: NDArray[np.int32]) -> NDArray[np.bool_]:
        west, south, east, north = (self._limits[:, column] for column in range(4))
        x0, y0, x1, y1 = (boxes[:, column, None] for column in range(4))
        touching: NDArray[np.bool_] = (x0 <= east) & (x1 >= west) & (y0 <= north) & (y1 >= south)
        return touching

    def near(
        self,
        x: NDArray[np.int32],
        y: NDArray[np.int32],
        box: NDArray[np.int32] | None = None,
    ) -> NDArray[np.intp]:
        """Give the indices, ascending, of the stored points near any place.

        Parameters
        ----------
        x, y : ndarray of int32, shape (n,)
            Stored coordinates.
        box : ndarray of int32, shape (4,), optional
            Their least x, least y, largest x, largest y, if known.
        """
        if box is not None:
            places = np.flatnonzero(self._touch(box[None])[0])
            if places.size <= FEW_PLACES:
                return self._near_few(x, y, places)
        return self._near_cells(x, y)

    def _near_few(
        self, x: NDArray[np.int32], y: NDArray[np.int32], places: NDArray[np.intp]
    ) -> NDArray[np.intp]:
        found = [np.zeros(0, dtype=np.intp)]
        for place in places.tolist():
            west, south, east, north = self._limits[place]
            candidates = np.flatnonzero((x >= west) & (x <= east))
            near_y = y[candidates]
            candidates = candidates[(near_y >= south) & (near_y <= north)]
            inside = self._within(
                x[candidates].astype(np.int64), y[candidates].astype(np.int64), place
            )
            found.append(candidates[inside])
        return found[1] if len(found) == 2 else np.unique(np.concatenate(found))

    def _within(
        self, x: NDArray[np.int64], y: NDArray[np.int64], place: NDArray[np.intp] | int
    ) -> NDArray[np.bool_]:
        with np.errstate(over="ignore"):  # absurd scales only
            east = (x - self._px[place]) * self._scale[0]
            north = (y - self._py[place]) * self._scale[1]
        inside: NDArray[np.bool_] = np.hypot(east, north) <= self._reach
        return inside

    def _near_cells(self, x: NDArray[np.int32], y: NDArray[np.int32]) -> NDArray[np.intp]:
        x0, x1, y0, y1 = self._box
        candidates = np.flatnonzero((x >= x0) & (x <= x1) & (y >= y0) & (y <= y1))
        if not candidates.size:
            return candidates
        near_x, near_y = x[candidates].astype(np.int64), y[candidates].astype(np.int64)
        cell = ((near_x - x0) >> self._shifts[0]) * self._rows + ((near_y - y0) >> self._shifts[1])
        open_ = np.flatnonzero(self._counts[cell])  # still to be measured
        hit = np.zeros(candidates.size, dtype=np.bool_)
        turn = 0
        while open_.size:
            place = self._members[self._starts[cell[open_]] + turn]
            inside = self._within(near_x[open_], near_y[open_], place)
            hit[open_[inside]] = True
            turn += 1
            open_ = open_[~inside & (self._counts[cell[open_]] > turn)]
        return candidates[hit]
