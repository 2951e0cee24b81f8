"""Height above the ground of the cloud: flown as planned, and terrain followed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from accuracy.findings import EvidenceValue, Finding, Severity
from accuracy.trajectory.cloud import Below
from accuracy.trajectory.quality import range_of
from accuracy.trajectory.record import FlightLine, HeightAboveGround
from accuracy.trajectory.track import Array, Track

#: Ground that varies by less tells nothing about terrain following (common practice, no source).
RELIEF_M = 5.0
#: Where the job states no tolerance (common practice, no source).
TOLERANCE_SHARE = 0.2
#: A warning is due beyond this share of places outside the tolerance (no source).
OUTSIDE_SHARE = 0.05


def height_of(
    track: Track, below: Below, planned_m: float | None = None, tolerance_m: float | None = None
) -> HeightAboveGround | None:
    """Take the height of the track above the ground at the places read; None without any.

    Parameters
    ----------
    planned_m, tolerance_m : float, optional
        Planned height above ground and how far it may be off; by default a fifth of it.
    """
    if track.up_m is None:
        return None
    known = np.isfinite(below.ground_m)
    if not known.any():
        return None
    ground_m = below.ground_m[known]
    flown_m = track.at(track.up_m, below.time_s[known])
    above_m = flown_m - ground_m
    ranges = [range_of(values) for values in (above_m, ground_m, flown_m)]
    above, ground, flown = ranges
    assert above is not None
    assert ground is not None
    assert flown is not None
    if planned_m is not None and tolerance_m is None:
        tolerance_m = TOLERANCE_SHARE * planned_m
    outside = None
    if planned_m is not None and tolerance_m is not None:
        outside = float((np.abs(above_m - planned_m) > tolerance_m).mean())
    relief_m = _spread(ground_m)
    return HeightAboveGround(
        int(known.sum()),
        int((~known).sum()),
        above,
        ground,
        flown,
        planned_m,
        tolerance_m,
        outside,
        bool(_spread(above_m) < 0.5 * relief_m) if relief_m >= RELIEF_M else None,
    )


def _spread(values: Array) -> float:
    low, high = np.percentile(values, (5.0, 95.0))
    return float(high - low)


def with_heights(lines: Sequence[FlightLine], track: Track, below: Below) -> tuple[FlightLine, ...]:
    """Add to each line its mean height above the ground."""
    if track.up_m is None:
        return tuple(lines)
    above_m = track.at(track.up_m, below.time_s) - below.ground_m
    told = []
    for line in lines:
        own = (below.time_s >= line.start_s) & (below.time_s <= line.end_s) & np.isfinite(above_m)
        mean_m = float(above_m[own].mean()) if own.any() else None
        told.append(replace(line, height_above_ground_m=mean_m))
    return tuple(told)


def height_findings(name: str, height: HeightAboveGround, stated: bool) -> Iterator[Finding]:
    """Say where the height cannot be right, or is not the planned one.

    Parameters
    ----------
    stated : bool
        Whether the job states the tolerance.
    """
    above = height.above_ground_m
    if above.least <= 0.0:
        yield Finding(
            "trajectory-height",
            Severity.WARNING,
            f"{name}: the trajectory is below the ground of the cloud, by {-above.least:.2f} m at most "
            f"(median height above ground {above.median:.2f} m)",
            component="vertical",
            evidence={"least_m": above.least, "median_m": above.median},
            remedy="look at what its heights refer to: ellipsoid or geoid, metres or feet",
        )
        return
    if height.planned_m is None or height.share_outside is None or height.tolerance_m is None:
        return
    if height.share_outside > OUTSIDE_SHARE:
        source = "stated by the job" if stated else "a fifth of it; common practice, no source"
        evidence: dict[str, EvidenceValue] = {
            "planned_m": height.planned_m,
            "tolerance_m": height.tolerance_m,
            "share_outside": height.share_outside,
            "least_m": above.least,
            "median_m": above.median,
            "greatest_m": above.greatest,
        }
        yield Finding(
            "trajectory-height",
            Severity.WARNING,
            f"{name}: flown {above.least:.1f} to {above.greatest:.1f} m above the ground (median "
            f"{above.median:.1f} m) where {height.planned_m:g} m were planned; "
            f"{100 * height.share_outside:.0f} % of {height.places} places are more than "
            f"{height.tolerance_m:g} m off ({source})",
            component="vertical",
            evidence=evidence,
            remedy="errors of attitude grow with height: weigh the claim against the heights flown; where the "
            "difference is the same everywhere, look at what the trajectory's heights refer to",
        )
