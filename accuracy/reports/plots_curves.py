"""Plots of how the residuals are distributed: histogram, normal quantiles, cumulative error, by cover."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from accuracy.reports.plots_canvas import (
    BLUE,
    COVER_LOOKS,
    FAINT,
    GREEN,
    INK,
    Sheet,
    Subject,
    clipped,
    counted,
    grid,
    limit_lines,
    signs,
    zero_line,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def histogram(subject: Subject) -> Figure | None:
    """Draw counts by size of residual, by cover, with the normal curve and the limits."""
    if not subject.axes:
        return None
    sheet = Sheet(f"How often which residual: {clipped(subject.dataset.name)}")
    for axis, place in zip(subject.axes, grid(len(subject.axes), 2.0), strict=True):
        axes = sheet.panel(place)
        _one_histogram(axes, subject, axis)
        sheet.legend_of(axes)
    return sheet.finish(signs(subject.axes))


def _one_histogram(axes: Axes, subject: Subject, axis: str) -> None:
    import numpy as np
    from matplotlib.ticker import MaxNLocator

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
    axes.yaxis.set_major_locator(MaxNLocator(6, integer=True))
    zero_line(axes, vertical=True)
    limit_lines(axes, subject, axis, vertical=True)
    axes.set_title(counted(curves), loc="left")
    for key, side, place in (("below", "left", 0.0), ("above", "right", 1.0)):
        beyond = curves["all"]["histogram"][key]
        if beyond:
            arrow = f"◀ {beyond} beyond" if key == "below" else f"{beyond} beyond ▶"
            axes.text(place, 0.97, arrow, transform=axes.transAxes, ha=side, va="top")


def normal_quantiles(subject: Subject) -> Figure | None:
    """Draw ordered residuals against what a normal distribution would give."""
    drawn = [a for a in subject.axes if subject.series["curves"][a]["all"]["quantiles"]]
    if not drawn:
        return None
    sheet = Sheet(f"Are the residuals normal? {clipped(subject.dataset.name)}")
    for axis, place in zip(drawn, grid(len(drawn), 2.2), strict=True):
        axes = sheet.panel(place)
        curves = subject.series["curves"][axis]
        for cover in COVER_LOOKS:
            if cover in curves and curves[cover]["quantiles"]:
                _quantile_points(axes, subject, curves[cover], cover)
        axes.set_xlabel("Standard normal quantile of the rank")
        axes.set_ylabel(subject.label(f"{axis} residual".capitalize()))
        zero_line(axes, vertical=False)
        limit_lines(axes, subject, axis, vertical=False)
        axes.set_title(counted(curves), loc="left")
        sheet.legend_of(axes)
    return sheet.finish(
        signs(drawn),
        "Points along a line are as a normal distribution has them; ends that bend away are heavy tails or "
        "blunders.",
    )


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


def cumulative(subject: Subject) -> Figure | None:
    """Draw the share of points whose error is no larger than x, with three percentiles marked."""
    curves = subject.series.get("curves", {})
    shown = [c for c in ("up", "horizontal") if c in curves] or subject.axes
    if not shown:
        return None
    sheet = Sheet(f"What share of the errors is how large: {clipped(subject.dataset.name)}")
    for component, place in zip(shown, grid(len(shown), 2.4, 0.42), strict=True):
        axes = sheet.panel(place)
        _one_cumulative(axes, subject, component, curves[component], len(shown) > 1)
        sheet.legend_of(axes)
    told = {
        "up": "Up: size of the height residual, measured − surveyed, without its sign.",
        "horizontal": "Horizontal: length of the residual, measured − surveyed, of east and north together.",
    }
    return sheet.finish(*(told.get(c, f"{c}: size of the residual.") for c in shown))


def _one_cumulative(
    axes: Axes, subject: Subject, component: str, curves: Any, several: bool
) -> None:
    lines = {"non-vegetated": (BLUE, "-", "o"), "vegetated": (GREEN, "--", "D")}
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
            label=f"{component + ', ' if several else ''}{cover} (n = {curve['n']}): {told}",
        )
    for share in _SHARES.values():
        axes.axhline(share, color=FAINT, linewidth=0.5, linestyle=":", zorder=0.5)
    axes.set_ylim(0, 103)
    axes.set_xlim(left=0)
    axes.set_yticks([0, 25, 50, *_SHARES.values()], ["0", "25", "50", "68", "90", "95"])
    axes.set_xlabel(
        subject.label(
            "Horizontal error" if component == "horizontal" else f"Absolute {component} error"
        )
    )
    axes.set_ylabel("Points up to it, percent")
    limit_lines(axes, subject, component, vertical=True, signed=False)


_SHARES = {"p68": 68.3, "p90": 90.0, "p95": 95.0}
