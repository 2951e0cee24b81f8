"""A comparison as one page: style, signs and safety of the report's page, see `as_html`."""

from __future__ import annotations

from accuracy.comparison_record import Comparison
from accuracy.reports import html_plots
from accuracy.reports.as_html import environment, packaged, safe
from accuracy.reports.comparison_content import content


def render(comparison: Comparison) -> bytes:
    """Give the page: UTF-8, self-contained, without scripts, the same bytes for the same record."""
    told = content(comparison)
    drawings = [
        None
        if view.svg is None
        else safe(html_plots.inline(view.svg, f"g{i}-", f"Paired plot of {view.name}"))
        for i, view in enumerate(told["groups"])
    ]
    template = environment().get_template("comparison.html")
    page = template.render(style=safe(packaged("page.css")), drawings=drawings, **told)
    return page.encode("utf-8")
