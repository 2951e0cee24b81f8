"""Targets: painted or raised patterns of known size, whose centre is measured in the deliverable itself.

The pattern is fitted to the returns on it (`cloud`) or to the pixels of an orthophoto (`image`). What cannot be
fitted beyond doubt is refused with a reason; nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

Pattern = Literal["checkerboard", "disc", "ring", "plate"]
Seen = Literal["intensity", "colour", "height"]

PATTERNS: tuple[Pattern, ...] = ("checkerboard", "disc", "ring", "plate")

#: Why a target gives no centre. Key: stable reason; value: what it means.
REFUSALS: Mapping[str, str] = MappingProxyType(
    {
        "too-few-returns": "too few returns or pixels on the target",
        "saturated": "the light part is at the upper end of what the sensor records",
        "low-contrast": "nothing stands out from the ground by enough",
        "wrong-pattern": "what stands there is not the pattern that was stated",
        "two-candidates": "the pattern fits at two places",
        "uncertain": "the pattern fits, but its centre is not determined well enough",
        "no-values": "the deliverable holds no intensity or colour there",
    }
)


@dataclass(frozen=True)
class TargetSpec:
    """What lies on the ground at a checkpoint.

    Attributes
    ----------
    pattern : {"checkerboard", "disc", "ring", "plate"}
        ``checkerboard``: a square of two by two fields; ``disc`` and ``ring``: painted or reflective;
        ``plate``: a square raised above the ground.
    size_m : float
        Side of the square, or outer diameter, metres.
    inner_m : float or None
        Inner diameter of a ring, metres.
    seen_by : {"intensity", "colour", "height"}
        What tells it from the ground in a point cloud; ``height`` for plates.
    search_m : float
        How far from the surveyed place its centre is looked for, metres.
    """

    pattern: Pattern
    size_m: float
    inner_m: float | None = None
    seen_by: Seen = "intensity"
    search_m: float = 0.5

    @property
    def half_m(self) -> float:
        """Half the size, metres."""
        return self.size_m / 2.0

    @property
    def reach_m(self) -> float:
        """How far the target reaches from its centre, in any rotation, metres."""
        return self.half_m * (1.0 if self.pattern in ("disc", "ring") else 2.0**0.5)


@dataclass(frozen=True)
class Centre:
    """A fitted centre relative to the place it was looked for at; metres and degrees.

    Attributes
    ----------
    east_m, north_m : float
        Centre minus place.
    sigma_east_m, sigma_north_m : float
        Standard errors.
    correlation : float
        Of both errors.
    rotation_deg : float or None
        Of the pattern, counter-clockwise from east, 0 to below 90; None for round ones.
    blur_m : float
        Standard deviation of the blur of the edges.
    contrast : float
        Difference of the two levels in standard deviations of the residuals.
    explained : float
        Share of the variance in the window that the pattern explains, 0 to 1.
    points : int
        Returns or pixels on the target.
    lines : int
        Flight lines they come from.
    """

    east_m: float
    north_m: float
    sigma_east_m: float
    sigma_north_m: float
    correlation: float
    rotation_deg: float | None
    blur_m: float
    contrast: float
    explained: float
    points: int
    lines: int = 1


@dataclass(frozen=True)
class Refused:
    """No centre: the reason, a key of `REFUSALS`, and the numbers behind it for people."""

    reason: str
    detail: str
    points: int = 0


Outcome = Centre | Refused
