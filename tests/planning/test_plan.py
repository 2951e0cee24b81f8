"""Plans of checkpoints, by the library and by the command."""

from __future__ import annotations

import csv
import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from jobs import CRS, EAST, NORTH, write_job, write_plane_cloud, write_points_table
from support import assert_metres

from accuracy.cli import run
from accuracy.errors import AccuracyError, JobError
from accuracy.inputs.checkpoints import read_checkpoints
from accuracy.job import load_job
from accuracy.layout.distribution import spread
from accuracy.layout.footprint import Footprint
from accuracy.pipeline import verify
from accuracy.planning import FieldPlan, plan
from accuracy.planning.ground import Ground, GroundMap
from accuracy.planning.places import candidates, choose
from accuracy.planning.wants import covers_wanted, wants_of
from accuracy.reports.plan_files import render_plan
from accuracy.standards.library import load_standard
from accuracy.units import LengthUnit

CLAIM = {"dataset": "cloud", "standard": "asprs-2024", "vertical_class_cm": 5.0}


def job_at(
    folder: Path, *, claims: object = (CLAIM,), text: str = "", raster: bool = False
) -> Path:
    """Write a job without a table of checkpoints."""
    write_plane_cloud(folder / "a.laz", wkt=None, n=20_000)
    datasets = [{"name": "cloud", "kind": "point-cloud", "files": ["a.laz"], "crs": CRS}]
    if raster:
        datasets.append({"name": "dem", "kind": "raster", "files": ["dem.tif"], "crs": CRS})
        half_steep(folder / "dem.tif")
    path = write_job(folder, datasets=datasets, claims=claims)
    written = path.read_text("utf-8").replace('file = "points.csv"\n', "")
    path.write_text(written + text, "utf-8")
    return path


def half_steep(path: Path) -> None:
    """Write a raster that is flat in the west and has strips of 30 degrees in the east."""
    import rasterio

    x = (np.arange(80) + 0.5) * 0.5
    height = np.where(x < 20, 0.0, np.abs((x % 8) - 4) * math.tan(math.radians(30)))
    values = np.tile(height.astype(np.float32), (80, 1)) + 100
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=80,
        width=80,
        count=1,
        dtype="float32",
        transform=rasterio.Affine(0.5, 0, EAST, 0, -0.5, NORTH + 40),
        crs="EPSG:6341",
    ) as file:
        file.write(values, 1)


def planned(path: Path, **more: int) -> FieldPlan:
    return plan(load_job(path, planning=True), **more)


def square(size_m: float = 200.0, cell_m: float = 2.0) -> Footprint:
    n = round(size_m / cell_m)
    return Footprint(0.0, 0.0, cell_m, np.ones((n, n), np.bool_), "a test")


@pytest.mark.parametrize("seed", range(5))
def test_thirty_points_keep_quadrants_and_spacing(seed: int) -> None:
    """On a square, 30 points: 20 % in each quadrant, a tenth of the diagonal apart, 3 m from the edge."""
    area = square()
    places = candidates(area, np.empty((0, 2)), 0.0)
    spots = choose(area, places, 30, seed, None, 10.0, 0.20, 0.1 * area.diagonal_m)
    at = np.array([(s.east_m, s.north_m) for s in spots])
    found = spread(area, at)
    assert min(found.quadrants) >= 6
    assert found.nearest_m.min() >= 0.1 * area.diagonal_m
    assert at.min() >= 3.0
    assert at.max() <= 197.0
    again = choose(area, places, 30, seed, None, 10.0, 0.20, 0.1 * area.diagonal_m)
    assert again == spots


def test_points_keep_away_from_control_and_inside_a_bent_area() -> None:
    """No point within the distance to control; none in the quadrant that the area leaves out."""
    filled = np.ones((100, 100), np.bool_)
    filled[50:, 50:] = False
    area = Footprint(0.0, 0.0, 2.0, filled, "a test")
    control = np.array([[50.0, 50.0], [150.0, 20.0]])
    places = candidates(area, control, 25.0)
    spots = choose(area, places, 20, 3, None, 10.0, 0.20, 10.0)
    at = np.array([(s.east_m, s.north_m) for s in spots])
    assert np.hypot(*(at[:, None] - control[None]).T).min() >= 25.0
    assert area.contains(at).all()
    assert not ((at > 102).all(axis=1)).any()


def test_flat_ground_is_preferred() -> None:
    """Where strips of 6 m are steep, all points stand on the flat ones."""

    def look(east_m: float, north_m: float) -> Ground:
        return Ground(0.0, 2.0 if east_m % 16 < 10 else 25.0, 0.0)

    area = square()
    spots = choose(area, candidates(area, np.empty((0, 2)), 0.0), 30, 1, look, 10.0, 0.2, 0.0)
    assert all(s.ground is not None and s.ground.slope_deg == 2.0 for s in spots)


