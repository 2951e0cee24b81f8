from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from memory_cloud import MemoryCloud
from support import assert_metres

from accuracy.sampling import Sample, tin
from accuracy.sampling.tin import CloudSetting, largest_circumradius_m

EAST, NORTH = 412_345_678, 5_012_345_678  # millimetres: northings of 5 000 km


def sample_cloud(*arguments: object, **options: object) -> list[Sample]:
    """Take the samples alone."""
    return tin.sample_cloud(*arguments, **options)[0]


def setting(**changes: object) -> CloudSetting:
    values: dict[str, object] = {"ground_classes": (2,), "metres_h": 1.0, "metres_v": 1.0}
    return CloudSetting(**(values | changes))


def tilted_plane(n: int = 400, seed: int = 1) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Points on a plane of integer slope, so that heights are exact in millimetres: z = x + 2 y."""
    random = np.random.default_rng(seed)
    x = random.integers(0, 10_000, n) * 4
    y = random.integers(0, 10_000, n) * 4
    return EAST + x, NORTH + y, 100_000 + (x + 2 * y) // 4


def test_a_tilted_plane_is_exact_at_northings_of_5000_km() -> None:
    """Linear interpolation of a plane has no error; the coordinates' size must not matter."""
    x, y, z = tilted_plane()
    cloud = MemoryCloud(x, y, z)
    places_x = (EAST + np.array([12_000.5, 20_000.25, 31_001.0])) / 1000
    places_y = (NORTH + np.array([15_000.25, 20_000.5, 9_003.0])) / 1000
    samples = sample_cloud([cloud], places_x, places_y, setting(max_circumradius_m=20.0))
    local = [(12_000.5, 15_000.25), (20_000.25, 20_000.5), (31_001.0, 9_003.0)]
    expected = [100.0 + (a + 2 * b) / 4000 for a, b in local]
    # The place itself is a float: at 5 000 km its own resolution is 1e-9 m.
    assert_metres([s.height for s in samples], expected, within_m=2e-9)
    slope = np.degrees(np.arctan(np.hypot(0.25, 0.5)))
    for sample in samples:
        assert sample.support is not None
        assert abs((sample.support.slope_deg or 0) - slope) < 1e-6
        assert (sample.support.roughness_m or 0) < 1e-6


def test_seam_points_of_overlapping_tiles_count_once() -> None:
    """Two tiles that share points give the same answer as one cloud, other scale and offset included."""
    x, y, z = tilted_plane()
    whole = MemoryCloud(x, y, z)
    west, east = x < EAST + 24_000, x > EAST + 16_000
    tile_a = MemoryCloud(x[west], y[west], z[west], name="a.las")
    tile_b = MemoryCloud(
        (x[east] - 400_000_000) * 10,
        (y[east] - 5_000_000_000) * 10,
        (z[east] - 50_000) * 10,
        scale="0.0001",
        offset=("400000", "5000000", "50"),
        name="b.las",
    )
    px = np.linspace(EAST + 5_000, EAST + 35_000, 40) / 1000
    py = np.full(40, (NORTH + 20_000) / 1000)
    one = sample_cloud([whole], px, py, setting(max_circumradius_m=20.0, design_anps_m=2.0))
    two = sample_cloud(
        [tile_a, tile_b], px, py, setting(max_circumradius_m=20.0, design_anps_m=2.0)
    )
    back = sample_cloud(
        [tile_b, tile_a], px, py, setting(max_circumradius_m=20.0, design_anps_m=2.0)
    )
    assert [s.height for s in two] == [s.height for s in back]
    assert_metres([s.height for s in two], [s.height for s in one], within_m=1e-9)
    _, (finding,) = tin.sample_cloud(
        [tile_a, tile_b], px, py, setting(max_circumradius_m=20.0, design_anps_m=2.0)
    )
    assert (finding.code, finding.evidence["points"]) == (
        "file-duplicate-points",
        int((west & east).sum()),
    )
    assert [s.support.points for s in one if s.support] == [
        s.support.points for s in two if s.support
    ]


def test_coincident_places_take_the_mean_height() -> None:
    """Two points at one place with heights 1.000 and 1.010: the place has 1.005, and says so."""
    cloud = MemoryCloud(
        [0, 0, 2000, 2000, 0], [0, 0, 0, 2000, 2000], [1000, 1010, 1005, 1005, 1005]
    )
    (sample,) = sample_cloud([cloud], np.array([0.0005]), np.array([0.0003]), setting())
    assert_metres(sample.height, 1.005, within_m=1e-12)
    assert sample.support is not None
    assert sample.support.coincident == 1


def test_a_place_on_a_ground_point_has_its_height() -> None:
    """A checkpoint exactly on a return takes that return's height."""
    x, y, z = tilted_plane()
    cloud = MemoryCloud(x, y, z)
    (sample,) = sample_cloud([cloud], x[:1] / 1000, y[:1] / 1000, setting())
    assert_metres(sample.height, z[0] / 1000, within_m=1e-12)


