"""Repeated occupations of checkpoints: what they say of the survey's accuracy, and what is stated of it.

The pooled standard deviation of single occupations, an axis at a time, is s = sqrt(sum of squares about the
points' own means / degrees of freedom), with n - 1 degrees of freedom for n occupations of a point (pooled
variance; any textbook). The position that is used is the mean of n occupations, with s / sqrt(n).

Repeats show what changes from one occupation to the next. What all occupations share (base, frame, a bent pole)
they cannot show: they can contradict a stated accuracy, never prove it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from accuracy.findings import Finding, Severity
from accuracy.georeferencing.record import Reference
from accuracy.inputs.checkpoints import Checkpoint
from accuracy.residuals import Roles, in_degrees_of
from accuracy.units import to_metres

#: Level of the one-sided test of the stated accuracy.
LEVEL = 0.05


@dataclass(frozen=True)
class StatedTest:
    """The stated accuracy held against the repeats.

    Attributes
    ----------
    component : {"horizontal", "vertical"}
        Horizontal is radial, with both axes alike.
    stated_m : float
        RMSE as stated, of the positions used; the root of the mean square where points differ.
    found_m : float
        What the repeats give for the point with the fewest occupations.
    chi_square, degrees_of_freedom, p : float, int, float
        Probability of repeats that scatter this much or more, if the stated accuracy holds.
    worse : bool
        Whether p is below `LEVEL`.
    """

    component: Literal["horizontal", "vertical"]
    stated_m: float
    found_m: float
    chi_square: float
    degrees_of_freedom: int
    p: float
    worse: bool


@dataclass(frozen=True)
class Repeats:
    """What repeated occupations say; lengths in metres, None where an axis has no length.

    Attributes
    ----------
    points, occupations, degrees_of_freedom : int
        Points occupied several times, their occupations, and n - 1 of each summed.
    sd_east_m, sd_north_m, sd_up_m : float or None
        Pooled standard deviation of one occupation.
    fewest : int
        Fewest occupations of a checkpoint: 1 where one was occupied once.
    one_day : int
        Points all of whose occupations carry one and the same date.
    tests : tuple of StatedTest
        One for each part whose accuracy is stated.
    """

    points: int
    occupations: int
    degrees_of_freedom: int
    sd_east_m: float | None
    sd_north_m: float | None
    sd_up_m: float | None
    fewest: int
    one_day: int
    tests: tuple[StatedTest, ...]

    @property
    def rmse_h_m(self) -> float | None:
        """Radial RMSE of one occupation."""
        if self.sd_east_m is None or self.sd_north_m is None:
            return None
        return math.hypot(self.sd_east_m, self.sd_north_m)

    def mean_sigma_h_m(self, count: int) -> float | None:
        """Radial standard deviation of the mean of so many occupations."""
        return None if self.rmse_h_m is None else self.rmse_h_m / math.sqrt(count)

    def mean_sigma_v_m(self, count: int) -> float | None:
        """Vertical standard deviation of the mean of so many occupations."""
        return None if self.sd_up_m is None else self.sd_up_m / math.sqrt(count)

    @property
    def record(self) -> dict[str, Any]:
        """The value of ``survey.repeats`` in ``result.schema.json``."""
        return {
            "points": self.points,
            "occupations": self.occupations,
            "degrees_of_freedom": self.degrees_of_freedom,
            "sd_east_m": self.sd_east_m,
            "sd_north_m": self.sd_north_m,
            "sd_up_m": self.sd_up_m,
            "rmse_h_m": self.rmse_h_m,
            "rmse_v_m": self.sd_up_m,
            "fewest_occupations": self.fewest,
            "one_day": self.one_day,
            "level": LEVEL,
            "tests": [vars(test) for test in self.tests],
        }


def repeats_of(points: Sequence[Checkpoint], roles: Roles, reference: Reference) -> Repeats | None:
    """Pool the scatter of repeated occupations; None where no point was occupied twice."""
    repeated = [point for point in points if len(point.occupations) > 1]
    if not repeated:
        return None
    squares = [_squares_m2(point, reference) for point in repeated]
    freedom = sum(len(point.occupations) - 1 for point in repeated)

    def pooled(axis: int) -> float | None:
        values = [its[axis] for its in squares]
        known = [value for value in values if value is not None]
        return math.sqrt(math.fsum(known) / freedom) if len(known) == len(values) else None

    judged = [point for point in points if roles.role(point.id) == "checkpoint"] or repeated
    fewest = min(max(1, len(point.occupations)) for point in judged)
    east, north, up = (pooled(axis) for axis in range(3))
    tests: list[StatedTest] = []
    if east is not None and north is not None:
        stated = [_stated(point.survey_rmse_h_m, roles.survey_rmse_h_m) for point in repeated]
        both = [(e or 0.0) + (n or 0.0) for e, n, _ in squares]
        tests += _test("horizontal", both, stated, freedom, fewest, math.hypot(east, north))
    if up is not None:
        stated = [_stated(point.survey_rmse_v_m, roles.survey_rmse_v_m) for point in repeated]
        tests += _test("vertical", [u or 0.0 for _, _, u in squares], stated, freedom, fewest, up)
    return Repeats(
        points=len(repeated),
        occupations=sum(len(point.occupations) for point in repeated),
        degrees_of_freedom=freedom,
        sd_east_m=east,
        sd_north_m=north,
        sd_up_m=up,
        fewest=fewest,
        one_day=sum(_one_day(point) for point in repeated),
        tests=tuple(tests),
    )


def _one_day(point: Checkpoint) -> bool:
    dates = {occupation.survey.date for occupation in point.occupations}
    return len(dates) == 1 and "" not in dates


def _stated(of_point: float | None, of_job: float | None) -> float | None:
    return of_job if of_point is None else of_point


def _squares_m2(point: Checkpoint, reference: Reference) -> tuple[float | None, ...]:
    """Sum squares about the mean: east, north, up; None for an axis without a length."""
    horizontal, vertical = reference.horizontal_unit, reference.vertical_unit
    east: float | None = None
    north: float | None = None
    up: float | None = None
    in_degrees = in_degrees_of(reference)
    if in_degrees is not None:
        offsets = [
            in_degrees(point.easting, point.northing, one.easting, one.northing)
            for one in point.occupations
        ]
        east, north = (math.fsum(offset[axis] ** 2 for offset in offsets) for axis in (0, 1))
    elif horizontal is not None and reference.horizontal_kind != "geocentric":
        east, north = (
            math.fsum(
                to_metres(getattr(one, axis) - getattr(point, axis), horizontal) ** 2
                for one in point.occupations
            )
            for axis in ("easting", "northing")
        )
    if vertical is not None and reference.horizontal_kind != "geocentric":
        up = math.fsum(
            to_metres(one.height - point.height, vertical) ** 2 for one in point.occupations
        )
    return east, north, up


def _test(
    component: Literal["horizontal", "vertical"],
    squares_m2: Sequence[float],
    stated_m: Sequence[float | None],
    freedom: int,
    fewest: int,
    pooled_m: float,
) -> Iterator[StatedTest]:
    """Hold the scatter against the stated accuracy of the position with the fewest occupations.

    If such a position has variance v, one occupation has `fewest` times v, and the sum of squares over it
    follows chi-square with the degrees of freedom; twice as many for both axes together, each with half of v.
    """
    from scipy.special import chdtrc

    if any(value is None for value in stated_m):
        return
    known_m = [value for value in stated_m if value is not None]
    axes = 2 if component == "horizontal" else 1
    ratio = 0.0
    for square_m2, value_m in zip(squares_m2, known_m, strict=True):
        if square_m2:
            ratio += square_m2 / (fewest * value_m**2 / axes) if value_m else math.inf
    p = float(chdtrc(axes * freedom, ratio)) if math.isfinite(ratio) else 0.0
    yield StatedTest(
        component=component,
        stated_m=math.sqrt(math.fsum(value**2 for value in known_m) / len(known_m)),
        found_m=pooled_m / math.sqrt(fewest),
        chi_square=ratio if math.isfinite(ratio) else 1e308,
        degrees_of_freedom=axes * freedom,
        p=p,
        worse=p < LEVEL,
    )


def repeat_findings(repeats: Repeats | None) -> Iterator[Finding]:
    """Tell what repeated occupations say of the survey."""
    if repeats is None:
        return
    told = [
        f"{name} {value:.4f} m"
        for name, value in (
            ("east", repeats.sd_east_m),
            ("north", repeats.sd_north_m),
            ("up", repeats.sd_up_m),
        )
        if value is not None
    ]
    message = (
        f"{repeats.points} points were occupied {repeats.occupations} times; their means are used. Standard "
        f"deviation of one occupation, {repeats.degrees_of_freedom} degrees of freedom: "
        + (", ".join(told) or "unknown, for the coordinates have no declared lengths")
    )
    if repeats.one_day:
        message += (
            f". {repeats.one_day} of them on one day only, whose occupations share satellites and weather: the "
            "true scatter may be larger"
        )
    yield Finding(
        "checkpoints-repeats",
        Severity.NOTE,
        message,
        evidence={"points": repeats.points, "degrees_of_freedom": repeats.degrees_of_freedom},
    )
    for test in repeats.tests:
        if test.worse:
            yield Finding(
                "checkpoints-repeats-worse",
                Severity.WARNING,
                f"the repeated occupations contradict the stated {test.component} survey accuracy: "
                f"{test.stated_m:.4f} m is stated, the repeats give {test.found_m:.4f} m for a position of "
                f"{repeats.fewest} occupation{'s' * (repeats.fewest > 1)} (chi-square "
                f"{test.chi_square:.1f} with {test.degrees_of_freedom} degrees of freedom, p = {test.p:.2g}; "
                f"one-sided test at {LEVEL:.0%})",
                component=test.component,
                evidence={"stated_m": test.stated_m, "found_m": test.found_m, "p": test.p},
                remedy=f"state survey_rmse_{test.component[0]}_m as the repeats show it, with what they cannot "
                "show added, or find the occupation that is wrong",
            )
    if not repeats.tests and repeats.rmse_h_m is not None and repeats.sd_up_m is not None:
        yield Finding(
            "checkpoints-repeats-unstated",
            Severity.NOTE,
            f"no survey accuracy is stated; the repeats give {repeats.rmse_h_m:.4f} m horizontal (radial) and "
            f"{repeats.sd_up_m:.4f} m vertical for one occupation, without what all share (base, frame)",
            remedy="state survey_rmse_h_m and survey_rmse_v_m under [checkpoints]",
        )
