"""The paired plot: the error at each checkpoint in every run, joined by a line, and the RMSE of each run."""

from __future__ import annotations

from typing import TYPE_CHECKING

from accuracy.comparison_record import Comparison, Group
from accuracy.reports.comparison_text import OUTCOME_WORDS, run_names, what
from accuracy.reports.plots_canvas import (
    BLUE,
    FAINT,
    INK,
    ORANGE,
    Sheet,
    clipped,
    grid,
    styled,
    svg,
)
from accuracy.reports.words import length
from accuracy.units import from_metres

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

TITLE = "Errors at the same checkpoints"
SHOWS = "the size of the error at each common checkpoint in every run, and the RMSE of each run"

#: Beyond so many points the lines are faint.
_MANY = 60


def render(comparison: Comparison) -> str:
    """Give the paired plots of all groups as one SVG on white."""
    with styled("comparison"):
        return svg(draw(comparison, comparison.groups), f"{TITLE}: {SHOWS}.", "white")


def group_svg(comparison: Comparison, group: Group) -> str | None:
    """Give the paired plot of one group; None where nothing is common."""
    if not group.ids:
        return None
    with styled("comparison"):
        return svg(draw(comparison, (group,)), f"{what(group)}. {TITLE}: {SHOWS}.", None)


def draw(comparison: Comparison, groups: tuple[Group, ...]) -> Figure:
    """Draw one panel for each group that has common checkpoints."""
    unit = comparison.display_units
    shown = [group for group in groups if group.ids]
    sheet = Sheet(TITLE)
    names = run_names(comparison)
    for group, place in zip(shown, grid(len(shown), 2.5) if shown else (), strict=True):
        axes = sheet.panel(place)
        name, _, rest = what(group).rpartition(": ")
        most = 44 if len(shown) > 1 else 100
        axes.set_title(f"{clipped(name, most)}\n{rest}, n = {len(group.ids)}", loc="left")
        _lines(axes, comparison, group)
        axes.set_xticks(range(len(names)), list(names))
        axes.set_xlim(-0.4, len(names) - 0.6)
        axes.set_ylim(bottom=0.0)
        axes.set_ylabel(f"size of the error in {unit.print_name}")
        sheet.legend_of(axes)
    if not shown:
        axes = sheet.panel(grid(1, 1.0)[0])
        axes.text(0.5, 0.5, "no common checkpoint", ha="center", transform=axes.transAxes)
        axes.set_axis_off()
    notes = [
        f"{name}: {clipped(run.label, 90)}"
        for name, run in zip(names, comparison.runs, strict=True)
    ]
    notes += [f"{clipped(what(group), 58)}: {_verdicts(comparison, group)}" for group in shown]
    return sheet.finish(*notes)


def _lines(axes: Axes, comparison: Comparison, group: Group) -> None:
    unit = comparison.display_units
    places = range(len(comparison.runs))
    sizes = [[from_metres(abs(value), unit) for value in run] for run in group.residuals_m]
    alpha = 0.25 if len(group.ids) > _MANY else 0.55
    for i, point in enumerate(zip(*sizes, strict=True)):
        label = "one checkpoint" if i == 0 else None
        axes.plot(
            places, point, "-", color=FAINT, linewidth=0.7, alpha=alpha, label=label, zorder=1
        )
    for place, values in zip(places, sizes, strict=True):
        axes.plot([place] * len(values), values, ".", color=BLUE, markersize=3.2, zorder=2)
    rmse_m = {pair.before: pair.rmse_before_m for pair in group.pairs}
    rmse_m |= {pair.after: pair.rmse_after_m for pair in group.pairs}
    its = [from_metres(rmse_m[place], unit) for place in places]
    axes.plot(
        places, its, "D", color=ORANGE, markersize=7, markeredgecolor=INK, label="RMSE", zorder=3
    )
    letters = {rank.run: rank.letters for rank in group.ranking}
    for place, value in zip(places, its, strict=True):
        text = " ".join(filter(None, (f"{value:.3f}", letters.get(place))))
        axes.annotate(text, (place, value), xytext=(8, 0), textcoords="offset points", va="center")


def _verdicts(comparison: Comparison, group: Group) -> str:
    names = run_names(comparison)
    if len(names) == 2:
        (pair,) = group.pairs
        told = f"{OUTCOME_WORDS[pair.outcome]}; change of the RMSE "
        return told + length(pair.change_m, comparison.display_units, decimals=4, sign=True)
    return "runs with a common letter are not shown to differ" if group.ranking else "no verdict"
