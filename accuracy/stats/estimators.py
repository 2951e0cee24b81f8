"""Estimators by name, and the figures of one dataset made with them.

Residual = measured minus surveyed, in metres. Figures of one axis (east, north, up) use the signed
residuals; figures of ``horizontal`` and ``3d`` use the lengths of the residual vectors.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

from accuracy.stats import formulas, probable

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Vector = NDArray[np.float64]
    Axes = tuple[Vector, ...]

Component = Literal["east", "north", "up", "horizontal", "3d"]
Cover = Literal["all", "non-vegetated", "vegetated"]
Value = float | tuple[float, ...] | None

COMPONENTS: tuple[Component, ...] = ("east", "north", "up", "horizontal", "3d")
COVERS: tuple[Cover, ...] = ("all", "non-vegetated", "vegetated")

_NSSDA = "FGDC-STD-007.3-1998 (NSSDA), Appendix 3-A"
_HOEHLE = "Hoehle and Hoehle 2009, doi 10.1016/j.isprsjprs.2009.02.003"
_PERCENTILE = "linear rank (P/100)(N-1)+1: USGS Lidar Base Specification 2025 rev. A, Glossary"


@dataclass(frozen=True, eq=False)
class Group:
    """The residuals of one component and cover.

    Attributes
    ----------
    axes : tuple of ndarray, each shape (n,)
        One array for ``east``, ``north``, ``up``; two for ``horizontal``; three for ``3d``.
    used : ndarray of bool
        Which of the points handed in belong to the group.
    survey_rmse_m : float or None
        RMSE of the survey over the same points and axes; None unless known at every one of them.
    """

    axes: Axes
    used: NDArray[np.bool_]
    survey_rmse_m: float | None

    @property
    def n(self) -> int:
        """Number of points."""
        return len(self.axes[0])


def select(
    component: Component,
    cover: Cover,
    east_m: Vector,
    north_m: Vector,
    up_m: Vector,
    vegetated: NDArray[np.bool_],
    survey_rmse_h_m: Vector,
    survey_rmse_v_m: Vector,
) -> Group:
    """Pick the points of a component and cover that have the residuals for it.

    All arrays have shape (n,); NaN means not available. The horizontal survey RMSE is radial: one axis
    carries 1 / sqrt 2 of it, if both are equally good.
    """
    import numpy as np

    wanted: Mapping[Component, Axes] = {
        "east": (east_m,),
        "north": (north_m,),
        "up": (up_m,),
        "horizontal": (east_m, north_m),
        "3d": (east_m, north_m, up_m),
    }
    survey: Mapping[Component, Vector] = {
        "east": survey_rmse_h_m / math.sqrt(2.0),
        "north": survey_rmse_h_m / math.sqrt(2.0),
        "up": survey_rmse_v_m,
        "horizontal": survey_rmse_h_m,
        "3d": np.hypot(survey_rmse_h_m, survey_rmse_v_m),
    }
    if any(np.isinf(axis).any() for axis in wanted[component]):
        raise ValueError(f"infinite residual in {component}")
    used: NDArray[np.bool_] = np.array(~np.isnan(np.stack(wanted[component])).any(axis=0))
    if cover != "all":
        used &= vegetated == (cover == "vegetated")
    its_survey = survey[component][used]
    known = len(its_survey) > 0 and not np.isnan(its_survey).any()
    return Group(
        axes=tuple(np.asarray(axis[used], dtype=np.float64) for axis in wanted[component]),
        used=used,
        survey_rmse_m=formulas.rmse(its_survey) if known else None,
    )


def _lengths(axes: Axes) -> Vector:
    import numpy as np

    return axes[0] if len(axes) == 1 else np.hypot(axes[0], _lengths(axes[1:]))


def _rmse(axes: Axes) -> float:
    each = [formulas.rmse(axis) for axis in axes]
    return each[0] if len(each) == 1 else math.hypot(*each)


def _accuracy_95(axes: Axes) -> float | None:
    if len(axes) == 1:
        return formulas.accuracy_95_vertical(formulas.rmse(axes[0]))
    return formulas.accuracy_95_circular(formulas.rmse(axes[0]), formulas.rmse(axes[1]))


def _bias(axes: Axes) -> Value:
    test = formulas.bias_t(axes[0])
    if test is None:
        return None
    return test.t, float(test.degrees_of_freedom), test.critical, test.p_two_sided


@dataclass(frozen=True)
class Estimator:
    """One statistic by name: a callable of the axes of a `Group`.

    Attributes
    ----------
    compute : callable
        Of a tuple of arrays of shape (n,); gives a number, several, or None where it has no value.
    components : tuple of str
        Components it is defined for.
    at_least : int
        Fewest points it is defined for.
    unit : {"m", "1"}
        Metres, or a number without unit.
    cite : str
        Definition or source.
    figure : bool
        Whether `figures` gives it; the others serve limits in specifications only.
    """

    compute: Callable[[Axes], Value]
    cite: str
    components: tuple[Component, ...] = COMPONENTS
    at_least: int = 1
    unit: Literal["m", "1"] = "m"
    figure: bool = True

    def __call__(self, axes: Axes) -> Value:
        """Give the value; None with too few points or where there is no finite value."""
        if len(axes[0]) < self.at_least:
            return None
        value = self.compute(axes)
        numbers = value if isinstance(value, tuple) else (value,)
        return value if all(x is not None and math.isfinite(x) for x in numbers) else None


_ONE: tuple[Component, ...] = ("east", "north", "up")

#: Every estimator a figure or a standard's file may name. ``bias_t`` gives (t, degrees of freedom,
#: critical value, two-sided p); intervals give (low, high).
ESTIMATORS: Mapping[str, Estimator] = MappingProxyType(
    {
        "n": Estimator(lambda a: float(len(a[0])), "number of points used", unit="1", at_least=0),
        "mean": Estimator(lambda a: formulas.mean(_lengths(a)), "sum / n"),
        "median": Estimator(lambda a: formulas.median(_lengths(a)), _HOEHLE),
        "std": Estimator(lambda a: formulas.std(a[0]), "divisor n - 1", _ONE, at_least=2),
        "rmse": Estimator(_rmse, f"{_NSSDA}: divisor n"),
        "nmad": Estimator(lambda a: formulas.nmad(a[0]), _HOEHLE, _ONE, at_least=2),
        "min": Estimator(lambda a: float(_lengths(a).min()), "smallest value"),
        "max": Estimator(lambda a: float(_lengths(a).max()), "largest value"),
        "p68_abs": Estimator(
            lambda a: formulas.abs_percentile(_lengths(a), 68.3), f"{_HOEHLE}; {_PERCENTILE}"
        ),
        "p95_abs": Estimator(lambda a: formulas.abs_percentile(_lengths(a), 95.0), _PERCENTILE),
        "skew": Estimator(
            lambda a: formulas.skew(a[0]), "population form m3 / m2^1.5", _ONE, at_least=3, unit="1"
        ),
        "excess_kurtosis": Estimator(
            lambda a: formulas.excess_kurtosis(a[0]),
            "population form m4 / m2^2 - 3",
            _ONE,
            at_least=4,
            unit="1",
        ),
        "accuracy_95": Estimator(_accuracy_95, _NSSDA, ("up", "horizontal")),
        "rmse_interval_95": Estimator(
            lambda a: formulas.rmse_interval_95(_rmse(a), len(a) * len(a[0])),
            "chi-square, if errors are independent, normal and of zero mean",
            (*_ONE, "horizontal"),
            at_least=2,
        ),
        "std_interval_95": Estimator(
            lambda a: formulas.rmse_interval_95(formulas.std(a[0]), len(a[0]) - 1),
            "chi-square, if errors are independent and normal",
            _ONE,
            at_least=2,
        ),
        "mean_interval_95": Estimator(
            lambda a: formulas.mean_interval_95(a[0]),
            "Student's t, if errors are independent",
            _ONE,
            at_least=2,
        ),
        "bias_t": Estimator(
            _bias, "Student's t, two-sided, if errors are independent", _ONE, at_least=2, unit="1"
        ),
        "abs_mean": Estimator(
            lambda a: abs(formulas.mean(a[0])), "absolute value of the mean", _ONE, figure=False
        ),
        "abs_max": Estimator(
            lambda a: float(_lengths(a).max() if len(a) > 1 else abs(a[0]).max()),
            "largest absolute value",
            figure=False,
        ),
        "mean_abs": Estimator(
            lambda a: formulas.mean(abs(_lengths(a))),
            "ISO 19157:2013, measure 28: mean of the distances",
            figure=False,
        ),
        "p90_counted": Estimator(
            lambda a: probable.p90_counted(_lengths(a)),
            "smallest error that not more than 10 % of the points exceed: NMAS 1947",
            figure=False,
        ),
        "bias_plus_2_std": Estimator(
            lambda a: probable.bias_plus_std(a[0], 2.0),
            "abs(mean) + 2 s: AHN quality page",
            _ONE,
            at_least=2,
            figure=False,
        ),
        "le90": Estimator(
            lambda a: probable.le90(a[0]),
            "exact 90 % quantile of abs(error), normal with mean and s found: derived",
            _ONE,
            at_least=2,
            figure=False,
        ),
        "ce90": Estimator(
            lambda a: probable.ce90(a[0], a[-1]),
            "exact 90 % radius, normal with mean and covariance found: derived",
            ("horizontal",),
            at_least=3,
            figure=False,
        ),
    }
)


@dataclass(frozen=True)
class Figure:
    """One statistic with its unit, number of points and source. `value` is None where it has none."""

    statistic: str
    component: Component
    cover: Cover
    survey_error_included: bool
    value: Value
    unit: str
    n: int
    cite: str


def figures(
    east_m: Vector,
    north_m: Vector,
    up_m: Vector,
    vegetated: NDArray[np.bool_],
    survey_rmse_h_m: Vector,
    survey_rmse_v_m: Vector,
) -> tuple[Figure, ...]:
    """Give every statistic of every component and cover for which it is defined.

    A group without points gives its n = 0 alone. Where a bias is significant, the intervals of spread and
    mean take the place of the interval of the RMSE, which assumes a mean of zero. ``accuracy_95`` is not
    given for vegetated points, whose errors need not be normal.

    Parameters
    ----------
    east_m, north_m, up_m : ndarray, shape (n,)
        Residuals, measured minus surveyed, in metres; NaN where a point has none.
    vegetated : ndarray of bool, shape (n,)
        Land cover group.
    survey_rmse_h_m, survey_rmse_v_m : ndarray, shape (n,)
        The survey's own RMSE in metres, horizontal radial and vertical; NaN where unknown.

    Returns
    -------
    tuple of Figure
        In the order of `COMPONENTS`, `COVERS` and `ESTIMATORS`.
    """
    result: list[Figure] = []
    for component in COMPONENTS:
        for cover in COVERS:
            group = select(
                component, cover, east_m, north_m, up_m, vegetated, survey_rmse_h_m, survey_rmse_v_m
            )
            _check_identity(group)
            for name in _names(component, cover, group):
                its = ESTIMATORS[name]
                value = its(group.axes)
                result.append(
                    Figure(name, component, cover, False, value, its.unit, group.n, its.cite)
                )
                if name == "rmse" and isinstance(value, float) and group.survey_rmse_m is not None:
                    combined = formulas.combine_survey(value, group.survey_rmse_m)
                    cite = f"{its.cite}; survey error in quadrature, ASPRS Edition 2, section 7.11"
                    result.append(
                        Figure(name, component, cover, True, combined, "m", group.n, cite)
                    )
    return tuple(result)


def _names(component: Component, cover: Cover, group: Group) -> list[str]:
    """Give the names of the statistics that this group has."""
    biased = any(formulas.bias_significant(axis) for axis in group.axes)
    left_out = {"rmse_interval_95"} if biased else {"std_interval_95", "mean_interval_95"}
    if cover == "vegetated":
        left_out.add("accuracy_95")
    return [
        name
        for name, its in ESTIMATORS.items()
        if its.figure
        and component in its.components
        and group.n >= its.at_least
        and name not in left_out
    ]


def _check_identity(group: Group) -> None:
    """Assert RMSE^2 = mean^2 + s^2 (n - 1) / n on every axis."""
    for axis in group.axes:
        n = len(axis)
        if n >= 2:
            whole = formulas.rmse(axis)
            parts = math.hypot(formulas.mean(axis), formulas.std(axis) * math.sqrt((n - 1) / n))
            assert math.isclose(whole, parts, rel_tol=1e-9), (whole, parts)
