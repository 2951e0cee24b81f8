"""Flights in memory: the same cloud as in the files, the same figures as verify, and what faults do to both."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import laspy
import numpy as np
import pytest
import rasterio
from numpy.typing import NDArray
from scipy.interpolate import LinearNDInterpolator
from support import assert_metres

import accuracy
from accuracy.errors import UsageError
from accuracy.job import load_job
from accuracy.simulation.comparing import triangle_height_m
from accuracy.simulation.folder import write_scenario
from accuracy.simulation.landscape import Target
from accuracy.simulation.memory import Simulated, prepare, simulate
from accuracy.simulation.motion import motion_of
from accuracy.simulation.painting import footprint_points
from accuracy.simulation.scenarios import SCENARIOS, SILENT, Scenario, scenario

Array = NDArray[np.float64]
#: More than one of each family that files can show.
FAULTS = {
    "base-slant": 0.044,
    "base-east": 0.15,
    "boresight-roll": 0.02,
    "clock-offset": 0.01,
    "survey-blunder": 0.2,
    "colour-east": 0.05,
    "time-tags": 18.0,
}


def small() -> Scenario:
    """Give the scenario flat with half of its pulses."""
    whole = scenario("flat")
    return replace(whole, payload=replace(whole.payload, pulse_rate_hz=4500.0, sweep_rate_hz=20.0))


@dataclass
class Both:
    """One flight both ways."""

    folder: Path
    simulated: Simulated
    las: laspy.LasData
    truth: dict[str, Any]


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> Both:
    folder = tmp_path_factory.mktemp("simulated") / "site"
    made = write_scenario(folder, small(), FAULTS, 4)
    las = laspy.read(folder / "cloud.laz")
    assert made.points == len(las.points)
    truth = json.loads((folder / "truth.json").read_text("utf-8"))
    return Both(folder, simulate(small(), FAULTS, 4), las, truth)


def test_points_in_memory_are_those_of_the_file(both: Both) -> None:
    """Around every checkpoint the file holds the same points, with all fields, and no others.

    But for noise, which may come from a beam that ended elsewhere.
    """
    points, las = both.simulated.points, both.las
    good = np.asarray(las.classification) != 7
    xy = np.column_stack([las.x, las.y])
    for row, place in enumerate(both.simulated.checkpoints.surveyed_m):
        away = np.hypot(*(xy - place[:2]).T)
        mine = (points.checkpoint == row) & (points.classification != 7)
        inside = np.hypot(points.x_m - place[0], points.y_m - place[1]) < 0.99
        ours = np.flatnonzero(mine & inside)
        theirs = np.flatnonzero((away < 0.99) & good)
        border = np.abs(away - 0.99) < 2e-3  # rounding to millimetres may take a point across
        assert abs(len(ours) - len(theirs)) <= np.count_nonzero(border)
        if np.any(border):
            continue
        ours = ours[np.lexsort((points.z_m[ours], points.gps_time_s[ours]))]
        theirs = theirs[np.lexsort((las.z[theirs], las.gps_time[theirs]))]
        assert_metres(points.x_m[ours], las.x[theirs], within_m=6e-4)
        assert_metres(points.y_m[ours], las.y[theirs], within_m=6e-4)
        assert_metres(points.z_m[ours], las.z[theirs], within_m=6e-4)
        assert points.gps_time_s[ours].tolist() == las.gps_time[theirs].tolist()
        assert points.line[ours].tolist() == las.point_source_id[theirs].tolist()
        assert points.classification[ours].tolist() == las.classification[theirs].tolist()
        assert (
            points.withheld[ours].tolist() == np.asarray(las.withheld)[theirs].astype(bool).tolist()
        )
        assert points.intensity[ours].tolist() == las.intensity[theirs].tolist()
        assert points.colour[ours, 0].tolist() == las.red[theirs].tolist()
        np.testing.assert_allclose(
            points.scan_angle_deg[ours], las.scan_angle[theirs] * 0.006, rtol=0, atol=0.0031
        )


def test_verify_finds_the_same_heights(both: Both) -> None:
    """The product, from the files alone, finds the heights of the flight in memory, line by line."""
    result = accuracy.verify(load_job(both.folder / "job.toml"))
    data = next(
        each for each in json.loads(result.to_json())["datasets"] if each["name"] == "ground cloud"
    )
    by_id = {each["id"]: each for each in data["residuals"]}
    simulated = both.simulated
    lines = 0
    for row, name in enumerate(simulated.checkpoints.id):
        found = by_id[name]
        if found["residual"] is None:
            assert np.isnan(simulated.up_m[row])
            continue
        assert_metres(found["residual"]["up_m"], simulated.up_m[row], within_m=1.5e-3)
        for line in found["support"]["lines"]:
            seen = simulated.seen
            at = np.flatnonzero((seen.checkpoint == row) & (seen.line == line["id"]))
            assert len(at) == 1
            assert_metres(line["height_m"], seen.height_m[at[0]], within_m=2e-3)
            lines += 1
    assert lines > 100


def test_the_raster_is_the_ground_moved_by_the_faults(both: Both) -> None:
    """Heights of the raster, by GDAL, against the true ground; the roll tilts lines and averages out."""
    truth = both.simulated
    with rasterio.open(both.folder / "dem.tif") as raster:
        heights = raster.read(1, masked=True).filled(np.nan)
        transform = ~raster.transform
    open_ground = np.array(truth.checkpoints.cover) == "non-vegetated"
    column = transform.a * truth.checkpoints.true_m[:, 0] + transform.c
    row = transform.e * truth.checkpoints.true_m[:, 1] + transform.f
    found = heights[np.floor(row).astype(int), np.floor(column).astype(int)]
    # the nearest cell: up to 0.35 m away on slopes up to 8 %
    off_m = (found - truth.checkpoints.true_m[:, 2] - 0.044)[open_ground]
    assert abs(np.nanmedian(off_m)) < 0.015
    assert np.nanmax(np.abs(off_m)) < 0.06
    assert_metres(np.nanmedian(truth.raster_up_m[open_ground]), 0.044, within_m=0.015)


def test_truth_tells_what_was_put_in(both: Both) -> None:
    """Faults with their vectors, the normal of the site, noise levels, and true places."""
    truth, simulated = both.truth, both.simulated
    assert {each["name"]: each["size"] for each in truth["faults"]} == FAULTS
    vectors = {each["name"]: each.get("at_middle_m") for each in truth["faults"]}
    assert vectors["base-slant"] == [0.0, 0.0, 0.044]
    assert vectors["colour-east"] == [0.05, 0.0, 0.0]
    assert vectors["boresight-roll"] is None  # it turns with the heading: see the lines
    longitude, latitude = np.radians(
        [truth["site"]["longitude_deg"], truth["site"]["latitude_deg"]]
    )
    normal = [
        np.cos(latitude) * np.cos(longitude),
        np.cos(latitude) * np.sin(longitude),
        np.sin(latitude),
    ]
    np.testing.assert_allclose(truth["site"]["normal"], normal, rtol=0, atol=1e-10)
    assert truth["noise"]["range_m"] == 0.010
    assert [each["id"] for each in truth["checkpoints"]] == list(simulated.checkpoints.id)
    with (both.folder / "checkpoints.csv").open(encoding="utf-8", newline="") as file:
        table = {row["id"]: row for row in csv.DictReader(file)}
    for each in truth["checkpoints"]:
        row = table[each["id"]]
        written = [float(row[name]) for name in ("easting", "northing", "height")]
        assert written == each["surveyed_m"]
        spoiled = 0.2 if each["id"] == "CP17" else 0.0
        away = np.subtract(each["true_m"], written) - (0, 0, spoiled)
        assert np.abs(away).max() < 0.03  # five standard deviations of the survey
        assert each["lines"] or each["cover"] == "vegetated"
    targets = {each["id"] for each in truth["targets"]}
    assert targets == {each["id"] for each in truth["checkpoints"] if each["target"]}
    with (both.folder / "measured.csv").open(encoding="utf-8", newline="") as file:
        assert {row["id"] for row in csv.DictReader(file)} == targets


def test_measured_targets_follow_the_faults(both: Both) -> None:
    """Centres picked in the cloud lie off by the faults of the flight, within the noise of picking."""
    simulated = both.simulated
    target = np.isfinite(simulated.measured_m[:, 0])
    off = (simulated.measured_m - simulated.checkpoints.surveyed_m)[target]
    assert_metres(np.median(off[:, 0]), 0.15, within_m=0.06)
    silent = simulate(
        scenario("hills").with_noise(SILENT), {"base-north": 0.3, "lever-right": 0.1}, 2
    )
    seen = silent.seen
    shown = np.isfinite(seen.east_m)
    vector = np.column_stack([seen.east_m, seen.north_m, seen.target_up_m])[shown]
    vector = vector - silent.checkpoints.true_m[seen.checkpoint[shown]]
    assert_metres(vector, seen.predicted_m[shown], within_m=2e-3)
    assert len(vector) > 20


@pytest.mark.parametrize("name", list(SCENARIOS))
def test_a_flight_without_faults_is_right_within_its_noise(name: str) -> None:
    """Median height errors on open ground are small, and their spread is that of noise and survey."""
    made = simulate(name, {}, 5)
    open_ground = np.array(made.checkpoints.cover) == "non-vegetated"
    up_m = made.up_m[open_ground]
    up_m = up_m[np.isfinite(up_m)]
    assert len(up_m) >= 30
    assert abs(np.median(up_m)) < 0.03
    spread = 1.4826 * np.median(np.abs(up_m - np.median(up_m)))
    assert 0.004 < spread < 0.025
    green = made.up_m[~open_ground]
    assert (green > 0).all()  # the last return stands on the grass
    assert made.faults == {}
    assert not made.seen.predicted_m.any()


def test_the_seed_decides_and_nothing_else() -> None:
    """Same seed, same flight, in whatever order faults are named; another seed, another flight."""
    one = simulate("flat", {"base-up": 0.05, "boresight-roll": 0.01}, 11)
    two = simulate("flat", {"boresight-roll": 0.01, "base-up": 0.05, "base-east": 0.0}, 11)
    assert list(one.faults) == list(two.faults)
    for part in ("points", "seen", "checkpoints"):
        for name, value in vars(getattr(one, part)).items():
            if isinstance(value, np.ndarray):
                assert np.array_equal(
                    value, getattr(getattr(two, part), name), equal_nan=value.dtype.kind == "f"
                ), name
    other = simulate("flat", {"base-up": 0.05, "boresight-roll": 0.01}, 12)
    assert not np.array_equal(one.checkpoints.surveyed_m, other.checkpoints.surveyed_m)
    assert not np.array_equal(one.height_m, other.height_m, equal_nan=True)


def test_faults_change_what_they_touch_and_leave_the_chances_alone() -> None:
    """The same seed with and without a fault differs by the fault only."""
    without, faulty = (simulate("flat", faults, 3) for faults in ({}, {"base-up": 0.05}))
    assert_metres(faulty.up_m - without.up_m, 0.05, within_m=1e-9)
    session = simulate("flat", {"survey-session": -0.05}, 3)
    moved = session.up_m - without.up_m
    assert_metres(moved, np.where(session.checkpoints.session == 2, -0.05, 0.0), within_m=1e-9)
    cells = simulate("hills", {"half-cell": 0.5}, 3)
    right = simulate("hills", {}, 3)
    assert np.array_equal(cells.up_m, right.up_m, equal_nan=True)
    slope = right.checkpoints.slope
    expected = -(slope * (0.25, -0.25)).sum(axis=1)
    assert_metres(cells.raster_up_m - right.raster_up_m, expected, within_m=0.025)


def test_far_shifts_leave_no_heights_but_targets() -> None:
    """In a wrong zone no checkpoint has a height; the targets are still where they are in the cloud."""
    made = simulate("flat", {"zone": 1.0}, 1)
    assert np.isnan(made.up_m).all()
    assert np.isnan(made.raster_up_m).all()
    shown = np.isfinite(made.measured_m[:, 0])
    assert np.count_nonzero(shown) == 6
    off = (made.measured_m - made.checkpoints.surveyed_m)[shown]
    assert (off[:, 0] < -400_000).all()


@pytest.mark.parametrize("seed", range(20))
def test_heights_are_those_of_the_whole_triangulation(seed: int) -> None:
    """The walk to the triangle over a place gives scipy's linear interpolation, or none outside."""
    random = np.random.default_rng(seed)
    xyz = random.normal(size=(random.integers(4, 60), 3))
    theirs = float(LinearNDInterpolator(xyz[:, :2], xyz[:, 2])(0.0, 0.0))
    ours = triangle_height_m(xyz)
    assert np.isnan(ours) == np.isnan(theirs)
    if not np.isnan(ours):
        assert_metres(ours, theirs, within_m=1e-6)


