"""A small invented site with painted targets, as cloud, orthophoto and table, for tests of the whole way."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from jobs import CRS, EAST, NORTH, plane_height, write_job, write_points_table

from accuracy.formats.las_write import write_points
from accuracy.simulation.photographs import Camera, photograph
from accuracy.simulation.targets import Beam, PaintedTarget, Texture, scan_target

#: Where the targets are surveyed: east and north of the corner of the site, metres.
PLACES = tuple((6.0 + 7.0 * (i % 4), 6.0 + 8.0 * (i // 4)) for i in range(12))
SIZE_M = 0.5


def wkt() -> str:
    """Give the reference system of the site as text."""
    import pyproj

    return str(pyproj.CRS(CRS).to_wkt())


def make_site(
    folder: Path,
    *,
    kind: Any = "checkerboard",
    cloud_shift_m: tuple[float, float] = (0.0, 0.0),
    photo_shift_m: tuple[float, float] = (0.0, 0.0),
    second_line_shift_m: tuple[float, float] = (0.0, 0.0),
    colour_shift_m: tuple[float, float] = (0.0, 0.0),
    bare: tuple[int, ...] = (),
    seed: int = 1,
    pixel_m: float = 0.02,
    count: int = len(PLACES),
) -> Path:
    """Write cloud, orthophoto, elevation raster and checkpoints; targets lie where they are surveyed.

    Parameters
    ----------
    cloud_shift_m, photo_shift_m : tuple of float
        East and north by which the deliverables are off.
    second_line_shift_m : tuple of float
        By which flight line 2 is off line 1.
    bare : tuple of int
        Indices of points without a target.
    count : int
        How many points.
    """
    random = np.random.default_rng(seed)
    columns: dict[str, list[Any]] = {}
    rows = []
    width = math.ceil(36.0 / pixel_m)
    picture = np.full((width, width), 80, np.uint8)
    for i, (east, north) in enumerate(PLACES[:count]):
        turn = float(random.uniform(0.0, 90.0))
        target = PaintedTarget("none" if i in bare else kind, SIZE_M, 0.3, rotation_deg=turn)
        returns = scan_target(
            target,
            Beam(density_m2=120.0),
            random,
            lines=2,
            texture=Texture(0.3, 0.4),
            colour_shift_m=colour_shift_m,
        )
        second = (returns.line == 2)[:, None] * np.array(second_line_shift_m)
        x = EAST + east + returns.east_m + second[:, 0]
        y = NORTH + north + returns.north_m + second[:, 1]
        its = {
            "x": x + cloud_shift_m[0],
            "y": y + cloud_shift_m[1],
            "z": plane_height(x, y) + returns.up_m,
            "intensity": returns.intensity,
            "point_source_id": returns.line,
            "classification": np.full(len(x), 2, np.uint8),
            **dict.fromkeys(("red", "green", "blue"), returns.colour),
        }
        for name, values in its.items():
            columns.setdefault(name, []).append(values)
        rows.append(
            [
                f"T{i + 1:02d}",
                EAST + east,
                NORTH + north,
                f"{plane_height(EAST + east, NORTH + north):.4f}",
            ]
        )
        _paint(
            picture, target, pixel_m, (east + photo_shift_m[0], north + photo_shift_m[1]), random
        )
    write_points(
        folder / "cloud.laz",
        points={name: np.concatenate(values) for name, values in columns.items()},
        point_format=7,
        scale=(0.001, 0.001, 0.001),
        offset=(EAST, NORTH, 0.0),
        wkt=wkt(),
    )
    _write_picture(folder / "ortho.tif", picture, pixel_m)
    write_points_table(
        folder / "points.csv",
        [[*row, "non-vegetated"] for row in rows],
    )
    return folder


def _paint(
    picture: np.ndarray[Any, np.dtype[np.uint8]],
    target: PaintedTarget,
    pixel_m: float,
    place: tuple[float, float],
    random: np.random.Generator,
) -> None:
    """Put a simulated photograph into the picture, whole pixels and the rest by moving the target."""
    col, row = place[0] / pixel_m, picture.shape[0] - place[1] / pixel_m
    near = photograph(
        PaintedTarget(
            target.kind,
            target.size_m,
            target.inner_m,
            (col - math.floor(col) - 0.5) * pixel_m,
            -(row - math.floor(row) - 0.5) * pixel_m,
            target.rotation_deg,
        ),
        Camera(pixel_m=pixel_m, noise=0.015),
        random,
        texture=Texture(0.2, 0.3),
        centred=True,
    )
    half = near.values.shape[0] // 2
    top, left = math.floor(row) - half, math.floor(col) - half
    picture[top : top + 2 * half + 1, left : left + 2 * half + 1] = near.values


def _write_picture(path: Path, picture: np.ndarray[Any, Any], pixel_m: float) -> None:
    import rasterio

    top = NORTH + picture.shape[0] * pixel_m
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=picture.shape[0],
        width=picture.shape[1],
        count=3,
        dtype="uint8",
        crs=wkt(),
        transform=rasterio.Affine(pixel_m, 0.0, EAST, 0.0, -pixel_m, top),
        photometric="RGB",
    ) as file:
        for band in (1, 2, 3):
            file.write(picture, band)


def target_job(
    folder: Path,
    *,
    targets: Mapping[str, Any] | None = None,
    extra: str = "",
    claims: tuple[Mapping[str, Any], ...] = (),
    datasets: tuple[Mapping[str, Any], ...] | None = None,
) -> Path:
    """Write the job of the site."""
    path = write_job(
        folder,
        datasets=datasets
        or (
            {"name": "cloud", "kind": "point-cloud", "files": ["cloud.laz"]},
            {"name": "ortho", "kind": "orthophoto", "files": ["ortho.tif"]},
        ),
        claims=claims,
        checkpoints={"survey_rmse_h_m": 0.005, "survey_rmse_v_m": 0.005},
    )
    section = {"pattern": "checkerboard", "size_m": SIZE_M} if targets is None else targets
    text = path.read_text("utf-8") + extra
    if section:
        from tests.jobs import toml

        text += "[targets]\n" + "".join(
            f"{key} = {toml(value)}\n" for key, value in section.items()
        )
    path.write_text(text, "utf-8")
    return path
