"""The demo: what it holds, and that its verdicts follow from its numbers.

All comparisons are made with libraries or formulas that the product does not use for the purpose: laspy's
reader, rasterio, scipy's triangulation, and the terrain's formula written out again.
"""

from __future__ import annotations

import csv
import json
import math
import tomllib
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import laspy
import numpy as np
import pyproj
import pytest
import rasterio
from numpy.typing import NDArray
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import cKDTree
from support import assert_metres

from accuracy.errors import ResultError, UsageError
from accuracy.formats import open_cloud, open_raster
from accuracy.inputs.checkpoints import read_checkpoints, read_measured_points
from accuracy.job import load_job
from accuracy.simulation.demo import DemoJob, build_demo
from accuracy.simulation.demo_job import CRS_WKT

Row = dict[str, str]
Array = NDArray[np.float64]
SURVEY_RMSE_V_M = 0.015


@dataclass
class Demo:
    """One demo, read back by independent means."""

    made: DemoJob
    truth: dict[str, Any]
    job: dict[str, Any]
    table: list[Row]
    tiles: dict[str, laspy.LasData]

    def rows(self, cover: str) -> list[Row]:
        """Points that are tested: of that cover, neither control nor excluded."""
        checkpoints = self.job["checkpoints"]
        left_out = {*checkpoints["control"], *(each["id"] for each in checkpoints["exclude"])}
        return [row for row in self.table if row["cover"] == cover and row["id"] not in left_out]

    @property
    def offset(self) -> Array:
        """Origin of the stored coordinates."""
        return np.asarray(self.tiles["west"].header.offsets)

    @cached_property
    def surface(self) -> LinearNDInterpolator:
        """Triangulation of ground points, relative to `offset`, around the points of the table.

        2.5 m are plenty: circumscribed circles are far smaller, so these triangles are those of the whole
        cloud.
        """
        parts = []
        for tile in self.tiles.values():
            keep = (np.asarray(tile.classification) == 2) & ~np.asarray(tile.withheld).astype(bool)
            parts.append(np.column_stack([tile.X, tile.Y, tile.Z])[keep])
        ground = np.unique(np.concatenate(parts), axis=0) * 0.001
        nearest_m, _ = cKDTree(_coordinates(self.table)[:, :2] - self.offset[:2]).query(
            ground[:, :2]
        )
        ground = ground[nearest_m < 2.5]
        return LinearNDInterpolator(ground[:, :2], ground[:, 2])

    def expected(self, dataset: str, component: str, cover: str) -> dict[str, Any]:
        (entry,) = (
            entry
            for entry in self.truth["expected"]
            if (entry["dataset"], entry["component"], entry["cover"]) == (dataset, component, cover)
        )
        return dict(entry)


