"""Targets in a point cloud: the returns around a place by flight line, as values for the fit."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from accuracy.formats import PointBatch, PointSurface
from accuracy.sampling.neighbourhood import NOISE_CLASSES
from accuracy.sampling.reading import Reader, read_in_turn
from accuracy.sampling.targets import Centre, Outcome, Refused, TargetSpec
from accuracy.sampling.targets.fit import Setting, fit_target
from accuracy.sampling.targets.likelihood import Values
from accuracy.sampling.targets.lines import between_lines
from accuracy.sampling.targets.patterns import Array, on_target

#: Usual blur of the edges: a quarter of a footprint of 0.1 m, metres. Invented.
USUAL_BLUR_M = 0.025
#: Intensities at which a scanner is at its end: all ones in so many bits, also stored in the upper byte.
FULL_SCALES = (*(float(2**bits - 1) for bits in range(8, 17)), 65_280.0)


@dataclass(frozen=True, eq=False)
class Returns:
    """Returns near places; arrays of shape (n,), coordinates in stored units relative to `origin`.

    Attributes
    ----------
    brightness, colour : ndarray or None
        Intensity as stored, and the mean of red, green and blue; None where the cloud has none.
    """

    origin: tuple[float, float, float]
    x: Array
    y: Array
    z: Array
    line: NDArray[np.uint16]
    intensity: Array | None
    colour: Array | None


@dataclass(frozen=True)
class Found:
    """A target in a cloud.

    Attributes
    ----------
    together : Outcome
        From all flight lines.
    by_line : mapping of int to Outcome
        From each alone.
    height_m, sigma_height_m : float or None
        Of the plane through the returns on the target at its centre, minus that of the place's height
        origin; and its standard error.
    """

    together: Outcome
    by_line: tuple[tuple[int, Outcome], ...] = ()
    height_m: float | None = None
    sigma_height_m: float | None = None


def read_returns(
    surfaces: Sequence[PointSurface],
    x: Array,
    y: Array,
    radius: float,
    progress: Callable[[str], None],
    read: Reader = read_in_turn,
) -> Returns | None:
    """Read the returns around places with what they look like; None when there are none.

    Withheld, synthetic and noise points are left out; those that stand in two files count once.
    """
    for surface in surfaces:
        if hasattr(surface, "extras"):
            surface.extras = ("intensity", "colour")
    try:
        batches = [batch for batch in read(surfaces, x, y, radius, progress) if batch.x.size]
    finally:
        for surface in surfaces:
            if hasattr(surface, "extras"):
                surface.extras = ()
    if not batches:
        return None
    origin = (float(x[0]), float(y[0]), float(batches[0].grid.offset[2]))
    columns = [_columns(batch, origin) for batch in batches]
    rows = [np.concatenate(parts) for parts in zip(*columns, strict=True)]
    stacked = np.unique(np.stack(rows, axis=1), axis=0)
    x_, y_, z_, line, intensity, colour = stacked.T
    return Returns(
        origin,
        x_,
        y_,
        z_,
        line.astype(np.uint16),
        intensity if np.ptp(intensity) > 0.0 and (intensity >= 0.0).all() else None,
        colour if np.ptp(colour) > 0.0 and (colour >= 0.0).all() else None,
    )


def _columns(batch: PointBatch, origin: tuple[float, float, float]) -> list[Array]:
    keep = ~(batch.withheld | batch.synthetic | np.isin(batch.classification, NOISE_CLASSES))
    missing = np.full(int(keep.sum()), -1.0)
    axes: list[Array] = []
    for axis, stored in enumerate((batch.x, batch.y, batch.z)):
        scale, offset = batch.grid.scale[axis], batch.grid.offset[axis]
        shift = float(offset) - origin[axis]
        axes.append(np.asarray(stored[keep] * float(scale) + shift, dtype=np.float64))
    intensity = missing if batch.intensity is None else batch.intensity[keep].astype(np.float64)
    colour = missing if batch.colour is None else batch.colour[keep].astype(np.float64).mean(axis=1)
    line = batch.point_source_id[keep].astype(np.float64)
    return [*axes, line, np.asarray(intensity), np.asarray(colour)]


def measure_in_cloud(
    returns: Returns, x: float, y: float, spec: TargetSpec, metres_h: float, metres_v: float
) -> Found:
    """Measure the centre of a target near a place, together and line by line.

    Parameters
    ----------
    x, y : float
        The place in stored units.
    metres_h, metres_v : float
        Metres per stored unit.
    """
    east = (returns.x - (x - returns.origin[0])) * metres_h
    north = (returns.y - (y - returns.origin[1])) * metres_h
    reach_m = spec.search_m + 1.6 * spec.reach_m
    near = np.flatnonzero(np.hypot(east, north) <= reach_m)
    if not near.size:
        return Found(Refused("too-few-returns", "no returns there"))
    at = np.column_stack([east[near], north[near]])
    up_m = returns.z[near] * metres_v
    seen = {"intensity": returns.intensity, "colour": returns.colour, "height": returns.z}
    looks = seen[spec.seen_by]
    if looks is None:
        return Found(Refused("no-values", f"the cloud has no {spec.seen_by}"))
    value = looks[near] * (metres_v if spec.seen_by == "height" else 1.0)
    ends = FULL_SCALES if spec.seen_by != "height" else ()
    setting = Setting(float(np.log(USUAL_BLUR_M)), full_scales=ends)
    lines = list(_by_line(at, value, returns.line[near]))
    together = fit_target(spec, lines, setting)
    by_line: list[tuple[int, Outcome]] = []
    if len(lines) > 1 and isinstance(together, Centre):
        by_line = [(one.line, fit_target(spec, [one], setting, together)) for one in lines]
        together = between_lines(together, [one for _, one in by_line])
    height = _height(spec, at, up_m, together) if isinstance(together, Centre) else None
    origin_m = returns.origin[2] * metres_v
    return Found(
        together,
        tuple(by_line),
        None if height is None else height[0] + origin_m,
        None if height is None else height[1],
    )


def _by_line(at: Array, value: Array, line: NDArray[np.uint16]) -> Iterator[Values]:
    for number in np.unique(line).tolist():
        own = line == number
        yield Values(at[own], value[own], np.ones(int(own.sum())), int(number))


def _height(spec: TargetSpec, at: Array, up_m: Array, centre: Centre) -> tuple[float, float] | None:
    """Give the height of the plane through what lies well on the target, at its centre, and its error."""
    placement = np.array(
        [centre.east_m, centre.north_m, np.radians(centre.rotation_deg or 0.0), 0.0]
    )
    inside = on_target(spec, at, placement, -min(2.0 * centre.blur_m, 0.25 * spec.size_m))
    if inside.sum() < 6:
        return None
    off = at[inside] - placement[:2]
    design = np.column_stack([np.ones(len(off)), off])
    solution, _, rank, _ = np.linalg.lstsq(design, up_m[inside], rcond=None)
    if rank < 3:
        return None
    left = up_m[inside] - design @ solution
    variance = float((left**2).sum()) / max(len(left) - 3, 1)
    inverse = np.linalg.inv(design.T @ design)
    return float(solution[0]), float(np.sqrt(variance * inverse[0, 0]))
