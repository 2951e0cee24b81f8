"""Flight lines in the PDF: strings and lists for the template, as `pdf_content` gives the rest."""

from __future__ import annotations

from typing import Any

from accuracy.reports.lines_view import check_row, facts, subjects_of, tables
from accuracy.reports.plots_lines import LINES_PLOTS, lines_svg
from accuracy.reports.words import VERDICT_WORDS
from accuracy.result import Result


def content(result: Result, *, drawings: bool = True) -> list[dict[str, Any]]:
    """Give one entry for each cloud whose lines were compared."""
    told = []
    for subject in subjects_of(result):
        claims = []
        for claim in subject.claims:
            claimed = ", ".join(f"{key} = {value}" for key, value in claim.claimed.items())
            rows = []
            for check in claim.checks:
                value, sense, limit, behind = check_row(check, subject.unit)
                remark = "" if check.binding else "does not decide"
                if check.reason and check.binding:
                    remark = f"no statement: {check.reason}"
                rows.append([check.name, value, f"{sense} {limit}".strip(), behind, remark])
            claims.append(
                {
                    "verdict": claim.verdict,
                    "word": VERDICT_WORDS[claim.verdict],
                    "title": claim.title,
                    "claimed": claimed,
                    "statement": [line for line in claim.statement.split("\n") if line.strip()],
                    "rows": rows,
                }
            )
        plots = []
        for name, about in LINES_PLOTS.items():
            drawing = lines_svg(subject, name) if drawings else None
            if drawing is not None:
                plots.append(
                    {
                        "title": about.title,
                        "shows": about.shows,
                        "svg": drawing,
                    }
                )
        told.append(
            {
                "name": subject.name,
                "claims": claims,
                "facts": [list(fact) for fact in facts(subject)],
                "tables": [
                    {
                        "title": table.title,
                        "note": table.note,
                        "heads": list(table.heads),
                        "rows": [list(row) for row in table.rows],
                        "left": sorted(table.left),
                        "more": table.more,
                    }
                    for table in tables(subject)
                ],
                "plots": plots,
            }
        )
    return told
