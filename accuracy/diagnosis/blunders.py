"""Points, and groups of points, that the others contradict: robust tests with a stated rate of false alarms.

Single points: the generalised extreme studentised deviate (Rosner, Technometrics 25, 1983; formula from
memory) on what the robust fit leaves of each point. Groups: points that follow one another in the table, or
stand together, against all others by a t test with Bonferroni's correction for the number of groups tried.
Nothing is dropped.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from accuracy.diagnosis.model import Observations
from accuracy.diagnosis.records import Array, Blunder, Indices

#: Chance that a flight without any blunder is said to have one: half for single points, half for groups.
ERROR_RATE = 0.01
AXES = ("east", "north", "up")
#: Fewest points that a test is made with.
LEAST = 8
LEAST_GROUP = 3
#: Largest number of single outliers, and of points whose order and neighbours are looked at.
MOST_SINGLE, MOST_ORDERED = 100, 600


def find(
    observations: Observations, remainder: Array, deviation: Array, fitted: int
) -> tuple[Blunder, ...]:
    """Find them.

    Parameters
    ----------
    remainder, deviation : ndarray, shape (blocks,)
        Mean remainder of each point and axis after the robust fit, and its standard deviation, metres.
    fitted : int
        Number of parameters of that fit.
    """
    sightings = observations.sightings
    axis_of = np.zeros(observations.blocks, dtype=np.intp)
    place_of = np.zeros(observations.blocks, dtype=np.intp)
    axis_of[observations.block] = observations.axis
    place_of[observations.block] = sightings.place[observations.row]
    present = [axis for axis in range(3) if (axis_of == axis).sum() >= LEAST]
    found: list[Blunder] = []
    for axis in present:
        of_axis = np.flatnonzero(axis_of == axis)
        scaled = remainder[of_axis] / deviation[of_axis]
        level = ERROR_RATE / (2.0 * len(present))
        lost = min(fitted // len(present), len(of_axis) // 3)
        groups = list(
            _groups(observations, scaled, place_of[of_axis], level, lost) if axis == 2 else ()
        )
        taken: set[int] = set()
        for members, statistic, critical, how in groups:
            taken |= set(members)
            rest = np.setdiff1d(np.arange(len(of_axis)), members)
            value = float(remainder[of_axis[members]].mean() - np.median(remainder[of_axis[rest]]))
            ids = tuple(sightings.ids[place_of[of_axis[i]]] for i in members)
            found.append(Blunder(ids, AXES[axis], value, statistic, critical, how))
        alone = np.array([i for i in range(len(of_axis)) if i not in taken], dtype=np.intp)
        for i, statistic, critical in outliers(scaled[alone], level, lost):
            at = of_axis[alone[i]]
            found.append(
                Blunder(
                    (sightings.ids[place_of[at]],),
                    AXES[axis],
                    float(remainder[at]),
                    statistic,
                    critical,
                    "generalised extreme studentised deviate",
                )
            )
    return tuple(found)


def outliers(values: Array, level: float, fitted: int = 0) -> list[tuple[int, float, float]]:
    """Find outlying values: index, statistic and critical value, the furthest first.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Remainders of a fit.
    level : float
        Chance of finding any among normal values.
    fitted : int
        Parameters of the fit, taken off the degrees of freedom.
    """
    from scipy.special import stdtrit

    n = len(values)
    most = min(max(1, n // 4), MOST_SINGLE)
    if n < LEAST or n - most - fitted - 2 < 3:
        return []
    left = np.arange(n)
    steps = []
    last = 0
    for i in range(1, most + 1):
        now = values[left]
        freedom = len(left) - fitted - 1
        spread = math.sqrt(float(((now - now.mean()) ** 2).sum()) / max(freedom, 1))
        if spread == 0.0:
            break
        size = np.abs(now - now.mean()) / spread
        worst = int(np.argmax(size))
        # As Rosner's critical values, with the parameters of the fit taken off the degrees of freedom.
        nu = freedom - 1
        quantile = float(stdtrit(nu, 1.0 - level / (2.0 * len(left))))
        critical = (len(left) - 1) * quantile / math.sqrt((nu + quantile**2) * len(left))
        critical *= math.sqrt((freedom) / max(len(left) - 1, 1))
        steps.append((int(left[worst]), float(size[worst]), critical))
        if size[worst] > critical:
            last = i
        left = np.delete(left, worst)
    return steps[:last]


def _groups(
    observations: Observations, values: Array, place: Indices, level: float, fitted: int
) -> Iterator[tuple[list[int], float, float, str]]:
    """Find the group that differs most from all others, if it does by more than chance."""
    from scipy.special import stdtrit

    sightings = observations.sightings
    n = len(values)
    tried = list(_tried(sightings.order[place], _positions(observations, place), n))
    index = {sightings.ids[p]: i for i, p in enumerate(place)}
    for name, ids in sightings.groups:
        members = sorted(index[i] for i in ids if i in index)
        if LEAST_GROUP <= len(members) <= n // 2:  # of two groups the smaller is the odd one
            tried.append((members, f"points described as {name!r} against all others, t test"))
    freedom = n - fitted - 2
    if not tried or freedom < 4:
        return
    critical = float(stdtrit(freedom, 1.0 - level / (2.0 * len(tried))))
    best: tuple[float, list[int], str] = (0.0, [], "")
    for members, how in tried:
        statistic = _contrast(values, members, fitted)
        if statistic > best[0] and _together(values, members, fitted, critical):
            best = (statistic, members, how)
    if best[0] > critical:
        yield best[1], best[0], critical, best[2]


def _positions(observations: Observations, place: Indices) -> Array:
    here = observations.sightings.centred_m()
    of_point = np.zeros((len(observations.sightings.ids), 2))
    of_point[observations.sightings.place] = here
    return of_point[place]


def _tried(order: Indices, here: Array, n: int) -> Iterator[tuple[list[int], str]]:
    """Give every run in the order of the table, and every point with its nearest neighbours."""
    if n > MOST_ORDERED:
        return
    most = min(n // 2, 30)
    told: set[tuple[int, ...]] = set()
    by_table = np.argsort(order, kind="stable")
    for size in range(LEAST_GROUP, most + 1):
        for start in range(n - size + 1):
            members = sorted(int(i) for i in by_table[start : start + size])
            if tuple(members) not in told:
                told.add(tuple(members))
                yield members, "runs in the order of the table against all others, t test"
    if np.ptp(here) == 0.0:
        return
    for i in range(min(n, 200)):
        near = np.argsort(np.hypot(*(here - here[i]).T), kind="stable")
        for size in range(LEAST_GROUP, min(most, 12) + 1):
            members = sorted(int(j) for j in near[:size])
            if tuple(members) not in told:
                told.add(tuple(members))
                yield members, "neighbours against all others, t test"


def _contrast(values: Array, members: Sequence[int], fitted: int) -> float:
    """Give the t statistic of the difference of two means, with one variance for both."""
    n, n_one = len(values), len(members)
    n_other = n - n_one
    total, of_one = float(values.sum()), float(values[list(members)].sum())
    one, other = of_one / n_one, (total - of_one) / n_other
    square = float(values @ values) - n_one * one**2 - n_other * other**2
    spread = math.sqrt(max(square, 0.0) / max(n - fitted - 2, 1))
    if spread == 0.0:
        return 0.0
    return abs(one - other) / (spread * math.sqrt(1.0 / n_one + 1.0 / n_other))


def _together(values: Array, members: Sequence[int], fitted: int, critical: float) -> bool:
    """Whether all members lie to one side, so that it is the group and not one point of it."""
    rest = float(np.median(np.delete(values, list(members))))
    its = values[list(members)] - rest
    side = np.sign(np.median(its))
    if not side or (its * side <= 0.0).any():
        return False
    kept = [m for m, v in zip(members, its * side, strict=True) if v < (its * side).max()]
    return len(kept) >= 2 and _contrast(values, kept, fitted) > 0.6 * critical


def without(
    blunders: Sequence[Blunder], ids: Sequence[str], axes: Array
) -> dict[str, dict[str, dict[str, float | int]]]:
    """Give n, mean, standard deviation and RMSE of each axis with and without the points found.

    Parameters
    ----------
    axes : ndarray, shape (n, 3)
        Residuals of the points, metres; NaN where there is none.
    """
    out = {}
    for number, axis in enumerate(AXES):
        named = {i for b in blunders if b.component == axis for i in b.ids}
        if not named:
            continue
        there = np.isfinite(axes[:, number])
        kept = there & ~np.isin(np.array(ids), list(named))
        out[axis] = {"with": _figures(axes[there, number]), "without": _figures(axes[kept, number])}
    return out


def _figures(values: Array) -> dict[str, float | int]:
    n = len(values)
    if n < 2:
        return {"n": n}
    return {
        "n": n,
        "mean_m": float(values.mean()),
        "std_m": float(values.std(ddof=1)),
        "rmse_m": float(np.sqrt((values**2).mean())),
    }
