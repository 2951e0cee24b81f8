"""Delimited text as people hand it in: cells with their line numbers, uninterpreted.

What a column means is decided in `accuracy.inputs`; here a file only becomes rows of text. Comment lines
(``#`` or ``//`` at the start) and blank lines are no rows, but comments are kept so that nothing that was
commented out goes unseen.
"""

from __future__ import annotations

import codecs
import csv
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from types import MappingProxyType

from accuracy.errors import InputError, Problem

#: Delimiters tried, the preferred first where several explain a file equally well. A blank stands for any
#: run of blanks and tabs.
DELIMITERS = MappingProxyType({"\t": "tab", ";": "semicolon", ",": "comma", " ": "blanks"})

_BYTE_ORDER_MARKS = (  # UTF-32 first: its little-endian mark begins with that of UTF-16
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_COMMENT = re.compile(r"\s*(?:#|//)")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0e-\x1f\x7f]")
_TOKEN = re.compile(r'"(?:[^"]|"")*"(?=\s|$)|\S+')
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?")
_SEPARATED = re.compile(r"[+-]?[0-9]+(?:[\s,.'’_°:][0-9]+)+[\"'″]?")
_NOT_FINITE = frozenset(
    {"nan", "inf", "infinity", "-inf", "-infinity", "+inf", "n/a", "na", "null", "none", "-"}
)
_LINES_SNIFFED = 200


@dataclass(frozen=True)
class TextRow:
    """One record of a table.

    Attributes
    ----------
    line : int
        Line of the file where the record starts, from 1.
    cells : tuple of str
        Without quotes and surrounding blanks.
    text : str
        The line as written (its first line where a quoted cell spans several).
    """

    line: int
    cells: tuple[str, ...]
    text: str

    def folded(self, width: int, delimiter: str) -> tuple[str, ...]:
        """Give at most `width` cells, the last of which takes the rest of the line.

        Blanks inside the rest are kept as written; other delimiters are written anew, followed by a blank.
        """
        if len(self.cells) <= width:
            return self.cells
        if delimiter == " ":
            start = [token.start() for token in _TOKEN.finditer(self.text)][width - 1]
            rest = self.text[start:].strip()
        else:
            tail = list(self.cells[width - 1 :])
            while len(tail) > 1 and not tail[-1]:  # delimiters at the end of the line
                tail.pop()
            rest = f"{delimiter.strip()} ".join(tail)
        return (*self.cells[: width - 1], rest)


@dataclass(frozen=True)
class TextTable:
    """A delimited text file.

    Attributes
    ----------
    path : Path
        The file.
    rows : tuple of TextRow
        Every record that is neither blank nor a comment; the first may be a header.
    comments : tuple of TextRow
        The comment lines, split as rows would be, without the comment sign.
    delimiter : str
        A key of `DELIMITERS`, found from the lines.
    encoding : str
        Name of the text encoding.
    encoding_assumed : bool
        True where no byte-order mark is there and the bytes are not UTF-8.
    unit, part : str
        What a record is called, and the sheet or layer that holds it; for messages.
    crs : str or None
        What the file itself says of the coordinates: a code or WKT. Text says nothing.
    """

    path: Path
    rows: tuple[TextRow, ...]
    comments: tuple[TextRow, ...]
    delimiter: str
    encoding: str
    encoding_assumed: bool
    unit: str = "line"
    part: str = ""
    crs: str | None = None

    def at(self, line: int) -> str:
        """Name the place of a record: ``site.csv, line 3``; ``site.xlsx, sheet 'Points', row 3``."""
        return f"{self.path.name}{self.part}, {self.unit} {line}"

    def column(self, index: int, name: str) -> str:
        """Name a column; in a workbook with its letters, from A."""
        letters, rest = "", index + 1
        while rest:
            rest, digit = divmod(rest - 1, 26)
            letters = chr(ord("A") + digit) + letters
        return f"{name} ({letters})" if self.unit == "row" else name


def read_text_table(path: Path) -> TextTable:
    """Read a delimited text file.

    Raises
    ------
    InputError
        The file is missing, unreadable, not text, or its quotes are not closed.
    """
    text, encoding, assumed = _decoded(path)
    # Only real line ends: str.splitlines also cuts at characters a description may hold.
    lines = text.replace("\r\n", "\n").replace("\r", "\n").rstrip("\x1a").split("\n")
    try:
        hint = re.fullmatch(r"sep=([\t;, ])", lines[0].rstrip("\n"), re.IGNORECASE)
        if hint:  # the first line spreadsheets write for one another
            lines[0] = ""
        delimiter = hint.group(1) if hint else _sniff(lines)
        rows = _blank_rows(lines) if delimiter == " " else _quoted_rows(lines, delimiter, path)
        rows = tuple(row for row in rows if any(row.cells))
        comments = tuple(
            TextRow(number, tuple(_split(body, delimiter)), line)
            for number, line in enumerate(lines, 1)
            if _COMMENT.match(line) and (body := _COMMENT.sub("", line, count=1).strip())
        )
    except csv.Error as error:
        raise InputError(f"not a table of text: {error}", where=str(path)) from error
    return TextTable(path, rows, comments, delimiter, encoding, assumed)


def is_number(text: str) -> bool:
    """Whether `parse_number` accepts the text."""
    return _NUMBER.fullmatch(text) is not None


