"""Read and write a ledger: one row for each verification, with its whole ``result.json``, compressed.

Appending is one transaction; several processes may append at once and wait for each other. What is not a
sound ledger of a schema this version knows is refused and left as it is.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
import time
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar

from accuracy.errors import AccuracyError, LedgerError
from accuracy.ledger.place import network_share
from accuracy.ledger_record import Entry, Tracked, entry_of
from accuracy.result import parse_result, plain

#: Name of the ledger beside result folders.
DEFAULT_NAME = "accuracy-ledger.sqlite"

#: Marks a file as ours ("accy" in ASCII), and the version of the table.
APPLICATION_ID = 0x61636379
SCHEMA_VERSION = 1

#: How long to wait for another process, in all.
PATIENCE_S = 60.0

_SCHEMA = """
CREATE TABLE entry (
  number INTEGER PRIMARY KEY AUTOINCREMENT,
  sha256 TEXT NOT NULL UNIQUE,
  finished TEXT NOT NULL,
  site TEXT,
  sensor TEXT,
  about TEXT NOT NULL,
  result BLOB NOT NULL
)
"""

_REBUILD = "move it away and make a new one from your results: accuracy history --rebuild FOLDER"

Answer = TypeVar("Answer")


def ledger_beside(result_folder: Path) -> Path:
    """Give the ledger that results beside each other share."""
    return result_folder.parent / DEFAULT_NAME


def ledger_at(place: Path) -> Path:
    """Give the ledger that a path means: the file itself, or the one in a folder."""
    return place / DEFAULT_NAME if place.is_dir() else place


class Ledger:
    """An open ledger; use `Ledger.open` in a ``with`` block.

    Attributes
    ----------
    path : Path
        Its file.
    notes : list of str
        What the user should know, such as a network share.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection, notes: list[str]) -> None:
        self.path = path
        self.notes = notes
        self._connection = connection

    @classmethod
    def open(cls, path: Path, *, create: bool = False) -> Ledger:
        """Open a ledger, checked.

        Parameters
        ----------
        create : bool
            Make it where there is none.

        Raises
        ------
        LedgerError
            There is no ledger, or the file is damaged, of something else, or of a later version.
        """
        if not path.exists() and not create:
            raise LedgerError(
                "there is no ledger",
                where=str(path),
                remedy="record a verification: accuracy verify JOB --record; or name another with --ledger",
            )
        share = network_share(path.absolute().parent)
        notes = (
            [
                f"the ledger {path} lies on a network share ({share}): the write-ahead log does not work "
                "there, so a rollback journal is used; let one machine at a time record"
            ]
            if share
            else []
        )
        with _told(path):
            connection = sqlite3.connect(path, timeout=PATIENCE_S, isolation_level=None)
        ledger = cls(path, connection, notes)
        try:
            with _told(path):
                _patiently(lambda: ledger._prepare(shared=share is not None))
        except BaseException:
            connection.close()
            raise
        return ledger

    def __enter__(self) -> Ledger:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the file."""
        self._connection.close()

    def record(self, content: bytes) -> Entry:
        """Append a ``result.json``, or find it where it is recorded already.

        Raises
        ------
        ResultError
            The content is not a result.
        LedgerError
            It cannot be written.
        """
        digest = hashlib.sha256(content).hexdigest()
        entry = entry_of(parse_result(content.decode("utf-8"), "result"), digest)
        about = plain(entry)
        row = (
            digest,
            entry.finished,
            entry.site,
            entry.sensor,
            json.dumps(about, ensure_ascii=False, sort_keys=True, allow_nan=False),
            zlib.compress(content, 6),
        )

        def append() -> None:
            with self._transaction():
                self._connection.execute(
                    "INSERT INTO entry (sha256, finished, site, sensor, about, result) "
                    "VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (sha256) DO NOTHING",
                    row,
                )

        with _told(self.path):
            _patiently(append)
            found = self._connection.execute(
                "SELECT number, about FROM entry WHERE sha256 = ?", (digest,)
            ).fetchone()
        return _entry(*found)

    def entries(self) -> tuple[Entry, ...]:
        """Give all entries in the order of time."""
        with _told(self.path):
            rows = self._connection.execute(
                "SELECT number, about FROM entry ORDER BY finished, number"
            ).fetchall()
            return tuple(_entry(*row) for row in rows)

    def entry(self, number: int) -> tuple[Entry, bytes]:
        """Give one entry with its ``result.json``.

        Raises
        ------
        LedgerError
            There is no such number, or what is stored under it is damaged.
        """
        with _told(self.path):
            row = self._connection.execute(
                "SELECT number, about, result FROM entry WHERE number = ?", (number,)
            ).fetchone()
        if row is None:
            raise LedgerError(
                f"has no run {number}", where=str(self.path), remedy="accuracy history lists them"
            )
        with _told(self.path):
            entry, content = _entry(*row[:2]), zlib.decompress(row[2])
        if hashlib.sha256(content).hexdigest() != entry.sha256:
            raise _damaged(self.path, f"run {number} is not what was recorded")
        return entry, content

    def _prepare(self, *, shared: bool) -> None:
        """Check the file, or make the table in a new one."""
        connection = self._connection
        kind, version, tables = self._look()
        if tables == 0 and kind in (0, APPLICATION_ID) and version == 0:
            mode = "DELETE" if shared else "WAL"
            connection.execute(f"PRAGMA journal_mode = {mode}")
            with self._transaction():
                kind, version, tables = self._look()
                if tables == 0:  # nobody else made it meanwhile
                    connection.execute(_SCHEMA)
                    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                    connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
            kind, version, tables = self._look()
        if kind != APPLICATION_ID:
            raise LedgerError(
                "is a database of something else; it is left alone",
                where=str(self.path),
                remedy="name another file with --ledger",
            )
        if version != SCHEMA_VERSION:
            raise LedgerError(
                f"is a ledger of version {version}; this is version {SCHEMA_VERSION}",
                where=str(self.path),
                remedy="use the version of the tool that wrote it, or rebuild it under another name: "
                "accuracy history --rebuild FOLDER --ledger FILE",
            )
        if shared:
            connection.execute("PRAGMA journal_mode = DELETE")
        connection.execute("PRAGMA synchronous = FULL")
        (sound,) = connection.execute("PRAGMA quick_check(1)").fetchone()
        if sound != "ok":
            raise _damaged(self.path, str(sound))

    def _look(self) -> tuple[int, int, int]:
        """Give the mark, the version and the number of tables."""

        def one(sql: str) -> int:
            return int(self._connection.execute(sql).fetchone()[0])

        return (
            one("PRAGMA application_id"),
            one("PRAGMA user_version"),
            one("SELECT count(*) FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'"),
        )

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        self._connection.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            with suppress(sqlite3.Error):
                self._connection.execute("ROLLBACK")
            raise
        self._connection.execute("COMMIT")


def _entry(number: int, about: str) -> Entry:
    data: dict[str, Any] = json.loads(about)
    figures = tuple(Tracked(**figure) for figure in data.pop("figures"))
    claims = tuple((str(d), str(s), v) for d, s, v in data.pop("claims"))
    return Entry(**(data | {"number": number, "figures": figures, "claims": claims}))


def _patiently(action: Callable[[], Answer]) -> Answer:
    """Do something again while another process holds the file; SQLite itself gives up early in some cases."""
    until = time.monotonic() + PATIENCE_S
    wait_s = 0.01
    while True:
        try:
            return action()
        except sqlite3.OperationalError as error:
            busy = getattr(error, "sqlite_errorcode", 0) & 0xFF in (
                sqlite3.SQLITE_BUSY,
                sqlite3.SQLITE_LOCKED,
            )
            if not busy or time.monotonic() > until:
                raise
        time.sleep(wait_s)
        wait_s = min(2 * wait_s, 0.5)


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn the errors of the library into ours."""
    try:
        yield
    except AccuracyError:
        raise
    except sqlite3.OperationalError as error:
        raise LedgerError(
            f"cannot be used: {error}",
            where=str(path),
            remedy="check the folder, free space, and whether another program holds the file",
        ) from error
    except (sqlite3.Error, zlib.error, ValueError, TypeError, KeyError) as error:
        raise _damaged(path, str(error)) from error


def _damaged(path: Path, what: str) -> LedgerError:
    return LedgerError(
        f"is damaged, or not a ledger; it is left as it is ({what})",
        where=str(path),
        remedy=_REBUILD,
    )
