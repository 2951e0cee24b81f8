"""Point tables: all points are invented but for the real list at the end."""

from __future__ import annotations

import csv
import io
import itertools
import math
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from accuracy.errors import InputError
from accuracy.findings import Finding, Severity
from accuracy.inputs.checkpoints import (
    COVERS,
    Checkpoint,
    CheckpointTable,
    MeasuredPoint,
    read_checkpoints,
    read_measured_points,
)
from accuracy.units import LengthUnit


def written(folder: Path, text: str) -> Path:
    path = folder / "site.csv"
    path.write_bytes(text.encode("utf-8"))
    return path


def read(folder: Path, text: str, order: str | None = None) -> CheckpointTable:
    return read_checkpoints(written(folder, text), order)


def refused(folder: Path, text: str, order: str | None = None) -> str:
    with pytest.raises(InputError) as caught:
        read(folder, text, order)
    assert "site.csv" in str(caught.value)
    return str(caught.value)


def codes(findings: tuple[Finding, ...]) -> list[str]:
    return [finding.code for finding in findings]


def test_a_full_table(tmp_path: Path) -> None:
    """Every documented column is read; names in any case."""
    table = read(
        tmp_path,
        "ID,Easting,Northing,Height,Cover,Kind,survey_rmse_h_m,SURVEY_RMSE_V_M,Epoch,Description\n"
        '007,339104.125,4500000.25,101.5,vegetated,vertical,0.01,0.015,2010.5,"nail, gate"\n'
        "7,339105.125,4500001.25,102.5,,,,,,\n",
    )
    assert table.points == (
        Checkpoint(
            id="007",
            easting=339104.125,
            northing=4500000.25,
            height=101.5,
            cover="vegetated",
            cover_stated=True,
            tested="vertical",
            survey_rmse_h_m=0.01,
            survey_rmse_v_m=0.015,
            epoch_year=2010.5,
            description="nail, gate",
            line=2,
        ),
        Checkpoint(id="7", easting=339105.125, northing=4500001.25, height=102.5, line=3),
    )
    assert (table.horizontal_unit, table.vertical_unit, table.geographic) == (None, None, False)
    assert codes(table.findings) == ["checkpoints-cover-assumed"]
    assert "points 7;" in table.findings[0].message


def test_cover_not_stated_is_told(tmp_path: Path) -> None:
    """Without any cover, one warning stands for all points."""
    table = read(tmp_path, "id,x,y,z\n1,2.5,3.5,4.5\n2,5.5,6.5,7.5\n")
    (finding,) = table.findings
    assert finding.code == "checkpoints-cover-assumed"
    assert finding.severity is Severity.WARNING
    assert "all points" in finding.message


@pytest.mark.parametrize(
    "header",
    [
        "point,east,north,elevation",
        "Pt,E,N,H",
        "Point ID,EAST,NORTH,Elev.",
        "name,e,n,up",
        "P,E,N,el",
    ],
)
def test_synonyms_of_the_trade_are_read_and_told(tmp_path: Path, header: str) -> None:
    """A synonym is understood, with one note for each."""
    table = read(tmp_path, f"{header}\nA,2.5,3.5,4.5\n")
    point = table.points[0]
    assert (point.id, point.easting, point.northing, point.height) == ("A", 2.5, 3.5, 4.5)
    assert codes(table.findings).count("checkpoints-order-assumed") == 4


def test_columns_nobody_uses_are_told(tmp_path: Path) -> None:
    """An unknown column is a note, which names a documented column near to it."""
    table = read(tmp_path, "id,name,x,y,z,survey_rmse_v,crew\n1,a,2.5,3.5,4.5,0.1,b\n")
    ignored = [f.message for f in table.findings if f.code == "checkpoints-column-ignored"]
    assert len(ignored) == 3
    assert "'name'" in ignored[0]
    assert "survey_rmse_v_m" in ignored[1]
    assert "'crew'" in ignored[2]
    assert table.points[0].survey_rmse_v_m is None


