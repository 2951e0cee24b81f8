"""Plots of flight lines: differences and density over the site, pairs side by side, trends.

Blue is lower, orange is higher.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from accuracy.flightlines.records import PairRecord, Profile
from accuracy.reports.lines_view import LinesSubject, pair_name
from accuracy.reports.plots_canvas import (
    BLUE,
    FAINT,
    GREEN,
    INK,
    ORANGE,
    PURPLE,
    WIDTH_IN,
    Sheet,
    clipped,
    grid,
    heavy,
    png,
    styled,
    svg,
    zero_line,
)
from accuracy.series.numbers import round_number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: Of tracks: told apart from all colours of the pictures, on a light page as on a dark one.
_TRACK = "#b5519a"
_LOOKS = ((BLUE, "o"), (ORANGE, "s"), (GREEN, "D"), (PURPLE, "^"), (INK, "v"), (FAINT, "P"))
#: Most pairs drawn as bars.
MOST_BARS = 24

#: Trends are shown to this height at least, so that the noise of sound lines does not look like mountains.
LEAST_SHOWN_M = 0.006


@dataclass(frozen=True)
class LinesPlot:
    """One plot: title, what it shows, whether it is a map in colours of its own, and how it is drawn."""

    title: str
    shows: str
    is_map: bool
    draw: Callable[[LinesSubject], Figure | None]


def lines_svg(subject: LinesSubject, name: str, *, ground: str | None = None) -> str | None:
    """Draw a plot as SVG text; see `accuracy.reports.plots.plot_svg`."""
    about = LINES_PLOTS[name]
    with styled(f"{subject.name}/{name}"):
        figure = about.draw(subject)
        if figure is None:
            return None
        return svg(figure, f"{about.title}, {clipped(subject.name)}: {about.shows}", ground)


def lines_png(subject: LinesSubject, name: str, *, dots_per_inch: int = 160) -> bytes | None:
    """Draw a plot as PNG on white."""
    with styled(f"{subject.name}/{name}"):
        figure = LINES_PLOTS[name].draw(subject)
        return None if figure is None else png(figure, dots_per_inch)


def difference_map(subject: LinesSubject) -> Figure | None:
    """Draw where the later line lies above or below the earlier one."""
    record = subject.map("difference")
    if record is None or subject.picture("difference") is None:
        return None
    sheet = Sheet(f"Difference between flight lines: {clipped(subject.name)}")
    axes = _map(sheet, subject, record)
    _tracks(axes, subject)
    bounds = [subject.shown(v) for v in record["bounds"]]
    _scale(
        sheet,
        bounds,
        record["colours"][: len(bounds) + 1],
        f"Height of the later line minus the earlier, in {subject.unit.print_name}",
        signed=True,
    )
    from matplotlib.patches import Patch

    label = "shared, not assessed: plants, edges, steep or rough ground"
    sheet.add_handle(label, Patch(facecolor=record["colours"][-1], edgecolor="none"))
    _tracks_in_legend(sheet, subject)
    return _finished(sheet, axes, subject, "Blue: the later line is lower. Orange: it is higher.")


def density_map(subject: LinesSubject) -> Figure | None:
    """Draw how many first returns lie where, and which gaps no other line fills."""
    record = subject.map("density")
    if record is None or subject.picture("density") is None:
        return None
    sheet = Sheet(f"Density and voids: {clipped(subject.name)}")
    axes = _map(sheet, subject, record)
    _voids(sheet, axes, subject)
    _scale(
        sheet,
        record["bounds"],
        record["colours"],
        "First returns of all lines per square metre",
        signed=False,
    )
    return _finished(sheet, axes, subject)


def pairs(subject: LinesSubject) -> Figure | None:
    """Draw mean and RMSD of each pair beside what noise alone would make of it, and the limit."""
    its = [pair for pair in subject.record.pairs if pair.differences.rmsd_m is not None]
    its.sort(key=lambda pair: -(pair.differences.rmsd_m or 0.0))
    if not its:
        return None
    shown = its[:MOST_BARS]
    sheet = Sheet(f"Pairs of flight lines: {clipped(subject.name)}")
    axes = sheet.panel((1.1, 0.5, WIDTH_IN - 1.35, max(0.2 * len(shown) + 0.25, 0.75)))
    places = range(len(shown))
    rmsd = [subject.shown(pair.differences.rmsd_m or 0.0) for pair in shown]
    axes.barh(places, rmsd, height=0.62, facecolor=BLUE, alpha=0.35, edgecolor=BLUE, label="RMSD")
    axes.plot(
        [subject.shown(pair.differences.mean_m or 0.0) for pair in shown],
        places,
        linestyle="none",
        marker="D",
        markersize=4.5,
        color=ORANGE,
        label="mean, later minus earlier line",
    )
    noise = [
        (subject.shown(pair.expected_rmsd_m), place)
        for place, pair in enumerate(shown)
        if pair.expected_rmsd_m is not None
    ]
    if noise:
        axes.plot(
            [x for x, _ in noise],
            [y for _, y in noise],
            linestyle="none",
            marker="|",
            markersize=11,
            markeredgewidth=2.0,
            color=INK,
            label="RMSD that the noise of both lines would make",
        )
    zero_line(axes, vertical=True)
    _limits(axes, subject)
    axes.set_yticks(list(places), [pair_name(pair) for pair in shown])
    axes.invert_yaxis()
    axes.set_ylabel("pair" if len(shown) < 5 else "pair, later − earlier")
    axes.set_xlabel(f"Height difference in {subject.unit.print_name}")
    sheet.legend_of(axes)
    left = len(its) - len(shown)
    told = [f"The {MOST_BARS} pairs of the largest RMSD; {left} more are in the record."] * (
        left > 0
    )
    return sheet.finish(*told)


def _limits(axes: Axes, subject: LinesSubject) -> None:
    """Draw the limits of the claims on the RMSD."""
    limits = {
        check.limit: claim.standard
        for claim in subject.claims
        for check in claim.checks
        if check.quantity == "swath-rmsd" and check.limit is not None
    }
    reach = 2.5 * max(map(abs, axes.get_xlim()))
    for style, (limit_m, standard) in zip(("--", "-.", ":"), limits.items(), strict=False):
        size = f"{subject.shown(limit_m):.3f} {subject.unit.symbol}"
        label = f"{size}: limit on the RMSD, {clipped(standard, 30)}"
        if subject.shown(limit_m) > reach:
            axes.plot([], [], color=ORANGE, linestyle=style, label=f"{label} (off the scale)")
        else:
            axes.axvline(
                subject.shown(limit_m), color=ORANGE, linestyle=style, linewidth=1.1, label=label
            )


_AXES_OF_TRENDS: Mapping[str, str] = MappingProxyType(
    {
        "across": "Metres to the right of the earlier line",
        "along": "Metres forward on the earlier line",
        "time": "Seconds since the later line began",
    }
)


def trends(subject: LinesSubject) -> Figure | None:
    """Draw how the difference of the worst pairs changes across, along and with time."""
    chosen = sorted(subject.record.pairs, key=lambda pair: -(pair.differences.rmsd_m or 0.0))
    chosen = [pair for pair in chosen if _profiles(pair)][: len(_LOOKS)]
    names = [axis for axis in _AXES_OF_TRENDS if any(axis in _profiles(pair) for pair in chosen)]
    if not names:
        return None
    sheet = Sheet(f"Trends between flight lines: {clipped(subject.name)}")
    panels = [
        sheet.panel((left + 0.12, top, wide - 0.12, high))
        for left, top, wide, high in grid(len(names), 2.1)
    ]
    for axes, axis in zip(panels, names, strict=True):
        for (colour, marker), pair in zip(_LOOKS, chosen, strict=False):
            profile = _profiles(pair).get(axis)
            if profile is not None:
                _profile(axes, subject, pair, profile, colour, marker)
        zero_line(axes, vertical=False)
        low, high = axes.get_ylim()
        axes.set_ylim(
            min(low, -subject.shown(LEAST_SHOWN_M)), max(high, subject.shown(LEAST_SHOWN_M))
        )
        axes.set_xlabel(_AXES_OF_TRENDS[axis])
        axes.set_ylabel(f"Difference in {subject.unit.print_name}")
        sheet.legend_of(axes)
    many = len(subject.record.pairs) > len(chosen)
    note = f"The {len(chosen)} pairs of the largest RMSD. " if many else ""
    return sheet.finish(
        f"{note}Means of assessed cells, later minus earlier line; bars: ± two standard errors of the mean, "
        "if cells are independent."
    )


def _profiles(pair: PairRecord) -> Mapping[str, Profile]:
    return {profile.axis: profile for profile in pair.profiles}


def _profile(
    axes: Axes, subject: LinesSubject, pair: PairRecord, profile: Profile, colour: str, marker: str
) -> None:
    means = [subject.shown(mean) for mean in profile.mean_m]
    errors = [
        0.0 if n < 2 else 2.0 * subject.shown(std) / n**0.5
        for std, n in zip(profile.std_m, profile.n, strict=True)
    ]
    axes.errorbar(
        profile.at,
        means,
        yerr=errors,
        color=colour,
        marker=marker,
        markersize=3.0,
        linewidth=0.9,
        elinewidth=0.6,
        label=f"{pair_name(pair)} (n = {pair.differences.n} cells)",
    )


# --- maps -----------------------------------------------------------------------------------------------


def _map(sheet: Sheet, subject: LinesSubject, record: Mapping[str, Any]) -> Axes:
    """Lay a picture out as a map; equal scale in both directions."""
    from matplotlib.image import imread
    from matplotlib.ticker import MaxNLocator

    west, south, east, north = (subject.shown(v) for v in record["box_m"])
    margin = 0.04 * max(east - west, north - south)
    west, south, east, north = west - margin, south - margin, east + margin, north + margin
    wide = WIDTH_IN - 1.0
    high = wide * (north - south) / (east - west)
    if high > 6.2:
        wide, high = wide * 6.2 / high, 6.2
    if high < 1.6:
        missing = (1.6 / high - 1.0) * (north - south) / 2.0
        south, north, high = south - missing, north + missing, 1.6
    axes = sheet.panel((0.8, 0.42, wide, high))
    content = subject.picture(str(record["name"]))
    box = [subject.shown(v) for v in record["box_m"]]
    axes.imshow(
        imread(io.BytesIO(content or b""), format="png"),
        extent=(box[0], box[2], box[1], box[3]),
        origin="upper",
        aspect="auto",
        interpolation="none",
        zorder=0,
    )
    axes.set_xlim(west, east)
    axes.set_ylim(south, north)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
        axis.set_major_formatter("{x:.0f}")
    for label in axes.get_yticklabels():
        label.set_rotation(90)
        label.set_verticalalignment("center")
    axes.set_xlabel(f"Easting in {subject.unit.print_name}")
    axes.set_ylabel(f"Northing in {subject.unit.print_name}")
    return axes


def _tracks(axes: Axes, subject: LinesSubject) -> None:
    """Draw the middle of each line with an arrow in the direction of flight, and its number."""
    record = subject.record
    for line in record.lines:
        if len(line.track) < 2:
            continue
        x, y = (
            [subject.shown(place[i] * record.horizontal_unit_m) for place in line.track]
            for i in (0, 1)
        )
        axes.plot(x, y, color=_TRACK, linewidth=1.0, zorder=2)
        axes.annotate(
            "",
            (x[-1], y[-1]),
            (x[-2], y[-2]),
            arrowprops={
                "arrowstyle": "-|>",
                "color": _TRACK,
                "linewidth": 1.0,
                "shrinkA": 0,
                "shrinkB": 0,
            },
            zorder=2.1,
        )
        axes.annotate(
            str(line.number),
            (x[0], y[0]),
            textcoords="offset points",
            xytext=(3, 3),
            fontsize=8.5,
            fontweight="bold",
            color=_TRACK,
            zorder=3,
        )


def _tracks_in_legend(sheet: Sheet, subject: LinesSubject) -> None:
    from matplotlib.lines import Line2D

    if any(len(line.track) > 1 for line in subject.record.lines):
        sheet.add_handle("flight line with its number", Line2D([], [], color=_TRACK, linewidth=1.0))


def _voids(sheet: Sheet, axes: Axes, subject: LinesSubject) -> None:
    """Mark voids; those that no other line fills stand out."""
    record = subject.record
    for filled, marker, label in (
        (True, "o", "void of one line, filled by another"),
        (False, "X", "void that no other line fills"),
    ):
        its = [void for void in record.coverage.voids if void.filled is filled]
        if not its:
            continue
        axes.plot(
            [subject.shown(void.place[0] * record.horizontal_unit_m) for void in its],
            [subject.shown(void.place[1] * record.horizontal_unit_m) for void in its],
            linestyle="none",
            marker=marker,
            markersize=3.2 if filled else 6.5,
            markerfacecolor="none" if filled else ORANGE,
            markeredgecolor=ORANGE if filled else "#ffffff",
            markeredgewidth=0.6,
            label=f"{label} (n = {len(its)})",
            rasterized=heavy(len(its)),
            zorder=3,
        )
    sheet.legend_of(axes)


def _scale(
    sheet: Sheet,
    bounds: Sequence[float],
    colours: Sequence[str],
    label: str,
    *,
    signed: bool,
) -> None:
    """Draw what the colours mean: one box for each class, numbers at the bounds, pointed open ends."""
    from matplotlib.patches import Polygon

    left, top, wide, high = sheet.place_of_first
    bar = sheet.panel((left, top + high + 1.02, min(wide, 5.4), 0.16))
    for place, colour in enumerate(colours):
        left_at = float(place)
        ends = [(left_at, 0.0), (left_at + 1, 0.0), (left_at + 1, 1.0), (left_at, 1.0)]
        if place == 0 and signed:
            ends = [(0.25, 0.5), (1.0, 0.0), (1.0, 1.0)]
        if place == len(colours) - 1:
            ends = [(left_at, 0.0), (left_at + 0.75, 0.5), (left_at, 1.0)]
        bar.add_patch(Polygon(ends, facecolor=colour, edgecolor=FAINT, linewidth=0.4))
    bar.set_xlim(0, len(colours))
    bar.set_ylim(0, 1)
    bar.set_yticks([])
    step = 1 if len(bounds) <= 13 else 2
    places = list(range(len(bounds)))[::step]
    bar.set_xticks(
        [place + 1 for place in places],
        [_bound(bounds[place], signed=signed) for place in places],
        fontsize=7.5,
    )
    for spine in bar.spines.values():
        spine.set_visible(False)
    bar.tick_params(length=2)
    bar.set_xlabel(label)


def _bound(value: float, *, signed: bool) -> str:
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    if not signed or value == 0:
        return "0" if value == 0 else text
    return text.replace("-", "−") if value < 0 else f"+{text}"


def _finished(sheet: Sheet, axes: Axes, subject: LinesSubject, *notes: str) -> Figure:
    figure = sheet.finish(*notes, ticks_in=0.55)
    _distance(figure, axes, subject)
    return figure


def _distance(figure: Figure, axes: Axes, subject: LinesSubject) -> None:
    """Draw a bar of a stated distance under the map, at the right."""
    from matplotlib.patches import FancyArrowPatch

    wide, high = figure.get_size_inches()
    box = axes.get_position()
    low, top = axes.get_xlim()
    per_inch = (top - low) / (box.width * wide)
    distance = round_number(1.0 * per_inch)
    size = distance / per_inch / wide
    y = box.y0 - 0.62 / high
    x = box.x0
    figure.add_artist(
        FancyArrowPatch(
            (x, y),
            (x + size, y),
            transform=figure.transFigure,
            arrowstyle="|-|,widthA=0.25,widthB=0.25",
            mutation_scale=8,
            shrinkA=0,
            shrinkB=0,
            linewidth=1.1,
            color=INK,
        )
    )
    figure.text(
        x + size + 0.08 / wide, y, f"{distance:g} {subject.unit.symbol}; north is up", va="center"
    )


#: Every plot of flight lines by its name, in the order of views.
LINES_PLOTS: Mapping[str, LinesPlot] = MappingProxyType(
    {
        "difference-map": LinesPlot(
            "Difference between flight lines",
            "where the later of two lines lies above or below the earlier one, and by how much",
            True,
            difference_map,
        ),
        "pairs": LinesPlot(
            "Pairs of flight lines",
            "how far the lines of each pair are apart, beside what noise alone would make of it",
            False,
            pairs,
        ),
        "trends": LinesPlot(
            "Trends between flight lines",
            "whether differences grow across the track, along it, or with time",
            False,
            trends,
        ),
        "density-map": LinesPlot(
            "Density and voids",
            "how many first returns lie where, and where single lines left gaps",
            True,
            density_map,
        ),
    }
)
