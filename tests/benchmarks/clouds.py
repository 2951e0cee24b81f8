"""Generated drone-like clouds: overlapping lines flown to and fro, points in time order, any size."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import laspy
import numpy as np
from numpy.typing import NDArray

POINTS_PER_M2 = 200.0
SWATH_M = 60.0
LINE_STEP_M = 20.0  # each place is seen from three lines
SWEEPS_PER_METRE = 20.0
PULSES_PER_S = 300_000.0
ORIGIN = (412_000.0, 5_000_000.0, 0.0)
BLOCK = 1_000_000

Columns = dict[str, NDArray[np.float64] | NDArray[np.int64]]


def side_m(points: int) -> float:
    """Side of the square that holds so many points."""
    return math.sqrt(points / POINTS_PER_M2)


def ground_m(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Height of the invented terrain."""
    height: NDArray[np.float64] = (
        100.0 + 8.0 * np.sin(x / 60.0) * np.cos(y / 45.0) + 0.3 * np.sin(x / 3.0 + y / 4.0)
    )
    return height


def blocks(points: int, seed: int = 11) -> Iterator[Columns]:
    """Yield the points of a flight in time order; x, y, z in metres from `ORIGIN`."""
    side = side_m(points)
    lines = max(1, math.ceil(side / LINE_STEP_M))
    shares = np.diff(np.linspace(0, points, lines + 1).astype(np.int64))
    time = 0
    for line, share in enumerate(shares.tolist()):
        north = (line + 0.5) * side / lines
        for start in range(0, share, BLOCK):
            count = min(BLOCK, share - start)
            rng = np.random.default_rng([seed, line, start])
            along = (start + np.arange(count)) / max(share, 1) * side
            across = ((along * SWEEPS_PER_METRE) % 1.0 - 0.5) * SWATH_M
            x = along + rng.normal(0.0, 0.05, count)
            x = np.clip(side - x if line % 2 else x, 0.0, side)
            y = np.abs(north + across + rng.normal(0.0, 0.05, count))
            y = np.where(y > side, np.maximum(2.0 * side - y, 0.0), y)
            high = rng.random(count) < 0.45 + 0.3 * np.sin(x / 15.0) * np.sin(y / 15.0)
            z = ground_m(x, y) + rng.normal(0.0, 0.02, count)
            z += np.where(high, rng.random(count) * 6.0, 0.0)
            shade = 90 + 60 * np.sin(x / 7.0) + rng.normal(0.0, 12.0, count)
            yield {
                "x": x,
                "y": y,
                "z": z,
                "classification": np.where(high, 5, 2),
                "return_number": np.where(high, 1, 1 + (rng.random(count) < 0.3)),
                "number_of_returns": np.full(count, 2),
                "intensity": np.clip(shade * 200, 0, 60_000).astype(np.int64),
                "point_source_id": np.full(count, line + 1),
                "gps_time": 3e8 + (time + np.arange(count)) / PULSES_PER_S,
                "angle_deg": np.degrees(np.arctan(across / 60.0)),
                "shade": np.clip(shade, 0, 255).astype(np.int64) * 256,
            }
            time += count


def write_cloud(path: Path, points: int, point_format: int, *, version: str | None = None) -> None:
    """Write a flight as LAS or LAZ by the suffix; formats below 6 as LAS 1.2."""
    header = laspy.LasHeader(
        version=version or ("1.4" if point_format >= 6 else "1.2"), point_format=point_format
    )
    header.scales, header.offsets = np.full(3, 0.001), np.array(ORIGIN)
    backend = laspy.LazBackend.LazrsParallel
    with laspy.open(
        path, mode="w", header=header, do_compress=path.suffix == ".laz", laz_backend=backend
    ) as writer:
        for columns in blocks(points):
            writer.write_points(_record(columns, header))


def _record(columns: Columns, header: laspy.LasHeader) -> laspy.ScaleAwarePointRecord:
    record = laspy.ScaleAwarePointRecord.zeros(len(columns["x"]), header=header)
    for name in ("x", "y", "z"):
        record[name.upper()] = np.rint(columns[name] * 1000.0).astype(np.int32)
    for name in (
        "classification",
        "return_number",
        "number_of_returns",
        "intensity",
        "point_source_id",
    ):
        record[name] = columns[name]
    names = set(header.point_format.dimension_names)
    if "gps_time" in names:
        record["gps_time"] = columns["gps_time"]
    if "scan_angle" in names:
        record["scan_angle"] = np.rint(columns["angle_deg"] / 0.006).astype(np.int16)
    else:
        record["scan_angle_rank"] = np.rint(columns["angle_deg"]).astype(np.int8)
    for name in ("red", "green", "blue"):
        if name in names:
            record[name] = columns["shade"]
    return record


def checkpoints(
    points: int, count: int, seed: int = 3
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Places inside the square, coordinates in metres."""
    rng = np.random.default_rng(seed)
    at = rng.uniform(5.0, side_m(points) - 5.0, (2, count)).round(3)
    return at[0] + ORIGIN[0], at[1] + ORIGIN[1]
