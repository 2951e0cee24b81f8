"""What is found about the places of the checkpoints of one dataset, by one document."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

CoverGroup = Literal["all", "non-vegetated", "vegetated"]


@dataclass(frozen=True)
class CoverLayout:
    """Number and distribution of the checkpoints of one cover.

    Attributes
    ----------
    points : int
        Places with a residual that counts.
    wanted : int or None
        Wanted by the document for the area; None where it names no number.
    quadrants : tuple of int
        Points in the north-east, north-west, south-west and south-east of the area; empty where the area or
        the places in metres are not known.
    least_share : float or None
        Smallest share of the points among the quadrants that must hold some.
    nearest_m : float or None
        Smallest distance between two points, metres.
    near : tuple of str
        Points nearer to another than the document wants.
    """

    cover: CoverGroup
    points: int
    wanted: int | None = None
    quadrants: tuple[int, ...] = ()
    least_share: float | None = None
    nearest_m: float | None = None
    near: tuple[str, ...] = ()


@dataclass(frozen=True)
class DocumentLayout:
    """How the checkpoints of one dataset lie, as one document sees it.

    Attributes
    ----------
    dataset, standard : str
        Of the claim.
    area_from : str or None
        Where the area was taken from; None where it is not known.
    area_km2, diagonal_m : float or None
        Of the area; the diagonal is that of the rectangle around it.
    outside : tuple of str
        Checkpoints outside the area.
    spacing_wanted_m : float or None
        Smallest distance between two points that the document wants.
    steep, rough : tuple of str
        Points on ground that breaks the document's own rule for slope or for deviation from a plane.
    survey_ratio_wanted, survey_ratio : float or None
        How many times better than the limit the survey must be, and is; vertical where limits differ.
    confirm : tuple of str
        What no file shows and the crew has to confirm.
    """

    dataset: str
    standard: str
    area_from: str | None = None
    area_km2: float | None = None
    diagonal_m: float | None = None
    outside: tuple[str, ...] = ()
    spacing_wanted_m: float | None = None
    covers: tuple[CoverLayout, ...] = ()
    steep: tuple[str, ...] = ()
    rough: tuple[str, ...] = ()
    survey_ratio_wanted: float | None = None
    survey_ratio: float | None = None
    confirm: tuple[str, ...] = ()
