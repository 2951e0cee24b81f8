"""What is known of a job besides its residuals."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.record import Reference


@dataclass(frozen=True)
class Context:
    """What is known of a job besides its residuals.

    Attributes
    ----------
    kind : str
        Of the dataset.
    reference : Reference or None
        Of the deliverable.
    surveyed : Reference or None
        Of the checkpoints as handed in.
    at : tuple of float or None
        Easting, northing and height of the middle of the site, in stored units of the deliverable.
    reach_m : float
        How far the points reach from there.
    given_at : tuple of float or None
        The same point in stored units of the checkpoints as handed in.
    shelf : GridShelf
        Only grids on it are read.
    base : mapping
        ``base`` of the result; empty where there is none.
    job_base : mapping
        Section ``base`` of the job as read; empty where there is none.
    sessions : tuple of (str, tuple of str)
        Groups of points that were surveyed together or lie together, by name, that the others contradict.
    """

    kind: str = "point-cloud"
    reference: Reference | None = None
    surveyed: Reference | None = None
    at: tuple[float, float, float] | None = None
    reach_m: float = 100.0
    given_at: tuple[float, float, float] | None = None
    shelf: GridShelf = field(default_factory=GridShelf)
    base: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    job_base: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    sessions: tuple[tuple[str, tuple[str, ...]], ...] = ()
