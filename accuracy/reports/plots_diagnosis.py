"""The evidence of a diagnosis: residuals against what the cause predicts, row by row."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from accuracy.reports.plots_canvas import (
    BLUE,
    GREEN,
    INK,
    ORANGE,
    PURPLE,
    Sheet,
    Subject,
    clipped,
    grid,
    heavy,
    zero_line,
)
from accuracy.reports.words import printable

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: Looks of the first flight lines; the others share one.
_LOOKS = ((BLUE, "o"), (ORANGE, "s"), (GREEN, "D"), (PURPLE, "^"), (BLUE, "v"), (GREEN, "P"))
_OTHERS = (INK, "x")
_ORDER = ("east", "north", "up")
#: Predictions that differ by less than this share of their size are alike.
ALIKE = 0.25


def diagnosis(subject: Subject) -> Figure | None:
    """Draw a panel for each axis; None where no cause is listed."""
    record = subject.result.diagnosis.get(subject.dataset.name) or {}
    evidence = record.get("evidence")
    if not evidence or not evidence["axes"]:
        return None
    axes_of = [axis for axis in _ORDER if axis in evidence["axes"]]
    names = printable(" + ".join(evidence["causes"]))
    sheet = Sheet(f"Residuals against the cause: {clipped(subject.dataset.name)}")
    lines = sorted(
        {line for axis in axes_of for line in evidence["axes"][axis]["lines"] if line is not None}
    )
    for axis, place in zip(axes_of, grid(len(axes_of), 2.35), strict=True):
        panel = sheet.panel(place)
        _panel(panel, subject, axis, evidence["axes"][axis], lines)
        sheet.legend_of(panel)
    named = record["conclusion"] == "named"
    return sheet.finish(
        f"Cause: {names}, {'named by the rule' if named else 'the first of those that are consistent'}. On the "
        "black line the residual is what the cause predicts; on the grey line it is as if there were no cause.",
        "Residual = measured − surveyed. Nothing was corrected.",
    )


def _panel(axes: Axes, subject: Subject, axis: str, record: Any, lines: list[int]) -> None:
    predicted = subject.column(
        [v if v is not None else float("nan") for v in record["predicted_m"]]
    )
    residual = subject.column([v if v is not None else float("nan") for v in record["residual_m"]])
    raster = heavy(len(residual))
    low, high = float(min(predicted.min(), 0.0)), float(max(predicted.max(), 0.0))
    # A cause that moves all rows alike would stand in one column: then they are drawn in their order.
    alike = float(np.ptp(predicted)) < ALIKE * (high - low)
    across = np.arange(1.0, len(residual) + 1.0) if alike else predicted
    groups = [*lines[: len(_LOOKS)], None]
    for number, line in enumerate(groups):
        its = [
            i
            for i, of in enumerate(record["lines"])
            if of == line or (line is None and (of is None or of in lines[len(_LOOKS) :]))
        ]
        if not its:
            continue
        colour, marker = _LOOKS[number] if line is not None else (_OTHERS if lines else _LOOKS[0])
        label = f"flight line {line}" if line is not None else ("other lines" if lines else "point")
        axes.plot(
            across[its],
            residual[its],
            linestyle="none",
            marker=marker,
            markersize=3.6,
            markeredgecolor=colour,
            markerfacecolor="none",
            markeredgewidth=0.8,
            label=label,
            rasterized=raster,
        )
    zero_line(axes, vertical=False)
    if alike:
        axes.plot(across, predicted, color=INK, linewidth=1.1, label="as the cause predicts")
        axes.set_xlabel("Rows in their order")
    else:
        margin = 0.08 * (high - low) or subject.shown(0.01)
        ends = [low - margin, high + margin]
        axes.plot(ends, ends, color=INK, linewidth=1.1, label="as the cause predicts")
        axes.set_xlim(*ends)
        axes.set_xlabel(subject.label("Predicted by the cause,"))
    axes.set_title(f"{axis}, n = {len(residual)}", loc="left")
    axes.set_ylabel(subject.label("Residual,"))
