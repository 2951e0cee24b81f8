"""A writer of ledgers in a module of its own, so that other processes can import it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from accuracy.ledger import Ledger
from accuracy.result import parse_result


def numbered(content: bytes, number: int) -> bytes:
    """Give the result as if it had been computed at another time."""
    result = parse_result(content.decode(), "test")
    finished = f"2026-05-{1 + number // 60:02d}T10:{number % 60:02d}:00+00:00"
    return replace(result, run=replace(result.run, finished=finished)).to_json().encode()


def append(path: Path, result: Path, first: int, count: int) -> None:
    """Record a result `count` times, each time with a number of its own."""
    content = result.read_bytes()
    for number in range(first, first + count):
        with Ledger.open(path, create=True) as ledger:
            ledger.record(numbered(content, number))