@pytest.mark.parametrize(
    ("suffix", "unit", "told"),
    [
        ("_m", LengthUnit.METRE, False),
        (" (m)", LengthUnit.METRE, False),
        ("_ft", LengthUnit.FOOT, True),
        ("_ift", LengthUnit.FOOT, False),
        ("_ftus", LengthUnit.US_SURVEY_FOOT, False),
        ("_usft", LengthUnit.US_SURVEY_FOOT, False),
        (" [US survey foot]", LengthUnit.US_SURVEY_FOOT, False),
    ],
)
def test_units_in_column_names(tmp_path: Path, suffix: str, unit: LengthUnit, told: bool) -> None:
    """A unit in the names is stated; bare feet are the international ones, and that is told."""
    table = read(tmp_path, f"id,x{suffix},y{suffix},z\n1,2.5,3.5,4.5\n")
    assert (table.horizontal_unit, table.vertical_unit) == (unit, None)
    assert ("checkpoints-foot-assumed" in codes(table.findings)) is told
    table = read(tmp_path, f"id,x,y,height{suffix}\n1,2.5,3.5,4.5\n")
    assert (table.horizontal_unit, table.vertical_unit) == (None, unit)


@pytest.mark.parametrize(
    ("header", "part"),
    [
        ("id,x_m,y,z", "different units"),
        ("id,x_m,y_ft,z", "different units"),
        ("id,x,y", "no column for height"),
        ("x,y,z", "no column for id"),
        ("id,x,easting,y,z", "'x' and 'easting' both mean easting"),
        ("id,id,x,y,z", "both mean id"),
        ("point,name,x,y,z", "both mean id"),
        ("id,lon,lat,x,y,z", "degrees beside"),
        ("id,lon,northing,z", "degrees beside"),
        ("id,lon,z", "no column for latitude"),
        ("id,lat_m,lon_m,z", "no column for easting, northing"),
        ("id,x,y,heigth", "nearest known name: height"),
        ("id,x,y,z_cm", "no column for height"),
        ("a,b,c", "no column name is understood"),
    ],
)
def test_headers_that_cannot_be_used(tmp_path: Path, header: str, part: str) -> None:
    """A header without the needed columns, or with two for one, is refused with what is wrong."""
    values = ",".join(["1"] * len(header.split(",")))
    message = refused(tmp_path, f"{header}\n{values}\n")
    assert part in message
    assert "line 1" in message


def test_degrees(tmp_path: Path) -> None:
    """Longitude and latitude make the table geographic; values off the globe are refused."""
    table = read(tmp_path, "id,latitude,longitude_deg,height_m\n1,45.25,-93.5,250.5\n")
    point = table.points[0]
    assert table.geographic
    assert (point.easting, point.northing) == (-93.5, 45.25)
    message = refused(tmp_path, "id,lon,lat,z\n1,45.0,-93.5,2\n2,-190,10,2\n")
    assert "point 1, column lat: latitude -93.5" in message
    assert "point 2, column lon: longitude -190" in message


ORDERS = sorted({"".join(p)[:n] for p in itertools.permutations("PNEZD") for n in (4, 5)})
VALUES = {"P": "CP1", "N": "4500.25", "E": "339.5", "Z": "12.125", "D": "nail"}


@pytest.mark.parametrize("delimiter", [",", ";", "\t", " "])
def test_every_order_of_letters(tmp_path: Path, delimiter: str) -> None:
    """Any order with P, N, E and Z once and D at most once reads; every other is refused."""
    for order in ORDERS:
        text = delimiter.join(VALUES[letter] for letter in order) + "\n"
        if set(order) < set("PNEZ") | {"D"} and not set("PNEZ") <= set(order):
            assert "is missing" in refused(tmp_path, text, order)
            continue
        (point,) = read(tmp_path, text, order.lower()).points
        found = (point.id, point.northing, point.easting, point.height, point.description)
        assert found == ("CP1", 4500.25, 339.5, 12.125, "nail" if "D" in order else "")


@pytest.mark.parametrize(
    ("order", "part"),
    [("PNED", "Z is missing"), ("PNEZZ", "Z stands there twice"), ("PNEZX", "'X'"), ("", "P is")],
)
def test_orders_that_mean_nothing(tmp_path: Path, order: str, part: str) -> None:
    """A wrong order is refused before the file is looked at."""
    assert part in refused(tmp_path, "1,2.5,3.5,4.5\n", order)


def test_an_order_for_a_table_with_a_header_is_refused(tmp_path: Path) -> None:
    """Order and header at once contradict each other."""
    message = refused(tmp_path, "point,e,n,z\n1,2.5,3.5,4.5\n", "PNEZ")
    assert "the first row is one: point, e, n, z" in message


