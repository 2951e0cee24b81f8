"""The documents side by side and the tightest class of each, in words: the same in summary, page and PDF."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from itertools import groupby

from accuracy.reports.html_content import CheckView, check_view
from accuracy.reports.words import VERDICT_WORDS, check_text, document_name, printable
from accuracy.result import Result
from accuracy.standards.judge.side_by_side import DocumentRow, SideBySide
from accuracy.standards.judge.tightest import Tightest
from accuracy.units import LengthUnit

WIDTH = 96


@dataclass(frozen=True)
class RowView:
    """One figure, how its numbers were come by, and how it differs from that of another document."""

    check: CheckView
    mark: str
    why: str


@dataclass(frozen=True)
class DocumentView:
    """The figures of one claim."""

    standard: str
    claimed: str
    verdict: str
    word: str
    rows: tuple[RowView, ...]


@dataclass(frozen=True)
class DatasetView:
    """One dataset by each document; `supported` are pairs of the tightest class and what the next needs."""

    dataset: str
    claims: tuple[DocumentView, ...]
    supported: tuple[tuple[str, str], ...]


def title(result: Result) -> str:
    """Name the section: there may be several documents, or the tightest class of one."""
    several = any(its.rows for its in result.side_by_side)
    return "By each document" if several else "The tightest class that is supported"


def views(result: Result, unit: LengthUnit) -> tuple[DatasetView, ...]:
    """Prepare all datasets for page and PDF, lengths of figures in the display unit."""
    return tuple(
        DatasetView(
            printable(its.dataset),
            tuple(
                DocumentView(
                    document_name(rows[0].standard),
                    _claimed(rows[0]),
                    rows[0].verdict,
                    VERDICT_WORDS[rows[0].verdict],
                    tuple(
                        RowView(check_view(row.check, unit), row.check.verification, differs(row))
                        for row in rows
                    ),
                )
                for rows in _by_claim(its)
            ),
            tuple((supported(found), wanted(found)) for found in its.tightest),
        )
        for its in result.side_by_side
        if its.rows or its.tightest
    )


def _by_claim(its: SideBySide) -> list[list[DocumentRow]]:
    groups = groupby(its.rows, key=lambda row: (row.standard, tuple(row.claimed.items())))
    return [list(rows) for _, rows in groups]


def _claimed(row: DocumentRow) -> str:
    return printable(", ".join(f"{key} = {value}" for key, value in row.claimed.items()))


def differs(row: DocumentRow) -> str:
    """Give the sentence that tells a row from another; empty for the first of the table."""
    if row.unlike is None:
        return ""
    why, other = printable(row.why), document_name(row.unlike)
    if why.startswith("The same"):
        return f"{why[:-1]} as in {other}."
    other = "the first figure of its document" if row.unlike == row.standard else other
    return f"Unlike {other}, {why[:1].lower()}{why[1:]}"


def supported(found: Tightest) -> str:
    """Say what one key of a document could claim."""
    name = document_name(found.standard)
    if found.value is None:
        return f"{name}, {printable(found.key)}: none is supported"
    return f"{name}, {printable(found.key)} = {_value(found.value)} is supported"


def wanted(found: Tightest) -> str:
    """Say what the next class would need; empty where there is no tighter one."""
    if found.tighter is None:
        return ""
    needs = "; ".join(map(printable, found.needed)) or "other data"
    return f"{'any' if found.value is None else _value(found.tighter)} needs {needs}"


def _value(value: float | str) -> str:
    return printable(value) if isinstance(value, str) else f"{value:.6f}".rstrip("0").rstrip(".")


def summary_lines(result: Result, unit: LengthUnit) -> list[str]:
    """Give the lines of ``summary.txt``, a dataset at a time."""
    lines: list[str] = []
    for its in result.side_by_side:
        if its.rows or its.tightest:
            lines.append(f"  {printable(its.dataset)}")
        for rows in _by_claim(its):
            claimed = _claimed(rows[0])
            name = document_name(rows[0].standard) + (f", {claimed}" if claimed else "")
            lines.append(f"    {VERDICT_WORDS[rows[0].verdict]:<14}{name}")
            for row in rows:
                check = printable(f"{check_text(row.check, unit)} [{row.check.verification}]")
                lines.append(_wrapped(check, " " * 18, " " * 20))
                if row.unlike is not None:
                    lines.append(_wrapped(differs(row), " " * 20, " " * 20))
        for found in its.tightest:
            told, more = supported(found), wanted(found)
            lines.append(_wrapped(f"{told}; {more}" if more else told, "    ", "      "))
    return lines


def _wrapped(text: str, first: str, indent: str) -> str:
    return textwrap.fill(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
