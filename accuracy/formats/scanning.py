"""Passing over all points of a cloud once, to reduce them to something small that can be merged."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Protocol, Self, TypeVar

from accuracy.formats import PointBatch


class Reducer(Protocol):
    """Sums points up; one per tile, and those of several tiles merge into one.

    It travels between processes, so it must survive pickling.
    """

    #: Fields of `PointBatch` that are read besides x and y.
    fields: Sequence[str]

    def see(self, batch: PointBatch) -> None:
        """Take note of some points of the tile, in file order; what is not in `fields` is empty."""
        ...

    def merged(self, other: Self) -> Self:
        """Give what one reducer would hold that had seen the points of both, this one's first."""
        ...


class Scannable(Protocol):
    """A cloud that can be passed over."""

    def scan(self, fields: Sequence[str]) -> Iterator[PointBatch]:
        """Yield all points in file order and bounded memory."""
        ...


R = TypeVar("R", bound=Reducer)


def reduce_points(cloud: Scannable, reducer: R) -> R:
    """Show all points of a cloud to a reducer.

    Raises
    ------
    FormatError
        The points cannot be read.
    """
    for batch in cloud.scan(reducer.fields):
        reducer.see(batch)
    return reducer
