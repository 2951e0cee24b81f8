"""Views of a finished comparison, by the ending of the file: no arithmetic of their own."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from types import MappingProxyType

from accuracy.comparison_record import Comparison

#: Ending of the file to the module whose ``render(comparison)`` gives its text or bytes.
KINDS: Mapping[str, str] = MappingProxyType(
    {
        ".txt": "accuracy.reports.comparison_text",
        ".json": "accuracy.reports.comparison_json",
        ".html": "accuracy.reports.comparison_html",
        ".pdf": "accuracy.reports.comparison_pdf",
        ".svg": "accuracy.reports.comparison_plot",
    }
)


def render(comparison: Comparison, kind: str) -> bytes:
    """Make one view."""
    content: str | bytes = importlib.import_module(KINDS[kind]).render(comparison)
    return content.encode("utf-8") if isinstance(content, str) else content
