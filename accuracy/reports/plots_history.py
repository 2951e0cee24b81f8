"""The RMSE of recorded runs over time, one panel for each site, sensor, dataset, component and cover."""

from __future__ import annotations

from collections.abc import Sequence

from accuracy.reports.history_views import Line
from accuracy.reports.plots_canvas import BLUE, ORANGE, Sheet, clipped, grid, styled, svg

_MARKS = {"passes": ("o", BLUE), "fails": ("X", ORANGE)}


def draw(lines: Sequence[Line]) -> bytes:
    """Give the drawing as SVG on white. Runs stand in the order of time, at equal distances."""
    with styled("history"):
        sheet = Sheet("RMSE of the recorded runs, in metres")
        shown = [
            line for line in lines if any(figure.rmse_m is not None for _, figure in line.points)
        ]
        for line, place in zip(shown, grid(len(shown), 1.7) if shown else (), strict=True):
            axes = sheet.panel(place)
            most = 44 if len(shown) > 1 else 100
            cover = "" if line.cover == "all" else f", {line.cover}"
            place_name = ", ".join(filter(None, (line.site, line.sensor))) or "no site named"
            what = f"{clipped(line.dataset, most - 24)}: {line.component}{cover}"
            axes.set_title(f"{clipped(place_name, most)}\n{what}", loc="left")
            points = [(entry, its.rmse_m) for entry, its in line.points if its.rmse_m is not None]
            at = range(len(points))
            axes.plot(at, [value for _, value in points], "-", color=BLUE, linewidth=0.9)
            for verdict in ("passes", "fails", "other"):
                mark, colour = _MARKS.get(verdict, ("s", "#555555"))
                its = [
                    (i, value)
                    for i, (entry, value) in enumerate(points)
                    if _verdict(entry.claims, line.dataset) == verdict
                ]
                if its:
                    label = "no verdict" if verdict == "other" else f"claim {verdict}"
                    axes.plot(*zip(*its, strict=True), mark, color=colour, label=label)
            every = max(1, len(points) // 8)
            axes.set_xticks(list(at)[::every], [str(entry.number) for entry, _ in points][::every])
            axes.set_xlabel("run")
            axes.set_ylim(bottom=0.0)
            sheet.legend_of(axes)
        if not shown:
            axes = sheet.panel(grid(1, 1.0)[0])
            axes.text(0.5, 0.5, "no run fits", ha="center", transform=axes.transAxes)
            axes.set_axis_off()
        figure = sheet.finish()
        return svg(figure, "RMSE of the recorded runs", "white").encode("utf-8")


def _verdict(claims: Sequence[tuple[str, str, str]], dataset: str) -> str:
    verdicts = {verdict for name, _, verdict in claims if name == dataset}
    if "fails" in verdicts:
        return "fails"
    return "passes" if verdicts == {"passes"} else "other"
