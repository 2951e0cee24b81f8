"""Heights from neighbourhoods by whole reading paths: LAS, LAZ, COPC, several workers, real clouds."""

from __future__ import annotations

from pathlib import Path

import laspy
import numpy as np
import pytest
from laz_files import write_copc
from support import assert_metres

from accuracy.formats import open_cloud
from accuracy.formats.las_write import write_points
from accuracy.parallel import Workers
from accuracy.sampling import Patch
from accuracy.sampling.patch import sample_patches
from accuracy.sampling.reading import read_in_turn
from accuracy.sampling.tin import CloudSetting

SETTING = CloudSetting((2,), metres_h=1.0, metres_v=1.0)
METHODS = ("plane", "neighbourhood-mean")
SHAPES = ("circle", "square")


def brute(places: np.ndarray, z: np.ndarray, at: np.ndarray, patch: Patch, method: str) -> float:
    """Take the height from the whole cloud by numpy alone."""
    off = places - at
    size = np.abs(off).max(axis=1) if patch.shape == "square" else np.hypot(*off.T)
    near = size <= patch.across_m / 2 + 1e-9
    if method == "neighbourhood-mean":
        return float(z[near].mean())
    design = np.column_stack([np.ones(near.sum()), off[near]])
    return float(np.linalg.solve(design.T @ design, design.T @ z[near])[0])


@pytest.fixture(scope="module")
def paths(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[Path]]:
    """Write one invented slope as LAS, LAZ, COPC, and as three tiles that overlap by 3 m."""
    folder = tmp_path_factory.mktemp("patches")
    random = np.random.default_rng(12)
    n = 12_000
    x, y = random.integers(0, 30_000, (2, n))
    z = x // 20 + (200 * np.sin(y / 3000)).astype(int) + random.integers(-30, 31, n)
    points = {"x": x, "y": y, "z": z, "classification": np.where(np.arange(n) % 9 == 0, 5, 2)}
    points["gps_time"] = 1e8 + np.arange(n) * 1e-4
    for name in ("a.las", "a.laz"):
        write_points(folder / name, points=points, point_format=6)
    write_copc(folder / "a.copc.laz", laspy.read(folder / "a.laz"))
    for number in range(3):
        own = (x >= number * 10_000 - 1500) & (x < (number + 1) * 10_000 + 1500)
        part = {name: values[own] for name, values in points.items()}
        write_points(folder / f"tile-{number}.laz", points=part, point_format=6)
    found = {name: [folder / name] for name in ("a.las", "a.laz", "a.copc.laz")}
    return found | {"tiles": [folder / f"tile-{number}.laz" for number in range(3)]}


def sampled(files: list[Path], method: str, patch: Patch, read: object = read_in_turn) -> object:
    random = np.random.default_rng(4)
    x, y = random.uniform(0.0, 30.0, (2, 60)).round(3)
    samples, _ = sample_patches(
        [open_cloud(p) for p in files], x, y, SETTING, patch, method=method, read=read
    )
    return samples, np.column_stack([x, y])


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("method", METHODS)
def test_every_file_gives_what_numpy_gives(
    paths: dict[str, list[Path]], method: str, shape: str
) -> None:
    """LAS, LAZ, COPC, tiles, two workers: the same bits, and what the whole cloud gives in numpy."""
    patch = Patch(shape, 2.2, 6)
    plain, places = sampled(paths["a.las"], method, patch)
    cloud = laspy.read(paths["a.las"][0])
    ground = np.asarray(cloud.classification) == 2
    z = np.asarray(cloud.z)[ground]
    positions = np.column_stack([cloud.x, cloud.y])[ground]
    with_height = 0
    for sample, at in zip(plain, places, strict=True):
        if sample.height is None:
            assert sample.reason in ("one-sided", "few-points")
            continue
        with_height += 1
        assert_metres(sample.height, brute(positions, z, at, patch, method), within_m=1e-9)
    assert with_height > 45
    for name in ("a.laz", "a.copc.laz", "tiles"):
        assert repr(sampled(paths[name], method, patch)[0]) == repr(plain), name
    with Workers(2) as workers:
        assert repr(sampled(paths["tiles"][::-1], method, patch, workers.read)[0]) == repr(plain)


@pytest.mark.shared_data
@pytest.mark.parametrize(
    ("names", "across_m"),
    [
        (["bcts-als/bcts_1.laz", "bcts-als/bcts_2.laz", "bcts-als/bcts_3.laz"], 8.0),
        (["france-lambert93/las_with_several_extra_byte_bloc.laz"], 2.0),
    ],
)
def test_real_clouds_against_numpy(shared_data: Path, names: list[str], across_m: float) -> None:
    """40 places in real clouds: heights and refusals as numpy finds them among all ground points."""
    files = [shared_data / name for name in names]
    clouds = [laspy.read(path) for path in files]
    scale, offset = clouds[0].header.scales, clouds[0].header.offsets
    parts = []
    for cloud in clouds:
        kept = np.asarray(cloud.classification) == 2
        kept &= ~np.asarray(cloud.withheld, bool) & ~np.asarray(cloud.synthetic, bool)
        parts.append(np.column_stack([cloud.X, cloud.Y, cloud.Z])[kept].astype(np.int64))
    ground = np.unique(
        np.concatenate(parts), axis=0
    )  # no two points of these clouds agree otherwise
    origin = ground.min(axis=0)
    at = np.random.default_rng(1).choice(len(ground), 40, replace=False)
    stored = ground[at, :2].astype(float) * scale[:2] + offset[:2]
    local = (ground - origin) * scale
    found = 0
    for shape in SHAPES:
        patch = Patch(shape, across_m, 6)
        for method in METHODS:
            samples, _ = sample_patches(
                [open_cloud(p) for p in files],
                stored[:, 0].round(6),
                stored[:, 1].round(6),
                SETTING,
                patch,
                method=method,
            )
            for sample, i in zip(samples, at.tolist(), strict=True):
                if sample.height is None:
                    assert sample.reason in (
                        "few-points",
                        "one-line",
                    )  # the place itself is a point
                    continue
                found += 1
                expected = brute(local[:, :2], local[:, 2], local[i, :2], patch, method)
                assert_metres(
                    sample.height - origin[2] * scale[2] - offset[2], expected, within_m=1e-6
                )
    assert found > 100
