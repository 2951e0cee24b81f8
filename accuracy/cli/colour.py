"""Colour for verdict words on a terminal; never the only carrier of meaning."""

from __future__ import annotations

import os
import re
import sys

import click

_COLOURS = {
    "PASSES": "blue",
    "FAILS": "bright_red",
    "NO STATEMENT": "yellow",
    "REPORTED": "cyan",
    "NOTHING CLAIMED": "cyan",
    "BETTER": "blue",
    "WORSE": "bright_red",
    "NO DIFFERENCE SHOWN": "cyan",
    "NO VERDICT": "yellow",
}


def with_colour(text: str) -> str:
    """Colour the verdict words of a summary where stdout is a terminal and NO_COLOR is not set."""
    if os.environ.get("NO_COLOR") or sys.stdout is None or not sys.stdout.isatty():
        return text
    words = "|".join(map(re.escape, _COLOURS))
    return re.sub(
        rf"\b({words})\b",
        lambda found: click.style(found[1], fg=_COLOURS[found[1]], bold=True),
        text,
    )
