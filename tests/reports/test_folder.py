from __future__ import annotations

import contextlib
import shutil
from pathlib import Path

import pytest

from accuracy.errors import ResultError
from accuracy.reports import folder
from accuracy.reports.folder import check_replaceable, recover, write_folder

OLD = {"result.json": b'{"format": "accuracy-result", "n": 1}', "statement.txt": b"old words"}
NEW = {"result.json": b'{"format": "accuracy-result", "n": 2}', "summary.txt": b"new words"}


class Stop(BaseException):
    """The moment at which the machine loses power."""


def contents(target: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in target.iterdir()}


def siblings(target: Path) -> list[str]:
    return sorted(p.name for p in target.parent.iterdir())


def test_a_result_is_written_whole_and_leaves_nothing_beside_it(tmp_path: Path) -> None:
    """Written, then replaced: the folder holds the files, no leftovers stand beside it."""
    target = tmp_path / "deep" / "site.accuracy"
    write_folder(target, OLD)
    assert contents(target) == OLD
    write_folder(target, NEW)
    assert contents(target) == {**NEW, "statement.txt": b"old words"}
    assert siblings(target) == ["site.accuracy"]


def test_files_of_other_people_are_carried_over(tmp_path: Path) -> None:
    """Nothing that the user put into a result folder is lost."""
    target = tmp_path / "site.accuracy"
    write_folder(target, OLD)
    (target / "note.txt").write_text("mine")
    (target / "photos").mkdir()
    (target / "photos" / "a.jpg").write_bytes(b"picture")
    write_folder(target, NEW)
    assert (target / "note.txt").read_text() == "mine"
    assert (target / "photos" / "a.jpg").read_bytes() == b"picture"


@pytest.mark.parametrize("step", range(12))
def test_an_interrupted_swap_is_finished_or_undone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: int
) -> None:
    """Stop at any operation: the next start finds the old result whole or the new one whole."""
    target = tmp_path / "site.accuracy"
    write_folder(target, OLD)
    count = 0

    def counted(method: str) -> None:
        real = getattr(Path, method)

        def stopping(self: Path, *args: object, **kwargs: object) -> object:
            nonlocal count
            count += 1
            if count > step:
                raise Stop
            return real(self, *args, **kwargs)

        monkeypatch.setattr(Path, method, stopping)

    for method in ("rename", "mkdir", "unlink", "open"):
        counted(method)
    # A power cut cleans nothing up; neither does this.
    monkeypatch.setattr(folder.shutil, "rmtree", lambda *a, **k: (_ for _ in ()).throw(Stop))
    with contextlib.suppress(Stop):
        write_folder(target, NEW)
    monkeypatch.undo()
    recover(target)
    assert siblings(target) == ["site.accuracy"]
    assert contents(target) in (OLD, {**NEW, "statement.txt": b"old words"})


def test_every_state_a_crash_can_leave_is_repaired(tmp_path: Path) -> None:
    """The three names of the swap, in each combination that a crash can leave behind."""
    target, new, old = (tmp_path / n for n in ("r", ".r.new", ".r.old"))

    def state(*present: Path, ready: bool) -> None:
        for path in (target, new, old):
            shutil.rmtree(path, ignore_errors=True)
        for path in present:
            path.mkdir()
            (path / "result.json").write_bytes(path.name.encode())
        if ready:
            (new / ".ready").touch()

    cases = [
        ((new,), False, None),
        ((target, new), False, b"r"),
        ((target, new), True, b".r.new"),
        ((old, new), True, b".r.new"),
        ((old, new), False, b".r.old"),
        ((old,), False, b".r.old"),
        ((target, old), False, b"r"),
    ]
    for present, ready, expected in cases:
        state(*present, ready=ready)
        recover(target)
        found = (target / "result.json").read_bytes() if target.exists() else None
        assert found == expected, present
        assert not new.exists()
        assert not old.exists()
        assert not (target / ".ready").exists()


def test_a_folder_that_is_not_ours_is_left_alone(tmp_path: Path) -> None:
    """A folder with other contents, or a file of that name, is refused with a remedy."""
    target = tmp_path / "photos"
    target.mkdir()
    (target / "a.jpg").write_bytes(b"picture")
    with pytest.raises(ResultError, match="left alone"):
        write_folder(target, NEW)
    assert contents(target) == {"a.jpg": b"picture"}
    with pytest.raises(ResultError, match="not a folder"):
        check_replaceable(target / "a.jpg")


def test_a_write_that_fails_leaves_the_former_result(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk: one clear error, the former result untouched, nothing half-written."""
    target = tmp_path / "site.accuracy"
    write_folder(target, OLD)

    def full(path: Path, content: bytes) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(folder, "_write", full)
    with pytest.raises(ResultError, match="No space left"):
        write_folder(target, NEW)
    assert contents(target) == OLD
    assert siblings(target) == ["site.accuracy"]


def test_somebody_elses_result_json_is_not_overwritten(tmp_path: Path) -> None:
    """A folder is ours by what its result.json says, not by the name of a file."""
    target = tmp_path / "theirs"
    target.mkdir()
    (target / "result.json").write_text('{"mine": 1}')
    with pytest.raises(ResultError, match="left alone"):
        write_folder(target, NEW)
    assert (target / "result.json").read_text() == '{"mine": 1}'


@pytest.mark.parametrize("step", range(4))
def test_an_interrupt_during_the_swap_leaves_one_whole_result(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: int
) -> None:
    """Ctrl-C at any rename: on return one complete result stands there, and nothing beside it."""
    target = tmp_path / "site.accuracy"
    write_folder(target, OLD)
    real, count = Path.rename, 0

    def rename(self: Path, to: Path) -> Path:
        nonlocal count
        count += 1
        if count == step + 1:
            raise KeyboardInterrupt
        return real(self, to)

    monkeypatch.setattr(Path, "rename", rename)
    with contextlib.suppress(KeyboardInterrupt):
        write_folder(target, NEW)
    assert siblings(target) == ["site.accuracy"]
    assert contents(target) in (OLD, {**NEW, "statement.txt": b"old words"})


def test_an_interrupt_while_writing_leaves_the_former_result(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C while files are written aside: the half-written folder is gone."""
    target = tmp_path / "site.accuracy"
    write_folder(target, OLD)

    def stopped(path: Path, content: bytes) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(folder, "_write", stopped)
    with pytest.raises(KeyboardInterrupt):
        write_folder(target, NEW)
    assert siblings(target) == ["site.accuracy"]
    assert contents(target) == OLD
