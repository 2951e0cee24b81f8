"""Random numbers of the simulation: the published sequence, and the statistics asked for."""

from __future__ import annotations

import numpy as np
import pytest

from accuracy.simulation.chance import gauss_markov, mixed, normal, uniform


def test_the_mixer_is_splitmix64() -> None:
    """The sequence for seed 1234567 as widely published with the generator (from memory)."""
    state = np.uint64(1234567) + np.arange(5, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    assert mixed(state).tolist() == [
        6457827717110365317,
        3203168211198807973,
        9817491932198370423,
        4593380528125082431,
        16408922859458223821,
    ]


def test_numbers_are_uniform_normal_and_independent() -> None:
    """Moments of a large sample, and no correlation between neighbours, streams or seeds."""
    number = np.arange(200_000, dtype=np.uint64)
    u = uniform(3, 1, number)
    assert u.min() > 0
    assert u.max() < 1
    assert abs(u.mean() - 0.5) < 0.003
    assert abs(u.var() - 1 / 12) < 0.001
    z = normal(3, 1, number)
    assert abs(z.mean()) < 0.01
    assert abs(z.std() - 1) < 0.01
    assert abs((z**4).mean() - 3) < 0.1
    for other in (np.roll(z, 1), normal(3, 2, number), normal(4, 1, number)):
        assert abs(np.corrcoef(z, other)[0, 1]) < 0.01


def test_a_number_depends_on_nothing_else() -> None:
    """Asking for fewer, or in another order, gives the same."""
    number = np.arange(1000, dtype=np.uint64)
    some = np.array([700, 3, 41], dtype=np.uint64)
    assert normal(9, 5, some).tolist() == normal(9, 5, number)[[700, 3, 41]].tolist()


@pytest.mark.parametrize("lag_s", [0.0, 5.0, 30.0, 60.0, 120.0])
def test_wander_is_first_order_gauss_markov(lag_s: float) -> None:
    """Standard deviation, and autocorrelation exp(-lag/time), over a record of 2000 correlation times."""
    step_s, time_s, sigma = 0.5, 60.0, (0.006, 0.010)
    x = gauss_markov(np.random.default_rng(5), 240_000, step_s, sigma, time_s)
    lag = round(lag_s / step_s)
    for axis in range(2):
        part = x[:, axis]
        found = np.mean(part[: len(part) - lag] * part[lag:]) / sigma[axis] ** 2
        assert abs(found - np.exp(-lag_s / time_s)) < 0.06


def test_the_first_value_is_as_wide_as_the_others() -> None:
    """The process is stationary from its start."""
    first = [
        gauss_markov(np.random.default_rng(k), 2, 1.0, (1.0,), 60.0)[0, 0] for k in range(4000)
    ]
    assert abs(np.std(first) - 1.0) < 0.04
