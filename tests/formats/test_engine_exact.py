"""Every way of reading a cloud gives the same heights, bit for bit, as reading all of it at once.

The plain path is laspy's: all points in memory, handed to the sampling as they are.
"""

from __future__ import annotations

import math
from fractions import Fraction
from pathlib import Path

import laspy
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from laz_files import write_chunked, write_copc

from accuracy.formats import PointBatch, StoredGrid, las_search, open_cloud
from accuracy.formats.las import open_las
from accuracy.sampling.tin import CloudSetting, sample_cloud

SETTING = CloudSetting((2,), metres_h=1.0, metres_v=1.0, max_circumradius_m=2.0)
ORIGINS = {"here": (0.0, 0.0), "negative": (-8_242_746.0, -4_966_506.0), "far": (1e7, 1e7)}


class PlainCloud:
    """All points of a file as laspy gives them."""

    def __init__(self, path: Path) -> None:
        las = laspy.read(path)
        grid = [
            tuple(Fraction(repr(float(v))) for v in values)
            for values in (las.header.scales, las.header.offsets)
        ]
        self.info = open_cloud(path).info
        self.batch = PointBatch(
            StoredGrid(*grid),
            *(np.array(las[name], dtype=np.int64) for name in "XYZ"),
            classification=np.array(las.classification, dtype=np.uint8),
            withheld=np.array(las.withheld, dtype=bool),
            synthetic=np.array(las.synthetic, dtype=bool),
            overlap=np.zeros(len(las), dtype=bool),
            point_source_id=np.array(las.point_source_id, dtype=np.uint16),
            gps_time=np.array(las.gps_time, dtype=np.float64),
            scan_angle_deg=(
                np.array(las.scan_angle, dtype=np.float32) * np.float32(0.006)
                if las.header.point_format.id >= 6
                else np.array(las.scan_angle_rank, dtype=np.float32)
            ),
        )

    def near(self, x, y, radius):
        """Give everything."""
        yield self.batch


