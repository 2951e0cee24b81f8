"""Tables of points: what was understood, both orders where nothing says it, and what cannot be."""

from __future__ import annotations

from pathlib import Path

import pytest

from accuracy.errors import AccuracyError
from accuracy.findings import Severity
from accuracy.inspection import inspect_file, table
from accuracy.inspection.record import Inspection, TableFacts
from accuracy.reports.inspection_text import render
from accuracy.units import LengthUnit


def inspected(path: Path, text: str) -> tuple[Inspection, TableFacts]:
    path.write_text(text, "utf-8")
    found = inspect_file(path)
    assert found.table is not None
    return found, found.table


def codes(found: Inspection) -> set[str]:
    return {concern.finding.code for concern in found.concerns}


HEADED = """Point;East_m;North_m;Elevation_m;Cover;Remark
A1;412306,10;4541205,10;1312,90;open;nail
A2;412318,20;4541206,90;1313,10;forest;nail in root
A3;412318,20;4541206,90;1313,20;;again
"""


def test_a_headered_table_is_told_as_understood(tmp_path: Path) -> None:
    """Columns, delimiter, units, extent, cover groups, repeated place, first rows."""
    found, facts = inspected(tmp_path / "site.csv", HEADED)
    assert facts.delimiter == "semicolon"
    assert facts.columns == (
        ("Point", "id"),
        ("East_m", "easting"),
        ("North_m", "northing"),
        ("Elevation_m", "height"),
        ("Cover", "cover"),
        ("Remark", "description"),
    )
    assert (facts.points, facts.rows, facts.duplicates) == (3, 3, 1)
    assert found.reference.horizontal_unit is LengthUnit.METRE
    assert found.bounds == (412306.1, 4541205.1, 412318.2, 4541206.9)
    assert facts.height_range == (1312.9, 1313.2)
    assert facts.covers == {"assumed non-vegetated": 1, "non-vegetated": 1, "vegetated": 1}
    assert facts.first[1] == ("A2", "412318.2", "4541206.9", "1313.1", "vegetated", "nail in root")
    assert {"checkpoints-repeated-place", "checkpoints-cover-grouped"} <= codes(found)
    assert not found.blocked
    assert "Elevation_m -> height" in render(found)


def test_positions_without_heights_are_measured_points(tmp_path: Path) -> None:
    """The other table of a job: heights are optional there."""
    found, facts = inspected(
        tmp_path / "m.csv", "id,x,y\nA,412306.1,4541205.1\nB,412306.1,4541205.1\n"
    )
    assert (facts.points, facts.has_heights, facts.duplicates) == (2, False, 1)
    assert "checkpoints-repeated-place" in codes(found)


@pytest.mark.parametrize(
    ("row", "possible"),
    [
        (
            "{id},4541205.1{i},412306.1{i},1312.9,nail",
            {"PENZD": "other way", "PNEZD": "as in a UTM zone"},
        ),
        ("{id} 412306.1{i} 4541205.1{i} 1312.9", {"PENZ": "as in a UTM zone", "PNEZ": "other way"}),
        ("{id},5012.3{i},4987.1{i},101.2", {"PENZ": "neither", "PNEZ": "neither"}),
        ("{id},-105.2{i},39.9{i},1600.0", {"PENZ": "degrees", "PNEZ": "a latitude goes to 90"}),
    ],
)
def test_without_a_header_the_possible_orders_are_shown(
    tmp_path: Path, row: str, possible: dict[str, str]
) -> None:
    """Nothing is chosen: each order with what its numbers say, and the table is refused until it is said."""
    text = "\n".join(row.format(id=f"P{i}", i=i) for i in range(1, 8)) + "\n"
    found, facts = inspected(tmp_path / "points.txt", text)
    assert {r.order for r in facts.orders} == set(possible)
    for reading in facts.orders:
        assert reading.possible
        assert possible[reading.order] in reading.likeness
        assert len(reading.first) == 5
    assert facts.points is None
    [concern] = [c for c in found.concerns if c.finding.code == "inspect-order"]
    assert concern.finding.severity is Severity.BLOCKING
    for order in possible:
        assert f'order = "{order}"' in concern.finding.remedy


def test_both_orders_read_the_same_row_differently(tmp_path: Path) -> None:
    """Easting and northing change places; id, height and description stay."""
    _, facts = inspected(tmp_path / "p.txt", "P1,4541205.1,412306.1,1312.9,nail, old\n")
    first = {reading.order: reading.first[0] for reading in facts.orders}
    assert first["PNEZD"] == ("P1", "412306.1", "4541205.1", "1312.9", "nail, old")
    assert first["PENZD"] == ("P1", "4541205.1", "412306.1", "1312.9", "nail, old")


