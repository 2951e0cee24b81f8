"""The sheet that every plot is drawn on: style, words, and the way to SVG and PNG.

matplotlib is used through its objects, never through its global state. A plot is the same bytes every
time: fixed salt, no date, no version. In SVG, text stays text, the ink is ``currentColor`` and the ground
is transparent unless asked for, so that a page may be dark.
"""

from __future__ import annotations

import io
import math
import re
import textwrap
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import quoteattr

from accuracy.reports.words import length, printable
from accuracy.result import DatasetResult, Result
from accuracy.units import LengthUnit, from_metres

if TYPE_CHECKING:
    import numpy as np
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

#: Drawn as ``currentColor`` in SVG.
INK = "#1d1d1e"
FAINT = "#8a8a8a"

#: Okabe and Ito's colours (from memory), told apart by colour-blind people; every one also has a shape,
#: a fill or a line style of its own, so that grey print loses nothing.
BLUE = "#0072b2"
ORANGE = "#d55e00"
GREEN = "#009e73"
PURPLE = "#aa4a88"

#: Drawn for each cover: colour, marker, filled.
COVER_LOOKS = {"non-vegetated": (BLUE, "o", True), "vegetated": (GREEN, "D", False)}

WIDTH_IN = 7.2
AXES = ("east", "north", "up")
SIGN = {
    "up": "+ means the deliverable is too high",
    "east": "+ means it lies too far east",
    "north": "+ means it lies too far north",
}

_STYLE: dict[str, Any] = {
    "svg.fonttype": "none",
    "text.parse_math": False,
    "axes.formatter.use_mathtext": False,
    "axes.formatter.useoffset": False,
    "axes.formatter.limits": (-7, 12),
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 8.5,
    "axes.titlesize": 8.5,
    "axes.titley": 1.02,
    "axes.labelsize": 8.5,
    "axes.linewidth": 0.7,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.major.width": 0.7,
    "ytick.major.width": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "legend.frameon": False,
    "legend.fontsize": 8.0,
    "path.simplify": False,
}


#: Left edge, depth of the top edge below the top of the sheet, width, height; inches.
Place = tuple[float, float, float, float]


@dataclass(frozen=True)
class Subject:
    """What a plot is of: one dataset of a result."""

    result: Result
    dataset: DatasetResult

    @property
    def series(self) -> Any:
        """Its computed curves; empty where the record has none."""
        return self.result.series.get(self.dataset.name, {})

    @property
    def unit(self) -> LengthUnit:
        """The unit lengths are shown in."""
        return LengthUnit(self.result.job.get("job", {}).get("display_units", "metre"))

    @property
    def axes(self) -> list[str]:
        """The axes on which it has residuals."""
        return [axis for axis in AXES if axis in self.series.get("curves", {})]

    def shown(self, value_m: float) -> float:
        """Give a length in the unit it is shown in."""
        return float(from_metres(value_m, self.unit))

    def column(self, values_m: Sequence[float] | NDArray[np.float64]) -> NDArray[np.float64]:
        """Give lengths in the unit they are shown in."""
        import numpy as np

        return from_metres(np.asarray(values_m, dtype=np.float64), self.unit)

    def text(self, value_m: float, *, sign: bool = False) -> str:
        """Give a length in words with its unit."""
        return f"{length(value_m, self.unit, sign=sign)} {self.unit.symbol}"

    def label(self, what: str) -> str:
        """Give the label of an axis that shows a length."""
        return f"{what} in {self.unit.print_name}"

    def limits(self, component: str) -> list[tuple[str, float]]:
        """Give the limits on a component in its claims: name of the check, limit in metres."""
        found = {
            (printable(check.name), check.limit): None
            for claim in self.dataset.claims
            for check in claim.checks
            if check.component == component and check.limit is not None and check.unit == "m"
        }
        return list(found)


@contextmanager
def styled(salt: str) -> Iterator[None]:
    """Draw in our style, whatever the user's own settings say; glyphs no font has do not warn."""
    import matplotlib

    with warnings.catch_warnings(), matplotlib.rc_context():
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        warnings.filterwarnings("ignore", message="Matplotlib currently does not support")
        matplotlib.rcdefaults()
        settings: Any = {**_STYLE, "svg.hashsalt": salt}
        matplotlib.rcParams.update(settings)
        yield


