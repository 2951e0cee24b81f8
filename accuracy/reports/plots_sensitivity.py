"""The sensitivity plot: what a claim's figure and verdict would be without each single point."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from accuracy.reports.plots_canvas import (
    BLUE,
    INK,
    ORANGE,
    Sheet,
    Subject,
    clipped,
)
from accuracy.reports.words import VERDICT_WORDS, printable, standard_name
from accuracy.stats import show

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: Points drawn from either end, and points with another verdict drawn besides.
ENDS, MOST_CHANGES = 6, 12


def sensitivity(subject: Subject) -> Figure | None:
    """Draw one panel for each claim that has a value: the value without each of the points that matter most."""
    its = subject.series.get("sensitivity", {})
    panels = [
        (claim, its[str(i)])
        for i, claim in enumerate(subject.dataset.claims)
        if str(i) in its and its[str(i)]["lowest"] is not None
    ]
    if not panels:
        return None
    sheet = Sheet(f"Without one single point: {clipped(subject.dataset.name)}")
    top = 0.62
    for claim, record in panels:
        chosen = _chosen(record)
        high = 0.155 * max(len(chosen), 3)
        axes = sheet.panel((1.5, top, 5.5, high))
        _one(axes, subject, claim, record, chosen)
        sheet.legend_of(axes)
        top += high + 1.0
    return sheet.finish(
        "Each mark: the figure as it would be without that point alone. "
        "Leaving a point out needs a reason other than its size.",
        "Residual = measured − surveyed."
        + "".join(
            f" {standard_name(claim)}: the {record['tried']} points of largest and smallest error tried."
            for claim, record in panels
            if record["tried"] < record["of"]
        ),
    )


def _chosen(record: Any) -> list[Any]:
    """Give the points at either end, and those that change the verdict; in the order of the record."""
    valued = [item for item in record["without"] if item["value"] is not None]
    moving = [item for item in valued if item["value"] != record["value"]] or valued
    ends = {item["id"] for item in (*moving[:ENDS], *moving[-ENDS:])}
    ends |= {item["id"] for item in record["changes"][:MOST_CHANGES]}
    return [item for item in valued if item["id"] in ends]


def _one(axes: Axes, subject: Subject, claim: Any, record: Any, chosen: list[Any]) -> None:
    is_length = record["unit"] == "m"

    def shown(value: float) -> float:
        return subject.shown(value) if is_length else value

    looks = {
        True: (BLUE, "o", "the verdict stays"),
        False: (ORANGE, "X", "the verdict would be another"),
    }
    for same, (colour, marker, label) in looks.items():
        its = [
            (shown(item["value"]), place)
            for place, item in enumerate(chosen)
            if (item["verdict"] == record["verdict"]) == same
        ]
        if its:
            axes.plot(
                [x for x, _ in its],
                [y for _, y in its],
                linestyle="none",
                marker=marker,
                markersize=5,
                markeredgecolor=colour,
                markerfacecolor=colour if same else "none",
                label=label,
            )
    axes.axvline(shown(record["value"]), color=INK, linewidth=1.2, label="with all points")
    if record["limit"] is not None:
        axes.axvline(
            shown(record["limit"]), color=ORANGE, linestyle="--", linewidth=1.1, label="limit"
        )
    axes.set_yticks(range(len(chosen)), [clipped(item["id"], 18) for item in chosen], fontsize=7.5)
    axes.set_ylim(-0.7, len(chosen) - 0.3)
    axes.grid(axis="y", color=INK, alpha=0.15, linewidth=0.5)
    unit = subject.label(printable(record["check"])) if is_length else printable(record["check"])
    axes.set_xlabel(unit)
    axes.set_title(_told(subject, claim, record, is_length), loc="left", x=-0.25)


def _told(subject: Subject, claim: Any, record: Any, is_length: bool) -> str:
    def text(item: Any) -> str:
        if not is_length:
            return f"{item['value']:.4g}"
        return (
            f"{show(item['value'], decimals=4, per_unit=subject.unit.metres)} {subject.unit.symbol}"
        )

    changes = len(record["changes"])
    told = (
        f"another if one of {changes} points is left out"
        if changes
        else "the same whichever point is left out"
    )
    return (
        f"{clipped(standard_name(claim), 44)}, n = {record['of']}: {VERDICT_WORDS[record['verdict']]}, {told}. "
        f"{text(record['lowest'])} to {text(record['highest'])}"
    )
