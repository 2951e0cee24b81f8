from __future__ import annotations

import io
import math
import re
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from matplotlib.colors import LightSource
from matplotlib.image import imread
from numpy.typing import NDArray

from accuracy.formats import RasterSurface, open_raster
from accuracy.reports import plots_canvas
from accuracy.series import shading
from accuracy.series.shading import GREYS, MOST_PIXELS, NotCheap, coarse_ground, light_of, shade

WEST, NORTH = 412_000.0, 5_000_000.0

Heights = NDArray[np.float64]


def hills(rows: int, cols: int) -> Heights:
    """Invented smooth ground."""
    y, x = np.mgrid[0:rows, 0:cols] / 40.0
    return np.asarray(300.0 + 4.0 * np.sin(x + 0.3 * y) + 3.0 * np.cos(1.7 * y - 0.4 * x))


def write(
    path: Path,
    values: Heights,
    *,
    west: float = WEST,
    north: float = NORTH,
    cell: float = 1.0,
    south_up: bool = False,
    turned: bool = False,
    overviews: list[int] | None = None,
) -> RasterSurface:
    """Write a raster of float64 and open it through our own door."""
    rows, cols = values.shape
    transform = rasterio.Affine(cell, 0.0, west, 0.0, -cell, north)
    if south_up:
        transform = rasterio.Affine(cell, 0.0, west, 0.0, cell, north - rows * cell)
        values = values[::-1]
    if turned:
        transform = rasterio.Affine(0.8, -0.6, west, 0.6, 0.8, north)
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        dtype="float64",
        count=1,
        height=rows,
        width=cols,
        transform=transform,
        nodata=math.nan,
    ) as out:
        out.write(values, 1)
        if overviews:
            out.build_overviews(overviews)
    return open_raster(path)


def pixels(picture: bytes) -> NDArray[Any]:
    return np.asarray(np.round(imread(io.BytesIO(picture), format="png") * 255), dtype=int)


# --- light ---


def test_the_light_is_that_of_another_library() -> None:
    """Matplotlib's hillshade, light from azimuth 315, altitude 45; it spreads its values from 0 to 1."""
    ground = hills(60, 80)
    light, _ = light_of(ground, (2.0, 2.0), 3.0)
    theirs = LightSource(azdeg=315, altdeg=45).hillshade(ground, vert_exag=3.0, dx=2.0, dy=2.0)
    ours = (light - light.min()) / (light.max() - light.min())
    np.testing.assert_allclose(ours[1:-1, 1:-1], theirs[1:-1, 1:-1], rtol=0, atol=2e-6)


@pytest.mark.parametrize(
    ("toward", "lit"), [((-1, 1), 1.0), ((1, -1), 0.0), ((1, 1), math.sqrt(0.5))]
)
def test_light_on_planes_of_45_degrees(toward: tuple[int, int], lit: float) -> None:
    """Facing the north-west, cosine 1; facing the south-east, cosine 0; else cos 45 / sqrt 1 (closed forms)."""
    north, east = -np.mgrid[0:5, 0:6][0], np.mgrid[0:5, 0:6][1]
    fall = math.sqrt(0.5)  # a plane that falls by 1 in its steepest direction
    ground = -fall * (toward[0] * east + toward[1] * north) * 1.0
    light, known = light_of(np.asarray(ground, float), (1.0, 1.0), 1.0)
    expected = lit if toward != (1, 1) else 0.5
    assert known.all()
    np.testing.assert_allclose(light, expected, rtol=0, atol=1e-9)


def test_no_data_is_clear_and_its_neighbours_are_not() -> None:
    """Where nothing is known the picture is transparent, and only there."""
    ground = hills(20, 30)
    ground[5:9, 7:12] = np.nan
    ground[15, 15] = np.nan
    picture, _ = shade(ground, (1.0, 1.0))
    np.testing.assert_array_equal(pixels(picture)[..., 3] == 0, np.isnan(ground))


@pytest.mark.parametrize("ground", [np.zeros((4, 4)), np.full((3, 3), np.nan), np.zeros((1, 1))])
def test_ground_without_any_slope_gives_a_picture(ground: Heights) -> None:
    """Flat, unknown or a single cell: no division by nothing, one grey at most, no exaggeration."""
    picture, times = shade(ground, (1.0, 1.0))
    assert times == 1.0
    seen = pixels(picture)
    assert len({tuple(p) for row in seen for p in row if p[3]}) <= 1


def test_the_same_ground_gives_the_same_bytes() -> None:
    """Twice, and in other units: feet and metres differ by far less than a grey."""
    ground = hills(50, 50)
    first, times = shade(ground, (1.0, 1.0))
    assert shade(ground.copy(), (1.0, 1.0)) == (first, times)
    feet, feet_times = shade(ground / 0.3048 * 0.3048, (1.0 / 0.3048 * 0.3048, 1.0))
    assert feet_times == times
    assert (pixels(feet) != pixels(first)).mean() < 0.001


def test_noise_on_flat_ground_stays_quiet() -> None:
    """Millimetres of noise are not exaggerated without end."""
    _, times = shade(np.random.default_rng(1).normal(0.0, 0.001, (40, 40)), (1.0, 1.0))
    assert times == 20.0


def _luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.1, glossary; from memory)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts]
    return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))


