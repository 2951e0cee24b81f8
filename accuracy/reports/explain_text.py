"""Each formula of a claim with the job's own numbers put in, as text."""

from __future__ import annotations

from collections.abc import Mapping

from accuracy.standards.judge import Evidence
from accuracy.standards.judge.explained import explain
from accuracy.standards.library import Standard


def render_explained(
    standard: Standard, claimed: Mapping[str, float | int | str | bool], evidence: Evidence
) -> str:
    """Write the steps to every figure and rule of one claim; see `accuracy.standards.judge.explained`."""
    claim = ", ".join(f"{key} = {value}" for key, value in claimed.items())
    lines = [f"{evidence.dataset}, {standard.id}{f' ({claim})' if claim else ''}"]
    for its in explain(standard, claimed, evidence):
        source = "; ".join(filter(None, (its.source, its.mark)))
        lines.append(f"  {its.what}{f' [{source}]' if source else ''}")
        lines += [f"    {line}" for line in its.lines]
    return "\n".join(lines) + "\n"
