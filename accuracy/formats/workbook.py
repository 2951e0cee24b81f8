"""Workbooks (.xlsx): one sheet as rows of text, with the numbers of its rows.

A number is written as the shortest decimal that means it, a date as ``2026-05-14``; so a sheet reads like the
same table saved as text with all its digits, whatever the cells show. Formulas give the value that was stored
with them.
"""

from __future__ import annotations

import zipfile
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from accuracy.errors import InputError
from accuracy.formats.tables import TextRow, TextTable

#: Most bytes that the parts of a workbook may unpack to: a table of points has no such size.
LARGEST_UNPACKED = 300_000_000


def read_sheet(path: Path, sheet: str | None = None) -> TextTable:
    """Read one sheet.

    Parameters
    ----------
    sheet : str, optional
        Its name; not needed where one alone holds anything.

    Raises
    ------
    InputError
        No workbook, damaged, too large, or it is not clear which sheet is meant.
    """
    _check_size(path)
    from python_calamine import CalamineWorkbook

    try:
        with CalamineWorkbook.from_path(path) as book:
            names = list(book.sheet_names)
            wanted = names if sheet is None else [name for name in names if name == sheet]
            filled = {}
            for name in wanted:
                cells = book.get_sheet_by_name(name).to_python(skip_empty_area=False)
                if any(value not in ("", None) for row in cells for value in row):
                    filled[name] = cells
    except Exception as error:  # the library has an error of its own for each part of the format
        raise _refused(f"cannot be read as a workbook: {error}", path) from error
    except BaseException as error:
        if type(error).__name__ != "PanicException":  # which is no Exception
            raise
        raise _refused("is damaged", path) from error
    if sheet is not None and not wanted:
        raise _unclear(f"has no sheet {sheet!r}", path, names)
    if len(filled) > 1:
        raise _unclear("has several sheets that hold something", path, list(filled))
    name, rows = next(iter(filled.items()), (sheet or "", []))
    texts = [tuple(map(_text, row)) for row in rows]
    return TextTable(
        path,
        tuple(TextRow(i, text, "\t".join(text)) for i, text in enumerate(texts, 1) if any(text)),
        comments=(),
        delimiter="\t",
        encoding="utf-8",
        encoding_assumed=False,
        unit="row",
        part=f", sheet {name!r}",
    )


def _text(value: Any) -> str:
    """Write a cell as text."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, datetime):
        return value.isoformat() if value.time() != time() else value.date().isoformat()
    if isinstance(value, (date, time)):
        return value.isoformat()
    if isinstance(value, timedelta):
        return str(value)
    return "" if value is None else str(value).strip()


def _check_size(path: Path) -> None:
    try:
        with zipfile.ZipFile(path) as parts:
            unpacked = sum(part.file_size for part in parts.infolist())
    except (OSError, zipfile.BadZipFile) as error:
        raise _refused(f"cannot be read as a workbook: {error}", path) from error
    if unpacked > LARGEST_UNPACKED:
        raise _refused("is too large for a table of points", path)


def _refused(what: str, path: Path) -> InputError:
    return InputError(
        what, where=str(path), remedy="hand in the table of points as .xlsx or as text"
    )


def _unclear(what: str, path: Path, names: list[str]) -> InputError:
    return InputError(
        f"{what}; there is: {', '.join(map(repr, names)) or 'none'}",
        where=str(path),
        remedy="name the sheet as layer under [checkpoints], or keep the points alone in a file",
    )
