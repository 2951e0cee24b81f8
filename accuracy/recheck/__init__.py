"""A finished result held against itself and against the files that were delivered.

Is the record as it was written, and are the pictures beside it those that it names (`record.py`)? Who signed it
(`signing.py`)? Are the files those that were tested (`files.py`)? Do figures and verdicts follow from the
residuals (`again.py`)?
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from accuracy.recheck.again import computed_again, judged_again
from accuracy.recheck.files import FilesChecked, check_files
from accuracy.recheck.record import Recheck, as_written, pictures_beside, read_record
from accuracy.recheck.signing import SIGNATURE_SUFFIX, check_signature, sign
from accuracy.result import parse_result

__all__ = ["SIGNATURE_SUFFIX", "Recheck", "recheck", "sign"]


def recheck(
    path: Path,
    files: Path | None = None,
    key: Path | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> Recheck:
    """Recheck a ``result.json``.

    Parameters
    ----------
    path : Path
        The record.
    files : Path, optional
        Folder of the files that were delivered; by default the folder that holds the result's folder, where
        ``accuracy verify`` leaves it.
    key : Path, optional
        Public key of the one who must have signed it, PEM.

    Raises
    ------
    ResultError
        The file is no result, or cannot be read.
    UsageError
        The folder or the key cannot be used.
    """
    content, data, repeated = read_record(path)
    result = parse_result(content.decode("utf-8"), str(path))
    findings = [*as_written(data, repeated), *pictures_beside(result, path.parent)]
    signed, more = check_signature(content, path, key)
    findings += more
    progress("looking for the files")
    checked: FilesChecked = check_files(result, path, files, progress)
    findings += checked.findings
    progress("computing figures again")
    findings += computed_again(result)
    progress("judging again")
    findings += judged_again(result, checked.places)
    return Recheck(
        path=path,
        digest=str(data["run"].get("digest")) if isinstance(data.get("run"), dict) else "",
        signed=signed,
        files=checked.files,
        figures=sum(len(dataset.figures) for dataset in result.datasets),
        claims=sum(len(dataset.claims) for dataset in result.datasets),
        findings=tuple(findings),
    )
