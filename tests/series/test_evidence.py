from __future__ import annotations

import hashlib
import json
import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import jsonschema
import numpy as np
import pyproj
import pytest
from jobs import CRS, plane_checkpoints, write_job, write_plane_cloud, write_points_table
from support import assert_metres

from accuracy.formats import open_cloud, open_raster
from accuracy.formats.raster_write import write_raster
from accuracy.job import load_job
from accuracy.measuring import Reading
from accuracy.pipeline import verify
from accuracy.residuals import Position, ResidualRow
from accuracy.result import Result, read_result, result_schema
from accuracy.sampling.seen import Seen, seen_cells
from accuracy.sampling.tin import CloudSetting, sample_cloud
from accuracy.series.evidence import draw_evidence
from accuracy.series.evidence_picture import EXAGGERATIONS, draw

SVG = "{http://www.w3.org/2000/svg}"
EAST_SLOPE, NORTH_SLOPE = 0.05, 0.02


def row(up_m: float | None = 0.012, surveyed_m: float = 100.0, **more: object) -> ResidualRow:
    made = ResidualRow(
        id="P1",
        cover="non-vegetated",
        role="checkpoint",
        used=True,
        reason=None,
        detail="",
        surveyed=Position(1.0, 2.0, surveyed_m),
        measured=None,
        residual=None if up_m is None else Position(None, None, up_m),
        native={},
        survey_rmse_v_m=0.015,
    )
    return replace(made, **more)  # type: ignore[arg-type]  # keywords of several types


def plane(n: int = 400, noise_m: float = 0.0) -> Seen:
    """Points of a tilted plane through the place, and some high vegetation."""
    random = np.random.default_rng(8)
    east, north = random.uniform(-2, 2, (2, n))
    up = EAST_SLOPE * east + NORTH_SLOPE * north + random.normal(0, noise_m, n)
    up[:50] += 3.0
    return Seen(
        kind="points",
        east_m=east,
        north_m=north,
        up_m=up,
        zero_m=100.012,
        classification=np.where(np.arange(n) < 50, 5, 2).astype(np.uint8),
        accepted=np.arange(n) >= 50,
        used_m=((-0.3, -0.2, -0.019), (0.4, -0.1, 0.018), (0.0, 0.3, 0.006)),
        reach_m=2.0,
        width_m=0.2,
        step_m=0.2,
    )


