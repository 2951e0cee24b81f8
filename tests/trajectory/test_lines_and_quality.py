"""Flight lines, gaps, fixed share, forward against reverse, heights and angles: closed forms."""

from __future__ import annotations

from pathlib import Path

import jsonschema
import numpy as np
import pytest
from flights import (
    EAST,
    HEIGHT_M,
    LINE_M,
    NORTH,
    SPEED_M_S,
    START_S,
    check,
    codes,
    fly,
    read,
    scan,
    write_cloud,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from accuracy.errors import FormatError
from accuracy.trajectory import cloud as cloud_module
from accuracy.trajectory.check import Limits
from accuracy.trajectory.lines import directions, flight_lines
from accuracy.trajectory.record import Span, trajectory_schema
from accuracy.trajectory.track import Track, track_of

FLIGHT = fly()


@pytest.fixture(scope="module")
def cloud(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("cloud") / "a.laz"
    write_cloud(path, scan(FLIGHT), lambda t: t - 1e9, adjusted=True)
    return path


def test_lines_are_those_flown(tmp_path: Path) -> None:
    """Heading to 1 degree, length and times to what the turn adds at the ends; opposite and crossing told."""
    found = check(read(tmp_path, FLIGHT.table_text()))
    assert len(found.lines) == 3
    for line, (start_s, end_s, heading) in zip(found.lines, FLIGHT.lines, strict=True):
        assert abs((line.heading_deg - heading + 180) % 360 - 180) < 1.0
        assert line.length_m == pytest.approx(LINE_M, abs=SPEED_M_S)
        assert line.speed_m_s == pytest.approx(SPEED_M_S, abs=0.2)
        assert (line.start_s, line.end_s) == pytest.approx((start_s, end_s), abs=1.0)
    assert (found.opposite_lines, found.crossing_lines) == (True, True)


@settings(max_examples=20, deadline=None)
@given(st.floats(0.0, 359.9), st.sampled_from([1.0, 5.0, 50.0]))
def test_turning_the_flight_turns_its_headings(turn_deg: float, rate_hz: float) -> None:
    """A turned flight has the same lines, turned, whatever the rate of its rows."""
    flight = fly([turn_deg, turn_deg + 180.0], rate_hz=rate_hz)
    n = len(flight.time_s)
    track = Track(flight.time_s, np.arange(n), np.arange(n), flight.east_m, flight.north_m)
    first, second = flight_lines(track)
    for line, expected in ((first, turn_deg), (second, turn_deg + 180.0)):
        assert abs((line.heading_deg - expected + 180) % 360 - 180) < 1.0
    assert directions([first, second]) == (True, False)


def test_one_direction_is_told(tmp_path: Path) -> None:
    """Parallel lines in one direction hide what turns with the aircraft."""
    found = check(read(tmp_path, fly([30.0, 30.0]).table_text()))
    assert "trajectory-lines" in codes(found)
    assert (found.opposite_lines, found.crossing_lines) == (False, False)


def test_gaps_and_the_points_in_them(cloud: Path, tmp_path: Path) -> None:
    """A hole of 8 s in the first line is found with its line in the file; a fifth of its points lie in it."""
    hole = (FLIGHT.time_s > START_S + 10.05) & (FLIGHT.time_s < START_S + 17.95)
    lines = FLIGHT.table_text().splitlines()
    kept = [lines[0], *(row for row, out in zip(lines[1:], hole, strict=True) if not out)]
    found = check(read(tmp_path, "\n".join(kept) + "\n"), cloud)
    (gap,) = found.gaps
    assert gap.duration_s == pytest.approx(8.0, abs=0.11)
    assert gap.line == 2 + int(np.flatnonzero(hole)[0])
    stored = scan(FLIGHT)["gps_time"]
    inside = int(((stored > gap.start_s) & (stored < gap.end_s)).sum())
    assert gap.cloud_points == found.points_in_gaps == inside
    assert inside == pytest.approx(6000 / 5, rel=0.1)
    assert codes(found) == ["trajectory-gap"]


def test_nothing_is_interpolated_over_a_gap() -> None:
    """Speed beside a gap is that of its own side: 6 m/s, although the gap was crossed at 0.2 m/s."""
    time_s = np.concatenate([np.arange(0, 10.05, 0.1), np.arange(100, 110.05, 0.1)])
    east_m = np.where(time_s < 50, 6.0 * time_s, 6.0 * (time_s - 100.0) + 78.0)
    n = np.arange(len(time_s))
    track = Track(time_s, n, n, east_m, np.zeros(len(time_s)))
    at_s = np.array([0.0, 5.0, time_s[100], 100.0, 100.2, 110.0])
    assert track.velocity(at_s)[0] == pytest.approx(np.full(6, 6.0), abs=1e-9)
    assert track.velocity(np.array([50.0]))[0] == pytest.approx(18.0 / 90.0, abs=1e-3)
    assert track.covered(np.array([5.0, 50.0, 100.0])).tolist() == [True, False, True]


def test_a_trajectory_that_ends_early(cloud: Path, tmp_path: Path) -> None:
    """Points after its last row are counted and told; no time mistake is invented."""
    whole = FLIGHT.table_text().splitlines()
    cut_s = float(FLIGHT.time_s[-1]) - 15.0
    rows = [r for r, t in zip(whole[1:], FLIGHT.time_s, strict=True) if t <= cut_s]
    found = check(read(tmp_path, "\n".join([whole[0], *rows, ""])), cloud)
    assert codes(found) == ["trajectory-cloud-outside"]
    late = int((scan(FLIGHT)["gps_time"] > cut_s + 1.0).sum())
    assert found.points_outside == pytest.approx(late, abs=20)


def test_fixed_share(tmp_path: Path) -> None:
    """One in ten rows of the first line is float: the share is counted and the line named."""
    start_s = FLIGHT.lines[0][0]
    bad = (FLIGHT.time_s >= start_s + 5) & (FLIGHT.time_s < start_s + 17)
    fix = np.where(bad, "Float", "Fixed").tolist()
    found = check(read(tmp_path, FLIGHT.table_text(more={"fix": fix})))
    assert found.quality.fixed_share == pytest.approx(1 - bad.mean(), abs=1e-12)
    (stretch,) = found.quality.unfixed
    assert (stretch.rows, stretch.lines) == (int(bad.sum()), (1,))
    on_lines = sum(end - start for start, end, _ in FLIGHT.lines)
    assert found.quality.fixed_share_on_lines == pytest.approx(1 - 12.0 / on_lines, abs=0.01)
    (finding,) = [f for f in found.findings if f.code == "trajectory-not-fixed"]
    assert finding.severity == "warning"
    assert "flight lines 1" in finding.message


def test_forward_against_reverse(tmp_path: Path) -> None:
    """RMS, greatest and share above follow from 3-4-5 triangles; without a stated limit none is claimed."""
    n = len(FLIGHT.time_s)
    more = {
        "sep_east": ["0.03"] * (n - 1) + ["0.3"],
        "sep_north": ["-0.04"] * (n - 1) + ["0.4"],
        "sep_up": ["-0.02"] * n,
    }
    table = read(tmp_path, FLIGHT.table_text(more=more))
    found = check(table, limits=Limits(separation_limit_m=0.06))
    part = found.quality.separation_horizontal
    assert part is not None
    assert part.greatest_m == pytest.approx(0.5, abs=1e-12)
    assert part.rms_m == pytest.approx(np.sqrt(((n - 1) * 0.05**2 + 0.25) / n), abs=1e-12)
    assert part.share_above == pytest.approx(1 / n, abs=1e-12)
    vertical = found.quality.separation_vertical
    assert vertical is not None
    assert (vertical.rms_m, vertical.share_above) == (pytest.approx(0.02), 0.0)
    assert codes(found) == ["trajectory-separation"]
    assert "stated by the job" in found.findings[-1].message
    default = check(table)
    assert any("no source" in f.message for f in default.findings)


def test_height_above_ground_on_a_plane(cloud: Path, tmp_path: Path) -> None:
    """The plane is met to the stored 0.1 mm: 60 m everywhere, by line, too."""
    found = check(read(tmp_path, FLIGHT.table_text()), cloud, limits=Limits(HEIGHT_M, 1.0))
    assert found.height is not None
    above = found.height.above_ground_m
    # a linear path above a plane: the turn ends that belong to a line are not over the cloud's places alone
    assert (above.least, above.median, above.greatest) == pytest.approx((60.0,) * 3, abs=2e-3)
    assert found.height.share_outside == 0.0
    for line in found.lines:
        assert line.height_above_ground_m == pytest.approx(60.0, abs=2e-3)
    assert found.height.follows_terrain is True
    assert codes(found) == []


def test_terrain_not_followed(tmp_path: Path) -> None:
    """At one height above the sea, what the ground does shows in the height above ground, and is told."""
    flat = fly(follow=False)
    path = tmp_path / "a.laz"
    write_cloud(path, scan(flat), lambda t: t - 1e9, adjusted=True)
    found = check(read(tmp_path, flat.table_text()), path, limits=Limits(HEIGHT_M, 2.0))
    assert found.height is not None
    assert found.height.follows_terrain is False
    assert codes(found) == ["trajectory-height"]
    low, high = found.height.ground_m.least, found.height.ground_m.greatest
    above = found.height.above_ground_m
    assert (above.least, above.greatest) == pytest.approx((560 - high, 560 - low), abs=1e-3)


def test_below_the_ground(cloud: Path, tmp_path: Path) -> None:
    """Heights 80 m too low put the sensor under the ground: told, with what to look at."""
    up = [f"{v - 80.0:.4f}" for v in FLIGHT.up_m]
    found = check(read(tmp_path, FLIGHT.table_text(more={"height_m": up})), cloud)
    assert "trajectory-height" in codes(found)
    assert any("below the ground" in f.message for f in found.findings)


def test_another_frame_is_reached_by_named_steps(cloud: Path, tmp_path: Path) -> None:
    """The same flight in degrees gives the same heights; a frame that no way leads from says why not."""
    import pyproj

    there = pyproj.Transformer.from_crs("EPSG:6341", "EPSG:6318", always_xy=True)
    east, north = there.transform(FLIGHT.east_m, FLIGHT.north_m)
    more = {
        "easting_m": [f"{v:.10f}" for v in east],
        "northing_m": [f"{v:.10f}" for v in north],
    }
    text = FLIGHT.table_text(more=more).replace("easting_m", "lon").replace("northing_m", "lat")
    found = check(read(tmp_path, text), cloud, crs="EPSG:6318+5703")
    assert found.in_frame_of_cloud
    assert found.height is not None
    assert found.height.above_ground_m.median == pytest.approx(60.0, abs=2e-3)
    assert len(found.lines) == 3
    table = read(tmp_path, FLIGHT.table_text())
    unknown = check(table, cloud, crs="EPSG:27700")
    assert not unknown.in_frame_of_cloud
    assert unknown.height is None
    assert "trajectory-frame" in codes(unknown)
    assert len(unknown.lines) == 3  # in its own plane


def test_only_the_vertical_part_can_be_refused(cloud: Path, tmp_path: Path) -> None:
    """A horizontal system alone allows times and lines, and says nothing of heights."""
    found = check(read(tmp_path, FLIGHT.table_text()), cloud, crs="EPSG:6341")
    assert found.in_frame_of_cloud
    assert found.height is None
    assert found.time_checks[0].how == "positions"
    assert codes(found) == ["trajectory-frame"]
    assert {f.component for f in found.findings if f.code == "trajectory-frame"} == {"vertical"}


@pytest.mark.parametrize(
    ("column", "value", "told"),
    [
        ("roll_deg", "61", "roll runs from"),
        ("pitch_deg", "-50", "pitch runs from"),
    ],
)
def test_angles_out_of_range(tmp_path: Path, column: str, value: str, told: str) -> None:
    """Angles no aircraft holds on a line are told."""
    more = {column: [value] * len(FLIGHT.time_s)}
    found = check(read(tmp_path, FLIGHT.table_text(more=more)))
    assert codes(found) == ["trajectory-attitude"]
    assert any(told in f.message for f in found.findings)


def test_jumps_and_headings(tmp_path: Path) -> None:
    """A jump of 20 degrees between rows, radians read as degrees, and a heading off by 90 degrees are told."""
    n = len(FLIGHT.time_s)
    jump = ["0.5"] * n
    jump[200] = "20.5"
    found = check(read(tmp_path, FLIGHT.table_text(more={"roll_deg": jump})))
    assert found.attitude is None or found.attitude.jumps == 0  # 200 degrees per second at 10 Hz
    jump[200] = "40.5"
    found = check(read(tmp_path, FLIGHT.table_text(more={"roll_deg": jump})))
    assert found.attitude is not None
    assert found.attitude.jumps == 2
    assert any("line 202" in f.message for f in found.findings)
    for values, told in (
        (np.radians(FLIGHT.heading_deg), "radians read as degrees"),
        ((FLIGHT.heading_deg + 90.0) % 360.0, "by +90.0 degrees"),
    ):
        more = {"heading_deg": [f"{v:.5f}" for v in values]}
        found = check(read(tmp_path, FLIGHT.table_text(more=more)))
        assert codes(found) == ["trajectory-attitude"]
        assert any(told in f.message for f in found.findings), told


def test_jumps_of_position(tmp_path: Path) -> None:
    """A row 200 m off is told with its line."""
    east = [f"{v:.3f}" for v in FLIGHT.east_m]
    east[300] = f"{FLIGHT.east_m[300] + 200:.3f}"
    found = check(read(tmp_path, FLIGHT.table_text(more={"easting_m": east})))
    (finding,) = [f for f in found.findings if f.code == "trajectory-speed"]
    assert finding.evidence["line"] in (302, 303)
    assert finding.evidence["step_m"] == pytest.approx(200.0, abs=1.0)


def test_large_clouds_are_not_passed_over(
    cloud: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beyond the limit only points below the track are looked at, and the record says so; unless asked."""
    monkeypatch.setattr(cloud_module, "SMALL_POINTS", 10)
    table = read(tmp_path, FLIGHT.table_text())
    found = check(table, cloud)
    assert found.points_seen <= cloud_module.MOST_POINTS
    assert "below the track" in found.overlaps[0].source
    assert codes(found) == []
    assert check(table, cloud, all_points=True).points_seen == 18_000


def test_the_record_is_json_of_its_schema(cloud: Path, tmp_path: Path) -> None:
    """The record validates, sound or not; findings stand elsewhere."""
    validator = jsonschema.Draft202012Validator(trajectory_schema())
    base = Span("b", START_S, START_S + 10)
    for text in (FLIGHT.table_text(), FLIGHT.table_text(lambda t: f"{t - 1e9 - 18:.3f}")):
        shown = check(read(tmp_path, text), cloud, base=base).as_json()
        validator.validate(shown)
        assert "findings" not in shown
    validator.validate(check(read(tmp_path, "time,x,y,z\n1,2,3,4\n2,3,3,4\n")).as_json())


def test_a_cloud_that_is_elsewhere(tmp_path: Path) -> None:
    """A track over no file of the cloud is told; times are still compared by their spans."""
    points = scan(FLIGHT)
    points["x"] = points["x"] + 5000.0
    path = tmp_path / "far.laz"
    write_cloud(path, points, lambda t: t - 1e9, adjusted=True)
    found = check(read(tmp_path, FLIGHT.table_text()), path)
    assert codes(found) == ["trajectory-ground"]
    assert found.time_checks[0].how == "spans"
    assert found.time_checks[0].fits


def test_a_cloud_cut_short_is_refused(cloud: Path, tmp_path: Path) -> None:
    """A file shorter than its header promises is an error, no finding."""
    path = tmp_path / "cut.laz"
    path.write_bytes(cloud.read_bytes()[:-2000])
    with pytest.raises(FormatError):
        check(read(tmp_path, FLIGHT.table_text()), path)


def test_hovering_has_no_lines(tmp_path: Path) -> None:
    """A trajectory that does not move has no lines, no headings and no error."""
    rows = "".join(f"{i / 10},{EAST},{NORTH},500\n" for i in range(300))
    table = read(tmp_path, "time,x,y,z\n" + rows)
    found = check(table)
    assert found.lines == ()
    assert (found.opposite_lines, found.crossing_lines) == (None, None)
    assert found.speed_m_s is not None
    assert found.speed_m_s.greatest == 0.0
    track = track_of(table, table.easting, table.northing, table.height)
    assert track.covered(np.array([0.0, 10.0, 99.0])).tolist() == [False, False, False]