def test_without_header_and_order_the_first_row_is_shown(tmp_path: Path) -> None:
    """The error shows how the usual orders would read the first row, and asks."""
    message = refused(tmp_path, "\n12,4500.25,339.5,12.125,nail, gate\n")
    assert "line 2" in message
    assert 'order = "PNEZD": would read id 12, northing 4500.25, easting 339.5' in message
    assert 'order = "PENZD": would read id 12, easting 4500.25, northing 339.5' in message
    assert "description nail, gate" in message
    message = refused(tmp_path, "12,4500.25,339.5,12.125\n")
    assert 'order = "PNEZ": ' in message


def test_a_commented_header_is_pointed_out(tmp_path: Path) -> None:
    """Column names behind a comment sign are not used, but the error tells of them."""
    message = refused(tmp_path, "# Id, X, Y, Z\n12,4500.25,339.5,12.125\n")
    assert "line 1 looks like such a header, but is a comment" in message


def test_the_description_takes_the_rest_of_the_line(tmp_path: Path) -> None:
    """Blanks and commas in a description at the end belong to it, headered or not."""
    rows = '1 2.5 3.5 4.5 nail in  kerb\n2 2.5 4.5 4.5\n3 2.5 5.5 4.5 "old gate"\n'
    expected = ["nail in  kerb", "", "old gate"]
    assert [p.description for p in read(tmp_path, rows, "PNEZD").points] == expected
    headed = "id easting northing height description\n" + rows
    assert [p.description for p in read(tmp_path, headed).points] == expected
    (point,) = read(tmp_path, "1,2.5,3.5,4.5,nail, in kerb,,\n", "PNEZD").points
    assert point.description == "nail, in kerb"


def test_decimal_commas_split_by_commas_are_not_taken_for_a_description(tmp_path: Path) -> None:
    """``1,100,5,200,3,10,2`` under PNEZD must not become northing 100, easting 5, height 200."""
    message = refused(tmp_path, "1,100,5,200,3,10,2\n2,101,5,201,3,11,2\n", "PNEZD")
    assert "the description would begin with the number 3" in message
    assert "line 2, point 2" in message


def test_decimal_commas_are_told(tmp_path: Path) -> None:
    """A table with decimal commas reads, with one note."""
    table = read(tmp_path, "id;x;y;z\n1;339104,125;4500000,25;12,5\n")
    assert table.points[0].easting == 339104.125
    assert "checkpoints-decimal-comma" in codes(table.findings)


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ('id,x,y,z\n1,"345,678","123,456",12.5\n', "a decimal point in '12.5' (line 2)"),
        ('id,x,y,z\n1,"345,678","123,456",12\n', "may have a decimal comma or a thousands"),
        ("id;x;y;z\n1;345.678,5;123,5;12,5\n", "separators inside"),
        ("id;x;y;z\n1;5,5;6,5;7,5\n2;5.5;6,5;7,5\n", "'5,5' (line 2) and a decimal point in '5.5'"),
    ],
)
def test_thousands_separators_are_refused(tmp_path: Path, text: str, part: str) -> None:
    """What may be thousands is never read as decimals."""
    assert part in refused(tmp_path, text)


def test_quoted_decimal_commas_that_cannot_be_thousands(tmp_path: Path) -> None:
    """Between commas, quoted decimal commas read where at least one cannot be thousands."""
    (point,) = read(tmp_path, 'id,x,y,z\n1,"339104,125","12,456","3,250"\n').points
    assert (point.easting, point.northing, point.height) == (339104.125, 12.456, 3.25)


