"""Two runs on the same checkpoints: formulas for paired residuals, each with its reference.

``before`` and ``after`` hold one array per axis, shape (n,), residuals in metres, points in the same order.
Everything here takes the points as independent of one another. Errors that all points of a run share
(base station, trajectory) are seen by none of these formulas; see `accuracy.comparison`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from accuracy.stats import formulas

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Vector = NDArray[np.float64]
    Axes = tuple[Vector, ...]

#: Two-sided level of every test and 1 minus the confidence of every interval.
LEVEL = 0.05

#: Probability with which a change of the size of `smallest_change` is seen.
POWER = 0.80

#: Up to so many differences that are not zero all patterns of signs are counted; beyond, some are drawn.
EXACT_UP_TO = 36

DRAWS = 99_999
SEED = 20_260_514

#: Behind `smallest_change`: sets drawn, patterns of signs for each, and the most points for drawing.
_SETS, _PATTERNS, _RESAMPLED = 400, 999, 200

#: Signs drawn at a time, so that memory stays small.
_CELLS = 1_000_000

#: Sums that differ by less than this share of the sum of sizes count as equal: rounding of binary numbers.
_EQUAL = 1e-12


@dataclass(frozen=True)
class SignFlip:
    """Outcome of the sign-flip test.

    Attributes
    ----------
    p : float
        Two-sided.
    n : int
        Differences that are not zero; zeros have no sign and change nothing.
    draws, seed : int or None
        Number of patterns drawn, and the seed of their generator; None where all were counted.
    """

    p: float
    n: int
    draws: int | None
    seed: int | None


def squared_lengths(axes: Axes, unit_m: float) -> Vector:
    """Squares of the residuals, or of the lengths of residual vectors, in units of `unit_m` squared."""
    import numpy as np

    return np.asarray(np.sum([(axis / unit_m) ** 2 for axis in axes], axis=0), dtype=np.float64)


def difference_of_squares(before: Axes, after: Axes, unit_m: float) -> Vector:
    """Squared length after minus squared length before, point by point, in units of `unit_m` squared.

    As (a - b)(a + b), which loses no digits where both are nearly the same.
    """
    import numpy as np

    parts = [
        (a / unit_m - b / unit_m) * (a / unit_m + b / unit_m)
        for b, a in zip(before, after, strict=True)
    ]
    return np.asarray(np.sum(parts, axis=0), dtype=np.float64)


def largest(*runs: Axes) -> float:
    """Give the largest absolute residual in metres (1 where all are zero): in it no square overflows."""
    return max((float(abs(axis).max()) for axes in runs for axis in axes), default=0.0) or 1.0


def sign_flip(differences: Vector, *, draws: int = DRAWS, seed: int = SEED) -> SignFlip:
    """Test by flipped signs whether differences lean to one side.

    The statistic is the size of the sum. Its distribution is that of the sums with every sign free, all
    2^n patterns of which are counted up to n = `EXACT_UP_TO`; beyond, `draws` patterns are drawn and
    p = (b + 1) / (draws + 1), which is never too small.

    What is tested is that each difference is as likely with the other sign. For d = after^2 - before^2 of
    residuals that holds where the two runs could be exchanged at every point without changing the
    probabilities: points may have any distribution, each its own, with tails and blunders, and the two
    residuals of a point may depend on each other. Then at most 5 % of tests have p <= 0.05, exactly. Two
    runs with equal RMSE whose errors are distributed differently (one biased, the other spread) are not
    exchangeable: there the test holds about, for many points, and not exactly.

    Parameters
    ----------
    differences : ndarray, shape (n,)
        Finite numbers, any unit. Neither their order nor exchanging the runs changes the answer.

    References
    ----------
    Fisher, The Design of Experiments (1935), section 21; exact counting by halves: Pagano and Tritchler,
    J. Am. Stat. Assoc. 78 (1983), 435-440, for the idea; p of drawn patterns: Phipson and Smyth, Stat. Appl.
    Genet. Mol. Biol. 9 (2010), article 39 (all from memory).

    Examples
    --------
    >>> import numpy as np
    >>> sign_flip(np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0])).p
    0.03125
    """
    import numpy as np

    sizes = np.sort(abs(differences[differences != 0.0]))
    n = len(sizes)
    if n == 0:
        return SignFlip(1.0, 0, None, None)
    unit = float(sizes[-1])
    sizes = sizes / unit
    slack = _EQUAL * math.fsum(sizes)
    reached = abs(math.fsum(differences / unit)) - slack
    if reached <= 0.0:
        return SignFlip(1.0, n, None, None)
    if n <= EXACT_UP_TO:
        return SignFlip(2.0 * _count_from(sizes, reached) / 2.0**n, n, None, None)
    random = np.random.Generator(np.random.PCG64(seed))
    extreme = 0
    batch = max(1, _CELLS // n)
    for begin in range(0, draws, batch):
        count = min(batch, draws - begin)
        signs = random.integers(0, 2, size=(count, n), dtype=np.int8) * 2.0 - 1.0
        extreme += int((abs(signs @ sizes) >= reached).sum())
    return SignFlip((extreme + 1) / (draws + 1), n, draws, seed)


def _count_from(sizes: Vector, reached: float) -> int:
    """Count the patterns of signs whose sum is at least `reached`: sums of two halves, one of them sorted."""
    import numpy as np

    half = len(sizes) // 2
    left, right = np.sort(_sums(sizes[:half])), np.sort(_sums(sizes[half:]))
    return int((len(right) - np.searchsorted(right, reached - left, side="left")).sum())


def _sums(sizes: Vector) -> Vector:
    import numpy as np

    sums = np.zeros(1)
    for size in sizes:
        sums = np.concatenate([sums - size, sums + size])
    return sums


@dataclass(frozen=True)
class Shift:
    """Mean of after minus before on one axis in metres, with its 95 % interval, if points are independent."""

    mean_m: float
    low_m: float
    high_m: float


def shift(before_m: Vector, after_m: Vector) -> Shift | None:
    """Difference of the biases of two runs by Student's t on the paired differences; None below two points."""
    if len(before_m) < 2:
        return None
    change_m = after_m - before_m
    return Shift(formulas.mean(change_m), *formulas.mean_interval_95(change_m))


