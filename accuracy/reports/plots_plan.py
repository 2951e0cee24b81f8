"""The site plan: where the points are, and which way and how far the deliverable is off at each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

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
from accuracy.residuals import Position, ResidualRow
from accuracy.series import round_number

if TYPE_CHECKING:
    import numpy as np
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    Vector = NDArray[np.float64]

#: Group of points: marker, filled, colour, name.
_GROUPS = {
    "non-vegetated": ("o", True, BLUE, "checkpoint, non-vegetated"),
    "vegetated": ("^", True, GREEN, "checkpoint, vegetated"),
    "silent": ("+", True, INK, "checkpoint without value"),
    "control": ("s", False, INK, "control, never judged"),
    "excluded": ("x", True, PURPLE, "excluded, never judged"),
}

#: Points named on the plan: those of the largest residuals.
NAMED = 5


@dataclass(frozen=True)
class _Places:
    """Where the points are in the plane of the drawing; `metric` is False for degrees."""

    x: Vector
    y: Vector
    metric: bool


def _places(subject: Subject, rows: Sequence[ResidualRow]) -> _Places:
    import numpy as np

    metric = all(row.surveyed.east_m is not None for row in rows)
    if metric:
        east = [row.surveyed.east_m for row in rows]
        north = [row.surveyed.north_m for row in rows]
        return _Places(
            subject.column(np.array(east, float)), subject.column(np.array(north, float)), True
        )
    east = [row.native["easting"] for row in rows]
    north = [row.native["northing"] for row in rows]
    return _Places(np.array(east, float), np.array(north, float), False)


def _group(row: ResidualRow) -> str:
    if row.role != "checkpoint":
        return row.role
    return row.cover if row.used else "silent"


def _size(row: ResidualRow) -> float:
    position = row.residual or Position()
    values = [v for v in (position.east_m, position.north_m, position.up_m) if v is not None]
    return max(map(abs, values), default=0.0)


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
    window = _window(places, boxes)
    wide = (WIDTH_IN - 0.95 - 0.85 * (len(parts) - 1)) / len(parts)
    ratio = (window[3] - window[2]) / (window[1] - window[0])
    if not places.metric:
        ratio /= math.cos(math.radians(float(places.y.mean())))
    high = min(max(wide * ratio, 1.9), 7.0)
    sheet = Sheet(f"Site plan: {clipped(subject.dataset.name)}")
    plans = [sheet.panel(0.8 + i * (wide + 0.85), 0.42, wide, high) for i in range(len(parts))]
    _legend(sheet, rows, boxes)
    figure = sheet.finish(*_notes(parts), room_in=0.5)
    for axes, part in zip(plans, parts, strict=True):
        _ground(axes, subject, places, window, boxes)
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


def _boxes(subject: Subject, places: _Places) -> list[tuple[float, float, float, float]]:
    found = subject.series.get("footprint", {})
    boxes = found.get("boxes_m" if places.metric else "boxes_native", [])
    return [tuple(subject.shown(v) if places.metric else v for v in box) for box in boxes]  # type: ignore[misc]  # four of them


def _window(
    places: _Places, boxes: list[tuple[float, float, float, float]]
) -> tuple[float, float, float, float]:
    """Give what the plan shows: the points, and the footprint as far as it is not far away."""
    import numpy as np

    west, east = float(np.nanmin(places.x)), float(np.nanmax(places.x))
    south, north = float(np.nanmin(places.y)), float(np.nanmax(places.y))
    side = max(east - west, north - south) or 1.0
    for box in boxes:
        west = min(west, max(box[0], west - 0.15 * side))
        south = min(south, max(box[1], south - 0.15 * side))
        east = max(east, min(box[2], east + 0.15 * side))
        north = max(north, min(box[3], north + 0.15 * side))
    margin = 0.08 * max(east - west, north - south) or 1.0
    return west - margin, east + margin, south - margin, north + margin


def _ground(
    axes: Axes,
    subject: Subject,
    places: _Places,
    window: tuple[float, float, float, float],
    boxes: list[tuple[float, float, float, float]],
) -> None:
    from matplotlib.patches import Rectangle
    from matplotlib.ticker import MaxNLocator

    axes.set_xlim(window[0], window[1])
    axes.set_ylim(window[2], window[3])
    aspect = 1.0 if places.metric else 1.0 / math.cos(math.radians(float(places.y.mean())))
    axes.set_aspect(aspect, adjustable="datalim")
    axes.apply_aspect()
    for box in boxes:
        axes.add_patch(
            Rectangle(
                (box[0], box[1]),
                box[2] - box[0],
                box[3] - box[1],
                facecolor=FAINT,
                alpha=0.13,
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
    for label in axes.get_yticklabels():
        label.set_rotation(90)
        label.set_va("center")
    axes.set_xlabel(subject.label("Easting") if places.metric else "Longitude in degrees")
    axes.set_ylabel(subject.label("Northing") if places.metric else "Latitude in degrees")


def _draw(
    figure: Figure,
    axes: Axes,
    subject: Subject,
    rows: Sequence[ResidualRow],
    places: _Places,
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
    per_metre, exaggeration = _stretch(subject, axes, rows, places, part)
    residuals = [row.residual or Position() for row in rows]
    if part == "horizontal":
        _arrows(axes, rows, places, has, residuals, per_metre)
    else:
        _bars(axes, rows, places, has, residuals, per_metre)
    _names(axes, rows, places)
    _scales(figure, axes, subject, places, part, per_metre[1], exaggeration)


def _stretch(
    subject: Subject, axes: Axes, rows: Sequence[ResidualRow], places: _Places, part: str
) -> tuple[tuple[float, float], float | None]:
    """Give the length on the plan, in units of x and y, of one metre of residual."""
    if places.metric:
        exaggeration = float(subject.series["plan"][f"exaggeration_{part}"])
        return (subject.shown(exaggeration),) * 2, exaggeration
    largest = max(_size(row) for row in rows if row.used) if any(r.used for r in rows) else 1.0
    high = 0.12 * (axes.get_ylim()[1] - axes.get_ylim()[0]) / (largest or 1.0)
    return (high * float(axes.get_aspect()), high), None


def _colour(row: ResidualRow) -> str:
    return _GROUPS[_group(row)][2]


def _arrows(
    axes: Axes,
    rows: Sequence[ResidualRow],
    places: _Places,
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
    places: _Places,
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


def _names(axes: Axes, rows: Sequence[ResidualRow], places: _Places) -> None:
    order = sorted((i for i, row in enumerate(rows) if row.used), key=lambda i: -_size(rows[i]))
    taken: list[tuple[float, float]] = []
    for i in order[:NAMED]:
        x, y = (float(v) for v in axes.transData.transform((places.x[i], places.y[i])))
        if any(abs(x - a) < 35 and abs(y - b) < 11 for a, b in taken):
            continue  # the name would lie on another
        taken.append((x, y))
        axes.annotate(
            clipped(rows[i].id, 16),
            (places.x[i], places.y[i]),
            xytext=(4, -3),
            textcoords="offset points",
            va="top",
            fontsize=7.5,
        )


def _scales(
    figure: Figure,
    axes: Axes,
    subject: Subject,
    places: _Places,
    part: str,
    per_metre: float,
    exaggeration: float | None,
) -> None:
    """Draw, under the plan, an arrow of a stated residual and a bar of a stated distance."""
    wide, high = figure.get_size_inches()
    box = axes.get_position()
    per_inch = (axes.get_ylim()[1] - axes.get_ylim()[0]) / (box.height * high)
    unit_m = float(subject.unit.metres)
    inches_per_unit = per_metre * unit_m / per_inch
    size = round_number(0.55 / inches_per_unit)
    length = size * inches_per_unit / wide
    y = box.y0 - 0.58 / high
    x = box.x0
    colour = INK
    figure.add_artist(_line(figure, x, y, x + length, y, colour, arrow=True))
    times = "" if exaggeration is None else f", drawn {exaggeration:g} times its size"
    what = "residual" if part == "horizontal" else "height residual"
    figure.text(
        x + length + 0.08 / wide, y, f"{what} of {size:g} {subject.unit.symbol}{times}", va="center"
    )
    if places.metric:
        distance = round_number(0.7 * per_inch)
        y -= 0.2 / high
        figure.add_artist(_line(figure, x, y, x + distance / per_inch / wide, y, colour))
        figure.text(
            x + (distance / per_inch + 0.08) / wide,
            y,
            f"distance of {distance:g} {subject.unit.symbol}",
            va="center",
        )


def _line(
    figure: Figure, x0: float, y0: float, x1: float, y1: float, colour: str, *, arrow: bool = False
) -> Any:
    from matplotlib.patches import FancyArrowPatch

    return FancyArrowPatch(
        (x0, y0),
        (x1, y1),
        transform=figure.transFigure,
        arrowstyle="-|>" if arrow else "|-|,widthA=0.25,widthB=0.25",
        mutation_scale=8,
        shrinkA=0,
        shrinkB=0,
        linewidth=1.1,
        color=colour,
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
        sheet.add_handle("extent of the files", Patch(facecolor=FAINT, alpha=0.35))