def test_an_order_whose_height_cannot_be_one_is_told_as_such(tmp_path: Path) -> None:
    """Height before the coordinates: no usual order fits, and each says why."""
    found, facts = inspected(tmp_path / "p.txt", "P1,1312.9,412306.1,4541205.1\n")
    assert facts.orders
    assert not any(reading.possible for reading in facts.orders)
    assert "no height is" in facts.orders[0].likeness
    [concern] = [c for c in found.concerns if c.finding.code == "inspect-order"]
    assert "no usual order" in concern.finding.message


def test_a_comment_that_may_be_the_header_is_pointed_out(tmp_path: Path) -> None:
    """Surveyors comment their header out."""
    text = "# No, Name, X, Y, Z, sX, sY, sZ\n1, A, 999604.5, 112344.4, 139.4, .02, .02, .04\n"
    found, facts = inspected(tmp_path / "c.txt", text)
    assert facts.orders == ()
    [concern] = [c for c in found.concerns if c.finding.code == "inspect-order"]
    assert "line 1" in concern.finding.remedy


def test_a_header_that_is_not_understood_blocks_with_the_reason(tmp_path: Path) -> None:
    """The reader's own message is handed on."""
    found, facts = inspected(tmp_path / "h.csv", "id,survey_x,survey_y,survey_z\nA,1,2,3\n")
    assert facts.points is None
    assert "inspect-columns" in codes(found)
    assert found.blocked
    assert facts.first == (("A", "1", "2", "3"),)


def test_mistakes_in_the_rows_are_told(tmp_path: Path) -> None:
    """The header is understood, a row is not."""
    found, _ = inspected(tmp_path / "r.csv", "id,x,y,z\nA,1.5,2.5,high\nA,1.5,2.5,3.5\n")
    [concern] = [c for c in found.concerns if c.finding.code == "inspect-unusable"]
    assert "line 2" in concern.finding.message
    assert "line 3" in concern.finding.message


def test_swapped_columns_under_a_header_are_a_suspicion(tmp_path: Path) -> None:
    """Column x holds what looks like a UTM northing."""
    found, _ = inspected(tmp_path / "s.csv", "id,x,y,z\nA,4541205.1,412306.1,1312.9\n")
    [concern] = [c for c in found.concerns if c.finding.code == "inspect-axes"]
    assert concern.finding.severity is Severity.WARNING


def test_degrees_under_names_of_lengths_are_a_suspicion(tmp_path: Path) -> None:
    """Columns x and y below 180; called lon and lat there is nothing to suspect."""
    found, _ = inspected(tmp_path / "d.csv", "id,x,y,z\nA,-105.21,39.91,1600\n")
    assert "inspect-place" in codes(found)
    found, _ = inspected(tmp_path / "l.csv", "id,lon,lat,z\nA,-105.21,39.91,1600\n")
    assert "inspect-place" not in codes(found)
    assert found.reference.horizontal_kind == "geographic"


def test_heights_that_are_none_are_told(tmp_path: Path) -> None:
    """A northing in the height column."""
    found, _ = inspected(tmp_path / "z.csv", "id,x,y,z\nA,412306.1,1312.9,4541205.1\n")
    assert "inspect-heights" in codes(found)


def test_a_text_too_large_for_a_table_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A cloud as text is no table of checkpoints; memory stays bounded."""
    monkeypatch.setattr(table, "LARGEST_BYTES", 10)
    path = tmp_path / "cloud.txt"
    path.write_text("id,x,y,z\n" + "A,1,2,3\n" * 9, "utf-8")
    with pytest.raises(AccuracyError, match=r"\.las or \.laz"):
        inspect_file(path)


def test_kind_is_told_by_content_where_the_name_says_nothing(tmp_path: Path) -> None:
    """A table without suffix is a table; bytes that are nothing are told as no raster."""
    path = tmp_path / "points"
    path.write_text(HEADED, "utf-8")
    assert inspect_file(path).kind == "table"
    path.write_bytes(b"\0\1\2" * 100)
    with pytest.raises(AccuracyError, match="not a raster"):
        inspect_file(path)
    with pytest.raises(AccuracyError, match="folder"):
        inspect_file(tmp_path)
