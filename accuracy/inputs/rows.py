"""Rows of a point table, cell by cell, with every mistake collected until the table is finished."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TypeVar

from accuracy.errors import InputError, Problem
from accuracy.findings import Finding, Severity
from accuracy.formats.point_tables import read_point_table
from accuracy.formats.tables import (
    DELIMITERS,
    TextRow,
    TextTable,
    decimals_written,
    is_number,
    parse_number,
)
from accuracy.inputs.columns import Layout, layout_of
from accuracy.job.values import order_mistake

Choice = TypeVar("Choice", bound=str)

_MAYBE_THOUSANDS = re.compile(r"[+-]?[0-9]{1,3},[0-9]{3}")


class PointRows:
    """The points of one table: iterate, then `finish`.

    Attributes
    ----------
    path : Path
        The file.
    layout : Layout
        What the columns mean.
    problems : list of Problem
        Mistakes met so far.
    crs : str or None
        What the file says of its coordinates.
    unit : str
        What a record is called in this file.
    repeats : bool
        Whether an id may stand several times.
    """

    def __init__(self, table: TextTable, layout: Layout, *, repeats: bool = False) -> None:
        self.path = table.path
        self.crs = table.crs
        self.unit = table.unit
        self.layout = layout
        self.problems: list[Problem] = []
        self._table = table
        self.repeats = repeats or "occupation" in layout.columns
        self._lines: dict[str, int] = {}  # id -> line
        self._points: dict[int, str] = {}  # line -> first number there with a decimal point
        self._commas: dict[int, str] = {}  # likewise with a decimal comma
        self._all_maybe_thousands = True

    def __iter__(self) -> Iterator[Cells]:
        """Yield the rows that have the right number of columns."""
        for row in self._table.rows[self.layout.header_rows :]:
            cells = self._fitted(row)
            if cells is not None:
                yield Cells(self, row.line, cells)

    def finish(self) -> None:
        """Refuse the table where there were mistakes.

        Raises
        ------
        InputError
            All mistakes at once; or the table holds no points.
        """
        self.problems.extend(self._mark_problems())
        if self.problems:
            count = len(self.problems)
            raise InputError(
                f"{count} mistake{'s' if count > 1 else ''} in the table",
                where=str(self.path),
                problems=tuple(self.problems),
            )
        if not self._lines:
            raise _empty(self.path)

    def refuse_record(self, line: int, point: str, found: str, allowed: str) -> None:
        """Record a mistake in a whole record."""
        where = f"{self._table.at(line)}, point {_visible(point)}"
        self.problems.append(Problem(where, found, allowed))

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What was assumed or ignored while reading; complete once `finish` was called."""
        name, table = self.path.name, self._table
        found = list(self.layout.findings)

        def note(code: str, message: str, severity: Severity = Severity.NOTE) -> None:
            found.append(Finding(code, severity, f"{name}: {message}"))

        if self._commas:
            line, text = next(iter(self._commas.items()))
            note("checkpoints-decimal-comma", f"{text!r} in line {line} and others: decimal commas")
        if table.encoding_assumed:
            note("checkpoints-encoding-assumed", f"not UTF-8; read as {table.encoding}")
        for comment in table.comments:
            if self._looks_like_point(comment):
                text = f"line {comment.line} is a comment but looks like a point; it was not read"
                note("checkpoints-commented-point", text, Severity.WARNING)
        alike: dict[str, list[str]] = {}
        for id_ in self._lines:
            alike.setdefault(id_.casefold(), []).append(id_)
        for ids in alike.values():
            if len(ids) > 1:
                lines = ", ".join(f"{id_} (line {self._lines[id_]})" for id_ in ids)
                text = f"ids that differ in capital and small letters only: {lines}"
                note("checkpoints-ids-alike", text, Severity.WARNING)
        return tuple(found)

    def _fitted(self, row: TextRow) -> tuple[str, ...] | None:
        """Give exactly as many cells as there are columns, or record a problem."""
        width, delimiter = len(self.layout.names), self._table.delimiter
        cells = row.cells
        while len(cells) > width and not cells[-1]:  # delimiters at the end of the line
            cells = cells[:-1]
        if self.layout.takes_rest and len(cells) > width:
            if delimiter == "," and is_number(cells[width - 1]):
                self._refuse(
                    row,
                    f"{len(cells)} columns where {width} are declared, and the description would "
                    f"begin with the number {cells[width - 1]}",
                    "put the description in quotes; if these are decimal commas, separate by semicolons",
                )
                return None
            cells = row.folded(width, delimiter)
        elif self.layout.takes_rest and delimiter == " " and len(cells) == width - 1:
            cells = (*cells, "")  # between blanks nobody can write an empty description
        if len(cells) != width:
            more = "more" if len(cells) > width else "fewer"
            self._refuse(
                row,
                f"{len(cells)} columns, {more} than the {width} declared "
                f"({', '.join(self.layout.names)}); separated by {DELIMITERS[delimiter]}",
                "give every row the declared columns",
            )
            return None
        return cells

    def _refuse(self, row: TextRow, found: str, allowed: str) -> None:
        at = self.layout.columns["id"]
        point = f", point {_visible(row.cells[at])}" if at < len(row.cells) else ""
        self.problems.append(Problem(f"{self._table.at(row.line)}{point}", found, allowed))

    def _looks_like_point(self, comment: TextRow) -> bool:
        columns = self.layout.columns
        places = [columns[role] for role in ("easting", "northing")]
        return len(comment.cells) >= min(3, len(self.layout.names)) and all(
            at < len(comment.cells) and is_number(comment.cells[at]) for at in places
        )

    def _register(self, cells: Cells) -> None:
        """Remember the id; refuse a second one."""
        if not cells.id:
            cells.refuse("id", "nothing is written", "give every point an id")
        elif not is_one_visible_line(cells.id):
            cells.refuse(
                "id",
                f"'{_visible(cells.id)}' has a line break, a control character or one that cannot be seen",
                "write the id plainly on one line",
            )
        elif cells.id in self._lines and not self.repeats:
            unit, first = self._table.unit, self._lines[cells.id]
            cells.refuse("id", f"the same id stands in {unit} {first}", "every id once")
        self._lines.setdefault(cells.id, cells.line)

    def _note_mark(self, line: int, text: str) -> None:
        if "," in text:
            self._commas.setdefault(line, text)
            self._all_maybe_thousands &= _MAYBE_THOUSANDS.fullmatch(text) is not None
        elif "." in text:
            self._points.setdefault(line, text)

    def _mark_problems(self) -> list[Problem]:
        if not self._commas:
            return []
        line, text = next(iter(self._commas.items()))
        if self._points:
            other, point = next(iter(self._points.items()))
            found = (
                f"a comma in {text!r} (line {line}) and a decimal point in {point!r} (line {other})"
            )
            allowed = "one decimal sign throughout the table, and no thousands separators"
        elif self._table.delimiter == "," and self._all_maybe_thousands:
            found = f"{text!r} (line {line}) may have a decimal comma or a thousands separator"
            allowed = "write decimal points"
        else:
            return []
        return [Problem(self.path.name, found, allowed)]


