"""Heights from the ground points of a neighbourhood: its plane at the place, or the mean of its heights.

The neighbourhood is a circle, or a square along the axes of the deliverable's plane, with the place in its
middle and its border included. Several documents prescribe one: the Rule for Public Surveying of Japan (2025),
Articles 464 and 465, a circle or square of 5 times the standard spacing; the notice on elevation models of
Korea (2026) a circle whose radius is the grid spacing. Which one a document wants stands in its file.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from accuracy.findings import Finding
from accuracy.formats import PointSurface
from accuracy.sampling import Patch, Sample, Shape
from accuracy.sampling.hull import on_one_line, surrounds_origin
from accuracy.sampling.neighbourhood import (
    Cloud,
    Surroundings,
    around,
    describe,
    exact,
    fit_plane,
    gather,
    heights,
    within_radius,
)
from accuracy.sampling.reading import Reader, read_in_turn
from accuracy.sampling.seen import seeing
from accuracy.sampling.tin import CloudSetting, met_while_reading, nothing_near, outside, places

PatchMethod = Literal["plane", "neighbourhood-mean"]

#: Ground points that a neighbourhood must hold unless the job wants another number: twice what defines a
#: plane; for a mean, what can surround a place. No source.
LEAST_POINTS = {"plane": 6, "neighbourhood-mean": 3}

#: A plane with a spread of its own needs one point more than the three that define it.
_PLANE_AT_LEAST = 4

#: A radius for reading is this much larger, in metres, so that no rounding there loses a point on a border.
_MARGIN_M = 1e-6


def sample_patches(
    surfaces: Sequence[PointSurface],
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    setting: CloudSetting,
    patch: Patch,
    *,
    method: PatchMethod,
    progress: Callable[[str], None] = lambda _: None,
    read: Reader = read_in_turn,
) -> tuple[list[Sample], tuple[Finding, ...]]:
    """Take the height of a cloud at places from the ground points of their neighbourhoods.

    Every accepted point of a neighbourhood counts once, however many files it stands in. There is no height
    where they are fewer than wanted, on one line, or all to one side of the place: a plane would be
    extended beyond what carries it, and a mean would be of other ground.

    Parameters
    ----------
    surfaces : sequence of PointSurface
        The files of the dataset, one frame and unit.
    x, y : ndarray, shape (n,)
        Places in stored units.
    setting : CloudSetting
        What counts as ground, and the units.
    patch : Patch
        The neighbourhood.
    method : {"plane", "neighbourhood-mean"}
        The least-squares plane of the points at the place, or the mean of their heights.
    progress, read : callable
        As in `accuracy.sampling.tin.sample_cloud`.

    Returns
    -------
    samples : list of Sample
        One per place, in order; heights in stored vertical units. Slope and roughness of the support are of
        the plane of the neighbourhood, `Support.points` is the number of points used.
    findings : tuple of Finding
        What was met while reading.
    """
    half = exact(patch.across_m) / 2 / exact(setting.metres_h)
    reach_m = patch.across_m / 2 * (math.sqrt(2.0) if patch.shape == "square" else 1.0)
    radius = (reach_m + _MARGIN_M) / setting.metres_h
    cloud = gather(surfaces, x, y, radius, progress, read)
    where = f"in {patch}"
    if cloud is None:
        nothing = [
            nothing_near(surfaces, px, py, where)
            for px, py in zip(x.tolist(), y.tolist(), strict=True)
        ]
        return nothing, met_while_reading(0, setting)
    ground = cloud.ground(setting.ground_classes)
    seen = np.zeros(len(cloud.x), dtype=np.bool_)
    samples = []
    for near, px, py in zip(around(cloud, x, y, radius), x.tolist(), y.tolist(), strict=True):
        near = _inside(near, patch.shape, half)
        seen[near.index] = True
        if not near.index.size:
            samples.append(nothing_near(surfaces, px, py, where))
            continue
        sample = _height(cloud, near, ground[near.index], setting, patch, method)
        if sample.reason == "one-sided" and outside(surfaces, px, py):
            sample = replace(sample, reason="outside")
        samples.append(seeing(setting, sample, cloud, near, ground[near.index], radius))
    return samples, met_while_reading(int(cloud.copies[seen].sum()), setting)


def _inside(near: Surroundings, shape: Shape, half: Fraction) -> Surroundings:
    """Keep the points in the circle or square, its border included; exact. `half` is in stored units."""
    reach = half / near.unit
    if shape == "circle":
        kept = within_radius(near.u, near.v, reach)
    else:
        most = math.floor(reach)
        kept = np.ones(len(near.index), dtype=np.bool_)
        for axis in (near.u, near.v):
            kept &= np.array(axis >= -most, dtype=np.bool_) & np.array(axis <= most, dtype=np.bool_)
    return replace(near, index=near.index[kept], u=near.u[kept], v=near.v[kept])


def _height(
    cloud: Cloud,
    near: Surroundings,
    accepted: NDArray[np.bool_],
    setting: CloudSetting,
    patch: Patch,
    method: PatchMethod,
) -> Sample:
    chosen = np.flatnonzero(accepted)
    every = np.ones(len(near.index), dtype=np.bool_)
    support = describe(cloud, near, accepted, chosen, every, setting.metres_h, setting.metres_v)
    if not chosen.size:
        classes = ", ".join(str(c) for c in np.unique(cloud.classification[near.index]).tolist())
        wanted = ", ".join(map(str, setting.ground_classes))
        detail = (
            f"{near.index.size} points in {patch}, classes {classes}; none is an accepted point of "
            f"class {wanted}"
        )
        return Sample(None, "no-ground", detail, support)
    unit_m = float(near.unit) * setting.metres_h
    u, v = near.u[chosen], near.v[chosen]
    east_m, north_m = u.astype(np.float64) * unit_m, v.astype(np.float64) * unit_m
    stored = heights(cloud, near.index[chosen])
    relative = stored - stored[0]
    support = replace(
        support,
        coincident=int((places(cloud, near, accepted)[3] > 1).sum()),
        spread_m=_spread(relative) * setting.metres_v if chosen.size > 1 else None,
        centroid_m=math.hypot(float(east_m.mean()), float(north_m.mean())),
    )
    least = max(patch.least_points, _PLANE_AT_LEAST if method == "plane" else 0)
    if refused := _refused(u, v, replace(patch, least_points=least)):
        return Sample(None, *refused, support)
    if method == "neighbourhood-mean":
        return Sample(float(stored[0] + relative.mean()), support=support)
    plane = fit_plane(east_m, north_m, relative)
    if plane is None:
        return Sample(None, "one-line", f"no plane through the points in {patch}", support)
    return Sample(float(stored[0] + plane.at_origin_m), support=support)


def _spread(values: NDArray[np.float64]) -> float:
    off = values - values.mean()
    return math.sqrt(float(off @ off) / (len(values) - 1))


def _refused(
    u: NDArray[np.int64] | NDArray[np.object_],
    v: NDArray[np.int64] | NDArray[np.object_],
    patch: Patch,
) -> tuple[str, str] | None:
    """Say why points give no height: reason and detail."""
    count = len(u)
    if count < patch.least_points:
        detail = (
            f"{count} ground point{'s' * (count != 1)} in {patch}, at least {patch.least_points} wanted "
            "(neighbourhood_least_points)"
        )
        return "few-points", detail
    if on_one_line(u, v):
        return "one-line", f"the {count} ground points in {patch} lie on one line"
    if not surrounds_origin(u, v):
        return "one-sided", f"the {count} ground points in {patch} lie to one side of it"
    return None


def patch_of(
    method: str | None,
    shape: Shape | None,
    across_m: float | None,
    across_spacings: float | None,
    spacing_m: float | None,
    least_points: int | None,
) -> Patch | None:
    """Give the neighbourhood that a job means; None where its height method has none.

    A size in spacings is that of the design spacing; the decimals that were written are multiplied.
    """
    if method not in LEAST_POINTS:
        return None
    if across_m is None:
        assert across_spacings is not None, "the job's reader wants a size"
        assert spacing_m is not None, "the job's reader wants the design spacing"
        across_m = float(exact(across_spacings) * exact(spacing_m))
    return Patch(shape or "circle", across_m, least_points or LEAST_POINTS[method])
