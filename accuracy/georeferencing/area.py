"""Whether points lie where a reference system may be used."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from accuracy.findings import Finding, Severity
from accuracy.georeferencing.geodetic import Points
from accuracy.georeferencing.record import Reference

#: Surveys at the border of a zone keep to one zone; farther outside the coordinates are a mistake (common
#: practice, no source).
OVERLAP_DEG = 1.0


class Named(Protocol):
    """Points with ids, those that count marked."""

    @property
    def judged(self) -> NDArray[np.bool_]:
        """Mark those that count."""
        ...

    def names(self, which: NDArray[np.bool_]) -> str:
        """Name the judged points among some."""
        ...


def area_findings(
    sides: Sequence[Reference], points: Points, places: Named, *, blocking: bool
) -> list[Finding]:
    """Find judged points outside the areas of use, with a degree of overlap.

    Parameters
    ----------
    blocking : bool
        Whether points far outside forbid a statement; else they are a warning as well.
    """
    findings = []
    for side in sides:
        if side.area_deg is None:
            continue
        outside = places.judged & ~_inside(side.area_deg, points, 0.0)
        far = places.judged & ~_inside(side.area_deg, points, OVERLAP_DEG)
        if not outside.any():
            continue
        severity = Severity.BLOCKING if blocking and far.any() else Severity.WARNING
        west, south, east, north = side.area_deg
        which = far if far.any() else outside
        findings.append(
            Finding(
                "transform-outside-area",
                severity,
                f"{places.names(which)} lie outside the area of use of {side.name} "
                f"(longitude {west:g} to {east:g}, latitude {south:g} to {north:g} degrees)",
                evidence={"points": int(which.sum())},
                remedy="look for exchanged axes, a wrong zone or a wrong crs; at the border of a zone use the "
                "zone that the site lies in",
            )
        )
    return findings


def _inside(
    area_deg: tuple[float, float, float, float], points: Points, margin_deg: float
) -> NDArray[np.bool_]:
    west, south, east, north = area_deg
    width = (east - west) % 360.0 or 360.0
    # Longitudes counted from the western border, so that areas across the date line are plain, too.
    with np.errstate(invalid="ignore"):  # places that a projection cannot hold come as infinite
        from_west = (points.lon_deg - west + margin_deg) % 360.0
    inside: NDArray[np.bool_] = (
        np.isfinite(points.lon_deg)
        & np.isfinite(points.lat_deg)
        & (from_west <= width + 2.0 * margin_deg)
        & (points.lat_deg >= south - margin_deg)
        & (points.lat_deg <= north + margin_deg)
    )
    if width >= 360.0 - 2.0 * margin_deg:
        inside = np.isfinite(points.lat_deg) & np.isfinite(points.lon_deg)
    return inside
