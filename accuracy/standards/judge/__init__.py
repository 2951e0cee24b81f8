"""The judge: the only place that sets a verdict.

A claim has up to three parts (vertical, horizontal, 3d). Each part is computed, then a list of rules is
asked; a rule that gives a reason takes the statement away, whatever the numbers say.
"""

from __future__ import annotations

from accuracy.standards.judge.line_values import line_values
from accuracy.standards.judge.lines import (
    LineCheck,
    LineEvidence,
    LineJudgement,
    LineValue,
    judge_lines,
)
from accuracy.standards.judge.records import (
    Check,
    Evidence,
    Judgement,
    PartJudgement,
    StatementKind,
    TakenHeights,
    Verdict,
)
from accuracy.standards.judge.verdict import judge

__all__ = [
    "Check",
    "Evidence",
    "Judgement",
    "LineCheck",
    "LineEvidence",
    "LineJudgement",
    "LineValue",
    "PartJudgement",
    "StatementKind",
    "TakenHeights",
    "Verdict",
    "judge",
    "judge_lines",
    "line_values",
]
