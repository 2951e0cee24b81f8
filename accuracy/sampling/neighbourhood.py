"""The points around places: gathered from all files of a dataset, compared on their common decimal grid."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from accuracy.formats import PointSurface, StoredGrid
from accuracy.sampling import LineSupport, Support
from accuracy.sampling.reading import Reader, read_in_turn

#: ASPRS noise classes (LAS 1.4 R15, tables of standard classes: 7 low noise, 18 high noise; from memory).
NOISE_CLASSES = (7, 18)

Integers = NDArray[np.int64] | NDArray[np.object_]


@dataclass(frozen=True)
class CommonGrid:
    """One decimal grid on which the stored integers of every file are integers too.

    Attributes
    ----------
    step : Fraction
        Step in x and y, stored units.
    step_z : Fraction
        Step of heights.
    origin : tuple of Fraction
        Coordinates (x, y, z) of the integer (0, 0, 0).
    """

    step: Fraction
    step_z: Fraction
    origin: tuple[Fraction, Fraction, Fraction]


def exact(value: float) -> Fraction:
    """Give the shortest decimal that prints as this float: what a person wrote."""
    return Fraction(repr(float(value)))


def _common_step(steps: Sequence[Fraction]) -> Fraction:
    step = steps[0]
    for other in steps[1:]:
        step = Fraction(
            math.gcd(step.numerator * other.denominator, other.numerator * step.denominator),
            step.denominator * other.denominator,
        )
    return step


def common_grid(grids: Sequence[StoredGrid]) -> CommonGrid:
    """Find the coarsest grid that holds the integers of all files."""
    first = grids[0]
    plane: list[Fraction] = []
    height: list[Fraction] = []
    for grid in grids:
        plane += grid.scale[:2]
        height.append(grid.scale[2])
        shift = [abs(o - f) for o, f in zip(grid.offset, first.offset, strict=True)]
        plane += [s for s in shift[:2] if s]
        height += [s for s in shift[2:] if s]
    return CommonGrid(_common_step(plane), _common_step(height), first.offset)


def _on_grid(
    stored: NDArray[np.int64], scale: Fraction, shift: Fraction, step: Fraction
) -> Integers:
    factor, add = scale / step, shift / step
    assert factor.denominator == 1
    assert add.denominator == 1
    largest = max((abs(int(stored.min())), abs(int(stored.max()))) if stored.size else (0,))
    if largest * factor.numerator + abs(add.numerator) < 2**62:
        return stored * factor.numerator + add.numerator
    return stored.astype(object) * factor.numerator + add.numerator


@dataclass(frozen=True)
class Cloud:
    """All points gathered around the places; arrays have shape (n,).

    Attributes
    ----------
    grid : CommonGrid
        What the integers mean.
    x, y, z : ndarray of int
        Coordinates on the common grid.
    classification, withheld, synthetic, point_source_id, gps_time, scan_angle_deg : ndarray
        As in `accuracy.formats.PointBatch`.
    copies : ndarray of int64
        How many further points agreed with this one in every attribute and were put aside.
    """

    grid: CommonGrid
    x: Integers
    y: Integers
    z: Integers
    classification: NDArray[np.uint8]
    withheld: NDArray[np.bool_]
    synthetic: NDArray[np.bool_]
    point_source_id: NDArray[np.uint16]
    gps_time: NDArray[np.float64]
    scan_angle_deg: NDArray[np.float32]
    copies: NDArray[np.int64]

    def ground(self, classes: Sequence[int]) -> NDArray[np.bool_]:
        """Which points are accepted: of these classes, and not withheld, synthetic or noise."""
        wanted = [c for c in classes if c not in NOISE_CLASSES]
        return np.isin(self.classification, wanted) & ~self.withheld & ~self.synthetic


_ATTRIBUTES = (
    "classification",
    "withheld",
    "synthetic",
    "point_source_id",
    "gps_time",
    "scan_angle_deg",
)


def gather(
    surfaces: Sequence[PointSurface],
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    radius: float,
    progress: Callable[[str], None],
    read: Reader = read_in_turn,
) -> Cloud | None:
    """Read every point near any place from all files; None when there is none.

    Points that agree in every attribute stand in two tiles: they are kept once.
    """
    batches = read(surfaces, x, y, radius, progress)
    batches = [batch for batch in batches if batch.x.size]
    if not batches:
        return None
    grid = common_grid([batch.grid for batch in batches])

    def column(axis: int) -> Integers:
        step = grid.step_z if axis == 2 else grid.step
        parts = [
            _on_grid(
                (batch.x, batch.y, batch.z)[axis],
                batch.grid.scale[axis],
                batch.grid.offset[axis] - grid.origin[axis],
                step,
            )
            for batch in batches
        ]
        joined: Integers = np.concatenate(parts)  # type: ignore[assignment]  # numpy's stubs lose the union
        return joined

    attributes: dict[str, Any] = {
        name: np.concatenate([getattr(batch, name) for batch in batches]) for name in _ATTRIBUTES
    }
    count = sum(batch.x.size for batch in batches)
    cloud = Cloud(
        grid,
        x=column(0),
        y=column(1),
        z=column(2),
        copies=np.zeros(count, dtype=np.int64),
        **attributes,
    )
    return _in_order(cloud)


def _in_order(cloud: Cloud) -> Cloud:
    """Sort by x, y, z and keep one of points that agree in every attribute.

    The order depends on the points alone, not on that of the files or of reading.
    """
    order = _by_place(cloud)
    same = np.ones(max(len(order) - 1, 0), dtype=np.bool_)
    for axis in (cloud.x, cloud.y, cloud.z):
        ordered = axis[order]
        same &= ordered[1:] == ordered[:-1]
    keep, copies = order, np.zeros(len(order), dtype=np.int64)
    if same.any():  # only points at one place need the other attributes to be told apart
        tied = np.zeros(len(order), dtype=np.bool_)
        tied[1:] |= same
        tied[:-1] |= same
        where = np.flatnonzero(tied)
        order[where] = order[where][np.lexsort(_keys(cloud, order[where]))]
        again = np.zeros(len(order), dtype=np.bool_)
        again[where[1:]] = _alike(_keys(cloud, order[where]))
        kept = np.flatnonzero(~again)
        copies = np.diff(np.append(kept, len(order))) - 1
        keep = order[kept]
    columns: dict[str, Any] = {
        name: getattr(cloud, name)[keep] for name in ("x", "y", "z", *_ATTRIBUTES)
    }
    return replace(cloud, **columns, copies=copies)


def _by_place(cloud: Cloud) -> NDArray[np.intp]:
    """Give an order by x, then y, then z; points at one place in any order."""
    axes = (cloud.x, cloud.y, cloud.z)
    ranges = [(int(axis.min()), int(axis.max()) - int(axis.min()) + 1) for axis in axes]
    if all(axis.dtype != object for axis in axes) and math.prod(r for _, r in ranges) < 2**63:
        (x0, _), (y0, rows), (z0, levels) = ranges
        return np.argsort(((cloud.x - x0) * rows + (cloud.y - y0)) * levels + (cloud.z - z0))
    return np.lexsort(axes[::-1])


def _keys(cloud: Cloud, index: NDArray[np.intp]) -> tuple[NDArray[Any], ...]:
    """Give everything that tells points apart, least important first."""
    names = (
        "scan_angle_deg",
        "withheld",
        "synthetic",
        "classification",
        "point_source_id",
        "gps_time",
        "z",
        "y",
        "x",
    )
    return tuple(getattr(cloud, name)[index] for name in names)


def _alike(keys: tuple[NDArray[Any], ...]) -> NDArray[np.bool_]:
    """Say which points agree with the one before in all keys."""
    same = np.ones(len(keys[0]) - 1, dtype=np.bool_)
    for key in keys:
        equal = key[1:] == key[:-1]
        if key.dtype.kind == "f":
            equal |= np.isnan(key[1:]) & np.isnan(key[:-1])
        same &= equal
    return same


@dataclass(frozen=True)
class Surroundings:
    """The points near one place, relative to it.

    Attributes
    ----------
    index : ndarray of int64
        Which points of the cloud, in the cloud's order.
    u, v : ndarray of int
        Position relative to the place, in units of `unit`; exact.
    unit : Fraction
        Stored units per integer.
    """

    index: NDArray[np.int64]
    u: Integers
    v: Integers
    unit: Fraction

    def distance(self) -> NDArray[np.float64]:
        """Horizontal distance from the place in stored units."""
        return np.asarray(
            np.hypot(self.u.astype(np.float64), self.v.astype(np.float64)) * float(self.unit)
        )


def around(
    cloud: Cloud, x: NDArray[np.float64], y: NDArray[np.float64], radius: float
) -> Iterator[Surroundings]:
    """Give, place by place, the points within `radius` (stored units), with the place as exact origin.

    Whether a point is within the radius is decided exactly, so that it depends on nothing but the point.
    """
    step = cloud.grid.step
    reach = Fraction(radius) / step
    for place_x, place_y in zip(x.tolist(), y.tolist(), strict=True):
        at = [
            (exact(value) - origin) / step
            for value, origin in zip((place_x, place_y), cloud.grid.origin[:2], strict=True)
        ]
        first, last = np.searchsorted(
            cloud.x, [math.ceil(at[0] - reach), math.floor(at[0] + reach) + 1]
        )
        column = cloud.y[first:last]
        low, high = math.ceil(at[1] - reach), math.floor(at[1] + reach)
        index = first + np.flatnonzero((column >= low) & (column <= high))
        fineness = math.lcm(at[0].denominator, at[1].denominator)
        unit = step / fineness
        u = _relative(cloud.x[index], at[0], fineness)
        v = _relative(cloud.y[index], at[1], fineness)
        kept = within_radius(u, v, Fraction(radius) / unit)
        yield Surroundings(index[kept], u[kept], v[kept], unit)


def within_radius(u: Integers, v: Integers, radius: Fraction) -> NDArray[np.bool_]:
    """Whether points are within a radius of the origin, borders included; exact."""
    distance = np.hypot(u.astype(np.float64), v.astype(np.float64))
    limit = float(radius)
    kept: NDArray[np.bool_] = distance <= limit
    for i in np.flatnonzero(np.abs(distance - limit) <= 1e-12 * limit).tolist():
        kept[i] = int(u[i]) ** 2 + int(v[i]) ** 2 <= radius * radius
    return kept


def _relative(stored: Integers, at: Fraction, fineness: int) -> Integers:
    whole = at.numerator // at.denominator
    near = stored - whole
    rest = int((at - whole) * fineness)
    largest = max((abs(int(near.min())), abs(int(near.max()))) if near.size else (0,))
    if (largest + 1) * fineness < 2**62:
        return near.astype(np.int64) * fineness - rest
    return near.astype(object) * fineness - rest


def heights(cloud: Cloud, index: NDArray[np.int64]) -> NDArray[np.float64]:
    """Heights in stored units, rounded once."""
    step, origin = cloud.grid.step_z, cloud.grid.origin[2]
    shift = origin / step
    if shift.denominator == 1 and abs(shift) < 2**52:
        whole = (cloud.z[index] + shift.numerator).astype(np.float64)
        return np.asarray(whole * step.numerator / step.denominator, dtype=np.float64)
    return np.asarray(cloud.z[index].astype(np.float64) * float(step) + float(origin))


#: Fewest points from which slope and roughness are taken; three define the plane.
PLANE_POINTS = 6


def support_of(
    cloud: Cloud,
    near: Surroundings,
    ground: NDArray[np.bool_],
    radius: float,
    metres_h: float,
    metres_v: float,
) -> Support:
    """Describe what carries a height: slope, roughness, classes and flight lines around a place.

    The neighbourhood is a disc of `radius` around the place or, where that holds fewer than
    `PLANE_POINTS` ground points, the nearest `PLANE_POINTS` of them.

    Parameters
    ----------
    ground : ndarray of bool
        For each of `near.index`, whether the point is accepted.
    radius : float
        In stored horizontal units.
    metres_h, metres_v : float
        Metres per stored unit, horizontal and vertical.
    """
    distance = near.distance()
    inside = distance <= radius
    chosen = np.flatnonzero(ground & inside)
    if chosen.size < PLANE_POINTS:
        accepted = np.flatnonzero(ground)
        chosen = np.sort(accepted[np.argsort(distance[accepted], kind="stable")[:PLANE_POINTS]])
    return describe(cloud, near, ground, chosen, inside, metres_h, metres_v)


def describe(
    cloud: Cloud,
    near: Surroundings,
    ground: NDArray[np.bool_],
    chosen: NDArray[np.int64],
    inside: NDArray[np.bool_],
    metres_h: float,
    metres_v: float,
) -> Support:
    """Describe what carries a height by the ground points `chosen`.

    Parameters
    ----------
    ground, inside : ndarray of bool
        For each of `near.index`, whether the point is accepted, and whether its class is counted.
    chosen : ndarray of int
        Places in `near.index` of the points that slope, roughness and flight lines are taken from.
    metres_h, metres_v : float
        Metres per stored unit, horizontal and vertical.
    """
    distance = near.distance()
    unit_m = float(near.unit) * metres_h
    east_m = near.u[chosen].astype(np.float64) * unit_m
    north_m = near.v[chosen].astype(np.float64) * unit_m
    stored = heights(cloud, near.index[chosen])
    up_m = (stored - stored[0]) * metres_v if stored.size else stored
    plane = fit_plane(east_m, north_m, up_m)
    lines: list[LineSupport] = []
    if plane is not None:
        residual_m = up_m - (plane.at_origin_m + plane.east * east_m + plane.north * north_m)
        sources = cloud.point_source_id[near.index[chosen]]
        for line in np.unique(sources).tolist():
            of_line = sources == line
            members = near.index[chosen][of_line]
            time_s = cloud.gps_time[members]
            lines.append(
                LineSupport(
                    id=int(line),
                    points=int(of_line.sum()),
                    height_m=float(
                        stored[0] * metres_v + plane.at_origin_m + residual_m[of_line].mean()
                    ),
                    scan_angle_deg=round(float(cloud.scan_angle_deg[members].mean()), 3),
                    gps_time=None if np.isnan(time_s).any() else float(np.median(time_s)),
                )
            )
    accepted_distance = distance[ground]
    counts = np.bincount(cloud.classification[near.index[inside]]).tolist()
    return Support(
        points=int(chosen.size),
        nearest_m=float(accepted_distance.min()) * metres_h if accepted_distance.size else None,
        slope_deg=None if plane is None else plane.slope_deg,
        roughness_m=None if plane is None else plane.roughness_m,
        classes=MappingProxyType({k: n for k, n in enumerate(counts) if n}),
        lines=tuple(lines),
        slope_east=None if plane is None else plane.east,
        slope_north=None if plane is None else plane.north,
    )


@dataclass(frozen=True)
class Plane:
    """A fitted plane: up = at_origin + east * e + north * n; roughness with n - 3 degrees of freedom."""

    at_origin_m: float
    east: float
    north: float
    slope_deg: float
    roughness_m: float


def fit_plane(
    east_m: NDArray[np.float64], north_m: NDArray[np.float64], up_m: NDArray[np.float64]
) -> Plane | None:
    """Fit a plane by least squares; None with fewer than four points or points on one line."""
    if len(up_m) < 4:
        return None
    design = np.column_stack([np.ones_like(east_m), east_m, north_m])
    solution, _, rank, _ = np.linalg.lstsq(design, up_m, rcond=None)
    if rank < 3:
        return None
    residual = up_m - design @ solution
    return Plane(
        at_origin_m=float(solution[0]),
        east=float(solution[1]),
        north=float(solution[2]),
        slope_deg=math.degrees(math.atan(math.hypot(float(solution[1]), float(solution[2])))),
        roughness_m=math.sqrt(float(residual @ residual) / (len(up_m) - 3)),
    )


def mean_spacing(surfaces: Sequence[PointSurface]) -> float | None:
    """Mean distance between points by the headers alone: square root of area over number, stored units.

    None where a header cannot be believed, or holds no area.
    """
    area = 0.0
    points = 0
    for surface in surfaces:
        if not surface.info.bounds_believed:
            return None
        west, south, east, north = surface.info.bounds
        area += max(east - west, 0.0) * max(north - south, 0.0)
        points += surface.info.points or 0
    return math.sqrt(area / points) if points and area > 0 and math.isfinite(area) else None
