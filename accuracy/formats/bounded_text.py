"""Lines of a text file, plain or gzip, in bounded memory: records in fixed columns, as receivers write them."""

from __future__ import annotations

import gzip
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from accuracy.errors import FormatError

#: A line longer than this is no line of the formats read here (RINEX 3 allows some thousand characters).
LONGEST_LINE_BYTES = 16_384
_GZIP = b"\x1f\x8b"
_COMPRESS = b"\x1f\x9d"


def lines(path: Path, *, most_bytes: int, what: str) -> Iterator[str]:
    """Yield the lines of a file without their ends, decompressed; stop after `most_bytes`.

    Parameters
    ----------
    most_bytes : int
        No more than this is read after decompression, however much there is.
    what : str
        What the file should be, for messages: ``a RINEX observation file``.

    Raises
    ------
    FormatError
        The file is missing or cannot be read, is compressed in a way that is not read here, holds bytes that
        no text has or a line without end, or its compressed data breaks off.
    """
    where = str(path)
    read = 0
    try:
        with path.open("rb") as raw:
            start = raw.read(2)
            raw.seek(0)
            if start == _COMPRESS:
                raise FormatError(
                    "is compressed by the old Unix compress (.Z), which is not read",
                    where=where,
                    remedy="decompress it, or compress it by gzip",
                )
            stream: IO[bytes] = gzip.GzipFile(fileobj=raw) if start == _GZIP else raw  # type: ignore[assignment]  # both read bytes
            number = 0
            # a file of empty lines is as slow as many times its size
            while read < most_bytes and number < most_bytes // 32:
                line = stream.readline(LONGEST_LINE_BYTES + 1)
                if not line:
                    return
                number += 1
                read += len(line)
                if len(line) > LONGEST_LINE_BYTES or b"\0" in line:
                    raise FormatError(
                        f"is not {what}: line {number} "
                        + ("holds zero bytes" if b"\0" in line else "does not end"),
                        where=where,
                        remedy=f"name {what}",
                    )
                yield _text(line.rstrip(b"\r\n"), first=number == 1)
    except (EOFError, zlib.error, gzip.BadGzipFile) as error:
        raise FormatError(
            f"its gzip data breaks off or is damaged ({error})",
            where=where,
            remedy="copy or download the file again",
        ) from error
    except OSError as error:
        raise FormatError(
            "cannot be read: "
            + (
                "no such file"
                if isinstance(error, FileNotFoundError)
                else str(error.strerror or error)
            ),
            where=where,
        ) from error


def _text(line: bytes, *, first: bool) -> str:
    try:
        text = line.decode("utf-8")
    except UnicodeDecodeError:
        text = line.decode("latin-1")
    return text.removeprefix("\ufeff") if first else text
