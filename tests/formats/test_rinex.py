"""RINEX headers, epochs, ANTEX and site logs: the samples, and files that are not what they should be."""

from __future__ import annotations

import gzip
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from accuracy.errors import FormatError
from accuracy.formats.antex import find_antenna, split_antenna
from accuracy.formats.rinex import read_rinex_header
from accuracy.formats.rinex_epochs import read_epochs
from accuracy.formats.site_log import read_site_log
from accuracy.simulation.demo_base import antex_text, observation_text

TEXT = observation_text()


def write(path: Path, text: str, newline: str = "\n") -> Path:
    path.write_bytes(text.replace("\n", newline).encode("utf-8"))
    return path


def record(content: str, label: str) -> str:
    return f"{content:<60}{label}\n"


def epochs_3(seconds: list[int], *, satellites: int = 2) -> str:
    """Write epochs of version 3 with two satellites each."""
    rows = []
    for s in seconds:
        rows.append(f"> 2026 05 14 15 {22 + s // 60:02d} {s % 60:02d}.0000000  0{satellites:3d}")
        rows += [f"G{n:02d}  20000000.123" for n in range(1, satellites + 1)]
    return "\n".join([*rows, ""])


@pytest.mark.shared_data
@pytest.mark.parametrize(
    ("name", "version", "hatanaka", "antenna", "position_m", "delta_m", "interval_s"),
    [
        (
            "rinex211_demo_mixed.10o",
            "2.11",
            None,
            "AOAD/M_T        NONE",
            (4789028.4701, 176610.0133, 4195017.0310),
            (0.903, 0, 0),
            30.0,
        ),
        (
            "rinex301_demo_mixed.10o",
            "3.01",
            None,
            "AOAD/M_T        NONE",
            (4789028.4701, 176610.0133, 4195017.0310),
            (0.903, 0, 0),
            30.0,
        ),
        ("rinex301_minimal_no_position.10o", "3.01", None, "", None, None, None),
        (
            "rinex211_unknown_antenna_2m.18o",
            "2.11",
            None,
            "UNKNOWN EXT",
            (-4647137.5830, 2562189.6255, -3526626.7006),
            (2.0, 0, 0),
            15.0,
        ),
        (
            "crinex1_rinex211_york_header.15d",
            "2.11",
            "1.0",
            "TRM33429.00+GP  NONE",
            (1122459.2250, -4763243.0070, 4076945.5470),
            (0, 0, 0),
            30.0,
        ),
        (
            "crinex3_rinex303_P433_header.crx",
            "3.03",
            "3.0",
            "TRM59800.80     SCIT",
            (-2268682.1122, -3949823.1452, 4451278.8623),
            (0.0083, 0, 0),
            15.0,
        ),
        (
            "crinex3_rinex305_YEBE_header.crx",
            "3.05",
            "3.0",
            "LEIAR20         LEIM",
            (4848724.9050, -261632.4930, 4123093.9010),
            (0.06, 0, 0),
            30.0,
        ),
        ("rinex302_blank_records_header.23o", "3.02", None, "", (0, 0, 0), (0, 0, 0), 30.0),
        (
            "rinex304_missing_antenna_delta_header.06o",
            "3.04",
            None,
            "ROVER",
            (2104228.0, -5642017.0, 2095406.0),
            None,
            18.0,
        ),
        (
            "rinex211_missing_ant_type_header.16o",
            "2.11",
            None,
            "",
            (31569.9070, -5535449.0960, 3157696.7490),
            (0, 0, 0),
            30.0,
        ),
        (
            "rinex400_HANDMADE_header.rnx",
            "4.00",
            None,
            "TRM59800.00     SCIS",
            (-1882182.84, -4464343.66, 4136557.1),
            (1.5, 0, 0),
            1.0,
        ),
    ],
)
def test_headers_of_the_samples(
    shared_geodesy: Path,
    name: str,
    version: str,
    hatanaka: str | None,
    antenna: str,
    position_m: tuple[float, ...] | None,
    delta_m: tuple[float, ...] | None,
    interval_s: float | None,
) -> None:
    """What stands in each header, read by eye, comes out; a Hatanaka file's version is that of line three."""
    found = read_rinex_header(shared_geodesy / "samples" / name)
    assert (found.version, found.hatanaka) == (version, hatanaka)
    assert found.antenna_field == antenna
    assert found.position_m == position_m
    assert found.delta_hen_m == delta_m
    assert found.interval_s == interval_s
    assert found.first is not None
    assert found.first.system == "GPS"
    assert found.dual_frequency
    assert found.unreadable == ()


