"""Curves of the residuals of one dataset: histograms, normal quantiles, cumulative errors, flight lines."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from accuracy.residuals import ResidualRow
from accuracy.series.numbers import listed, ranks_shown, round_number, rounded
from accuracy.standards.judge import Evidence
from accuracy.stats import Component, Cover, abs_percentile, mean, median, nmad, std

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Vector = NDArray[np.float64]

#: Name of the mark and percentile of the absolute error. 68.3 is that of the figure ``p68_abs``.
MARKS: Mapping[str, float] = {"p68": 68.3, "p90": 90.0, "p95": 95.0}

_GROUPS: tuple[Cover, ...] = ("all", "non-vegetated", "vegetated")


def component_curves(evidence: Evidence, component: Component) -> dict[str, Any]:
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
            "mean_m": rounded(mean(values_m)),
            "std_m": rounded(std(values_m)) if len(values_m) > 1 else None,
            "median_m": rounded(median(values_m)),
            "nmad_m": rounded(nmad(values_m)) if signed and len(values_m) > 1 else None,
            "histogram": None if edges_m is None else histogram(values_m, edges_m),
            "quantiles": quantiles(values_m) if signed and len(values_m) > 1 else None,
            "cumulative": cumulative(values_m),
            "marks": {
                name: rounded(abs_percentile(values_m, share)) for name, share in MARKS.items()
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
    return np.asarray(np.arange(first, last + 1) * width_m, dtype=np.float64)


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
            "x_m": listed(x_m),
            "count": [float(f"{v:.5g}") for v in len(values_m) * width_m * density],
        }
    return {
        "edges_m": listed(edges_m),
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
    ranks = ranks_shown(n)
    expected = ndtri((ranks + 1 - 0.375) / (n + 0.25))
    return {
        "expected": [round(float(z), 5) for z in expected],
        "observed_m": listed(np.sort(values_m)[ranks]),
    }


def cumulative(values_m: Vector) -> dict[str, Any]:
    """Order the absolute errors, with the share of points up to each.

    The share of the i-th of n is (i - 1) / (n - 1), so that the percentiles of
    `accuracy.stats.abs_percentile`, linear rank (P/100)(N-1)+1, lie on the line.
    """
    n = len(values_m)
    ranks = ranks_shown(n)
    share = ranks / (n - 1) if n > 1 else np.ones(1)
    return {
        "abs_m": listed(np.sort(abs(values_m))[ranks]),
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
            "up_m": [rounded(up_m) for _, up_m in pairs],
            "median_m": rounded(median(np.array([up_m for _, up_m in pairs]))),
        }
        for line, pairs in sorted(found.items())
    ]