def test_the_relief_never_competes_with_marks_and_arrows() -> None:
    """The darkest grey has a contrast of 3 to 1 against every colour drawn over it, on page and paper."""
    css = resources.files("accuracy.reports").joinpath("templates", "page.css").read_text("utf-8")
    light = css.partition("@media (prefers-color-scheme:dark)")[0]
    paper = css.partition("@media print")[2]
    drawn = [m for part in (light, paper) for m in re.findall(r"--(?:high|low):(#\w{6})", part)]
    assert len(drawn) == 4
    drawn += [plots_canvas.BLUE, plots_canvas.ORANGE, plots_canvas.GREEN, plots_canvas.PURPLE]
    ground = _luminance("#" + f"{min(GREYS):02x}" * 3)
    ratios = {colour: (ground + 0.05) / (_luminance(colour) + 0.05) for colour in drawn}
    green = ratios.pop(plots_canvas.GREEN)  # vegetated marks have a shape of their own besides
    assert min(ratios.values()) >= 3.0, ratios
    assert green >= 2.6
    assert len(GREYS) == 15
    assert max(GREYS) < 255


# --- rasters put together ---


def test_cells_keep_their_places(tmp_path: Path) -> None:
    """Small rasters are taken cell by cell; box and cell are those of the file."""
    values = hills(30, 40)
    ground = coarse_ground(
        [write(tmp_path / "a.tif", values)], (WEST, NORTH - 30, WEST + 40, NORTH)
    )
    np.testing.assert_array_equal(ground.heights, values)
    assert ground.box == (WEST, NORTH - 30, WEST + 40, NORTH)
    assert ground.cell == (1.0, 1.0)


def test_a_part_is_cut_out(tmp_path: Path) -> None:
    """A box inside the raster gives the cells it touches."""
    values = hills(30, 40)
    box = (WEST + 5.2, NORTH - 20.0, WEST + 15.0, NORTH - 9.7)
    ground = coarse_ground([write(tmp_path / "a.tif", values)], box)
    np.testing.assert_array_equal(ground.heights, values[9:20, 5:15])
    assert ground.box == (WEST + 5, NORTH - 20, WEST + 15, NORTH - 9)


def test_north_up_and_south_up_are_the_same_ground(tmp_path: Path) -> None:
    """Rows stored the other way round change nothing."""
    values = hills(30, 40)
    box = (WEST + 3, NORTH - 25, WEST + 33, NORTH - 2)
    up = coarse_ground([write(tmp_path / "a.tif", values)], box)
    down = coarse_ground([write(tmp_path / "b.tif", values, south_up=True)], box)
    np.testing.assert_array_equal(up.heights, down.heights)
    assert up.box == down.box


def test_tiles_are_put_together(tmp_path: Path) -> None:
    """Four tiles with a hole between them give what one raster gives, in any order."""
    values = hills(40, 60)
    box = (WEST, NORTH - 40, WEST + 60, NORTH)
    whole = coarse_ground([write(tmp_path / "whole.tif", values)], box)
    tiles = [
        write(
            tmp_path / f"{r}{c}.tif", values[r : r + 20, c : c + 30], west=WEST + c, north=NORTH - r
        )
        for r in (0, 20)
        for c in (0, 30)
    ]
    for order in (tiles, tiles[::-1]):
        # the grid hangs on the first tile
        np.testing.assert_array_equal(coarse_ground(order, box).heights, whole.heights)


@pytest.mark.parametrize("overviews", [None, [2, 4]])
def test_large_rasters_are_thinned(
    tmp_path: Path, overviews: list[int] | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Never more pixels than the most; each pixel is a cell of its own square, so that nothing shifts."""
    monkeypatch.setattr(shading, "MOST_PIXELS", 50)
    rows, cols = np.mgrid[0:220, 0:310]
    raster = write(tmp_path / "a.tif", (rows * 1000.0 + cols), overviews=overviews)
    ground = coarse_ground([raster], (WEST, NORTH - 220, WEST + 310, NORTH))
    step = round(ground.cell[0])
    assert step == (8 if overviews else 7)
    assert ground.heights.shape == (220 // step, 310 // step)
    found_row, found_col = ground.heights // 1000, ground.heights % 1000
    want_row, want_col = np.mgrid[0 : 220 // step, 0 : 310 // step] * step
    assert ((found_row >= want_row) & (found_row < want_row + step)).all()
    assert ((found_col >= want_col) & (found_col < want_col + step)).all()


def test_what_is_not_cheap_is_not_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond the most cells there is no picture; overviews make it cheap again; the words say so."""
    monkeypatch.setattr(shading, "CHEAP_CELLS", 700 * 700)
    monkeypatch.setattr(shading, "MOST_PIXELS", 300)
    box = (WEST, NORTH - 1200, WEST + 1200, NORTH)
    dear = write(tmp_path / "a.tif", hills(1200, 1200))
    with pytest.raises(NotCheap, match="overviews in the file would help"):
        coarse_ground([dear], box)
    ready = write(tmp_path / "b.tif", hills(1200, 1200), overviews=[2, 4])
    assert max(coarse_ground([ready], box).heights.shape) == 300


def test_rasters_askew_or_of_several_cell_sizes_have_no_picture(tmp_path: Path) -> None:
    """Said, not drawn wrongly."""
    box = (WEST, NORTH - 20, WEST + 20, NORTH)
    with pytest.raises(NotCheap, match="askew"):
        coarse_ground([write(tmp_path / "a.tif", hills(20, 20), turned=True)], box)
    pair = [
        write(tmp_path / "b.tif", hills(20, 20)),
        write(tmp_path / "c.tif", hills(9, 9), cell=2.0),
    ]
    with pytest.raises(NotCheap, match="different sizes"):
        coarse_ground(pair, box)


def test_the_largest_picture_is_small(tmp_path: Path) -> None:
    """At most 560 pixels a side and 200 kB."""
    picture, _ = shade(
        np.random.default_rng(2).normal(0, 1, (MOST_PIXELS, MOST_PIXELS)), (1.0, 1.0)
    )
    assert MOST_PIXELS <= 600
    assert len(picture) < 200_000
