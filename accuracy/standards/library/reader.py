"""Reading one TOML table key by key, noting every mistake with the path of its key."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping
from fractions import Fraction
from typing import Any, TypeVar, get_args

from accuracy.errors import Problem
from accuracy.standards.library.marks import Verification

T = TypeVar("T")


def nearest(word: str, known: tuple[str, ...] | list[str]) -> str:
    """Say which known word is meant, or list them."""
    close = difflib.get_close_matches(word, known, n=1, cutoff=0.75)
    listed = ", ".join(known)
    return f"did you mean {close[0]}? Known: {listed}" if close else f"known: {listed}"


class Reader:
    """One table of a file, read key by key; every mistake is noted with the path of its key."""

    def __init__(self, table: Mapping[str, Any], path: str, problems: list[Problem]) -> None:
        self.table = table
        self.path = path
        self.problems = problems
        self.asked: list[str] = []

    def where(self, key: str) -> str:
        """Give the path of a key."""
        return f"{self.path}.{key}" if self.path else key

    def wrong(self, key: str, found: str, allowed: str) -> None:
        """Note a mistake."""
        self.problems.append(Problem(self.where(key), found, allowed))

    def _get(
        self, key: str, kinds: tuple[type, ...], what: str, default: T, required: bool
    ) -> Any | T:
        self.asked.append(key)
        if key not in self.table:
            if required:
                self.wrong(key, "is missing", f"give {what}")
            return default
        value = self.table[key]
        if not isinstance(value, kinds) or (isinstance(value, bool) and bool not in kinds):
            self.wrong(key, f"{value!r} found", f"give {what}")
            return default
        return value

    def text(self, key: str, *, required: bool = True, choices: tuple[str, ...] = ()) -> Any:
        """Read a text, one of `choices` where these are given. Typed Any: choices feed Literal fields."""
        value = self._get(key, (str,), "a text", "", required)
        if required and self.table.get(key) == "" and not choices:
            self.wrong(key, "is empty", "give a text")
        if choices and isinstance(self.table.get(key), str) and value not in choices:
            self.wrong(key, f"{value!r} found", nearest(value, list(choices)))
        return value

    def number(self, key: str, *, required: bool = True, positive: bool = True) -> float | None:
        """Read a finite number."""
        value = self._get(key, (int, float), "a number", None, required)
        if value is None:
            return None
        if not math.isfinite(value) or (positive and value <= 0):
            self.wrong(key, f"{value!r} found", "give a finite number" + " above 0" * positive)
            return None
        return float(value)

    @property
    def one(self) -> Fraction:
        """Stand in for a share that could not be read."""
        return Fraction(1)

    def share(self, key: str, *, required: bool = True) -> Fraction | None:
        """Read a number above 0 exactly: as written, or a text such as "1/3"."""
        value = self._get(
            key, (int, float, str), 'a number, or a text such as "1/3"', None, required
        )
        if value is None:
            return None
        try:
            number = Fraction(value if isinstance(value, str) else repr(value))
        except (ValueError, ZeroDivisionError):
            number = Fraction(0)
        if number <= 0:
            self.wrong(key, f"{value!r} found", 'give a number above 0, or a text such as "1/3"')
            return None
        return number

    def integer(self, key: str, *, default: int = 1) -> int:
        """Read a whole number of at least 0."""
        value: int = self._get(key, (int,), "a whole number", default, True)
        if value < 0:
            self.wrong(key, f"{value!r} found", "give a whole number of at least 0")
        return value

    def flag(self, key: str, *, required: bool = True) -> bool:
        """Read true or false."""
        return bool(self._get(key, (bool,), "true or false", False, required))

    def listed(self, key: str, kinds: tuple[type, ...], what: str) -> tuple[Any, ...]:
        """Read a list of texts or numbers; absent means empty."""
        values: list[Any] = self._get(key, (list,), f"a list of {what}", [], False)
        bad = [v for v in values if not isinstance(v, kinds) or isinstance(v, bool)]
        bad += [v for v in values if isinstance(v, float) and not math.isfinite(v)]
        if bad:
            self.wrong(key, f"{bad[0]!r} found", f"give a list of {what}")
            return ()
        return tuple(values)

    def table_at(self, key: str) -> Reader | None:
        """Read a table; None where there is none."""
        value = self._get(key, (dict,), "a table", None, False)
        return None if value is None else Reader(value, self.where(key), self.problems)

    def tables(self, key: str) -> list[Reader]:
        """Read an array of tables; absent means none."""
        values: list[Any] = self._get(key, (list,), "an array of tables", [], False)
        readers = []
        for index, value in enumerate(values):
            place = f"{key}[{index}]"
            if isinstance(value, dict):
                readers.append(Reader(value, self.where(place), self.problems))
            else:
                self.wrong(place, f"{value!r} found", "give a table")
        return readers

    def source(self) -> tuple[str, Verification]:
        """Read where the numbers of this table come from; both keys are required."""
        cite = self.text("cite")
        return cite, self.text("verification", choices=get_args(Verification))

    def finish(self) -> None:
        """Refuse every key that nobody asked for."""
        for key in self.table:
            if key not in self.asked:
                self.wrong(key, "is not a known key", nearest(key, self.asked))
