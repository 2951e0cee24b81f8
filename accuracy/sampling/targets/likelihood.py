"""How well placements of a pattern explain the values around a place; levels and noise are integrated out.

Per flight line the model is linear in its levels, with normal noise of unknown size. Both are integrated over,
with uniform levels and a scale-free noise: what is left depends on the placement alone,
``-(n - k) / 2 log S - 1/2 log |B' W B|`` with S the weighted sum of squares of the best levels (k columns B).
So lines may differ in gain and noise and share only the geometry.

References
----------
G. H. Golub and V. Pereyra, "The differentiation of pseudo-inverses and nonlinear least squares problems whose
variables separate", SIAM J. Numer. Anal. 10, 1973 (levels eliminated). A. Gelman et al., Bayesian Data
Analysis, 3rd ed., chapter 14 (levels and noise integrated). Both from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from accuracy.sampling.targets import TargetSpec
from accuracy.sampling.targets.patterns import Array, Integral, columns, normal_integral

#: A sum of squares counts as zero below this share of that of the values: rounding.
ROUNDING = 1e-12
#: Cells of the arrays that are computed at once; bounds memory.
AT_ONCE = 3_000_000


@dataclass(frozen=True, eq=False)
class Values:
    """Values of one flight line (or one picture) around a place.

    Attributes
    ----------
    at : ndarray, shape (n, 2)
        East and north relative to the place, metres.
    value : ndarray, shape (n,)
        Intensity, colour or height, in any unit.
    weight : ndarray, shape (n,)
        Relative weights, 1 on the target.
    line : int
        The flight line.
    worth : float or None
        How many independent values they are worth; None for all.
    """

    at: Array
    value: Array
    weight: Array
    line: int = 0
    worth: float | None = None

    def pick(self, which: NDArray[np.bool_]) -> Values:
        """Keep some of the values."""
        return replace(self, at=self.at[which], value=self.value[which], weight=self.weight[which])


@dataclass(frozen=True, eq=False)
class Explained:
    """What placements make of the values of one line; arrays of shape (m,).

    Attributes
    ----------
    squares, base_squares : ndarray
        Weighted sum of squares with the pattern, and with the ground alone.
    log_determinant : ndarray
        Of ``B' W B``.
    count : ndarray
        Values that count.
    """

    squares: Array
    base_squares: Array
    log_determinant: Array
    count: Array
    columns: int


def base_columns(spec: TargetSpec) -> int:
    """How many columns describe the ground."""
    return 3 if spec.pattern == "plate" else 1


def explain(
    spec: TargetSpec,
    values: Values,
    placements: Array,
    window: Array | None = None,
    integral: Integral = normal_integral,
) -> Explained:
    """Fit the levels of every placement.

    Parameters
    ----------
    window : ndarray, shape (m, n), optional
        Further weights, 0 or 1, for each placement; all values count without it.
    """
    centred = values.value - values.value.mean()
    parts = []
    size = max(1, AT_ONCE // max(1, 4 * len(centred)))
    for first in range(0, len(placements), size):
        some = slice(first, first + size)
        design = columns(spec, values.at, placements[some], integral)
        weight = values.weight[None, :] * (1.0 if window is None else window[some])
        weighted = design * weight[:, None, :]
        normal = weighted @ design.transpose(0, 2, 1)
        right = weighted @ centred
        total = weight @ centred**2
        k, base = design.shape[1], base_columns(spec)
        squares, log_determinant = _least(normal, right, total)
        base_squares, _ = _least(normal[:, :base, :base], right[:, :base], total)
        count = (weight > 0.0).sum(axis=1) * np.ones(len(design))
        parts.append((squares, base_squares, log_determinant, count))
    joined = [np.concatenate(column) for column in zip(*parts, strict=True)]
    return Explained(joined[0], joined[1], joined[2], joined[3], k)


def _least(normal: Array, right: Array, total: Array) -> tuple[Array, Array]:
    """Give the least sum of squares and the log determinant; a little ridge keeps empty columns harmless."""
    k = normal.shape[-1]
    scale = np.maximum(normal[:, :1, :1], 1e-9)
    sound = normal + 1e-9 * scale * np.eye(k)
    solution = np.linalg.solve(sound, right[..., None])[..., 0]
    squares = total - (right * solution).sum(axis=-1)
    return (
        np.maximum(squares, ROUNDING * np.maximum(total, 1e-30)),
        np.linalg.slogdet(sound)[1],
    )


def log_likelihood(spec: TargetSpec, lines: Sequence[Values], placements: Array) -> Array:
    """Give the logarithm of the likelihood of placements, up to a constant."""
    total = np.zeros(len(placements))
    for values in lines:
        fit = explain(spec, values, placements)
        count = len(values.value) if values.worth is None else values.worth
        freedom = max(count - fit.columns, 1.0)
        total -= 0.5 * freedom * np.log(fit.squares) + 0.5 * fit.log_determinant
    return total


def residuals(spec: TargetSpec, values: Values, placements: Array) -> tuple[Array, Array]:
    """Give what the best levels leave, shape (m, n), unweighted, and these levels, shape (m, k)."""
    design = columns(spec, values.at, placements)
    root = np.sqrt(values.weight)
    middle = values.value.mean()
    left, levels = [], []
    for one in design:
        solution, *_ = np.linalg.lstsq((one * root).T, root * (values.value - middle), rcond=None)
        left.append(values.value - middle - solution @ one)
        solution[0] += middle
        levels.append(solution)
    return np.array(left), np.array(levels)