@pytest.fixture(scope="module", params=[7, 8], ids=["seed 7", "seed 8"])
def demo(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Demo:
    folder = tmp_path_factory.mktemp("demo") / "new"
    made = build_demo(folder, request.param)
    return Demo(
        made,
        json.loads((folder / "truth.json").read_text("utf-8")),
        tomllib.loads((folder / "job.toml").read_text("utf-8")),
        _read_csv(folder / "checkpoints/site.csv"),
        {name: laspy.read(folder / f"cloud/tile_{name}.laz") for name in ("west", "east")},
    )


def _read_csv(path: Path) -> list[Row]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _coordinates(rows: list[Row]) -> Array:
    return np.array(
        [[float(row[axis]) for axis in ("easting", "northing", "height")] for row in rows]
    )


def _ground_height(terrain: dict[str, Any], east_m: float, north_m: float) -> float:
    """Compute the height of the ground again, one place at a time, from the parameters in truth.json."""
    e, n = east_m - terrain["east_m"], north_m - terrain["north_m"]
    height = terrain["height_0_m"] + terrain["slope_east"] * e + terrain["slope_north"] * n
    for wave in terrain["waves"]:
        azimuth = math.radians(wave["azimuth_deg"])
        along = e * math.sin(azimuth) + n * math.cos(azimuth)
        phase = math.radians(wave["phase_deg"])
        height += wave["amplitude_m"] * math.sin(2 * math.pi * along / wave["wavelength_m"] + phase)

    def laid_over(under: float, over: float, beyond: float, width: float) -> float:
        t = min(max(beyond / width, 0.0), 1.0)
        return over + (under - over) * (6 * t**5 - 15 * t**4 + 10 * t**3)

    road = terrain["road"]
    azimuth, e_road, n_road = (
        math.radians(road["azimuth_deg"]),
        e - road["east_m"],
        n - road["north_m"],
    )
    along = e_road * math.sin(azimuth) + n_road * math.cos(azimuth)
    across = abs(e_road * math.cos(azimuth) - n_road * math.sin(azimuth))
    on_road = road["height_m"] + road["grade"] * along
    height = laid_over(height, on_road, across - road["half_width_m"], road["blend_m"])
    for pad in terrain["pads"]:
        circle = pad["circle"]
        beyond = math.dist((e, n), (circle["east_m"], circle["north_m"])) - circle["radius_m"]
        height = laid_over(height, pad["height_m"], beyond, pad["blend_m"])
    return height


def _cloud_residuals(demo: Demo, cover: str) -> Array:
    """Measured minus surveyed up, on scipy's triangulation of the accepted ground points."""
    surveyed = _coordinates(demo.rows(cover))
    height_m = demo.surface(surveyed[:, :2] - demo.offset[:2]) + demo.offset[2]
    return np.asarray(height_m - surveyed[:, 2])


def _raster_residuals(demo: Demo, cover: str) -> Array:
    """Measured minus surveyed up, bilinear between the four cell centres around each place."""
    surveyed = _coordinates(demo.rows(cover))
    with rasterio.open(demo.made.folder / "dem.tif") as raster:
        band = raster.read(1).astype(float)
        grid = raster.transform
    assert not (band == -9999).any()
    assert (grid.b, grid.d) == (0.0, 0.0)
    column = (surveyed[:, 0] - grid.c) / grid.a - 0.5
    row = (surveyed[:, 1] - grid.f) / grid.e - 0.5
    c, r = np.floor(column).astype(int), np.floor(row).astype(int)
    u, v = column - c, row - r
    upper = band[r, c] * (1 - u) + band[r, c + 1] * u
    lower = band[r + 1, c] * (1 - u) + band[r + 1, c + 1] * u
    return np.asarray(upper * (1 - v) + lower * v - surveyed[:, 2])


def _measured_residuals(demo: Demo, name: str) -> Array:
    """Measured minus surveyed, east and north, matched by id."""
    surveyed = {row["id"]: at for row, at in zip(demo.table, _coordinates(demo.table), strict=True)}
    rows = _read_csv(demo.made.folder / name)
    return np.array(
        [
            (
                float(row["easting"]) - surveyed[row["id"]][0],
                float(row["northing"]) - surveyed[row["id"]][1],
            )
            for row in rows
        ]
    )


def _rmse(residual_m: Array) -> float:
    return math.sqrt(np.mean(residual_m**2))


def test_the_claims_come_out_as_announced(demo: Demo) -> None:
    """One passes, one fails, one has too few points and one is reported, by figures worked out here.

    ASPRS Edition 2 (2024): limit on the RMSE that includes the survey's own, by quadrature; 30 points;
    errors beyond three times the class are to be investigated. NSSDA 1998: 20 points, ratio of the two
    RMSE at least 0.6. (Second-hand.)
    """
    cloud_m, raster_m = (
        _cloud_residuals(demo, "non-vegetated"),
        _raster_residuals(demo, "non-vegetated"),
    )
    evening_m = _measured_residuals(demo, "measured_evening.csv")
    targets_m = _measured_residuals(demo, "measured.csv")
    assert len(cloud_m) == len(raster_m) == 35
    assert math.hypot(_rmse(cloud_m), SURVEY_RMSE_V_M) < 0.045
    assert math.hypot(_rmse(raster_m), SURVEY_RMSE_V_M) > 0.060
    assert len(evening_m) == 12
    assert math.hypot(_rmse(evening_m[:, 0]), _rmse(evening_m[:, 1]), 0.010) < 0.05
    assert len(targets_m) == 33
    ratio = _rmse(targets_m[:, 0]) / _rmse(targets_m[:, 1])
    assert 0.6 < ratio < 1 / 0.6
    assert SURVEY_RMSE_V_M <= 0.05 / 2  # the survey is good enough for the class
    verdicts = {
        (each["dataset"], each["standard"]): each["verdict"] for each in demo.truth["claims"]
    }
    assert verdicts == {
        ("ground cloud", "asprs-2024"): "passes",
        ("elevation raster", "asprs-2024"): "fails",
        ("evening targets", "asprs-2024"): "no-statement",
        ("orthophoto targets", "nssda-1998"): "reported",
    }
    assert set(verdicts) == {(each["dataset"], each["standard"]) for each in demo.job["claim"]}
    limits = [
        each.get("vertical_class_cm", each.get("horizontal_class_cm")) for each in demo.job["claim"]
    ]
    assert limits == [5.0, 5.0, 5.0, None]


def test_the_blunder_alone_is_beyond_three_times_the_class(demo: Demo) -> None:
    """CP17 is 0.20 m too high in the table; every other point is within 15 cm of the cloud."""
    residual_m = _cloud_residuals(demo, "non-vegetated")
    ids = np.array([row["id"] for row in demo.rows("non-vegetated")])
    assert list(ids[np.abs(residual_m) > 0.15]) == ["CP17"]
    assert_metres(residual_m[ids == "CP17"], -0.20, within_m=0.06)
    assert np.abs(residual_m[ids != "CP17"]).max() < 0.07


@pytest.mark.parametrize("cover", ["non-vegetated", "vegetated"])
@pytest.mark.parametrize("dataset", ["ground cloud", "elevation raster"])
def test_up_residuals_are_what_was_put_in(demo: Demo, dataset: str, cover: str) -> None:
    """Mean and RMSE found by independent sampling agree with truth.json within its own allowance."""
    expected = demo.expected(dataset, "up", cover)
    residual_m = (_cloud_residuals if dataset == "ground cloud" else _raster_residuals)(demo, cover)
    assert expected["n"] == len(residual_m) == (35 if cover == "non-vegetated" else 12)
    assert_metres(residual_m.mean(), expected["mean_m"], within_m=expected["within_m"])
    assert_metres(_rmse(residual_m), expected["rmse_m"], within_m=expected["within_m"])


@pytest.mark.parametrize("cover", ["non-vegetated", "vegetated"])
def test_expected_up_figures_follow_from_the_survey_errors(demo: Demo, cover: str) -> None:
    """A deliverable that is too high by b reads b minus the survey's error, point by point (closed form).

    Ranges and grass are random on top: half their variance is left after linear interpolation.
    """
    tested = {row["id"] for row in demo.rows(cover)}
    marks = [mark for mark in demo.truth["marks"] if mark["id"] in tested]
    error_m = np.array([mark["surveyed_m"][2] - mark["true_m"][2] for mark in marks])
    plants, injected = demo.truth["vegetation"], demo.truth["injected"]
    green = cover == "vegetated"
    grass_m = plants["grass_mean_m"] if green else 0.0
    variance_m2 = demo.truth["scanner"]["range_noise_m"] ** 2 / 2
    variance_m2 += plants["grass_std_m"] ** 2 / 2 if green else 0.0
    cloud, raster = (
        demo.expected(name, "up", cover) for name in ("ground cloud", "elevation raster")
    )
    assert_metres(cloud["mean_m"], grass_m - error_m.mean(), within_m=1e-9)
    assert_metres(
        cloud["rmse_m"], math.sqrt(_rmse(grass_m - error_m) ** 2 + variance_m2), within_m=1e-9
    )
    assert_metres(raster["mean_m"], injected["dem_bias_m"] - error_m.mean(), within_m=1e-9)
    assert_metres(raster["rmse_m"], _rmse(injected["dem_bias_m"] - error_m), within_m=1e-9)


@pytest.mark.parametrize(
    ("dataset", "file"),
    [("orthophoto targets", "measured.csv"), ("evening targets", "measured_evening.csv")],
)
def test_horizontal_residuals_are_what_was_put_in(demo: Demo, dataset: str, file: str) -> None:
    """Measured tables differ from the survey by exactly the figures of truth.json, noise about 1.5 cm."""
    residual_m = _measured_residuals(demo, file)
    for axis, component in enumerate(("east", "north")):
        expected = demo.expected(dataset, component, "non-vegetated")
        assert expected["n"] == len(residual_m)
        assert_metres(residual_m[:, axis].mean(), expected["mean_m"], within_m=1e-6)
        assert_metres(_rmse(residual_m[:, axis]), expected["rmse_m"], within_m=1e-6)
        assert 0.008 < expected["rmse_m"] < 0.025


def test_true_heights_follow_from_the_parameters(demo: Demo) -> None:
    """Marks and raster cells stand at the height that truth.json's parameters give, written out again."""
    terrain = demo.truth["terrain"]
    for mark in demo.truth["marks"]:
        east_m, north_m, up_m = mark["true_m"]
        assert_metres(_ground_height(terrain, east_m, north_m), up_m, within_m=1e-6)
    bias_m = demo.truth["injected"]["dem_bias_m"]
    with rasterio.open(demo.made.folder / "dem.tif") as raster:
        band = raster.read(1)
        for row, column in ((0, 0), (119, 191), (60, 10), (35, 61), (84, 132)):
            at = raster.xy(row, column)
            assert_metres(band[row, column], _ground_height(terrain, *at) + bias_m, within_m=2e-4)


def test_survey_errors_are_as_stated(demo: Demo) -> None:
    """The table is the truth plus errors within what the job says of the survey, but for two points."""
    checkpoints = demo.job["checkpoints"]
    assert [row["id"] for row in demo.table] == [mark["id"] for mark in demo.truth["marks"]]
    true_m = np.array([mark["true_m"] for mark in demo.truth["marks"]])
    error_m = _coordinates(demo.table) - true_m
    injected = demo.truth["injected"]
    ids = [row["id"] for row in demo.table]
    error_m[ids.index(injected["blunder"]["id"]), 2] -= injected["blunder"]["up_m"]
    error_m[ids.index(injected["excluded"]["id"]), 2] -= injected["excluded"]["up_m"]
    assert (
        0.005
        < math.hypot(_rmse(error_m[:, 0]), _rmse(error_m[:, 1]))
        < checkpoints["survey_rmse_h_m"]
    )
    assert 0.008 < _rmse(error_m[:, 2]) < checkpoints["survey_rmse_v_m"]
    surveyed = [mark["surveyed_m"] for mark in demo.truth["marks"]]
    assert_metres(_coordinates(demo.table), surveyed, within_m=1e-9)


def test_checkpoints_are_many_well_placed_and_on_even_ground(demo: Demo) -> None:
    """Counts and siting: spread over the site, apart from each other, clear of plants, not steep.

    Limits: 10 degrees and 3 m from breaks as the ASPRS and USGS texts have it (second-hand);
    spacing a tenth of the diagonal of the points' own box, a fifth of the points in each quadrant (NSSDA
    appendix 3-C, second-hand).
    """
    plain, green = demo.rows("non-vegetated"), demo.rows("vegetated")
    assert (len(demo.table), len(plain), len(green)) == (52, 35, 12)
    assert demo.job["checkpoints"]["control"] == ["C1", "C2", "C3", "C4"]
    assert demo.job["checkpoints"]["exclude"][0]["id"] == demo.truth["injected"]["excluded"]["id"]
    at_m = _coordinates(plain)[:, :2]
    gaps_m = np.linalg.norm(at_m[:, None] - at_m[None], axis=2)
    gaps_m[np.diag_indices(len(gaps_m))] = np.inf
    assert gaps_m.min() >= 0.1 * math.hypot(*np.ptp(at_m, axis=0))
    middle_m = (at_m.min(axis=0) + at_m.max(axis=0)) / 2
    quadrant = (at_m > middle_m) @ [1, 2]
    assert np.bincount(quadrant, minlength=4).min() >= 0.2 * len(at_m)
    terrain = demo.truth["terrain"]
    for row in plain + green:
        east_m, north_m = float(row["easting"]), float(row["northing"])
        by_east = _ground_height(terrain, east_m + 0.1, north_m) - _ground_height(
            terrain, east_m - 0.1, north_m
        )
        by_north = _ground_height(terrain, east_m, north_m + 0.1) - _ground_height(
            terrain, east_m, north_m - 0.1
        )
        assert math.degrees(math.atan(math.hypot(by_east, by_north) / 0.2)) < 10
        edge_m = min(
            math.dist(
                (east_m, north_m),
                (terrain["east_m"] + patch["east_m"], terrain["north_m"] + patch["north_m"]),
            )
            - patch["radius_m"]
            for patch in terrain["vegetation"]
        )
        assert edge_m < -2.5 if row["cover"] == "vegetated" else edge_m > 3.0


def test_tiles_are_las_1_4_and_say_where_they_are(demo: Demo) -> None:
    """Version, format, grid and a compound WKT that PROJ finds equal to the EPSG codes."""
    for tile in demo.tiles.values():
        header = tile.header
        assert (str(header.version), header.point_format.id) == ("1.4", 6)
        assert header.global_encoding.wkt
        assert str(header.creation_date) == "2026-05-14" == str(demo.job["job"]["flown"])
        np.testing.assert_array_equal(header.scales, 0.001)
        np.testing.assert_array_equal(header.offsets, demo.tiles["west"].header.offsets)
        assert {vlr.string for vlr in header.vlrs if vlr.record_id == 2112} == {CRS_WKT}
    with rasterio.open(demo.made.folder / "dem.tif") as raster:
        in_raster = pyproj.CRS(raster.crs.to_wkt())
    wanted = pyproj.CRS("EPSG:6341+5703")
    assert pyproj.CRS(CRS_WKT).equals(wanted, ignore_axis_order=True)
    assert in_raster.equals(wanted, ignore_axis_order=True)
    crs = {each["crs"] for each in demo.job["dataset"]} | {demo.job["checkpoints"]["crs"]}
    assert crs == {"EPSG:6341+5703"}


def test_both_tiles_hold_the_points_of_the_seam(demo: Demo) -> None:
    """In the strip the two files hold identical records; outside it none is shared."""
    west, east = demo.tiles["west"].points.array, demo.tiles["east"].points.array
    seam_west = west[west["X"] >= east["X"].min()]
    seam_east = east[east["X"] <= west["X"].max()]
    np.testing.assert_array_equal(seam_west, seam_east)
    counts = demo.truth["points"]
    assert len(seam_west) == counts["in_both_tiles"] > 5000
    assert len(west) + len(east) - len(seam_west) == counts["flown"]


def test_counts_are_as_told(demo: Demo) -> None:
    """Points, ground, noise and withheld agree with truth.json; few enough for a small demo."""
    west, east = demo.tiles["west"].points.array, demo.tiles["east"].points.array
    counts = demo.truth["points"]
    assert counts["tiles"] == {"cloud/tile_west.laz": len(west), "cloud/tile_east.laz": len(east)}
    once = np.unique(np.concatenate([west, east]))  # whole records: each return is one of its own
    tile = demo.tiles["west"]
    merged = laspy.ScaleAwarePointRecord(
        once, tile.point_format, tile.header.scales, tile.header.offsets
    )
    classes = np.asarray(merged.classification)
    assert len(once) == counts["flown"]
    assert 150_000 < len(once) < 300_000
    assert (classes == 2).sum() == counts["ground"]
    assert 0 < (classes == 7).sum() == counts["noise"]
    assert 0 < np.asarray(merged.withheld).sum() == counts["withheld"]
    assert set(classes) == {1, 2, 7}
    assert set(np.asarray(merged.point_source_id)) == {11, 12}
    sizes = [path.stat().st_size for path, _ in demo.made.files]
    assert sum(sizes) < 4_000_000


def test_ground_is_dense_around_the_checkpoints(demo: Demo) -> None:
    """Within a metre of every open checkpoint stand 20 to 65 ground points to the square metre."""
    ground = np.concatenate(
        [
            np.column_stack([t.X, t.Y])[np.asarray(t.classification) == 2]
            for t in demo.tiles.values()
        ]
    )
    ground_m = np.unique(ground, axis=0) * 0.001 + demo.offset[:2]
    for at_m in _coordinates(demo.rows("non-vegetated"))[:, :2]:
        density = (np.hypot(*(ground_m - at_m).T) < 1.0).sum() / math.pi
        assert 20 < density < 65


def test_the_same_seed_gives_the_same_bytes(demo: Demo, tmp_path: Path) -> None:
    """Nothing of clock, machine or folder is in any file; another seed gives other data."""
    again = build_demo(tmp_path / "elsewhere", demo.truth["seed"])
    other = build_demo(tmp_path / "other", demo.truth["seed"] + 1)
    for (here, what), (there, said), (unlike, _) in zip(
        demo.made.files, again.files, other.files, strict=True
    ):
        relative = here.relative_to(demo.made.folder)
        assert (relative, what) == (there.relative_to(again.folder), said)
        data = here.read_bytes()
        assert data == there.read_bytes(), relative
        unseeded = relative.name in ("job.toml", "dem.tif", "pillar2.26o", "antennas.atx")
        assert (data == unlike.read_bytes()) is unseeded, relative
        assert str(demo.made.folder).encode() not in data
    assert {here for here, _ in demo.made.files} == {
        path for path in demo.made.folder.rglob("*") if path.is_file()
    }


def test_the_job_names_what_is_there(demo: Demo) -> None:
    """Every file pattern of the job matches, every claim names a dataset, every id is in the table."""
    folder, job = demo.made.folder, demo.job
    assert demo.made.job == folder / "job.toml"
    assert (folder / job["checkpoints"]["file"]).is_file()
    matched = {
        path
        for each in job["dataset"]
        for pattern in each["files"]
        for path in folder.glob(pattern)
    }
    assert {path.name for path in matched} == {
        "tile_west.laz",
        "tile_east.laz",
        "dem.tif",
        "measured.csv",
        "measured_evening.csv",
    }
    assert {each["dataset"] for each in job["claim"]} == {each["name"] for each in job["dataset"]}
    ids = {row["id"] for row in demo.table}
    assert {
        *job["checkpoints"]["control"],
        *(each["id"] for each in job["checkpoints"]["exclude"]),
    } <= ids


def test_the_product_accepts_its_demo(demo: Demo) -> None:
    """The job loads without a problem and the readers find nothing wrong with the files."""
    job = load_job(demo.made.job)
    assert [each.name for each in job.dataset] == [each["name"] for each in demo.job["dataset"]]
    for path, _ in demo.made.files:
        if path.suffix == ".laz":
            assert open_cloud(path).info.findings == ()
        elif path.suffix == ".tif":
            raster = open_raster(path)
            assert raster.info.findings == ()
            raster.close()
    assert len(read_checkpoints(demo.made.folder / "checkpoints/site.csv").points) == 52
    assert len(read_measured_points(demo.made.folder / "measured.csv").points) == 33


def test_a_folder_of_something_else_is_left_alone(tmp_path: Path) -> None:
    """A folder with other files, a foreign truth.json, or a file in the way: one error, nothing written."""
    for name, text in (
        ("notes.txt", "mine"),
        ("truth.json", '{"format": "other"}'),
        ("truth.json", "[1"),
    ):
        folder = tmp_path / f"folder {len(list(tmp_path.iterdir()))}"
        folder.mkdir()
        (folder / name).write_text(text, encoding="utf-8")
        with pytest.raises(ResultError, match="not made by the demo") as caught:
            build_demo(folder)
        assert caught.value.where == str(folder)
        assert caught.value.remedy
        assert [path.name for path in folder.iterdir()] == [name]
    in_the_way = tmp_path / "file"
    in_the_way.write_text("mine", encoding="utf-8")
    with pytest.raises(ResultError):
        build_demo(in_the_way)
    with pytest.raises(ResultError):
        build_demo(in_the_way / "below")
    assert in_the_way.read_text("utf-8") == "mine"


def test_an_earlier_demo_is_replaced_and_an_empty_folder_used(tmp_path: Path) -> None:
    """Building twice in one folder leaves the second demo, whole."""
    tmp_path.joinpath("here").mkdir()
    build_demo(tmp_path / "here", 1)
    build_demo(tmp_path / "here", 2)
    fresh = build_demo(tmp_path / "fresh", 2)
    for path, _ in fresh.files:
        assert (
            tmp_path / "here" / path.relative_to(fresh.folder)
        ).read_bytes() == path.read_bytes()


def test_a_negative_seed_is_refused(tmp_path: Path) -> None:
    """The seed must be 0 or more; nothing is written."""
    with pytest.raises(UsageError, match="-1"):
        build_demo(tmp_path / "demo", -1)
    assert not (tmp_path / "demo").exists()