def parse_number(text: str) -> float:
    """Read one number with a decimal point or a decimal comma.

    Raises
    ------
    ValueError
        With the reason, for people: nothing there, not finite, separators inside, not a number.

    Examples
    --------
    >>> parse_number("-12,50")
    -12.5
    """
    if not text:
        raise ValueError("nothing is written")
    if _NUMBER.fullmatch(text):
        value = float(text.replace(",", "."))
        if math.isfinite(value):
            return value
        raise ValueError(f"{text!r} is too large")
    if text.lower() in _NOT_FINITE:
        raise ValueError(f"{text!r} is not a finite number")
    if _SEPARATED.fullmatch(text):
        raise ValueError(
            f"{text!r} has separators inside (thousands, or degrees, minutes and seconds)"
        )
    raise ValueError(f"{text!r} is not a number")


def decimals_written(text: str) -> int:
    """Count the decimals of a number as written.

    Examples
    --------
    >>> decimals_written("12.50"), decimals_written("12"), decimals_written("1.25e1")
    (2, 0, 1)
    """
    exponent = Decimal(text.replace(",", ".")).as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def _decoded(path: Path) -> tuple[str, str, bool]:
    """Give the text, its encoding, and whether that encoding is a guess."""
    try:
        with path.open("rb") as file:
            head = file.read(1 << 16)
            stated = next((name for mark, name in _BYTE_ORDER_MARKS if head.startswith(mark)), None)
            if stated is None and b"\0" in head:  # before reading a cloud of many gigabytes
                raise _not_text(path)
            data = head + file.read()
    except OSError as error:
        reason = "no such file" if isinstance(error, FileNotFoundError) else error.strerror
        raise InputError(
            f"cannot be read: {reason}", where=str(path), remedy="check the path in the job file"
        ) from error
    for encoding in (stated,) if stated else ("utf-8", "cp1252", "latin-1"):
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if _CONTROL.search(text.rstrip("\x1a")):
            raise _not_text(path)
        return text, encoding, encoding in ("cp1252", "latin-1")
    raise InputError(
        f"begins with the mark of {stated} text but is not such text",
        where=str(path),
        remedy="save it again as UTF-8",
    )


def _not_text(path: Path) -> InputError:
    return InputError(
        "not a text file: it holds bytes that no text holds",
        where=str(path),
        remedy="export the table as comma-separated text, encoded as UTF-8",
    )


def _split(line: str, delimiter: str) -> list[str]:
    """Cut one line; forgiving, for sniffing and for comments."""
    if delimiter == " ":
        return [_unquoted(token) for token in _TOKEN.findall(line)]
    reader = csv.reader([line], delimiter=delimiter, skipinitialspace=True)
    return [cell.strip() for cell in next(reader, [])]


def _unquoted(token: str) -> str:
    if len(token) > 1 and token[0] == token[-1] == '"':
        return token[1:-1].replace('""', '"').strip()
    return token


def _sniff(lines: list[str]) -> str:
    """Find the delimiter that turns the most cells into numbers, at most three a line.

    Counting numbers tells ``1 100,5 200,3 10,2`` from ``1, 100.5, 200.3, 10.2`` where counting signs cannot;
    with three a line, digits in ids and descriptions do not weigh in. Where no delimiter yields numbers,
    lines as wide as the first decide.
    """
    sample = [line for line in lines if line.strip() and not _COMMENT.match(line)][:_LINES_SNIFFED]

    def score(delimiter: str) -> tuple[int, int]:
        split = [_split(line, delimiter) for line in sample]
        numbers = sum(min(3, sum(map(is_number, cells))) for cells in split)
        width = len(split[0]) if split else 0
        return numbers, sum(len(cells) == width for cells in split) if width > 2 else 0

    return max(DELIMITERS, key=score)  # the first of equals


def _blank_rows(lines: list[str]) -> tuple[TextRow, ...]:
    return tuple(
        TextRow(number, tuple(_split(line, " ")), line)
        for number, line in enumerate(lines, 1)
        if line.strip() and not _COMMENT.match(line)
    )


class _Records(Iterator[str]):
    """Feed lines to csv: comments and blanks are skipped between records, never inside a quoted cell."""

    def __init__(self, lines: list[str]) -> None:
        self.lines = lines
        self.next = 0  # index of the next line
        self.start = 0  # number of the line where the record began
        self.between = True

    def __next__(self) -> str:
        while self.next < len(self.lines):
            line = self.lines[self.next]
            self.next += 1
            if self.between and (not line.strip() or _COMMENT.match(line)):
                continue
            if self.between:
                self.start, self.between = self.next, False
            return line + "\n"
        raise StopIteration


def _quoted_rows(lines: list[str], delimiter: str, path: Path) -> tuple[TextRow, ...]:
    records = _Records(lines)
    reader = csv.reader(records, delimiter=delimiter, skipinitialspace=True, strict=True)
    rows: list[TextRow] = []
    try:
        for cells in reader:
            text = lines[records.start - 1]
            rows.append(TextRow(records.start, tuple(cell.strip() for cell in cells), text))
            records.between = True
    except csv.Error as error:
        raise InputError(
            "the quotes cannot be followed",
            where=str(path),
            problems=(
                Problem(
                    f"{path.name}, line {records.start}",
                    f"a cell that starts with a quote does not end with one ({error})",
                    'close the quotes, and write a quote inside a quoted cell twice: "5/8"" rebar"',
                ),
            ),
        ) from error
    return tuple(rows)
