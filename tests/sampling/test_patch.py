"""Heights from a neighbourhood: against closed forms, and against numpy on the whole cloud."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from memory_cloud import MemoryCloud
from support import assert_metres

from accuracy.sampling import Patch, Sample
from accuracy.sampling.patch import patch_of, sample_patches
from accuracy.sampling.tin import CloudSetting

EAST, NORTH = 412_345_678, 5_012_345_678  # millimetres: northings of 5 000 km
METHODS = ("plane", "neighbourhood-mean")


def setting(**changes: object) -> CloudSetting:
    values: dict[str, object] = {"ground_classes": (2,), "metres_h": 1.0, "metres_v": 1.0}
    return CloudSetting(**(values | changes))


def heights(
    clouds: list[MemoryCloud],
    x: object,
    y: object,
    method: str = "plane",
    patch: Patch | None = None,
    **changes: object,
) -> list[Sample]:
    found, _ = sample_patches(
        clouds,
        np.atleast_1d(np.asarray(x, float)),
        np.atleast_1d(np.asarray(y, float)),
        setting(**changes),
        patch or Patch("circle", 2.0, 3),
        method=method,
    )
    return found


def grid(half: int, step: int) -> tuple[np.ndarray, np.ndarray]:
    """Points of a square grid around the origin, millimetres."""
    line = np.arange(-half, half + 1) * step
    u, v = (g.ravel() for g in np.meshgrid(line, line))
    return u, v


@pytest.mark.parametrize("shape", ["circle", "square"])
@pytest.mark.parametrize(("east", "north"), [(0, 0), (1, 0), (1, 2), (-3, 1)])
def test_a_tilted_plane_is_exact(shape: str, east: int, north: int) -> None:
    """On a plane at northings of 5 000 km: its own plane is exact anywhere, its mean where centred."""
    u, v = grid(60, 100)
    cloud = MemoryCloud(EAST + u, NORTH + v, 100_000 + (east * u + north * v) // 10)
    patch = Patch(shape, 3.0, 6)
    off_x, off_y = 0.0375, -0.0125  # off the grid: the neighbourhood is not centred there
    (at,) = heights([cloud], EAST / 1000 + off_x, NORTH / 1000 + off_y, "plane", patch)
    assert_metres(at.height, 100.0 + (east * off_x + north * off_y) / 10, within_m=3e-9)
    (centred,) = heights([cloud], EAST / 1000, NORTH / 1000, "neighbourhood-mean", patch)
    assert_metres(centred.height, 100.0, within_m=3e-9)
    assert at.support is not None
    assert centred.support is not None
    slope = math.hypot(east, north) / 10
    assert abs((at.support.slope_deg or 0) - math.degrees(math.atan(slope))) < 1e-6
    assert (at.support.roughness_m or 0.0) < 1e-8
    assert_metres(centred.support.centroid_m, 0.0, within_m=1e-12)


def test_a_mean_is_off_by_slope_times_the_distance_of_the_middle() -> None:
    """On z = x / 10 the mean is the plane's height at the mean position of the points, no more, no less."""
    random = np.random.default_rng(5)
    u, v = random.integers(-100, 101, (2, 50)) * 10
    cloud = MemoryCloud(u, v, u // 10)
    (mean,) = heights([cloud], 0.0, 0.0, "neighbourhood-mean", Patch("square", 2.0, 3))
    assert_metres(mean.height, u.mean() / 10_000, within_m=1e-12)
    assert mean.support is not None
    assert mean.support.points == 50
    assert_metres(mean.support.centroid_m, np.hypot(u.mean(), v.mean()) / 1000, within_m=1e-12)
    assert_metres(mean.support.spread_m, np.std(u / 10_000, ddof=1), within_m=1e-12)


def test_paraboloid_by_its_closed_form() -> None:
    """On z = x^2 + y^2 over a full square grid, plane and mean are twice the moment of one axis."""
    half, step = 10, 0.1
    u, v = grid(half, 100)
    z_mm = (u * u + v * v) // 1000  # 100 mm steps: x^2 in mm is a whole number
    cloud = MemoryCloud(u, v, z_mm)
    moment = (
        step**2 * half * (half + 1) / 3.0
    )  # mean of k^2 for k from -half to half is half (half + 1) / 3
    for method in METHODS:
        (at,) = heights([cloud], 0.0, 0.0, method, Patch("square", 2.0, 6))
        assert_metres(at.height, 2.0 * moment, within_m=1e-12)
        assert at.support is not None
        assert at.support.slope_deg is not None
        assert at.support.slope_deg < 1e-9
        n = (2 * half + 1) ** 2
        variance = np.var((u * u + v * v) / 1e6)  # numpy, of the heights alone
        assert_metres(at.support.roughness_m, math.sqrt(variance * n / (n - 3)), within_m=1e-9)
        assert_metres(at.support.spread_m, math.sqrt(variance * n / (n - 1)), within_m=1e-9)


def brute(
    x: np.ndarray, y: np.ndarray, z: np.ndarray, px: float, py: float, patch: Patch, method: str
) -> float:
    """Take the height from all points at once: numpy's polynomial fit and mean, nothing of ours."""
    u, v = x / 1000 - px, y / 1000 - py
    half = patch.across_m / 2
    near = np.hypot(u, v) <= half if patch.shape == "circle" else np.maximum(abs(u), abs(v)) <= half
    if method == "neighbourhood-mean":
        return float(np.mean(z[near]) / 1000)
    normal = np.array([[1, a, b] for a, b in zip(u[near], v[near], strict=True)])
    return float(np.linalg.solve(normal.T @ normal, normal.T @ (z[near] / 1000))[0])


@pytest.mark.parametrize("shape", ["circle", "square"])
@pytest.mark.parametrize("method", METHODS)
def test_against_numpy_on_the_whole_cloud(method: str, shape: str) -> None:
    """200 places on rough ground: the same heights as normal equations over all points give."""
    random = np.random.default_rng(8)
    x, y = random.integers(0, 20_000, (2, 6000))
    z = (300 * np.sin(x / 2500) + 0.05 * y + random.normal(0, 30, len(x))).astype(int)
    px, py = random.integers(1_000, 19_000, (2, 200)) / 1000 + 0.0005  # no point on a border
    patch = Patch(shape, 1.8, 6)
    found = heights([MemoryCloud(x, y, z)], px, py, method, patch)
    expected = [brute(x, y, z, a, b, patch, method) for a, b in zip(px, py, strict=True)]
    got = [sample.height for sample in found]
    assert None not in got
    assert_metres(got, expected, within_m=1e-9)


def test_borders_are_included_exactly() -> None:
    """Points on the circle (3-4-5) and on the side of the square count; one millimetre beyond they do not."""
    u = np.array([300, -300, 0, 0, 400, 401])
    v = np.array([400, -400, 500, -500, 300, 300])
    cloud = MemoryCloud(u, v, np.arange(6))
    (circle,) = heights([cloud], 0.0, 0.0, "neighbourhood-mean", Patch("circle", 1.0, 3))
    assert circle.support is not None
    assert circle.support.points == 5
    u = np.array([500, -500, 500, -500, 501, 0])
    v = np.array([500, -500, -500, 500, 0, -501])
    cloud = MemoryCloud(u, v, np.zeros(6))
    (square,) = heights([cloud], 0.0, 0.0, "neighbourhood-mean", Patch("square", 1.0, 3))
    assert square.support is not None
    assert square.support.points == 4


RING = [(400, 0), (0, 400), (-400, 0), (0, -400), (300, 300), (-300, -300)]


@pytest.mark.parametrize(
    ("points", "reason", "says"),
    [
        (RING, None, ""),
        (RING[:5], "few-points", "5 ground points in the circle of 2 m, at least 6"),
        ([(100 * i, 50 * i) for i in range(-3, 4)], "one-line", "7 ground points"),
        ([(x + 500, y) for x, y in RING], "one-sided", "to one side of it"),
        ([(x + 5000, y) for x, y in RING], "outside", "no points in the circle of 2 m"),
        ([(x + 401, y) for x, y in RING], "outside", "to one side of it"),
        ([(x + 400, y) for x, y in RING], None, ""),
    ],
)
@pytest.mark.parametrize("method", METHODS)
def test_no_height_says_why(
    method: str, points: list[tuple[int, int]], reason: str | None, says: str
) -> None:
    """Too few, on a line, to one side, none at all: no height, the reason and the numbers; on a corner: one."""
    far = [] if reason == "outside" else [(-9000, -9000), (9000, 9000)]
    u, v = np.array(points + far).T
    (sample,) = heights([MemoryCloud(u, v, u * 0)], 0.0, 0.0, method, Patch("circle", 2.0, 6))
    assert sample.reason == reason
    assert (sample.height is None) == (reason is not None)
    assert says in sample.detail


def test_ground_only_counts() -> None:
    """Vegetation, noise, withheld and synthetic points neither give heights nor surround a place."""
    u, v = np.array(RING + [(10, 10)] * 4).T
    z = np.array([0] * 6 + [9000] * 4)
    classes = np.array([2] * 6 + [5, 7, 2, 2])
    withheld = np.array([False] * 8 + [True, False])
    cloud = MemoryCloud(u, v, z, classification=classes, withheld=withheld)
    cloud.batch.synthetic[9] = True
    for method in METHODS:
        (sample,) = heights([cloud], 0.0, 0.0, method, ground_classes=(2, 7))
        assert_metres(sample.height, 0.0, within_m=1e-12)
        assert sample.support is not None
        assert sample.support.classes == {2: 8, 5: 1, 7: 1}
    none = MemoryCloud(u, v, z, classification=5)
    (sample,) = heights([none], 0.0, 0.0)
    assert sample.reason == "no-ground"
    assert "classes 5" in sample.detail


def test_feet_are_searched_in_feet_and_reported_in_metres() -> None:
    """Stored feet: 2 m across are 3.28 feet from side to middle; heights stay in stored units."""
    foot = 0.3048
    u, v = np.array([(3280, 0), (0, 3280), (-3280, 0), (0, -3280), (3282, 100), (0, 0)]).T
    cloud = MemoryCloud(u, v, [1000, 1000, 1000, 1000, 9000, 1400])
    found = heights([cloud], 0.0, 0.0, "neighbourhood-mean", metres_h=foot, metres_v=foot)
    assert_metres(found[0].height, 1.08, within_m=1e-12)
    assert found[0].support is not None
    assert found[0].support.points == 5
    assert_metres(found[0].support.spread_m, math.sqrt(0.032) * foot, within_m=1e-12)


def test_points_of_two_lines_at_one_place_are_two_points_and_copies_one() -> None:
    """A file handed in twice changes nothing and is told; a return of another flight line counts."""
    u, v = np.array(RING).T
    z = np.arange(6) * 10
    one = MemoryCloud(u, v, z)
    for method in METHODS:
        single = heights([one], 0.0, 0.0, method)
        twice, findings = sample_patches(
            [one, one],
            np.zeros(1),
            np.zeros(1),
            setting(),
            Patch("circle", 2.0, 3),
            method=method,
        )
        assert single == twice
        assert [f.code for f in findings] == ["file-duplicate-points"]
    other = MemoryCloud(u[:1], v[:1], z[:1] + 60, source=2)
    (both,) = heights([one, other], 0.0, 0.0, "neighbourhood-mean")
    assert_metres(both.height, (z.sum() + 60) / 7000, within_m=1e-12)
    assert both.support is not None
    assert [line.id for line in both.support.lines] == [1, 2]
    assert both.support.coincident == 1


@given(
    seed=st.integers(0, 2**32 - 1),
    method=st.sampled_from(METHODS),
    shape=st.sampled_from(["circle", "square"]),
    cut=st.floats(0.1, 0.9),
)
@settings(max_examples=40, deadline=None)
def test_neither_tiles_nor_order_change_a_height(
    seed: int, method: str, shape: str, cut: float
) -> None:
    """Any order of points, any cut into overlapping tiles, in any order: the same bits."""
    random = np.random.default_rng(seed)
    x, y = random.integers(0, 5_000, (2, 400))
    z = random.integers(0, 500, 400)
    px, py = random.integers(0, 5_000, (2, 15)) / 1000
    patch = Patch(shape, 0.9, 4)
    whole = heights([MemoryCloud(x, y, z)], px, py, method, patch)
    mixed = random.permutation(400)
    left, right = x <= 5_000 * cut + 300, x >= 5_000 * cut - 300
    tiles = [MemoryCloud(x[part], y[part], z[part]) for part in (right, left) if part.any()]
    for clouds in ([MemoryCloud(x[mixed], y[mixed], z[mixed])], tiles):
        other = heights(clouds, px, py, method, patch)
        assert [s.height for s in other] == [s.height for s in whole]
        assert [s.support for s in other] == [s.support for s in whole]


@given(
    seed=st.integers(0, 2**32 - 1),
    method=st.sampled_from(METHODS),
    east=st.integers(-(10**9), 10**9),
    north=st.integers(-(10**9), 10**9),
    up=st.integers(-(10**6), 10**6),
)
@settings(max_examples=40, deadline=None)
def test_moved_along_with_its_cloud_a_height_stays(
    seed: int, method: str, east: int, north: int, up: int
) -> None:
    """Cloud and places moved together by any way: heights move by the lift alone."""
    random = np.random.default_rng(seed)
    x, y = random.integers(0, 3_000, (2, 200))
    z = random.integers(0, 500, 200)
    px, py = random.integers(500, 2_500, (2, 5))
    here = heights([MemoryCloud(x, y, z)], px / 1000, py / 1000, method)
    cloud = MemoryCloud(x + east, y + north, z + up)
    there = heights([cloud], (px + east) / 1000, (py + north) / 1000, method)
    for one, other in zip(here, there, strict=True):
        assert one.reason == other.reason
        if one.height is not None:
            assert other.height is not None
            assert_metres(other.height - up / 1000, one.height, within_m=1e-9)


@given(seed=st.integers(0, 2**32 - 1), method=st.sampled_from(METHODS), quarters=st.integers(1, 3))
@settings(max_examples=30, deadline=None)
def test_turned_by_quarters_a_height_stays(seed: int, method: str, quarters: int) -> None:
    """Ground turned about the place by 90, 180 or 270 degrees, in a circle and in a square."""
    random = np.random.default_rng(seed)
    u, v = random.integers(-1_000, 1_001, (2, 80))
    z = random.integers(0, 500, 80)
    a, b = u, v
    for _ in range(quarters):
        a, b = -b, a
    for shape in ("circle", "square"):
        patch = Patch(shape, 1.5, 4)
        (one,) = heights([MemoryCloud(u, v, z)], 0.0, 0.0, method, patch)
        (other,) = heights([MemoryCloud(a, b, z)], 0.0, 0.0, method, patch)
        assert one.reason == other.reason
        assert_metres(one.height or 0.0, other.height or 0.0, within_m=1e-9)


@pytest.mark.parametrize("turn_deg", [10.0, 37.0, 100.0])
def test_a_plane_in_any_direction_has_its_slope(turn_deg: float) -> None:
    """The same 20 % slope uphill in any direction: height, slope and evenness do not depend on it."""
    u, v = grid(20, 100)
    turn = math.radians(turn_deg)
    z = np.rint(200 * (math.cos(turn) * u + math.sin(turn) * v)).astype(int)  # micrometres
    cloud = MemoryCloud(u * 1000, v * 1000, z, scale="0.000001")
    (at,) = heights([cloud], 0.0, 0.0)
    assert_metres(at.height, 0.0, within_m=1e-6)
    assert at.support is not None
    assert abs((at.support.slope_deg or 0.0) - math.degrees(math.atan(0.2))) < 1e-4


def test_within_its_points_a_plane_is_never_worse_than_one_point() -> None:
    """Convexity of the leverage: inside the hull the variance of the height is at most that of a point.

    Simulated: noise of 10 mm on a flat strip 2 m by 2 cm, the place at its end: the worst that is accepted.
    """
    random = np.random.default_rng(2)
    u, v = np.array([(0, 10), (0, -10), (1000, 0), (1000, 5), (1000, -5), (950, 0)]).T
    found = []
    for _ in range(400):
        cloud = MemoryCloud(u, v, np.rint(random.normal(0, 1000, 6)), scale="0.00001")
        scaled = MemoryCloud(u, v, cloud.batch.z // 100)
        (sample,) = heights([scaled], 0.0, 0.0, "plane", Patch("circle", 2.0, 4))
        found.append(sample.height)
    assert None not in found
    assert float(np.std(np.array(found, float))) < 0.0115  # 10 mm, and the chance of 400 trials


def test_sizes_in_spacings_are_multiplied_as_decimals() -> None:
    """5 spacings of 0.07 m are 0.35 m, not 0.35000000000000003; defaults of shape and number."""
    patch = patch_of("neighbourhood-mean", None, None, 5.0, 0.07, None)
    assert patch == Patch("circle", 0.35, 3)
    assert patch_of("plane", "square", 1.5, None, None, None) == Patch("square", 1.5, 6)
    assert patch_of("plane", "square", 1.5, None, None, 20) == Patch("square", 1.5, 20)
    assert patch_of("tin", None, None, None, 0.07, None) is None
    assert patch_of(None, None, None, None, None, None) is None


@pytest.mark.parametrize(("shape", "reach"), [("circle", 1.0), ("square", math.sqrt(2.0))])
def test_only_what_is_needed_is_asked_for(shape: str, reach: float) -> None:
    """The files are asked for the circle, or the circle around the square, and a micrometre."""
    asked = []

    def read(surfaces, x, y, radius, progress):  # type: ignore[no-untyped-def]  # stands in for a Reader
        asked.append(radius)
        return [surface.batch for surface in surfaces]

    u, v = np.array(RING).T
    sample_patches(
        [MemoryCloud(u, v, u)],
        np.zeros(1),
        np.zeros(1),
        setting(),
        Patch(shape, 2.0, 3),
        method="plane",
        read=read,
    )
    assert_metres(asked, [reach], within_m=2e-6)
    assert asked[0] > reach


def test_other_scales_and_offsets_of_tiles() -> None:
    """Two tiles on other grids: the height of their points together."""
    u, v = np.array(RING).T
    z = np.arange(6) * 10
    one = MemoryCloud(u[:3], v[:3], z[:3])
    other = MemoryCloud(
        (u[3:] - 7000) * 10,
        v[3:] * 10,
        (z[3:] + 50) * 10,
        scale="0.0001",
        offset=("7", "0", "-0.05"),
    )
    whole = MemoryCloud(u, v, z)
    for method in METHODS:
        parts = heights([one, other], 0.0, 0.0, method)
        assert_metres(parts[0].height, heights([whole], 0.0, 0.0, method)[0].height, within_m=1e-12)


def test_unbelieved_boxes_say_no_more_than_one_sided() -> None:
    """A header of nonsense never makes a place 'outside'."""
    u, v = np.array([(x + 5000, y) for x, y in RING]).T
    cloud = MemoryCloud(u, v, u)
    cloud.info = replace(cloud.info, bounds=(0.0, 0.0, math.nan, 1e300), bounds_believed=False)
    assert heights([cloud], 0.0, 0.0)[0].reason == "no-points"
