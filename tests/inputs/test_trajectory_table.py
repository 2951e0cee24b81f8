"""Trajectory tables as people hand them in; all contents are invented."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from flights import WEEK, WEEK_START_S
from hypothesis import given
from hypothesis import strategies as st

from accuracy.errors import InputError
from accuracy.formats import long_tables
from accuracy.inputs.trajectory_table import TrajectoryTable, read_trajectory
from accuracy.job.trajectory_section import TrajectorySection
from accuracy.units import LengthUnit


def read(folder: Path, text: str | bytes, **keys: object) -> TrajectoryTable:
    path = folder / "flown.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    section = {"file": path.name, "time": "gps-seconds"} | keys
    return read_trajectory(path, TrajectorySection.model_validate(section))


def refused(folder: Path, text: str | bytes, **keys: object) -> str:
    with pytest.raises(InputError) as caught:
        read(folder, text, **keys)
    return str(caught.value)


ROWS = "1.5,10.25,20.5,30.125\n2.5,11,21,31\n"


@pytest.mark.parametrize(
    "text",
    [
        "time,easting,northing,height\n" + ROWS,
        "\ufeffGPS Time,East,North,H-Ell\r\n" + ROWS.replace("\n", "\r\n"),
        "Site: Hessoway\n\nGPSTime;X;Y;Z;\n"
        + ROWS.replace(",", ";").replace(".", ",").replace("\n", ";\n"),
        "# a comment\n# time easting northing height\n" + ROWS.replace(",", "  "),
        "TIME\tE\tN\tELEVATION\n(sec)\t(m)\t(m)\t(m)\n" + ROWS.replace(",", "\t") + "\n\n",
        '"time","easting","northing","height"\n' + ROWS,
    ],
    ids=["plain", "bom and crlf", "semicolons and commas", "blanks", "tabs and units", "quotes"],
)
def test_forms_of_one_table(tmp_path: Path, text: str) -> None:
    """The same numbers come out of every form in which such tables are met."""
    table = read(tmp_path, text)
    assert table.time_s.tolist() == [1.5, 2.5]
    assert table.easting.tolist() == [10.25, 11.0]
    assert table.northing.tolist() == [20.5, 21.0]
    assert table.height.tolist() == [30.125, 31.0]


def test_utf16_and_old_code_pages(tmp_path: Path) -> None:
    """Encodings that spreadsheets and old programs write are read; a degree sign is no obstacle."""
    text = "time,easting,northing,height,heading (°)\n1,2,3,4,5\n2,2,3,4,6\n"
    for encoding in ("utf-16", "cp1252", "utf-8"):
        table = read(tmp_path, text.encode(encoding), angle_unit="degree")
        assert table.heading_deg is not None
        assert table.heading_deg.tolist() == [5.0, 6.0]


def test_time_systems(tmp_path: Path) -> None:
    """One moment in four notations is one GPS time (2026-05-14T17:00:00 UTC; week 2418 starts on 10 May)."""
    gps_s = WEEK_START_S + 4 * 86_400 + 17 * 3600 + 18  # 18 leap seconds
    for system, first, more in (
        ("gps-seconds", f"{gps_s}", {}),
        ("gps-adjusted-standard", f"{gps_s - 1e9}", {}),
        ("gps-seconds-of-week", f"{gps_s - WEEK_START_S}", {"week": WEEK}),
        ("utc", "2026-05-14T17:00:00Z", {}),
        ("utc", "2026-05-14T19:00:00.000+02:00", {}),
        ("utc", "2026-05-14 17:00:00", {}),
    ):
        second = first.replace("17:00:00", "17:00:01").replace("19:00:00", "19:00:01")
        second = second if system == "utc" else f"{float(first) + 1}"
        text = f"time,e,n,z\n{first},1,2,3\n{second},1,2,3\n"
        assert read(tmp_path, text, time=system, **more).time_s.tolist() == [gps_s, gps_s + 1]


def test_units_of_columns(tmp_path: Path) -> None:
    """Units in names or below them are kept for positions and applied to angles and quality."""
    table = read(
        tmp_path,
        "time,easting_ftus,northing_ftus,height_ft,roll_rad,sep_east_ft,sep_north,sep_up\n"
        "1,1,2,3,0.5,10,4,-0.02\n2,1,2,3,0.5,10,4,-0.02\n",
    )
    assert (table.horizontal_unit, table.vertical_unit) == (
        LengthUnit.US_SURVEY_FOOT,
        LengthUnit.FOOT,
    )
    assert table.roll_deg is not None
    assert table.separation_h_m is not None
    assert table.separation_v_m is not None
    assert table.roll_deg[0] == pytest.approx(math.degrees(0.5), abs=1e-12)
    assert table.separation_h_m[0] == pytest.approx(math.hypot(3.048, 4.0), abs=1e-12)
    assert table.separation_v_m[0] == -0.02
    assert any("international feet" in f.message for f in table.findings)
    below = read(tmp_path, "time,e,n,z,pitch\n(s),(ft),(ft),(ft),(rad)\n1,1,2,3,1\n2,1,2,3,1\n")
    assert below.vertical_unit is LengthUnit.FOOT
    assert below.pitch_deg is not None
    assert below.pitch_deg[0] == pytest.approx(57.29577951308232, abs=1e-12)


def test_the_job_names_columns(tmp_path: Path) -> None:
    """Names of the job win over the usual ones, whatever capitals; a name that is not there is refused."""
    text = "t0,time,ee,n,z\n9,1,2,3,4\n9.5,2,2,3,4\n"
    table = read(tmp_path, text, columns={"time": "T0", "easting": "EE"})
    assert table.time_s.tolist() == [9.0, 9.5]
    told = refused(tmp_path, text, columns={"easting": "eee"})
    assert "did you mean 'ee'" in told
    assert "trajectory.columns.easting" in told


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "the table is empty"),
        ("\n\n", "the table is empty"),
        ("a,b,c\n1,2,3\n", "no line names the columns"),
        ("time,e,n\n1,2,3\n", "no column for height"),
        ("time,e,n,z,east\n1,2,3,4,5\n", "'e' and 'east' both mean easting"),
        ("time,easting_m,northing_ft,z\n1,2,3,4\n", "different units"),
        ("time,e,n,z\n1,2,3,4\n", "has 1 rows"),
        ("time,e,n,z\n1,2,3,4\n\n2,x,3,4\n", "line 4, column e: 'x'"),
        ("time,e,n,z\n1,2,3,4\n2,,3,4\n", "line 3, column e: nothing is written"),
        ("time,e,n,z\nnan,2,3,inf\n2,3,3,4\n", "line 2, column time: 'nan'"),
        ("time,e,n,z\n1,2,3,1e400\n2,3,3,4\n", "line 2, column z: '1e400'"),
        ("time,e,n,z\n1,2,3,4\n2,3,4\n", "line 3: 3 cells where the header names 4"),
        ("time,e,n,z\n1,2,3,4\n2,3,4,5,6\n", "line 3: 5 cells where the header names 4"),
        ("time,e,n,z\n1;2;3;4\n", "line 2: 1 cells"),
        ("time,e,n,z\n1,2,3,4\n1,3,3,4\n", "have one time"),
        ("time,e,n,z\n1,-1e300,3,4\n2,3,3,4\n", "line 2, column e: '-1e300'"),
        ("time,e,n,z\n1e300,1,3,4\n2,3,3,4\n", "line 2, column time: '1e300'"),
    ],
)
def test_what_cannot_be_used_is_refused(tmp_path: Path, text: str, told: str) -> None:
    """Every mistake is told with file, line and column; no row is dropped."""
    assert told in refused(tmp_path, text)


@pytest.mark.parametrize("bad", ["0001-01-01T00:00:00", "9999-12-31", "1970-01-01", "26:00", "x"])
def test_dates_that_cannot_be(tmp_path: Path, bad: str) -> None:
    """Dates before GPS time, far ahead, or none at all are refused with their line."""
    text = f"time,e,n,z\n2026-05-14T17:00:00Z,1,2,3\n{bad},1,2,3\n"
    assert f"line 3, column time: '{bad}'" in refused(tmp_path, text, time="utc")


def test_not_text_and_missing(tmp_path: Path) -> None:
    """Binary files, folders and missing files are refused in one sentence."""
    assert "not a table of text" in refused(tmp_path, b"\x00\x01\x02" * 5000)
    section = TrajectorySection(file="x", time="utc")
    for path in (tmp_path, tmp_path / "missing.csv"):
        with pytest.raises(InputError, match="cannot be read"):
            read_trajectory(path, section)


def test_many_mistakes_are_counted(tmp_path: Path) -> None:
    """Twenty are listed, the rest is counted."""
    told = refused(tmp_path, "time,e,n,z\n" + "1,x,3,4\n" * 45)
    assert "45 mistakes" in told
    assert told.count("column e") == 20


def test_lines_are_right_across_blocks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Reading in blocks of two lines changes neither numbers nor line numbers."""
    text = "note\ntime,e,n,z,fix\n" + "".join(
        f"{i},{i / 8},0,0,{'Fixed' if i % 3 else 'Float'}\n" + ("# gap\n\n" if i == 4 else "")
        for i in range(9)
    )
    whole = read(tmp_path, text)
    monkeypatch.setattr(long_tables, "BLOCK_ROWS", 2)
    parts = read(tmp_path, text)
    assert whole.line.tolist() == parts.line.tolist() == [3, 4, 5, 6, 7, 10, 11, 12, 13]
    assert whole.easting.tolist() == parts.easting.tolist() == [i / 8 for i in range(9)]
    assert whole.fixed is not None
    assert parts.fixed is not None
    assert whole.fixed.tolist() == parts.fixed.tolist() == [bool(i % 3) for i in range(9)]
    assert dict(parts.fix_counts) == {"Float": 3, "Fixed": 6}


