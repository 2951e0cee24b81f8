"""Real clouds: the local triangle against scipy's triangulation of the whole cloud."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, replace
from itertools import combinations
from pathlib import Path

import laspy
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial import Delaunay, cKDTree
from support import assert_metres

from accuracy.formats import PointBatch, PointSurface, open_cloud
from accuracy.sampling.tin import CloudSetting, sample_cloud

pytestmark = pytest.mark.shared_data

#: 0.01 mm, as the task of the local triangulation is put.
WITHIN_M = 1e-5


class Without:
    """A cloud file from which some points are withheld: the reader's batches without them."""

    def __init__(self, surface: PointSurface, withheld: set[tuple[int, int, int]]) -> None:
        self.surface, self.info, self.withheld = surface, surface.info, withheld

    def near(
        self, x: NDArray[np.float64], y: NDArray[np.float64], radius: float
    ) -> Iterator[PointBatch]:
        for batch in self.surface.near(x, y, radius):
            stored = zip(batch.x.tolist(), batch.y.tolist(), batch.z.tolist(), strict=True)
            keep = np.array([point not in self.withheld for point in stored], dtype=bool)
            arrays = {
                f.name: values[keep]
                for f in fields(batch)
                if f.name != "grid" and (values := getattr(batch, f.name)) is not None
            }
            yield replace(batch, **arrays)


class Whole:
    """All ground points of some files, triangulated at once by scipy: the independent answer."""

    def __init__(self, files: list[Path]) -> None:
        clouds = [laspy.read(path) for path in files]
        self.scale, self.offset = clouds[0].header.scales, clouds[0].header.offsets
        parts = []
        for cloud in clouds:
            assert (cloud.header.scales == self.scale).all()
            assert (cloud.header.offsets == self.offset).all()
            kept = np.asarray(cloud.classification) == 2
            if hasattr(cloud, "withheld"):
                kept &= ~np.asarray(cloud.withheld, bool) & ~np.asarray(cloud.synthetic, bool)
            parts.append(np.column_stack([cloud.X, cloud.Y, cloud.Z])[kept])
        self.ground = np.unique(np.concatenate(parts).astype(np.int64), axis=0)

    def withhold(self, count: int, seed: int) -> NDArray[np.int64]:
        """Take points out at random; they become checkpoints."""
        chosen = np.random.default_rng(seed).choice(len(self.ground), count, replace=False)
        taken = self.ground[chosen]
        self.ground = np.delete(self.ground, chosen, axis=0)
        return taken

    def triangulate(self) -> None:
        self.places, inverse = np.unique(self.ground[:, :2], axis=0, return_inverse=True)
        total = np.bincount(inverse.ravel(), weights=self.ground[:, 2])
        self.z = total / np.bincount(inverse.ravel())
        self.origin = self.places.min(axis=0)
        self.mesh = Delaunay((self.places - self.origin).astype(float))
        self.tree = cKDTree((self.places - self.origin).astype(float))

    def heights_at(
        self, place: NDArray[np.int64], largest_m: float
    ) -> tuple[list[float], float] | None:
        """Heights of every valid triangulation at a place, and the circumradius in metres."""
        local = (place - self.origin).astype(float)
        simplex = int(self.mesh.find_simplex(local[None, :])[0])
        if simplex < 0:
            return None
        corners = self.mesh.simplices[simplex]
        points = (self.places[corners] - self.origin).astype(float)
        lift = (points**2).sum(axis=1)
        system = np.column_stack([2 * points, np.ones(3)])
        cx, cy, c = np.linalg.solve(system, lift)
        radius = float(np.sqrt(c + cx**2 + cy**2))
        if radius * self.scale[0] > largest_m:
            return [], radius * self.scale[0]
        inside = np.array(self.tree.query_ball_point([cx, cy], radius * (1 + 1e-6)))
        away = np.hypot(*(self.tree.data[inside] - [cx, cy]).T)
        ring = inside[np.abs(away - radius) < 1e-6 * radius]
        ring = ring if len(ring) > 3 else corners
        found = []
        for three in combinations(ring.tolist(), 3):
            at = (self.places[list(three)] - self.origin).astype(float)
            matrix = np.vstack([at.T, np.ones(3)])
            if abs(np.linalg.det(matrix)) < 1e-9:
                continue
            weights = np.linalg.solve(matrix, [*local, 1.0])
            if (weights > -1e-12).all():
                found.append(float(weights @ self.z[list(three)]) * self.scale[2] + self.offset[2])
        return found, radius * self.scale[0]


@pytest.mark.parametrize(
    ("names", "largest_m", "least"),
    [
        (["bcts-als/bcts_1.laz"], 11.7, 480),
        (["bcts-als/bcts_1.laz", "bcts-als/bcts_2.laz", "bcts-als/bcts_3.laz"], 11.7, 480),
        (["france-lambert93/las_with_several_extra_byte_bloc.laz"], 4.0, 490),
        (["france-lambert93/faceraster_numerical_imprecision.laz"], 2.0, 480),
        (["newmexico-ftus/4_6_crop.las"], 20.0, 480),
    ],
)
def test_500_withheld_ground_points(
    shared_data: Path, names: list[str], largest_m: float, least: int
) -> None:
    """The local TIN equals scipy.spatial.Delaunay of the whole cloud within 0.01 mm, and misses none.

    Where neighbours are cocircular the height is that of one of the valid triangulations.
    """
    whole = Whole([shared_data / name for name in names])
    taken = whole.withhold(500, seed=20)
    whole.triangulate()
    coordinates = taken[:, :2] * whole.scale[:2] + whole.offset[:2]
    withheld = {(a, b, c) for a, b, c in taken.tolist()}
    surfaces = [Without(open_cloud(shared_data / name), withheld) for name in names]
    # The places must be the decimals that the integers mean: rounded once from exact decimals.
    decimals = round(-np.log10(whole.scale[0]))
    x, y = np.round(coordinates[:, 0], decimals), np.round(coordinates[:, 1], decimals)
    setting = CloudSetting((2,), metres_h=1.0, metres_v=1.0, max_circumradius_m=largest_m)
    samples, _ = sample_cloud(surfaces, x, y, setting)
    compared = ambiguous = 0
    for sample, place in zip(samples, taken, strict=True):
        expected = whole.heights_at(place[:2], largest_m)
        if expected is None or not expected[0]:
            assert sample.height is None
            assert sample.reason in ("gap", "outside")
            continue
        heights, radius_m = expected
        assert sample.height is not None, (place, radius_m)
        assert min(abs(sample.height - height) for height in heights) < WITHIN_M
        assert sample.support is not None
        if len(heights) == 1:
            assert_metres(sample.support.ambiguity_m or 0.0, 0.0, within_m=WITHIN_M)
        else:
            spread = max(heights) - min(heights)
            assert_metres(sample.support.ambiguity_m or 0.0, spread, within_m=WITHIN_M)
        compared += 1
        ambiguous += len(heights) > 1
    assert compared >= least