def made_up(seed: int, count: int, order: str) -> dict[str, np.ndarray]:
    """Points of an invented slope of 30 m by 20 m, stored millimetres; a tenth of them doubled."""
    rng = np.random.default_rng(seed)
    x, y = rng.integers(0, 30_000, count), rng.integers(0, 20_000, count)
    if order == "time":  # to and fro along x, as flown
        x = np.sort(x)
    points = {
        "X": x,
        "Y": y,
        "Z": 50_000 + x // 20 - y // 30 + rng.integers(-20, 21, count),
        "classification": rng.choice([2, 2, 2, 5, 7], count),
        "point_source_id": rng.integers(1, 4, count),
        "gps_time": 3e8 + np.arange(count) / 3e5,
        "withheld": rng.random(count) < 0.05,
        "scan_angle": rng.integers(-15, 16, count),
    }
    doubled = np.sort(rng.integers(0, count, count // 10))
    points = {k: np.concatenate([v, v[doubled]]) for k, v in points.items()}
    if order == "shuffled":
        mixed = rng.permutation(len(points["X"]))
        points = {k: v[mixed] for k, v in points.items()}
    return points


def write(path, points, point_format, origin, *, chunk=None, extra=False):
    """Write with laspy, in chunks of `chunk` points, or of varying size if it is a list of sizes."""
    header = laspy.LasHeader(
        version="1.4" if point_format >= 6 else "1.2", point_format=point_format
    )
    header.scales, header.offsets = np.full(3, 0.001), np.array([*origin, 0.0])
    if extra:
        header.add_extra_dim(laspy.ExtraBytesParams("amplitude", "uint16"))
    las = laspy.LasData(header)
    for name, values in points.items():
        if name == "scan_angle":
            angle = "scan_angle" if point_format >= 6 else "scan_angle_rank"
            las[angle] = (values * 100 if point_format >= 6 else values).astype(np.int16)
        else:
            las[name] = values
    if extra:
        las["amplitude"] = np.arange(len(las)) % 65_536
    if chunk == "copc":
        write_copc(path, las, pages=len(las) % 2 == 0)
    elif chunk is None:
        las.write(path)
    else:
        write_chunked(path, las, chunk)


def places(seed, origin, count=6):
    """Places within and around the slope."""
    rng = np.random.default_rng([seed, 1])
    x, y = rng.uniform(-2.0, 32.0, count).round(4), rng.uniform(-2.0, 22.0, count).round(4)
    x[0], y[0] = 12.345, 6.789  # on the grid of stored points
    return x + origin[0], y + origin[1]


def sampled(surface, x, y):
    """Everything the sampling says, as text that shows each bit."""
    samples, findings = sample_cloud([surface], x, y, SETTING)
    return repr((samples, findings))


FILES = {
    "las-1.2": {"suffix": ".las", "point_format": 3},
    "las-1.4": {"suffix": ".las", "point_format": 6},
    "laz-1.2": {"suffix": ".laz", "point_format": 1, "chunk": 700},
    "laz-1.4": {"suffix": ".laz", "point_format": 7, "chunk": 700},
    "laz-1.4-extra": {"suffix": ".laz", "point_format": 6, "chunk": 700, "extra": True},
    "laz-1.2-one-point": {"suffix": ".laz", "point_format": 3, "chunk": 1},
    "laz-1.4-one-point": {"suffix": ".laz", "point_format": 6, "chunk": 1},
    "copc": {"suffix": ".copc.laz", "point_format": 7, "chunk": "copc"},
    "laz-1.4-varying": {"suffix": ".laz", "point_format": 6, "chunk": "varying"},
}


@pytest.mark.parametrize("kind", FILES)
@settings(
    max_examples=6,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    seed=st.integers(0, 10_000),
    count=st.integers(1, 2500),
    order=st.sampled_from(["time", "shuffled"]),
    origin=st.sampled_from(sorted(ORIGINS)),
    group=st.sampled_from([1, 999, 100_000]),
)
def test_every_path_gives_the_same_bits(tmp_path_factory, kind, seed, count, order, origin, group):
    """Plain, grouped, streamed, indexed: one answer for any cloud, order, size of group and chunk."""
    folder = tmp_path_factory.mktemp("exact")
    how = FILES[kind]
    path = folder / f"cloud{how['suffix']}"
    chunk = how.get("chunk")
    if chunk == 1:
        count = min(count, 100)
    points = made_up(seed, count, order)
    total = len(points["X"])
    if chunk == "varying":
        cuts = np.unique(np.random.default_rng(seed).integers(0, total, 6))
        chunk = [int(n) for n in np.diff(np.unique([0, *cuts, total]))]
    at = ORIGINS[origin]
    write(path, points, how["point_format"], at, chunk=chunk, extra=how.get("extra", False))
    x, y = places(seed, at)
    expected = sampled(PlainCloud(path), x, y)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(las_search, "GROUP_POINTS", group)
        patch.setattr(las_search, "LAS_GROUP_POINTS", group)
        patch.setattr(las_search, "BLOCK_POINTS", 700)
        patch.setattr(las_search, "THREADS", 1 + seed % 3)
        assert sampled(open_las(path), x, y) == expected
        index = folder / "index"
        assert sampled(open_las(path, index), x, y) == expected  # makes the index
        again = open_las(path, index)
        assert sampled(again, x, y) == expected  # uses it, where it saves something
        patch.setattr(las_search, "LARGEST_CHUNK_POINTS", 0)  # one core, streamed
        assert sampled(open_las(path), x, y) == expected


def test_chunks_of_varying_size_are_what_they_claim(tmp_path):
    """The files made here do have chunks of several sizes, and of one point."""
    points = made_up(3, 1000, "time")
    write(tmp_path / "varying.laz", points, 6, (0.0, 0.0), chunk=[100, 700, 1, 299])
    write(tmp_path / "one.laz", points, 6, (0.0, 0.0), chunk=1)
    sizes = [c.points for c in open_las(tmp_path / "varying.laz")._compression.chunks]
    assert sizes == [100, 700, 1, 299]
    ones = open_las(tmp_path / "one.laz")._compression.chunks
    assert {c.points for c in ones} == {1}
    assert len(ones) == 1100
    assert np.array_equal(laspy.read(tmp_path / "varying.laz").X, points["X"])


def test_a_point_on_the_rim_counts_the_same_whatever_came_along(tmp_path):
    """Whether a point exactly at twice the limit is looked at does not depend on its neighbours."""
    points = {
        "X": np.array([4000, 0, -4000, 0, 9000]),
        "Y": np.array([0, 4000, 0, -4000, 9000]),
        "Z": np.array([1000, 2000, 3000, 4000, 5000]),
        "classification": np.full(5, 2),
    }
    for name, origin in ORIGINS.items():
        write(tmp_path / f"{name}.laz", points, 6, origin)
        x, y = np.array([origin[0]]), np.array([origin[1]])
        [sample], _ = sample_cloud([open_las(tmp_path / f"{name}.laz")], x, y, SETTING)
        assert sample.reason == "gap"
        assert sample.support is not None
        assert math.isclose(sample.support.nearest_m or 0.0, 4.0, rel_tol=0.0, abs_tol=1e-9)
        assert sampled(PlainCloud(tmp_path / f"{name}.laz"), x, y) == sampled(
            open_las(tmp_path / f"{name}.laz"), x, y
        )
