"""Points stored twice, and points out of order."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from accuracy.flightlines.records import Duplicates

Ints = NDArray[np.int64]

#: Fingerprints kept; beyond it only those that end in one more zero bit.
MOST_HASHES = 2_000_000


class HashSample:
    """Fingerprints of points, all of them or a sample that the fingerprint itself decides.

    Equal points have equal fingerprints, so both are in the sample or neither is, whichever files they are in.
    """

    def __init__(self, most: int = MOST_HASHES) -> None:
        self.most = most
        self.zeros = 0
        self._parts: list[NDArray[np.uint64]] = []
        self._held = 0

    def see(
        self,
        x: Ints,
        y: Ints,
        z: Ints,
        time: NDArray[np.float64],
        source: Ints,
        returned: NDArray[np.uint8],
    ) -> None:
        """Take note of points: coordinates in steps, arrays of shape (n,)."""
        mixed = x.view(np.uint64) * np.uint64(0x9E3779B97F4A7C15)
        mixed ^= y.view(np.uint64) * np.uint64(0xC2B2AE3D27D4EB4F)
        mixed ^= z.view(np.uint64) * np.uint64(0x165667B19E3779F9)
        mixed ^= np.ascontiguousarray(time).view(np.uint64) * np.uint64(0x27D4EB2F165667C5)
        rest = source.view(np.uint64) << np.uint64(4) | returned
        mixed ^= rest * np.uint64(0xD6E8FEB86659FD93)
        mixed ^= mixed >> np.uint64(32)
        mixed *= np.uint64(0xD6E8FEB86659FD93)
        mixed ^= mixed >> np.uint64(29)
        self._keep(mixed)

    def joined(self, other: HashSample) -> HashSample:
        """Give the fingerprints of both."""
        self.zeros = max(self.zeros, other.zeros)
        parts = [*self._parts, *other._parts]
        self._parts, self._held = [], 0
        for part in parts:
            self._keep(part)
        return self

    def duplicates(self) -> Duplicates:
        """Count points that are there before, in the sample, and tell what that means for all."""
        hashes = np.sort(np.concatenate([np.zeros(0, np.uint64), *self._parts]))
        surplus = int(np.count_nonzero(hashes[1:] == hashes[:-1]))
        share = 0.5**self.zeros
        error = 0.0 if self.zeros == 0 else math.sqrt(surplus * (1.0 - share)) / share
        return Duplicates(surplus=surplus / share, sampled=share, surplus_error=error)

    def _keep(self, hashes: NDArray[np.uint64]) -> None:
        if self.zeros:
            hashes = hashes[hashes & np.uint64((1 << self.zeros) - 1) == 0]
        self._parts.append(hashes)
        self._held += len(hashes)
        while self._held > self.most:
            self.zeros += 1
            last = np.uint64((1 << self.zeros) - 1)
            whole = np.concatenate(self._parts)
            self._parts = [whole[whole & last == 0]]
            self._held = len(self._parts[0])


class OrderWatch:
    """Order of the points of one file, seen in the order they are stored."""

    def __init__(self) -> None:
        self.points = self.steps_back = self.returns_back = self.untimed = 0
        self.largest_back_s = 0.0
        self._last: tuple[float, int, int] | None = None

    def see(self, time: NDArray[np.float64], source: Ints, returned: NDArray[np.uint8]) -> None:
        """Take note of points; time 0 is none."""
        if not len(time):
            return
        self.points += len(time)
        self.untimed += int(np.count_nonzero(time == 0.0))
        if self._last is not None:
            last_time, last_source, last_returned = self._last
            self._compare(
                np.array([last_time, time[0]]),
                np.array([last_source, source[0]]),
                np.array([last_returned, returned[0]]),
            )
        self._compare(time, source, returned)
        self._last = (float(time[-1]), int(source[-1]), int(returned[-1]))

    def _compare(
        self,
        time: NDArray[np.float64],
        source: Ints,
        returned: NDArray[np.uint8] | NDArray[np.int64],
    ) -> None:
        step = np.diff(time)
        not_later = np.flatnonzero(step <= 0.0)
        if not not_later.size:
            return
        before, after = not_later, not_later + 1
        alike = (source[before] == source[after]) & (time[before] != 0.0) & (time[after] != 0.0)
        back = alike & (step[before] < 0.0)
        if back.any():
            self.steps_back += int(np.count_nonzero(back))
            self.largest_back_s = max(self.largest_back_s, float(-step[before[back]].min()))
        same = alike & (step[before] == 0.0)
        self.returns_back += int(np.count_nonzero(same & (returned[after] < returned[before])))
