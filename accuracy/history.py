"""The history: which runs of a ledger are shown, and a ledger made again from result files."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from accuracy.errors import AccuracyError, UsageError
from accuracy.ledger import Ledger
from accuracy.ledger_record import Entry
from accuracy.result import parse_result

RESULT = "result.json"


def settings_of(entry: Entry) -> dict[str, str]:
    """Give the processing settings of a run, one text per key; tables as ``table.key``."""

    def flat(value: object, name: str) -> dict[str, str]:
        if isinstance(value, Mapping):
            found: dict[str, str] = {}
            for key, item in value.items():
                found |= flat(item, f"{name}.{key}" if name else str(key))
            return found
        text = str(value).lower() if isinstance(value, bool) else str(value)
        return {name: text}

    return flat(entry.processing, "")


def select(
    entries: Iterable[Entry],
    *,
    site: str | None = None,
    sensor: str | None = None,
    settings: Sequence[str] = (),
) -> tuple[Entry, ...]:
    """Choose runs by site, sensor and settings, each ``key`` or ``key=value``; capitals do not matter."""

    def fits(wanted: str | None, found: str | None) -> bool:
        return wanted is None or wanted.casefold() == (found or "").casefold()

    def has(entry: Entry, setting: str) -> bool:
        key, equals, value = setting.partition("=")
        its = settings_of(entry).get(key.strip())
        return its is not None and (not equals or fits(value.strip(), its))

    return tuple(
        entry
        for entry in entries
        if fits(site, entry.site)
        and fits(sensor, entry.sensor)
        and all(has(entry, setting) for setting in settings)
    )


def rebuild(
    path: Path, places: Sequence[Path], told: Callable[[str], Any] = lambda text: None
) -> tuple[int, list[str]]:
    """Record every result found under the places, in the order of time; what is recorded already stays.

    Returns
    -------
    int, list of str
        Number of results found, and what could not be read, in words.

    Raises
    ------
    LedgerError, UsageError
        The ledger is damaged, or no result is found.
    """
    found: list[tuple[str, str, bytes]] = []
    problems: list[str] = []
    for file in sorted({file for place in places for file in _results(place)}):
        told(f"reading {file}")
        try:
            content = file.read_bytes()
            finished = parse_result(content.decode("utf-8"), str(file)).run.finished
        except (AccuracyError, OSError, ValueError) as error:
            problems.append(str(error))
            continue
        found.append((finished, file.as_posix(), content))
    if not found:
        raise UsageError(
            f"no result is found in {', '.join(map(str, places))}"
            + "".join(f"\n  - {problem}" for problem in problems),
            remedy=f"name folders that hold {RESULT}",
        )
    with Ledger.open(path, create=True) as ledger:
        for _, _, content in sorted(found):
            ledger.record(content)
    return len(found), problems


def _results(place: Path) -> Iterable[Path]:
    return [place] if place.is_file() else place.rglob(RESULT)
