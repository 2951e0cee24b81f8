"""Every estimator as a calculation on paper: its formula with the numbers put in, line by line.

Numbers are rounded for print, not for computing: seven digits, at least six decimals. A line that ends in a
number reads ``name = formula = numbers put in = result``; ``x`` is times, ``^`` a power, ``Phi`` the
normal distribution function. The last line gives the estimator's value.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import TYPE_CHECKING

from accuracy.stats import formulas, probable
from accuracy.stats.estimators import ESTIMATORS

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from accuracy.stats.estimators import Axes

    Vector = NDArray[np.float64]

Lines = list[str]

_NAMES = ("east", "north", "up")


def put(number: float) -> str:
    """Write a number with seven digits, and six decimals at least."""
    if number == 0.0 or not math.isfinite(number):
        return f"{number + 0.0:.6f}"
    return f"{number:.{max(6, 6 - math.floor(math.log10(abs(number))))}f}"


def inside(number: float) -> str:
    """Write a number inside a formula: a negative one in brackets."""
    return f"({put(number)})" if number < 0.0 else put(number)


def steps(estimator: str, axes: Axes, ids: Sequence[str]) -> Lines:
    """Give the steps to one value.

    Parameters
    ----------
    estimator : str
        A name in `accuracy.stats.ESTIMATORS`.
    axes : tuple of ndarray, each shape (n,)
        Residuals in metres: one array for an axis, east and north for plan, with up for space.
    ids : sequence of str
        Names of the n points.
    """
    if len(axes[0]) < ESTIMATORS[estimator].at_least:
        return [f"no value: at least {ESTIMATORS[estimator].at_least} points are needed"]
    return STEPS[estimator](axes, ids)


def _n(axes: Axes, ids: Sequence[str]) -> Lines:
    return [f"n = number of points used = {len(axes[0])}"]


def _lengths(axes: Axes) -> tuple[Vector, Lines]:
    import numpy as np

    if len(axes) == 1:
        return axes[0], []
    inner = " + ".join(f"{name}^2" for name in _NAMES[: len(axes)])
    lengths = axes[0]
    for axis in axes[1:]:
        lengths = np.hypot(lengths, axis)
    return lengths, [f"each error is the length sqrt({inner})"]


def _sizes(axes: Axes) -> tuple[Vector, Lines]:
    if len(axes) > 1:
        return _lengths(axes)
    return abs(axes[0]), ["each error is taken without its sign"]


def _mean_line(values: Vector, name: str = "mean") -> str:
    n = len(values)
    total = math.fsum(values)
    return f"{name} = sum / n = {inside(total)} / {n} = {put(formulas.mean(values))} m"


def _mean(axes: Axes, ids: Sequence[str]) -> Lines:
    values, lines = _lengths(axes)
    return [*lines, _mean_line(values)]


def _middle(values: Vector, what: str, name: str) -> str:
    ordered = sorted(float(v) for v in values)
    half = len(ordered) // 2
    if len(ordered) % 2:
        return (
            f"{name} = number {half + 1} of {len(ordered)} {what} by size = {put(ordered[half])} m"
        )
    low, high = ordered[half - 1], ordered[half]
    return (
        f"{name} = half way between numbers {half} and {half + 1} of {len(ordered)} {what} by size = "
        f"({inside(low)} + {inside(high)}) / 2 = {put((low + high) / 2.0)} m"
    )


def _median(axes: Axes, ids: Sequence[str]) -> Lines:
    values, lines = _lengths(axes)
    return [*lines, _middle(values, "errors", "median")]


def _std_lines(errors: Vector, name: str = "") -> Lines:
    n, middle = len(errors), formulas.mean(errors)
    squares = math.fsum((errors - middle) ** 2)
    of = f" {name}" if name else ""
    return [
        _mean_line(errors, f"mean{of}"),
        f"s{of} = sqrt(sum of squares about the mean / (n - 1)) = sqrt({put(squares)} / ({n} - 1)) = "
        f"{put(formulas.std(errors))} m",
    ]


def _std(axes: Axes, ids: Sequence[str]) -> Lines:
    return _std_lines(axes[0])


def _rmse_lines(axes: Axes) -> Lines:
    lines = []
    for name, errors in zip(_NAMES if len(axes) > 1 else ("",), axes, strict=False):
        squares = math.fsum(errors * errors)
        lines.append(
            f"RMSE{f' {name}' if name else ''} = sqrt(sum of squares / n) = "
            f"sqrt({put(squares)} / {len(errors)}) = {put(formulas.rmse(errors))} m"
        )
    return lines


def _rmse(axes: Axes, ids: Sequence[str]) -> Lines:
    lines = _rmse_lines(axes)
    if len(axes) > 1:
        each = [formulas.rmse(axis) for axis in axes]
        words = " + ".join(f"RMSE {name}^2" for name in _NAMES[: len(axes)])
        inner = " + ".join(f"{put(value)}^2" for value in each)
        lines.append(f"RMSE = sqrt({words}) = sqrt({inner}) = {put(math.hypot(*each))} m")
    return lines


def _nmad(axes: Axes, ids: Sequence[str]) -> Lines:
    middle = formulas.median(axes[0])
    away = abs(axes[0] - middle)
    mad = formulas.median(away)
    return [
        _middle(axes[0], "errors", "median"),
        _middle(away, "distances from the median", "MAD"),
        f"NMAD = 1.4826 x MAD = 1.4826 x {put(mad)} = {put(1.4826 * mad)} m",
    ]


def _extreme(largest: bool, of: Callable[[Axes], tuple[Vector, Lines]]) -> Callable[..., Lines]:
    def lines(axes: Axes, ids: Sequence[str]) -> Lines:
        values, told = of(axes)
        place = int(values.argmax() if largest else values.argmin())
        word = "largest" if largest else "smallest"
        value = put(float(values[place]))
        return [*told, f"{word} of {len(values)} errors, at {ids[place]} = {value} m"]

    return lines


def _percentile(percent: float) -> Callable[..., Lines]:
    def lines(axes: Axes, ids: Sequence[str]) -> Lines:
        values, told = _sizes(axes)
        ordered = sorted(abs(float(v)) for v in values)
        n = len(ordered)
        rank = percent / 100.0 * (n - 1) + 1.0
        below = min(int(rank), n)
        low, high = ordered[below - 1], ordered[min(below, n - 1)]
        value = formulas.abs_percentile(values, percent)
        return [
            *told,
            f"rank = P / 100 x (n - 1) + 1 = {percent:g} / 100 x ({n} - 1) + 1 = {put(rank)}",
            f"P{percent:g} = between numbers {below} and {min(below + 1, n)} by size = "
            f"{put(low)} + ({put(rank)} - {below}) x ({put(high)} - {put(low)}) = {put(value)} m",
        ]

    return lines


def _moment(order: int, name: str, less: str) -> Callable[..., Lines]:
    def lines(axes: Axes, ids: Sequence[str]) -> Lines:
        (errors,) = axes
        away = errors - formulas.mean(errors)
        second, high = (math.fsum(away**power) / len(away) for power in (2, order))
        value = ESTIMATORS["skew" if order == 3 else "excess_kurtosis"](axes)
        told = [
            _mean_line(errors),
            f"m2 = mean square about the mean = {put(second)} m^2",
            f"m{order} = mean power {order} about the mean = {put(high)} m^{order}",
        ]
        if not isinstance(value, float):
            return [*told, "no value: all errors are the same"]
        return [
            *told,
            f"{name} = m{order} / m2^{order / 2:g}{less} = {inside(high)} / {put(second)}^{order / 2:g}{less}"
            f" = {put(value)}",
        ]

    return lines


def _accuracy_95(axes: Axes, ids: Sequence[str]) -> Lines:
    lines = _rmse_lines(axes)
    if len(axes) == 1:
        found = formulas.rmse(axes[0])
        value = formulas.accuracy_95_vertical(found)
        return [*lines, f"1.9600 x RMSE = 1.9600 x {put(found)} = {put(value)} m"]
    x, y = (formulas.rmse(axis) for axis in axes)
    small, large = sorted((x, y))
    if large > 0.0:
        lines.append(
            f"ratio = smaller / larger RMSE = {put(small)} / {put(large)} = {put(small / large)}"
        )
    case = formulas.circular_case(x, y)
    circle = formulas.accuracy_95_circular(x, y)
    if circle is None:
        return [*lines, "no value: below a ratio of 0.6 the document gives no formula"]
    if case == 1:
        return [
            *lines,
            "the two are equal: Case 1",
            f"1.7308 x sqrt(RMSE east^2 + RMSE north^2) = 1.7308 x sqrt({put(x)}^2 + {put(y)}^2) = "
            f"{put(circle)} m",
        ]
    return [
        *lines,
        "the two differ, by a ratio from 0.6: Case 2",
        f"2.4477 x 0.5 x (RMSE east + RMSE north) = 2.4477 x 0.5 x ({put(x)} + {put(y)}) = "
        f"{put(circle)} m",
    ]


def _chi_square(what: str, value: float, degrees: int) -> Lines:
    from scipy.special import chdtri

    upper, lower = (float(q) for q in chdtri(degrees, (0.025, 0.975)))
    low, high = formulas.rmse_interval_95(value, degrees)
    return [
        f"chi-square with {degrees} degrees of freedom keeps below {put(lower)} in 2.5 % and below "
        f"{put(upper)} in 97.5 %",
        f"low = {what} x sqrt(degrees / upper) = {put(value)} x sqrt({degrees} / {put(upper)}) = "
        f"{put(low)} m",
        f"high = {what} x sqrt(degrees / lower) = {put(value)} x sqrt({degrees} / {put(lower)}) = "
        f"{put(high)} m",
    ]


def _rmse_interval(axes: Axes, ids: Sequence[str]) -> Lines:
    value = math.hypot(*(formulas.rmse(axis) for axis in axes))
    return [*_rmse(axes, ids), *_chi_square("RMSE", value, len(axes) * len(axes[0]))]


def _std_interval(axes: Axes, ids: Sequence[str]) -> Lines:
    return [
        *_std_lines(axes[0]),
        *_chi_square("s", formulas.std(axes[0]), len(axes[0]) - 1),
    ]


def _student(n: int) -> tuple[float, str]:
    from scipy.special import stdtrit

    critical = float(stdtrit(n - 1, 0.975))
    return critical, (
        f"Student's t with {n - 1} degrees of freedom keeps below {put(critical)} in 97.5 %"
    )


def _mean_interval(axes: Axes, ids: Sequence[str]) -> Lines:
    (errors,) = axes
    n = len(errors)
    critical, told = _student(n)
    middle, spread = formulas.mean(errors), formulas.std(errors)
    low, high = formulas.mean_interval_95(errors)
    lines = [*_std_lines(errors), told]
    for name, sign, value in (("low", "-", low), ("high", "+", high)):
        lines.append(
            f"{name} = mean {sign} t x s / sqrt(n) = {inside(middle)} {sign} {put(critical)} x {put(spread)} / "
            f"sqrt({n}) = {put(value)} m"
        )
    return lines


def _bias_t(axes: Axes, ids: Sequence[str]) -> Lines:
    (errors,) = axes
    n, test = len(errors), formulas.bias_t(errors)
    if test is None:
        return [*_std_lines(errors), "no value: all errors are the same"]
    middle, spread = formulas.mean(errors), formulas.std(errors)
    return [
        *_std_lines(errors),
        _student(n)[1],
        f"the chance of so large a t from errors without bias is {put(test.p_two_sided)}",
        f"t = mean / (s / sqrt(n)) = {inside(middle)} / ({put(spread)} / sqrt({n})) = {put(test.t)}",
    ]


def _abs_mean(axes: Axes, ids: Sequence[str]) -> Lines:
    middle = formulas.mean(axes[0])
    return [_mean_line(axes[0]), f"abs(mean) = abs({put(middle)}) = {put(abs(middle))} m"]


def _mean_abs(axes: Axes, ids: Sequence[str]) -> Lines:
    values, lines = _sizes(axes)
    return [*lines, _mean_line(values)]


def _counted(axes: Axes, ids: Sequence[str]) -> Lines:
    values, lines = _sizes(axes)
    n = len(values)
    return [
        *lines,
        f"of {n} points at most {n // 10}, a tenth in whole points, may exceed",
        f"number {n - n // 10} of {n} errors by size = {put(probable.p90_counted(values))} m",
    ]


def _bias_plus_2_std(axes: Axes, ids: Sequence[str]) -> Lines:
    (errors,) = axes
    middle, spread = formulas.mean(errors), formulas.std(errors)
    return [
        *_std_lines(errors),
        f"abs(mean) + 2 x s = abs({put(middle)}) + 2 x {put(spread)} = "
        f"{put(probable.bias_plus_std(errors, 2.0))} m",
    ]


def _le90(axes: Axes, ids: Sequence[str]) -> Lines:
    (errors,) = axes
    m, s, q = formulas.mean(errors), formulas.std(errors), probable.le90(errors)
    lines = _std_lines(errors)
    if s <= 1e-12 * abs(m) or s == 0.0:
        return [*lines, f"no spread: LE90 = abs(mean) = abs({put(m)}) = {put(q)} m"]
    share = 0.5 * (math.erf((q - m) / s / math.sqrt(2.0)) - math.erf((-q - m) / s / math.sqrt(2.0)))
    return [
        *lines,
        "LE90 is the q for which a normal error with this mean and s lies between -q and q in 90 %",
        f"share = Phi((q - mean) / s) - Phi((-q - mean) / s) = Phi(({put(q)} - {inside(m)}) / {put(s)}) - "
        f"Phi((-{put(q)} - {inside(m)}) / {put(s)}) = {put(share)}",
        f"LE90 = q = {put(q)} m",
    ]


def _ce90(axes: Axes, ids: Sequence[str]) -> Lines:
    east, north = axes
    both = math.fsum((east - formulas.mean(east)) * (north - formulas.mean(north)))
    n = len(east)
    return [
        *_std_lines(east, "east"),
        *_std_lines(north, "north"),
        f"covariance = sum of products about the means / (n - 1) = {inside(both)} / ({n} - 1) = "
        f"{put(both / (n - 1))} m^2",
        "CE90 is the r for which east^2 + north^2 <= r^2 in 90 % of normal errors with these means, s and "
        "covariance; the integral over the circle is solved for r",
        f"CE90 = r = {put(probable.ce90(east, north))} m",
    ]


#: Steps by the name of the estimator: the same names as `ESTIMATORS`.
STEPS: Mapping[str, Callable[[Axes, Sequence[str]], Lines]] = MappingProxyType(
    {
        "n": _n,
        "mean": _mean,
        "median": _median,
        "std": _std,
        "rmse": _rmse,
        "nmad": _nmad,
        "min": _extreme(largest=False, of=_lengths),
        "max": _extreme(largest=True, of=_lengths),
        "p68_abs": _percentile(68.3),
        "p95_abs": _percentile(95.0),
        "skew": _moment(3, "skew", ""),
        "excess_kurtosis": _moment(4, "excess kurtosis", " - 3"),
        "accuracy_95": _accuracy_95,
        "rmse_interval_95": _rmse_interval,
        "std_interval_95": _std_interval,
        "mean_interval_95": _mean_interval,
        "bias_t": _bias_t,
        "abs_mean": _abs_mean,
        "abs_max": _extreme(largest=True, of=_sizes),
        "mean_abs": _mean_abs,
        "p90_counted": _counted,
        "bias_plus_2_std": _bias_plus_2_std,
        "le90": _le90,
        "ce90": _ce90,
    }
)
