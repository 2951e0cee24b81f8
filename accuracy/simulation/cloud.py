"""The whole cloud of a flight, and the elevation raster made from it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import UsageError
from accuracy.simulation.motion import Track
from accuracy.simulation.near import Flight, from_vertical_deg, las_light, pulses_at
from accuracy.simulation.returns import observe
from accuracy.simulation.sensing import pulses_of

Array = NDArray[np.float64]
Points = dict[str, NDArray[Any]]

BATCH = 100_000  # pulses at a time: bounds memory
MOST_CELLS = 20_000_000
HOLE_RINGS = 3  # empty cells so near to full ones are filled


def cloud_of(flight: Flight) -> Points:
    """Make all points on the site, in the order of time, under the names of LAS fields."""
    parts = [part for track in flight.motion.tracks for part in _batches(flight, track)]
    return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}


def _batches(flight: Flight, track: Track) -> Iterator[Points]:
    scenario = flight.scenario
    last = math.floor((track.end_s - track.start_s) * scenario.payload.pulse_rate_hz)
    offset_m = (flight.faults.get("colour-east", 0.0), flight.faults.get("colour-north", 0.0))
    terrain, origin_m = scenario.landscape.terrain, flight.origin_m()
    for first in range(0, last, BATCH):
        number = np.arange(first, min(first + BATCH, last), dtype=np.int64)
        pulses = pulses_of(flight.motion, track, scenario.payload, number)
        returns = observe(scenario, flight.seed, pulses, offset_m)
        hit_m = returns.true_m + origin_m
        returns = returns.take(np.flatnonzero(terrain.contains(hit_m[:, 0], hit_m[:, 1])))
        if not len(returns.pulse):
            continue
        place_m = flight.delivered_m(pulses, returns)
        shot = pulses_at(pulses, returns.pulse)
        intensity, colour = las_light(returns)
        points: Points = {
            "x": place_m[:, 0],
            "y": place_m[:, 1],
            "z": place_m[:, 2],
            "intensity": intensity,
            "return_number": returns.return_number,
            "number_of_returns": returns.number_of_returns,
            "classification": returns.classification,
            "withheld": returns.withheld,
            "scan_angle_deg": from_vertical_deg(shot, returns, scenario),
            "gps_time": shot.time_s + flight.faults.get("time-tags", 0.0),
            "point_source_id": np.full(len(returns.pulse), track.plan.number, dtype=np.uint16),
        }
        if scenario.colour:
            for k, name in enumerate(("red", "green", "blue")):
                points[name] = colour[:, k]
        yield points


def raster_of(points: Points, cell_m: float) -> tuple[Array, tuple[float, float]]:
    """Make an elevation raster of the ground points: rows from the north, and its north-west corner.

    The mean of a cell's points, brought to the middle of the cell by the slope of its neighbours; small
    holes are filled from their neighbours, larger ones are NaN.

    Raises
    ------
    UsageError
        The points lie too far apart for one raster.
    """
    use = (points["classification"] == 2) & ~points["withheld"]
    x, y, z = (points[axis][use] for axis in "xyz")
    west, south = (math.floor(float(axis.min()) / cell_m) for axis in (x, y))
    east, north = (math.floor(float(axis.max()) / cell_m) + 1 for axis in (x, y))
    columns, rows = east - west, north - south
    if columns * rows > MOST_CELLS:
        raise UsageError(
            f"the elevation raster would have {columns * rows} cells",
            remedy="give the fault a smaller size",
        )
    column = np.floor(x / cell_m).astype(np.int64) - west
    row = north - 1 - np.floor(y / cell_m).astype(np.int64)
    cell = row * columns + column
    count = np.bincount(cell, minlength=rows * columns).astype(np.float64)
    low = float(z.min())
    middle_x = (west + column + 0.5) * cell_m
    middle_y = (north - row - 0.5) * cell_m
    with np.errstate(invalid="ignore", divide="ignore"):
        mean, off_x, off_y = (
            (np.bincount(cell, value, rows * columns) / count).reshape(rows, columns)
            for value in (z - low, x - middle_x, y - middle_y)
        )
    by_north, by_east = (
        _difference(mean, axis) * (sign / cell_m) for axis, sign in ((0, -1.0), (1, 1.0))
    )
    return _filled(mean - by_east * off_x - by_north * off_y) + low, (west * cell_m, north * cell_m)


def _difference(values: Array, axis: int) -> Array:
    """Change per cell along an axis, central where both neighbours are there, else 0."""
    out = np.zeros_like(values)
    ahead, behind = np.roll(values, -1, axis), np.roll(values, 1, axis)
    inner = [slice(None), slice(None)]
    inner[axis] = slice(1, -1)
    at = tuple(inner)
    out[at] = (ahead[at] - behind[at]) / 2.0
    return np.where(np.isfinite(out), out, 0.0)


def _filled(values: Array) -> Array:
    """Fill empty cells beside full ones with the mean of their neighbours, a few rings deep."""
    for _ in range(HOLE_RINGS):
        padded = np.pad(values, 1, constant_values=np.nan)
        rows, columns = values.shape
        total, count = np.zeros_like(values), np.zeros_like(values)
        for d_row in (0, 1, 2):
            for d_column in (0, 1, 2):
                near = padded[d_row : d_row + rows, d_column : d_column + columns]
                there = np.isfinite(near)
                total += np.where(there, near, 0.0)
                count += there
        hole = ~np.isfinite(values) & (count > 0)
        values = np.where(hole, total / np.maximum(count, 1.0), values)
    return values