def test_the_footprint_has_the_moments_of_its_beam() -> None:
    """Mean zero, standard deviation one in both directions, no correlation."""
    u, v = footprint_points()
    assert_metres([u.mean(), v.mean(), (u * v).mean()], 0.0, within_m=1e-12)
    assert_metres([u.var(), v.var()], 1.0, within_m=1e-12)


def test_paint_is_where_it_is_said_to_be() -> None:
    """A checkerboard turned by 30 degrees: the quarter ahead on the right is bright, that on the left dark."""
    target = Target("T", 10.0, 20.0, "checkerboard", 0.5, 30.0)
    for turn, expected in ((45.0, 0.80), (135.0, 0.06), (225.0, 0.80), (315.0, 0.06)):
        bearing = np.radians(30.0 + turn)
        at = np.array([10.0 + 0.2 * np.sin(bearing)]), np.array([20.0 + 0.2 * np.cos(bearing)])
        assert target.reflectance(*at, np.array([0.3]))[0] == expected
    outside = np.array([10.6]), np.array([20.0])
    assert target.reflectance(*outside, np.array([0.3]))[0] == 0.3
    ring = replace(target, kind="ring")
    for away, expected in ((0.05, 0.06), (0.2, 0.80), (0.3, 0.3)):
        assert (
            ring.reflectance(np.array([10.0 + away]), np.array([20.0]), np.array([0.3]))[0]
            == expected
        )


