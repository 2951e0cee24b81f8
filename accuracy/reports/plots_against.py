"""Plots of the residuals against what might explain them: height, ground, flight line, order, cover."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from accuracy.reports.plots_canvas import (
    COVER_LOOKS,
    FAINT,
    INK,
    Sheet,
    Subject,
    clipped,
    counted,
    grid,
    heavy,
    limit_lines,
    signs,
    zero_line,
)
from accuracy.residuals import ResidualRow

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: Points named in each panel: those of the largest residuals.
NAMED = 3

#: Flight lines drawn at most; the note tells how many there are.
MOST_LINES = 40

Of = Callable[[ResidualRow], float | None]


def _up(row: ResidualRow, axis: str) -> float | None:
    value: float | None = getattr(row.residual, f"{axis}_m") if row.residual else None
    return value


def against_height(subject: Subject) -> Figure | None:
    """Draw residuals against the surveyed height."""
    of: Of = lambda row: (  # noqa: E731 - one of a row of like functions
        None if row.surveyed.up_m is None else subject.shown(row.surveyed.up_m)
    )
    return _against(subject, of, "height", subject.label("Surveyed height"), subject.axes)


def against_slope(subject: Subject) -> Figure | None:
    """Draw height residuals against the slope of the ground in the deliverable."""
    of: Of = lambda row: row.support.slope_deg if row.support else None  # noqa: E731 - the same
    return _against(subject, of, "slope", "Slope of the ground in degrees", subject.axes)


def against_roughness(subject: Subject) -> Figure | None:
    """Draw height residuals against the roughness of the ground in the deliverable."""

    def of(row: ResidualRow) -> float | None:
        known = row.support is not None and row.support.roughness_m is not None
        return subject.shown(row.support.roughness_m) if known else None  # type: ignore[union-attr, arg-type]  # known

    label = subject.label("Roughness (spread about a fitted plane)")
    return _against(subject, of, "roughness", label, subject.axes)


def against_base(subject: Subject) -> Figure | None:
    """Draw residuals against the distance from the base of the flight."""
    known = subject.series.get("from_base")
    if not known:
        return None
    distances_m = dict(zip(known["ids"], known["distance_m"], strict=True))

    def of(row: ResidualRow) -> float | None:
        value = distances_m.get(row.id)
        return None if value is None else subject.shown(value)

    label = subject.label("Horizontal distance from the base")
    return _against(subject, of, "distance from the base", label, subject.axes)


def against_order(subject: Subject) -> Figure | None:
    """Draw residuals in the order of the table of checkpoints, where they are usually surveyed in order."""
    return _against(
        subject,
        lambda row: float(row.line) if row.line else None,
        "order of survey",
        "Line in the table of checkpoints",
        subject.axes,
        "The order of the table stands for the order of survey.",
    )


def _against(
    subject: Subject, of: Of, what: str, label: str, axes_names: Sequence[str], *notes: str
) -> Figure | None:
    """Draw one panel for each axis, one above the other, over the same quantity."""
    pairs = {
        axis: [
            (row, x, y)
            for row in subject.dataset.residuals
            if row.used and (x := of(row)) is not None and (y := _up(row, axis)) is not None
        ]
        for axis in axes_names
    }
    drawn = [axis for axis in axes_names if pairs[axis]]
    if not drawn:
        return None
    sheet = Sheet(f"Residual against {what}: {clipped(subject.dataset.name)}")
    high = 2.1 if len(drawn) == 1 else 1.35
    for i, axis in enumerate(drawn):
        axes = sheet.panel((0.95, 0.6 + i * (high + 0.35), 6.1, high))
        _scatter(axes, subject, pairs[axis])
        name = f"{axis} residual".capitalize()
        axes.set_ylabel(f"{name}\nin {subject.unit.print_name}")
        axes.tick_params(labelbottom=axis == drawn[-1])
        axes.set_title(_count(pairs[axis]), loc="left")
        if axis == drawn[-1]:
            axes.set_xlabel(label)
        zero_line(axes, vertical=False)
        limit_lines(axes, subject, axis, vertical=False)
        sheet.legend_of(axes)
    return sheet.finish(signs(drawn), *notes)


def _count(pairs: Sequence[tuple[ResidualRow, float, float]]) -> str:
    counts = {cover: sum(row.cover == cover for row, _, _ in pairs) for cover in COVER_LOOKS}
    return "n = " + " + ".join(f"{count} {cover}" for cover, count in counts.items() if count)


def _scatter(
    axes: Axes, subject: Subject, pairs: Sequence[tuple[ResidualRow, float, float]]
) -> None:
    for cover, (colour, marker, filled) in COVER_LOOKS.items():
        its = [(x, y) for row, x, y in pairs if row.cover == cover]
        if its:
            axes.plot(
                [x for x, _ in its],
                subject.column([y for _, y in its]),
                linestyle="none",
                marker=marker,
                markersize=4 if len(pairs) <= 1000 else 2.5,
                markeredgecolor=colour,
                markerfacecolor=colour if filled else "none",
                label=cover,
                rasterized=heavy(len(pairs)),
            )
    for row, x, y in sorted(pairs, key=lambda pair: -abs(pair[2]))[:NAMED]:
        axes.annotate(
            clipped(row.id, 16),
            (x, subject.shown(y)),
            xytext=(5, 0),
            textcoords="offset points",
            va="center",
            fontsize=7.5,
        )


def against_line(subject: Subject) -> Figure | None:
    """Draw, for each flight line, what its own points say at the checkpoints."""
    lines = subject.series.get("by_line", [])
    if not lines:
        return None
    shown = lines[:MOST_LINES]
    sheet = Sheet(f"Residual by flight line: {clipped(subject.dataset.name)}")
    axes = sheet.panel((0.78, 0.42, 6.25, 2.3))
    for place, line in enumerate(shown):
        count = len(line["up_m"])
        axes.plot(
            [place + _jitter(i) for i in range(count)],
            subject.column(line["up_m"]),
            linestyle="none",
            marker="os^Dv"[place % 5],
            markersize=3.5,
            markeredgecolor=INK,
            markerfacecolor="none",
            markeredgewidth=0.8,
            rasterized=heavy(count),
        )
        axes.hlines(
            subject.shown(line["median_m"]),
            place - 0.38,
            place + 0.38,
            color=INK,
            linewidth=2.0,
            label="median of a line",
        )
    labels = [f"{line['line']}\nn = {len(line['up_m'])}" for line in shown]
    small = 8.5 if len(shown) <= 10 else 6.5
    axes.set_xticks(
        range(len(shown)), labels, fontsize=small, rotation=0 if len(shown) <= 20 else 90
    )
    axes.set_xlim(-0.6, len(shown) - 0.4)
    axes.set_xlabel("Flight line, with the number of checkpoints it has points at")
    axes.set_ylabel(subject.label("Up residual"))
    zero_line(axes, vertical=False)
    limit_lines(axes, subject, "up", vertical=False)
    sheet.legend_of(axes)
    notes = ["Height from the points of one line alone, minus surveyed. " + signs(["up"])]
    if len(lines) > MOST_LINES:
        notes.append(f"The first {MOST_LINES} of {len(lines)} lines are drawn.")
    return sheet.finish(*notes, ticks_in=0.62 if len(shown) <= 20 else 0.95)


def by_cover(subject: Subject) -> Figure | None:
    """Draw the residuals by land cover, with median and 95th percentile."""
    if not subject.axes:
        return None
    sheet = Sheet(f"Residual by land cover: {clipped(subject.dataset.name)}")
    for axis, place in zip(subject.axes, grid(len(subject.axes), 2.3), strict=True):
        axes = sheet.panel(place)
        curves = subject.series["curves"][axis]
        names = [cover for cover in COVER_LOOKS if cover in curves]
        for at, cover in enumerate(names):
            _strip(axes, subject, axis, cover, at, curves[cover])
        labels = [f"{cover}\nn = {curves[cover]['n']}" for cover in names]
        axes.set_xticks(range(len(names)), labels)
        axes.set_xlim(-0.6, len(names) - 0.4)
        axes.set_ylabel(subject.label(f"{axis} residual".capitalize()))
        axes.set_title(counted(curves), loc="left")
        zero_line(axes, vertical=False)
        limit_lines(axes, subject, axis, vertical=False)
        sheet.legend_of(axes)
    return sheet.finish(signs(subject.axes))


def _strip(axes: Axes, subject: Subject, axis: str, cover: str, place: int, curve: Any) -> None:
    colour, marker, filled = COVER_LOOKS[cover]
    values = [
        value
        for row in subject.dataset.residuals
        if row.used and row.cover == cover and (value := _up(row, axis)) is not None
    ]
    axes.plot(
        [place + _jitter(i) for i in range(len(values))],
        subject.column(values),
        linestyle="none",
        marker=marker,
        markersize=4 if len(values) <= 1000 else 2.5,
        markeredgecolor=colour,
        markerfacecolor=colour if filled else "none",
        rasterized=heavy(len(values)),
    )
    axes.hlines(
        subject.shown(curve["median_m"]),
        place - 0.4,
        place + 0.4,
        INK,
        linewidth=2.0,
        label="median",
    )
    p95 = subject.shown(curve["marks"]["p95"])
    axes.hlines(
        [-p95, p95],
        place - 0.4,
        place + 0.4,
        FAINT,
        linewidth=1.6,
        linestyle=(0, (4, 1.5)),
        label="± 95th percentile of the absolute residuals",
    )


def _jitter(i: int) -> float:
    """Spread marks sideways, the same every time: multiples of the golden ratio fill a strip evenly."""
    return ((i * 0.6180339887) % 1.0 - 0.5) * 0.5
