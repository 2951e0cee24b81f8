"""Heights from a point cloud: exact local triangulation, or the nearest ground point.

With a largest allowed circumradius R, a triangle over a place lies with its whole circumcircle inside the
disc of radius 2R around it. What that disc holds therefore decides what the triangulation of the whole
cloud would say, however large the cloud is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from accuracy.findings import EvidenceValue, Finding, Severity
from accuracy.formats import PointSurface
from accuracy.sampling import Sample, Support
from accuracy.sampling.neighbourhood import (
    NOISE_CLASSES,
    Cloud,
    Integers,
    Surroundings,
    around,
    exact,
    gather,
    heights,
    mean_spacing,
    support_of,
)
from accuracy.sampling.reading import Reader, read_in_turn
from accuracy.sampling.seen import seeing
from accuracy.sampling.triangle import containing_triangle, height_at_origin, valid_heights

#: Default largest circumradius: so many mean spacings, and at least so many metres.
SPACINGS = 10.0
LEAST_M = 1.0

#: Side of the square on which a checkpoint's ground must be even, in point spacings (USGS Lidar Base
#: Specification 2025 rev. A, checkpoints: area of (ANPS * 5) squared), and a floor of our own in metres.
SITING_SPACINGS = 5.0
SITING_LEAST_M = 0.5


@dataclass(frozen=True)
class CloudSetting:
    """How heights are taken from a cloud; lengths in metres.

    Attributes
    ----------
    ground_classes : tuple of int
        Classes that count as ground.
    max_circumradius_m : float or None
        Largest allowed circumradius; None for `SPACINGS` mean spacings, at least `LEAST_M`.
    design_anps_m : float or None
        Design spacing; None to take it from the headers.
    metres_h, metres_v : float
        Metres per stored unit.
    pictures : bool
        Whether what lies around each place is kept for a picture.
    """

    ground_classes: tuple[int, ...]
    metres_h: float
    metres_v: float
    max_circumradius_m: float | None = None
    design_anps_m: float | None = None
    pictures: bool = False


def largest_circumradius_m(surfaces: Sequence[PointSurface], setting: CloudSetting) -> float:
    """Give the largest circumradius that is accepted, in metres."""
    if setting.max_circumradius_m is not None:
        return setting.max_circumradius_m
    spacing = mean_spacing(surfaces)
    spacing_m = setting.design_anps_m or (spacing or 0.0) * setting.metres_h
    return max(LEAST_M, SPACINGS * spacing_m)


def sample_cloud(
    surfaces: Sequence[PointSurface],
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    setting: CloudSetting,
    *,
    method: str = "tin",
    progress: Callable[[str], None] = lambda _: None,
    read: Reader = read_in_turn,
) -> tuple[list[Sample], tuple[Finding, ...]]:
    """Take the height of a cloud at places.

    Parameters
    ----------
    surfaces : sequence of PointSurface
        The files of the dataset, one frame and unit.
    x, y : ndarray, shape (n,)
        Places in stored units.
    setting : CloudSetting
        What counts as ground, and how far its points may be apart.
    method : {"tin", "nearest"}
        Linear interpolation on the Delaunay triangle, or the nearest ground point within the same limit.
    progress : callable
        Told the name of each file as it is read.
    read : callable
        How the files are read: in turn, or by several workers; the result is the same.

    Returns
    -------
    samples : list of Sample
        One per place, in order; heights in stored vertical units.
    findings : tuple of Finding
        What was met while reading.
    """
    limit_m = largest_circumradius_m(surfaces, setting)
    radius = 2.0 * limit_m / setting.metres_h
    spacing = mean_spacing(surfaces)
    spacing_m = setting.design_anps_m or (spacing or 0.0) * setting.metres_h
    siting = max(SITING_LEAST_M, SITING_SPACINGS * spacing_m / 2.0) / setting.metres_h
    cloud = gather(surfaces, x, y, radius, progress, read)
    if cloud is None:
        nothing = [
            nothing_near(surfaces, px, py, f"within {2 * limit_m:.2f} m")
            for px, py in zip(x.tolist(), y.tolist(), strict=True)
        ]
        return nothing, met_while_reading(0, setting)
    ground = cloud.ground(setting.ground_classes)
    take = _from_triangle if method == "tin" else _from_nearest
    samples = []
    seen = np.zeros(len(cloud.x), dtype=np.bool_)
    for near, px, py in zip(around(cloud, x, y, radius), x.tolist(), y.tolist(), strict=True):
        seen[near.index] = True
        accepted = ground[near.index]
        if not near.index.size:
            samples.append(nothing_near(surfaces, px, py, f"within {2 * limit_m:.2f} m"))
            continue
        support = support_of(cloud, near, accepted, siting, setting.metres_h, setting.metres_v)
        if not accepted.any():
            classes = ", ".join(
                str(c) for c in np.unique(cloud.classification[near.index]).tolist()
            )
            detail = (
                f"{near.index.size} points within {2 * limit_m:.2f} m, classes {classes}; "
                f"none is an accepted point of class {', '.join(map(str, setting.ground_classes))}"
            )
            sample = Sample(None, "no-ground", detail, support)
            samples.append(seeing(setting, sample, cloud, near, accepted, radius))
            continue
        sample = take(cloud, near, accepted, limit_m, setting)
        if sample.reason == "gap" and outside(surfaces, px, py):
            sample = replace(sample, reason="outside")
        own = sample.support
        if own is not None:
            support = replace(
                support,
                circumradius_m=own.circumradius_m,
                ambiguity_m=own.ambiguity_m,
                coincident=own.coincident,
            )
        sample = seeing(setting, sample, cloud, near, accepted, radius)
        samples.append(replace(sample, support=support))
    return samples, met_while_reading(int(cloud.copies[seen].sum()), setting)


def met_while_reading(copies: int, setting: CloudSetting) -> tuple[Finding, ...]:
    """Say what was met while reading: points that stand twice, noise asked for as ground."""
    findings = []
    if copies:
        evidence: dict[str, EvidenceValue] = {"points": copies}
        message = (
            f"{copies} points near the checkpoints agree with another point in place, height, class, "
            "flags, flight line, time and scan angle (overlapping tiles, or points delivered twice); each "
            "was counted once"
        )
        findings.append(Finding("file-duplicate-points", Severity.NOTE, message, evidence=evidence))
    if noise := [c for c in setting.ground_classes if c in NOISE_CLASSES]:
        findings.append(
            Finding(
                "sampling-noise-not-ground",
                Severity.WARNING,
                f"ground_classes names class {', '.join(map(str, noise))}, which is noise and was not used",
                component="vertical",
                remedy="take the noise class out of ground_classes",
            )
        )
    return tuple(findings)


def outside(surfaces: Sequence[PointSurface], x: float, y: float) -> bool:
    """Whether a place lies outside the boxes of all files, and every box is believed."""
    infos = [surface.info for surface in surfaces]
    return all(info.bounds_believed for info in infos) and not any(
        west <= x <= east and south <= y <= north
        for west, south, east, north in (info.bounds for info in infos)
    )


def nothing_near(surfaces: Sequence[PointSurface], x: float, y: float, where: str) -> Sample:
    """Say that there are no points at a place, or that it lies outside of all files."""
    detail = f"no points {where}"
    return Sample(None, "outside" if outside(surfaces, x, y) else "no-points", detail)


def places(
    cloud: Cloud, near: Surroundings, accepted: NDArray[np.bool_]
) -> tuple[Integers, Integers, NDArray[np.float64], NDArray[np.int64]]:
    """Distinct horizontal places with the mean of their distinct heights, and how many heights that is."""
    index = near.index[accepted]
    u, v = near.u[accepted], near.v[accepted]
    up = heights(cloud, index)
    order = np.lexsort((up, v, u))
    u, v, up = u[order], v[order], up[order]
    if not len(u):
        return u, v, up, np.zeros(0, dtype=np.int64)
    new_place = np.ones(len(u), dtype=bool)
    new_place[1:] = (u[1:] != u[:-1]) | (v[1:] != v[:-1])
    distinct = new_place.copy()
    distinct[1:] |= up[1:] != up[:-1]
    group = np.cumsum(new_place)[distinct] - 1
    count = np.bincount(group)
    first = up[new_place]
    mean = first + np.bincount(group, weights=up[distinct] - first[group]) / count
    return u[new_place], v[new_place], mean, count.astype(np.int64)


def _from_triangle(
    cloud: Cloud,
    near: Surroundings,
    accepted: NDArray[np.bool_],
    limit_m: float,
    setting: CloudSetting,
) -> Sample:
    u, v, up, count = places(cloud, near, accepted)
    here = np.flatnonzero((u == 0) & (v == 0))
    if here.size:
        at = int(here[0])
        support = Support(1, circumradius_m=0.0, ambiguity_m=0.0, coincident=int(count[at] > 1))
        return Sample(float(up[at]), support=support)
    found = containing_triangle(u, v)
    if found is None:
        detail = f"ground points within {2 * limit_m:.2f} m lie to one side of it only"
        return Sample(None, "gap", detail)
    unit_m = near.unit * exact(setting.metres_h)
    limit = exact(limit_m) / unit_m
    circumradius_m = float(found.circumradius_squared) ** 0.5 * float(unit_m)
    if found.circumradius_squared > limit * limit:
        detail = (
            f"its ground triangle has a circumradius of {circumradius_m:.2f} m, "
            f"more than the {limit_m:.2f} m allowed (max_circumradius_m)"
        )
        return Sample(None, "gap", detail, Support(0, circumradius_m=circumradius_m))
    points = {i: (int(u[i]), int(v[i])) for i in found.circle}
    a, b, c = found.triangle
    height = height_at_origin(
        (points[a], points[b], points[c]), (float(up[a]), float(up[b]), float(up[c]))
    )
    ambiguity_m = 0.0
    if len(found.circle) > 3:
        low, high = valid_heights(
            tuple(points[i] for i in found.circle), tuple(float(up[i]) for i in found.circle)
        )
        ambiguity_m = (high - low) * setting.metres_v
    support = Support(
        3,
        circumradius_m=circumradius_m,
        ambiguity_m=ambiguity_m,
        coincident=int(sum(count[i] > 1 for i in found.triangle)),
    )
    corners = tuple((float(u[i]), float(v[i]), float(up[i])) for i in found.triangle)
    return Sample(height, support=support, corners=corners)


def _from_nearest(
    cloud: Cloud,
    near: Surroundings,
    accepted: NDArray[np.bool_],
    limit_m: float,
    setting: CloudSetting,
) -> Sample:
    u, v, up, count = places(cloud, near, accepted)
    squared = [
        Fraction(int(a) ** 2 + int(b) ** 2) for a, b in zip(u.tolist(), v.tolist(), strict=True)
    ]
    nearest = min(range(len(squared)), key=squared.__getitem__)
    distance_m = float(squared[nearest]) ** 0.5 * float(near.unit) * setting.metres_h
    if distance_m > limit_m:
        detail = (
            f"nearest ground point {distance_m:.2f} m away, more than the {limit_m:.2f} m allowed"
        )
        return Sample(None, "gap", detail)
    return Sample(
        float(up[nearest]), support=Support(1, ambiguity_m=0.0, coincident=int(count[nearest] > 1))
    )