def test_order_of_time(tmp_path: Path) -> None:
    """Times that repeat or go back are findings that name the line."""
    table = read(tmp_path, "time,e,n,z\n1,2,3,4\n2,2,3,4\n2,2,3,4\n1.5,2,3,4\n")
    told = {f.message.split(": ")[1][:14]: f for f in table.findings}
    assert told["times go back "].evidence["first_line"] == 5
    assert told["times repeat a"].evidence["first_line"] == 4


def test_the_end_of_the_week(tmp_path: Path) -> None:
    """Seconds of the week go on counting over Saturday midnight."""
    table = read(
        tmp_path,
        "time,e,n,z\n604799.5,2,3,4\n0,2,3,4\n0.5,2,3,4\n",
        time="gps-seconds-of-week",
        week=100,
    )
    assert np.diff(table.time_s).tolist() == [0.5, 0.5]
    assert [f.code for f in table.findings] == ["trajectory-week-assumed"]


@pytest.mark.parametrize(
    ("cells", "keys", "expected"),
    [
        (["Fixed", "float"], {}, [True, False]),
        (["1", "2"], {}, None),
        (["1", "2"], {"fixed_values": [1]}, [True, False]),
        (["1.0", "4"], {"fixed_values": ["1"]}, [True, False]),
        (["AR-L1", "none"], {"fixed_values": ["ar-l1"]}, [True, False]),
        (["A", "B"], {}, None),
        (["", "fix"], {}, [False, True]),
    ],
)
def test_what_is_fixed(
    tmp_path: Path, cells: list[str], keys: dict[str, object], expected: list[bool] | None
) -> None:
    """Words are known or named by the job; numbers must be named; unknown stays unknown, with a finding."""
    text = "time,e,n,z,quality\n" + "".join(f"{i},1,2,3,{c}\n" for i, c in enumerate(cells))
    table = read(tmp_path, text, **keys)
    assert (None if table.fixed is None else table.fixed.tolist()) == expected
    assert (expected is None) == any(f.code == "trajectory-fix-unknown" for f in table.findings)


def test_missing_optional_values_are_counted(tmp_path: Path) -> None:
    """An optional column with holes stays, with NaN and a finding."""
    table = read(tmp_path, "time,e,n,z,pdop\n1,2,3,4,1.5\n2,2,3,4,\n3,2,3,4,inf\n")
    assert table.pdop is not None
    assert np.isnan(table.pdop).tolist() == [False, True, True]
    (finding,) = [f for f in table.findings if f.code == "trajectory-values-missing"]
    assert finding.evidence == {"rows": 2, "first_line": 3}


@given(st.lists(st.floats(-9.9e8, 9.9e8), min_size=2, max_size=30, unique=True))
def test_numbers_are_read_to_the_last_bit(
    tmp_path_factory: pytest.TempPathFactory, values: list[float]
) -> None:
    """What Python writes is read back bit for bit."""
    folder = tmp_path_factory.mktemp("bits")
    text = "time,e,n,z\n" + "".join(f"{i},{v!r},{-v!r},0\n" for i, v in enumerate(values))
    table = read(folder, text)
    assert table.easting.tolist() == values
    assert table.northing.tolist() == [-v for v in values]
