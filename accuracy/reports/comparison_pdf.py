"""A comparison as PDF: set like the report, see `as_pdf`."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from typing import Any

from accuracy.comparison_record import Comparison
from accuracy.reports.as_pdf import typeset
from accuracy.reports.comparison_content import content
from accuracy.reports.pdf_content import NO_DATE, breakable

TEMPLATE = "comparison.typ"


def render(comparison: Comparison) -> bytes:
    """Give the PDF, dated with the last flight; the same bytes for the same record.

    Raises
    ------
    ResultError
        The typesetter refuses the record.
    """
    told: dict[str, Any] = content(comparison)
    told["groups"] = [asdict(view) for view in told["groups"]]
    days = [_day(run.flown) for run in comparison.runs]
    day = max((its for its in days if its is not None), default=NO_DATE)
    told = breakable(told) | {"date": [day.year, day.month, day.day]}
    return typeset(told, TEMPLATE)


def _day(text: str | None) -> date | None:
    try:
        return date.fromisoformat(text or "")
    except ValueError:
        return None
