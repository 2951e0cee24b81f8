"""False alarms and power, simulated with fixed seeds; `tests/benchmarks/compare_power.py` has the table.

Bounds are binomial: where the true rate is the one claimed, a check exceeds its bound with a probability of one
in a million, and the whole file by chance in less than one of 20 000 changes of the seeds.
"""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats
import simulated_runs as sim

from accuracy.stats import paired

SETS = 2000
MOST = scipy.stats.binom.isf(1e-6, SETS, 0.05) / SETS


@pytest.mark.parametrize("n", [8, 20, 30, 60])
@pytest.mark.parametrize("kind", sim.KINDS)
def test_reruns_that_differ_by_independent_noise_alarm_in_at_most_5_percent(
    kind: str, n: int
) -> None:
    """The primary test alone, for normal errors, heavy tails, a blunder, unequal spread."""
    assert sim.trial(SETS, n, kind).significant <= MOST


def test_the_product_itself_alarms_in_at_most_5_percent() -> None:
    """The same by the product's own counted test, 1000 sets of 20 points with a blunder."""
    random = np.random.default_rng(77)
    before, after = sim.pair(random, 1000, 20, "blunder")
    alarms = sum(
        paired.sign_flip(paired.difference_of_squares((b,), (a,), 1.0)).p <= paired.LEVEL
        for b, a in zip(before, after, strict=True)
    )
    assert 15 <= alarms <= scipy.stats.binom.isf(1e-6, 1000, 0.05)


def test_drawn_and_counted_patterns_agree() -> None:
    """The many-at-once test of the simulation is the product's, up to the chance of its draws."""
    assert sim.agreement().largest < 5 * 0.5 / np.sqrt(sim.DRAWS)


@pytest.mark.parametrize("n", [8, 20, 30, 60])
@pytest.mark.parametrize("shared", [0.1, 0.2])
@pytest.mark.parametrize("rmse_of_limit", [0.5, 1.0])
def test_a_shared_fifth_of_the_variance_gives_no_verdict_in_95_percent(
    shared: float, n: int, rmse_of_limit: float
) -> None:
    """Normal errors, default tolerance: at half the limit and at the limit itself."""
    assert sim.trial(SETS, n, "normal", shared=shared).verdict(rmse_of_limit) <= MOST


def test_the_tolerance_alone_would_not_be_enough() -> None:
    """Why the condition on shared errors is there: at the limit a quarter of it lets 10 % and more through."""
    trial = sim.trial(SETS, 30, "normal", shared=0.2)
    assert trial.verdict(1.0, ratio=1.0) > 0.10
    assert trial.significant > 0.10
    assert trial.bias_alarms > 0.50


def test_a_halved_rmse_is_mostly_seen_with_thirty_points() -> None:
    """Power: at the limit, more than 70 % with the condition on shared errors, more than 90 % without."""
    trial = sim.trial(SETS, 30, "normal", factor=0.5)
    assert trial.verdict(1.0) > 0.70
    assert trial.verdict(1.0, ratio=1.0) > 0.90
