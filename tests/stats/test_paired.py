from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from accuracy.stats import paired
from accuracy.stats.formulas import rmse
from accuracy.stats.several import holm, tied

Vector = np.ndarray[tuple[int], np.dtype[np.float64]]

numbers = st.lists(
    st.floats(-100, 100, allow_subnormal=False).map(lambda x: round(x, 3)), min_size=1, max_size=9
)


def draw(n: int, seed: int = 1, count: int = 2) -> list[Vector]:
    random = np.random.default_rng(seed)
    return [random.standard_normal(n) * 0.05 for _ in range(count)]


# --- the sign-flip test --------------------------------------------------------------------------------------


@given(numbers)
def test_sign_flip_counts_every_pattern_of_signs(values: list[float]) -> None:
    """The p is the share of all 2^n sums that are at least as large: the definition, by brute force."""
    d = np.array(values)
    sums = [
        abs(math.fsum(s * abs(x) for s, x in zip(signs, d, strict=True)))
        for signs in itertools.product((-1, 1), repeat=len(d))
    ]
    share = np.mean([s >= abs(math.fsum(d)) - 1e-9 for s in sums])
    assert abs(paired.sign_flip(d).p - share) < 1e-12


@pytest.mark.parametrize(("n", "seed"), [(8, 1), (8, 2), (13, 3)])
def test_sign_flip_agrees_with_scipy(n: int, seed: int) -> None:
    """scipy.stats.permutation_test, paired, all resamples: an independent implementation."""
    b, a = draw(n, seed)
    a = a * 1.7
    its = scipy.stats.permutation_test(
        (a**2, b**2),
        lambda x, y: abs(np.sum(x - y)),
        permutation_type="samples",
        alternative="greater",
        n_resamples=np.inf,
    )
    ours = paired.sign_flip(paired.difference_of_squares((b,), (a,), 1.0))
    assert abs(ours.p - its.pvalue) < 1e-12
    assert ours.draws is None


def test_drawn_patterns_give_the_exact_p_up_to_chance() -> None:
    """With the same data, 99 999 draws land within five standard errors of the exact count (n = 36)."""
    d = np.random.default_rng(4).standard_normal(paired.EXACT_UP_TO) + 0.25
    exact = paired.sign_flip(d)
    # a difference too small to matter takes the set past the limit of counting
    drawn = paired.sign_flip(np.append(d, 1e-13))
    assert exact.draws is None
    assert (drawn.draws, drawn.seed) == (paired.DRAWS, paired.SEED)
    error = math.sqrt(exact.p * (1 - exact.p) / paired.DRAWS)
    assert 0.01 < exact.p < 0.5
    assert abs(drawn.p - exact.p) < 5 * error


@pytest.mark.parametrize("n", [9, 50])
def test_neither_order_nor_direction_nor_unit_matters(n: int) -> None:
    """Reordered points, exchanged runs and another unit give the same p, to the bit."""
    d = np.random.default_rng(n).standard_normal(n)
    p = paired.sign_flip(d).p
    assert paired.sign_flip(d[::-1]).p == p
    assert paired.sign_flip(-d).p == p
    assert paired.sign_flip(d * 2.0**40).p == p
    assert paired.sign_flip(np.append(d, [0.0, 0.0])).p == p


def test_runs_that_agree_have_p_one_and_five_points_never_reach_the_level() -> None:
    """Nothing to see is p = 1; the smallest p of n points is 2 / 2^n, 0.0625 for five."""
    assert paired.sign_flip(np.zeros(30)).p == 1.0
    assert paired.sign_flip(np.ones(5)).p == 2 / 2**5
    assert paired.sign_flip(np.ones(6)).p == 2 / 2**6
    assert paired.smallest_change((np.ones(5),), (np.ones(5),)) == paired.Smallest(None, None)


@pytest.mark.parametrize("size_m", [1e-200, 1e200])
def test_sizes_beyond_all_sense_do_not_overflow(size_m: float) -> None:
    """The unit of the squares is the largest residual, so that no square overflows or vanishes."""
    b, a = draw(20)
    unit = paired.largest((b,), (a,))
    p = paired.sign_flip(paired.difference_of_squares((b,), (a,), unit)).p
    big_b, big_a = b * size_m, a * size_m
    unit = paired.largest((big_b,), (big_a,))
    assert paired.sign_flip(paired.difference_of_squares((big_b,), (big_a,), unit)).p == p


def test_differences_of_squares_add_over_the_axes() -> None:
    """Horizontal: east squared plus north squared, after minus before."""
    be, ae, bn, an = draw(12, count=4)
    d = paired.difference_of_squares((be, bn), (ae, an), 1.0)
    np.testing.assert_allclose(d, ae**2 + an**2 - be**2 - bn**2, rtol=0, atol=1e-16)


# --- information: bias and spread ----------------------------------------------------------------------------


