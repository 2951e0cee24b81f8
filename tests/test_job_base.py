"""The section [base] of a job: what is accepted, and every mistake in the words of the job file."""

from __future__ import annotations

from pathlib import Path

import pytest

from accuracy.errors import AccuracyError, JobError
from accuracy.job import load_job
from accuracy.simulation.demo import build_demo


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_demo(tmp_path_factory.mktemp("demo") / "site").folder


def changed(demo: Path, old: str, new: str, name: str = "changed.toml") -> Path:
    text = (demo / "job.toml").read_text("utf-8")
    assert old in text
    path = demo / name
    path.write_text(text.replace(old, new, 1), "utf-8")
    return path


def test_the_section_as_read(demo: Path) -> None:
    """Keys carry their names; files are found; times without zone keep their system."""
    base = load_job(demo / "job.toml").base
    assert base is not None
    assert base.height is not None
    assert (base.height.value, base.height.unit.value, base.height.to) == (1.672, "metre", "rim")
    assert base.located["observation"].written == "base/pillar2.26o"
    assert base.occupation[0].time_system == "GPS"


@pytest.mark.parametrize(
    ("old", "new", "where", "words"),
    [
        ('unit = "metre"\nkind', "kind", "base.height.unit", "required"),
        ('unit = "metre"\nkind', 'unit = "meter"\nkind', "base.height.unit", "did you mean metre"),
        ("radius_m = 0.095\n", "", "base.height.radius_m", "needed by a height to the rim"),
        ("radius_m = 0.095\n", "radius = 0.095\n", "base.height.radius", "did you mean radius_m"),
        ("value = 1.672", "value = nan", "base.height.value", "finite"),
        ("value = 1.672", 'value = "1.672"', "base.height.value", "must be a number"),
        ('to = "rim" ', 'to = "arp" ', "base.height.to", "ends at a mark on the rim"),
        ("northing = 4541800.347\nheight", "height", "base.published", "one set of three"),
        ('mark = "Hess', 'make = "Hess', "base.make", "did you mean mark"),
        ("base/pillar2.26o", "base/pillar3.26o", "base.observation", "did you mean pillar2.26o"),
        (
            'end = 2026-05-14T19:10:00\ntime_system = "GPS"',
            "end = 2026-05-14T19:10:00",
            "base.occupation[0].time_system",
            "GPS or UTC",
        ),
        ("start = 2026-05-14T15:20:00", "start = 2026-05-14", "base.occupation[0].start", "time"),
        (
            "end = 2026-05-14T19:10:00",
            "end = 2026-05-13T19:10:00",
            "base.occupation[0].end",
            "later",
        ),
        (
            "start = 2026-05-14T15:20:00",
            "start = 2026-05-14T15:20:00Z",
            "base.occupation[0]",
            "alike",
        ),
        ('origin = "published"', 'origin = "own"', "base.held.origin", "own-solution"),
        ("accuracy_h_m = 0.010", "accuracy_h_m = -1.0", "base.published.accuracy_h_m", "at least"),
        (
            'height = { value = 1.6258, unit = "metre",',
            "height = { value = 1.6258,",
            "base.processing.height.unit",
            "required",
        ),
    ],
)
def test_mistakes_in_the_words_of_the_file(
    demo: Path, old: str, new: str, where: str, words: str
) -> None:
    """Each mistake names its key and what may stand there; units are never guessed."""
    with pytest.raises(JobError) as caught:
        load_job(changed(demo, old, new))
    told = {problem.where: str(problem) for problem in caught.value.problems}
    assert words in told[where]


def test_coordinates_that_do_not_fit_their_system(demo: Path) -> None:
    """Eastings in a geographic system, and a system that is none, are refused with the key."""
    from accuracy.preparation import prepare
    from accuracy.processing_checks import check_processing

    old = 'crs = "EPSG:6341+5703"\ngeoid = "GEOID18"\neasting'
    for new, words in (
        ('crs = "EPSG:6319"\neasting', "longitude_deg"),
        ('crs = "EPSG:99"\neasting', "base.published.crs"),
    ):
        with pytest.raises(AccuracyError, match=words):
            check_processing(prepare(load_job(changed(demo, old, new))))
