"""The record itself: its digest, the pictures that it names; and what a recheck found."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from accuracy.digest import digest_of
from accuracy.errors import ExitCode, ResultError
from accuracy.findings import Finding, Severity
from accuracy.provenance import sha256_of
from accuracy.result import Result, named_side_files, plain

State = Literal["same", "renamed", "differs", "missing", "extra"]


@dataclass(frozen=True)
class FileState:
    """One file: as the record names it, its part in the test, what became of it, and where it was found."""

    path: str
    role: str
    state: State
    found: str | None = None


@dataclass(frozen=True)
class Recheck:
    """What a recheck found.

    Attributes
    ----------
    path : Path
        The record.
    digest : str
        As the record states it.
    signed : str or None
        What is known of a signature, in words; None without one.
    files : tuple of FileState
        Every file of the record, and files that it does not know.
    figures, claims : int
        How many were computed and judged again.
    findings : tuple of Finding
        Codes ``recheck-...``.
    """

    path: Path
    digest: str
    signed: str | None
    files: tuple[FileState, ...]
    figures: int
    claims: int
    findings: tuple[Finding, ...]

    @property
    def sound(self) -> bool:
        """Whether nothing blocking was found."""
        return not any(finding.severity is Severity.BLOCKING for finding in self.findings)

    @property
    def exit_code(self) -> ExitCode:
        """What the process tells its caller: 0 where it is sound, else 1."""
        return ExitCode.PASSES if self.sound else ExitCode.FAILS

    def to_json(self) -> str:
        """Write what was found as JSON."""
        data = {"format": "accuracy-recheck", "format_version": 1, "sound": self.sound}
        return json.dumps(data | plain(self), ensure_ascii=False, indent=1) + "\n"


def read_record(path: Path) -> tuple[bytes, dict[str, Any], tuple[str, ...]]:
    """Read the bytes of a record, its values, and the keys that stand in it twice.

    Raises
    ------
    ResultError
        It cannot be read, or is no JSON object.
    """
    remedy = "hand in a result.json written by accuracy verify"
    repeated: list[str] = []

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) < len(pairs):
            names = [name for name, _ in pairs]
            repeated.extend(sorted({name for name in names if names.count(name) > 1}))
        return found

    try:
        content = path.read_bytes()
        data = json.loads(content.decode("utf-8"), object_pairs_hook=once)
    except OSError as error:
        raise ResultError(
            f"cannot be read: {error.strerror}", where=str(path), remedy=remedy
        ) from error
    except (ValueError, RecursionError) as error:
        raise ResultError("is not JSON", where=str(path), remedy=remedy) from error
    if not isinstance(data, dict):
        raise ResultError("is not an accuracy result", where=str(path), remedy=remedy)
    return content, data, tuple(repeated)


def as_written(data: dict[str, Any], repeated: tuple[str, ...]) -> Iterator[Finding]:
    """Compare the record with its own digest."""
    run = data.get("run")
    stated = run.get("digest") if isinstance(run, dict) else None
    if repeated:
        yield Finding(
            "recheck-digest",
            Severity.BLOCKING,
            f"keys stand twice in the record, so that readers may see different values: "
            f"{', '.join(repeated[:5])}",
            evidence={"keys": len(repeated)},
        )
    if stated is None:
        yield Finding(
            "recheck-digest",
            Severity.BLOCKING,
            "the record states no digest of its own: an earlier version of this tool wrote it, or it was taken "
            "away, and nothing shows whether the record was changed",
            remedy="verify the job again",
        )
        return
    try:
        found = digest_of(data)
    except ValueError:
        found = "none: the record holds a number that no result does"
    if found != stated:
        yield Finding(
            "recheck-digest",
            Severity.BLOCKING,
            f"the record is not as it was written: its digest is {found}, and it states {stated}",
            evidence={"found": found, "stated": str(stated)},
            remedy="ask for the record as it was handed over, or verify the job again",
        )


def pictures_beside(result: Result, folder: Path) -> Iterator[Finding]:
    """Compare the pictures beside the record with the hashes in it."""
    for name, sha256 in named_side_files(result):
        path = folder / name
        inside = path.resolve().is_relative_to(folder.resolve())
        if not inside or not path.is_file():
            yield Finding(
                "recheck-picture",
                Severity.WARNING,
                f"the picture {name} that the record names is not beside it",
            )
        elif sha256_of(path) != sha256:
            yield Finding(
                "recheck-picture",
                Severity.BLOCKING,
                f"the picture {name} is not the one that the record names: its SHA-256 differs",
                remedy="ask for the whole folder as it was handed over",
            )
