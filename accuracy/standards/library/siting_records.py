"""What a document wants of number and places of the points, and of how heights are taken: frozen records."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import Literal

from accuracy.standards.library.marks import Cover, Part, Verification

#: How a mark is told beside a citation.
_SHOWN: Mapping[Verification, str] = MappingProxyType(
    {
        "read": "",
        "client": "",
        "second-hand": ", second-hand",
        "from-memory": ", from memory, not verified",
        "derived": ", derived",
    }
)


@dataclass(frozen=True)
class Source:
    """Where a rule stands, and how it was come by."""

    cite: str
    verification: Verification

    def __str__(self) -> str:
        return self.cite + _SHOWN[self.verification]


@dataclass(frozen=True)
class AreaCount:
    """How many points an area wants: by a table, by a number for each square kilometre, or always so many.

    Attributes
    ----------
    steps : tuple of (float, int)
        Areas in km2, rising, each with the number up to and including it.
    beyond : int or None
        Number for every larger area.
    further_km2, further : float and int, or None
        For each further such area, or part of one, so many more than the last number of the table.
    per_km2, plus, least : Fraction or None, int, int
        Number for each square kilometre, a number added to it, and the smallest result. Parts count as whole
        points.
    """

    part: Part
    cover: Cover
    source: Source
    steps: tuple[tuple[float, int], ...] = ()
    beyond: int | None = None
    further_km2: float | None = None
    further: int | None = None
    per_km2: Fraction | None = None
    plus: int = 0
    least: int = 0

    def wanted(self, area_km2: float) -> int | None:
        """Give the number for an area; None where the document leaves it open.

        Examples
        --------
        >>> rule = AreaCount("vertical", "all", Source("a paragraph", "read"), per_km2=Fraction(1, 25), plus=1)
        >>> rule.wanted(180)
        9
        """
        if self.per_km2 is not None:
            exact = self.per_km2 * Fraction(repr(float(area_km2))) + self.plus
            return max(self.least, math.ceil(exact))
        for up_to_km2, number in self.steps:
            if area_km2 <= up_to_km2:
                return number
        if self.further_km2 is not None and self.further is not None:
            last_km2, number = self.steps[-1]
            return number + self.further * math.ceil((area_km2 - last_km2) / self.further_km2)
        return self.beyond


@dataclass(frozen=True)
class ControlShare:
    """At least so many checkpoints for each control point, and at least `least` where there is control."""

    share: Fraction
    least: int
    source: Source

    def wanted(self, control: int) -> int:
        """Give the number of checkpoints that go with a number of control points.

        Examples
        --------
        >>> ControlShare(Fraction(3, 10), 3, Source("a paragraph", "read")).wanted(10)
        3
        """
        return max(self.least, math.ceil(self.share * control)) if control else 0


@dataclass(frozen=True)
class Distribution:
    """Well distributed points; `required` is False where the document only advises it.

    Attributes
    ----------
    quadrant_share : float
        Smallest share of the points in each quadrant.
    diagonal_share : float
        Smallest distance between points as a share of the diagonal of the area.
    by_cover : bool
        Whether points of each cover are distributed by themselves.
    """

    quadrant_share: float
    diagonal_share: float
    by_cover: bool
    required: bool
    source: Source


@dataclass(frozen=True)
class Siting:
    """The ground that a vertical checkpoint wants.

    Attributes
    ----------
    slope_deg : float or None
        Steepest ground, in degrees.
    below : bool
        The slope must be below that, not at most that.
    deviation_share : Fraction or None
        Largest deviation from a plane, as a share of the limit on the vertical RMSE.
    """

    source: Source
    slope_deg: float | None = None
    below: bool = False
    deviation_share: Fraction | None = None


@dataclass(frozen=True)
class Confirm:
    """What no file shows, for the crew to confirm."""

    text: str
    source: Source

    def __str__(self) -> str:
        return f"{self.text} ({self.source})"


@dataclass(frozen=True)
class LayoutRules:
    """All that one document wants of the layout; empty where it is silent, or nothing of it is known."""

    counts: tuple[AreaCount, ...] = ()
    control: ControlShare | None = None
    distribution: Distribution | None = None
    siting: Siting | None = None
    confirm: tuple[Confirm, ...] = ()

    def count(self, part: Part, cover: Cover) -> AreaCount | None:
        """Give the rule on the number of points; open ground stands for all where only it is counted."""
        for name in (cover, {"all": "non-vegetated", "non-vegetated": "all"}.get(cover)):
            for rule in self.counts:
                if (rule.part, rule.cover) == (part, name):
                    return rule
        return None

    @property
    def by_cover(self) -> bool:
        """Whether vertical points of each cover are looked at by themselves."""
        counted = any(rule.cover != "all" for rule in self.counts if rule.part == "vertical")
        return counted or (self.distribution is not None and self.distribution.by_cover)


@dataclass(frozen=True)
class HeightProcedure:
    """How a document takes the height of a point cloud at a place.

    Attributes
    ----------
    method : {"tin", "plane", "neighbourhood-mean", "nearest"}
        Height choice of a dataset; the procedure is the function of that name in `accuracy.sampling`.
    shapes : tuple of str
        Shapes that the document allows for a neighbourhood; empty where there is none.
    across : Fraction or None
        Diameter of the circle or side of the square, in multiples of `of`.
    of : {"design-spacing", "grid-spacing"} or None
        The spacing that the flight was designed for, or that of the elevation model to be made.
    binding : bool
        Heights taken otherwise forbid a statement; else they are a finding.
    """

    method: Literal["tin", "plane", "neighbourhood-mean", "nearest"]
    binding: bool
    source: Source
    shapes: tuple[Literal["circle", "square"], ...] = ()
    across: Fraction | None = None
    of: Literal["design-spacing", "grid-spacing"] | None = None

    @property
    def words(self) -> str:
        """What the document wants, for print."""
        told = {
            "tin": "linear interpolation in a triangulation of the ground points",
            "plane": "the plane of the ground points around the place",
            "neighbourhood-mean": "the mean of the points around the place",
            "nearest": "the nearest ground point",
        }[self.method]
        if self.across is not None and self.of is not None:
            names = {"circle": "a circle of diameter", "square": "a square of side"}
            sizes = ", or ".join(names[shape] for shape in self.shapes)
            sizes += "," * (len(self.shapes) > 1)
            told += f", in {sizes} {float(self.across):g} times the {self.of.replace('-', ' ')}"
        return told
