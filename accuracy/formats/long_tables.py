"""Long tables of numbers, such as a trajectory at 200 Hz: read in blocks, each row with its line in the file.

`accuracy.formats.tables` keeps every cell as text and suits hundreds of points; here memory is bounded by the
block, and numbers become arrays at once.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from types import MappingProxyType
from typing import TextIO

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import InputError
from accuracy.formats.tables import is_number

BLOCK_ROWS = 50_000
#: The header is looked for among so many lines.
HEAD_LINES = 200
#: No line of a trajectory is longer; a longer one is a file without line ends.
LONGEST_LINE = 100_000

DELIMITERS: Mapping[str, str] = MappingProxyType(
    {"comma": ",", "semicolon": ";", "tab": "\t", "blanks": " "}
)
_MARKS = (
    (b"\xff\xfe\x00\x00", "utf-32"),
    (b"\x00\x00\xfe\xff", "utf-32"),
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)
_COMMENT = ("#", "//", "%")


@dataclass(frozen=True)
class Head:
    """The header of a long table.

    Attributes
    ----------
    names : tuple of str
        Columns as written.
    units : tuple of str
        The row of units under the header, such as ``(m)``; empty where there is none.
    line : int
        Line of the header, from 1.
    first : int
        First line after header and units.
    delimiter : str
        One of the signs of `DELIMITERS`; a blank stands for any run of blanks and tabs.
    decimal_comma : bool
        Numbers are written with a comma.
    """

    path: Path
    names: tuple[str, ...]
    units: tuple[str, ...]
    line: int
    first: int
    delimiter: str
    decimal_comma: bool


@dataclass(frozen=True, eq=False)
class Block:
    """Some consecutive rows.

    Attributes
    ----------
    lines : ndarray of int64, shape (n,)
        Line of each row in the file, from 1.
    numbers : mapping of int to ndarray of float64, shape (n,)
        By column; NaN where no number is written.
    texts : mapping of int to sequence of str
        By column, as written.
    ragged : tuple of (int, int)
        Line and number of cells of rows that do not have one cell per column; they are in no array.
    comments : int
        Comment lines that were passed over.
    columns : tuple of sequence of str
        All cells as written, by column.
    """

    lines: NDArray[np.int64]
    numbers: Mapping[int, NDArray[np.float64]]
    texts: Mapping[int, Sequence[str]]
    ragged: tuple[tuple[int, int], ...]
    comments: int
    columns: tuple[Sequence[str], ...]

    def written(self, row: int, column: int) -> str:
        """Give a cell as written."""
        return self.columns[column][row]


def split(line: str, delimiter: str) -> list[str]:
    """Cut one line into cells."""
    if delimiter == " ":
        return line.split()
    if '"' in line:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter), [])]
    return [cell.strip() for cell in line.split(delimiter)]


def find_head(
    path: Path, known: Callable[[Sequence[str]], int], delimiter: str | None = None
) -> Head:
    """Find the line that names the columns: the first of those in which the most names are known.

    Parameters
    ----------
    known : callable
        Counts the names it knows.
    delimiter : str, optional
        A key of `DELIMITERS`; found from the header where absent.

    Raises
    ------
    InputError
        The file cannot be read, is no text, is empty, or no line names a column.
    """
    signs = [DELIMITERS[delimiter]] if delimiter else [",", ";", "\t", " "]
    with _opened(path) as file:
        lines = [_checked(line, number, path) for number, line in _first_lines(file)]
    if not any(line.strip() for line in lines):
        raise InputError(
            "the table is empty", where=str(path), remedy="check that this is the right file"
        )
    best, found = 0, (0, ",")
    for number, line in enumerate(lines, start=1):
        for sign in signs:
            count = known(split(_bare(line), sign))
            if count > best:
                best, found = count, (number, sign)
    if not best:
        shown = next(line.strip() for line in lines if line.strip())[:80]
        raise InputError(
            f"no line names the columns; the first is {_plain(shown)!r}",
            where=str(path),
            remedy="hand in a table whose header names its columns, such as "
            "time,easting,northing,height",
        )
    at, sign = found
    names = tuple(split(_plain(_bare(lines[at - 1])), sign))
    while names and not names[-1]:
        names = names[:-1]
    after = [(n, text) for n, text in enumerate(lines, 1) if n > at and text.strip()]
    units: tuple[str, ...] = ()
    first = at + 1
    if after and _is_units(cells := split(_plain(_bare(after[0][1])), sign)):
        units, first = tuple(cells), after[0][0] + 1
    row = next(
        (text for n, text in after if n >= first and not text.lstrip().startswith(_COMMENT)), ""
    )
    comma = sign != "," and any("," in cell and is_number(cell) for cell in split(row, sign))
    return Head(path, names, units, at, first, sign, comma)


def _is_units(cells: Sequence[str]) -> bool:
    """Whether a row under the header holds units: in brackets, or words without digits that are units."""
    told = [cell for cell in cells if cell]
    units = (
        r"[(\[].{0,20}[)\]]|s|sec|seconds|m|metres?|meters?|ft|ftus|usft|deg|degrees|rad|radians"
    )
    return bool(told) and all(re.fullmatch(units, cell, re.IGNORECASE) for cell in told)


def blocks(head: Head, numbers: Sequence[int], texts: Sequence[int]) -> Iterator[Block]:
    """Read the rows under a header, in bounded memory.

    Parameters
    ----------
    numbers, texts : sequence of int
        Columns wanted as numbers and as text.

    Raises
    ------
    InputError
        The file cannot be read, or holds what no text holds.
    """
    with _opened(head.path) as file:
        number = 0
        while chunk := list(islice(file, BLOCK_ROWS)):
            kept: list[list[str]] = []
            lines: list[int] = []
            ragged: list[tuple[int, int]] = []
            comments = 0
            for text in chunk:
                number += 1
                if number < head.first or not text.strip():
                    continue
                if text.lstrip().startswith(_COMMENT):
                    comments += 1
                    continue
                row = _checked(text, number, head.path).strip("\r\n ")
                cells = split(row if row.isascii() else _plain(row), head.delimiter)
                while len(cells) > len(head.names) and not cells[-1]:
                    cells.pop()  # a delimiter at the end of the line
                if len(cells) != len(head.names):
                    ragged.append((number, len(cells)))
                    continue
                kept.append(cells)
                lines.append(number)
            if kept or ragged or comments:
                columns = list(zip(*kept, strict=True)) or [()] * len(head.names)
                yield Block(
                    np.array(lines, dtype=np.int64),
                    {at: _numbers(columns[at], head.decimal_comma) for at in numbers},
                    {at: columns[at] for at in texts},
                    tuple(ragged),
                    comments,
                    tuple(columns),
                )


def _numbers(cells: Sequence[str], decimal_comma: bool) -> NDArray[np.float64]:
    """Read cells as numbers, to the last bit; NaN where none is written."""
    if decimal_comma:
        cells = [cell.replace(",", ".") for cell in cells]
    if "_" not in "".join(cells):  # Python would read 1_000 as a number
        try:
            return np.array([float(cell) for cell in cells], dtype=np.float64)
        except ValueError:
            pass
    return np.array([float(c) if is_number(c) else _not_finite(c) for c in cells], dtype=np.float64)


def _not_finite(cell: str) -> float:
    return math.inf if cell.lower().lstrip("+-") in ("inf", "infinity") else math.nan


def _first_lines(file: TextIO) -> Iterator[tuple[int, str]]:
    for number in range(1, HEAD_LINES + 1):
        line = file.readline(LONGEST_LINE + 1)
        if not line:
            return
        yield number, line


def _bare(line: str) -> str:
    """Take off a comment sign: many headers stand behind one."""
    return re.sub(r"^\s*(?:#|//|%)\s*", "", line).strip("\r\n")


def _plain(text: str) -> str:
    """Give text whose bytes were not UTF-8 as the old Windows code page has it."""
    if text.isprintable() or not re.search("[\udc80-\udcff]", text):
        return text
    return text.encode("utf-8", "surrogateescape").decode("cp1252", "replace")


def _checked(line: str, number: int, path: Path) -> str:
    if len(line) > LONGEST_LINE or "\0" in line:
        raise InputError(
            "not a table of text: it holds bytes or lines that no such table holds",
            where=f"{path}, line {number}",
            remedy="export the trajectory as comma-separated text, encoded as UTF-8",
        )
    return line


class _opened:  # noqa: N801  used like a function
    """Open a text file for streaming; what the system refuses becomes one `InputError`."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __enter__(self) -> TextIO:
        try:
            with self.path.open("rb") as file:
                start = file.read(4)
            encoding = next((name for mark, name in _MARKS if start.startswith(mark)), "utf-8")
            errors = "surrogateescape" if encoding.startswith("utf-8") else "replace"
            self._file = self.path.open(encoding=encoding, errors=errors)
        except OSError as error:
            reason = "no such file" if isinstance(error, FileNotFoundError) else error.strerror
            raise InputError(
                f"cannot be read: {reason}",
                where=str(self.path),
                remedy="check the path in the job file",
            ) from error
        return self._file

    def __exit__(self, *_: object) -> None:
        self._file.close()