@pytest.mark.parametrize(
    ("place", "classification", "withheld", "reason", "says"),
    [
        ((0.4, 0.3), 2, False, None, ""),
        ((9.0, 9.0), 2, False, "outside", "no points within"),
        ((-0.2, 0.5), 2, False, "outside", "one side"),
        ((0.4, 0.3), 5, False, "no-ground", "classes 5"),
        ((0.4, 0.3), 7, False, "no-ground", "classes 7"),
        ((0.4, 0.3), 18, False, "no-ground", "classes 18"),
        ((0.4, 0.3), 2, True, "no-ground", "none is an accepted point"),
    ],
)
def test_no_height_says_why(
    place: tuple[float, float], classification: int, withheld: bool, reason: str | None, says: str
) -> None:
    """Outside, no ground class, noise or withheld points: no height, with the reason and the numbers."""
    cloud = MemoryCloud(
        [0, 1000, 1000, 0],
        [0, 0, 1000, 1100],
        [0, 0, 0, 0],
        classification=classification,
        withheld=withheld,
    )
    (sample,) = sample_cloud(
        [cloud], np.array([place[0]]), np.array([place[1]]), setting(ground_classes=(2, 7, 18))
    )
    assert sample.reason == reason
    assert (sample.height is None) == (reason is not None)
    assert says in sample.detail


def test_a_triangle_larger_than_allowed_is_a_gap() -> None:
    """Ground points 3 m apart with at most 1 m allowed: no height, and the message names the key."""
    cloud = MemoryCloud([0, 3000, 3000, 0], [0, 0, 3000, 3100], [0, 0, 0, 0])
    (tight,) = sample_cloud(
        [cloud], np.array([1.5]), np.array([1.4]), setting(max_circumradius_m=1.5)
    )
    (wide,) = sample_cloud(
        [cloud], np.array([1.5]), np.array([1.4]), setting(max_circumradius_m=3.0)
    )
    assert tight.reason == "gap"
    assert "max_circumradius_m" in tight.detail
    assert wide.height == 0.0


