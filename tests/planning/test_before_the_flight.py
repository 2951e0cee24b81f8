"""Plans before the flight: nothing is delivered, an outline and a declared system are enough."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from jobs import CRS, EAST, NORTH, write_job

from accuracy.cli import run
from accuracy.errors import JobError
from accuracy.job import load_job
from accuracy.planning import plan

CLAIM = {"dataset": "cloud", "standard": "asprs-2024", "vertical_class_cm": 5.0}
SIDE_M = 300.0


def job_before(
    folder: Path,
    *,
    area: bool = True,
    files: tuple[str, ...] = ("cloud/*.laz",),
    crs: str | None = CRS,
) -> Path:
    """Write a job with an outline of 300 m by 300 m, and neither checkpoints nor deliverables."""
    dataset: dict[str, object] = {"name": "cloud", "kind": "point-cloud", "files": list(files)}
    path = write_job(folder, datasets=[dataset | ({"crs": crs} if crs else {})], claims=(CLAIM,))
    text = path.read_text("utf-8").replace('file = "points.csv"\n', "")
    if area:
        text += '[area]\nfile = "area.geojson"\ncrs = "EPSG:6341"\n'
        corners = [(0, 0), (SIDE_M, 0), (SIDE_M, SIDE_M), (0, SIDE_M), (0, 0)]
        ring = [[EAST + x, NORTH + y] for x, y in corners]
        shape = {
            "type": "Feature",
            "properties": {},
            "geometry": {"type": "Polygon", "coordinates": [ring]},
        }
        (folder / "area.geojson").write_text(json.dumps(shape), "utf-8")
    path.write_text(text, "utf-8")
    return path


def test_thirty_points_inside_the_outline(tmp_path: Path) -> None:
    """As many as Edition 2 wants, all inside the outline, with a note that nothing is flown."""
    found = plan(load_job(job_before(tmp_path), planning=True))
    open_ground = [point for point in found.points if point.cover == "non-vegetated"]
    assert len(open_ground) == 30
    assert found.area_km2 == pytest.approx(0.09, rel=0.01)
    for point in found.points:
        assert EAST <= point.easting <= EAST + SIDE_M
        assert NORTH <= point.northing <= NORTH + SIDE_M
    codes = {finding.code for finding in found.findings}
    assert {"plan-not-flown", "plan-no-surface"} <= codes


def test_the_command_writes_a_plan_and_verify_still_wants_the_files(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The plan comes with every file; the same job cannot be verified yet."""
    job = job_before(tmp_path)
    assert run(["plan", str(job), "-q"]) == 0
    assert (tmp_path / "job.plan" / "plan.gpkg").is_file()
    assert run(["verify", str(job), "-q"]) == 2
    assert "'cloud/*.laz' names no file" in capsys.readouterr().err.replace('"', "'")


@pytest.mark.parametrize("missing", [{"area": False}, {"crs": None}, {"files": ("a.laz", "b.laz")}])
def test_without_outline_system_or_with_half_the_files_it_is_refused(
    tmp_path: Path, missing: dict[str, object]
) -> None:
    """What a plan needs is not guessed, and a job with some of its files is past this state."""
    (tmp_path / "a.laz").write_bytes(b"")
    with pytest.raises(JobError) as caught:
        load_job(job_before(tmp_path, **missing), planning=True)  # type: ignore[arg-type]  # keywords of several types
    assert any("names no file" in problem.found for problem in caught.value.problems)
