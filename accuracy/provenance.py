"""Where a result comes from: hashes of the inputs, versions of what computed."""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from importlib import metadata
from pathlib import Path
from types import TracebackType

from accuracy.errors import FormatError

#: Libraries whose version can change a number or a byte of the result.
LIBRARIES = ("numpy", "scipy", "pyproj", "lazrs", "laspy", "rasterio", "pandas", "pydantic")

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
    """

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(max_workers=1)
        self._hashes: dict[Path, Future[str]] = {}

    def __enter__(self) -> Hashing:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Wait for what runs; drop the rest."""
        self._pool.shutdown(wait=True, cancel_futures=True)

    def begin(self, paths: Iterable[Path]) -> None:
        """Queue files."""
        for path in paths:
            if path not in self._hashes:
                self._hashes[path] = self._pool.submit(sha256_of, path)

    def of(self, path: Path) -> str:
        """Give the hash of a file, waiting for it if need be."""
        self.begin([path])
        return self._hashes[path].result()


def library_versions() -> dict[str, str]:
    """Give the versions of the libraries that compute, as installed."""
    return {name: metadata.version(name) for name in LIBRARIES}


def python_version() -> str:
    """Give name and version of the interpreter."""
    return f"{platform.python_implementation()} {platform.python_version()}"
