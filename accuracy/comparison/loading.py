"""Find a run: a result file, a result folder, or a number in a ledger."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path

from accuracy.errors import ResultError, UsageError
from accuracy.result import Result, parse_result

#: How a run of the ledger is named. With ``#`` it must stand in quotes: shells take it for a comment.
_NUMBER = re.compile(r"(?:ledger:|#)([0-9]{1,18})")


@dataclass(frozen=True)
class LoadedRun:
    """A result with the label it was asked for by, and the SHA-256 of its file."""

    label: str
    sha256: str
    result: Result


def load_run(named: str | Path, ledger: Path | None = None) -> LoadedRun:
    """Read a run.

    Parameters
    ----------
    named : str or Path
        ``result.json``, the folder that holds it, a baseline, or ``ledger:12``.
    ledger : Path, optional
        Ledger that numbers refer to.

    Raises
    ------
    ResultError, UsageError
        There is no such run, or it is not a result of this format version.
    """
    number = _NUMBER.fullmatch(str(named))
    if number:
        return _from_ledger(int(number[1]), ledger)
    path = Path(named)
    try:
        path = path / "result.json" if path.is_dir() else path
        content = path.read_bytes()
    except (OSError, ValueError) as error:
        raise ResultError(
            f"cannot be read: {getattr(error, 'strerror', None) or error}",
            where=str(path),
            remedy="name a result.json, the folder that accuracy verify wrote, or ledger:NUMBER",
        ) from error
    return LoadedRun(
        Path(named).as_posix(), hashlib.sha256(content).hexdigest(), _parsed(content, str(path))
    )


def _from_ledger(number: int, path: Path | None) -> LoadedRun:
    from accuracy.ledger import Ledger

    if path is None:
        raise UsageError(
            f"ledger:{number} names a run of a ledger, and no ledger is named",
            remedy="add --ledger FILE",
        )
    with Ledger.open(path) as ledger:
        entry, content = ledger.entry(number)
    return LoadedRun(f"ledger:{number}", entry.sha256, _parsed(content, f"{path}, run {number}"))


def _parsed(content: bytes, where: str) -> Result:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ResultError(
            "is not JSON", where=where, remedy="hand in a result.json written by accuracy verify"
        ) from error
    return parse_result(text, where)
