"""The error tree: every error a user can meet, with a stable code and the exit code it leads to.

::

    AccuracyError            root; never raised itself
    ├── UsageError           the command line was used wrongly
    ├── JobError             the job file cannot be used (all its mistakes at once)
    ├── InputError           a checkpoint or measured-points table cannot be used
    ├── FormatError          a cloud or raster cannot be read
    ├── ReferenceSystemError a coordinate reference system cannot be understood
    ├── StandardsError       a standard's file, or a claim on it, cannot be used
    ├── ResultError          a result cannot be written or read
    ├── LedgerError          a ledger cannot be used
    └── NoStatementError     a test of a claim has no statement to go by

Raise when the run cannot go on. When it can, return a `accuracy.findings.Finding` instead.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum


class ExitCode(IntEnum):
    """What the process tells its caller; documented in ``--help`` and the README."""

    PASSES = 0
    FAILS = 1
    COULD_NOT_RUN = 2
    NO_STATEMENT = 3
    FAULT_IN_TOOL = 70
    INTERRUPTED = 130


@dataclass(frozen=True)
class Problem:
    """One mistake in something a person wrote.

    Attributes
    ----------
    where : str
        Place: a file with line and column, or the path of a key such as ``dataset[0].kind``.
    found : str
        What stands there.
    allowed : str
        What may stand there, or what to do.
    """

    where: str
    found: str
    allowed: str

    def __str__(self) -> str:
        return (
            f"{self.where}: {self.found}; {self.allowed}"
            if self.allowed
            else f"{self.where}: {self.found}"
        )


class AccuracyError(Exception):
    """Root of all errors of this package.

    Parameters
    ----------
    message : str
        What is wrong, in one sentence.
    where : str, optional
        File, line, point or key.
    remedy : str, optional
        What to do next.
    problems : sequence of Problem, optional
        All mistakes found, where there can be several.
    """

    code = "error"
    exit_code = ExitCode.COULD_NOT_RUN

    def __init__(
        self,
        message: str,
        *,
        where: str | None = None,
        remedy: str | None = None,
        problems: tuple[Problem, ...] = (),
    ) -> None:
        self.message = message
        self.where = where
        self.remedy = remedy
        self.problems = problems
        super().__init__(str(self))

    def __str__(self) -> str:
        text = f"{self.where}: {self.message}" if self.where else self.message
        lines = [text, *(f"  - {problem}" for problem in self.problems)]
        if self.remedy:
            lines.append(f"  remedy: {self.remedy}")
        return "\n".join(lines)


class UsageError(AccuracyError):
    """The command line was used wrongly."""

    code = "usage"


class JobError(AccuracyError):
    """The job file cannot be used."""

    code = "job"


class InputError(AccuracyError):
    """A table of points cannot be used."""

    code = "input"


class FormatError(AccuracyError):
    """A point cloud or raster cannot be read."""

    code = "format"


class ReferenceSystemError(AccuracyError):
    """A coordinate reference system cannot be understood."""

    code = "reference-system"


class StandardsError(AccuracyError):
    """A standard's file, or a claim made on it, cannot be used."""

    code = "standard"


class ResultError(AccuracyError):
    """A result cannot be written or read."""

    code = "result"


class LedgerError(AccuracyError):
    """A ledger cannot be used."""

    code = "ledger"


class NoStatementError(AccuracyError):
    """A claim can have no statement, so it is neither met nor missed."""

    code = "no-statement"
    exit_code = ExitCode.NO_STATEMENT
