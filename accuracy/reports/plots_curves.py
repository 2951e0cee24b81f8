"""Plots of how the residuals are distributed: histogram, normal quantiles, cumulative error, by cover."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from accuracy.reports.plots_canvas import (
    BLUE,
    COVER_LOOKS,
    FAINT,
    GREEN,
    INK,
    ORANGE,
    SIGN,
    Subject,
    clipped,
    columns,
    counted,
    limit_lines,
    panel,
    sheet,
    zero_line,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_RESIDUAL = "Residual = measured − surveyed"


def _signs(subject: Subject) -> str:
    return f"{_RESIDUAL}; " + "; ".join(f"{axis}: {SIGN[axis]}" for axis in subject.axes) + "."


def histogram(subject: Subject) -> Figure | None:
    """Draw counts by size of residual, by cover, with the normal curve and the limits."""
    if not subject.axes:
        return None
    figure = sheet(
        3.75,
        f"How often which residual: {clipped(subject.dataset.name)}",
        _signs(subject),
    )
    for axis, (left, width) in zip(subject.axes, columns(len(subject.axes)), strict=True):
        _one_histogram(panel(figure, left, 1.32, width, 1.95), subject, axis)
    return figure


def _one_histogram(axes: Axes, subject: Subject, axis: str) -> None:
    import numpy as np

    curves = subject.series["curves"][axis]
    edges = subject.column(curves["all"]["histogram"]["edges_m"])
    base = np.zeros(len(edges) - 1)
    looks = {"non-vegetated": (BLUE, None), "vegetated": ("none", "////")}
    for cover, (colour, hatch) in looks.items():
        if cover not in curves:
            continue
        counts = np.array(curves[cover]["histogram"]["counts"])
        axes.bar(
            edges[:-1],
            counts,
            np.diff(edges),
            bottom=base,
            align="edge",
            color=colour,
            edgecolor=INK if hatch else "white",
            hatch=hatch,
            linewidth=0.6,
            label=cover,
        )
        base = base + counts
    main = "non-vegetated" if "non-vegetated" in curves else "all"
    normal = curves[main]["histogram"]["normal"]
    if normal is not None:
        axes.plot(
            subject.column(normal["x_m"]),
            normal["count"],
            color=INK,
            linewidth=1.2,
            label=f"normal curve of the {main} points' mean and std",
        )
    axes.set_xlabel(subject.label(f"{axis} residual".capitalize()))
    axes.set_ylabel("Points in a bin")
    axes.yaxis.get_major_locator().set_params(integer=True)
    zero_line(axes, vertical=True)
    limit_lines(axes, subject, axis, vertical=True)
    axes.set_title(counted(curves), loc="left")
    for key, side, place in (("below", "left", 0.0), ("above", "right", 1.0)):
        beyond = curves["all"]["histogram"][key]
        if beyond:
            arrow = f"◀ {beyond} beyond" if key == "below" else f"{beyond} beyond ▶"
            axes.text(place, 0.97, arrow, transform=axes.transAxes, ha=side, va="top")
    axes.legend(loc="upper left", bbox_to_anchor=(-0.02, -0.27), borderaxespad=0.0)


def normal_quantiles(subject: Subject) -> Figure | None:
    """Draw ordered residuals against what a normal distribution would give."""
    drawn = [a for a in subject.axes if subject.series["curves"][a]["all"]["quantiles"]]
    if not drawn:
        return None
    figure = sheet(
        3.95,
        f"Are the residuals normal? {clipped(subject.dataset.name)}",
        f"{_signs(subject)}\nPoints on a line are as a normal distribution would have them; "
        "ends that bend away are heavy tails or blunders.",
    )
    for axis, (left, width) in zip(drawn, columns(len(drawn)), strict=True):
        axes = panel(figure, left, 1.4, width, 2.05)
        curves = subject.series["curves"][axis]
        for cover in COVER_LOOKS:
            if cover in curves and curves[cover]["quantiles"]:
                _quantile_points(axes, subject, curves[cover], cover)
        axes.set_xlabel("Expected of a standard normal distribution")
        axes.set_ylabel(subject.label(f"{axis} residual".capitalize()))
        zero_line(axes, vertical=False)
        limit_lines(axes, subject, axis, vertical=False)
        axes.set_title(counted(curves), loc="left")
        axes.legend(loc="upper left", bbox_to_anchor=(-0.02, -0.24), borderaxespad=0.0, ncols=2 if len(drawn) == 1 else 1)
    return figure


def _quantile_points(axes: Axes, subject: Subject, curve: Any, cover: str) -> None:
    colour, marker, filled = COVER_LOOKS[cover]
    pairs = curve["quantiles"]
    axes.plot(
        pairs["expected"],
        subject.column(pairs["observed_m"]),
        linestyle="none",
        marker=marker,
        markersize=4,
        markeredgecolor=colour,
        markerfacecolor=colour if filled else "none",
        label=cover,
    )
    ends = (pairs["expected"][0], pairs["expected"][-1])
    for middle, spread, style, name in (
        ("mean_m", "std_m", "-", "mean and std"),
        ("median_m", "nmad_m", ":", "median and NMAD"),
    ):
        axes.axline(
            (0.0, subject.shown(curve[middle])),
            slope=subject.shown(curve[spread]),
            color=colour,
            linestyle=style,
            linewidth=1.0,
            label=f"{cover}: normal of {name}",
        )
    del ends


def cumulative(subject: Subject) -> Figure | None:
    """Draw the share of points whose error is no larger than x, with three percentiles marked."""
    curves = subject.series.get("curves", {})
    shown = [c for c in ("up", "horizontal") if c in curves] or subject.axes
    if not shown:
        return None
    figure = sheet(
        3.85,
        f"What share of the errors is how large: {clipped(subject.dataset.name)}",
        "Size of the error without its sign (up), or length of the horizontal error (east and north together).",
    )
    for component, (left, width) in zip(shown, columns(len(shown)), strict=True):
        axes = panel(figure, left, 1.28, width, 2.1)
        _one_cumulative(axes, subject, component, curves[component])
    return figure


def _one_cumulative(axes: Axes, subject: Subject, component: str, curves: Any) -> None:
    lines = {"non-vegetated": (BLUE, "-", "o"), "vegetated": (GREEN, "--", "^")}
    for cover, (colour, style, marker) in lines.items():
        if cover not in curves:
            continue
        curve = curves[cover]
        axes.plot(
            subject.column(curve["cumulative"]["abs_m"]),
            [100.0 * share for share in curve["cumulative"]["share"]],
            color=colour,
            linestyle=style,
            linewidth=1.3,
        )
        marks = curve["marks"]
        told = ", ".join(f"{name[1:]} %: {subject.text(v)}" for name, v in marks.items())
        axes.plot(
            subject.column(list(marks.values())),
            [_SHARES[name] for name in marks],
            color=colour,
            linestyle=style,
            linewidth=0.0,
            marker=marker,
            markersize=5,
            markerfacecolor=colour if cover == "non-vegetated" else "none",
            label=f"{cover} (n = {curve['n']}): {told}",
        )
    for share in _SHARES.values():
        axes.axhline(share, color=FAINT, linewidth=0.5, linestyle=":", zorder=0.5)
    axes.set_ylim(0, 103)
    axes.set_xlim(left=0)
    axes.set_yticks([0, 25, 50, *_SHARES.values(), 100], ["0", "25", "50", "68", "90", "95", "100"])
    axes.set_xlabel(subject.label(f"{component} error, absolute".capitalize()))
    axes.set_ylabel("Points up to it, percent")
    limit_lines(axes, subject, component, vertical=True, signed=False)
    axes.legend(loc="upper left", bbox_to_anchor=(-0.02, -0.23), borderaxespad=0.0)


_SHARES = {"p68": 68.3, "p90": 90.0, "p95": 95.0}
_UNUSED = ORANGE