@dataclass(frozen=True)
class SpreadRatio:
    """Standard deviation after over before on one axis, its 95 % interval, and p (two-sided) of ratio 1."""

    ratio: float
    low: float
    high: float
    p: float


def spread_ratio(before_m: Vector, after_m: Vector) -> SpreadRatio | None:
    """Compare the spreads of two runs on the same points: test of Pitman and Morgan with its interval.

    The sum and the difference of two variables are uncorrelated exactly where their variances are equal.
    If points are independent and the pairs normal. None below three points, where a run has no spread, or
    where one run is a multiple of the other.

    References
    ----------
    Pitman, Biometrika 31 (1939), 9-12; Morgan, ibid., 13-19 (from memory).
    """
    import numpy as np
    from scipy.special import stdtr, stdtrit

    n = len(before_m)
    if n < 3:
        return None
    unit = largest((before_m, after_m))
    b, a = before_m / unit, after_m / unit
    before, after = formulas.std(b), formulas.std(a)
    # what is a rounding of the numbers themselves is no spread
    if min(before, after) <= 1e-12:
        return None
    covariance = math.fsum((b - np.mean(b)) * (a - np.mean(a))) / (n - 1)
    rest = 1.0 - (covariance / (before * after)) ** 2  # 1 - r^2
    if rest <= 1e-12:
        return None
    ratio = after / before
    # t of the correlation of sum and difference, written with the ratio
    t = (ratio - 1.0 / ratio) * math.sqrt((n - 2) / (4.0 * rest))
    critical = float(stdtrit(n - 2, 1.0 - LEVEL / 2))
    k = 1.0 + 2.0 * rest * critical**2 / (n - 2)
    factor = math.sqrt(k + math.sqrt(k**2 - 1.0))
    return SpreadRatio(ratio, ratio / factor, ratio * factor, float(2.0 * stdtr(n - 2, -abs(t))))


@dataclass(frozen=True)
class Smallest:
    """Smallest changes of the RMSE in metres that a set of points would show; None: none however large."""

    better_m: float | None
    worse_m: float | None