def test_all_mistakes_of_a_table_at_once(tmp_path: Path) -> None:
    """Each mistake is a problem of its own with file, line, point and column."""
    with pytest.raises(InputError) as caught:
        read(
            tmp_path,
            "id,x,y,z,cover,kind,survey_rmse_h_m,epoch\n"
            "A,nan,2,,open,both,0.1,2010\n"
            "A,1,2,3,grass,slanted,-0.1,20100101\n"
            ",1,3,3,,,,\n"
            "B,1,2\n"
            "C,1,2,3,,,,,9\n"
            "D,1,inf,3,,,0.x,99\n",
        )
    problems = [(problem.where, problem.found) for problem in caught.value.problems]
    assert problems == [
        ("site.csv, line 2, point A, column x", "'nan' is not a finite number"),
        ("site.csv, line 2, point A, column z", "nothing is written"),
        ("site.csv, line 3, point A, column id", "the same id stands in line 2"),
        ("site.csv, line 3, point A, column cover", "'grass' is not known"),
        ("site.csv, line 3, point A, column kind", "'slanted' is not known"),
        ("site.csv, line 3, point A, column survey_rmse_h_m", "-0.1"),
        ("site.csv, line 3, point A, column epoch", "20100101"),
        ("site.csv, line 4, column id", "nothing is written"),
        ("site.csv, line 5, point B", problems[8][1]),
        ("site.csv, line 6, point C", problems[9][1]),
        ("site.csv, line 7, point D, column y", "'inf' is not a finite number"),
        ("site.csv, line 7, point D, column survey_rmse_h_m", "'0.x' is not a number"),
        ("site.csv, line 7, point D, column epoch", "99"),
    ]
    assert problems[8][1].startswith("3 columns, fewer than the 8 declared")
    assert problems[9][1].startswith("9 columns, more than the 8 declared")
    assert str(caught.value).startswith(f"{tmp_path / 'site.csv'}: 13 mistakes")


@pytest.mark.parametrize("text", ["", "\n\n", "# nothing\n", "id,x,y,z\n", "id,x,y,z\n,,,\n"])
def test_a_table_without_points_is_refused(tmp_path: Path, text: str) -> None:
    """No point is no table."""
    assert "holds no points" in refused(tmp_path, text)


def test_every_cover_is_read_and_groups_are_told(tmp_path: Path) -> None:
    """Each documented name reads in any case and with - or _; what is not plainly a group is told."""
    for name, group in COVERS.items():
        for text in (name, name.upper(), name.replace(" ", "_"), name.replace(" ", "-")):
            table = read(tmp_path, f"id,x,y,z,land_cover\n1,2.5,3.5,4.5,{text}\n")
            assert (table.points[0].cover, table.points[0].cover_stated) == (group, True)
    table = read(tmp_path, "id,x,y,z,cover\n1,2.5,3.5,4.5,Bare-Earth\n2,3.5,3.5,4.5,NVA\n")
    (finding,) = table.findings
    assert finding.code == "checkpoints-cover-grouped"
    assert "'Bare-Earth' is taken as non-vegetated" in finding.message


def test_the_last_epoch_is_next_year(tmp_path: Path) -> None:
    """Epochs run from 1980 to the end of this year."""
    year = date.today().year + 1
    text = "id,x,y,z,epoch\n1,2.5,3.5,4.5,{}\n"
    assert read(tmp_path, text.format(year)).points[0].epoch_year == year
    assert "decimal year" in refused(tmp_path, text.format(year + 1))


def test_the_same_place_twice_is_told(tmp_path: Path) -> None:
    """Two ids at one place are a warning that names both lines."""
    table = read(tmp_path, "id,x,y,z,cover\n1,2.5,3.5,4.5,open\n2,2.50,3.5,4.6,nva\n")
    repeated = [f for f in table.findings if f.code == "checkpoints-repeated-place"]
    assert len(repeated) == 1
    assert "1 (line 2) and 2 (line 3)" in repeated[0].message


def test_a_point_behind_a_comment_sign_is_told(tmp_path: Path) -> None:
    """A commented point is not read, and not silently; words behind the sign are no point."""
    text = "# points of the north field, 2 of them\nid,x,y,z\n#1,2.5,3.5,4.5\n2,2.5,3.5,4.5\n"
    table = read(tmp_path, text)
    assert [point.id for point in table.points] == ["2"]
    commented = [f for f in table.findings if f.code == "checkpoints-commented-point"]
    assert ["line 3" in finding.message for finding in commented] == [True]


def test_an_assumed_encoding_is_told(tmp_path: Path) -> None:
    """Text that is neither marked nor UTF-8 is read, with a note."""
    path = tmp_path / "site.csv"
    path.write_bytes("id,x,y,z,d\n1,2.5,3.5,4.5,Höhe\n".encode("cp1252"))
    table = read_checkpoints(path)
    assert table.points[0].description == "Höhe"
    assert "checkpoints-encoding-assumed" in codes(table.findings)