@pytest.mark.shared_data
def test_epochs_of_the_samples(shared_geodesy: Path) -> None:
    """Three epochs 15 s apart in version 2, two in versions 2 and 3; none are read of Hatanaka files."""
    for name, count, interval_s in (
        ("rinex211_unknown_antenna_2m.18o", 3, 15.0),
        ("rinex211_demo_mixed.10o", 2, 30.0),
        ("rinex301_demo_mixed.10o", 2, 30.0),
    ):
        path = shared_geodesy / "samples" / name
        found = read_epochs(path, read_rinex_header(path))
        assert found is not None
        assert (found.count, found.interval_s) == (count, interval_s)
    path = shared_geodesy / "samples" / "crinex1_rinex211_york_header.15d"
    assert read_epochs(path, read_rinex_header(path)) is None


@pytest.mark.shared_data
def test_antex_sample(shared_geodesy: Path) -> None:
    """Offsets in millimetres as printed; 21 frequencies announced and two held; other radomes are named."""
    path = shared_geodesy / "samples" / "antex14_igs20_excerpt.atx"
    exact = find_antenna(path, "AERAT1675_120", "SPKE").antenna
    assert exact is not None
    assert exact.announced == 21
    assert [(o.frequency, o.up_mm) for o in exact.offsets] == [("E01", 79.93), ("I05", 93.70)]
    other = find_antenna(path, "AERAT1675_120", "NONE")
    assert (other.antenna, other.without_radome, other.radomes) == (None, None, ("SPKE",))
    fallen = find_antenna(path, "3S-02-TSATE", "SPKE")
    assert fallen.antenna is None
    assert fallen.without_radome is not None
    assert find_antenna(path, "NEVERMADE", "NONE").radomes == ()


@pytest.mark.shared_data
@pytest.mark.parametrize("version", ["v1", "v2"])
def test_site_log_samples(shared_geodesy: Path, version: str) -> None:
    """Three antennas with dates and eccentricities (up first); the template at the end is none."""
    found = read_site_log(shared_geodesy / "samples" / f"igs_sitelog_{version}_ABMF.log")
    assert found.station == {"v1": "ABMF", "v2": "ABMF00GLP"}[version]
    assert found.position_m == (2919786.0, -5383745.0, 1774604.0)
    assert [a.antenna_field for a in found.antennas] == [
        "AERAT2775_43    SPKE",
        "TRM55971.00     NONE",
        "TRM57971.00     NONE",
    ]
    assert (found.antennas[0].up_m, found.antennas[0].reference_point) == (0.05, "TOP")
    at = found.at(datetime(2010, 6, 1))
    assert at is not None
    assert at.serial == "1440911917"
    assert found.at(datetime(2001, 1, 1)) is None
    assert found.unreadable == ()


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("packed", [False, True])
def test_line_ends_and_gzip(tmp_path: Path, newline: str, packed: bool) -> None:
    """The same header whatever the line ends, packed or not, with a byte order mark or without."""
    text = "\ufeff" + TEXT if newline == "\r\n" else TEXT
    path = write(tmp_path / "a.26o", text, newline)
    if packed:
        path.write_bytes(gzip.compress(path.read_bytes()))
    assert read_rinex_header(path) == read_rinex_header(write(tmp_path / "b.26o", TEXT))


