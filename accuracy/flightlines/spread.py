"""Statistics of many values in bounded memory."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from accuracy.flightlines.records import Differences

Array = NDArray[np.float64]

#: Values are counted in bins of this width for their percentiles.
BIN_M = 1e-5
TIMES_95 = 1.96


class Spread:
    """Count, mean, spread, percentiles and extremes of values in metres, seen in a fixed order."""

    def __init__(self) -> None:
        self.n = 0
        self.total = self.squares = 0.0
        self.low, self.high = math.inf, -math.inf
        self.place: tuple[float, float] | None = None
        self._bins: list[tuple[NDArray[np.int64], NDArray[np.int64]]] = []

    @property
    def largest(self) -> float:
        """Largest absolute value."""
        return max(-self.low, self.high, 0.0)

    def see(self, values: Array, x: Array | None = None, y: Array | None = None) -> None:
        """Take note of values of shape (n,), and of places to remember that of the largest."""
        if not len(values):
            return
        if x is not None and y is not None:
            at = int(np.argmax(np.abs(values)))
            if self.place is None or abs(values[at]) > self.largest:
                self.place = (float(x[at]), float(y[at]))
        self.n += len(values)
        self.total += float(values.sum())
        self.squares += float(values @ values)
        self.low = min(self.low, float(values.min()))
        self.high = max(self.high, float(values.max()))
        bins, counts = np.unique(
            np.rint(np.abs(values) / BIN_M).astype(np.int64), return_counts=True
        )
        self._bins.append((bins, counts))
        if len(self._bins) > 64:
            self._merge()

    def percentile_abs(self, percent: float) -> float | None:
        """Give a percentile of absolute values, linear rank (P/100)(N-1)+1, to `BIN_M`."""
        if not self.n:
            return None
        self._merge()
        bins, counts = self._bins[0]
        rank = percent / 100.0 * (self.n - 1)
        until = np.cumsum(counts)
        lower, upper = (
            bins[np.searchsorted(until, k, side="right")]
            for k in (math.floor(rank), math.ceil(rank))
        )
        return float(lower + (upper - lower) * (rank - math.floor(rank))) * BIN_M

    def differences(self) -> Differences:
        """Give the statistics."""
        n = self.n
        if not n:
            return Differences(n=0)
        mean, rmsd = self.total / n, math.sqrt(self.squares / n)
        variance = max(self.squares - n * mean * mean, 0.0) / (n - 1) if n > 1 else None
        return Differences(
            n=n,
            mean_m=mean,
            std_m=None if variance is None else math.sqrt(variance),
            rmsd_m=rmsd,
            p95_abs_m=self.percentile_abs(95.0),
            accuracy_95_m=TIMES_95 * rmsd,
            max_abs_m=self.largest,
        )

    def _merge(self) -> None:
        keys = np.concatenate([bins for bins, _ in self._bins])
        counts = np.concatenate([counts for _, counts in self._bins])
        bins, which = np.unique(keys, return_inverse=True)
        total = np.zeros(len(bins), np.int64)
        np.add.at(total, which, counts)
        self._bins = [(bins, total)]
