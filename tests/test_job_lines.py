"""The section [lines] of a job: what it takes, and how mistakes are told. Every name is invented."""

from __future__ import annotations

from pathlib import Path

import pytest
from jobs import write_job

from accuracy.errors import JobError
from accuracy.job import Job, load_job


def load(folder: Path, section: str | None, kind: str = "point-cloud") -> Job:
    for name in ("points.csv", "a.laz"):
        (folder / name).touch()
    path = write_job(folder, datasets=[{"name": "c", "kind": kind, "files": ["a.laz"]}])
    if section is not None:
        path.write_text(path.read_text("utf-8") + "[lines]\n" + section, "utf-8")
    return load_job(path)


def test_an_empty_section_asks_for_the_usual(tmp_path: Path) -> None:
    """The section alone is enough; without it nothing is asked for."""
    job = load(tmp_path, "")
    assert job.lines is not None
    assert (job.lines.datasets, job.lines.design_anps_m, job.lines.cell_m) == ((), None, None)
    assert load(tmp_path, None).lines is None


def test_every_key_is_read(tmp_path: Path) -> None:
    """Keys become attributes, and stand in what the result keeps of the job."""
    job = load(
        tmp_path,
        'datasets = ["c"]\ndesign_anps_m = 0.35\ncell_m = 0.5\nslope_limit_deg = 8\nsmooth_limit_m = 0.05\n'
        "left_out_classes = [3, 4, 5]\n",
    )
    assert job.lines is not None
    assert job.lines.left_out_classes == (3, 4, 5)
    assert job.as_read()["lines"]["cell_m"] == 0.5


@pytest.mark.parametrize(
    ("section", "where", "told"),
    [
        ('datasets = ["d"]\n', "lines.datasets[0]", "one of: c"),
        ("cell_m = 0\n", "lines.cell_m", "greater than 0"),
        ("cell_m = nan\n", "lines.cell_m", ""),
        ("slope_limit_deg = 60\n", "lines.slope_limit_deg", "less than 60"),
        ("slope_limit_deg = -1\n", "lines.slope_limit_deg", "greater than 0"),
        ("left_out_classes = [300]\n", "lines.left_out_classes[0]", "at most 255"),
        ("left_out_classes = 3\n", "lines.left_out_classes", "list"),
        ('design_anps_m = "fine"\n', "lines.design_anps_m", "number"),
        ("design_anps = 0.35\n", "lines.design_anps", "design_anps_m"),
    ],
)
def test_mistakes(tmp_path: Path, section: str, where: str, told: str) -> None:
    """Each is told with the path of its key and what is allowed."""
    with pytest.raises(JobError) as caught:
        load(tmp_path, section)
    found = {p.where: f"{p.found}; {p.allowed}" for p in caught.value.problems}
    assert where in found
    assert told in found[where]


def test_a_job_without_a_cloud_has_no_lines(tmp_path: Path) -> None:
    """A raster has no flight lines."""
    with pytest.raises(JobError) as caught:
        load(tmp_path, "", kind="raster")
    assert [p.where for p in caught.value.problems] == ["lines"]
