"""Centre and standard error from all placements that explain the values, not from the best one alone.

With few returns near an edge the sum of squares is flat between them and then jumps: a quadratic at its
minimum says nothing about how far the edge may move. So the likelihood itself is integrated by sampling from
a distribution that is adapted in rounds.

References
----------
O. Cappe, A. Guillin, J. M. Marin, C. P. Robert, "Population Monte Carlo", J. Comput. Graph. Stat. 13, 2004
(from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from accuracy.sampling.targets.patterns import Array

ROUNDS = 5
TAILS = 5.0  # degrees of freedom of the t distribution that is drawn from
ENOUGH = 60.0  # effective draws a round must have to be trusted as it is


@dataclass(frozen=True, eq=False)
class Moments:
    """Mean and covariance of the free parameters, and how many draws they are worth."""

    mean: Array
    covariance: Array
    effective: float


def integrate(
    log_density: Callable[[Array], Array],
    start: Array,
    covariance: Array,
    draws: int,
) -> Moments:
    """Take mean and covariance of a density that is known up to a factor.

    The draws are the same in every run.

    Parameters
    ----------
    log_density : callable
        Of parameters, shape (m, d).
    start : ndarray, shape (d,)
        Near the mode.
    covariance : ndarray, shape (d, d)
        A first guess, rather too wide than too narrow.
    """
    random = np.random.default_rng(20_240_229)
    mean, spread = start, covariance
    size = len(start)
    effective = 0.0
    for number in range(ROUNDS):
        last = number == ROUNDS - 1
        count = 2 * draws if last else draws
        root = np.linalg.cholesky(spread + 1e-18 * np.eye(size))
        normal = random.standard_normal((count // 2, size))
        stretch = np.sqrt(TAILS / random.chisquare(TAILS, (count // 2, 1)))
        steps = np.concatenate([normal * stretch, -normal * stretch])  # antithetic
        drawn = mean + steps @ root.T
        log_drawn = -0.5 * (TAILS + size) * np.log1p((steps**2).sum(axis=1) / TAILS)
        log_weight = log_density(drawn) - log_drawn
        weight, effective = _weights(log_weight, 0.0 if last else ENOUGH)
        mean = weight @ drawn
        off = drawn - mean
        found = (weight[:, None] * off).T @ off
        spread = found if last else found + 0.02 * np.diag(np.diag(found)) + 1e-16 * np.eye(size)
    return Moments(mean, spread, effective)


def _weights(log_weight: Array, enough: float) -> tuple[Array, float]:
    """Normalise weights; flatten them where they rest on too few draws."""
    power = 1.0
    while True:
        weight = np.exp(power * (log_weight - log_weight.max()))
        weight /= weight.sum()
        effective = 1.0 / float((weight**2).sum())
        if effective >= enough or power < 1e-3:
            return weight, effective
        power *= 0.7
