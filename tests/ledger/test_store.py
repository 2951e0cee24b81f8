from __future__ import annotations

import json
import multiprocessing
import sqlite3
from contextlib import closing
from pathlib import Path

import compare_site
import pytest
from ledger_writer import append, numbered

from accuracy.comparison import compare
from accuracy.errors import LedgerError, ResultError
from accuracy.history import rebuild, select
from accuracy.ledger import Ledger, ledger_at
from accuracy.ledger import store as store_module
from accuracy.result import Result, parse_result


@pytest.fixture(scope="module")
def content(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    folder = tmp_path_factory.mktemp("run")
    result = compare_site.run(
        folder,
        compare_site.errors("before"),
        processing={"filter": "median", "deep": {"cell": 0.5}},
    )
    return result.to_json().encode("utf-8")


def test_what_is_recorded_comes_back_to_the_byte(tmp_path: Path, content: bytes) -> None:
    """The whole result is stored; site, sensor, settings and figures are at hand."""
    path = tmp_path / "l.sqlite"
    with Ledger.open(path, create=True) as ledger:
        entry = ledger.record(content)
        assert ledger.entry(entry.number) == (entry, content)
        assert ledger.entries() == (entry,)
    assert (entry.number, entry.site, entry.sensor) == (1, "Tollgarth Quarry", "Wendle 2")
    assert entry.processing == {"filter": "median", "deep": {"cell": 0.5}}
    (figure,) = [f for f in entry.figures if f.cover == "non-vegetated"]
    result = parse_result(content.decode(), "test")
    (check,) = [c for c in result.datasets[0].claims[0].checks if c.cover == "non-vegetated"]
    assert figure.n == check.n
    assert figure.rmse_m is not None
    assert (
        abs(
            figure.rmse_m
            - float(compare_site.np.sqrt(compare_site.np.mean(compare_site.errors("before") ** 2)))
        )
        < 1e-9
    )
    with Ledger.open(path) as ledger:
        assert ledger.entries() == (entry,)


def test_the_same_result_is_recorded_once(tmp_path: Path, content: bytes) -> None:
    """Recording again gives the number it has."""
    with Ledger.open(tmp_path / "l.sqlite", create=True) as ledger:
        first = ledger.record(content)
        ledger.record(numbered(content, 1))
        assert ledger.record(content) == first
        assert len(ledger.entries()) == 2


def test_processes_at_once_lose_nothing(tmp_path: Path, content: bytes) -> None:
    """Three spawned processes create the ledger and append 8 results each, all at once: 24, each once."""
    path = tmp_path / "l.sqlite"
    (tmp_path / "result.json").write_bytes(content)
    context = multiprocessing.get_context("spawn")
    workers = [
        context.Process(target=append, args=(path, tmp_path / "result.json", 8 * i, 8), daemon=True)
        for i in range(3)
    ]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(120)
    assert [worker.exitcode for worker in workers] == [0, 0, 0]
    with Ledger.open(path) as ledger:
        entries = ledger.entries()
    assert len({entry.sha256 for entry in entries}) == 24
    assert sorted(entry.number for entry in entries) == list(range(1, 25))
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_a_writer_waits_for_another(tmp_path: Path, content: bytes) -> None:
    """While another connection holds the ledger for writing, recording waits and then succeeds."""
    import threading

    path = tmp_path / "l.sqlite"
    Ledger.open(path, create=True).__exit__(None, None, None)
    with closing(sqlite3.connect(path, isolation_level=None, check_same_thread=False)) as other:
        other.execute("BEGIN IMMEDIATE")
        timer = threading.Timer(0.3, lambda: other.execute("COMMIT"))
        timer.start()
        with Ledger.open(path) as ledger:
            assert ledger.record(content).number == 1
        timer.join()


def damaged(path: Path, kind: str, content: bytes) -> None:
    with Ledger.open(path, create=True) as ledger:
        for number in range(5):
            ledger.record(numbered(content, number))
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.execute("PRAGMA journal_mode = DELETE")
        if kind == "later":
            connection.execute("PRAGMA user_version = 99")
        if kind == "foreign":
            connection.execute("PRAGMA application_id = 7")
        connection.commit()
    data = path.read_bytes()
    if kind == "cut":
        path.write_bytes(data[: len(data) // 2])
    if kind == "junk":
        path.write_bytes(b"not a ledger at all " * 400)
    if kind == "overwritten":
        path.write_bytes(data[:4096] + b"\xaa" * 8192 + data[4096 + 8192 :])


@pytest.mark.parametrize("kind", ["cut", "junk", "overwritten", "later", "foreign"])
@pytest.mark.parametrize("create", [False, True])
def test_a_file_that_is_no_sound_ledger_is_refused_and_left_alone(
    tmp_path: Path, content: bytes, kind: str, create: bool
) -> None:
    """Cut short, junk, overwritten pages, a later version, another program: refused, not a byte changed."""
    path = tmp_path / "l.sqlite"
    damaged(path, kind, content)
    before = path.read_bytes()
    with pytest.raises(LedgerError) as caught, Ledger.open(path, create=create) as ledger:
        ledger.record(content)
    assert caught.value.remedy
    assert path.read_bytes() == before


def test_a_database_of_something_else_is_left_alone(tmp_path: Path, content: bytes) -> None:
    """Any other SQLite file, even without a mark of its own, gets no table of ours."""
    path = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE mine (x)")
        connection.commit()
    before = path.read_bytes()
    with pytest.raises(LedgerError, match="something else"):
        Ledger.open(path, create=True)
    assert path.read_bytes() == before


def test_a_changed_record_inside_a_sound_file_is_noticed(tmp_path: Path, content: bytes) -> None:
    """What is stored under a number must have the hash it was recorded with."""
    path = tmp_path / "l.sqlite"
    with Ledger.open(path, create=True) as ledger:
        ledger.record(content)
        ledger.record(numbered(content, 3))
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("UPDATE entry SET result = (SELECT result FROM entry WHERE number = 2)")
        connection.commit()
    with Ledger.open(path) as ledger, pytest.raises(LedgerError, match="not what was recorded"):
        ledger.entry(1)


def test_only_results_are_recorded(tmp_path: Path) -> None:
    """Anything else is refused before the ledger is touched."""
    with Ledger.open(tmp_path / "l.sqlite", create=True) as ledger:
        with pytest.raises(ResultError):
            ledger.record(b"{}")
        assert ledger.entries() == ()


def test_a_ledger_is_made_only_when_asked(tmp_path: Path) -> None:
    """Reading where there is none is an error that says how to begin; nothing is left behind."""
    with pytest.raises(LedgerError, match="there is no ledger") as caught:
        Ledger.open(tmp_path / "none.sqlite")
    assert "--record" in (caught.value.remedy or "")
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(LedgerError):
        Ledger.open(tmp_path / "no" / "folder" / "l.sqlite", create=True)


def test_on_a_network_share_it_says_so_and_uses_a_rollback_journal(
    tmp_path: Path, content: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    """WAL needs shared memory, which a share has not: another journal, and a note."""
    monkeypatch.setattr(store_module, "network_share", lambda path: "nfs4")
    path = tmp_path / "l.sqlite"
    with Ledger.open(path, create=True) as ledger:
        ledger.record(content)
        assert "network share (nfs4)" in ledger.notes[0]
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)


def test_a_ledger_is_rebuilt_from_result_files(tmp_path: Path, content: bytes) -> None:
    """All results under a folder, in the order of time; what cannot be read is told; nothing is doubled."""
    for i in (3, 1, 2):
        folder = tmp_path / "results" / f"r{i}.accuracy"
        folder.mkdir(parents=True)
        (folder / "result.json").write_bytes(numbered(content, i))
    broken = tmp_path / "results" / "broken"
    broken.mkdir()
    (broken / "result.json").write_text("{", "utf-8")
    path = tmp_path / "new.sqlite"
    for _ in range(2):
        count, problems = rebuild(path, [tmp_path / "results"])
        assert count == 3
        assert len(problems) == 1
        with Ledger.open(path) as ledger:
            assert [e.finished[14:16] for e in ledger.entries()] == ["01", "02", "03"]
            assert [e.number for e in ledger.entries()] == [1, 2, 3]


def test_runs_of_the_ledger_can_be_compared(tmp_path: Path, content: bytes) -> None:
    """``ledger:1`` and ``#2`` are runs, though their result folders are long gone."""
    after = compare_site.run(tmp_path / "b", compare_site.errors("better"))
    path = tmp_path / "accuracy-ledger.sqlite"
    with Ledger.open(path, create=True) as ledger:
        ledger.record(content)
        ledger.record(after.to_json().encode())
    comparison = compare("ledger:1", "#2", ledger=ledger_at(tmp_path))
    assert comparison.verdict == "better"
    with pytest.raises(LedgerError, match="has no run 7"):
        compare("ledger:1", "ledger:7", ledger=path)


def test_runs_are_chosen_by_site_sensor_and_setting(tmp_path: Path, content: bytes) -> None:
    """Capitals do not matter; a setting is a key or a key with a value, tables by a dot."""
    with Ledger.open(tmp_path / "l.sqlite", create=True) as ledger:
        entry = ledger.record(content)
    for wanted in (
        {"site": "tollgarth quarry"},
        {"sensor": "WENDLE 2"},
        {"settings": ("filter",)},
        {"settings": ("filter=Median", "deep.cell=0.5")},
        {},
    ):
        assert select([entry], **wanted) == (entry,)
    for other in (
        {"site": "x"},
        {"sensor": "x"},
        {"settings": ("cell",)},
        {"settings": ("filter=mean",)},
    ):
        assert select([entry], **other) == ()


def test_the_record_of_an_entry_is_json_without_surprises(tmp_path: Path, content: bytes) -> None:
    """What the ledger stores beside the result can be read by any program that reads SQLite and JSON."""
    path = tmp_path / "l.sqlite"
    with Ledger.open(path, create=True) as ledger:
        ledger.record(content)
    with closing(sqlite3.connect(path)) as connection:
        ((about,),) = connection.execute("SELECT about FROM entry").fetchall()
    assert json.loads(about)["site"] == "Tollgarth Quarry"
    assert isinstance(parse_result(content.decode(), "x"), Result)