def texts(svg: bytes) -> list[str]:
    return [element.text or "" for element in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def marks(path: str) -> np.ndarray:
    return np.array(re.findall(r"M(-?[\d.]+) (-?[\d.]+)h\.01", path), dtype=float)


def test_what_is_drawn_has_the_stated_exaggeration() -> None:
    """The drawn ground of a plane of 5 % (east) and 2 % (north) rises by slope times exaggeration."""
    svg = draw(row(), plane())
    stated = [
        int(found[1]) for text in texts(svg) if (found := re.fullmatch(r"heights (\d+) ×", text))
    ]
    assert len(stated) == 2
    assert stated[0] == stated[1]
    assert stated[0] in EXAGGERATIONS
    ground = [
        marks(element.get("d", ""))
        for element in ElementTree.fromstring(svg).findall(f"{SVG}path[@class='g']")
    ]
    for drawn, slope in zip(ground[:2], (EAST_SLOPE, NORTH_SLOPE), strict=True):
        assert len(drawn) > 20
        # the other axis adds up to its slope times half the width; positions are drawn to 0.1
        rise = np.polyfit(drawn[:, 0], -drawn[:, 1], 1)[0]
        assert abs(rise - slope * stated[0]) < 0.02 * stated[0]


def test_the_surveyed_point_stands_where_its_residual_says() -> None:
    """12 mm below the place, with a bar of twice 15 mm, at the scale that the ground is drawn in."""
    svg = draw(row(), plane())
    found = [
        e.get("d", "")
        for e in ElementTree.fromstring(svg).iter(f"{SVG}path")
        if e.get("class") == "s"
    ]
    exaggeration = int(
        next(re.search(r"exaggerated (\d+)", t) for t in texts(svg) if "Zero" in t)[1]
    )  # type: ignore[index]  # a record read from JSON
    per_m = 380 / 4.0 * exaggeration
    bars = [re.search(r"M[\d.]+ ([\d.]+)V([\d.]+)M", d) for d in found]
    high, low = (float(v) for v in next(b for b in bars if b).groups())
    assert abs((low - high) - 2 * 0.015 * per_m) < 0.3
    assert "bar ± 0.015 m as stated" in " ".join(texts(svg))
    ground = ElementTree.fromstring(svg).find(f"{SVG}path[@class='g']")
    assert ground is not None
    drawn = marks(ground.get("d", ""))
    at_place = np.polyval(np.polyfit(drawn[:, 0], drawn[:, 1], 1), 52 + 190)
    assert abs((low + high) / 2 - at_place - 0.012 * per_m) < 2.0


def test_what_is_not_drawn_is_said() -> None:
    """Vegetation far above the ground is counted, never silently cut; classes are named with their number."""
    told = " ".join(texts(draw(row(), plane())))
    assert re.search(r"\d+ points; \d+ above or below not shown", told)
    assert "not accepted: class 5 (50)" in told
    assert "triangle that the height was taken from" in told
    bare = draw(row(None, reason="gap", detail="too far apart", survey_rmse_v_m=None), plane())
    told = " ".join(texts(bare))
    assert "no height: too far apart" in told
    assert "survey accuracy not stated" in told


def test_text_from_files_is_harmless() -> None:
    """Markup, control and formatting characters in an id do not get into the drawing."""
    svg = draw(row(id='<script>"&\u202e\x07' + "x" * 300), plane())
    assert b"<script" not in svg
    first = texts(svg)[0]
    assert first.startswith('<script>"&\ufffd\ufffdx')
    assert len(first) == 120


def test_one_point_and_none(tmp_path: Path) -> None:
    """A single return is drawn without a fault; the same place gives the same bytes."""
    one = replace(
        plane(),
        **{  # type: ignore[arg-type]  # keywords of several types
            name: getattr(plane(), name)[60:61]
            for name in ("east_m", "north_m", "up_m", "classification", "accepted")
        },
        used_m=(),
    )
    assert draw(row(), one) == draw(row(), one)
    nothing = replace(one, accepted=np.array([False]), classification=np.array([1], np.uint8))
    ElementTree.fromstring(draw(row(), nothing))


def test_what_is_seen_of_a_cloud(tmp_path: Path) -> None:
    """Points of the plane, relative to the place: on the plane through it; the triangle holds the place."""
    write_plane_cloud(tmp_path / "a.laz", wkt=None)
    x, y = (np.array([float(str(r[i])) for r in plane_checkpoints(6)]) for i in (1, 2))
    setting = CloudSetting((2,), 1.0, 1.0, pictures=True)
    plain, _ = sample_cloud(
        [open_cloud(tmp_path / "a.laz")], x, y, replace(setting, pictures=False)
    )
    samples, _ = sample_cloud([open_cloud(tmp_path / "a.laz")], x, y, setting)
    assert samples == plain, "pictures change no height"
    assert all(sample.seen is None for sample in plain)
    for sample in samples:
        seen = sample.seen
        assert isinstance(seen, Seen)
        assert_metres(seen.zero_m, sample.height or 0, within_m=1e-9)
        assert_metres(seen.up_m, 0.05 * seen.east_m + 0.02 * seen.north_m, within_m=1e-6)
        assert np.hypot(seen.east_m, seen.north_m).max() <= seen.reach_m
        corners = np.array(seen.used_m)
        weights = np.linalg.solve(np.vstack([corners[:, :2].T, np.ones(3)]), [0.0, 0.0, 1.0])
        assert weights.min() >= -1e-9
        assert_metres(weights @ corners[:, 2], 0.0, within_m=1e-6)


def test_what_is_seen_of_a_raster(tmp_path: Path) -> None:
    """Cells of a plane around a place, turned grid included: on the plane; four of them around the place."""
    turn = np.radians(20.0)
    a, d = 0.5 * np.cos(turn), 0.5 * np.sin(turn)
    transform = (a, d, 1000.0, d, -a, 2000.0)
    cols, rows = np.meshgrid(np.arange(60) + 0.5, np.arange(50) + 0.5)
    east, north = 1000 + a * cols + d * rows, 2000 + d * cols - a * rows
    heights = 50 + 0.1 * (east - 1000) - 0.04 * (north - 2000)
    write_raster(
        tmp_path / "a.tif", heights.astype(np.float32), transform, pyproj.CRS("EPSG:6341").to_wkt()
    )
    raster = open_raster(tmp_path / "a.tif")
    at = 1000 + a * 30.2 + d * 25.9, 2000 + d * 30.2 - a * 25.9
    height = 50 + 0.1 * (at[0] - 1000) - 0.04 * (at[1] - 2000)
    seen = seen_cells([raster], *at, height, 1.0, 1.0)
    raster.close()
    assert seen is not None
    assert len(seen.up_m) == 21 * 21
    assert_metres(seen.up_m, 0.1 * seen.east_m - 0.04 * seen.north_m, within_m=1e-4)
    assert len(seen.used_m) == 4
    assert all(abs(e) < 0.75 and abs(n) < 0.75 for e, n, _ in seen.used_m)
    ElementTree.fromstring(draw(row(), seen))


def test_the_largest_differences_are_drawn_first() -> None:
    """Beyond the largest number, points with small differences go without, and it is counted."""
    rows = [row(0.01 * k, id=f"P{k}") for k in range(6)]
    rows[2] = row(None, id="P2", reason="gap")
    found = draw_evidence([("cloud", rows, [plane()] * 5 + [None])], most=3)
    assert [p["id"] for p in found.records["cloud"]["points"]] == ["P2", "P3", "P4"]
    assert found.records["cloud"]["left_out"] == 2
    assert len(found.pictures) == 3


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> tuple[Result, Result, Path]:
    folder = tmp_path_factory.mktemp("drawn")
    write_plane_cloud(folder / "a.laz", wkt=None)
    write_points_table(folder / "points.csv", plane_checkpoints(25, error_m=[0.01, -0.02, 0.03]))
    job = load_job(
        write_job(
            folder,
            datasets=[{"name": "cloud", "kind": "point-cloud", "files": ["a.laz"], "crs": CRS}],
            claims=[{"dataset": "cloud", "standard": "asprs-2014", "vertical_class_cm": 5.0}],
        )
    )
    return verify(job), verify(job, reading=Reading(evidence=True)), folder


def test_a_job_with_pictures(drawn: tuple[Result, Result, Path]) -> None:
    """One small file for each checkpoint, hashed in the record; nothing else of the record changes."""
    without, result, folder = drawn
    data, bare = json.loads(result.to_json()), json.loads(without.to_json())
    jsonschema.validate(data, result_schema())
    points = data["series"]["cloud"].pop("evidence")["points"]
    del data["run"], bare["run"]
    assert data == bare
    assert len(points) == 25
    for point in points:
        content = result.side_files[point["file"]]
        assert hashlib.sha256(content).hexdigest() == point["sha256"]
        assert len(content) < 40_000
    from accuracy.reports import render_kinds
    from accuracy.reports.folder import write_folder

    write_folder(folder / "out", render_kinds(result, ["json"]))
    assert dict(read_result(folder / "out" / "result.json").side_files) == dict(result.side_files)
    write_folder(folder / "out", render_kinds(without, ["json"]))
    assert not (folder / "out" / "evidence").exists(), "no pictures of a former run are left"


def test_a_changed_picture_is_not_shown(drawn: tuple[Result, Result, Path]) -> None:
    """Page and PDF give out only what the record names; that one is missing is said."""
    from accuracy.reports.evidence_content import pdf_pictures, pictures_on_page, told_of_pictures

    _, result, _ = drawn
    shown, embedded = pictures_on_page(result)
    assert len(shown["d0"]) == len(embedded) == 25
    forged = replace(result, side_files={**result.side_files, "evidence/1.svg": b"<svg/>"})
    shown, embedded = pictures_on_page(forged)
    assert "evidence/1.svg" not in embedded
    assert len(shown["d0"]) == 24
    assert "1 of them are not there" in told_of_pictures(forged, 0)
    pictures, told = pdf_pictures(result, result.datasets[0])
    assert len(pictures) == 12
    assert "13 more" in told
