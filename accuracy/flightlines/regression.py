"""Least squares over cells that are not independent: blocks of cells are, so the errors come from them.

Standard errors are those of the delete-one-block jackknife (known as CR3 for regressions): every block is left
out in turn. They are widened for the number of blocks. Errors that reach farther than a block, such as a slow
wander of the trajectory, are not in them.

References
----------
Bell, R. M., McCaffrey, D. F. (2002), Bias reduction in standard errors for linear regression with multi-stage
samples, Survey Methodology 28(2), 169-181 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from accuracy.flightlines.records import Estimate

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

FEWEST_BLOCKS = 5
#: Larger condition numbers of the scaled normal matrix: not to be solved.
WORST_CONDITION = 1e10


@dataclass(frozen=True, eq=False)
class Fit:
    """Result of a fit.

    Attributes
    ----------
    values : ndarray of float64, shape (k,)
        Parameters.
    covariance : ndarray of float64, shape (k, k), or None
        Of the parameters; None with fewer than `FEWEST_BLOCKS` blocks.
    normal : ndarray of float64, shape (k, k)
        Normal matrix.
    """

    values: Array
    covariance: Array | None
    normal: Array
    cells: int
    blocks: int

    def estimate(self, weights: Sequence[float]) -> Estimate:
        """Give a linear combination of the parameters."""
        w: Array = np.asarray(weights, np.float64)
        if self.covariance is None:
            return Estimate(value=float(w @ self.values))
        variance = float(w @ self.covariance @ w)
        error = math.sqrt(max(variance, 0.0)) * widening(self.blocks)
        return Estimate(value=float(w @ self.values), standard_error=error)

    def each(self, at: int) -> Estimate:
        """Give one parameter."""
        return self.estimate(np.eye(len(self.values))[at].tolist())


def widening(blocks: int) -> float:
    """Give what makes three standard errors hold 99.73 % with few blocks: Student's t over three.

    Examples
    --------
    >>> round(widening(6), 2), round(widening(1000), 2)
    (1.84, 1.0)
    """
    from scipy.special import stdtrit

    return float(stdtrit(blocks - 1, 0.9986501)) / 3.0


class Products:
    """Sums of products of columns by block; the constant column is put in front."""

    def __init__(self, columns: int) -> None:
        self.width = columns + 1
        self._upper = np.triu_indices(self.width)
        self._sums: dict[int, Array] = {}

    def see(self, block: Ints, columns: Sequence[Array], less: Array | None = None) -> None:
        """Take note of cells.

        Parameters
        ----------
        block : ndarray of int64, shape (n,)
            Which block each cell lies in.
        columns : sequence of ndarray, each of shape (n,)
            Values.
        less : ndarray of float64, shape (n, w, w), optional
            Expected products of the errors in the columns, taken off (errors in variables); w is the number of
            columns and one for the constant.
        """
        if not len(block):
            return
        order = np.argsort(block, kind="stable")
        values = np.column_stack([np.ones(len(block)), *columns])[order]
        i, j = self._upper
        products = values[:, i] * values[:, j]
        if less is not None:
            products -= less[order][:, i, j]
        ordered = block[order]
        starts = np.concatenate([[0], np.flatnonzero(np.diff(ordered)) + 1])
        sums = np.add.reduceat(products, starts, axis=0)
        for key, row in zip(ordered[starts].tolist(), sums, strict=True):
            before = self._sums.get(key)
            self._sums[key] = row if before is None else before + row

    @property
    def cells(self) -> int:
        """Number of cells seen."""
        return round(sum(float(row[0]) for row in self._sums.values()))

    @property
    def blocks(self) -> int:
        """Number of blocks seen."""
        return len(self._sums)

    def total(self) -> Array:
        """Give all products, shape (w, w)."""
        return np.asarray(self._matrices().sum(axis=0))

    def fit(
        self,
        use: Sequence[int],
        response: int,
        *,
        constant: bool = True,
        combined: Sequence[tuple[float, ...]] = (),
    ) -> Fit | None:
        """Fit `response` by columns `use` (column 1 is the first one seen), and a constant in front of them.

        Parameters
        ----------
        combined : sequence of tuple of float
            More columns, each a combination of all columns with the constant.

        Returns
        -------
        Fit or None
            None where there are too few cells or the columns do not tell the parameters apart.
        """
        whole = np.eye(self.width)
        x = np.array(
            [*(whole[at] for at in ([0] if constant else [])), *whole[list(use)], *combined]
        )
        if self.cells < 3 * len(x) or not self._sums:
            return None
        each = self._matrices()
        normals, sides = x @ each @ x.T, (each @ x.T)[:, response]
        normal, side = normals.sum(axis=0), sides.sum(axis=0)
        values = _solve(normal, side)
        if values is None:
            return None
        return Fit(
            values,
            _jackknife(normal, side, normals, sides, values),
            normal,
            self.cells,
            self.blocks,
        )

    def _matrices(self) -> Array:
        whole = np.zeros((len(self._sums), self.width, self.width))
        i, j = self._upper
        for at, key in enumerate(sorted(self._sums)):
            whole[at, i, j] = whole[at, j, i] = self._sums[key]
        return whole


def _solve(normal: Array, side: Array) -> Array | None:
    diagonal = np.diag(normal)
    if not (np.isfinite(diagonal).all() and (diagonal > 0.0).all()):
        return None
    size = np.sqrt(diagonal)
    scaled = normal / np.outer(size, size)
    if not 0.0 < np.linalg.cond(scaled) < WORST_CONDITION or np.linalg.eigvalsh(scaled)[0] <= 0.0:
        return None
    return np.asarray(np.linalg.solve(scaled, side / size) / size)


def _jackknife(
    normal: Array, side: Array, normals: Array, sides: Array, values: Array
) -> Array | None:
    count = len(normals)
    if count < FEWEST_BLOCKS:
        return None
    without = []
    for one, its_side in zip(normals, sides, strict=True):
        found = _solve(normal - one, side - its_side)
        if found is None:
            return None
        without.append(found - values)
    off = np.array(without)
    return np.asarray((count - 1) / count * off.T @ off)
