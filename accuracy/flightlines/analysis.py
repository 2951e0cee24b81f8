"""The analysis of flight lines: one streamed pass over the points, then block by block over their sums."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Protocol

from accuracy.flightlines.records import LinesRecord, LinesSettings
from accuracy.formats import PointSurface
from accuracy.formats.scanning import R


class Reading(Protocol):
    """Shows all points of files to reducers and merges these; `accuracy.parallel.Workers.reduce` is one."""

    def __call__(
        self, paths: Sequence[Path], make: Callable[[], R], progress: Callable[[str], None]
    ) -> R:
        """Give the merged reducer."""
        ...


def analyse_lines(
    clouds: Sequence[PointSurface],
    settings: LinesSettings,
    progress: Callable[[str], None] = lambda _: None,
    reading: Reading | None = None,
) -> LinesRecord:
    """Compare the flight lines of a cloud of one or many files.

    Parameters
    ----------
    clouds : sequence of PointSurface
        Opened by their headers, in one frame.
    settings : LinesSettings
        Units of the files among it.
    progress : callable
        Told what is being done.
    reading : Reading, optional
        Passes over files; one after the other in this process if not given.

    Returns
    -------
    LinesRecord
        The same whatever the tiling of the files and the number of workers, but for `order`.

    Raises
    ------
    FormatError
        Points cannot be read, or there are none.
    UsageError
        Settings that make no sense.
    """
    raise NotImplementedError
