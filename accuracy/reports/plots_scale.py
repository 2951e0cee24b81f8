"""The scale of a site plan: how long residuals are drawn, and the arrow and the bar that say so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from accuracy.reports.plots_canvas import INK, Subject
from accuracy.residuals import Position, ResidualRow
from accuracy.series import round_number

if TYPE_CHECKING:
    import numpy as np
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    Vector = NDArray[np.float64]


@dataclass(frozen=True)
class Places:
    """Where the points are in the plane of the drawing; `metric` is False for degrees.

    `aspect` is how many units of x are as long on the ground as one of y: 1, or 1 / cos(latitude).
    """

    x: Vector
    y: Vector
    metric: bool
    aspect: float = 1.0


def size_m(row: ResidualRow) -> float:
    """Give the largest component of a residual without its sign; 0 without any. For order and layout only."""
    position = row.residual or Position()
    values = [v for v in (position.east_m, position.north_m, position.up_m) if v is not None]
    return max(map(abs, values), default=0.0)


def stretch(
    subject: Subject, axes: Axes, rows: Sequence[ResidualRow], places: Places, part: str
) -> tuple[tuple[float, float], float | None]:
    """Give the length on the plan, in units of x and y, of one metre of residual."""
    plan = subject.series.get("plan")
    if places.metric and plan:
        exaggeration = float(plan[f"exaggeration_{part}"])
        return (subject.shown(exaggeration),) * 2, exaggeration
    largest = max(size_m(row) for row in rows if row.used) if any(r.used for r in rows) else 1.0
    high = 0.12 * (axes.get_ylim()[1] - axes.get_ylim()[0]) / (largest or 1.0)
    return (high * places.aspect, high), None


def draw_scales(
    figure: Figure,
    axes: Axes,
    subject: Subject,
    places: Places,
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
    what = "residual" if part == "horizontal" else "height residual"
    figure.text(
        x + length + 0.08 / wide, y, f"{what} of {size:g} {subject.unit.symbol}", va="center"
    )
    if exaggeration is not None:
        y -= 0.17 / high
        figure.text(x, y, f"drawn {exaggeration:g} times its size", va="center")
    if places.metric:
        distance = round_number(0.7 * per_inch)
        y -= 0.18 / high
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
