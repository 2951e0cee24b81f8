"""The comparison as JSON: the complete record."""

from __future__ import annotations

from accuracy.comparison_record import Comparison


def render(comparison: Comparison) -> str:
    """Give the JSON text."""
    return comparison.to_json()
