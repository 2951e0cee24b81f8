"""The complete record as JSON."""

from __future__ import annotations

from accuracy.result import Result


def render(result: Result) -> bytes:
    """Give ``result.json``: UTF-8, one trailing newline."""
    return result.to_json().encode("utf-8")
