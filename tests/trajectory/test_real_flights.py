"""Real airborne points: the track is rebuilt from how they lie under it, and mistakes are put into it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from flights import codes, read

from accuracy.formats import open_cloud
from accuracy.formats.las import open_las
from accuracy.georeferencing.reference import declared
from accuracy.sampling.tin import CloudSetting
from accuracy.trajectory.check import check_trajectory
from accuracy.trajectory.cloud import CloudSide, kind_in_headers, kind_of_values
from accuracy.trajectory.frame import Destination, positions_of
from accuracy.trajectory.record import TimeCheck, TrajectoryCheck

CRS = "EPSG:3005+5713"
#: Any week: the files have seconds of the week only.
WEEK = 2000

pytestmark = pytest.mark.shared_data


@pytest.fixture(scope="module")
def files(shared_data: Path) -> list[Path]:
    return sorted((shared_data / "bcts-als").glob("bcts_*.laz"))


@pytest.fixture(scope="module")
def rows(files: list[Path]) -> list[tuple[float, float, float, float]]:
    """Rebuild three passes: straight lines through the points seen straight down, 20 s longer at both ends.

    The height follows from how far aside points lie for their scan angle.
    """
    parts = []
    for path in files:
        for batch in open_las(path).scan():
            (sx, sy, sz), (ox, oy, oz) = batch.grid.scale, batch.grid.offset
            parts.append(
                np.column_stack(
                    [
                        batch.point_source_id,
                        batch.gps_time,
                        batch.x * float(sx) + float(ox),
                        batch.y * float(sy) + float(oy),
                        batch.z * float(sz) + float(oz),
                        batch.scan_angle_deg,
                    ]
                )
            )
    points = np.concatenate(parts)
    found = []
    for line in (66, 67, 68):
        own = points[points[:, 0] == line]
        middle = own[np.abs(own[:, 5] - np.median(own[:, 5])) <= 30]
        tangent = np.tan(np.radians(middle[:, 5]))
        start_s = float(middle[:, 1].min())
        # position = start + velocity * time + side * tangent: six unknowns of a plane motion
        design = np.column_stack([np.ones(len(middle)), middle[:, 1] - start_s, tangent])
        (e0, ve, se), (n0, vn, sn) = (
            np.linalg.lstsq(design, middle[:, axis], rcond=None)[0] for axis in (2, 3)
        )
        height = float(np.hypot(se, sn)) + float(np.median(middle[:, 4]))
        end_s = float(own[:, 1].max())
        found += [
            (t, e0 + ve * (t - start_s), n0 + vn * (t - start_s), height)
            for t in np.arange(start_s - 20.0, end_s + 20.0, 0.5).tolist()
        ]
    return sorted(found)


def against(
    folder: Path, files: list[Path], rows: list[tuple[float, ...]], shift_s: float
) -> TrajectoryCheck:
    text = "time,easting,northing,height\n" + "".join(
        f"{t + shift_s:.3f},{e:.3f},{n:.3f},{h:.3f}\n" for t, e, n, h in rows
    )
    table = read(folder, text, "gps-seconds-of-week", week=WEEK)
    side = CloudSide("strip", [open_cloud(p) for p in files], CloudSetting((2,), 1.0, 1.0))
    positions = positions_of(table, declared(CRS), Destination(declared(CRS), "strip"))
    return check_trajectory(table, positions, side=side)


def only(found: TrajectoryCheck) -> TimeCheck:
    (check,) = found.time_checks
    return check


def test_a_sound_track_over_real_points(
    files: list[Path], rows: list[tuple[float, float, float, float]], tmp_path: Path
) -> None:
    """Three passes in seconds of the week, as the header says: times fit, gaps hold no points."""
    found = against(tmp_path, files, rows, 0.0)
    assert only(found).fits
    assert only(found).how == "positions"
    assert abs(only(found).found_offset_s or 0.0) < (only(found).floor_s or 0.0)
    assert len(found.lines) == 3
    assert (found.points_in_gaps, found.points_outside) == (0, 0)
    assert set(codes(found)) <= {"trajectory-gap", "trajectory-lines"}


@pytest.mark.parametrize(
    ("shift_s", "told"), [(-18.0, "UTC, not GPS time"), (86_400.0, "1 day late")]
)
def test_mistakes_against_real_points(
    files: list[Path],
    rows: list[tuple[float, float, float, float]],
    tmp_path: Path,
    shift_s: float,
    told: str,
) -> None:
    """The same mistakes as in simulated flights are found on real points."""
    found = only(against(tmp_path, files, rows, shift_s))
    assert found.fits is False
    assert told in found.consistent_with[0]


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("autzen-feet/autzen_trim.laz", "gps-week"),
        ("bcts-als/bcts_1.laz", "gps-week"),
        ("france-lambert93/faceraster_numerical_imprecision.laz", "adjusted-standard"),
        ("newmexico-ftus/test1_4.las", "adjusted-standard"),
    ],
)
def test_kinds_of_time_in_real_files(shared_data: Path, name: str, kind: str) -> None:
    """Values are recognised as what they are; a header that says otherwise is told."""
    file = open_las(shared_data / name)
    first = min(float(b.gps_time.min()) for b in file.scan(["gps_time"]))
    last = max(float(b.gps_time.max()) for b in file.scan(["gps_time"]))
    stated, findings = kind_in_headers(CloudSide(name, [file], CloudSetting((2,), 1.0, 1.0)))
    assert findings == []
    read_as, told = kind_of_values(stated, first, last, name)
    assert read_as == kind
    assert bool(told) == (stated != kind)