def test_default_circumradius_is_ten_spacings_and_at_least_a_metre() -> None:
    """Stated in the design: ten mean spacings, at least 1 m; a design spacing of the job wins."""
    dense = MemoryCloud(
        np.arange(10_000) % 100 * 10, np.arange(10_000) // 100 * 10, np.zeros(10_000)
    )
    assert largest_circumradius_m([dense], setting()) == 1.0
    sparse = MemoryCloud(np.arange(100) % 10 * 1000, np.arange(100) // 10 * 1000, np.zeros(100))
    # 9 m by 9 m and 100 points: spacing 0.9 m.
    assert_metres(largest_circumradius_m([sparse], setting()), 9.0, within_m=1e-12)
    assert_metres(largest_circumradius_m([sparse], setting(design_anps_m=0.3)), 3.0, within_m=1e-12)


def test_feet_are_searched_in_feet_and_reported_in_metres() -> None:
    """Stored feet: distances in the support are metres, the height stays in stored units."""
    foot = 0.3048
    cloud = MemoryCloud([0, 4000, 4000, 0], [0, 0, 4000, 4100], [1000, 1000, 1000, 1000])
    options = setting(metres_h=foot, metres_v=foot, max_circumradius_m=1.0)
    (sample,) = sample_cloud([cloud], np.array([2.0]), np.array([1.5]), options)
    assert sample.height == 1.0
    assert sample.support is not None
    assert_metres(sample.support.nearest_m, 2.5 * foot, within_m=1e-12)
    limit = setting(metres_h=foot, metres_v=foot, max_circumradius_m=0.8)
    assert sample_cloud([cloud], np.array([2.0]), np.array([1.5]), limit)[0].reason == "gap"


def test_nearest_takes_the_nearest_ground_point() -> None:
    """The other height method: no interpolation."""
    cloud = MemoryCloud(
        [0, 1000, 1000, 0], [0, 0, 1000, 1000], [5, 6, 7, 8], classification=[2, 5, 2, 2]
    )
    (sample,) = sample_cloud([cloud], np.array([0.9]), np.array([0.2]), setting(), method="nearest")
    assert_metres(sample.height, 0.007, within_m=1e-12)


def test_support_lists_flight_lines_with_their_own_heights() -> None:
    """Two lines 20 mm apart over a plane: each line's height at the place is its own."""
    x, y, z = tilted_plane(600)
    source = np.where(np.arange(600) % 2 == 0, 11, 12)
    cloud = MemoryCloud(x, y, z + np.where(source == 12, 20, 0), source=source)
    place = (EAST + 20_000) / 1000, (NORTH + 20_000) / 1000
    options = setting(design_anps_m=4.0)
    (sample,) = sample_cloud([cloud], np.array(place[:1]), np.array(place[1:]), options)
    assert sample.support is not None
    first, second = sample.support.lines
    assert (first.id, second.id) == (11, 12)
    # A common plane is fitted to both lines; its tilt follows the mixed 20 mm by a few millimetres only.
    assert_metres((second.height_m or 0) - (first.height_m or 0), 0.020, within_m=0.003)


@given(
    seed=st.integers(0, 2**32 - 1),
    coarse=st.sampled_from([1, 50, 250]),
    cut=st.floats(0.1, 0.9),
)
@settings(max_examples=40, deadline=None)
def test_tiles_never_change_a_height(seed: int, coarse: int, cut: float) -> None:
    """Cut a cloud into two overlapping tiles anywhere: the same heights to the last bit, or none at all."""
    random = np.random.default_rng(seed)
    x, y = (random.integers(0, 5_000 // coarse, 300) * coarse for _ in range(2))
    z = random.integers(0, 500, 300)
    px, py = (random.integers(0, 5_000, 20) / 1000 for _ in range(2))
    left, right = x <= 5_000 * cut + 300, x >= 5_000 * cut - 300
    whole = sample_cloud([MemoryCloud(x, y, z)], px, py, setting())
    tiles = [MemoryCloud(x[part], y[part], z[part]) for part in (left, right) if part.any()]
    parts = sample_cloud(
        tiles,
        px,
        py,
        setting(max_circumradius_m=largest_circumradius_m([MemoryCloud(x, y, z)], setting())),
    )
    assert [s.height for s in parts] == [s.height for s in whole]


def test_a_box_that_is_not_believed_decides_nothing() -> None:
    """A header's box of nonsense gives neither a mean spacing nor the reason 'outside'."""
    cloud = MemoryCloud([0, 1000, 1000, 0], [0, 0, 1000, 1100], [0, 0, 0, 0])
    cloud.info = replace(cloud.info, bounds=(5.0, 5.0, 1e300, float("nan")), bounds_believed=False)
    assert largest_circumradius_m([cloud], setting()) == 1.0
    (beside,) = sample_cloud([cloud], np.array([-0.2]), np.array([0.5]), setting())
    (far,) = sample_cloud([cloud], np.array([900.0]), np.array([900.0]), setting())
    assert (beside.reason, far.reason) == ("gap", "no-points")


def test_noise_among_the_ground_classes_is_told() -> None:
    """Class 7 in ``ground_classes`` is not used as ground, and that is said."""
    cloud = MemoryCloud(
        [0, 1000, 1000, 0], [0, 0, 1000, 1100], [0, 0, 0, 0], classification=[2, 2, 2, 7]
    )
    _, findings = tin.sample_cloud(
        [cloud], np.array([0.6]), np.array([0.3]), setting(ground_classes=(2, 7))
    )
    assert [f.code for f in findings] == ["sampling-noise-not-ground"]


def test_synthetic_points_are_never_ground() -> None:
    """A point flagged synthetic gives no height, whatever its class."""
    cloud = MemoryCloud([0, 1000, 1000, 0], [0, 0, 1000, 1100], [0, 0, 0, 0])
    cloud.batch = replace(cloud.batch, synthetic=np.ones(4, bool))
    (sample,) = sample_cloud([cloud], np.array([0.4]), np.array([0.3]), setting())
    assert sample.reason == "no-ground"


def test_equal_heights_at_one_place_weigh_once() -> None:
    """Heights 1.000, 1.000 (two flight lines) and 1.010 at one place: the mean of the distinct, 1.005."""
    cloud = MemoryCloud(
        [0, 0, 0, 2000, 2000, 0],
        [0, 0, 0, 0, 2000, 2000],
        [1000, 1000, 1010, 1005, 1005, 1005],
        source=[1, 2, 1, 1, 1, 1],
    )
    (sample,) = sample_cloud([cloud], np.array([0.0005]), np.array([0.0003]), setting())
    assert_metres(sample.height, 1.005, within_m=1e-12)


def test_points_of_two_flight_lines_at_one_place_are_two_points() -> None:
    """Only copies are put aside: the same place and height from another line supports that line."""
    cloud = MemoryCloud(
        [0, 1000, 1000, 0, 0], [0, 0, 1000, 1100, 0], [0, 0, 0, 0, 0], source=[1, 1, 1, 1, 2]
    )
    samples, findings = tin.sample_cloud(
        [cloud], np.array([0.4]), np.array([0.3]), setting(design_anps_m=1.0)
    )
    assert findings == ()
    assert samples[0].support is not None
    assert [line.id for line in samples[0].support.lines] == [1, 2]


def test_a_circumradius_equal_to_the_limit_is_accepted() -> None:
    """Right-angled 3-4-5 triangle: circumradius exactly 2.5 m, and 2.5 m are allowed."""
    cloud = MemoryCloud([0, 4000, 0], [0, 0, 3000], [0, 0, 0])
    place = np.array([1.0]), np.array([1.0])
    (at,) = sample_cloud([cloud], *place, setting(max_circumradius_m=2.5))
    (below,) = sample_cloud([cloud], *place, setting(max_circumradius_m=2.4999))
    assert (at.height, below.reason) == (0.0, "gap")
