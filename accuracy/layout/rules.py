"""What the documents want of number and places of checkpoints, each number with how it was come by."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

from accuracy.layout.records import CoverGroup
from accuracy.standards.library import Part, Standard

#: How a number was come by: ``read`` in the document, ``second-hand``, or ``from-memory``.
Mark = Literal["read", "second-hand", "from-memory"]

_SHOWN: Mapping[Mark, str] = {
    "read": "",
    "second-hand": ", second-hand",
    "from-memory": ", from memory, not verified",
}


@dataclass(frozen=True)
class Source:
    """Where a rule stands, and how it was come by."""

    cite: str
    mark: Mark

    def __str__(self) -> str:
        return self.cite + _SHOWN[self.mark]


@dataclass(frozen=True)
class NumberRule:
    """How many points an area wants: (part, cover, area in km2) -> number, or None."""

    wanted: Callable[[Part, CoverGroup, float], int | None]
    source: Source


@dataclass(frozen=True)
class DistributionRule:
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

    source: Source
    by_cover: bool
    required: bool
    quadrant_share: float = 0.20
    diagonal_share: float = 0.10


@dataclass(frozen=True)
class SitingRule:
    """The ground that a vertical checkpoint wants.

    Attributes
    ----------
    slope_deg : float or None
        Steepest ground, in degrees.
    below : bool
        The slope must be below that, not at most that.
    deviation_share : float or None
        Largest deviation from a plane, as a share of the limit on the vertical RMSE.
    """

    source: Source
    slope_deg: float | None = None
    below: bool = False
    deviation_share: float | None = None


@dataclass(frozen=True)
class LayoutRules:
    """All that one document wants; None where it is silent, or nothing of it is known here."""

    number: NumberRule | None = None
    distribution: DistributionRule | None = None
    siting: SitingRule | None = None
    confirm: tuple[str, ...] = ()


def _edition_2(part: Part, cover: CoverGroup, area_km2: float) -> int | None:
    """30 up to 1000 km2, ten more for each further 1000 km2, at most 120; vegetated 30."""
    if cover == "vegetated":
        return 30 if part == "vertical" else None
    return min(120, 30 + 10 * max(0, math.ceil(area_km2 / 1000.0) - 1))


def _edition_1(part: Part, cover: CoverGroup, area_km2: float) -> int | None:
    """Table C.1, and above 2500 km2 the rule of page A20 (vertical only: horizontally the client decides)."""
    step = max(0, math.ceil(min(area_km2, 2500.0) / 250.0) - 2)
    more = max(0, math.ceil((area_km2 - 2500.0) / 500.0))
    if part != "vertical":
        return None if more else 20 + 5 * step
    if cover == "vegetated":
        return 5 + 5 * step + 2 * more
    if cover == "non-vegetated":
        return 20 + 5 * max(0, step - 1) + 3 * more
    return None


_NSSDA = Source("FGDC-STD-007.3-1998, Appendix 3-C.3, informative", "second-hand")
_LBS = Source("USGS Lidar Base Specification 2025 rev. A, checkpoints", "read")
_LBS_EARLIER = Source(
    "USGS Lidar Base Specification 2025 rev. A, checkpoints, taken for this earlier edition",
    "second-hand",
)
_AREA_2 = Source(
    "ASPRS Edition 2, Annex C: 30 and 120 as the USGS reads it, the steps between from memory",
    "from-memory",
)
_AREA_1 = Source("ASPRS Edition 1, Table C.1; above 2500 km2 page A20", "from-memory")
_SITE_LBS = (
    "nothing rises above 15 degrees around each point outside forest and dense urban land "
    "(USGS Lidar Base Specification 2025 rev. A, checkpoints)",
    "no point on ploughed or disturbed ground (the same)",
    "photographs of each point from north, south, east and west (the same)",
)

NSSDA_1998 = LayoutRules(
    distribution=DistributionRule(_NSSDA, by_cover=False, required=False),
)
ASPRS_2014 = LayoutRules(
    number=NumberRule(_edition_1, _AREA_1),
    distribution=DistributionRule(
        Source("ASPRS Edition 1, Annex C.4, after NSSDA 3-C.3", "second-hand"),
        by_cover=False,
        required=False,
    ),
    siting=SitingRule(
        Source("ASPRS Edition 1, Annex C: at most 10 %", "from-memory"),
        slope_deg=math.degrees(math.atan(0.10)),
    ),
    confirm=(
        "points away from vertical artefacts and breaks (ASPRS Edition 1, Annex C, from memory, "
        "not verified)",
    ),
)
ASPRS_2 = LayoutRules(
    number=NumberRule(_edition_2, _AREA_2),
    distribution=DistributionRule(
        Source(
            "USGS Lidar Base Specification 2025 rev. A, checkpoints, as the reading of ASPRS Edition 2",
            "second-hand",
        ),
        by_cover=True,
        required=False,
    ),
    confirm=(
        "points on flat or gently and uniformly sloping open ground (ASPRS Edition 2, section 7.12, "
        "second-hand; it names no angle)",
        "points preferably 3 m or more from vertical artefacts and abrupt changes of height (the same)",
    ),
)
USGS_LBS_2 = LayoutRules(
    number=NumberRule(_edition_2, _AREA_2),
    distribution=DistributionRule(_LBS, by_cover=True, required=True),
    siting=SitingRule(_LBS, slope_deg=10.0, below=True, deviation_share=1.0 / 3.0),
    confirm=_SITE_LBS,
)
USGS_LBS_1 = LayoutRules(
    number=NumberRule(_edition_1, _AREA_1),
    distribution=DistributionRule(_LBS_EARLIER, by_cover=True, required=True),
    siting=SitingRule(_LBS_EARLIER, slope_deg=10.0, below=True, deviation_share=1.0 / 3.0),
    confirm=_SITE_LBS,
)

#: Beginning of a document's id to its rules; the longest that fits decides.
_BY_ID: Mapping[str, LayoutRules] = {
    "nssda-1998": NSSDA_1998,
    "asprs-2014": ASPRS_2014,
    "asprs-2023": ASPRS_2,
    "asprs-2024": ASPRS_2,
    "usgs-lbs-": USGS_LBS_1,
    "usgs-lbs-2024": USGS_LBS_2,
    "usgs-lbs-2025": USGS_LBS_2,
}


def rules_of(standard: Standard) -> LayoutRules:
    """Give what a packaged document wants of the layout; empty rules where nothing is known here."""
    if standard.client_file:
        return LayoutRules()
    fitting = [start for start in _BY_ID if standard.id.startswith(start)]
    return _BY_ID[max(fitting, key=len)] if fitting else LayoutRules()
