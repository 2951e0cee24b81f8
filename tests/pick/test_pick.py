"""Targets picked by hand: in a real browser, from disk, against painted targets whose centres are known."""

from __future__ import annotations

import base64
import io
import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pyproj
import pytest
from jobs import CRS, EAST, NORTH, write_job, write_points_table
from matplotlib.image import imread
from support import assert_metres

from accuracy.cli import run
from accuracy.errors import InputError, UsageError
from accuracy.formats.las_write import write_points
from accuracy.inputs.checkpoints import read_measured_points
from accuracy.job import load_job
from accuracy.pick import make_scenes, pick_page, read_picks, tables_of
from accuracy.preparation import prepare

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

PIXEL_M = 0.02
SIZE_M = 0.5

#: The orthophoto is off by this everywhere: what picking must find. Invented.
SHIFT_M = (0.043, -0.027)


@dataclass(frozen=True)
class Site:
    job: Path
    ortho: Path
    truth: dict[str, tuple[float, float]]
    surveyed: dict[str, tuple[float, float]]


def checker(east: np.ndarray, north: np.ndarray, at: tuple[float, float]) -> np.ndarray:
    """Two by two fields of 0.5 m, white where both signs agree; 0 outside."""
    u, v = east - at[0], north - at[1]
    inside = np.maximum(np.abs(u), np.abs(v)) <= SIZE_M / 2
    return np.where(inside, np.where(u * v > 0, 1.0, -1.0), 0.0)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """Give a field of 30 m by 30 m with four painted targets, as orthophoto and as cloud."""
    import rasterio

    folder = tmp_path_factory.mktemp("pick")
    random = np.random.default_rng(12)
    surveyed = {
        f"T{i}": (EAST + 5 + 5 * i + random.uniform(0, 1), NORTH + 8 + 3 * i + random.uniform(0, 1))
        for i in range(1, 5)
    }
    truth = {id_: (e + SHIFT_M[0], n + SHIFT_M[1]) for id_, (e, n) in surveyed.items()}
    count = round(30 / PIXEL_M)
    cols, rows = np.meshgrid(np.arange(count) + 0.5, np.arange(count) + 0.5)
    east, north = EAST + cols * PIXEL_M, NORTH + 30 - rows * PIXEL_M
    bright = 120 + random.normal(0, 6, east.shape)
    for at in truth.values():
        bright += 100 * checker(east, north, at)
    pixels = np.clip(bright, 0, 255).astype(np.uint8)
    with rasterio.open(
        folder / "ortho.tif",
        "w",
        driver="GTiff",
        height=count,
        width=count,
        count=3,
        dtype="uint8",
        crs="EPSG:6341",
        transform=rasterio.Affine(PIXEL_M, 0, EAST, 0, -PIXEL_M, NORTH + 30),
        compress="deflate",
    ) as file:
        file.write(np.stack([pixels] * 3))
    n = 270_000
    x, y = EAST + random.uniform(0, 30, n), NORTH + random.uniform(0, 30, n)
    intensity = 20_000 + random.normal(0, 1500, n)
    for at in truth.values():
        intensity += 15_000 * checker(x, y, at)
    write_points(
        folder / "a.laz",
        points={
            "x": x,
            "y": y,
            "z": np.full(n, 100.0),
            "classification": np.full(n, 2, np.uint8),
            "intensity": np.clip(intensity, 0, 65535).astype(np.uint16),
        },
        point_format=6,
        version="1.4",
        scale=(0.001,) * 3,
        offset=(EAST, NORTH, 0.0),
        wkt=pyproj.CRS(CRS).to_wkt(),
    )
    rows_of = [[id_, f"{e:.4f}", f"{n:.4f}", "100.0", "nva"] for id_, (e, n) in surveyed.items()]
    write_points_table(folder / "points.csv", rows_of)
    job = write_job(folder, datasets=[{"name": "cloud", "kind": "point-cloud", "files": ["a.laz"]}])
    return Site(job, folder / "ortho.tif", truth, surveyed)


def scenes_on(page: Path) -> dict[str, Any]:
    text = page.read_text("utf-8")
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', text, re.S)
    assert found
    data: dict[str, Any] = json.loads(found[1])
    return data