def test_the_difference_of_bias_is_the_paired_t_interval_of_scipy() -> None:
    """scipy.stats.ttest_rel gives the same mean and 95 % interval."""
    b, a = draw(25)
    found = paired.shift(b, a)
    assert found is not None
    interval = scipy.stats.ttest_rel(a, b).confidence_interval(0.95)
    np.testing.assert_allclose(
        (found.mean_m, found.low_m, found.high_m),
        (np.mean(a - b), interval.low, interval.high),
        rtol=0,
        atol=1e-15,
    )


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_test_of_spread_is_the_correlation_of_sum_and_difference(seed: int) -> None:
    """The p is that of scipy.stats.pearsonr of sum and difference; at each end of the interval it is 0.05."""
    b, a = draw(15, seed)
    a = 0.6 * a + 0.5 * b
    found = paired.spread_ratio(b, a)
    assert found is not None
    assert abs(found.ratio - np.std(a) / np.std(b)) < 1e-12
    assert abs(found.p - scipy.stats.pearsonr(a + b, a - b).pvalue) < 1e-10
    for end in (found.low, found.high):
        scaled = b * end
        assert abs(scipy.stats.pearsonr(a + scaled, a - scaled).pvalue - 0.05) < 1e-9


def test_spread_has_no_answer_where_there_is_none() -> None:
    """No spread, two points, or one run a multiple of the other: None, not a number."""
    b = draw(10)[0]
    assert paired.spread_ratio(b, np.full(10, 0.1)) is None
    assert paired.spread_ratio(b[:2], b[:2] * 3) is None
    assert paired.spread_ratio(b, 2 * b) is None
    assert paired.shift(b[:1], b[:1]) is None


# --- what the set could have seen ----------------------------------------------------------------------------


@pytest.mark.parametrize(("n", "tail", "least"), [(30, None, 0.6), (30, 3, 0.4), (400, None, 0.7)])
def test_a_change_of_the_smallest_size_is_mostly_seen(
    n: int, tail: int | None, least: float
) -> None:
    """Simulated (seeded): what the middle one of 15 sets says is seen in others as often as is documented."""
    random = np.random.default_rng(8)

    def sets(count: int) -> Vector:
        size = (count, 2, n)
        if tail is None:
            return random.standard_normal(size)
        return random.standard_t(tail, size) / math.sqrt(3.0)

    told = [paired.smallest_change((b,), (a,)) for b, a in sets(15)]
    worse = float(np.median([its.worse_m or np.inf for its in told]))
    better = float(np.median([its.better_m or np.inf for its in told]))
    for change in (worse, -better):
        seen = 0
        for b, a in sets(150):
            d = paired.difference_of_squares((b,), (a * (1 + change),), 1.0)
            seen += paired.sign_flip(d, draws=999).p <= paired.LEVEL
        assert least <= seen / 150 <= 0.95, (change, seen)


def test_runs_without_noise_show_every_change_beyond_the_ratio() -> None:
    """Identical runs with a blunder: any scaling has one sign everywhere, so only the ratio hides it."""
    b = draw(35)[0]
    b[4] = 3.0
    found = paired.smallest_change((b,), (b,), ratio=1.75)
    size = rmse(b)
    assert found.worse_m is not None
    assert found.better_m is not None
    assert abs(found.worse_m - 0.75 * size) < 0.02 * size
    assert abs(found.better_m - (1 - 1 / 1.75) * size) < 0.002 * size


def test_a_tolerance_makes_the_smallest_change_larger() -> None:
    """With a tolerance beyond what chance hides, it must be exceeded; one beyond the RMSE allows no better."""
    b, a = draw(30)
    plain = paired.smallest_change((b,), (a,))
    strict = paired.smallest_change((b,), (a,), tolerance_m=0.05)
    assert plain.worse_m is not None
    assert strict.worse_m is not None
    assert strict.worse_m > max(plain.worse_m, 0.05)
    assert paired.smallest_change((b,), (a,), tolerance_m=1.0).better_m is None
    ratio = paired.smallest_change((b,), (a,), ratio=1.75).worse_m
    assert ratio is not None
    assert ratio > 0.75 * min(rmse(a), rmse(b))


# --- several at once -----------------------------------------------------------------------------------------


@given(st.lists(st.floats(0, 1), min_size=1, max_size=8))
def test_holm_is_the_closed_test_of_bonferroni(p: list[float]) -> None:
    """Definition by closure: the adjusted p is the largest Bonferroni p of the sets that hold the test."""
    n = len(p)
    sets = [s for k in range(1, n + 1) for s in itertools.combinations(range(n), k)]
    for i, ours in enumerate(holm(p)):
        closed = max(min(1.0, len(s) * min(p[j] for j in s)) for s in sets if i in s)
        assert abs(ours - closed) < 1e-12


@given(st.integers(0, 6), st.data())
def test_tied_groups_are_the_largest_without_a_shown_difference(
    n: int, data: st.DataObject
) -> None:
    """Every group is free of different pairs, none can be extended, and all such groups are there."""
    pairs = list(itertools.combinations(range(n), 2))
    different = {pair for pair in pairs if data.draw(st.booleans())}
    free = [
        set(s)
        for k in range(1, n + 1)
        for s in itertools.combinations(range(n), k)
        if not any(pair in different for pair in itertools.combinations(s, 2))
    ]
    maximal = sorted(tuple(sorted(s)) for s in free if not any(s < other for other in free))
    assert list(tied(n, different)) == maximal
