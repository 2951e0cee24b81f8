"""A pass over the points for occupancy alone, where lines or their spacing were not known before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from accuracy.flightlines.collecting import segment_key
from accuracy.flightlines.lattice import Lattice
from accuracy.flightlines.occupancy import Occupancy
from accuracy.formats import PointBatch


@dataclass(frozen=True, eq=False)
class Covering:
    """What the pass is told.

    Attributes
    ----------
    segment, line : ndarray of int64, shape (n,)
        Segments, ascending, and the line of each; -1 for none.
    anps : float
        Side of the cells, stored unit.
    """

    lattice: Lattice
    noise: tuple[int, ...]
    folder: Path
    anps: float
    segment: NDArray[np.int64]
    line: NDArray[np.int64]


class Coverer:
    """Occupancy by line: an `accuracy.formats.scanning.Reducer`."""

    fields: Sequence[str] = (
        "classification",
        "withheld",
        "synthetic",
        "point_source_id",
        "gps_time",
        "return_number",
    )

    def __init__(self, told: Covering) -> None:
        self.told = told
        self.occupancy = Occupancy(told.folder, told.anps)

    def see(self, batch: PointBatch) -> None:
        """Take note of first returns."""
        assert batch.return_number is not None
        noise = np.isin(batch.classification, self.told.noise)
        first = np.flatnonzero(
            ~(noise | batch.withheld | batch.synthetic) & (batch.return_number <= 1)
        )
        time = batch.gps_time[first]
        time = np.where(np.isfinite(time) & (np.abs(time) < 1e11), time, 0.0)
        segment = segment_key(batch.point_source_id[first].astype(np.int64), time)
        line = self.told.line[np.searchsorted(self.told.segment, segment)]
        lattice = self.told.lattice
        known = np.flatnonzero(line >= 0)
        first = first[known]
        self.occupancy.see(
            line[known],
            lattice.steps(batch.x[first], batch.grid, 0),
            lattice.steps(batch.y[first], batch.grid, 1),
            lattice.per_cell / float(lattice.cell),
        )

    def merged(self, other: Coverer) -> Coverer:
        """Give what one would hold that had seen the points of both; neither is used afterwards."""
        self.occupancy = self.occupancy.joined(other.occupancy)
        return self
