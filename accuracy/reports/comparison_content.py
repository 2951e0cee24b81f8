"""What page and PDF of a comparison show: texts and tables, made once for both."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from accuracy.comparison_record import Comparison, Group, Pair
from accuracy.reports import comparison_plot
from accuracy.reports.comparison_text import (
    OUTCOME_WORDS,
    change_text,
    class_text,
    headline,
    how,
    p_text,
    run_names,
    settings_shown,
    what,
)
from accuracy.reports.words import VERDICT_WORDS, length, printable

#: Outcome to the verdict whose colour and sign it takes.
LOOKS = {
    "better": "passes",
    "worse": "fails",
    "no-difference-shown": "reported",
    "no-verdict": "no-statement",
}


@dataclass(frozen=True)
class GroupView:
    """One component and cover."""

    name: str
    n: int
    tolerance: str
    pairs: tuple[tuple[str, ...], ...]
    looks: tuple[str, ...]
    reasons: tuple[str, ...]
    smallest: tuple[str, ...]
    axes: tuple[tuple[str, ...], ...]
    ranking: tuple[tuple[str, ...], ...]
    svg: str | None


def content(comparison: Comparison) -> dict[str, Any]:
    """Give plain texts, in the order of the pages; every one is printable."""
    names = run_names(comparison)
    unit = comparison.display_units
    first = comparison.runs[0]
    return {
        "title": printable(first.title or "Comparison of runs"),
        "headline": headline(comparison),
        "look": LOOKS[comparison.verdict],
        "unit": unit.print_name,
        "how": how(comparison),
        "runs": [
            [
                name,
                printable(run.label),
                printable(", ".join(filter(None, (run.title, run.site, run.sensor)))),
                run.flown or "",
                VERDICT_WORDS[run.verdict],
                run.sha256,
            ]
            for name, run in zip(names, comparison.runs, strict=True)
        ],
        "changes": [
            [names[change.run], change.area, change_text(change)] for change in comparison.changes
        ],
        "points": [
            [
                printable(points.dataset),
                str(len(points.common)),
                *(
                    "; ".join(
                        f"{names[n.run]} {printable(n.id)} ({printable(n.reason)})" for n in notes
                    )
                    for notes in (points.lost, points.gained, points.moved)
                ),
            ]
            for points in comparison.points
        ],
        "groups": [_group(comparison, group) for group in comparison.groups],
        "claims": [
            [
                names[pair.run],
                f"{printable(pair.dataset)}: {printable(pair.standard)}{printable(class_text(pair))}",
                "not claimed" if pair.before is None else VERDICT_WORDS[pair.before],
                "not claimed" if pair.after is None else VERDICT_WORDS[pair.after],
                "yes" if pair.flipped else "",
            ]
            for pair in comparison.claims
        ],
        "findings": [
            [
                finding.severity.value,
                printable(f"{finding.dataset}: " if finding.dataset else "")
                + printable(finding.message),
                printable(finding.remedy),
            ]
            for finding in comparison.findings
        ],
        "version": f"accuracy {comparison.tool_version}, {comparison.format} {comparison.format_version}",
    }


def _group(comparison: Comparison, group: Group) -> GroupView:
    names, unit = run_names(comparison), comparison.display_units
    tolerance = (
        group.tolerance_source
        if group.tolerance_m is None
        else f"{length(group.tolerance_m, unit, decimals=4)}: {group.tolerance_source}"
    )
    settings = settings_shown(comparison.runs)

    def row(pair: Pair) -> tuple[str, ...]:
        return (
            f"{names[pair.after]} against {names[pair.before]}",
            OUTCOME_WORDS[pair.outcome],
            length(pair.rmse_before_m, unit, decimals=4),
            length(pair.rmse_after_m, unit, decimals=4),
            length(pair.change_m, unit, decimals=4, sign=True),
            p_text(pair.p),
            p_text(pair.p_adjusted),
        )

    def small(pair: Pair) -> str:
        better, worse = (
            "none however large" if value is None else length(value, unit, decimals=4)
            for value in (pair.smallest_better_m, pair.smallest_worse_m)
        )
        return f"{better} better, {worse} worse"

    def signed(value: float | None) -> str:
        return length(value, unit, decimals=4, sign=True)

    axes = []
    for pair in group.pairs:
        for its in pair.axes:
            shift, spread = its.shift, its.spread
            axes.append(
                (
                    f"{names[pair.after]} against {names[pair.before]}, {its.axis}",
                    f"{signed(its.mean_before_m)} → {signed(its.mean_after_m)}",
                    "–"
                    if shift is None
                    else f"{signed(shift.mean_m)} ({signed(shift.low_m)} to {signed(shift.high_m)})",
                    " → ".join(
                        length(std_m, unit, decimals=4)
                        for std_m in (its.std_before_m, its.std_after_m)
                    ),
                    "–"
                    if spread is None
                    else f"{spread.ratio:.2f} ({spread.low:.2f} to {spread.high:.2f}), p = {p_text(spread.p)}",
                )
            )
    return GroupView(
        name=what(group),
        n=len(group.ids),
        tolerance=printable(tolerance),
        pairs=tuple(map(row, group.pairs)),
        looks=tuple(LOOKS[pair.outcome] for pair in group.pairs),
        reasons=tuple(printable(pair.reason) for pair in group.pairs),
        smallest=tuple(map(small, group.pairs)),
        axes=tuple(axes),
        ranking=tuple(
            (
                str(rank.place),
                names[rank.run],
                length(rank.rmse_m, unit, decimals=4),
                rank.letters,
                printable(", ".join(f"{k} = {v}" for k, v in settings[rank.run].items())),
            )
            for rank in group.ranking
        ),
        svg=comparison_plot.group_svg(comparison, group),
    )