def test_measured_points(tmp_path: Path) -> None:
    """Heights are optional as a column; decimals are the most written in the easting."""
    path = written(tmp_path, "id,x_ftus,y_ftus\n1,2.50,3.5\n2,2.125,3\n")
    table = read_measured_points(path)
    assert table.points == (
        MeasuredPoint("1", 2.5, 3.5, None, 2),
        MeasuredPoint("2", 2.125, 3.0, None, 3),
    )
    assert (table.decimals, table.horizontal_unit) == (3, LengthUnit.US_SURVEY_FOOT)
    assert table.findings == ()
    path = written(tmp_path, "id,x,y,z,cover\n1,2,3,4.5,open\n")
    table = read_measured_points(path)
    assert (table.points[0].height, table.decimals) == (4.5, 0)
    assert codes(table.findings) == ["checkpoints-column-ignored"]


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("id,x,y,z\n1,2,3,\n", "column z: nothing is written"),
        ("id,x,y\n1,2,3\n1,3,4\n", "the same id stands in line 2"),
        ("id,x\n1,2\n", "no column for northing"),
        ("1,2,3\n2,3,4\n", "no header"),
    ],
)
def test_measured_points_that_cannot_be_used(tmp_path: Path, text: str, part: str) -> None:
    """The rules of checkpoint tables hold here, too; a height column must be filled."""
    with pytest.raises(InputError) as caught:
        read_measured_points(written(tmp_path, text))
    assert part in str(caught.value)


@dataclass(frozen=True)
class Dialect:
    delimiter: str
    comma: bool
    encoding: str
    line_end: str
    headed: bool


DIALECTS = st.builds(
    Dialect,
    delimiter=st.sampled_from([",", ";", "\t"]),
    comma=st.booleans(),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    line_end=st.sampled_from(["\n", "\r\n"]),
    headed=st.booleans(),
)
WORDS = st.text("abzÄß09 ,;\t\"'#/-_.", min_size=1, max_size=12).map(str.strip).filter(bool)
IDS = WORDS.filter(lambda text: "\t" not in text)
NUMBERS = st.decimals(-9_999_999, 9_999_999, places=4)
POINTS = st.lists(
    st.tuples(IDS, NUMBERS, NUMBERS, NUMBERS, WORDS),
    min_size=1,
    max_size=8,
    unique_by=lambda point: point[0],
)


@given(points=POINTS, dialect=DIALECTS)
def test_points_come_back_as_written(
    tmp_path_factory: pytest.TempPathFactory,
    points: list[tuple[str, object, object, object, str]],
    dialect: Dialect,
) -> None:
    """Points written by the standard library's CSV writer read back equal in every dialect."""
    text = io.StringIO()
    writer = csv.writer(
        text,
        delimiter=dialect.delimiter,
        quoting=csv.QUOTE_ALL,
        lineterminator=dialect.line_end,
    )
    if dialect.headed:
        writer.writerow(["id", "northing", "easting", "height", "description"])
    for name, *numbers, words in points:
        shown = [str(n).replace(".", ",") if dialect.comma else str(n) for n in numbers]
        writer.writerow([name, *shown, words])
    path = tmp_path_factory.getbasetemp() / "site.csv"
    path.write_bytes(text.getvalue().encode(dialect.encoding))
    table = read_checkpoints(path, None if dialect.headed else "PNEZD")
    assert [(p.id, p.northing, p.easting, p.height, p.description) for p in table.points] == [
        (name, float(str(n)), float(str(e)), float(str(z)), d) for name, n, e, z, d in points
    ]


PIECES = st.one_of(
    st.sampled_from(["id", "x", "lat", "z", "description", "1", "2.5", "3,5", "nan", ""]),
    st.sampled_from(["#", "//", '"', "\n", "\t", ";", ",", " "]),
)


@given(
    data=st.binary(max_size=60) | st.lists(PIECES, max_size=40).map(lambda p: "".join(p).encode()),
    order=st.none() | st.sampled_from(["PNEZD", "PDENZ", "PNEZ"]),
)
def test_any_bytes_give_a_table_or_an_error_of_input(
    tmp_path_factory: pytest.TempPathFactory, data: bytes, order: str | None
) -> None:
    """No file, however broken, leads to any other error, and no point without an id or number."""
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes(data)
    try:
        points = read_checkpoints(path, order).points
    except InputError:
        return  # anything else would fail the test
    assert all(point.id and math.isfinite(point.easting) for point in points)
    assert len({point.id for point in points}) == len(points) > 0


