"""Weighted least squares with errors that rows share: of a point, of a flight line, of everything.

The covariance of the observations is noise + point + line + shared parts. Whitening removes the first two in
closed form; the others are columns with a prior, projected out. What is left has unit covariance, so that sums
of squares are chi-square (generalised least squares; Searle, Casella and McCulloch, Variance Components, 1992,
chapter 6; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from accuracy.diagnosis.records import Array, Errors, Indices, Sightings

VERTICAL = 2


class Observations:
    """The residuals of some sightings as one vector, shape (m,), and what a displacement does to it."""

    def __init__(self, sightings: Sightings) -> None:
        self.sightings = sightings
        self._there = np.isfinite(sightings.residual_m)
        self.row, self.axis = np.nonzero(self._there)
        self.values: Array = sightings.residual_m[self._there]
        place = sightings.place[self.row]
        _, block = np.unique(place * 3 + self.axis, return_inverse=True)
        self.block: Indices = block.reshape(-1).astype(np.intp)
        self.blocks = int(self.block.max()) + 1 if self.block.size else 0

    @property
    def count(self) -> int:
        """Number of observed components."""
        return len(self.values)

    @property
    def vertical(self) -> Array:
        """1 for heights, 0 for horizontal components."""
        return np.asarray(self.axis == VERTICAL, dtype=np.float64)

    def seen(self, field: Array) -> Array:
        """Give what a displacement of the deliverable, shape (n, 3), does to the observations, shape (m,).

        A surface that moves sideways shows other ground at the place of a checkpoint: up = dU - dE dz/dE -
        dN dz/dN.
        """
        moved = np.array(field, dtype=np.float64)
        moved[:, VERTICAL] -= (field[:, :2] * self.sightings.gradient).sum(axis=1)
        return np.asarray(moved[self._there])

    def shared_columns(self) -> tuple[Array, Array, Array]:
        """Columns of what a line and what everything share; for each whether it is vertical, and of a line."""
        n = self.sightings.count
        columns, vertical, of_line = [], [], []
        groups = [(np.ones(n, dtype=np.bool_), False)]
        groups += [(self.sightings.line == line, True) for line in self.sightings.lines]
        for members, is_line in groups:
            for axis in range(3):
                field = np.zeros((n, 3))
                field[members, axis] = 1.0
                column = self.seen(field)
                if column.any():
                    columns.append(column)
                    vertical.append(float(axis == VERTICAL))
                    of_line.append(float(is_line))
        if not columns:
            return np.zeros((self.count, 0)), np.zeros(0), np.zeros(0)
        return np.column_stack(columns), np.array(vertical), np.array(of_line)


@dataclass(frozen=True, eq=False)
class Whitener:
    """Turns observations into independent ones of unit variance."""

    deviation: Array
    block: Indices
    blocks: int
    shrink: Array
    direction: Array
    basis: Array
    log_determinant: float
    shared: Array

    def point_white(self, columns: Array) -> Array:
        """Whiten noise and point part; shape (m, k)."""
        scaled = columns / self.deviation[:, None]
        sums = np.zeros((self.blocks, columns.shape[1]))
        np.add.at(sums, self.block, scaled * self.direction[:, None])
        return np.asarray(
            scaled - (self.shrink[self.block] * self.direction)[:, None] * sums[self.block]
        )

    def __call__(self, columns: Array) -> Array:
        """Whiten columns, shape (m, k); gives (m + r, k), r shared effects projected out."""
        flat = columns.ndim == 1
        wide = columns[:, None] if flat else columns
        white = np.vstack([self.point_white(wide), np.zeros((self.shared.shape[1], wide.shape[1]))])
        white -= self.basis @ (self.basis.T @ white)
        return np.asarray(white[:, 0] if flat else white)


def whitener(observations: Observations, errors: Errors, weights: Array) -> Whitener:
    """Make the whitener.

    Parameters
    ----------
    weights : ndarray, shape (blocks,)
        Weight of each point on each axis: less than 1 where others contradict it.
    """
    vertical = observations.vertical
    noise = np.where(vertical > 0, errors.noise_v_m, errors.noise_h_m)
    point = np.where(vertical > 0, errors.point_v_m, errors.point_h_m)
    root = np.sqrt(weights)[observations.block]
    deviation = noise / root
    direction = 1.0 / noise  # of one row, in units of its own deviation
    square = np.bincount(observations.block, direction**2, observations.blocks)
    point_of_block = np.zeros(observations.blocks)
    point_of_block[observations.block] = point
    with np.errstate(divide="ignore", invalid="ignore"):
        shrink = (1.0 - 1.0 / np.sqrt(1.0 + point_of_block**2 * square)) / square
    log_determinant = 2.0 * np.log(deviation).sum() + np.log1p(point_of_block**2 * square).sum()
    columns, is_vertical, of_line = observations.shared_columns()
    line = np.where(is_vertical > 0, errors.line_v_m, errors.line_h_m)
    everything = np.where(is_vertical > 0, errors.shared_v_m, errors.shared_h_m)
    size = np.where(of_line > 0, line, everything)
    shared = columns * size
    made = Whitener(
        deviation,
        observations.block,
        observations.blocks,
        shrink,
        direction,
        np.zeros((observations.count + shared.shape[1], 0)),
        float(log_determinant),
        shared,
    )
    stacked = np.vstack([made.point_white(shared), np.eye(shared.shape[1])])
    basis, triangle = np.linalg.qr(stacked)
    log_determinant += 2.0 * np.log(np.abs(np.diag(triangle))).sum()
    return Whitener(
        deviation,
        observations.block,
        observations.blocks,
        shrink,
        direction,
        basis,
        float(log_determinant),
        shared,
    )


def solve(white: Array, values: Array) -> tuple[Array, Array, float]:
    """Solve whitened least squares: amounts, their covariance, sum of squares."""
    if white.shape[1] == 0:
        return np.zeros(0), np.zeros((0, 0)), float(values @ values)
    size = np.linalg.norm(white, axis=0)
    size[size == 0.0] = 1.0
    u, s, vt = np.linalg.svd(white / size, full_matrices=False)
    kept = s > s[0] * 1e-9
    inverse = np.where(kept, 1.0 / np.where(kept, s, 1.0), 0.0)
    amounts = (vt.T @ (inverse * (u.T @ values))) / size
    covariance = (vt.T * inverse**2) @ vt / np.outer(size, size)
    left = values - white @ amounts
    return amounts, covariance, float(left @ left)


def span(columns: Array, tolerance: float = 1e-7) -> Array:
    """Give an orthonormal basis of what columns span; columns are scaled to unit length first."""
    size = np.linalg.norm(columns, axis=0)
    used = columns[:, size > 0.0] / size[size > 0.0]
    if used.shape[1] == 0:
        return np.zeros((columns.shape[0], 0))
    u, s, _ = np.linalg.svd(used, full_matrices=False)
    return np.asarray(u[:, s > s[0] * tolerance])
