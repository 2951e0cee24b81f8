"""Reading the points near places from the files of a dataset, one after the other; how others do it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import FormatError, Problem
from accuracy.formats import PointBatch, PointSurface

#: Reads every point near places from files: (surfaces, x, y, radius, progress) -> batches.
Reader = Callable[
    [
        Sequence[PointSurface],
        NDArray[np.float64],
        NDArray[np.float64],
        float,
        Callable[[str], None],
    ],
    list[PointBatch],
]


def read_in_turn(
    surfaces: Sequence[PointSurface],
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    radius: float,
    progress: Callable[[str], None],
) -> list[PointBatch]:
    """Read files one after the other; one that cannot be read is told after all were tried.

    `progress` is told the name of each file and, if it has a method `points` (done, total), how far it is.

    Raises
    ------
    FormatError
        Naming every file that cannot be read.
    """
    batches: list[PointBatch] = []
    errors: list[FormatError] = []
    for surface in surfaces:
        progress(str(surface.info.path.name))
        if hasattr(surface, "on_read"):
            surface.on_read = getattr(progress, "points", None)
        try:
            batches += surface.near(x, y, radius)
        except FormatError as error:
            errors.append(error)
    raise_unreadable(errors)
    return batches


def raise_unreadable(errors: Sequence[FormatError]) -> None:
    """Raise what was met in one or several files, if anything."""
    if len(errors) == 1:
        raise errors[0]
    if errors:
        raise FormatError(
            f"{len(errors)} files cannot be read",
            problems=tuple(
                Problem(error.where or "", error.message, error.remedy or "") for error in errors
            ),
        )
