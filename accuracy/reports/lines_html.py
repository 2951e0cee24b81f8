"""Flight lines on a page: a section in the page of a result, and the page of ``accuracy lines``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from accuracy.reports import html_plots
from accuracy.reports.as_html import environment, packaged, safe
from accuracy.reports.lines_view import (
    LinesSubject,
    Table,
    check_row,
    facts,
    subjects_of,
    tables,
)
from accuracy.reports.plots_lines import LINES_PLOTS, lines_svg
from accuracy.reports.words import VERDICT_WORDS, printable
from accuracy.result import Result
from accuracy.statement import VERIFICATION

if TYPE_CHECKING:
    from accuracy.lines_record import LinesReport


@dataclass(frozen=True)
class LinesCheckView:
    """One check as a row."""

    name: str
    value: str
    sense: str
    limit: str
    behind: str
    decides: bool
    reason: str
    cite: str
    how: str


@dataclass(frozen=True)
class LinesClaimView:
    """One claim on the lines."""

    word: str
    verdict: str
    title: str
    claimed: str
    paragraphs: tuple[str, ...]
    sources: tuple[str, ...]
    checks: tuple[LinesCheckView, ...]


@dataclass(frozen=True)
class LinesPlotView:
    """One plot and what it shows."""

    title: str
    shows: str
    drawing: str


@dataclass(frozen=True)
class LinesView:
    """Flight lines of one cloud as a page shows them."""

    key: str
    name: str
    claims: tuple[LinesClaimView, ...]
    facts: tuple[tuple[str, str], ...]
    tables: tuple[Table, ...]
    plots: tuple[LinesPlotView, ...]


def views(result: Result) -> tuple[LinesView, ...]:
    """Give the sections for the page of a result; none where lines were not compared."""
    return tuple(_view(subject, place) for place, subject in enumerate(subjects_of(result)))


def _view(subject: LinesSubject, place: int) -> LinesView:
    key = f"lines{place}"
    plots = []
    for name, about in LINES_PLOTS.items():
        drawing = lines_svg(subject, name)
        if drawing is not None:
            label = printable(f"{about.title}, {subject.name}. {about.shows}")
            inlined = html_plots.inline(drawing, f"{key}-{name}-", label)
            if about.is_map:  # its colours mean something, whatever the page's
                inlined = inlined.replace('class="plot"', 'class="plot map"', 1)
            plots.append(LinesPlotView(about.title, about.shows, safe(inlined)))
    return LinesView(
        key,
        subject.name,
        _claims(subject),
        tuple(facts(subject)),
        tuple(tables(subject)),
        tuple(plots),
    )


def _claims(subject: LinesSubject) -> tuple[LinesClaimView, ...]:
    found = []
    for claim in subject.claims:
        text, _, sources = claim.statement.partition("Sources of what decides:\n")
        listed = [line for line in sources.split("\n") if line]
        after = [line for line in listed if not line.startswith("- ")]
        checks = []
        for check in claim.checks:
            value, sense, limit, behind = check_row(check, subject.unit)
            checks.append(
                LinesCheckView(
                    check.name,
                    value,
                    sense,
                    limit or "as found",
                    behind,
                    check.binding,
                    check.reason or "",
                    check.cite,
                    VERIFICATION[check.verification],
                )
            )
        found.append(
            LinesClaimView(
                VERDICT_WORDS[claim.verdict],
                claim.verdict,
                claim.title,
                ", ".join(f"{key} = {value}" for key, value in claim.claimed.items()),
                tuple(line for line in [*text.split("\n"), *after] if line.strip()),
                tuple(line[2:] for line in listed if line.startswith("- ")),
                tuple(checks),
            )
        )
    return tuple(found)


def page(report: LinesReport, subjects: Sequence[LinesSubject]) -> bytes:
    """Give the page of ``accuracy lines``: self-contained, without scripts, same bytes for the same record."""
    told: dict[str, Any] = {
        "title": report.title,
        "verdict": report.verdict,
        "word": VERDICT_WORDS[report.verdict],
        "unit": subjects[0].unit if subjects else None,
        "lines": [_view(subject, place) for place, subject in enumerate(subjects)],
        "findings": report.findings,
        "inputs": report.inputs,
        "cautions": report.cautions,
        "version": report.run.tool_version,
    }
    template = environment().get_template("lines.html")
    return template.render(style=safe(packaged("page.css") + packaged("lines.css")), **told).encode(
        "utf-8"
    )
