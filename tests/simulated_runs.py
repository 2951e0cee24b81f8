"""Simulated pairs of runs on the same checkpoints, many at once. All errors are invented."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy.stats

from accuracy.comparison.claimed import TOLERANCE_SHARE
from accuracy.comparison.judging import LEAST_RATIO
from accuracy.stats import paired

Array = np.ndarray[Any, np.dtype[np.float64]]

#: Normal; Student's t with 3 degrees of freedom; one checkpoint disturbed by 20 standard deviations, seen by
#: both runs; one gross error of 20 standard deviations in either run; spread of the points 0.5, 1, 2.
KINDS = ("normal", "heavy tails", "blunder", "blunder in one run", "unequal spread")

DRAWS = 1999
_BATCH = 500


def _noise(random: np.random.Generator, kind: str, shape: tuple[int, int]) -> Array:
    if kind == "heavy tails":
        return np.asarray(random.standard_t(3, shape) / np.sqrt(3.0))
    values = random.standard_normal(shape)
    if kind == "unequal spread":
        spread = np.resize([0.5, 1.0, 2.0], shape[1])
        values *= spread / np.sqrt(np.mean(spread**2))
    return values


def pair(
    random: np.random.Generator,
    sets: int,
    n: int,
    kind: str,
    *,
    common: float = 0.5,
    shared: float = 0.0,
    factor: float = 1.0,
    biased: bool = False,
) -> tuple[Array, Array]:
    """Simulate errors before and after, each of shape (sets, n), of variance 1 in the population.

    Parameters
    ----------
    common : float
        Share of a point's own variance that both runs have in common: survey, ground.
    shared : float
        Share of the variance that all points of a run have in common and the other run has anew.
    factor : float
        The errors after are multiplied by this.
    biased : bool
        The run after has the same RMSE, two thirds of its square as bias.
    """
    own = _noise(random, kind, (sets, n))
    runs = []
    for _ in range(2):
        values = np.sqrt(common) * own + np.sqrt(1.0 - common) * _noise(random, kind, (sets, n))
        values *= np.sqrt(1.0 - shared)
        values += np.sqrt(shared) * random.standard_normal((sets, 1))
        runs.append(values)
    if kind == "blunder":
        disturbed = random.integers(0, n, sets)
        for values in runs:
            values[np.arange(sets), disturbed] += 20.0
    if kind == "blunder in one run":
        first = random.random(sets) < 0.5
        place = random.integers(0, n, sets)
        for values, chosen in zip(runs, (first, ~first), strict=True):
            values[chosen, place[chosen]] += 20.0
    before, after = runs
    if biased:
        after = after * np.sqrt(1.0 / 3.0) + np.sqrt(2.0 / 3.0)
    return before, after * factor


def p_values(random: np.random.Generator, before: Array, after: Array) -> Array:
    """Sign-flip test of many sets at once, patterns drawn anew for each batch of sets."""
    d = (after - before) * (after + before)
    p = np.empty(len(d))
    for start in range(0, len(d), _BATCH):
        its = d[start : start + _BATCH]
        signs = random.integers(0, 2, size=(its.shape[1], DRAWS)) * 2.0 - 1.0
        reached = abs(its.sum(axis=1)) - 1e-12 * abs(its).sum(axis=1)
        extreme = (abs(its @ signs) >= reached[:, None]).sum(axis=1)
        p[start : start + _BATCH] = (extreme + 1) / (DRAWS + 1)
    return p


@dataclass(frozen=True, eq=False)
class Trial:
    """Outcomes of many sets; lengths in population standard deviations before."""

    p: Array
    before: Array
    after: Array
    bias_p: Array

    @property
    def significant(self) -> float:
        """Share of sets that the test alone calls different."""
        return float(np.mean(self.p <= paired.LEVEL))

    @property
    def bias_alarms(self) -> float:
        """Share of sets with a significant difference of bias."""
        return float(np.mean(self.bias_p <= paired.LEVEL))

    def verdict(self, rmse_of_limit: float, ratio: float | None = None) -> float:
        """Share of sets called better or worse, where the RMSE before is so much of the claimed limit."""
        ratio = LEAST_RATIO if ratio is None else ratio
        beyond = abs(self.after - self.before) > TOLERANCE_SHARE / rmse_of_limit
        apart = np.maximum(self.after, self.before) > ratio * np.minimum(self.after, self.before)
        return float(np.mean((self.p <= paired.LEVEL) & beyond & apart))


def trial(sets: int, n: int, kind: str, **options: Any) -> Trial:
    """Simulate and test; the seed follows from what is asked for."""
    seed = zlib.crc32(repr((sets, n, kind, sorted(options.items()))).encode())
    random = np.random.default_rng(seed)
    before, after = pair(random, sets, n, kind, **options)
    return Trial(
        p_values(random, before, after),
        np.sqrt((before**2).mean(axis=1)),
        np.sqrt((after**2).mean(axis=1)),
        scipy.stats.ttest_rel(after, before, axis=1).pvalue,
    )


@dataclass(frozen=True)
class Agreement:
    """How far p of drawn patterns lie from those of the product."""

    count: int
    largest: float


def agreement(sets: int = 60, n: int = 20) -> Agreement:
    """Test some sets by both."""
    random = np.random.default_rng(9)
    before, after = pair(random, sets, n, "normal")
    drawn = p_values(random, before, after)
    exact = [
        paired.sign_flip(paired.difference_of_squares((b,), (a,), paired.largest((b,), (a,)))).p
        for b, a in zip(before, after, strict=True)
    ]
    return Agreement(sets, float(np.max(abs(drawn - exact))))
