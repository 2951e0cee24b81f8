"""How far the base is from the site, and what to expect of that.

References
----------
One sigma of kinematic positions ``sqrt(a^2 + (b D)^2)``, a = 5 to 10 mm horizontally and 10 to 20 mm in height,
b = 1 mm for each km, from memory; lines of 10 km are preferred, 20 to 30 km a limit (equipment manuals, rules
of thumb, no standard).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from accuracy.base_checks.record import BaseCheck, Station, Vector
from accuracy.findings import Severity
from accuracy.georeferencing.geodetic import ellipsoid_of, offsets_m

#: The larger of the usual constants, metres.
A_H_M, A_V_M, B = 0.010, 0.020, 1.0e-6
PREFERRED_M, LIMIT_M = 10_000.0, 30_000.0
#: Height differences beyond which the troposphere deserves a look (common practice, no source).
HEIGHT_M = 300.0


@dataclass(frozen=True)
class Distance:
    """From the base to the site; `height_m` is the site minus the base, None where not comparable.

    `sigma` is what is expected at that distance, one sigma of a position.
    """

    horizontal_m: float
    height_m: float | None
    sigma: Vector


def distance(station: Station) -> Distance | None:
    """Give distance and height difference to the middle of the site; None where one place is not known."""
    side = station.published or station.held
    if side is None or station.site is None:
        return None
    here, there = side.points, station.site.points
    if here is None:
        return None
    east, north = offsets_m(
        ellipsoid_of(side.reference), here.lon_deg, here.lat_deg, there.lon_deg, there.lat_deg
    )
    horizontal_m = math.hypot(float(east[0]), float(north[0]))
    if not math.isfinite(horizontal_m):
        return None
    kind = side.reference.vertical_kind
    if side.reference.horizontal_kind == "geocentric":
        kind = "ellipsoidal"
    comparable = kind == station.site.height_kind and kind in ("ellipsoidal", "orthometric")
    height_m = float(there.h_m[0] - here.h_m[0]) if comparable else None
    per_axis_m = math.hypot(A_H_M, B * horizontal_m) / math.sqrt(2.0)
    sigma = Vector(per_axis_m, per_axis_m, math.hypot(A_V_M, B * horizontal_m))
    return Distance(horizontal_m, height_m, sigma)


def check(station: Station) -> Iterator[BaseCheck]:
    """Tell a long line and a large difference of heights."""
    found = distance(station)
    if found is None:
        return
    if found.horizontal_m > PREFERRED_M:
        far = found.horizontal_m > LIMIT_M
        yield BaseCheck(
            "base-distance",
            "base-far",
            Severity.WARNING if far else Severity.NOTE,
            f"the base is {found.horizontal_m / 1000.0:.1f} km from the site; at that distance 1 "
            "sigma of a position "
            f"is about {found.sigma.up_m or 0.0:.3f} m in height (rule of thumb), 10 km are "
            "preferred and 20 to "
            "30 km a limit",
            sigma=found.sigma,
            remedy="use a nearer base, or several" if far else "",
            evidence={"distance_m": found.horizontal_m},
        )
    if found.height_m is not None and abs(found.height_m) > HEIGHT_M:
        yield BaseCheck(
            "base-distance",
            "base-height-difference",
            Severity.NOTE,
            f"the site is {found.height_m:+.0f} m from the base in height: the troposphere between "
            "them is modelled, "
            "not measured",
            component="vertical",
            evidence={"height_difference_m": found.height_m},
        )
