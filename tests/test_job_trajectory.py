"""The section [trajectory] of a job; every name is invented."""

from __future__ import annotations

from pathlib import Path

import pytest
from jobs import write_job

from accuracy.errors import JobError
from accuracy.job import Job, load_job


def load(folder: Path, section: str, flown: bool = True) -> Job:
    for name in ("points.csv", "a.laz", "flown.csv"):
        (folder / name).touch()
    path = write_job(folder, datasets=[{"name": "c", "kind": "point-cloud", "files": ["a.laz"]}])
    text = path.read_text("utf-8")
    text = text.replace(
        "[checkpoints]", ("flown = 2026-05-14\n" if flown else "") + "[checkpoints]"
    )
    path.write_text(text + "[trajectory]\n" + section, "utf-8")
    return load_job(path)


def problems(folder: Path, section: str, flown: bool = True) -> dict[str, str]:
    with pytest.raises(JobError) as caught:
        load(folder, section, flown)
    return {p.where: f"{p.found}; {p.allowed}" for p in caught.value.problems}


def test_a_good_section(tmp_path: Path) -> None:
    """Keys become attributes, the file is found, and nothing is noted as not used."""
    job = load(
        tmp_path,
        'file = "flown.csv"\ntime = "gps-seconds-of-week"\nweek = 2418\nfixed_values = [1, "Fixed"]\n'
        'columns = {time = "Sow", fix = "Q"}\nplanned_height_m = 60\nplanned_height_tolerance_m = 5.0\n',
    )
    assert job.trajectory is not None
    assert job.trajectory.located.path == tmp_path / "flown.csv"
    assert (job.trajectory.week, job.trajectory.fixed_values) == (2418, (1, "Fixed"))
    assert (job.trajectory.columns.time, job.trajectory.columns.fix) == ("Sow", "Q")


GOOD = 'file = "flown.csv"\ntime = "utc"\n'


@pytest.mark.parametrize(
    ("section", "where", "told"),
    [
        (
            GOOD + "palnned_height_m = 60\n",
            "trajectory.palnned_height_m",
            "did you mean planned_height_m",
        ),
        (GOOD + "columns = {tiem = 't'}\n", "trajectory.columns.tiem", "did you mean time"),
        ('file = "flown.csv"\ntime = "gps"\n', "trajectory.time", "gps-adjusted-standard"),
        ('file = "flown.csv"\n', "trajectory.time", "missing"),
        ('file = "flwn.csv"\ntime = "utc"\n', "trajectory.file", "did you mean flown.csv"),
        (GOOD + "week = 2418\n", "trajectory.week", "only for"),
        (
            GOOD + "planned_height_tolerance_m = 5.0\n",
            "trajectory.planned_height_m",
            "tolerance needs",
        ),
        (GOOD + "planned_height_m = -5.0\n", "trajectory.planned_height_m", "greater than 0"),
        (GOOD + "separation_limit_m = nan\n", "trajectory.separation_limit_m", "finite"),
        (GOOD + 'angle_unit = "grad"\n', "trajectory.angle_unit", "degree"),
    ],
)
def test_mistakes(tmp_path: Path, section: str, where: str, told: str) -> None:
    """Every mistake is reported at its key, with what is allowed or near."""
    assert told in problems(tmp_path, section)[where]


def test_seconds_of_the_week_need_their_week(tmp_path: Path) -> None:
    """Without a week the date of the flight must be there."""
    section = 'file = "flown.csv"\ntime = "gps-seconds-of-week"\n'
    assert "trajectory.week" in problems(tmp_path, section, flown=False)
    assert load(tmp_path, section).trajectory is not None