def test_the_ground_of_a_raster(tmp_path: Path) -> None:
    """A plane of 10 % in feet: 5.71 degrees, no deviation; beside a gap and outside: not known."""
    import rasterio

    columns = np.mgrid[0:40, 0:40][1]
    values = (100 + 0.1 * columns).astype(np.float64)
    values[0, 0] = -9999.0
    with rasterio.open(
        tmp_path / "a.tif",
        "w",
        driver="GTiff",
        height=40,
        width=40,
        count=1,
        dtype="float64",
        nodata=-9999.0,
        transform=rasterio.Affine(1.0, 0, 0.0, 0, -1.0, 40.0),
    ) as file:
        file.write(values, 1)
    from accuracy.formats import open_raster

    ground = GroundMap([open_raster(tmp_path / "a.tif")], LengthUnit.FOOT, LengthUnit.FOOT)
    found = ground.at(20.5 * 0.3048, 20.5 * 0.3048)
    assert found is not None
    assert_metres(found.slope_deg, math.degrees(math.atan(0.1)), within_m=1e-9)
    assert_metres([found.height_m, found.deviation_m], [102.0 * 0.3048, 0.0], within_m=1e-9)
    assert ground.at(0.5 * 0.3048, 39.5 * 0.3048) is None
    assert ground.at(-5.0, 5.0) is None
    ground.close()


def test_a_job_without_any_checkpoint_is_planned(tmp_path: Path) -> None:
    """30 of each cover by Edition 2; verify refuses the same job and says why."""
    path = job_at(tmp_path)
    found = planned(path)
    covers = [p.cover for p in found.points]
    assert (covers.count("non-vegetated"), covers.count("vegetated")) == (30, 30)
    assert len({p.id for p in found.points}) == 60
    (want,) = found.wants
    assert (want.number, want.survey_ratio) == (30, 2.0)
    assert_metres(want.survey_allowed_m or 0, 0.025, within_m=1e-12)
    good = [method.name for method in want.methods if method.enough]
    assert good == [
        "closed digital level loop",
        "real-time network GNSS",
        "GNSS by NGS-58, 2 cm",
        "real-time PPP",
    ]
    with pytest.raises(JobError, match=r"checkpoints\.file"):
        load_job(path)
    with pytest.raises(JobError, match="no table"):
        verify(load_job(path, planning=True))


@pytest.mark.parametrize(
    ("standard", "control", "wanted"),
    [
        ("japan-2025-uav-laser", 0, None),
        ("japan-2025-uav-laser", 12, 12),  # Article 467: at least as many
        ("korea-dem-2026", 10, 3),  # the notes: 10 control points, 30 %: 3 checks
        ("korea-dem-2026", 20, 6),
        ("japan-2025-airborne-laser", 20, 4),  # 1 km2 / 25 + 1, at least 4
    ],
)
def test_points_beside_control_are_planned(standard: str, control: int, wanted: int | None) -> None:
    """As many as the document wants beside the control points of the job."""
    its = load_standard(standard)
    keys = {key.name: key.choices[0] for key in its.claim_keys}
    counts = covers_wanted(its, keys, 1.0, control)
    assert counts.get("non-vegetated") == wanted
    assert wants_of("d", its, keys, 1.0, counts, (None, None), control)[0].number == wanted


def test_rtk_is_not_enough_for_five_centimetres() -> None:
    """ASPRS Edition 2, section 9 of the shared notes: 3.2 cm fails the ratio of 2, 1.6 cm does not."""
    standard = load_standard("asprs-2024")
    (want,) = wants_of(
        "d", standard, {"vertical_class_cm": 5.0}, 1.0, {"non-vegetated": 30}, (None, None)
    )
    assert {m.name: m.enough for m in want.methods if "RTK" in m.name or "network" in m.name} == {
        "RTK, single base": False,
        "real-time network GNSS": True,
    }
    others = {m.name: m.rmse_m for m in want.methods if "Addendum" not in m.source}
    assert (
        others
        == {  # the notes on practice: NGS-58 second-hand, the ground truth of England read
            "GNSS by NGS-58, 2 cm": 0.02,
            "ground truth of lidar": 0.03,
            "GNSS by NGS-58, 5 cm": 0.05,
        }
    )
    (nssda,) = wants_of(
        "d", load_standard("nssda-1998"), {"vertical_95_m": 0.196}, 1.0, {}, (None, None)
    )
    assert_metres(nssda.rmse_limit_m, 0.1, within_m=1e-12)
    assert nssda.survey_allowed_m is None


def test_the_same_seed_gives_the_same_files_and_another_other_places(tmp_path: Path) -> None:
    """Byte for byte, all five files."""
    path = job_at(tmp_path)
    one, again, other = planned(path), planned(path), planned(path, seed=2)
    assert render_plan(one) == render_plan(again)
    assert [p.easting for p in one.points] != [p.easting for p in other.points]


