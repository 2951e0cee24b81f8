"""Weighted least squares with errors that rows share: of a point, of a flight line, of everything.

The covariance of the observations is noise + point + line + shared parts. Whitening removes the first two in
closed form; the others are columns with a prior, projected out. What is left has unit covariance, so that sums
of squares are chi-square (generalised least squares; Searle, Casella and McCulloch, Variance Components, 1992,
chapter 6; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from accuracy.diagnosis.fields import ELEMENTARY
from accuracy.diagnosis.records import HEADING, Array, Errors, Indices, Sightings

VERTICAL = 2


#: Positions wander within a line about as much as from line to line: from the middle of a line to its ends by
#: this share of it (a first-order Gauss-Markov process whose correlation time is that of one or two lines).
DRIFT = 0.6


def along_line(s: Sightings, members: NDArray[np.bool_]) -> Array:
    """Give how far along a line its points lie, -1 to 1 from end to end; 0 elsewhere and where not known."""
    along = np.zeros(s.count)
    usable = members & s.geometry_known & np.isfinite(s.position_m[:, :2]).all(axis=1)
    if not usable.any():
        return along
    psi = np.radians(s.heading_deg[usable])
    here = s.position_m[usable, 0] * np.sin(psi) + s.position_m[usable, 1] * np.cos(psi)
    reach = np.ptp(here) / 2.0
    if reach > 0.0:
        along[usable] = (here - here.min()) / reach - 1.0
    return along


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

    @cached_property
    def relative_noise(self) -> Array:
        """Noise of each observation relative to the usual: centres as they are stated, or by their returns."""
        returns = np.maximum(self.sightings.returns[self.row], 1.0)
        flat = self.axis != VERTICAL
        out = np.ones(self.count)
        if flat.any():
            out[flat] = np.sqrt(np.median(returns[flat]) / returns[flat])
        if self.sightings.centre_sigma_m is not None:
            sigma = self.sightings.centre_sigma_m[self.row]
            stated = flat & np.isfinite(sigma)
            out[flat & ~stated] = 1.0
            if stated.any():
                out[stated] = sigma[stated] / np.median(sigma[stated])
        return np.clip(out, 0.3, 3.0)

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

    @cached_property
    def shared_columns(self) -> list[tuple[str, Array]]:
        """Give what everything and what a line shares: name of its deviation in `Errors`, and the column."""
        s = self.sightings
        everything = np.ones(s.count, dtype=np.bool_)
        found: list[tuple[str, Array]] = []
        for members, part in (
            (everything, "shared"),
            *((s.line == line, "line") for line in s.lines),
        ):
            for axis, letter in enumerate("hhv"):
                field = np.zeros((s.count, 3))
                field[members, axis] = 1.0
                found.append((f"{part}_{letter}_m", self.seen(field)))
            if part == "shared" and not s.lines:
                found += self._untold_lines()
            if part == "line":
                along = along_line(s, members)
                for axis, letter in enumerate("hhv"):
                    field = np.zeros((s.count, 3))
                    field[:, axis] = DRIFT * along
                    found.append((f"line_{letter}_m", self.seen(field)))
            if part == "line" and s.geometry_known[members].any():
                for name, times in (("roll", 1.0), ("heading", HEADING)):
                    field = ELEMENTARY[name].field(s) * members[:, None] * times
                    found.append(("line_roll_deg", self.seen(field)))
        return [(name, column) for name, column in found if column.any()]

    def _untold_lines(self) -> list[tuple[str, Array]]:
        """Give what lines do that are not told apart: as much as is shared, from side to side."""
        s = self.sightings
        here = s.centred_m()
        found = []
        for direction in range(2):
            reach = float(np.abs(here[:, direction]).max()) or 1.0
            for axis, letter in enumerate("hhv"):
                field = np.zeros((s.count, 3))
                field[:, axis] = here[:, direction] / reach
                found.append((f"shared_{letter}_m", self.seen(field)))
        return found


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
    noise = noise * observations.relative_noise
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
    columns = [column * getattr(errors, name) for name, column in observations.shared_columns]
    shared = np.column_stack(columns) if columns else np.zeros((observations.count, 0))
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
