"""Tables of points known in two grids; every point here is invented."""

from __future__ import annotations

from pathlib import Path

import pytest

from accuracy.errors import InputError
from accuracy.inputs.grid_pairs import GridPair, read_grid_pairs

HEADER = "id,local_easting,local_northing,local_height,easting,northing,height"
ROWS = ["A,1000.5,5000.25,100,412345.1,5000123.2,121.5", "B,1300,5100,,412645,5000223,"]


def write(folder: Path, *lines: str) -> Path:
    path = folder / "pairs.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_a_table_of_pairs(tmp_path: Path) -> None:
    """Columns by name in any order and case; heights may be missing, on both sides; others are told."""
    table = read_grid_pairs(write(tmp_path, HEADER, *ROWS))
    assert table.pairs == (
        GridPair("A", 1000.5, 5000.25, 412345.1, 5000123.2, 100.0, 121.5),
        GridPair("B", 1300.0, 5100.0, 412645.0, 5000223.0, None, None),
    )
    assert table.findings == ()
    path = write(
        tmp_path,
        "Northing;EASTING;Id;Local Easting;local-northing;mark",
        "5000123,2;412345,1;A;1000,5;5000,25;nail",
    )
    table = read_grid_pairs(path)
    assert table.pairs == (GridPair("A", 1000.5, 5000.25, 412345.1, 5000123.2),)
    assert [f.code for f in table.findings] == [
        "checkpoints-column-ignored",
        "checkpoints-decimal-comma",
    ]
    assert "'mark'" in table.findings[0].message


@pytest.mark.parametrize(
    ("lines", "parts"),
    [
        (
            [HEADER.replace("local_easting", "local_e"), *ROWS],
            ("no column local_easting", "needed: id"),
        ),
        (
            [HEADER.replace("easting,", "easting_ft,"), *ROWS],
            ("no column easting", "without units"),
        ),
        ([HEADER + ",height", ROWS[0] + ",1"], ("two columns height",)),
        ([HEADER.removesuffix(",height"), "A,1,2,3,4,5"], ("heights on one side only",)),
        ([HEADER, "A,1,2,3,4,5,"], ("line 2, point A, column height", "both heights or none")),
        ([HEADER, "A,1,2,,4,5,6"], ("column local_height", "both heights or none")),
        ([HEADER, "A,1,2,3,4,x,6"], ("column northing", "'x' is not a number")),
        ([HEADER, "A,1,2,3,nan,5,6"], ("column easting", "not a finite number")),
        ([HEADER, "A,1,2,3,4,5"], ("6 columns, fewer than the 7 declared",)),
        ([HEADER, ROWS[0], ROWS[0]], ("line 3", "the same id stands in line 2")),
        ([HEADER, ",1,2,3,4,5,6"], ("give every point an id",)),
        ([HEADER], ("holds no points",)),
        ([""], ("holds no pairs",)),
        ([ROWS[0]], ("the header cannot be used",)),
    ],
)
def test_mistakes_are_told_with_their_place(
    tmp_path: Path, lines: list[str], parts: tuple[str, ...]
) -> None:
    """Every mistake in a table is one error with file, line, point and column."""
    with pytest.raises(InputError) as caught:
        read_grid_pairs(write(tmp_path, *lines))
    for part in ("pairs.csv", *parts):
        assert part in str(caught.value)


def test_all_mistakes_at_once(tmp_path: Path) -> None:
    """A table is read to its end before it is refused."""
    with pytest.raises(InputError) as caught:
        read_grid_pairs(write(tmp_path, HEADER, "A,x,2,3,4,5,6", "B,1,2,3,4,5,", "A,1,2,3,4,5,6"))
    assert len(caught.value.problems) == 3
