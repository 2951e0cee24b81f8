"""Plots: a number that people would rather see is drawn.

`PLOTS` lists them. Each is drawn from the finished result: what has to be computed stands in its
``series``. `plot_svg` and `plot_png` give None where a plot does not apply to a dataset.
"""

from __future__ import annotations

import importlib
import weakref
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

from accuracy.reports.plots_canvas import Subject, clipped, png, styled, svg
from accuracy.result import Result

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True)
class Plot:
    """One plot: its title, what it shows, and where it is drawn (module and function)."""

    title: str
    shows: str
    module: str
    function: str

    @property
    def draw(self) -> Callable[[Subject], Figure | None]:
        """The function that draws it."""
        module = importlib.import_module(f"accuracy.reports.{self.module}")
        function: Callable[[Subject], Figure | None] = getattr(module, self.function)
        return function


#: Every plot by its name, in the order of the report.
PLOTS: Mapping[str, Plot] = MappingProxyType(
    {
        "site-plan": Plot(
            "Site plan",
            "where the surveyed points are, and which way and how far the deliverable is off at each",
            "plots_plan",
            "site_plan",
        ),
        "histogram": Plot(
            "Histogram",
            "how many points have a residual of which size, with the normal curve and the limits",
            "plots_curves",
            "histogram",
        ),
        "normal-quantiles": Plot(
            "Normal quantiles",
            "whether the residuals are distributed as chance alone would have them",
            "plots_curves",
            "normal_quantiles",
        ),
        "cumulative": Plot(
            "Cumulative error",
            "what share of the points has an error up to a size; 68, 90 and 95 % marked",
            "plots_curves",
            "cumulative",
        ),
        "by-cover": Plot(
            "By land cover",
            "the residuals on open and on vegetated ground side by side",
            "plots_against",
            "by_cover",
        ),
        "against-height": Plot(
            "Against height",
            "whether the residuals change with the height of the ground",
            "plots_against",
            "against_height",
        ),
        "against-slope": Plot(
            "Against slope",
            "whether the residuals change with the slope of the ground",
            "plots_against",
            "against_slope",
        ),
        "against-roughness": Plot(
            "Against roughness",
            "whether the residuals change with the roughness of the ground",
            "plots_against",
            "against_roughness",
        ),
        "against-base": Plot(
            "Against distance from the base",
            "whether the residuals grow or turn with the distance from the base of the flight",
            "plots_against",
            "against_base",
        ),
        "against-line": Plot(
            "By flight line",
            "whether the flight lines agree with the survey, and with each other",
            "plots_against",
            "against_line",
        ),
        "against-order": Plot(
            "In the order of survey",
            "whether the residuals drift along the table of checkpoints",
            "plots_against",
            "against_order",
        ),
        "diagnosis": Plot(
            "Residuals against the cause",
            "whether the residuals are what the cause named, or the first of those listed, predicts",
            "plots_diagnosis",
            "diagnosis",
        ),
        "sensitivity": Plot(
            "Without one single point",
            "what each claim's figure and verdict would be without each single point",
            "plots_sensitivity",
            "sensitivity",
        ),
    }
)


_Drawings = dict[tuple[str, str, str | None], str | None]

#: The last result drawn from, if it is still in use, and its drawings.
_LAST: list[tuple[weakref.ref[Result], _Drawings]] = []


def _drawn(result: Result, dataset: str, name: str) -> Figure | None:
    found = next(item for item in result.datasets if item.name == dataset)
    return PLOTS[name].draw(Subject(result, found))


def plot_svg(result: Result, dataset: str, name: str, *, ground: str | None = None) -> str | None:
    """Draw a plot as SVG text, to stand in a page or alone.

    Parameters
    ----------
    result : Result
        The finished record.
    dataset : str
        Name of the dataset.
    name : str
        A key of `PLOTS`.
    ground : str or None
        Colour of the ground; None leaves it transparent. Text and axes are ``currentColor``.

    Returns
    -------
    str or None
        Starts with ``<svg``; no prolog, no reference to anything outside. None where the plot does not apply.
    """
    drawings = _drawings_of(result)
    key = (dataset, name, ground)
    if key not in drawings:
        salt = f"{dataset}/{name}"
        with styled(salt):
            figure = _drawn(result, dataset, name)
            about = PLOTS[name]
            alternative = f"{about.title}, {clipped(dataset)}: {about.shows}"
            drawings[key] = None if figure is None else svg(figure, alternative, ground)
    return drawings[key]


def _drawings_of(result: Result) -> _Drawings:
    """Give what was drawn of this very result before: page and PDF ask for the same plots."""
    if not _LAST or _LAST[0][0]() is not result:
        _LAST[:] = [(weakref.ref(result), {})]
    return _LAST[0][1]


def plot_png(result: Result, dataset: str, name: str, *, dots_per_inch: int = 160) -> bytes | None:
    """Draw a plot as PNG on white; see `plot_svg`."""
    with styled(f"{dataset}/{name}"):
        figure = _drawn(result, dataset, name)
        return None if figure is None else png(figure, dots_per_inch)