class Sheet:
    """A page of panels, with a title above, and one legend and notes below; places in inches.

    The height follows from what is on it, so that nothing overlaps: panels are placed from the top, and
    `finish` adds what stands below them.
    """

    def __init__(self, title: str) -> None:
        from matplotlib.figure import Figure

        self.figure: Figure = Figure(figsize=(WIDTH_IN, 4.0), dpi=100)
        self._title = title
        self._panels: list[tuple[Axes, Place]] = []
        self._handles: dict[str, Artist] = {}

    def panel(self, place: Place) -> Axes:
        """Add axes."""
        axes = self.figure.add_axes(self._relative(place, 4.0))
        axes.set_facecolor("none")
        self._panels.append((axes, place))
        return axes

    @property
    def place_of_first(self) -> Place:
        """Where the first panel is."""
        return self._panels[0][1]

    def legend_of(self, axes: Axes) -> None:
        """Put what is labelled in these axes into the legend; each label once."""
        for handle, label in zip(*axes.get_legend_handles_labels(), strict=True):
            self._handles.setdefault(label, handle)

    def add_handle(self, label: str, handle: Artist) -> None:
        """Put one entry into the legend."""
        self._handles.setdefault(label, handle)

    def finish(self, *notes: str, room_in: float = 0.0, ticks_in: float = 0.47) -> Figure:
        """Set the height and add title, legend and notes.

        Parameters
        ----------
        notes : str
            Lines at the foot; long ones are wrapped.
        room_in : float
            Left free between panels and legend for the caller.
        ticks_in : float
            Room for the ticks and the label of the lowest axes.
        """
        bottom_in = max(place[1] + place[3] for _, place in self._panels)
        lines = [line for note in notes for line in textwrap.wrap(note, 118)]
        longest = max((len(label) for label in self._handles), default=0)
        ncols = 1 if longest > 52 else 2 if longest > 30 else 3
        rows = math.ceil(len(self._handles) / ncols)
        top_of_legend_in = bottom_in + ticks_in + room_in
        high_in = top_of_legend_in + 0.165 * rows + 0.145 * len(lines) + 0.14
        self.figure.set_size_inches(WIDTH_IN, high_in)
        for axes, place in self._panels:
            axes.set_position(self._relative(place, high_in))
        top = 1 - 0.07 / high_in
        self.figure.text(0.012, top, self._title, va="top", fontsize=10, fontweight="bold")
        if self._handles:
            self.figure.legend(
                list(self._handles.values()),
                list(self._handles),
                loc="upper left",
                bbox_to_anchor=(0.012, 1 - top_of_legend_in / high_in),
                ncols=ncols,
                borderpad=0.0,
                borderaxespad=0.0,
                labelspacing=0.35,
                handletextpad=0.5,
                columnspacing=1.4,
            )
        for i, line in enumerate(reversed(lines)):
            y = (0.06 + 0.145 * i) / high_in
            self.figure.text(0.012, y, line, va="bottom", fontsize=8.0)
        return self.figure

    @staticmethod
    def _relative(place: Place, sheet_in: float) -> tuple[float, float, float, float]:
        left, top, width, high = place
        return left / WIDTH_IN, 1 - (top + high) / sheet_in, width / WIDTH_IN, high / sheet_in


def grid(count: int, high_in: float, top_in: float = 0.62) -> list[Place]:
    """Place panels of one height: one fills the width, two stand side by side, a third below them."""
    wide = (WIDTH_IN - 0.72 - 0.15 - (0.8 if count > 1 else 0.0)) / min(count, 2)
    return [
        (0.72 + (i % 2) * (wide + 0.8), top_in + (i // 2) * (high_in + 0.85), wide, high_in)
        for i in range(count)
    ]


def clipped(text: str, most: int = 60) -> str:
    """Make text from a file fit for print, and shorten it."""
    whole = printable(text)
    return whole if len(whole) <= most else whole[: most - 1] + "…"


def svg(figure: Figure, alternative: str, ground: str | None) -> str:
    """Give a figure as SVG text: no reference to the outside, ids only where something points at them."""
    figure.patch.set_alpha(0.0 if ground is None else 1.0)
    figure.patch.set_facecolor(ground or "none")
    stream = io.StringIO()
    figure.savefig(
        stream,
        format="svg",
        dpi=150,
        metadata={"Date": None, "Creator": None, "Format": None, "Type": None},
    )
    text = stream.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, flags=re.DOTALL)
    used = set(re.findall(r"(?:url\(|href=\")#([^\")]+)", text))

    def tag(found: re.Match[str]) -> str:
        """Change what stands in a tag; text between tags is left alone."""
        its = re.sub(r' id="([^"]*)"', lambda at: at[0] if at[1] in used else "", found[0])
        its = its.replace(INK, "currentColor")
        return its.replace("'DejaVu Sans', sans-serif", "'DejaVu Sans', Verdana, sans-serif")

    text = re.sub(r"<[^>]*>", tag, text)
    start = f'<svg role="img" aria-label={quoteattr(alternative)}'
    return text.replace("<svg", start, 1).rstrip() + "\n"


def png(figure: Figure, dots_per_inch: int) -> bytes:
    """Give a figure as PNG on white."""
    figure.patch.set_alpha(1.0)
    figure.patch.set_facecolor("white")
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=dots_per_inch, metadata={"Software": None})
    return stream.getvalue()


def zero_line(axes: Axes, *, vertical: bool) -> None:
    """Draw where there is no error."""
    draw = axes.axvline if vertical else axes.axhline
    draw(0.0, color=FAINT, linewidth=0.8, zorder=0.5)


def limit_lines(
    axes: Axes, subject: Subject, component: str, *, vertical: bool, signed: bool = True
) -> None:
    """Draw the limits on a component; one far off the data is told, not drawn."""
    draw = axes.axvline if vertical else axes.axhline
    low, high = axes.get_xlim() if vertical else axes.get_ylim()
    reach = 1.6 * max(abs(low), abs(high))
    styles = ("--", "-.", ":")
    for style, (name, limit_m) in zip(styles, subject.limits(component), strict=False):
        label = f"{'± ' if signed else ''}{subject.text(limit_m)}: limit for {name}"
        value = subject.shown(limit_m)
        if value > reach:
            axes.plot([], [], color=ORANGE, linestyle=style, label=f"{label} (off the scale)")
            continue
        draw(value, color=ORANGE, linestyle=style, linewidth=1.1, label=label, zorder=1.5)
        if signed:
            draw(-value, color=ORANGE, linestyle=style, linewidth=1.1, zorder=1.5)


def counted(curves: Any) -> str:
    """Say how many points a component has, by cover."""
    parts = [f"{curves[cover]['n']} {cover}" for cover in COVER_LOOKS if cover in curves]
    return f"n = {' + '.join(parts)}"


def signs(axes: Sequence[str]) -> str:
    """Say what a residual is, and what its sign means."""
    return "Residual = measured − surveyed; " + "; ".join(f"{a}: {SIGN[a]}" for a in axes) + "."


def heavy(count: int) -> bool:
    """Whether so many marks are better one embedded picture than single elements."""
    return count > 1500
