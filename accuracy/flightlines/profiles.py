"""How the difference of a pair runs across its track, along it and with time: means of cells in bins."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from accuracy.flightlines.records import Axis, Profile

Array = NDArray[np.float64]

#: Most bins of a profile.
MOST_BINS = 40

#: Width of the bins that are summed up, later joined to at most `MOST_BINS`: metres, metres, seconds.
FINE: dict[Axis, float] = {"across": 0.5, "along": 2.0, "time": 0.5}


class ProfileSums:
    """Number, sum and sum of squares of differences in narrow bins along one axis."""

    def __init__(self, axis: Axis) -> None:
        self._axis: Axis = axis
        self._fine = FINE[axis]
        self._sums: dict[int, Array] = {}

    def see(self, at: Array, difference_m: Array) -> None:
        """Take note of differences; `at` in metres or seconds, NaN where it is not known."""
        known = np.isfinite(at) & np.isfinite(difference_m)
        bins, place = np.unique(np.floor(at[known] / self._fine), return_inverse=True)
        sums = np.zeros((len(bins), 3))
        for power in range(3):
            np.add.at(sums[:, power], place, difference_m[known] ** power)
        for number, its in zip(bins.astype(np.int64).tolist(), sums, strict=True):
            self._sums[number] = self._sums.get(number, 0.0) + its

    def profile(self) -> Profile | None:
        """Join bins to at most `MOST_BINS` of one width; None without cells.

        Examples
        --------
        >>> sums = ProfileSums("across")
        >>> sums.see(np.array([0.1, 0.2, 7.3]), np.array([0.01, 0.03, 0.05]))
        >>> profile = sums.profile()
        >>> profile.at, profile.n, [round(mean, 3) for mean in profile.mean_m]
        ((0.25, 7.25), (2, 1), [0.02, 0.05])
        """
        if not self._sums:
            return None
        first, last = min(self._sums), max(self._sums)
        joined = math.ceil((last - first + 1) / MOST_BINS)
        wide: dict[int, Array] = {}
        for number in sorted(self._sums):
            place = (number - first) // joined
            wide[place] = wide.get(place, 0.0) + self._sums[number]
        at, mean_m, std_m, counts = [], [], [], []
        for place, (n, total, squares) in sorted(wide.items()):
            mean = total / n
            variance = max(squares - n * mean**2, 0.0) / (n - 1) if n > 1 else 0.0
            at.append((first + (place + 0.5) * joined) * self._fine)
            mean_m.append(float(mean))
            std_m.append(math.sqrt(variance))
            counts.append(int(n))
        return Profile(
            axis=self._axis,
            at=tuple(at),
            mean_m=tuple(mean_m),
            std_m=tuple(std_m),
            n=tuple(counts),
        )
