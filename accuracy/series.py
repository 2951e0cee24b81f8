"""Series: the computed curves behind every plot, and what the verdict would be without each single point.

All that a view would otherwise have to compute: histograms, normal quantiles, cumulative errors,
differences by flight line, the exaggeration of residual arrows, sensitivity, figures of control points and
figures with the excluded points put back. Lengths in metres; residual = measured - surveyed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from accuracy.residuals import ResidualRow
from accuracy.standards.judge import Check, Evidence, Judgement, judge
from accuracy.standards.library import Standard
from accuracy.stats import (
    COMPONENTS,
    Component,
    Cover,
    Figure,
    abs_percentile,
    figures,
    mean,
    median,
    nmad,
    std,
)
from accuracy.units import LengthUnit, to_metres

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Vector = NDArray[np.float64]

Box = tuple[float, float, float, float]
Claimed = Mapping[str, float | int | str | bool]

#: Most points kept of a curve; above it, ranks are taken evenly, the first and last always.
MOST_SHOWN = 401

#: Claims are judged again without each of so many points at most: half of them those of the largest error,
#: half those of the smallest, because these move the figures most.
MOST_LEFT_OUT = 400

#: Most boxes of a footprint; above it, one box around all.
MOST_BOXES = 500

#: Name of the mark and percentile of the absolute error. 68.3 is that of the figure ``p68_abs``.
MARKS: Mapping[str, float] = {"p68": 68.3, "p90": 90.0, "p95": 95.0}

_DECIMALS = 6
_FIGURES = ("n", "mean", "median", "std", "rmse", "min", "max", "p95_abs")
_GROUPS: tuple[Cover, ...] = ("all", "non-vegetated", "vegetated")


def compute_series(
    rows: Sequence[ResidualRow],
    claims: Sequence[tuple[Standard, Claimed]],
    evidence_of: Callable[[tuple[ResidualRow, ...]], Evidence],
    boxes: Iterable[Box] = (),
    unit: LengthUnit | None = None,
) -> dict[str, Any]:
    """Compute every series of one dataset.

    Parameters
    ----------
    rows : sequence of ResidualRow
        All surveyed points.
    claims : sequence of (Standard, mapping)
        What is claimed of the dataset, in the order of its claims.
    evidence_of : callable
        Gives the evidence of the used rows among those handed in.
    boxes : iterable of (min x, min y, max x, max y)
        Outlines of the files, in stored units of the deliverable.
    unit : LengthUnit or None
        The stored unit of the plane; None for degrees or unknown.

    Returns
    -------
    dict
        The value under the dataset's name in ``series`` of ``result.schema.json``.
    """
    evidence = evidence_of(tuple(rows))
    return {
        "curves": {
            component: curves
            for component in COMPONENTS
            if component != "3d" and (curves := _component(evidence, component))
        },
        "by_line": by_line(rows),
        "plan": {
            "exaggeration_horizontal": _exaggeration(rows, "horizontal"),
            "exaggeration_vertical": _exaggeration(rows, "vertical"),
        },
        "footprint": _footprint(tuple(boxes), unit),
        "sensitivity": {
            str(index): sensitivity(standard, claimed, evidence)
            for index, (standard, claimed) in enumerate(claims)
        },
        "with_exclusions_restored": _restored(rows, claims, evidence_of),
        "control": _of_role(rows, "control", evidence_of),
    }


# --- curves ---------------------------------------------------------------------------------------------


def _component(evidence: Evidence, component: Component) -> dict[str, Any]:
    """Give the curves of a component by cover; groups without points are left out."""
    groups = {cover: _values(evidence, component, cover) for cover in _GROUPS}
    if not len(groups["all"]):
        return {}
    signed = component != "horizontal"
    edges_m = histogram_edges(groups["all"]) if signed else None
    curves: dict[str, Any] = {}
    for cover, values_m in groups.items():
        if not len(values_m):
            continue
        curves[cover] = {
            "n": len(values_m),
            "mean_m": _rounded(mean(values_m)),
            "std_m": _rounded(std(values_m)) if len(values_m) > 1 else None,
            "median_m": _rounded(median(values_m)),
            "nmad_m": _rounded(nmad(values_m)) if signed and len(values_m) > 1 else None,
            "histogram": None if edges_m is None else histogram(values_m, edges_m),
            "quantiles": quantiles(values_m) if signed and len(values_m) > 1 else None,
            "cumulative": cumulative(values_m),
            "marks": {
                name: _rounded(abs_percentile(values_m, share)) for name, share in MARKS.items()
            },
        }
    return curves


def _values(evidence: Evidence, component: Component, cover: Cover) -> Vector:
    """Give signed residuals of an axis, or lengths of the horizontal ones; shape (n,), metres."""
    axes = evidence.group(component, cover).axes
    return axes[0] if len(axes) == 1 else np.hypot(axes[0], axes[1])


def histogram_edges(values_m: Vector) -> Vector:
    """Give the edges of the bins: of a round width, with an edge at zero.

    The width is the round number (1, 2 or 5 times a power of ten) nearest to the rule of Freedman and
    Diaconis (1981; from memory), 2 IQR / n^(1/3), for 5 to 40 bins. Values far outside (beyond eight
    NMAD from the median) do not stretch the bins; `histogram` counts them apart.

    Parameters
    ----------
    values_m : ndarray, shape (n,)
        Residuals in metres, n >= 1.

    Returns
    -------
    ndarray, shape (bins + 1,)
        Ascending, metres.
    """
    middle_m, spread_m = median(values_m), nmad(values_m)
    kept = values_m[abs(values_m - middle_m) <= 8.0 * spread_m] if spread_m > 0.0 else values_m
    low_m, high_m = float(kept.min()), float(kept.max())
    extent_m = high_m - low_m
    iqr_m = float(np.subtract(*np.percentile(kept, [75, 25])))
    wanted_m = 2.0 * iqr_m / len(kept) ** (1.0 / 3.0)
    width_m = round_number(min(max(wanted_m, extent_m / 40.0), extent_m / 5.0))
    if extent_m == 0.0 or abs(low_m) / width_m > 1e9:  # all equal, or too fine to count
        width_m = round_number(max(abs(high_m) / 10.0, 0.001))
    first, last = math.floor(low_m / width_m), math.floor(high_m / width_m) + 1
    return np.arange(first, last + 1) * width_m


def histogram(values_m: Vector, edges_m: Vector) -> dict[str, Any]:
    """Count values between edges (low edge included), and those beyond either end.

    ``normal`` is the number of points that a normal distribution of the same mean and standard deviation
    would put in a bin around `x_m`: n times width times density.
    """
    inside = values_m[(values_m >= edges_m[0]) & (values_m < edges_m[-1])]
    places = np.searchsorted(edges_m, inside, side="right") - 1
    normal = None
    spread_m = std(values_m) if len(values_m) > 1 else 0.0
    if spread_m > 0.0:
        width_m = float(edges_m[1] - edges_m[0])
        middle_m = mean(values_m)
        x_m = np.linspace(
            min(float(edges_m[0]), middle_m - 3.0 * spread_m),
            max(float(edges_m[-1]), middle_m + 3.0 * spread_m),
            121,
        )
        density = np.exp(-0.5 * ((x_m - middle_m) / spread_m) ** 2) / (
            spread_m * math.sqrt(2.0 * math.pi)
        )
        normal = {
            "x_m": _list(x_m),
            "count": [float(f"{v:.5g}") for v in len(values_m) * width_m * density],
        }
    return {
        "edges_m": _list(edges_m),
        "counts": [int(c) for c in np.bincount(places, minlength=len(edges_m) - 1)],
        "below": int((values_m < edges_m[0]).sum()),
        "above": int((values_m >= edges_m[-1]).sum()),
        "normal": normal,
    }


def quantiles(values_m: Vector) -> dict[str, Any]:
    """Pair the ordered residuals with what a standard normal distribution would give at their ranks.

    The i-th of n is expected at the normal quantile of (i - 3/8) / (n + 1/4) (Blom 1958; from memory).
    """
    from scipy.special import ndtri

    n = len(values_m)
    ranks = _ranks(n)
    expected = ndtri((ranks + 1 - 0.375) / (n + 0.25))
    return {
        "expected": [round(float(z), 5) for z in expected],
        "observed_m": _list(np.sort(values_m)[ranks]),
    }


def cumulative(values_m: Vector) -> dict[str, Any]:
    """Order the absolute errors, with the share of points up to each.

    The share of the i-th of n is (i - 1) / (n - 1), so that the percentiles of
    `accuracy.stats.abs_percentile`, linear rank (P/100)(N-1)+1, lie on the line.
    """
    n = len(values_m)
    ranks = _ranks(n)
    share = ranks / (n - 1) if n > 1 else np.ones(1)
    return {
        "abs_m": _list(np.sort(abs(values_m))[ranks]),
        "share": [round(float(s), 5) for s in share],
    }


def by_line(rows: Sequence[ResidualRow]) -> list[dict[str, Any]]:
    """Give, for each flight line, what its own points say at the used checkpoints; metres."""
    found: dict[int, list[tuple[str, float]]] = {}
    for row in rows:
        if row.used and row.support and row.surveyed.up_m is not None:
            for line in row.support.lines:
                if line.height_m is not None:
                    up_m = line.height_m - row.surveyed.up_m
                    found.setdefault(line.id, []).append((row.id, up_m))
    return [
        {
            "line": line,
            "ids": [id_ for id_, _ in pairs],
            "up_m": [_rounded(up_m) for _, up_m in pairs],
            "median_m": _rounded(median(np.array([up_m for _, up_m in pairs]))),
        }
        for line, pairs in sorted(found.items())
    ]


# --- the plan -------------------------------------------------------------------------------------------


def _exaggeration(rows: Sequence[ResidualRow], part: Literal["horizontal", "vertical"]) -> float:
    """Give the round factor that makes a large residual about a tenth of the plan's longer side.

    Large: the 95th percentile of the sizes. 1 where nothing is known.
    """
    places = [
        (row.surveyed.east_m, row.surveyed.north_m)
        for row in rows
        if row.surveyed.east_m is not None and row.surveyed.north_m is not None
    ]
    sizes_m = [
        size_m
        for row in rows
        if row.used and row.residual is not None
        for size_m in [_size_m(row, part)]
        if size_m is not None
    ]
    if not places or not sizes_m:
        return 1.0
    side_m = float(np.ptp(np.array(places), axis=0).max())
    large_m = abs_percentile(np.array(sizes_m), 95.0)
    return round_number(0.1 * side_m / large_m) if side_m > 0.0 and large_m > 0.0 else 1.0


def _size_m(row: ResidualRow, part: str) -> float | None:
    if row.residual is None:
        return None
    if part == "vertical":
        return row.residual.up_m
    if row.residual.east_m is None or row.residual.north_m is None:
        return None
    return math.hypot(row.residual.east_m, row.residual.north_m)


def _footprint(boxes: tuple[Box, ...], unit: LengthUnit | None) -> dict[str, Any]:
    """Give the outlines of the files in stored units and in metres."""
    if len(boxes) > MOST_BOXES:
        west, south, east, north = zip(*boxes, strict=True)
        boxes = ((min(west), min(south), max(east), max(north)),)
    return {
        "boxes_native": [list(box) for box in boxes],
        "boxes_m": []
        if unit is None
        else [[_rounded(to_metres(float(v), unit)) for v in box] for box in boxes],
    }


# --- what if --------------------------------------------------------------------------------------------


def sensitivity(standard: Standard, claimed: Claimed, evidence: Evidence) -> dict[str, Any]:
    """Judge a claim again without each single point.

    Parameters
    ----------
    standard : Standard
        The document.
    claimed : mapping
        Claim keys.
    evidence : Evidence
        All points that count.

    Returns
    -------
    dict
        ``check`` is the check whose value comes nearest to its limit or is furthest beyond it (the first
        with a value, where none has a limit); ``without`` has its value and the claim's verdict without
        each point, smallest value first; ``changes`` those of them with another verdict.
    """
    whole = judge(standard, claimed, evidence)
    check = _deciding(whole)
    tried = _points_to_try(evidence)
    without = []
    for place in tried:
        judgement = judge(standard, claimed, _reduced(evidence, place))
        value = _value_of(judgement, check)
        without.append(
            {
                "id": evidence.ids[place],
                "verdict": judgement.verdict,
                "value": value,
            }
        )
    known = sorted((w for w in without if w["value"] is not None), key=lambda w: w["value"])
    ordered = known + [w for w in without if w["value"] is None]
    return {
        "verdict": whole.verdict,
        "check": None if check is None else check.name,
        "component": None if check is None else check.component,
        "unit": None if check is None else check.unit,
        "value": None if check is None else check.value,
        "limit": None if check is None else check.limit,
        "tried": len(tried),
        "of": len(evidence.ids),
        "lowest": known[0] if known else None,
        "highest": known[-1] if known else None,
        "changes": [w for w in ordered if w["verdict"] != whole.verdict],
        "without": ordered,
    }


def _deciding(judgement: Judgement) -> Check | None:
    valued = [check for check in judgement.checks if check.value is not None]
    limited = [check for check in valued if check.limit]
    if limited:
        return max(limited, key=lambda c: (c.value or 0.0) / (c.limit or 1.0))
    return valued[0] if valued else None


def _value_of(judgement: Judgement, like: Check | None) -> float | None:
    """Give the value of the same check in another judgement."""
    if like is None:
        return None
    key = (like.name, like.component, like.cover)
    return next((c.value for c in judgement.checks if (c.name, c.component, c.cover) == key), None)


def _points_to_try(evidence: Evidence) -> list[int]:
    n = len(evidence.ids)
    if n <= MOST_LEFT_OUT:
        return list(range(n))
    axes = np.nan_to_num(np.stack([evidence.east_m, evidence.north_m, evidence.up_m]))
    order = np.argsort(np.sqrt((axes**2).sum(axis=0)), kind="stable")
    half = MOST_LEFT_OUT // 2
    return sorted(int(i) for i in np.concatenate([order[:half], order[-half:]]))


def _reduced(evidence: Evidence, place: int) -> Evidence:
    """Leave out the point at this place."""

    def cut(values: NDArray[Any]) -> NDArray[Any]:
        return np.delete(values, place)

    return replace(
        evidence,
        ids=evidence.ids[:place] + evidence.ids[place + 1 :],
        east_m=cut(evidence.east_m),
        north_m=cut(evidence.north_m),
        up_m=cut(evidence.up_m),
        vegetated=cut(evidence.vegetated),
        survey_rmse_h_m=cut(evidence.survey_rmse_h_m),
        survey_rmse_v_m=cut(evidence.survey_rmse_v_m),
    )


def _restored(
    rows: Sequence[ResidualRow],
    claims: Sequence[tuple[Standard, Claimed]],
    evidence_of: Callable[[tuple[ResidualRow, ...]], Evidence],
) -> dict[str, Any] | None:
    """Give figures and verdicts as they would be with the excluded points counted; None without any."""
    back = [row.id for row in rows if row.role == "excluded" and row.residual is not None]
    if not back:
        return None
    every = tuple(
        replace(row, used=True) if row.role == "excluded" and row.residual is not None else row
        for row in rows
    )
    evidence = evidence_of(every)
    return {
        "ids": back,
        "figures": _figures(evidence),
        "verdicts": {
            str(index): judge(standard, claimed, evidence).verdict
            for index, (standard, claimed) in enumerate(claims)
        },
    }


def _of_role(
    rows: Sequence[ResidualRow],
    role: str,
    evidence_of: Callable[[tuple[ResidualRow, ...]], Evidence],
) -> dict[str, Any] | None:
    """Give the figures of the points of one role alone; None where none has a residual."""
    its = tuple(
        replace(row, used=True) for row in rows if row.role == role and row.residual is not None
    )
    if not its:
        return None
    return {"ids": [row.id for row in its], "figures": _figures(evidence_of(its))}


def _figures(evidence: Evidence) -> list[Figure]:
    found = figures(
        evidence.east_m,
        evidence.north_m,
        evidence.up_m,
        evidence.vegetated,
        evidence.survey_rmse_h_m,
        evidence.survey_rmse_v_m,
    )
    return [
        figure
        for figure in found
        if figure.n and figure.statistic in _FIGURES and not figure.survey_error_included
    ]


# --- numbers --------------------------------------------------------------------------------------------


def round_number(value: float) -> float:
    """Give the nearest of 1, 2 and 5 times a power of ten, nearest by ratio; 1 for what is not above 0."""
    if not value > 0.0 or not math.isfinite(value):
        return 1.0
    power = math.floor(math.log10(value))
    candidates = [float(f"{m}e{power + p}") for p in (0, 1) for m in (1, 2, 5)]
    return min(candidates, key=lambda c: abs(math.log(c / value)))


def _ranks(n: int) -> NDArray[np.intp]:
    """Give ranks from 0 to n - 1, at most `MOST_SHOWN` of them, the first and last always."""
    if n <= MOST_SHOWN:
        return np.arange(n)
    return np.round(np.linspace(0, n - 1, MOST_SHOWN)).astype(np.intp)


def _rounded(value: float) -> float:
    return round(float(value), _DECIMALS) + 0.0


def _list(values: Vector) -> list[float]:
    return [_rounded(v) for v in values]