@pytest.mark.shared_data
class TestRealList:
    """The surveyed list of an airborne image block, as its authors deliver it."""

    def test_as_delivered_its_header_is_a_comment(self, shared_data: Path) -> None:
        """Without an order nothing is guessed; five letters are too few for eight columns."""
        path = shared_data / "checkpoints-sxb" / "sxb-control.txt"
        with pytest.raises(InputError, match="line 1 looks like such a header, but is a comment"):
            read_checkpoints(path)
        with pytest.raises(InputError, match="8 columns, more than the 5 declared") as caught:
            read_checkpoints(path, "PDENZ")
        assert len(caught.value.problems) == 16

    def test_with_its_header_uncommented(self, shared_data: Path, tmp_path: Path) -> None:
        """All 16 points read as the published residual table gives them, to the last digit."""
        folder = shared_data / "checkpoints-sxb"
        text = (folder / "sxb-control.txt").read_text(encoding="utf-8").lstrip("# ")
        table = read(tmp_path, text)
        with (folder / "sxb_residuals.csv").open(encoding="utf-8", newline="") as file:
            published = {
                row["id"]: tuple(float(row[f"survey_{axis}"]) for axis in "xyz")
                for row in csv.DictReader(file)
            }
        assert {p.id: (p.easting, p.northing, p.height) for p in table.points} == published
        assert len(published) == 16
        assert codes(table.findings).count("checkpoints-column-ignored") == 4

    def test_cut_to_five_columns(self, shared_data: Path, tmp_path: Path) -> None:
        """Id, name, x, y, z read under an order of letters."""
        lines = (shared_data / "checkpoints-sxb" / "sxb-control.txt").read_text(encoding="utf-8")
        text = "\n".join(",".join(line.split(",")[:5]) for line in lines.splitlines())
        table = read(tmp_path, text, "PDENZ")
        first = table.points[0]
        assert (first.id, first.description) == ("317", "B2.16")
        assert (first.easting, first.northing, first.height) == (999604.58, 112344.443, 139.453)


def test_all_points_of_one_place_are_one_warning(tmp_path: Path) -> None:
    """Three ids at one place: one finding that names them all; another place is another finding."""
    rows = "A,1.0,2.0,3.0,nva\nB,5.0,6.0,3.0,nva\nC,1.0,2.0,3.1,nva\nD,1.00,2.0,3.2,nva\nE,5.0,6.0,9.0,nva\n"
    table = read(tmp_path, "id,x,y,z,cover\n" + rows)
    first, second = (f for f in table.findings if f.code == "checkpoints-repeated-place")
    assert first.evidence["ids"] == "A, C, D"
    assert second.evidence["ids"] == "B, E"
    assert "A (line 2), C (line 4) and D (line 5)" in first.message


@pytest.mark.parametrize(
    "id_", ["P\n1", "P\r1", "P\u202e1", "P\u20281", "P\u200b1", "P\t1", "P\x851"]
)
def test_ids_that_would_forge_lines_are_refused(tmp_path: Path, id_: str) -> None:
    """Line breaks, control and invisible characters in an id: refused with the line, shown as escapes."""
    said = refused(tmp_path, f'id,x,y,z\nok,1.5,2.5,3.5\n"{id_}",2.5,3.5,4.5\n')
    assert "line 3" in said
    assert "control character" in said
    assert id_ not in said


def test_ids_that_differ_in_case_only_are_told(tmp_path: Path) -> None:
    """P1 and p1 stay two points, with a warning that names both lines."""
    table = read(
        tmp_path, "id,x,y,z,cover\nP1,1.5,2.5,3.5,nva\np1,2.5,3.5,4.5,nva\nP2,3.5,1.5,2.5,nva\n"
    )
    assert [point.id for point in table.points] == ["P1", "p1", "P2"]
    (alike,) = (f for f in table.findings if f.code == "checkpoints-ids-alike")
    assert alike.severity is Severity.WARNING
    assert "P1 (line 2), p1 (line 3)" in alike.message
    assert "P2" not in alike.message
