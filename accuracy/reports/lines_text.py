"""Flight lines as plain text: what ``accuracy lines`` prints, and the block in the summary of a result."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence

from accuracy.findings import Finding, Severity
from accuracy.reports.lines_view import ClaimLines, LinesSubject, Table, check_row, facts, tables
from accuracy.reports.words import VERDICT_WORDS, printable
from accuracy.result import Overall

WIDTH = 96
LABEL = 16


def render(
    title: str, verdict: Overall, subjects: Sequence[LinesSubject], findings: Sequence[Finding]
) -> str:
    """Give the whole text, the verdict first."""
    lines = [f"{VERDICT_WORDS[verdict]}   flight lines: {printable(title)}"]
    for subject in subjects:
        lines += ["", f"Flight lines of {printable(subject.name)}", "-" * WIDTH]
        for claim in subject.claims:
            lines += claim_lines(claim, subject)
        lines += _facts(subject)
        for table in tables(subject):
            lines += ["", *table_lines(table)]
    lines += ["", "Findings", "-" * WIDTH, *_findings(findings)]
    return "\n".join(lines) + "\n"


def short(subject: LinesSubject) -> list[str]:
    """Give the block for the summary of a result: claims, facts and the table of pairs."""
    lines = [f"  {printable(subject.name)}"]
    for claim in subject.claims:
        lines += claim_lines(claim, subject)
    lines += _facts(subject)
    for table in tables(subject):
        if table.title == "Line against line":
            lines += table_lines(table)
    return lines


def _facts(subject: LinesSubject) -> Iterator[str]:
    for label, text in facts(subject):
        yield from _wrapped(text, f"  {label:<{LABEL}}", " " * (LABEL + 2))


def _wrapped(text: str, first: str, rest: str) -> list[str]:
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=rest,
        break_on_hyphens=False,
        break_long_words=False,
    ) or [first.rstrip()]


def claim_lines(claim: ClaimLines, subject: LinesSubject) -> list[str]:
    """Give one claim with its checks."""
    claimed = ", ".join(f"{key} = {value}" for key, value in claim.claimed.items())
    lines = [
        f"  {VERDICT_WORDS[claim.verdict]:<14}{printable(claim.standard)}"
        + (f", {printable(claimed)}" if claimed else "")
    ]
    for check in claim.checks:
        value, sign, limit, behind = check_row(check, subject.unit)
        told = f"{check.name}: {value}"
        told += f" {sign} {limit}" if limit else ""
        told += f" ({behind})" if behind else ""
        if check.limit is not None and not check.binding:
            told += "; does not decide"
        lines += _wrapped(printable(f"{told} [{check.cite}]"), " " * 16, " " * 18)
        if check.reason and check.binding:
            lines += _wrapped(printable(f"no statement: {check.reason}"), " " * 18, " " * 20)
    return lines


def table_lines(table: Table) -> list[str]:
    """Align a table: text to the left, numbers to the right."""
    body = [table.heads, *table.rows]
    widths = [max(len(row[i]) for row in body) for i in range(len(table.heads))]
    lines = [f"  {table.title}", *_wrapped(table.note, "  ", "  ")]
    lines += [
        "  "
        + "  ".join(
            cell.ljust(width) if i in table.left else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in body
    ]
    if table.more:
        lines.append(f"    and {table.more} more, in the record")
    return lines


def _findings(findings: Iterable[Finding]) -> list[str]:
    lines = []
    its = list(findings)
    for severity in (Severity.BLOCKING, Severity.WARNING, Severity.NOTE):
        for finding in its:
            if finding.severity is not severity:
                continue
            about = f"{finding.dataset}: " if finding.dataset else ""
            lines += _wrapped(
                printable(f"{about}{finding.message} [{finding.code}]"),
                f"  {severity.value:<9} ",
                " " * 12,
            )
            if finding.remedy and severity is not Severity.NOTE:
                lines += _wrapped(printable(f"-> {finding.remedy}"), " " * 12, " " * 15)
    return lines or ["  none"]