def smallest_change(
    before: Axes, after: Axes, tolerance_m: float = 0.0, ratio: float = 1.0
) -> Smallest:
    """How small a change of the RMSE the sign-flip test on such points sees with the probability `POWER`.

    The residuals of the second run are brought to the RMSE of the first. Then sets of as many points are
    drawn from them with replacement, the two runs of a point exchanged at random, and those of the second
    run scaled by k: the smallest change is the first RMSE times |k - 1| that is significant as a single test,
    beyond tolerance and ratio, in 80 % of the sets. An estimate, and a coarse one from few points, which
    stand for all others like them: by simulation, what the middle one of many sets of 30 normal points says is
    seen in 72 %, from 400 points in 82 %, and with heavy tails (Student's t, 3 degrees of freedom) in 60 %.
    Drawn from a fixed seed; with more than `_RESAMPLED` points Student's t takes the place of drawing.

    Parameters
    ----------
    before, after : tuple of ndarray, each shape (n,)
        Residuals in metres.
    tolerance_m : float
        Changes of the RMSE up to this do not count.
    ratio : float
        The larger RMSE must be more than so many times the smaller.

    References
    ----------
    Power by resampling: Efron and Tibshirani, An Introduction to the Bootstrap (1993), section 25.4 (from
    memory).
    """
    import numpy as np

    if 2.0 ** (1 - len(before[0])) > LEVEL:
        return Smallest(None, None)
    unit_m = largest(before, after)
    b, a = squared_lengths(before, unit_m), squared_lengths(after, unit_m)
    if not b.any() or not a.any():
        return Smallest(None, None)
    size = math.sqrt(float(b.mean()))
    a = a / a.mean() * b.mean()
    order = np.lexsort((a, b))  # so that the order of the points does not matter
    power = _power(b[order], a[order], tolerance_m / unit_m, ratio)

    def first(scales: Vector) -> float | None:
        """Find the first scale with enough power, taking power to grow along them."""
        if power(float(scales[-1])) < POWER:
            return None
        low, high = -1, len(scales) - 1
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if power(float(scales[middle])) >= POWER else (middle, high)
        return abs(float(scales[high]) - 1.0) * size * unit_m

    steps = np.arange(1, 1025) / 1024
    return Smallest(first(1.0 - steps), first(1.0 + 10.0 * steps**2))


def _power(b: Vector, a: Vector, tolerance: float, ratio: float) -> Callable[[float], float]:
    """Give the probability of a shown difference as a function of the scale; squares in, of one mean."""
    import numpy as np

    n = len(b)
    if n > _RESAMPLED:
        return _power_by_t(b, a, tolerance, ratio)
    random = np.random.Generator(np.random.PCG64(SEED))
    chosen = random.integers(0, n, size=(_SETS, n))
    exchanged = random.random((_SETS, n)) < 0.5
    old = np.where(exchanged, a[chosen], b[chosen])
    new = np.where(exchanged, b[chosen], a[chosen])
    signs = random.integers(0, 2, size=(n, _PATTERNS), dtype=np.int8) * 2.0 - 1.0
    old_rmse, new_rmse = np.sqrt(old.mean(axis=1)), np.sqrt(new.mean(axis=1))

    def power(scale: float) -> float:
        d = scale**2 * new - old
        reached = abs(d.sum(axis=1)) - _EQUAL * abs(d).sum(axis=1)
        p = ((abs(d @ signs) >= reached[:, None]).sum(axis=1) + 1) / (_PATTERNS + 1)
        rmse = scale * new_rmse
        beyond = abs(rmse - old_rmse) > tolerance
        apart = np.maximum(rmse, old_rmse) > ratio * np.minimum(rmse, old_rmse)
        return float(np.mean((p <= LEVEL) & beyond & apart))

    return power


def _power_by_t(b: Vector, a: Vector, tolerance: float, ratio: float) -> Callable[[float], float]:
    """Give the same where the mean of the differences is nearly normal."""
    import numpy as np
    from scipy.special import stdtr, stdtrit

    n = len(b)
    critical = float(stdtrit(n - 1, 1.0 - LEVEL / 2))
    (of_before, mixed), (_, of_after) = np.cov(b, a)
    size = math.sqrt(float(b.mean()))

    def power(scale: float) -> float:
        variance = scale**4 * of_after - 2.0 * scale**2 * mixed + of_before
        error = math.sqrt(max(float(variance), 0.0) / n)
        edge = max(size - tolerance, 0.0) if scale < 1.0 else size + tolerance
        far = 1.0 / ratio if scale < 1.0 else ratio
        least = max(abs(edge**2 - size**2), abs(far**2 - 1.0) * size**2, critical * error)
        change = abs(scale**2 - 1.0) * size**2
        if error == 0.0:
            return float(change > least)
        return float(stdtr(n - 1, (change - least) / error))

    return power