def test_a_surface_leads_to_flat_ground(tmp_path: Path) -> None:
    """With the raster, points carry slope and height; in the flat west all are flat."""
    found = planned(job_at(tmp_path, raster=True))
    west = [p for p in found.points if p.cover == "non-vegetated" and p.easting < EAST + 16]
    assert west
    assert all(p.slope_deg == 0.0 and p.height == 100.0 for p in west)
    assert "plan-steep" in {f.code for f in found.findings}
    assert "plan-no-surface" in {f.code for f in planned(job_at(tmp_path)).findings}


def test_control_of_a_table_is_avoided(tmp_path: Path) -> None:
    """10 m from a control point in the middle."""
    path = job_at(tmp_path)
    write_points_table(tmp_path / "points.csv", [["C1", EAST + 20, NORTH + 20, 101.0, "open"]])
    text = path.read_text("utf-8")
    path.write_text(
        text.replace("[checkpoints]\n", '[checkpoints]\nfile = "points.csv"\ncontrol = ["C1"]\n'),
        "utf-8",
    )
    found = planned(path, open_points=12, vegetated_points=0)
    assert len(found.points) == 12
    assert (
        min(math.dist((p.easting, p.northing), (EAST + 20, NORTH + 20)) for p in found.points)
        >= 9.99
    )


def test_the_files_hold_the_points(tmp_path: Path) -> None:
    """The reader of checkpoints takes the table; PROJ and GDAL agree on the places of the GIS files."""
    import pyproj
    from gis_reader import read_layer

    found = planned(job_at(tmp_path, raster=True))
    files = render_plan(found)
    assert set(files) == {"plan.txt", "plan.csv", "plan.geojson", "plan.gpkg", "field-sheet.pdf"}
    (tmp_path / "plan.gpkg").write_bytes(files["plan.gpkg"])
    rows = list(csv.DictReader(files["plan.csv"].decode().splitlines()))
    assert [(r["id"], float(r["easting"])) for r in rows] == [
        (p.id, p.easting) for p in found.points
    ]
    surveyed = [row | {"height": "101.5"} for row in rows]
    write_points_table(
        tmp_path / "done.csv", [list(row.values()) for row in surveyed], ",".join(surveyed[0])
    )
    table = read_checkpoints(tmp_path / "done.csv")
    assert [p.cover for p in table.points] == [p.cover for p in found.points]
    data = json.loads(files["plan.geojson"])
    back = pyproj.Transformer.from_crs("EPSG:6318", "EPSG:6341", always_xy=True)
    for feature, point in zip(data["features"], found.points, strict=True):
        place = back.transform(*feature["geometry"]["coordinates"])
        assert_metres(place, [point.easting, point.northing], within_m=1e-3)
    _, _, features = read_layer(tmp_path / "plan.gpkg", "planned_checkpoints")
    assert [f["id"] for f in features] == [p.id for p in found.points]
    assert features[0]["geometry"][0][:2] == (found.points[0].easting, found.points[0].northing)


def test_a_sheet_of_one_page_holds_all_points_of_a_small_site(tmp_path: Path) -> None:
    """60 and 120 points: one page each; hostile text is set as text."""
    from pdf_reader import pages

    found = planned(job_at(tmp_path))
    many = planned(job_at(tmp_path), open_points=60, vegetated_points=60)
    for one in (found, many, replace(found, title="#panic() $x$ \u202e <b>", points=())):
        path = tmp_path / "sheet.pdf"
        path.write_bytes(render_plan(one)["field-sheet.pdf"])
        (text,) = pages(path)
        assert all(point.id in text for point in one.points)


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It writes the folder, prints the text or JSON, and refuses what it cannot plan with one message."""
    path = job_at(tmp_path)
    assert run(["plan", str(path), "-q"]) == 0
    assert (tmp_path / "job.plan" / "plan.csv").is_file()
    assert run(["plan", str(path), "--json", "--points", "12", "-o", str(tmp_path / "other")]) == 0
    data = json.loads(capsys.readouterr().out)
    assert sum(p["cover"] == "non-vegetated" for p in data["points"]) == 12
    for arguments in (["--points", "-1"], ["--seed", "x"], ["--points", "99999"]):
        assert run(["plan", str(path), *arguments]) == 2
    assert run(["plan", str(tmp_path / "none.toml")]) == 2


def test_no_plane_no_plan(tmp_path: Path) -> None:
    """A cloud whose system nothing names has no metres: one error with a remedy."""
    path = job_at(tmp_path)
    path.write_text(path.read_text("utf-8").replace(f'crs = "{CRS}"', ""), "utf-8")
    with pytest.raises(AccuracyError, match="no area") as caught:
        planned(path)
    assert caught.value.remedy
