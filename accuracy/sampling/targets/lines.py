"""Whether flight lines agree about a target, and what is made of them where they do not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from accuracy.sampling.targets import Centre, Outcome

#: Two lines place a target differently if chance gives that less often than this.
LINES_CHANCE = 0.001


def lines_chance(outcomes: Sequence[Outcome]) -> float | None:
    """Give the probability that lines which agree would differ so much; None with fewer than two centres.

    Chi-square of the centres about their weighted mean, 2 (L - 1) degrees of freedom; even degrees have a
    closed form.
    """
    centres = [one for one in outcomes if isinstance(one, Centre)]
    if len(centres) < 2:
        return None
    places, weights = [], []
    for one in centres:
        off = one.correlation * one.sigma_east_m * one.sigma_north_m
        covariance = np.array([[one.sigma_east_m**2, off], [off, one.sigma_north_m**2]])
        weights.append(np.linalg.inv(covariance))
        places.append(np.array([one.east_m, one.north_m]))
    pull = np.sum([w @ p for w, p in zip(weights, places, strict=True)], axis=0)
    mean = np.linalg.solve(np.sum(weights, axis=0), pull)
    squared = math.fsum(
        float((p - mean) @ w @ (p - mean)) for w, p in zip(weights, places, strict=True)
    )
    half = squared / 2.0
    return math.exp(-half) * math.fsum(half**k / math.factorial(k) for k in range(len(centres) - 1))


def between_lines(together: Centre, outcomes: Sequence[Outcome]) -> Centre:
    """Give the plain mean of lines that disagree, as sure as their scatter allows; else the common fit.

    One pattern fitted to two places at once would lean to either of them and claim to be sure.
    """
    chance = lines_chance(outcomes)
    if chance is None or chance >= LINES_CHANCE:
        return together
    centres = [one for one in outcomes if isinstance(one, Centre)]
    places = np.array([(one.east_m, one.north_m) for one in centres])
    own = np.array([(one.sigma_east_m, one.sigma_north_m) for one in centres])
    count = len(centres)
    variance = places.var(axis=0, ddof=1) / count + (own**2).sum(axis=0) / count**2
    east_m, north_m = places.mean(axis=0).tolist()
    sigma_east_m, sigma_north_m = np.sqrt(variance).tolist()
    return replace(
        together,
        east_m=east_m,
        north_m=north_m,
        sigma_east_m=sigma_east_m,
        sigma_north_m=sigma_north_m,
        correlation=0.0,
    )
