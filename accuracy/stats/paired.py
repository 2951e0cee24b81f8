"""Two runs on the same checkpoints: formulas for paired residuals, each with its reference.

``before`` and ``after`` hold one array per axis, shape (n,), residuals in metres, points in the same order.
Everything here takes the points as independent of one another. Errors that all points of a run share
(base station, trajectory) are seen by none of these formulas; see `accuracy.comparison`.
"""

from __future__ import annotations

import math
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
    for begin in range(0, draws, 4096):
        count = min(4096, draws - begin)
        signs = random.integers(0, 2, size=(count, n)) * 2.0 - 1.0
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
    """How small a change of the RMSE the sign-flip test on these points would have seen 4 times in 5.

    The residuals of both runs are brought to one RMSE R, and those of the second are then scaled by k: the
    smallest change is the first R |k - 1| at which mean and scatter of the differences of squares make a
    significant result (two-sided 5 %), beyond tolerance and ratio, have a probability of 80 %, by Student's
    t. An approximation: the test itself does not use normal theory, and the points tell their own scatter.

    Parameters
    ----------
    tolerance_m : float
        Changes of the RMSE up to this do not count.
    ratio : float
        The larger RMSE must be more than so many times the smaller.
    """
    import numpy as np
    from scipy.special import stdtrit

    n = len(before[0])
    if 2.0 ** (1 - n) > LEVEL:
        return Smallest(None, None)
    unit_m = largest(before, after)
    b, a = squared_lengths(before, unit_m), squared_lengths(after, unit_m)
    if not b.any() or not a.any():
        return Smallest(None, None)
    size = math.sqrt((float(b.mean()) + float(a.mean())) / 2)
    b, a = b / b.mean() * size**2, a / a.mean() * size**2
    likely = float(stdtrit(n - 1, POWER))
    both = float(stdtrit(n - 1, 1.0 - LEVEL / 2)) + likely

    def first(scales: Vector) -> float | None:
        error = (scales[:, None] ** 2 * a - b).std(axis=1, ddof=1) / math.sqrt(n)
        change = abs(scales**2 - 1.0) * size**2
        worse = scales[0] > 1.0
        edge = size + tolerance_m / unit_m if worse else size - tolerance_m / unit_m
        if edge < 0.0:
            return None
        least = max(
            abs(edge**2 - size**2), abs((ratio if worse else 1.0 / ratio) ** 2 - 1.0) * size**2
        )
        seen = np.flatnonzero((change >= both * error) & (change >= least + likely * error))
        return abs(float(scales[seen[0]]) - 1.0) * size * unit_m if len(seen) else None

    steps = np.arange(1, 2001) / 2000
    return Smallest(first(1.0 - steps), first(1.0 + 10.0 * steps**2))
