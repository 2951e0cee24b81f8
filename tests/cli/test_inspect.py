"""The command ``accuracy inspect``: output, exit codes, patterns, JSON."""

from __future__ import annotations

import json
import re
import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from accuracy.cli import run
from accuracy.errors import ExitCode
from accuracy.formats.las_write import write_points
from accuracy.simulation.demo import build_demo

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the demo's site once."""
    folder = tmp_path_factory.mktemp("inspect")
    build_demo(folder / "site")
    return folder


@pytest.fixture
def at_site(site: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.chdir(site)
    return site


def strays(points: int = 50) -> dict[str, np.ndarray]:
    """Give some points of class 2, whose numbers may be degrees."""
    at = np.linspace(0.0, 1.0, points)
    return {"x": 10.0 + at, "y": 50.0 + at, "z": 100.0 + at, "classification": np.full(points, 2)}


def test_the_readme_shows_real_output(at_site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every line shown in the README is printed, in that order; ``...`` stands for lines left out."""
    assert run(["inspect", "-q", "site/cloud/tile_west.laz"]) == ExitCode.PASSES
    printed = iter(capsys.readouterr().out.splitlines())
    found = re.search(
        r"<!-- from accuracy inspect, compared by a test -->\n```\n(.*?)```",
        (ROOT / "README.md").read_text("utf-8"),
        re.S,
    )
    assert found is not None
    shown = found[1].splitlines()
    assert len(shown) > 8
    for line in shown:
        if line.strip() != "...":
            assert any(line == other for other in printed), line


def test_patterns_are_expanded_by_the_tool_and_files_told_once(
    at_site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Windows leaves ``*`` to the program; a file named twice is inspected once."""
    assert run(["inspect", "-q", "site/clou*/**", "site/cloud/tile_west.laz"]) == 0
    out = capsys.readouterr().out
    assert [line for line in out.splitlines() if line.endswith(".laz")] == [
        "site/cloud/tile_east.laz",
        "site/cloud/tile_west.laz",
    ]


def test_a_pattern_without_match_and_no_file_at_all_are_usage_errors(
    at_site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing is inspected silently."""
    assert run(["inspect", "nowhere/*.laz"]) == ExitCode.COULD_NOT_RUN
    assert "nowhere/*.laz" in capsys.readouterr().err
    assert run(["inspect"]) == ExitCode.COULD_NOT_RUN
    assert "no file given" in capsys.readouterr().err


def test_several_files_are_held_against_each_other(
    at_site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One system, one scale; all 52 surveyed points of the demo lie in its clouds, none when swapped."""
    assert (
        run(["inspect", "-q", "site/cloud/*.laz", "site/dem.tif", "site/checkpoints/site.csv"]) == 0
    )
    out = capsys.readouterr().out
    together = " ".join(out[out.index("All files together") :].split())
    assert "horizontal system, against tile_east.laz: the same (all files)" in together
    assert "vertical system, against tile_east.laz: the same (all files)" in together
    assert "scale of stored coordinates: one" in together
    assert "site.csv: 52 of 52 points lie in the boxes" in together
    assert "0 with easting and northing swapped" in together


def test_the_order_of_a_table_is_tried_on_the_clouds(
    at_site: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without a header: in which order its points lie in the cloud is said, and still nothing chosen."""
    rows = Path("site/checkpoints/site.csv").read_text("utf-8").splitlines()[1:6]
    cells = [row.split(",")[:4] for row in rows]
    table = tmp_path / "plain.txt"
    table.write_text("".join(f"{p} {n} {e} {z}\n" for p, e, n, z in cells), "utf-8")
    assert run(["inspect", "-q", "site/dem.tif", str(table)]) == ExitCode.FAILS
    out = " ".join(capsys.readouterr().out.split())
    assert (
        "of its first 5 points 5 lie in the boxes of the clouds and rasters if read as PNEZ" in out
    )
    assert (
        "of its first 5 points 0 lie in the boxes of the clouds and rasters if read as PENZ" in out
    )


def test_json_is_an_array_with_the_same_keys_for_every_kind(
    at_site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Stable keys, finite numbers; facts of the demo's own truth."""
    files = ["site/cloud/tile_west.laz", "site/dem.tif", "site/measured.csv"]
    assert run(["inspect", "-q", "--json", *files]) == 0
    records = json.loads(capsys.readouterr().out, parse_constant=lambda name: pytest.fail(name))
    assert [record["kind"] for record in records] == ["point-cloud", "raster", "table"]
    assert {tuple(record) for record in records} == {tuple(records[0])}
    truth = json.loads(Path("site/truth.json").read_text("utf-8"))
    cloud = records[0]["cloud"]
    assert cloud["counts"]["points"] == truth["points"]["tiles"]["cloud/tile_west.laz"]
    assert cloud["about"]["created"] == "2026-05-14"
    assert records[0]["reference"]["horizontal"] == "EPSG:6341"
    assert records[2]["table"]["points"] == 33


def test_a_file_that_cannot_be_read_is_2_and_the_others_are_still_told(
    at_site: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The message is on stderr; JSON keeps one object per file, in order."""
    broken = tmp_path / "cut.laz"
    broken.write_bytes(Path("site/cloud/tile_west.laz").read_bytes()[:2000])
    code = run(["inspect", "-q", "--json", str(broken), "site/measured.csv"])
    assert code == ExitCode.COULD_NOT_RUN
    printed = capsys.readouterr()
    assert "cut.laz" in printed.err
    records = json.loads(printed.out)
    assert [record["kind"] for record in records] == ["unreadable", "table"]
    assert "cut" in records[0]["problem"]
    assert run(["inspect", "-q", str(tmp_path / "none.csv")]) == ExitCode.COULD_NOT_RUN
    assert "no such file" in capsys.readouterr().err


def test_points_that_cannot_be_read_are_2_with_the_header_told(
    at_site: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Damage inside the compressed points: the header is still worth telling."""
    content = bytearray(Path("site/cloud/tile_west.laz").read_bytes())
    (start,) = struct.unpack_from("<I", content, 96)
    # a chunk: where its table is (8 bytes), first point (30), number of points (4), sizes of nine layers
    struct.pack_into("<9I", content, start + 8 + 30 + 4, *[0xFFFFFFF0] * 9)
    damaged = tmp_path / "damaged.laz"
    damaged.write_bytes(content)
    assert run(["inspect", "-q", str(damaged)]) == ExitCode.COULD_NOT_RUN
    printed = capsys.readouterr()
    assert "damaged.laz" in printed.err
    assert "inspect-unreadable" in printed.out
    assert "EPSG:6341" in printed.out


def test_a_blocking_finding_is_1(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A cloud in degrees cannot be triangulated."""
    path = tmp_path / "degrees.las"
    wkt = (
        'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563]],'
        'PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433],AUTHORITY["EPSG","4326"]]'
    )
    write_points(path, points=strays(), wkt=wkt, scale=(1e-7, 1e-7, 0.001))
    assert run(["inspect", "-q", str(path)]) == ExitCode.FAILS
    assert "crs-geographic" in capsys.readouterr().out


def test_order_answers_the_question_of_a_table_without_header(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Asked with exit code 1; answered with ``--order``; a wrong order is an error."""
    path = tmp_path / "points.txt"
    path.write_text(
        "P1,4541205.1,412306.1,1312.9,nail\nP2,4541206.9,412318.2,1313.1,nail\n", "utf-8"
    )
    assert run(["inspect", "-q", str(path)]) == ExitCode.FAILS
    out = " ".join(capsys.readouterr().out.split())
    assert 'order = "PNEZD"' in out
    assert "as PENZD not as in a UTM zone" in out
    assert run(["inspect", "-q", "--order", "PNEZD", str(path)]) == ExitCode.PASSES
    assert "easting 412306.1 to 412318.2" in capsys.readouterr().out
    assert run(["inspect", "-q", "--order", "PNE", str(path)]) == ExitCode.COULD_NOT_RUN
    assert "Z is missing" in capsys.readouterr().err


def test_text_from_a_file_does_no_harm_on_a_terminal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Escape sequences in a header, a reference system or a table are made visible."""
    cloud = tmp_path / "evil.las"
    write_points(cloud, points=strays(), wkt='PROJCS["\x1b[2J evil"]')
    content = bytearray(cloud.read_bytes())
    content[58:90] = b"\x1b]0;evil\x07\r\n".ljust(32, b"\0")
    cloud.write_bytes(content)
    table = tmp_path / "evil.csv"
    table.write_text("id,x,y,z\nA\u202e1,1,2,3\n", "utf-8")
    run(["inspect", "-q", str(cloud), str(table)])
    printed = capsys.readouterr().out
    assert "evil" in printed
    assert not set(printed) & {"\x1b", "\x07", "\r", "\u202e"}


def test_progress_goes_to_stderr_and_quiet_silences_it(
    at_site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The result is on stdout, everything else on stderr."""
    assert run(["inspect", "site/measured.csv"]) == 0
    assert "reading" in capsys.readouterr().err
    assert run(["inspect", "-q", "site/measured.csv"]) == 0
    assert capsys.readouterr().err == ""
