"""The epochs of a plain RINEX observation file, in bounded memory: span, interval, gaps."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import islice, pairwise
from pathlib import Path

from accuracy.formats.bounded_text import lines
from accuracy.formats.rinex import WHAT, RinexHeader, moment, split_label

#: No more text than this is read to see epochs (several hours at 1 Hz).
MOST_BYTES = 256 << 20
#: Differences of time that decide the interval; gaps kept one by one.
_FIRST_EPOCHS, _GAPS_KEPT = 500, 100


@dataclass(frozen=True)
class Epochs:
    """What the epochs themselves say; times in the time system of the file.

    Attributes
    ----------
    first, last : datetime
    count : int
        Epochs seen.
    interval_s : float or None
        The commonest difference of the first epochs; None for a single one.
    gaps : tuple of (datetime, datetime)
        Epochs before and after each gap of more than 1.5 intervals, the first hundred.
    gap_count : int
        All of them.
    complete : bool
        Whether the file was read to its end.
    backwards : int
        How often time went back.
    """

    first: datetime
    last: datetime
    count: int
    interval_s: float | None
    gaps: tuple[tuple[datetime, datetime], ...]
    gap_count: int
    complete: bool
    backwards: int = 0


def read_epochs(
    path: Path, header: RinexHeader, *, most_bytes: int = MOST_BYTES, most: int | None = None
) -> Epochs | None:
    """Read the epochs of a file; None where there are none that can be read.

    The epochs of Hatanaka files are differences of text and are not read.

    Parameters
    ----------
    most_bytes : int
        Reading stops there.
    most : int, optional
        Reading stops after so many epochs.

    Raises
    ------
    FormatError
        The file breaks off inside its compressed data.
    """
    if header.hatanaka is not None:
        return None
    # Lines end the count where they end the file; a file cut by the limit is seen by the bytes left.
    seen = _Seen(lines(path, most_bytes=most_bytes, what=WHAT))
    for line in seen:
        if split_label(line)[1] == "END OF HEADER":
            break
    epochs = instants(iter(seen), float(header.version))
    head = list(islice(epochs, min(_FIRST_EPOCHS, most or _FIRST_EPOCHS)))
    if not head:
        return None
    steps = [(b - a).total_seconds() for a, b in pairwise(head)]
    counted = Counter(round(step, 3) for step in steps if step > 0.0)
    interval_s = counted.most_common(1)[0][0] if counted else None
    last, count, gap_count, backwards = head[0], 0, 0, 0
    gaps: list[tuple[datetime, datetime]] = []
    stopped = False
    for when in _all(head, epochs):
        if most is not None and count >= most:
            stopped = True
            break
        step = (when - last).total_seconds()
        backwards += step < 0.0
        if interval_s is not None and count and step > 1.5 * interval_s:
            gap_count += 1
            if len(gaps) < _GAPS_KEPT:
                gaps.append((last, when))
        last, count = max(last, when), count + 1
    complete = not stopped and seen.bytes < most_bytes
    return Epochs(head[0], last, count, interval_s, tuple(gaps), gap_count, complete, backwards)


def _all(head: list[datetime], rest: Iterator[datetime]) -> Iterator[datetime]:
    yield from head
    yield from rest


class _Seen:
    """Counts what goes by."""

    def __init__(self, rows: Iterator[str]) -> None:
        self.rows, self.bytes = rows, 0

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        line = next(self.rows)
        self.bytes += len(line) + 1
        return line


def instants(rows: Iterator[str], version: float) -> Iterator[datetime]:
    """Yield the epochs of observations after the header; lines between them are passed over.

    Epoch flags 0 and 1 are observations, 2 to 6 are events.
    """
    pattern = _EPOCH_2 if version < 3.0 else _EPOCH_3
    for line in rows:
        found = pattern.match(line)
        if found is None or found[2] not in "01":
            continue
        when = moment(found[1].split() if version >= 3.0 else _columns_2(found[1]))
        if when is not None:
            yield when


_EPOCH_2 = re.compile(r" ([ \d]\d(?: [ \d]\d){4}[ \d]{2}[ \d]\.\d{7})  (\d)[ \d]{2}\d")
_EPOCH_3 = re.compile(r"> *(\d{4} +\d+ +\d+ +\d+ +\d+ +\d+\.\d*) +(\d)\b")


def _columns_2(text: str) -> list[str]:
    return [text[0:2], text[3:5], text[6:8], text[9:11], text[12:14], text[14:]]