def test_density_is_what_was_asked_for() -> None:
    """A scenario made denser has so many points per square metre and pass under the track."""
    dense = scenario("targets").with_density(240.0)
    made = simulate(dense, {}, 1, radius_m=0.55)
    near = np.abs(made.seen.across_m) < 8.0
    assert abs(np.median(made.seen.points[near]) / (np.pi * 0.25) - 240.0) < 40.0


def test_what_cannot_be_flown_is_refused() -> None:
    """Unknown scenario, negative seed, and a fault that the site does not know."""
    with pytest.raises(UsageError, match="did you mean hills"):
        simulate("hill")
    with pytest.raises(UsageError, match="the seed is -1"):
        simulate("flat", {}, -1)
    with pytest.raises(UsageError, match="no older realisation"):
        simulate("flat", {"frame-older": 1.0})
    assert prepare(scenario("corridor"), {"frame-older": 1.0}, 0).faults


def test_wander_of_a_flight_has_the_stated_size_and_memory() -> None:
    """Over many flights the trajectory's errors have the stated sigma and correlation between passes."""
    flown = scenario("flat")
    first, later = [], []
    for seed in range(400):
        motion = motion_of(flown, seed)
        start = motion.tracks[0].start_s
        position, attitude = motion.errors(np.array([start, start + 60.0]))
        first.append(np.concatenate([position[0], attitude[0]]))
        later.append(np.concatenate([position[1], attitude[1]]))
    a, b = np.array(first), np.array(later)
    noise = flown.noise
    sigma = np.concatenate([np.hypot(noise.gnss_m, noise.shared_m), noise.attitude_deg])
    # a standard deviation from 400 draws is good to 3.5 %, a correlation to 0.05: three of those
    np.testing.assert_allclose(a.std(axis=0) / sigma, 1.0, rtol=0, atol=0.11)
    share = np.square(noise.shared_m) / (np.square(noise.gnss_m) + np.square(noise.shared_m))
    expected = np.concatenate([share + (1 - share) * np.exp(-1.0), np.full(3, np.exp(-2.0))])
    found = (a * b).mean(axis=0) / sigma**2
    np.testing.assert_allclose(found, expected, rtol=0, atol=0.17)
