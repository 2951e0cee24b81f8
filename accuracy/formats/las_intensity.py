"""Intensities of a point cloud around a few places: a plain pass over the file, for pictures."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import FormatError

_CHUNK = 500_000

Intense = NDArray[np.float64]


def intensities_near(
    path: Path, x: NDArray[np.float64], y: NDArray[np.float64], reach: float
) -> list[Intense]:
    """Give, for each place, the points in the square around it: x and y relative to it, and intensity.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        Places, stored units.
    reach : float
        Half the side of the squares, stored units.

    Returns
    -------
    list of ndarray, shape (k, 3)
        Withheld points are left out.

    Raises
    ------
    FormatError
        The points cannot be read.
    """
    import laspy

    found: list[list[Intense]] = [[] for _ in x]
    try:
        with laspy.open(path) as file:
            (west, south), (east, north) = file.header.mins[:2], file.header.maxs[:2]
            if not np.any(
                (x + reach >= west)
                & (x - reach <= east)
                & (y + reach >= south)
                & (y - reach <= north)
            ):
                return [np.zeros((0, 3)) for _ in x]
            scale, offset = file.header.scales, file.header.offsets
            for points in file.chunk_iterator(_CHUNK):
                px = np.asarray(points.X) * scale[0] + offset[0]
                py = np.asarray(points.Y) * scale[1] + offset[1]
                order = np.argsort(px, kind="stable")
                px = px[order]
                for place, (at_x, at_y) in enumerate(zip(x.tolist(), y.tolist(), strict=True)):
                    first, last = np.searchsorted(px, [at_x - reach, at_x + reach])
                    index = order[first:last]
                    near = np.abs(py[index] - at_y) <= reach
                    if not near.any():
                        continue
                    index = index[near]
                    keep = ~np.asarray(points.withheld[index], bool)
                    index = index[keep]
                    found[place].append(
                        np.column_stack(
                            [
                                px[first:last][near][keep] - at_x,
                                py[index] - at_y,
                                np.asarray(points.intensity[index], np.float64),
                            ]
                        )
                    )
    except FormatError:
        raise
    except Exception as error:  # the library has many of its own
        raise FormatError(
            f"the points cannot be read: {error}",
            where=str(path),
            remedy="check that the file is whole",
        ) from error
    except BaseException as error:
        if type(error).__name__ != "PanicException":  # which is no Exception
            raise
        raise FormatError(
            "the points cannot be read", where=str(path), remedy="check that the file is whole"
        ) from error
    return [np.concatenate(parts) if parts else np.zeros((0, 3)) for parts in found]
