"""Small jobs for tests: a TOML writer, and a tilted plane as cloud and raster."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from accuracy.formats.las_write import write_points

#: A compound system without epoch: NAD83(2011) / UTM zone 12N + NAVD88 height.
CRS = "EPSG:6341+5703"


def toml(value: Any) -> str:
    """Write a value as TOML (JSON's notation is TOML's for what is used here)."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{k} = {toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(map(toml, value)) + "]"
    return json.dumps(value)


def write_job(
    folder: Path,
    *,
    datasets: Sequence[Mapping[str, Any]],
    claims: Sequence[Mapping[str, Any]] = (),
    checkpoints: Mapping[str, Any] | None = None,
    job: Mapping[str, Any] | None = None,
    name: str = "job.toml",
) -> Path:
    """Write a job file; the checkpoints default to ``points.csv`` in `CRS`."""
    tables: list[tuple[str, Mapping[str, Any]]] = [
        ("[job]", {"title": "Invented test job"} | dict(job or {})),
        ("[checkpoints]", {"file": "points.csv", "crs": CRS} | dict(checkpoints or {})),
    ]
    tables += [("[[dataset]]", dataset) for dataset in datasets]
    tables += [("[[claim]]", claim) for claim in claims]
    text = "\n".join(
        header + "\n" + "".join(f"{key} = {toml(value)}\n" for key, value in table.items())
        for header, table in tables
    )
    path = folder / name
    path.write_text(text, "utf-8")
    return path


def write_points_table(
    path: Path, rows: Sequence[Sequence[object]], header: str = "id,easting,northing,height,cover"
) -> None:
    """Write a headered table."""
    lines = [header, *(",".join(map(str, row)) for row in rows)]
    path.write_text("\n".join(lines) + "\n", "utf-8")


EAST, NORTH = 412_000.0, 5_012_000.0


def plane_height(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Height of the tilted plane that all test surfaces hold, metres."""
    return 100.0 + 0.05 * (x - EAST) + 0.02 * (y - NORTH)


def write_plane_cloud(
    path: Path, *, wkt: str | None, lift_m: float = 0.0, classification: int = 2, n: int = 4000
) -> None:
    """Write a LAZ 1.4 cloud of the plane over 40 m by 40 m, exact to the stored 0.1 mm."""
    random = np.random.default_rng(3)
    # A plane of these slopes has whole multiples of 0.1 mm on a 20 mm raster of places.
    x = EAST + random.integers(0, 2000, n) * 0.02
    y = NORTH + random.integers(0, 2000, n) * 0.02
    write_points(
        path,
        points={
            "x": x,
            "y": y,
            "z": plane_height(x, y) + lift_m,
            "classification": np.full(n, classification, np.uint8),
        },
        point_format=6,
        version="1.4",
        scale=(0.0001, 0.0001, 0.0001),
        offset=(EAST, NORTH, 0.0),
        wkt=wkt,
    )


def plane_checkpoints(n: int = 36, *, error_m: Sequence[float] = (0.0,)) -> list[list[object]]:
    """Checkpoints well inside the plane; errors are subtracted, so that residuals are `error_m`."""
    random = np.random.default_rng(11)
    x = EAST + random.uniform(5, 35, n).round(3)
    y = NORTH + random.uniform(5, 35, n).round(3)
    z = plane_height(x, y) - np.resize(np.asarray(error_m), n)
    return [
        [f"P{i:02d}", f"{a:.3f}", f"{b:.3f}", f"{c:.7f}", "non-vegetated"]
        for i, (a, b, c) in enumerate(zip(x, y, z, strict=True), 1)
    ]
