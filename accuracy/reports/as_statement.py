"""The printed conclusions: one statement for each claim, and the cautions."""

from __future__ import annotations

import textwrap

from accuracy.reports.words import printable, printable_lines
from accuracy.result import Result

WIDTH = 96


def _wrap(text: str) -> str:
    return "\n".join(
        textwrap.fill(line, WIDTH, break_long_words=False, break_on_hyphens=False)
        for line in text.split("\n")
    )


def render(result: Result) -> bytes:
    """Give ``statement.txt``: plain UTF-8 text."""
    job = result.job.get("job", {})
    title = printable(str(job.get("title", "")))
    parts = ["STATEMENT OF POSITIONAL ACCURACY", title]
    parts += [
        f"{label}: {printable(str(job[key]))}"
        for key, label in (
            ("site", "Site"),
            ("prepared_for", "Prepared for"),
            ("prepared_by", "Prepared by"),
            ("flown", "Flown"),
        )
        if job.get(key)
    ]
    for dataset in result.datasets:
        for claim in dataset.claims:
            parts += [
                "",
                f"{printable(dataset.name)}, {printable(claim.title)}",
                "-" * WIDTH,
                _wrap(printable_lines(claim.statement)),
            ]
        if not dataset.claims:
            parts += ["", f"{printable(dataset.name)}: nothing was claimed; see the figures."]
    for name, lines in result.lines.items():
        for on_lines in lines["claims"]:
            head = f"{printable(name)}, flight lines, {printable(on_lines['title'])}"
            parts += ["", head, "-" * WIDTH, _wrap(printable_lines(on_lines["statement"]))]
    parts += ["", "Files tested (SHA-256)", "-" * WIDTH]
    parts += [
        f"{item.sha256}  {printable(item.path)}"
        for item in result.inputs
        if item.role in ("deliverable", "checkpoints")
    ]
    own = [item for item in result.inputs if item.role == "standard"]
    if own:
        parts += ["", "Client's own specifications (SHA-256)", "-" * WIDTH]
        parts += [f"{item.sha256}  {printable(item.path)}" for item in own]
    parts += ["", "Cautions", "-" * WIDTH]
    parts += [
        textwrap.fill(f"- {caution}", WIDTH, subsequent_indent="  ") for caution in result.cautions
    ]
    return ("\n".join(parts) + "\n").encode("utf-8")