@given(st.permutations(TEXT.splitlines()[1:-1]))
def test_records_in_any_order(tmp_path_factory: pytest.TempPathFactory, rows: list[str]) -> None:
    """Only the first and the last record have a place; comments may come in between."""
    path = tmp_path_factory.getbasetemp() / "order.26o"
    lines = TEXT.splitlines()
    write(path, "\n".join([lines[0], *rows, lines[-1], ""]))
    found = read_rinex_header(path)
    assert found.delta_hen_m == (1.6253, 0.0, 0.0)
    assert found.antenna_field == "QUANTENNA_7     NONE"
    assert found.missing == ()


def test_unknown_and_shifted_labels(tmp_path: Path) -> None:
    """Unknown labels are ignored and listed; a label one column off, or after wide letters, is found."""
    text = TEXT.replace("      MARKER NAME", "     MARKER NAME", 1)
    text = text.replace("COMMENT\n", "COMMENT\n" + record("10.0000/invented", "DOI"), 1)
    found = read_rinex_header(write(tmp_path / "a.26o", text))
    assert found.marker_name == "HESSOWAY PILLAR 2"
    assert "DOI" in found.unknown
    wide = TEXT.replace("HESSOWAY PILLAR 2 ", "HÄSSÖWÄY PILLÄR 2 ").encode("utf-8")
    path = tmp_path / "b.26o"
    path.write_bytes(wide)
    assert read_rinex_header(path).marker_name == "HÄSSÖWÄY PILLÄR 2"
    path.write_bytes(wide.decode("utf-8").encode("latin-1"))
    assert read_rinex_header(path).marker_name == "HÄSSÖWÄY PILLÄR 2"


@pytest.mark.parametrize("bad", ["NaN", "inf", "1e999", "x", "--3.0", "1,5"])
def test_numbers_that_are_none(tmp_path: Path, bad: str) -> None:
    """A height that is no finite number is told as unreadable and not used."""
    text = TEXT.replace("        1.6253", f"{bad:>14}")
    found = read_rinex_header(write(tmp_path / "a.26o", text))
    assert found.delta_hen_m is None
    assert found.missing == ()
    assert bad in found.unreadable[0]


def test_epochs_span_interval_gaps(tmp_path: Path) -> None:
    """Span, interval, gaps from the epochs; events and clock steps between them do not count."""
    seconds = [*range(30), *range(95, 120)]
    event = "> 2026 05 14 15 22 40.0000000  4  1\n" + record("moved", "COMMENT")
    path = write(tmp_path / "a.26o", TEXT + epochs_3(seconds) + event)
    found = read_epochs(path, read_rinex_header(path))
    assert found is not None
    assert (found.count, found.interval_s, found.gap_count) == (55, 1.0, 1)
    assert found.gaps == ((datetime(2026, 5, 14, 15, 22, 29), datetime(2026, 5, 14, 15, 23, 35)),)
    assert found.last == datetime(2026, 5, 14, 15, 23, 59)
    assert found.complete
    short = read_epochs(path, read_rinex_header(path), most=10)
    assert short is not None
    assert (short.count, short.complete) == (10, False)
    cut = read_epochs(path, read_rinex_header(path), most_bytes=len(TEXT) + 400)
    assert cut is not None
    assert not cut.complete


Read = Callable[[Path], object]
READERS: dict[str, Read] = {
    "rinex": read_rinex_header,
    "antex": lambda path: find_antenna(path, "QUANTENNA_7", "NONE"),
    "site log": read_site_log,
}


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\n\n\n",
        b"\x00\x01\x02" * 1000,
        b"LASF" + bytes(range(256)) * 50,
        "не то, что надо\n".encode(),
        b"\x1f\x8b",
        gzip.compress(TEXT.encode() * 50)[:200],
        b"\x1f\x8b" + b"junk" * 100,
        b"\x1f\x9d" + b"old compress",
        gzip.compress(b"A" * 50_000_000),
        b"x" * 5_000_000,
    ],
    ids=[
        "empty",
        "blank",
        "zeros",
        "binary",
        "unicode",
        "gzip-start",
        "gzip-cut",
        "gzip-junk",
        "dot-z",
        "bomb",
        "long-line",
    ],
)
def test_hostile_files(tmp_path: Path, reader: str, content: bytes) -> None:
    """What is not the format is refused with the file's name, in bounded memory, whatever it is."""
    path = tmp_path / "thing"
    path.write_bytes(content)
    with pytest.raises(FormatError) as caught:
        READERS[reader](path)
    assert "thing" in str(caught.value)