@pytest.fixture(scope="module")
def page_file(site: Site, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("page") / "pick.html"
    arguments = ["--orthophoto", str(site.ortho), "--seed", "5", "-o", str(out), "-q"]
    assert run(["pick", str(site.job), *arguments]) == 0
    return out


def test_the_page_does_not_tell_where_targets_were_surveyed(site: Site, page_file: Path) -> None:
    """No surveyed number stands in it; middles of pictures are off by chance, each pass by its own."""
    text = page_file.read_text("utf-8")
    for east, north in site.surveyed.values():
        for value in (east, north):
            assert f"{value:.2f}" not in text
            assert f"{value:.3f}" not in text
    offs = []
    for scene in scenes_on(page_file)["scenes"]:
        a, b, c, d, e, f = scene["transform"]
        middle = (
            a * scene["cols"] / 2 + b * scene["rows"] / 2 + c,
            d * scene["cols"] / 2 + e * scene["rows"] / 2 + f,
        )
        offs.append(np.subtract(middle, site.surveyed[scene["id"]]))
    sizes = np.hypot(*np.transpose(offs))
    assert len({tuple(np.round(off, 3)) for off in offs}) == len(offs) == 16
    assert (sizes > 0.05).mean() > 0.9
    assert np.abs(offs).max() <= 0.6 * 1.5 + PIXEL_M


def test_pictures_show_the_targets_where_they_are(site: Site, page_file: Path) -> None:
    """The pattern correlates with each picture best at the known centre: the georeference of cuts is right."""
    for scene in scenes_on(page_file)["scenes"]:
        picture = imread(io.BytesIO(base64.b64decode(scene["png"])), format="png")
        grey = picture if picture.ndim == 2 else picture[..., 0]
        assert grey.shape == (scene["rows"], scene["cols"])
        cols, rows = np.meshgrid(np.arange(scene["cols"]) + 0.5, np.arange(scene["rows"]) + 0.5)
        a, b, c, d, e, f = scene["transform"]
        east, north = a * cols + b * rows + c, d * cols + e * rows + f
        true = site.truth[scene["id"]]

        def fit(de: float, dn: float, true=true, east=east, north=north, grey=grey) -> float:  # type: ignore[no-untyped-def]  # arrays bound as defaults
            return float((checker(east, north, (true[0] + de, true[1] + dn)) * grey).sum())

        steps = np.arange(-6, 7) * 0.02
        best = max((fit(x, y), x, y) for x in steps for y in steps)
        assert abs(best[1]) <= 0.04, (scene["id"], scene["kind"], best)
        assert abs(best[2]) <= 0.04, (scene["id"], scene["kind"], best)


def test_without_a_seed_every_page_is_cut_anew(site: Site) -> None:
    """Nobody can compute where the cut was made around: two pages differ; with a seed they do not."""
    prepared = prepare(load_job(site.job))
    one, other = (
        pick_page(make_scenes(prepared, [site.ortho], clouds=False), "a") for _ in range(2)
    )
    assert one != other
    same = {
        pick_page(make_scenes(prepared, [site.ortho], clouds=False, seed=3), "a") for _ in range(2)
    }
    assert len(same) == 1


def opened(browser: Browser, path: Path) -> tuple[Page, list[str], list[str]]:
    context = browser.new_context(
        offline=True, accept_downloads=True, viewport={"width": 1200, "height": 900}
    )
    page = context.new_page()
    complaints: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(path.as_uri())
    return page, complaints, asked


def begin(page: Page, name: str = "N. Amundi") -> None:
    page.locator("[name=operator]").fill(name)
    page.locator("#start button").click()


def mark(page: Page) -> tuple[float, float]:
    found = re.search(r"column ([\d.]+), row ([\d.]+)", page.locator("#told").inner_text())
    assert found
    return float(found[1]), float(found[2])


def click_at(page: Page, scene: dict[str, Any], col: float, row: float) -> None:
    """Click a place of the whole picture, as it is drawn before any zoom."""
    box = page.locator("#canvas").bounding_box()
    assert box
    side = max(scene["cols"], scene["rows"])
    x = box["width"] / 2 + (col - scene["cols"] / 2) * box["width"] / side
    y = box["height"] / 2 + (row - scene["rows"] / 2) * box["width"] / side
    page.mouse.click(box["x"] + x, box["y"] + y)


@pytest.mark.browser
def test_marks_keys_zoom_and_undo(browser: Browser, page_file: Path) -> None:
    """Clicks fall where they are seen, zoomed or not; arrows move by a tenth and by one; undo takes back."""
    page, complaints, _ = opened(browser, page_file)
    assert page.locator("#work").is_hidden()
    page.locator("#start button").click()
    assert page.locator("#work").is_hidden(), "nobody picks without a name"
    begin(page)
    scene = scenes_on(page_file)["scenes"][0]
    assert page.locator("#next").is_disabled()
    click_at(page, scene, 60.0, 40.0)
    assert (
        np.abs(np.subtract(mark(page), (60.0, 40.0))).max() <= 0.3
    )  # a pixel of the screen is 0.2
    at = mark(page)
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowUp")
    assert np.allclose(np.subtract(mark(page), at), (0.1, -0.1), atol=0.011)
    page.keyboard.press("Shift+ArrowDown")
    assert np.allclose(np.subtract(mark(page), at), (0.1, 0.9), atol=0.011)
    for _ in range(3):
        page.keyboard.press("u")
    assert np.allclose(mark(page), at, atol=0.011)
    page.locator("#undo").click()
    assert "Click the centre" in page.locator("#told").inner_text()
    click_at(page, scene, 60.0, 40.0)
    at = mark(page)
    before = page.locator("#canvas").screenshot()
    page.keyboard.press("+")  # around the mark, which stays where it is on the screen
    assert page.locator("#canvas").screenshot() != before
    click_at(page, scene, 60.0, 40.0)
    assert np.abs(np.subtract(mark(page), at)).max() <= 0.3
    page.keyboard.press("-")
    assert complaints == []
    page.context.close()


@pytest.mark.browser
def test_both_passes_give_a_table(
    browser: Browser,
    site: Site,
    page_file: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Known centres clicked with a known scatter: positions and repeatability come out."""
    page, complaints, asked = opened(browser, page_file)
    begin(page, "Ä. Õun")
    scenes = scenes_on(page_file)["scenes"]
    assert [scene["pass"] for scene in scenes] == [1] * 8 + [2] * 8
    orders = [[(s["id"], s["source"]) for s in scenes if s["pass"] == p] for p in (1, 2)]
    assert sorted(orders[0]) == sorted(orders[1])
    assert orders[0] != orders[1]
    random = np.random.default_rng(3)
    clicked: dict[tuple[str, str], list[tuple[float, float]]] = {}
    for number, scene in enumerate(scenes):
        assert f"{scene['id']} in {scene['source']}" in page.locator("#where").inner_text()
        if scene["id"] == "T2" and scene["kind"] == "orthophoto" and scene["pass"] == 2:
            page.keyboard.press("n")
            if number + 1 < len(scenes):  # a slip: taken back, and judged again
                page.keyboard.press("u")
                page.keyboard.press("n")
            continue
        a, b, c, d, e, f = scene["transform"]
        true = np.add(site.truth[scene["id"]], random.normal(0, 0.01, 2))
        col, row = np.linalg.solve([[a, b], [d, e]], np.subtract(true, (c, f)))
        click_at(page, scene, col, row)
        got = mark(page)
        clicked.setdefault((scene["id"], scene["source"]), []).append(
            (a * got[0] + b * got[1] + c, d * got[0] + e * got[1] + f)
        )
        page.keyboard.press("Enter")
    assert "15 centres picked, 1 not identifiable" in page.locator("#summary").inner_text()
    with page.expect_download() as download:
        page.locator("#save").click()
    picks = tmp_path / "picks.json"
    download.value.save_as(picks)
    assert complaints == []
    assert [u for u in asked if not u.startswith(("data:", "blob:"))] == [page_file.as_uri()]
    page.context.close()

    assert run(["pick", str(site.job), "--picked", str(picks), "-o", str(tmp_path)]) == 0
    told = capsys.readouterr().out
    assert "not identifiable, left out: T2" in told
    table = tmp_path / "picked-ortho-tif.csv"
    points = {p.id: p for p in read_measured_points(table).points}
    assert set(points) == {"T1", "T3", "T4"}
    differences = []
    for id_, point in points.items():
        both = np.array(clicked[id_, "ortho.tif"])
        # marks are told to a hundredth of a pixel
        assert_metres([point.easting, point.northing], both.mean(axis=0), within_m=0.0003)
        assert_metres([point.easting, point.northing], site.truth[id_], within_m=0.035)
        differences.append(both[1] - both[0])
    sigma = np.sqrt((np.array(differences) ** 2).sum(axis=0) / (2 * 3)) / np.sqrt(2)
    rows = [line.split(",") for line in table.read_text("utf-8").splitlines() if line[0] == "T"]
    assert_metres([float(v) for v in rows[0][3:5]], sigma, within_m=0.0003)
    assert "picked by Ä. Õun" in table.read_text("utf-8")
    assert len(read_measured_points(tmp_path / "picked-cloud.csv").points) == 4


def made_picks(tmp_path: Path, **changes: object) -> Path:
    one = {
        "id": "T1",
        "source": "o.tif",
        "pass": 1,
        "state": "picked",
        "col": 10.0,
        "row": 20.0,
        "transform": [0.02, 0, 100.0, 0, -0.02, 200.0],
        "metres": [1, 1],
    }
    data = {
        "format": "accuracy-picks",
        "operator": "N. Amundi",
        "saved": "2026-05-20T10:00:00Z",
        "systems": {"o.tif": "invented"},
        "picks": [one],
    }
    path = tmp_path / "picks.json"
    path.write_text(json.dumps(data | changes), "utf-8")
    return path


def test_a_table_by_hand(tmp_path: Path) -> None:
    """Two points picked twice: positions are means, sigma from the differences, written out."""

    def pick(id_: str, number: int, east: float, north: float) -> dict[str, object]:
        return {
            "id": id_,
            "source": "o",
            "pass": number,
            "state": "picked",
            "col": east,
            "row": north,
            "transform": [1, 0, 0, 0, 1, 0],
            "metres": [0.3048, 0.3048],
        }

    picks = [pick("A", 1, 10.0, 20.0), pick("B", 1, 30.0, 40.0)]
    picks += [pick("B", 2, 30.1, 40.0), pick("A", 2, 10.0, 20.2)]
    (table,) = tables_of(read_picks(made_picks(tmp_path, picks=picks), ["A", "B"]))
    rows = {r[0]: r for line in table.text.splitlines() if (r := line.split(","))[0] in "AB"}
    assert rows["A"][1:3] == ["10.0000", "20.1000"]
    assert rows["B"][1:3] == ["30.0500", "40.0000"]
    # differences in metres: east 0, 0.03048; north 0.06096, 0
    east, north = (np.sqrt(d**2 / (2 * 2)) for d in (0.03048, 0.06096))
    assert_metres(
        [float(v) for v in rows["A"][3:5]], np.array([east, north]) / np.sqrt(2), within_m=5e-6
    )
    assert_metres(table.sigma_m or 0, np.sqrt((east**2 + north**2) / 2), within_m=1e-12)


@pytest.mark.parametrize(
    "changes",
    [
        {"format": "other"},
        {"operator": " "},
        {"picks": [{"id": "T1"}]},
        {"picks": 3},
        {"systems": []},
    ],
)
def test_files_that_are_no_picks(tmp_path: Path, changes: dict[str, object]) -> None:
    """Another file, nobody's name, damaged: refused with the path."""
    with pytest.raises(InputError, match=r"picks\.json"):
        read_picks(made_picks(tmp_path, **changes), ["T1"])
    (tmp_path / "picks.json").write_bytes(b"\xff\x00")
    with pytest.raises(InputError, match="not JSON"):
        read_picks(tmp_path / "picks.json", ["T1"])
    with pytest.raises(InputError, match="cannot be read"):
        read_picks(tmp_path / "none.json", ["T1"])
    with pytest.raises(InputError, match="does not have: T1"):
        read_picks(made_picks(tmp_path), ["T2"])


def test_nothing_to_show(site: Site, tmp_path: Path) -> None:
    """No orthophoto and no clouds: said with what to do; a picture without a place is refused."""
    prepared = prepare(load_job(site.job))
    with pytest.raises(UsageError, match="no picture shows any target"):
        make_scenes(prepared, [], clouds=False)
    from PIL import Image

    Image.new("RGB", (50, 50)).save(tmp_path / "a.png")
    assert run(["pick", str(site.job), "--orthophoto", str(tmp_path / "a.png"), "-q"]) == 2
