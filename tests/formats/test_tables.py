"""Delimited text: which cells a file has is checked against the standard library's own CSV writer."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from accuracy.errors import InputError
from accuracy.formats.tables import (
    decimals_written,
    is_number,
    parse_number,
    read_text_table,
)


def table(folder: Path, text: str | bytes) -> Path:
    path = folder / "points.txt"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return path


def cells(folder: Path, text: str | bytes) -> list[tuple[str, ...]]:
    return [row.cells for row in read_text_table(table(folder, text)).rows]


# Invented points; the forms are those of common practice, no source.
SAME = [("7", "4500.25", "339.5", "12.125"), ("8", "4501.25", "340.5", "12.25")]


@pytest.mark.parametrize(
    ("delimiter", "text"),
    [
        (",", "7,4500.25,339.5,12.125\n8,4501.25,340.5,12.25\n"),
        (",", "7, 4500.25, 339.5, 12.125\n8, 4501.25, 340.5, 12.25\n"),
        (";", "7;4500.25;339.5;12.125\n8;4501.25;340.5;12.25\n"),
        ("\t", "7\t4500.25\t339.5\t12.125\n8\t4501.25\t340.5\t12.25\n"),
        (" ", "7 4500.25 339.5 12.125\n8 4501.25 340.5 12.25\n"),
        (" ", "   7   4500.25  339.5 12.125  \n   8   4501.25  340.5 12.25\n"),
        (" ", "7\t4500.25 339.5 12.125\n8 4501.25\t340.5 12.25\n"),
        (",", "7,4500.25,339.5,12.125\r\n8,4501.25,340.5,12.25\r\n\x1a"),
        (",", "7,4500.25,339.5,12.125\r8,4501.25,340.5,12.25\r"),
        (",", "sep=,\n7,4500.25,339.5,12.125\n8,4501.25,340.5,12.25"),
        (",", '"7","4500.25","339.5","12.125"\n"8","4501.25","340.5","12.25"'),
        (",", "# by N. Marlow\n\n7,4500.25,339.5,12.125\n // second\n8,4501.25,340.5,12.25\n,,,\n"),
    ],
)
def test_the_same_points_however_they_are_delimited(
    tmp_path: Path, delimiter: str, text: str
) -> None:
    """Delimiter, line end, blanks, comments and quotes do not change what is read."""
    found = read_text_table(table(tmp_path, text))
    assert found.delimiter == delimiter
    assert [row.cells for row in found.rows] == SAME


@pytest.mark.parametrize(
    ("delimiter", "line"),
    [
        (";", "7;4500,25;339,5;12,125"),
        (" ", "7 4500,25 339,5 12,125"),
        ("\t", "7\t4500,25\t339,5\t12,125"),
        (",", '7,"4500,25","339,5","12,125"'),
    ],
)
def test_decimal_commas_do_not_delimit(tmp_path: Path, delimiter: str, line: str) -> None:
    """A decimal comma stays inside its cell, whatever delimits, with and without a header."""
    expected = ("7", "4500,25", "339,5", "12,125")
    header = delimiter.join(("id", "northing", "easting", "height"))
    for text in (line, f"{header}\n{line}"):
        found = read_text_table(table(tmp_path, text))
        assert (found.delimiter, found.rows[-1].cells) == (delimiter, expected)


def test_descriptions_do_not_sway_the_delimiter(tmp_path: Path) -> None:
    """Commas, semicolons and numbers in a description do not decide what delimits."""
    tabs = "CP 1\t4500.5\t339.5\t12.1\tnail 5, 20 m; north of gate 3\n"
    assert read_text_table(table(tmp_path, tabs)).delimiter == "\t"
    quoted = '";","4500,5","339,5","12,1","a\t\tb"\n'
    assert read_text_table(table(tmp_path, quoted)).delimiter == ","
    blanks = "CP1 4500.5 339.5 12.1 nail, gate\nCP2 4500.5 339.5 12.1 kerb, wall\n"
    assert read_text_table(table(tmp_path, blanks)).delimiter == " "


def test_quoted_cells_hold_delimiters_quotes_newlines_and_comment_signs(tmp_path: Path) -> None:
    """A quoted cell is taken whole; the line is where the record starts; comments inside are text."""
    text = 'id,z,d\n\n1,2.5,"gate, ""old"" one\n# not a comment\n\nend"\n# comment\n2,3.5,b\n'
    rows = read_text_table(table(tmp_path, text)).rows
    assert rows[1].cells == ("1", "2.5", 'gate, "old" one\n# not a comment\n\nend')
    assert [row.line for row in rows] == [1, 3, 8]


def test_inch_marks_inside_a_description_are_text(tmp_path: Path) -> None:
    """A quote that does not begin a cell is a character like any other."""
    assert cells(tmp_path, '1,2,3,4,5/8" rebar\n')[0][-1] == '5/8" rebar'
    assert cells(tmp_path, '1 2 3 4 5/8" rebar\n')[0][-2:] == ('5/8"', "rebar")


def test_the_last_column_takes_the_rest_of_the_line(tmp_path: Path) -> None:
    """Folding joins what delimiters cut; blanks inside are kept as written."""
    (row,) = read_text_table(table(tmp_path, "1 2 3 4 nail  in kerb\n")).rows
    assert row.folded(5, " ") == ("1", "2", "3", "4", "nail  in kerb")
    (row,) = read_text_table(table(tmp_path, "1,2,3,4,nail,in kerb\n")).rows
    assert row.folded(5, ",") == ("1", "2", "3", "4", "nail, in kerb")
    assert row.folded(9, ",") == row.cells


@pytest.mark.parametrize(
    ("encoding", "assumed"),
    [
        ("utf-8", False),
        ("utf-8-sig", False),
        ("utf-16", False),
        ("utf-32", False),
        ("cp1252", True),
    ],
)
def test_encodings(tmp_path: Path, encoding: str, assumed: bool) -> None:
    """Marked encodings and UTF-8 are certain; anything else is an assumption that is told."""
    found = read_text_table(table(tmp_path, "1,2,3,Höhe\n".encode(encoding)))
    assert found.rows[0].cells == ("1", "2", "3", "Höhe")
    assert found.encoding_assumed is assumed


def test_big_endian_marks_and_latin_1(tmp_path: Path) -> None:
    """Big-endian UTF-16 is read by its mark; bytes that cp1252 leaves undefined fall to latin-1."""
    data = b"\xfe\xff" + "1,2,3,ü\n".encode("utf-16-be")
    assert cells(tmp_path, data) == [("1", "2", "3", "ü")]
    found = read_text_table(table(tmp_path, b"1,2,3,\x81\xfc\n"))
    assert (found.encoding, found.rows[0].cells[-1]) == ("latin-1", "\x81ü")


@pytest.mark.parametrize(
    ("data", "part"),
    [
        (b"LASF\0\0\0\0rest", "not a text file"),
        (b"PK\x03\x04\x14" + b"a" * 99, "not a text file"),
        ("id,e\n".encode("utf-16-le"), "not a text file"),
        (b"\xff\xfei\0d\0,", "not such text"),
        (b'1,2,3\n2,3,"open\n3,4,5\n', "line 2"),
        (b'1,2,3\n2,3,"a"b\n', "line 2"),
        (b"1,2," + b"x" * 200_000, "field larger"),
    ],
)
def test_what_is_not_a_table_is_refused(tmp_path: Path, data: bytes, part: str) -> None:
    """Binary files, broken encodings and open quotes are errors that name the file, not tracebacks."""
    with pytest.raises(InputError, match=part) as caught:
        read_text_table(table(tmp_path, data))
    assert "points.txt" in str(caught.value)


def test_missing_files_and_folders_are_refused(tmp_path: Path) -> None:
    """A path without a file behind it is an error of input."""
    with pytest.raises(InputError, match="no such file"):
        read_text_table(tmp_path / "none.csv")
    with pytest.raises(InputError, match="cannot be read"):
        read_text_table(tmp_path)


@pytest.mark.parametrize(
    ("text", "value"),
    [("1", 1.0), ("-1.5", -1.5), ("+0,25", 0.25), (".5", 0.5), ("5.", 5.0), ("1.5e3", 1500.0)],
)
def test_numbers(text: str, value: float) -> None:
    """Decimal points and decimal commas are both read."""
    assert is_number(text)
    assert parse_number(text) == value


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("", "nothing"),
        ("nan", "finite"),
        ("-INF", "finite"),
        ("1e999", "too large"),
        ("1,234.5", "separators"),
        ("1.234.567", "separators"),
        ("1 234,5", "separators"),
        ("1'234.5", "separators"),
        ("40 26 46.3", "separators"),
        ("1_000", "separators"),
        ("12m", "not a number"),
        ("0x10", "not a number"),
        ("٣", "not a number"),
        ("--1", "not a number"),
    ],
)
def test_what_is_no_number(text: str, part: str) -> None:
    """What float() would take too generously, and what it cannot take, is refused with the reason."""
    with pytest.raises(ValueError, match=part):
        parse_number(text)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_read_back_exactly(value: float) -> None:
    """Every finite number as Python writes it reads back to the same bits, with either decimal sign."""
    assert parse_number(repr(value)) == value
    assert parse_number(repr(value).replace(".", ",")) == value


@given(st.integers(0, 12), st.integers(-(10**15), 10**15))
def test_decimals_are_those_written(decimals: int, digits: int) -> None:
    """A number formatted with n decimals has n decimals, trailing zeros included."""
    assert decimals_written(f"{digits / 10**decimals:.{decimals}f}") == decimals


NAMES = st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "Zs", "S")), min_size=1)


@given(
    rows=st.lists(st.tuples(NAMES, st.floats(-1e7, 1e7), st.floats(-1e7, 1e7), NAMES), min_size=1),
    delimiter=st.sampled_from(",;\t"),
    line_end=st.sampled_from(["\n", "\r\n"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
)
def test_what_the_csv_writer_writes_is_read_back(
    tmp_path_factory: pytest.TempPathFactory,
    rows: list[tuple[str, float, float, str]],
    delimiter: str,
    line_end: str,
    encoding: str,
) -> None:
    """Fully quoted text of any kind comes back cell by cell; only blanks around cells are lost."""
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, quoting=csv.QUOTE_ALL, lineterminator=line_end).writerows(
        rows
    )
    path = tmp_path_factory.getbasetemp() / "written.csv"
    path.write_bytes(text.getvalue().encode(encoding))
    found = read_text_table(path)
    assert found.delimiter == delimiter
    assert [row.cells for row in found.rows] == [
        tuple(str(cell).strip() for cell in row) for row in rows
    ]