@pytest.mark.parametrize("reader", READERS)
def test_missing_files(tmp_path: Path, reader: str) -> None:
    """A missing file and a folder are refused."""
    for path in (tmp_path / "nowhere", tmp_path):
        with pytest.raises(FormatError):
            READERS[reader](path)


def test_wrong_kinds(tmp_path: Path) -> None:
    """Navigation files, future versions, headers without end: each refused with the reason."""
    for old, new, words in (
        ("OBSERVATION DATA ", "NAVIGATION DATA  ", "another type"),
        ("     3.05 ", "     5.00 ", "version 5.00"),
        ("     3.05 ", "      NaN ", "version NaN"),
        ("END OF HEADER", "END OF NOTHING", "no end"),
    ):
        path = write(tmp_path / "a.26o", TEXT.replace(old, new))
        with pytest.raises(FormatError, match=words):
            read_rinex_header(path)


def test_packed_epochs_that_break_off(tmp_path: Path) -> None:
    """A gzip file cut inside its epochs is refused, not taken for a short record."""
    packed = gzip.compress((TEXT + epochs_3(list(range(600)))).encode())
    path = tmp_path / "a.26o.gz"
    path.write_bytes(packed[: len(packed) * 3 // 4])
    header = read_rinex_header(path)
    with pytest.raises(FormatError, match="breaks off"):
        read_epochs(path, header)


def test_antex_traps(tmp_path: Path) -> None:
    """Values of RMS are no offsets; foreign serial numbers are passed over; unreadable offsets are told."""
    text = antex_text()
    rms = record("   G01", "START OF FREQ RMS") + record(
        "      9.99      9.99      9.99", "NORTH / EAST / UP"
    )
    text = text.replace(
        record("", "END OF ANTENNA"),
        rms + record("   G01", "END OF FREQ RMS") + record("", "END OF ANTENNA"),
    )
    path = write(tmp_path / "a.atx", text)
    found = find_antenna(path, "quantenna_7", "").antenna
    assert found is not None
    assert [o.up_mm for o in found.offsets] == [91.35, 118.72]
    single = text.replace("QUANTENNA_7     NONE", "QUANTENNA_7     NONE99")
    assert find_antenna(write(tmp_path / "b.atx", single), "QUANTENNA_7", "NONE").antenna is None
    assert find_antenna(tmp_path / "b.atx", "QUANTENNA_7", "NONE", "99").antenna is not None
    broken = text.replace("     91.35", "       NaN")
    told = find_antenna(write(tmp_path / "c.atx", broken), "QUANTENNA_7", "NONE").antenna
    assert told is not None
    assert [o.frequency for o in told.offsets] == ["G02"]
    assert told.unreadable


@pytest.mark.parametrize(
    ("text", "name", "radome"),
    [
        ("TRM59800.00     SCIS", "TRM59800.00", "SCIS"),
        ("TRM59800.00 SCIS", "TRM59800.00", "SCIS"),
        ("QUANTENNA_7", "QUANTENNA_7", ""),
        ("TRM33429.00+GP  NONE", "TRM33429.00+GP", "NONE"),
        ("UNKNOWN EXT", "UNKNOWN EXT", ""),
        ("", "", ""),
    ],
)
def test_antenna_names(text: str, name: str, radome: str) -> None:
    """Columns 17 to 20 hold the radome; a name typed with one blank is understood."""
    assert split_antenna(text) == (name, radome)
