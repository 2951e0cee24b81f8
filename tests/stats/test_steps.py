"""Calculations on paper: every estimator has one, and each printed line comes out when computed anew."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from paper import calculated, check_line, last_result, result_of
from scipy import integrate, stats

from accuracy.stats import ESTIMATORS, Component
from accuracy.stats.steps import STEPS, put, steps

AXES = {"east": 1, "north": 1, "up": 1, "horizontal": 2, "3d": 3}
CASES = [
    (name, component)
    for name, its in ESTIMATORS.items()
    for component in ("up", "horizontal", "3d")
    if component in its.components
]
#: Those whose formula is a place in an ordered list, or a count.
NO_ARITHMETIC = {"n", "min", "max", "abs_max", "p90_counted", "median", "ce90"}


def errors(
    count: int, axes: int, seed: int = 3
) -> tuple[np.ndarray[tuple[int], np.dtype[np.float64]], ...]:
    """Skewed errors of some centimetres with a bias, rounded to millimetres, axes unlike."""
    chance = np.random.default_rng(seed)
    return tuple(
        np.round(0.012 * (i + 1) + 0.03 * (chance.gamma(2.0, size=count) - 1.5), 3)
        for i in range(axes)
    )


def ids(count: int) -> list[str]:
    return [f"P{i + 1}" for i in range(count)]


def test_every_estimator_has_steps() -> None:
    """No estimator without them, and none left over."""
    assert list(STEPS) == list(ESTIMATORS)


@pytest.mark.parametrize(("name", "component"), CASES)
@pytest.mark.parametrize("count", [4, 7, 30])
def test_lines_come_out_and_end_in_the_value(name: str, component: Component, count: int) -> None:
    """Each formula with its printed numbers gives its printed result; the last is the estimator's value."""
    axes = errors(count, AXES[component])
    lines = steps(name, axes, ids(count))
    computed = [check_line(line) for line in lines]
    assert any(computed) or name in NO_ARITHMETIC
    value = ESTIMATORS[name](axes)
    if name in ("rmse_interval_95", "std_interval_95", "mean_interval_95"):
        assert isinstance(value, tuple)
        assert [result_of(line) for line in lines[-2:]] == pytest.approx(list(value), abs=2e-6)
        return
    if name == "bias_t":
        assert isinstance(value, tuple)
        value = value[0]
    if value is None:
        assert "no value" in lines[-1]
    else:
        assert last_result(lines) == pytest.approx(value, rel=2e-6, abs=1e-6)


@given(st.lists(st.integers(-500, 500), min_size=2, max_size=30))
@settings(max_examples=40, deadline=None)
def test_lines_come_out_for_any_errors(millimetres: list[int]) -> None:
    """Equal errors, zeros, two points, either sign: no line is wrong, none stops."""
    axis = np.array(millimetres, dtype=np.float64) / 1000.0
    for name, its in ESTIMATORS.items():
        for component in ("up", "horizontal"):
            if component in its.components and name != "ce90":  # tested below; it takes long
                axes = (axis,) if component == "up" else (axis, axis[::-1] * 0.7)
                for line in steps(name, axes, ids(len(axis))):
                    check_line(line)


def test_every_case_of_the_circle_shows_its_own_formula() -> None:
    """Equal axes, unequal axes, exactly 0.6, and below it: NSSDA's cases as the notes give them."""
    axis = np.array([0.1, -0.1])
    equal = steps("accuracy_95", (axis, -axis), ids(2))
    assert equal[-1] == (
        "1.7308 x sqrt(RMSE east^2 + RMSE north^2) = 1.7308 x sqrt(0.1000000^2 + 0.1000000^2) = 0.2447721 m"
    )
    unequal = steps("accuracy_95", (axis, axis * 0.8), ids(2))
    assert unequal[-1].endswith("= 2.4477 x 0.5 x (0.1000000 + 0.08000000) = 0.2202930 m")
    assert "ratio = smaller / larger RMSE = 0.08000000 / 0.1000000 = 0.8000000" in unequal
    assert "Case 2" in steps("accuracy_95", (axis, axis * 0.6), ids(2))[-2]
    assert "no value" in steps("accuracy_95", (axis, axis * 0.599), ids(2))[-1]


def test_percentile_shows_rank_and_neighbours() -> None:
    """20 sizes 1 to 20 cm: rank 19.05, so 0.19 + 0.05 x 0.01 m."""
    lines = steps("p95_abs", (np.arange(1, 21) / 100.0,), ids(20))
    wanted = "= 0.1900000 + (19.050000 - 19) x (0.2000000 - 0.1900000) = 0.1905000 m"
    assert lines[-1].endswith(wanted)


def test_ce90_of_the_printed_moments_holds_90_percent() -> None:
    """The normal with the printed means, s and covariance has 90 % within the printed radius, by scipy."""
    axes = errors(12, 2)
    lines = steps("ce90", axes, ids(12))
    for line in lines:
        check_line(line)
    by_name = {line.split(" = ")[0]: result_of(line) for line in lines if " = " in line}
    mean = [by_name["mean east"] or 0.0, by_name["mean north"] or 0.0]
    sx, sy = by_name["s east"] or 0.0, by_name["s north"] or 0.0
    both, radius = by_name["covariance"] or 0.0, by_name["CE90"] or 0.0
    normal = stats.multivariate_normal(mean, [[sx * sx, both], [both, sy * sy]])

    def ring(r: float) -> float:
        angles = np.linspace(0.0, 2.0 * math.pi, 721)[:-1]
        places = np.column_stack([r * np.cos(angles), r * np.sin(angles)])
        return float(normal.pdf(places).mean() * 2.0 * math.pi * r)

    share, _ = integrate.quad(ring, 0.0, radius, epsabs=1e-9)
    assert abs(share - 0.9) < 1e-5


def test_the_largest_error_names_its_point() -> None:
    """A reader can find the point, whatever its sign."""
    (line,) = [
        s
        for s in steps("abs_max", (np.array([0.1, -0.3, 0.2]),), ["A", "B", "C"])
        if "at" in s and "largest" in s
    ]
    assert line == "largest of 3 errors, at B = 0.3000000 m"


def test_too_few_points_are_told() -> None:
    """Two points are wanted for a spread."""
    assert steps("std", (np.array([0.1]),), ["A"]) == ["no value: at least 2 points are needed"]


def test_numbers_have_seven_digits() -> None:
    """Small ones more decimals, large ones six."""
    assert [put(x) for x in (0.0, -0.0, 1.5, 1e-9, -0.0123456789)] == [
        "0.000000",
        "0.000000",
        "1.500000",
        "0.000000001000000",
        "-0.01234568",
    ]


def test_the_reader_of_this_test_sees_a_wrong_line() -> None:
    """The test could fail: a wrong result and a wrong comparison are found."""
    with pytest.raises(AssertionError):
        check_line("mean = sum / n = 0.5 / 2 = 0.24 m")
    with pytest.raises(AssertionError):
        check_line("0.050001 m <= 0.050000 m is true")
    assert not check_line("RMSE = words = 0.1 m")
    assert calculated("2.4477 x 0.5 x (1 + 1)^2") == pytest.approx(4.8954)
