from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import compare_site
import pytest

from accuracy.comparison import compare, load_run
from accuracy.comparison.baseline import as_baseline, write_baseline
from accuracy.errors import AccuracyError, ResultError, UsageError
from accuracy.result import Result


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return compare_site.site(tmp_path_factory.mktemp("site"), ["before", "better"])


def test_a_folder_and_its_file_are_one_run(runs: dict[str, Path]) -> None:
    """Either names the result."""
    one, other = load_run(runs["before"]), load_run(runs["before"] / "result.json")
    assert one.sha256 == other.sha256
    assert isinstance(one.result, Result)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (None, "cannot be read"),
        (b"", "is not JSON"),
        (b"\xff\xfe\x00", "is not JSON"),
        (b"[" * 100_000, "is not JSON"),
        (b"{}", "is not an accuracy result"),
        (b'{"format": "accuracy-result", "format_version": 0}', "has format version 0"),
        (b'{"format": "accuracy-result", "format_version": 99}', "has format version 99"),
        (b'{"format": "accuracy-result", "format_version": true}', "has format version True"),
        (b'{"format": "accuracy-result", "format_version": 1}', "is damaged at"),
        (b'{"format": "accuracy-result", "x": NaN}', "holds the number NaN"),
        (b'{"format": "accuracy-result", "x": 1e999}', "holds the number 1e999"),
    ],
)
def test_what_is_no_result_is_refused_clearly(
    tmp_path: Path, content: bytes | None, says: str
) -> None:
    """Missing, empty, junk, too deep, foreign, another version, damaged, not finite: one clear error."""
    path = tmp_path / "result.json"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(ResultError, match=says) as caught:
        load_run(path)
    assert caught.value.remedy


@pytest.mark.parametrize("name", ["ledger:3", "#3"])
def test_a_number_needs_a_ledger(tmp_path: Path, name: str) -> None:
    """Without a ledger the error says what to add; with a missing one, too."""
    with pytest.raises(UsageError, match="no ledger is named"):
        load_run(name)
    with pytest.raises(AccuracyError, match="there is no ledger"):
        load_run(name, tmp_path / "none.sqlite")


@pytest.mark.parametrize("name", ["no\0thing", "x" * 5000, ""])
def test_impossible_names_are_errors_not_faults(name: str) -> None:
    """A name that no file can have is one clear error."""
    with pytest.raises(AccuracyError):
        load_run(name)


def test_a_bom_is_read(runs: dict[str, Path], tmp_path: Path) -> None:
    """A result that an editor saved with a byte order mark is read."""
    content = (runs["before"] / "result.json").read_bytes()
    (tmp_path / "result.json").write_bytes(b"\xef\xbb\xbf" + content)
    assert load_run(tmp_path).result.verdict == "passes"


def found(comparison: Any) -> object:
    return comparison.groups, comparison.claims, comparison.points, comparison.verdict


def test_a_baseline_gives_the_same_answer_and_holds_no_path(
    runs: dict[str, Path], tmp_path: Path
) -> None:
    """Compared with the baseline or with the result it was made from: the same; no machine path in it."""
    path = tmp_path / "kept" / "baseline.json"
    write_baseline(path, load_run(runs["before"]).result)
    one, other = compare(path, runs["better"]), compare(runs["before"], runs["better"])
    assert found(one) == found(other)
    assert one.changes == other.changes
    text = path.read_text("utf-8")
    assert str(runs["before"].parent) not in text
    assert len(text) < len((runs["before"] / "result.json").read_text("utf-8"))
    assert as_baseline(load_run(path).result).to_json() == text
    write_baseline(path, load_run(runs["better"]).result)
    assert compare(path, runs["better"]).changes == ()


def test_a_baseline_is_never_written_over_something_else(
    runs: dict[str, Path], tmp_path: Path
) -> None:
    """A file that is no result stays as it is, and nothing is left beside it."""
    path = tmp_path / "notes.json"
    path.write_text(json.dumps({"mine": 1}), "utf-8")
    with pytest.raises(ResultError, match="left alone"):
        write_baseline(path, load_run(runs["before"]).result)
    assert json.loads(path.read_text("utf-8")) == {"mine": 1}
    with pytest.raises(ResultError):
        write_baseline(tmp_path, load_run(runs["before"]).result)
    assert list(tmp_path.iterdir()) == [path]
