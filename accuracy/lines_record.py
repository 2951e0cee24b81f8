"""The record of ``accuracy lines``: flight lines of files or of a job without checkpoints, to and from JSON.

What stands under the name of a cloud is what a result holds in ``lines``. The shape is that of
``accuracy/lines.schema.json``, which is shipped with the package.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, fields
from importlib import resources
from typing import Any

from accuracy.errors import ExitCode
from accuracy.findings import Finding, Severity
from accuracy.result import Overall, Run, plain

FORMAT = "accuracy-lines"

#: 1: first.
FORMAT_VERSION = 1


@dataclass(frozen=True)
class LinesInput:
    """One file that was read."""

    path: str
    dataset: str | None
    format: str
    bytes: int
    sha256: str
    reference: str | None


@dataclass(frozen=True)
class LinesReport:
    """All that ``accuracy lines`` found.

    Attributes
    ----------
    title : str
        Of the job, or of what was handed in.
    display_unit : str
        Unit that views show lengths in.
    lines : mapping
        Name of the point cloud to its record, as in ``result.json``.
    """

    run: Run
    title: str
    display_unit: str
    inputs: tuple[LinesInput, ...]
    lines: Mapping[str, Mapping[str, Any]]
    findings: tuple[Finding, ...]
    cautions: tuple[str, ...]
    verdict: Overall
    format: str = FORMAT
    format_version: int = FORMAT_VERSION

    @property
    def exit_code(self) -> ExitCode:
        """What the process tells its caller."""
        if self.verdict == "fails" or any(f.severity is Severity.BLOCKING for f in self.findings):
            return ExitCode.FAILS
        return ExitCode.NO_STATEMENT if self.verdict == "no-statement" else ExitCode.PASSES

    def to_json(self) -> str:
        """Write the record as JSON text."""
        order = ["format", "format_version"]
        order += [field.name for field in fields(self) if field.name not in order]
        data: dict[str, Any] = {name: plain(getattr(self, name)) for name in order}
        del data["run"]["digest"]  # kept in results alone
        return json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def lines_schema() -> dict[str, Any]:
    """Give the JSON Schema of ``lines.json``."""
    text = resources.files("accuracy").joinpath("lines.schema.json").read_text("utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema
