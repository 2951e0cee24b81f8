"""Rows of a trajectory gathered block by block, with every mistake in them."""

from __future__ import annotations

from collections.abc import Iterator
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import InputError, Problem
from accuracy.findings import Finding, Severity
from accuracy.formats.long_tables import Block, Head
from accuracy.gps_time import gps_of_calendar
from accuracy.inputs.trajectory_columns import NEEDED, Columns

Array = NDArray[np.float64]

#: Mistakes in rows that are listed; the rest is counted.
MOST_PROBLEMS = 20
#: No time and no coordinate of this trade is larger, in any unit.
LARGEST = MappingProxyType({"time": 1e10} | dict.fromkeys(("easting", "northing", "height"), 1e9))
_EPOCH_NS = 315_964_800 * 10**9  # 1970-01-01 to 1980-01-06


class Rows:
    """Rows gathered block by block, with the mistakes met."""

    def __init__(self, head: Head, columns: Columns, in_utc: bool) -> None:
        self.head, self.columns = head, columns
        textual = {"fix"} | ({"time"} if in_utc else set())
        self._text_roles = {r: at for r, at in columns.at.items() if r in textual}
        self._roles = {r: at for r, at in columns.at.items() if r not in textual}
        self.numeric = list(self._roles.values())
        self.textual = list(self._text_roles.values())
        self._parts: dict[str, list[Array]] = {role: [] for role in self._roles}
        self._lines: list[NDArray[np.int64]] = []
        self._fix: list[NDArray[np.int64]] = []
        self.words: dict[str, int] = {}  # value of the fix column -> its number
        self._utc: list[Array] = []
        self._problems: list[Problem] = []
        self._more = 0
        self._comments = 0

    def add(self, block: Block) -> None:
        """Take a block in."""
        self._comments += block.comments
        for line, cells in block.ragged:
            self._refuse(
                line,
                None,
                f"{cells} cells where the header names {len(self.head.names)}",
                "give every row the columns of the header",
            )
        self._lines.append(block.lines)
        for role, at in self._roles.items():
            values = block.numbers[at]
            self._parts[role].append(values)
            if role in NEEDED:
                for row in np.flatnonzero(~(np.abs(values) < LARGEST[role])).tolist():
                    must = f"a finite number, in size below {LARGEST[role]:g}"
                    self._refuse_cell(block, row, role, at, must)
        for role, at in self._text_roles.items():
            if role == "time":
                self._add_utc(block, at)
            else:
                numbers = [self.words.setdefault(w, len(self.words)) for w in block.texts[at]]
                self._fix.append(np.array(numbers, dtype=np.int64))

    def _add_utc(self, block: Block, at: int) -> None:
        import pandas as pd

        times = pd.to_datetime(
            pd.Series(block.texts[at], dtype=str), format="ISO8601", utc=True, errors="coerce"
        )
        first, beyond = pd.Timestamp("1980-01-06", tz="UTC"), pd.Timestamp("2200-01-01", tz="UTC")
        bad = ~((times >= first) & (times < beyond)).to_numpy()
        times = times.where(~bad, first)
        for row in np.flatnonzero(bad).tolist():
            self._refuse_cell(
                block, row, "time", at, "a date since 1980 such as 2026-05-14T17:00:00.005Z"
            )
        since = times.dt.as_unit("ns").astype("int64").to_numpy() - _EPOCH_NS
        # whole seconds and rest apart, so that no digit is lost
        seconds = (since // 10**9).astype(np.float64) + (since % 10**9) / 1e9
        self._utc.append(np.where(bad, np.nan, gps_of_calendar(seconds)))

    def _refuse_cell(self, block: Block, row: int, role: str, at: int, must: str) -> None:
        written = block.written(row, at)[:40]
        found = f"{written!r}" if written else "nothing is written"
        self._refuse(int(block.lines[row]), role, found, f"{role} must be {must}")

    def _refuse(self, line: int, role: str | None, found: str, allowed: str) -> None:
        if len(self._problems) >= MOST_PROBLEMS:
            self._more += 1
            return
        column = f", column {self.head.names[self.columns.at[role]]}" if role else ""
        where = f"{self.head.path.name}, line {line}{column}"
        self._problems.append(Problem(where, found, allowed))

    def finish(self) -> None:
        """Join the blocks; refuse the table where there were mistakes.

        Raises
        ------
        InputError
            All mistakes, the first of them in full; or fewer than two rows.
        """
        if self._problems:
            count = len(self._problems) + self._more
            more = f"; the first {len(self._problems)} are" if self._more else ""
            raise InputError(
                f"{count} mistake{'s' if count > 1 else ''} in the trajectory{more}",
                where=str(self.head.path),
                problems=tuple(self._problems),
            )
        self.lines = np.concatenate([*self._lines, np.zeros(0, dtype=np.int64)])
        if len(self.lines) < 2:
            raise InputError(
                f"the trajectory has {len(self.lines)} rows; two are the least",
                where=str(self.head.path),
                remedy="check that this is the right file",
            )
        self.values = {role: np.concatenate(parts) for role, parts in self._parts.items()}
        if self._utc:
            self.values["time"] = np.concatenate(self._utc)
        self.fix = np.concatenate(self._fix) if self._fix else None
        self._parts, self._utc, self._fix = {}, [], []

    def findings(self) -> Iterator[Finding]:
        """Say what optional columns lack, and what was passed over."""
        name = self.head.path.name
        for role, values in self.values.items():
            missing = np.flatnonzero(~np.isfinite(values))
            if role not in NEEDED and missing.size:
                values[missing] = np.nan  # infinities, too
                line = int(self.lines[missing[0]])
                yield Finding(
                    "trajectory-values-missing",
                    Severity.NOTE,
                    f"{name}: {missing.size} of {len(values)} rows have no number for {role}, the first in "
                    f"line {line}",
                    evidence={"rows": int(missing.size), "first_line": line},
                )
        if self._comments:
            told = f"{name}: {self._comments} comment lines among the rows were passed over"
            yield Finding("trajectory-columns", Severity.NOTE, told)
