"""A reducer in a module of its own, so that other processes can import it."""

from __future__ import annotations

import numpy as np


class PerClass:
    """Counts points and sums heights by class: a reducer."""

    fields = ("z", "classification")

    def __init__(self) -> None:
        self.count = np.zeros(256, dtype=np.int64)
        self.first: list[int] = []

    def see(self, batch):
        """Count."""
        self.count += np.bincount(batch.classification, weights=batch.z, minlength=256).astype(int)
        self.first = self.first or [int(batch.z[0])]
        assert batch.gps_time.size == 0

    def merged(self, other):
        """Add."""
        both = PerClass()
        both.count, both.first = self.count + other.count, self.first + other.first
        return both
