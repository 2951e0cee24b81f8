"""Photographs that a table of checkpoints names: found, hashed, and scaled for the report."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from accuracy.errors import FormatError
from accuracy.findings import Finding, Severity
from accuracy.formats.photograph import scaled_photograph
from accuracy.inputs.checkpoints import Checkpoint
from accuracy.job.files import located

#: Largest photograph that is read, bytes.
LARGEST = 60_000_000


@dataclass(frozen=True)
class Photograph:
    """One photograph: as the table names it, its size and hash; the scaled copy, and the name of its file."""

    written: str
    size: int
    sha256: str
    file: str
    scaled: bytes

    @property
    def record(self) -> dict[str, Any]:
        """The value of ``photograph`` in ``result.schema.json``."""
        return {
            "written": self.written,
            "bytes": self.size,
            "sha256": self.sha256,
            "file": self.file,
            "scaled_sha256": hashlib.sha256(self.scaled).hexdigest(),
        }


def photographs_of(
    points: Sequence[Checkpoint], folder: Path
) -> tuple[dict[str, Photograph], tuple[Finding, ...]]:
    """Read the photographs of all points, by id; those that cannot be had are told."""
    found: dict[str, Photograph] = {}
    problems: list[str] = []
    for point in points:
        written = point.survey.photograph
        if not written:
            continue
        try:
            path = located(folder, written)
            size = path.stat().st_size
            if size > LARGEST:
                raise FormatError(f"has {size / 1e6:.0f} MB", where=written)
            content = path.read_bytes()
            scaled = scaled_photograph(content, written)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or "no such file"
            problems.append(f"{point.id}: {written}: {reason}")
            continue
        except FormatError as error:
            problems.append(f"{point.id}: {written}: {error.message}")
            continue
        digest = hashlib.sha256(content).hexdigest()
        file = f"photo-{len(found) + 1}.jpg"
        name = PurePosixPath(written.replace("\\", "/")).as_posix()
        found[point.id] = Photograph(name, size, digest, file, scaled)
    if not problems:
        return found, ()
    told = "; ".join(problems[:5]) + (" ..." if len(problems) > 5 else "")
    return found, (
        Finding(
            "checkpoints-photograph",
            Severity.WARNING,
            f"{len(problems)} photograph{'s' * (len(problems) > 1)} cannot be shown: {told}",
            evidence={"points": len(problems)},
            remedy="name JPEG or PNG files, relative to the table of checkpoints",
        ),
    )
