"""Independent solutions of the mark: each by the published criteria, and against each other.

References
----------
Criteria for publishing a static solution (NGS, older edition of the page on sharing solutions): longer than
4 h, more than 70 % of the observations used and of the ambiguities fixed, peak-to-peak below 0.04 m
horizontally and 0.08 m in height, RMS below 0.03 m, rapid or precise orbits. A static report gives the
peak-to-peak of three baselines, a rapid-static report one sigma: the two are not compared. The range of three
normal values is 1.693 sigma on average (quality control tables, d2(3)). Two solutions agree where they differ
by at most three sigma of their difference in each component.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import combinations

from accuracy.base_checks.differences import difference
from accuracy.base_checks.record import BaseCheck, Solution, Station, Vector, length, shown
from accuracy.findings import Severity

HOURS, SHARE, RMS_M = 4.0, 0.70, 0.03
PEAK_H_M, PEAK_V_M = 0.04, 0.08
RANGE_OF_THREE = 1.693


def check(station: Station) -> Iterator[BaseCheck]:
    """Judge each solution, then each pair."""
    for solution in station.solutions:
        yield from _alone(solution)
    for one, other in combinations(station.solutions, 2):
        yield from _pair(station, one, other)


def shortcomings(solution: Solution) -> list[str]:
    """Name the published criteria that a static solution does not meet."""
    told = []
    if solution.hours is not None and solution.hours <= HOURS:
        told.append(f"{solution.hours:g} h (more than {HOURS:g} h)")
    for name, counts in (
        ("observations used", solution.observations),
        ("ambiguities fixed", solution.ambiguities),
    ):
        if counts is not None and counts[1] > 0 and counts[0] <= SHARE * counts[1]:
            told.append(f"{100.0 * counts[0] / counts[1]:.0f} % of {name} (more than 70 %)")
    if solution.rms_m is not None and solution.rms_m >= RMS_M:
        told.append(f"RMS {solution.rms_m:.3f} m (below {RMS_M:g} m)")
    peak = solution.peak_to_peak
    if peak is not None:
        limits = (("east", PEAK_H_M), ("north", PEAK_H_M), ("up", PEAK_V_M))
        told += [
            f"peak-to-peak {axis} {value:.3f} m (below {limit:g} m)"
            for (axis, limit), value in zip(limits, peak.values, strict=True)
            if value is not None and value >= limit
        ]
    if solution.orbits in ("broadcast", "ultra-rapid"):
        told.append(f"{solution.orbits} orbits (rapid or precise)")
    return told


def _alone(solution: Solution) -> Iterator[BaseCheck]:
    name = solution.side.who
    if solution.kind == "static":
        told = shortcomings(solution)
        if told:
            yield BaseCheck(
                "base-solution",
                "solution-below-criteria",
                Severity.WARNING,
                f"solution {name} does not meet the published criteria for a static solution: "
                f"{'; '.join(told)}",
                remedy="observe longer, wait for better orbits, or weigh the mark accordingly",
            )
        if solution.sigma is not None:
            yield _mixed(name, "static", "sigma", "peak-to-peak")
    elif solution.peak_to_peak is not None:
        yield _mixed(name, "rapid-static", "peak-to-peak", "one sigma")


def _mixed(name: str, kind: str, given: str, usual: str) -> BaseCheck:
    return BaseCheck(
        "base-solution",
        "quality-figure-odd",
        Severity.NOTE,
        f"solution {name} is {kind} and states {given}; such reports give {usual}: the two differ "
        "by a factor of "
        "about 1.7 and are not compared",
    )


def _spread(solution: Solution) -> tuple[str, Vector] | None:
    if solution.kind == "static" and solution.peak_to_peak is not None:
        return "peak-to-peak", solution.peak_to_peak
    if solution.sigma is not None:
        return "sigma", solution.sigma
    return None


def _pair(station: Station, one: Solution, other: Solution) -> Iterator[BaseCheck]:
    names = f"solutions {one.side.who} and {other.side.who}"
    found = difference(one.side, other.side, station.shelf)
    if found.vector is None:
        yield BaseCheck(
            "base-solution",
            "solutions-not-comparable",
            Severity.WARNING,
            f"{names} cannot be compared: {'; '.join(found.obstacles) or 'the systems do not allow it'}",
            remedy="state crs and epoch of both",
        )
        return
    spreads = _spread(one), _spread(other)
    kinds = {spread[0] for spread in spreads if spread is not None}
    if None in spreads or len(kinds) != 1:
        why = (
            "one reports peak-to-peak, the other sigma, which are not the same thing"
            if len(kinds) == 2
            else "not both state their quality"
        )
        yield BaseCheck(
            "base-solution",
            "solutions-not-judged",
            Severity.NOTE,
            f"{names} differ by {shown(found.vector)}; whether that is much is not judged: {why}",
        )
        return
    factor = RANGE_OF_THREE if kinds == {"peak-to-peak"} else 1.0
    sigma: list[float | None] = []
    beyond: list[str] = []
    first, second = (spread[1] for spread in spreads if spread is not None)
    for axis, d, a, b in zip(
        ("east", "north", "up"), found.vector.values, first.values, second.values, strict=True
    ):
        if a is None or b is None or d is None:
            sigma.append(None)
            continue
        sigma.append(math.hypot(a, b) / factor)
        if abs(d) > 3.0 * math.hypot(a, b) / factor:
            beyond.append(
                f"{axis} {length(d)}, allowed {length(3.0 * math.hypot(a, b) / factor, sign=False)}"
            )
    if beyond:
        basis = (
            "their sigma" if factor == 1.0 else "sigma from their peak-to-peak of three, over 1.693"
        )
        yield BaseCheck(
            "base-solution",
            "solutions-disagree",
            Severity.WARNING,
            f"{names} do not agree: {'; '.join(beyond)} (three sigma of the difference, by {basis})",
            sigma=Vector(*sigma),
            remedy="find the one that is wrong: antenna height, another mark, too short; observe a "
            "third time",
        )
