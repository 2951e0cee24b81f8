"""Where a result comes from: hashes of the inputs, versions of what computed."""

from __future__ import annotations

import hashlib
import json
import platform
import re
from collections.abc import Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from importlib import metadata
from pathlib import Path
from types import TracebackType
from typing import Any

from accuracy.errors import FormatError

#: Libraries whose version can change a number or a byte of the result.
LIBRARIES = ("numpy", "scipy", "pyproj", "lazrs", "laspy", "rasterio", "pandas", "pydantic")

RECORD_FORMAT = "accuracy-hashes"

_BLOCK_BYTES = 1 << 20


def sha256_of(path: Path) -> str:
    """Give the SHA-256 of a file, read in blocks.

    Raises
    ------
    FormatError
        The file cannot be read.
    """
    digest = hashlib.sha256()
    try:
        with path.open("rb") as stream:
            while block := stream.read(_BLOCK_BYTES):
                digest.update(block)
    except OSError as error:
        raise FormatError(
            f"cannot be read: {error.strerror or error}", where=str(path), remedy="check the file"
        ) from error
    return digest.hexdigest()


class Hashing:
    """Hash files in the background while they are being read for their points.

    Each file is hashed once, however often it is named. Leaving the context early drops what is waiting.

    Parameters
    ----------
    record : Path, optional
        File of hashes computed before. A file whose size and time are those recorded is not hashed again;
        what is hashed is recorded.

    Attributes
    ----------
    notes : list of str
        Which hashes were taken from the record, and what is wrong with it.
    """

    def __init__(self, record: Path | None = None) -> None:
        self._pool = ThreadPoolExecutor(max_workers=1)
        self._hashes: dict[Path, Future[str]] = {}
        self.notes: list[str] = []
        self._record = record
        self._known: dict[str, dict[str, Any]] = {}
        self._states: dict[Path, dict[str, int]] = {}
        if record is not None:
            self._known, problem = _read_record(record)
            self.notes += [f"recorded hashes were not used: {problem}"] if problem else []

    def __enter__(self) -> Hashing:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Wait for what runs; drop the rest; record what was hashed unless something failed."""
        self._pool.shutdown(wait=True, cancel_futures=True)
        if self._record is not None and kind is None:
            self._keep(self._record)

    def begin(self, paths: Iterable[Path]) -> None:
        """Queue files."""
        for path in paths:
            if path not in self._hashes:
                self._hashes[path] = self._recorded(path) or self._pool.submit(sha256_of, path)

    def of(self, path: Path) -> str:
        """Give the hash of a file, waiting for it if need be."""
        self.begin([path])
        return self._hashes[path].result()

    def _recorded(self, path: Path) -> Future[str] | None:
        if self._record is None:
            return None
        self._states[path] = state = _state(path)
        entry = self._known.get(path.absolute().as_posix(), {})
        if not state or {key: entry.get(key) for key in state} != state:
            return None
        future: Future[str] = Future()
        future.set_result(str(entry["sha256"]))
        self.notes.append(
            f"{path.name}: its SHA-256 was recorded by an earlier run and not computed again; its size and "
            "time have not changed since"
        )
        return future

    def _keep(self, record: Path) -> None:
        for path, state in self._states.items():
            if state and state == _state(path):  # it did not change while it was hashed
                self._known[path.absolute().as_posix()] = state | {"sha256": self.of(path)}
        content = {"format": RECORD_FORMAT, "version": 1, "files": self._known}
        aside = record.with_name(f"~{record.name}")
        try:
            record.parent.mkdir(parents=True, exist_ok=True)
            aside.write_text(json.dumps(content, indent=1, sort_keys=True), encoding="utf-8")
            aside.replace(record)
        except OSError as error:
            self.notes.append(f"hashes could not be recorded: {error.strerror or error}")
            with suppress(OSError):
                aside.unlink(missing_ok=True)


def _state(path: Path) -> dict[str, int]:
    """Give what must agree before a recorded hash is taken; empty where it cannot be told."""
    try:
        found = path.stat()
    except OSError:
        return {}
    return {"bytes": found.st_size, "mtime_ns": found.st_mtime_ns}


def _read_record(record: Path) -> tuple[dict[str, dict[str, Any]], str | None]:
    """Read recorded hashes; or say why they cannot be used."""
    try:
        content = json.loads(record.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}, None
    except (OSError, ValueError) as error:
        return {}, f"{record.name} cannot be read ({error})"
    files = content.get("files") if isinstance(content, dict) else None
    if isinstance(files, dict) and content.get("format") == RECORD_FORMAT:
        entries = files.values()
        if all(isinstance(entry, dict) for entry in entries) and all(
            re.fullmatch("[0-9a-f]{64}", str(entry.get("sha256"))) for entry in entries
        ):
            return files, None
    return {}, f"{record.name} is not a record of hashes, or damaged"


def library_versions() -> dict[str, str]:
    """Give the versions of the libraries that compute, as installed."""
    return {name: metadata.version(name) for name in LIBRARIES}


def python_version() -> str:
    """Give name and version of the interpreter."""
    return f"{platform.python_implementation()} {platform.python_version()}"
