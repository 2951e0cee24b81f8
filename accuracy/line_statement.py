"""The printed conclusion on flight lines: what was tested, found, and what cannot be said."""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.findings import Finding, Severity
from accuracy.standards.judge import LineCheck, LineJudgement
from accuracy.standards.judge.lines import UNIT_WORDS, texts
from accuracy.standards.library.line_rules import counted
from accuracy.statement import CAUTIONS, VERIFICATION, Context, head

#: What a statement on flight lines does not say, beside the cautions of every statement.
LINE_CAUTIONS: tuple[str, ...] = (
    "Flight lines that agree with each other may all be wrong by the same amount: only checkpoints tell.",
    *CAUTIONS[1:],
)

_OWN_WORDS = "No wording of the document for flight lines is known; these words are the tool's own."


def compose_lines(judgement: LineJudgement, context: Context, label: str = "") -> str:
    """Write the statement on the flight lines of one claim.

    Parameters
    ----------
    judgement : LineJudgement
        From `accuracy.standards.judge.judge_lines`.
    context : Context
        Names, files, unit.
    label : str
        What a client's own specification is called; empty for published documents.

    Returns
    -------
    str
        Paragraphs separated by line breaks; no trailing line break.
    """
    lines = head(judgement.title, context, label)
    lines += [_conclusion(judgement), *_checks(judgement, context)]
    if judgement.verdict != "no-statement":
        lines.append(_OWN_WORDS)
    told = [finding.message for finding in judgement.findings if _is_remark(finding)]
    lines += [f"Remark: {' '.join(text.split())}." for text in (*told, *context.warnings)]
    marks = list(dict.fromkeys(_marks(judgement)))
    if marks:
        lines += ["Sources of what decides:", *(f"- {mark}" for mark in marks)]
    if context.standalone:
        lines += [f"File: {path}, SHA-256 {digest}" for path, digest in context.files]
        lines += LINE_CAUTIONS
    return "\n".join(lines)


def _is_remark(finding: Finding) -> bool:
    """Whether the statement repeats a finding: not what the sources say number by number."""
    return finding.severity is not Severity.NOTE and finding.code != "claim-number-unverified"


def _conclusion(judgement: LineJudgement) -> str:
    claimed = ", ".join(f"{key} = {value}" for key, value in judgement.claimed.items())
    by = f"{judgement.title}{f' ({claimed})' if claimed else ''}"
    if judgement.verdict == "passes":
        return f"Tested against {by}, the flight lines keep every limit that the document sets for them."
    if judgement.verdict == "fails":
        broken = [check.name for check in judgement.checks if check.verdict == "fails"]
        return f"Tested against {by}, the flight lines do not keep the limit for {'; for '.join(broken)}."
    if judgement.verdict == "no-statement":
        return (
            f"No statement on the flight lines is possible by {by}: {'; '.join(judgement.reasons)}."
        )
    return f"Measured by {by} without a limit; the flight lines were found to be as follows."


def _checks(judgement: LineJudgement, context: Context) -> Iterator[str]:
    for check in judgement.checks:
        yield f"{check.name[0].upper()}{check.name[1:]}: {said(check, context)}."


def said(check: LineCheck, context: Context) -> str:
    """Say one check in words: value, limit, what stands behind it, and why it may prove nothing."""
    if check.value is None:
        return f"not known, {check.reason or 'it was not measured'}"
    value, limit = texts(check, context.display_unit.metres)
    in_lengths = f" {context.display_unit.print_name}"
    unit = in_lengths if check.kind == "length" else UNIT_WORDS[check.kind]
    behind = "" if check.kind == "count" else f" ({counted(check.n, check.counted)})"
    if limit is None:
        return f"{value}{unit}{behind}, as found"
    if check.operator == ">=":
        text = f"{value}{unit}, {'not ' * bool(check.passes)}below the {limit}{unit} wanted{behind}"
    else:
        sign = "within" if check.passes else "beyond"
        text = f"{value}{unit}, {sign} the limit of {limit}{unit}{behind}"
    if not check.binding:
        return f"{text}; this does not decide"
    return f"{text}; no statement, {check.reason}" if check.reason else text


def _marks(judgement: LineJudgement) -> Iterator[str]:
    for check in judgement.checks:
        if check.limit is not None and check.binding:
            yield f"{check.name}: {check.cite}, {VERIFICATION[check.verification]}"