class Cells:
    """One row, asked by role. A mistake is recorded and NaN or a default is given, so that all are found."""

    def __init__(self, rows: PointRows, line: int, cells: tuple[str, ...]) -> None:
        self.line = line
        self._rows = rows
        self._cells = cells
        self.id = self.text("id")
        rows._register(self)

    def has(self, role: str) -> bool:
        """Whether the table has such a column."""
        return role in self._rows.layout.columns

    def text(self, role: str) -> str:
        """Give the cell as written; empty where the table has no such column."""
        at = self._rows.layout.columns.get(role)
        return "" if at is None else self._cells[at]

    def refuse(self, role: str, found: str, allowed: str) -> None:
        """Record a mistake in a cell."""
        layout = self._rows.layout
        at = layout.columns[role]
        column = self._rows._table.column(at, layout.names[at])
        point = f", point {_visible(self.id)}" if self.id else ""
        where = f"{self._rows._table.at(self.line)}{point}, column {column}"
        self._rows.problems.append(Problem(where, found, allowed))

    def number(self, role: str) -> float:
        """Give a finite number."""
        text = self.text(role)
        try:
            value = parse_number(text)
        except ValueError as error:
            self.refuse(role, str(error), "a plain number such as 1234.567")
            return math.nan
        self._rows._note_mark(self.line, text)
        return value

    def optional_number(self, role: str) -> float | None:
        """Give a finite number, or None where the cell is empty or the column is absent."""
        return self.number(role) if self.text(role) else None

    def position(self) -> tuple[float, float]:
        """Give easting and northing, or longitude and latitude in degrees, which must be on the globe."""
        easting, northing = self.number("easting"), self.number("northing")
        if self._rows.layout.geographic:
            if abs(northing) > 90.0:
                self.refuse("northing", f"latitude {northing:g}", "degrees from -90 to 90")
            if abs(easting) > 180.0:
                self.refuse("easting", f"longitude {easting:g}", "degrees from -180 to 180")
        return easting, northing

    def decimals(self, role: str) -> int:
        """Count the decimals written; 0 where no number is written."""
        text = self.text(role)
        return decimals_written(text) if is_number(text) else 0

    def choice(self, role: str, table: Mapping[str, Choice]) -> Choice | None:
        """Look a word up (any case; ``-`` and ``_`` are blanks); None where the cell is empty."""
        text = self.text(role)
        if not text:
            return None
        found = table.get(plain_words(text))
        if found is None:
            self.refuse(role, f"{text!r} is not known", "one of " + ", ".join(table))
        return found


def is_one_visible_line(text: str) -> bool:
    """Whether a text has neither line breaks nor control or formatting characters."""
    return _visible(text) == text


def _visible(text: str) -> str:
    """Write line breaks, control and formatting characters as escapes."""
    return "".join(
        character.encode("unicode_escape").decode("ascii")
        if unicodedata.category(character) in ("Cc", "Cf", "Zl", "Zp")
        else character
        for character in text
    )


def plain_words(text: str) -> str:
    """Lower case, one blank between words: ``Bare_Earth`` -> ``bare earth``."""
    return " ".join(re.split(r"[\s_-]+", text.strip().lower()))


def open_points(
    path: Path,
    order: str | None,
    roles: frozenset[str],
    needed: frozenset[str],
    *,
    layer: str | None = None,
    repeats: bool = False,
) -> PointRows:
    """Read the file and find out what its columns mean; parameters as in `accuracy.inputs.columns.layout_of`.

    Parameters
    ----------
    layer : str, optional
        Sheet of a workbook or layer of a GeoPackage.
    repeats : bool
        Whether an id may stand several times. A column ``occupation`` says so, too.

    Raises
    ------
    InputError
        The file cannot be read, holds no points, or its columns cannot be understood.
    """
    if order is not None and (mistake := order_mistake(order)):
        raise InputError(f"order = {order!r}: {mistake}", where=str(path))
    table = read_point_table(path, layer)
    if not table.rows:
        raise _empty(path)
    return PointRows(table, layout_of(table, order, roles, needed), repeats=repeats)


def _empty(path: Path) -> InputError:
    return InputError(
        "the table holds no points", where=str(path), remedy="check that this is the right file"
    )
