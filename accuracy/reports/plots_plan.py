"""The site plan: where the points are, and which way and how far the deliverable is off at each."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from accuracy.reports.pictures import Relief, relief_of
from accuracy.reports.plots_canvas import (
    BLUE,
    FAINT,
    GREEN,
    INK,
    ORANGE,
    PURPLE,
    WIDTH_IN,
    Sheet,
    Subject,
    clipped,
    heavy,
)
from accuracy.reports.plots_scale import Places, draw_scales, size_m, stretch
from accuracy.residuals import Position, ResidualRow

if TYPE_CHECKING:
    import numpy as np
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    Vector = NDArray[np.float64]

#: Group of points: marker, filled, colour, name.
_GROUPS = {
    "non-vegetated": ("o", True, BLUE, "checkpoint, non-vegetated"),
    "vegetated": ("D", False, GREEN, "checkpoint, vegetated"),
    "silent": ("+", True, INK, "checkpoint without value"),
    "control": ("s", False, INK, "control, never judged"),
    "excluded": ("x", True, PURPLE, "excluded, never judged"),
}

#: Points named on the plan: those of the largest residuals.
NAMED = 5


def _places(subject: Subject, rows: Sequence[ResidualRow]) -> Places:
    import numpy as np

    metric = all(row.surveyed.east_m is not None for row in rows)
    if metric:
        east = [row.surveyed.east_m for row in rows]
        north = [row.surveyed.north_m for row in rows]
        return Places(
            subject.column(np.array(east, float)), subject.column(np.array(north, float)), True
        )
    east = [row.native["easting"] for row in rows]
    north = [row.native["northing"] for row in rows]
    x, y = np.array(east, float), np.array(north, float)
    return Places(x, y, False, 1.0 / max(math.cos(math.radians(float(y.mean()))), 0.01))


def _group(row: ResidualRow) -> str:
    if row.role != "checkpoint":
        return row.role
    return row.cover if row.used else "silent"


def site_plan(subject: Subject) -> Figure | None:
    """Draw the plan: one panel for horizontal residuals, one for heights, side by side where both are."""
    rows = [
        row
        for row in subject.dataset.residuals
        if row.surveyed.east_m is not None or row.native.get("easting") is not None
    ]
    if not rows:
        return None
    places = _places(subject, rows)
    parts = [p for p in ("horizontal", "vertical") if any(_has(row, p) for row in rows)]
    parts = parts or ["none"]
    boxes = _boxes(subject, places)
    window = _window(places, boxes, _tips(subject, rows, places, parts))
    wide = (WIDTH_IN - 0.95 - 0.85 * (len(parts) - 1)) / len(parts)
    ratio = (window[3] - window[2]) / (window[1] - window[0]) * places.aspect
    high = min(max(wide * ratio, 1.9), 7.0)
    window = _filling(window, high / wide / places.aspect)
    sheet = Sheet(f"Site plan: {clipped(subject.dataset.name)}")
    plans = [sheet.panel((0.8 + i * (wide + 0.85), 0.42, wide, high)) for i in range(len(parts))]
    _legend(sheet, rows, boxes)
    relief = relief_of(subject.result, subject.dataset.name)
    told = [] if relief is None else [relief.told]
    figure = sheet.finish(*_notes(parts), *told, room_in=0.66)
    for axes, part in zip(plans, parts, strict=True):
        _ground(axes, subject, places, window, boxes, relief)
        _draw(figure, axes, subject, rows, places, part)
    return figure


def _notes(parts: list[str]) -> list[str]:
    told = {
        "horizontal": "Arrows: measured − surveyed; they point to where the deliverable has the place.",
        "vertical": "Bars: measured − surveyed height. Up, filled tip: deliverable too high. "
        "Down, open tip: too low.",
        "none": "No residuals: nothing could be compared.",
    }
    return [told[part] for part in parts]


def _has(row: ResidualRow, part: str) -> bool:
    position = row.residual
    if position is None:
        return False
    if part == "vertical":
        return position.up_m is not None
    return position.east_m is not None and position.north_m is not None


def _boxes(subject: Subject, places: Places) -> list[tuple[float, float, float, float]]:
    found = subject.series.get("footprint", {})
    boxes = found.get("boxes_m" if places.metric else "boxes_native", [])
    return [tuple(subject.shown(v) if places.metric else v for v in box) for box in boxes]  # type: ignore[misc]  # four of them


def _tips(
    subject: Subject, rows: Sequence[ResidualRow], places: Places, parts: Sequence[str]
) -> list[tuple[float, float, float, float]]:
    """Give boxes around the tips of arrows and bars, as far as their length is known beforehand."""
    import numpy as np

    plan = subject.series.get("plan")
    if not places.metric or not plan:
        return []
    found = []
    for part in parts:
        its = [row.residual or Position() for row in rows]
        times = subject.shown(float(plan.get(f"exaggeration_{part}", 0.0)))
        flat = part == "horizontal"
        x = places.x + times * np.array([(p.east_m or 0.0) if flat else 0.0 for p in its])
        y = places.y + times * np.array([(p.north_m if flat else p.up_m) or 0.0 for p in its])
        found.append((float(x.min()), float(y.min()), float(x.max()), float(y.max())))
    return found


def _window(
    places: Places,
    boxes: list[tuple[float, float, float, float]],
    tips: list[tuple[float, float, float, float]],
) -> tuple[float, float, float, float]:
    """Give what the plan shows: the points; footprint and tips as far as they are not far away."""
    import numpy as np

    west, east = float(np.nanmin(places.x)), float(np.nanmax(places.x))
    south, north = float(np.nanmin(places.y)), float(np.nanmax(places.y))
    side = max(east - west, north - south) or 1.0
    for box in (*boxes, *tips):
        west = min(west, max(box[0], west - 0.15 * side))
        south = min(south, max(box[1], south - 0.15 * side))
        east = max(east, min(box[2], east + 0.15 * side))
        north = max(north, min(box[3], north + 0.15 * side))
    margin = 0.08 * max(east - west, north - south) or 1.0
    return west - margin, east + margin, south - margin, north + margin


def _filling(
    window: tuple[float, float, float, float], ratio: float
) -> tuple[float, float, float, float]:
    """Widen what is shown until its height is `ratio` times its width, so that no direction is stretched."""
    west, east, south, north = window
    wider = max((north - south) / ratio - (east - west), 0.0) / 2.0
    higher = max((east - west) * ratio - (north - south), 0.0) / 2.0
    return west - wider, east + wider, south - higher, north + higher


def _ground(
    axes: Axes,
    subject: Subject,
    places: Places,
    window: tuple[float, float, float, float],
    boxes: list[tuple[float, float, float, float]],
    relief: Relief | None,
) -> None:
    from matplotlib.patches import Rectangle
    from matplotlib.ticker import MaxNLocator

    shaded = relief is not None and relief.picture is not None and places.metric
    if shaded:
        assert relief is not None
        _lay_relief(axes, subject, relief)
    axes.set_xlim(window[0], window[1])
    axes.set_ylim(window[2], window[3])
    for box in boxes:
        axes.add_patch(
            Rectangle(
                (box[0], box[1]),
                box[2] - box[0],
                box[3] - box[1],
                facecolor=FAINT,
                alpha=0.0 if shaded else 0.13,
                linewidth=0,
            )
        )
        axes.add_patch(
            Rectangle(
                (box[0], box[1]),
                box[2] - box[0],
                box[3] - box[1],
                fill=False,
                edgecolor=FAINT,
                linewidth=0.7,
            )
        )
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
        axis.set_major_formatter("{x:.0f}" if places.metric else "{x:.5f}")
    low, high = axes.get_ylim()
    ticks = [at for at in axes.get_yticks() if low + 0.09 * (high - low) <= at <= high]
    axes.set_yticks(ticks)  # one in the corner would lie on the label of the other axis
    for label in axes.get_yticklabels():
        label.set_rotation(90)
        label.set_verticalalignment("center")
    axes.set_xlabel(subject.label("Easting") if places.metric else "Longitude in degrees")
    axes.set_ylabel(subject.label("Northing") if places.metric else "Latitude in degrees")


def _lay_relief(axes: Axes, subject: Subject, relief: Relief) -> None:
    from matplotlib.image import imread

    west, south, east, north = (subject.shown(v) for v in relief.box_m)
    axes.imshow(
        imread(io.BytesIO(relief.picture or b""), format="png"),
        extent=(west, east, south, north),
        origin="upper",
        aspect="auto",
        interpolation="none",
        zorder=0,
    )


def _draw(
    figure: Figure,
    axes: Axes,
    subject: Subject,
    rows: Sequence[ResidualRow],
    places: Places,
    part: str,
) -> None:
    import numpy as np

    for group, (marker, filled, colour, _) in _GROUPS.items():
        mask = np.array([_group(row) == group for row in rows])
        if mask.any():
            axes.plot(
                places.x[mask],
                places.y[mask],
                linestyle="none",
                marker=marker,
                markersize=3.6 if len(rows) <= 1000 else 2.0,
                markeredgecolor=colour,
                markerfacecolor=colour if filled else "none",
                markeredgewidth=0.9,
                zorder=3,
                rasterized=heavy(len(rows)),
            )
    has = np.array([_has(row, part) for row in rows])
    if part == "none" or not has.any():
        return
    per_metre, exaggeration = stretch(subject, axes, rows, places, part)
    residuals = [row.residual or Position() for row in rows]
    if part == "horizontal":
        _arrows(axes, rows, places, has, residuals, per_metre)
    else:
        _bars(axes, rows, places, has, residuals, per_metre)
    _names(axes, rows, places)
    draw_scales(figure, axes, subject, places, part, per_metre[1], exaggeration)


def _colour(row: ResidualRow) -> str:
    return _GROUPS[_group(row)][2]


def _arrows(
    axes: Axes,
    rows: Sequence[ResidualRow],
    places: Places,
    has: NDArray[np.bool_],
    residuals: list[Position],
    per_metre: tuple[float, float],
) -> None:
    import numpy as np

    u = np.array([(p.east_m or 0.0) * per_metre[0] for p in residuals])
    v = np.array([(p.north_m or 0.0) * per_metre[1] for p in residuals])
    axes.quiver(
        places.x[has],
        places.y[has],
        u[has],
        v[has],
        angles="xy",
        scale_units="xy",
        scale=1.0,
        units="inches",
        width=0.014,
        headwidth=4.5,
        headlength=5.0,
        headaxislength=4.5,
        minlength=0.0,
        color=[_colour(row) for row, its in zip(rows, has, strict=True) if its],
        zorder=2.5,
        rasterized=heavy(len(rows)),
    )


def _bars(
    axes: Axes,
    rows: Sequence[ResidualRow],
    places: Places,
    has: NDArray[np.bool_],
    residuals: list[Position],
    per_metre: tuple[float, float],
) -> None:
    import numpy as np

    up = np.array([(p.up_m or 0.0) for p in residuals])
    tips = places.y + up * per_metre[1]
    for sign, colour, marker, filled in ((1, BLUE, "^", True), (-1, ORANGE, "v", False)):
        mask = has & (up >= 0.0 if sign > 0 else up < 0.0)
        if not mask.any():
            continue
        axes.vlines(
            places.x[mask],
            places.y[mask],
            tips[mask],
            colors=colour,
            linewidth=1.1,
            zorder=2,
            rasterized=heavy(len(rows)),
        )
        axes.plot(
            places.x[mask],
            tips[mask],
            linestyle="none",
            marker=marker,
            markersize=3.6,
            markeredgecolor=colour,
            markerfacecolor=colour if filled else "none",
            markeredgewidth=0.9,
            zorder=2.4,
            rasterized=heavy(len(rows)),
        )


def _names(axes: Axes, rows: Sequence[ResidualRow], places: Places) -> None:
    order = sorted((i for i, row in enumerate(rows) if row.used), key=lambda i: -size_m(rows[i]))
    taken: list[tuple[float, float]] = []
    for i in order[:NAMED]:
        x, y = (float(v) for v in axes.transData.transform((places.x[i], places.y[i])))
        if any(abs(x - a) < 35 and abs(y - b) < 11 for a, b in taken):
            continue  # the name would lie on another
        taken.append((x, y))
        away = rows[i].residual or Position()  # the name stands on the side away from arrow and bar
        left = (away.east_m or 0.0) > 0.0
        above = away.east_m is None and (away.up_m or 0.0) < 0.0
        axes.annotate(
            clipped(rows[i].id, 16),
            (places.x[i], places.y[i]),
            xytext=(-4 if left else 4, 3 if above else -3),
            textcoords="offset points",
            ha="right" if left else "left",
            va="bottom" if above else "top",
            fontsize=7.5,
        )


def _legend(
    sheet: Sheet, rows: Sequence[ResidualRow], boxes: list[tuple[float, float, float, float]]
) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    for group, (marker, filled, colour, name) in _GROUPS.items():
        count = sum(_group(row) == group for row in rows)
        if count:
            handle = Line2D(
                [],
                [],
                linestyle="none",
                marker=marker,
                markersize=4.5,
                markeredgecolor=colour,
                markerfacecolor=colour if filled else "none",
            )
            sheet.add_handle(f"{name} (n = {count})", handle)
    if boxes:
        sheet.add_handle("extent of the files", Patch(facecolor="none", edgecolor=FAINT))
