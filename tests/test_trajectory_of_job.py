"""The trajectory of a job, from the file to the text on the terminal: the demo's, and jobs made wrong."""

from __future__ import annotations

import re
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from accuracy.errors import AccuracyError, InputError, JobError
from accuracy.findings import Severity
from accuracy.job import load_job
from accuracy.preparation import prepare
from accuracy.reports.trajectory_text import render_trajectory
from accuracy.simulation.demo import build_demo
from accuracy.simulation.demo_site import FLIGHT_HEIGHT_M, SITE, flight_plan
from accuracy.trajectory.record import Span, TrajectoryCheck, trajectory_schema
from accuracy.trajectory_of_job import trajectory_of_job

WEEK_START_S = 2418 * 604_800.0


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_demo(tmp_path_factory.mktemp("demo") / "site").folder


def checked(
    folder: Path, old: str = "", new: str = "", base: Span | None = None
) -> TrajectoryCheck:
    """Check the demo's trajectory, with a change to its job."""
    text = (folder / "job.toml").read_text("utf-8")
    assert old in text
    path = folder / "changed.toml"
    path.write_text(text.replace(old, new), "utf-8")
    found = trajectory_of_job(prepare(load_job(path)), base=base)
    assert found is not None
    assert all(f.severity is not Severity.BLOCKING for f in found.findings)
    jsonschema.Draft202012Validator(trajectory_schema()).validate(found.as_json())
    return found


def warnings(found: TrajectoryCheck) -> list[str]:
    return [f.code for f in found.findings if f.severity is Severity.WARNING]


def test_the_demo_is_sound(demo: Path) -> None:
    """The demo's flight fits its cloud; its lines are those planned; heights follow from its terrain."""
    start_s = WEEK_START_S + flight_plan()[0].start_s
    found = checked(demo, base=Span("base.obs", start_s - 900, start_s + 900))
    assert warnings(found) == []
    assert {c.against: c.fits for c in found.time_checks} == dict.fromkeys(
        ("cloud", "base", "date"), True
    )
    assert [round(line.heading_deg) for line in found.lines] == [90, 270]
    assert found.height is not None
    x, y = np.meshgrid(
        SITE.east_m + np.arange(0.0, SITE.width_m), [line.start_m[1] for line in flight_plan()]
    )
    above = FLIGHT_HEIGHT_M - SITE.height_m(x, y)
    assert found.height.above_ground_m.least == pytest.approx(float(above.min()), abs=0.1)
    assert found.height.above_ground_m.greatest == pytest.approx(float(above.max()), abs=0.1)
    assert found.quality.fixed_share == 1.0


def test_text_of_the_demo(demo: Path) -> None:
    """What is printed has units, one row for each line, no wide rows; a mistake is told with its vector."""
    text = render_trajectory(checked(demo))
    assert all(len(row) <= 100 for row in text.splitlines())
    for part in (
        "m/s",
        "2, opposite",
        "times fit those of the cloud",
        "planned 50 m",
        "of GPS week 2418",
    ):
        assert part in " ".join(text.split()), part
    early = _shifted(demo, -18.0)
    told = " ".join(render_trajectory(early).split())
    assert "do NOT fit those of the cloud" in told
    assert "are UTC, not GPS time (18 s)" in told
    assert re.search(r"E \+(89\.[89]|90\.[012]) N [+-]0\.[0-2] m", told)
    assert warnings(early) == ["trajectory-time-offset"]


def _shifted(demo: Path, shift_s: float) -> TrajectoryCheck:
    rows = (demo / "trajectory.csv").read_text("utf-8").splitlines()
    cells = [row.split(",", 1) for row in rows[1:]]
    moved = [f"{float(time) + shift_s:.1f},{rest}" for time, rest in cells]
    (demo / "moved.csv").write_text("\n".join([rows[0], *moved, ""]), "utf-8")
    return checked(demo, 'file = "trajectory.csv"', 'file = "moved.csv"')


@pytest.mark.parametrize(
    ("new", "told"),
    [
        ('time = "gps-seconds"', "are seconds of the GPS week, not GPS seconds"),
        ('time = "gps-seconds-of-week"\nweek = 2408', "10 weeks early"),
        ('time = "gps-seconds-of-week"\nweek = 1394', "1024 weeks early"),
    ],
)
def test_weeks_are_held_against_the_date_of_the_flight(demo: Path, new: str, told: str) -> None:
    """Where the cloud has seconds of the week, the date of the flight finds what positions cannot."""
    found = checked(demo, 'time = "gps-seconds-of-week"\nweek = 2418', new)
    assert warnings(found) == ["trajectory-time-offset"]
    assert any(told in f.message and "date of the flight" in f.message for f in found.findings)


def test_the_week_comes_from_the_date_of_the_flight(demo: Path) -> None:
    """Without a week that of the flight is taken, with a note."""
    found = checked(demo, "week = 2418\n", "")
    assert found.week == 2418
    assert "trajectory-week-assumed" in [f.code for f in found.findings]
    assert warnings(found) == []


def test_without_a_reference_system_the_frame_is_unknown(demo: Path) -> None:
    """No crs: times and quality are told, positions are not compared, and why is said."""
    lines = 'file = "trajectory.csv"\ncrs = "EPSG:6341+5703"\ngeoid = "GEOID18"\n'
    found = checked(demo, lines, 'file = "trajectory.csv"\n')
    assert (found.frame, found.in_frame_of_cloud, found.height) == ("unknown", False, None)
    assert "trajectory-frame" in warnings(found)
    assert "not known" in render_trajectory(found)


def test_errors_of_people(demo: Path) -> None:
    """A reference system or table that cannot be used is one error with its place."""
    with pytest.raises(JobError, match=r"trajectory\.crs"):
        checked(
            demo,
            'file = "trajectory.csv"\ncrs = "EPSG:6341+5703"',
            'file = "trajectory.csv"\ncrs = "EPSG:1"',
        )
    (demo / "junk.csv").write_bytes(b"\x00\xff" * 3000)
    with pytest.raises(InputError, match=r"junk\.csv"):
        checked(demo, 'file = "trajectory.csv"', 'file = "junk.csv"')
    with pytest.raises(AccuracyError, match=r"tile_west\.laz"):
        checked(demo, 'file = "trajectory.csv"', 'file = "cloud/tile_west.laz"')


def test_a_job_without_a_trajectory(demo: Path) -> None:
    """Nothing is said where nothing is handed in."""
    text = (demo / "job.toml").read_text("utf-8")
    start, end = text.index("[trajectory]"), text.index("# ---- What is claimed")
    path = demo / "none.toml"
    path.write_text(text[:start] + text[end:], "utf-8")
    assert trajectory_of_job(prepare(load_job(path))) is None
