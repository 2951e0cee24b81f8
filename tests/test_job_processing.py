"""The section [processing] of a job. Settings are invented."""

from __future__ import annotations

import hashlib
from pathlib import Path

import compare_site
import pytest

from accuracy.errors import JobError
from accuracy.job import load_job
from accuracy.pipeline import verify


def job(folder: Path, text: str) -> Path:
    path = compare_site.make_run(folder, compare_site.errors("before"))
    path.write_text(path.read_text("utf-8") + text, "utf-8")
    return path


def test_free_keys_are_recorded_as_written(tmp_path: Path) -> None:
    """Text, numbers, truth values, dates, lists and tables one level deep."""
    path = job(
        tmp_path,
        'name = "strict"\nlevel = 3\nweight = 0.5\non = true\nday = 2026-05-14\nbands = [1, 2]\n'
        "filter = {cell = 0.5, kinds = ['a']}\n",
    )
    assert load_job(path).as_read()["processing"] == {
        "name": "strict",
        "level": 3,
        "weight": 0.5,
        "on": True,
        "day": "2026-05-14",
        "bands": [1, 2],
        "filter": {"cell": 0.5, "kinds": ["a"]},
    }


def test_a_file_of_settings_is_an_input_with_its_hash(tmp_path: Path) -> None:
    """``file`` names one file; its SHA-256 stands among the inputs, role processing."""
    path = job(tmp_path, 'file = "settings.xml"\n')
    (tmp_path / "settings.xml").write_bytes(b"<settings/>")
    result = verify(load_job(path))
    (found,) = [item for item in result.inputs if item.role == "processing"]
    assert found.path == "settings.xml"
    assert found.sha256 == hashlib.sha256(b"<settings/>").hexdigest()


@pytest.mark.parametrize(
    ("text", "where", "says"),
    [
        ('file = "none.xml"\n', "processing.file", "names no file"),
        ("file = 3\n", "processing.file", "must be the path of one file"),
        ('file = ""\n', "processing.file", "must be the path of one file"),
        ('file = "*.csv"\n', "processing.file", "must name one file"),
        ("a = {b = {c = 1}}\n", "processing.a.b", "one level deep"),
        ("a = [{b = 1}]\n", "processing.a", "one level deep"),
        ("a = [[1], [2]]\n", "processing.a", "one level deep"),
        ("a = nan\n", "processing.a", "finite"),
    ],
)
def test_what_cannot_be_compared_is_refused(
    tmp_path: Path, text: str, where: str, says: str
) -> None:
    """Deeper tables, lists of tables, numbers that are none, a file that is not there."""
    with pytest.raises(JobError) as caught:
        load_job(job(tmp_path, text))
    assert any(problem.where == where and says in str(problem) for problem in caught.value.problems)
