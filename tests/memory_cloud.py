"""A point cloud in memory: the surface interface without a file, for tests of sampling."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from accuracy.formats import PointBatch, StoredGrid, SurfaceInfo


class MemoryCloud:
    """Points given as stored integers; `near` gives all of them, which the interface allows."""

    def __init__(
        self,
        x: ArrayLike,
        y: ArrayLike,
        z: ArrayLike,
        *,
        scale: str = "0.001",
        offset: tuple[str, str, str] = ("0", "0", "0"),
        classification: ArrayLike | int = 2,
        withheld: ArrayLike | bool = False,
        source: ArrayLike | int = 1,
        name: str = "memory.las",
    ) -> None:
        columns = [np.asarray(c, dtype=np.int64) for c in (x, y, z)]
        n = len(columns[0])
        step = Fraction(scale)
        grid = StoredGrid((step, step, step), tuple(Fraction(o) for o in offset))
        self.batch = PointBatch(
            grid,
            *columns,
            classification=np.broadcast_to(np.asarray(classification, np.uint8), n).copy(),
            withheld=np.broadcast_to(np.asarray(withheld, bool), n).copy(),
            synthetic=np.zeros(n, bool),
            overlap=np.zeros(n, bool),
            point_source_id=np.broadcast_to(np.asarray(source, np.uint16), n).copy(),
            gps_time=np.full(n, np.nan),
            scan_angle_deg=np.zeros(n, np.float32),
        )
        low = (
            [float(c.min() * step + o) for c, o in zip(columns, grid.offset, strict=True)]
            if n
            else [0] * 3
        )
        high = (
            [float(c.max() * step + o) for c, o in zip(columns, grid.offset, strict=True)]
            if n
            else [0] * 3
        )
        self.info = SurfaceInfo(
            Path(name), "point-cloud", "memory", 0, (low[0], low[1], high[0], high[1]), points=n
        )

    def near(
        self, x: NDArray[np.float64], y: NDArray[np.float64], radius: float
    ) -> Iterator[PointBatch]:
        """Give all points."""
        yield self.batch
