from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import rasterio
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import RegularGridInterpolator
from scipy.ndimage import map_coordinates
from support import assert_metres

from accuracy.errors import FormatError
from accuracy.findings import Severity
from accuracy.formats import CellPatch, SurfaceInfo
from accuracy.formats.raster import open_elevation_raster
from accuracy.sampling import NO_HEIGHT_REASONS, Sample
from accuracy.sampling.grids import Method, sample_raster

Transform = tuple[float, float, float, float, float, float]

#: Invented place: a northing of 5 000 km, cells of half a metre.
WEST, NORTH, CELL = 412_000.0, 5_000_000.0, 0.5
NORTH_UP: Transform = (CELL, 0.0, WEST, 0.0, -CELL, NORTH)


@dataclass
class Cells:
    """A raster in memory, so that the laws of sampling are tested without any file."""

    values: NDArray[np.float64]
    transform: Transform = NORTH_UP
    name: str = "cells.tif"

    def __post_init__(self) -> None:
        self.shape = (self.values.shape[0], self.values.shape[1])
        self.info = SurfaceInfo(Path(self.name), "raster", "memory", 0, (0.0, 0.0, 0.0, 0.0))

    def patch(self, row0: int, col0: int, rows: int, cols: int) -> CellPatch:
        padded = np.pad(self.values, 8, constant_values=np.nan)
        return CellPatch(
            padded[row0 + 8 : row0 + 8 + rows, col0 + 8 : col0 + 8 + cols].copy(), row0, col0
        )

    def close(self) -> None: ...


def place(transform: Transform, col: ArrayLike, row: ArrayLike) -> tuple[NDArray, NDArray]:
    """Give coordinates of positions in cells (a cell's centre is at +0.5)."""
    a, b, c, d, e, f = transform
    col, row = np.atleast_1d(np.asarray(col, float)), np.atleast_1d(np.asarray(row, float))
    return a * col + b * row + c, d * col + e * row + f


def take(
    surfaces: Cells | list[Cells],
    col: ArrayLike,
    row: ArrayLike,
    method: Method = "bilinear",
    transform: Transform = NORTH_UP,
) -> list[Sample]:
    """Sample at positions given in cells."""
    x, y = place(transform, col, row)
    surfaces = surfaces if isinstance(surfaces, list) else [surfaces]
    samples, _ = sample_raster(surfaces, x, y, method, 1.0, 1.0)
    return samples


def heights(samples: list[Sample]) -> NDArray[np.float64]:
    return np.array([math.nan if s.height is None else s.height for s in samples])


def reasons(samples: list[Sample]) -> list[str | None]:
    return [s.reason for s in samples]


def rough_ground(rows: int, cols: int, seed: int = 7) -> NDArray[np.float64]:
    """Invented heights between 300 m and 340 m with no pattern at all."""
    return np.random.default_rng(seed).uniform(300.0, 340.0, (rows, cols))


# ---------------------------------------------------------------- the height itself


@pytest.mark.parametrize(
    "transform",
    [
        NORTH_UP,
        (CELL, 0.0, WEST, 0.0, CELL, NORTH),
        (-CELL, 0.0, WEST, 0.0, -CELL, NORTH),
        (0.4, -0.3, WEST, 0.3, 0.4, NORTH),
        (0.0, CELL, WEST, CELL, 0.0, NORTH),
        (0.5, 0.1, WEST, 0.0, -2.0, NORTH),
    ],
    ids=["north-up", "south-up", "east-left", "rotated", "transposed", "sheared"],
)
def test_bilinear_equals_an_independent_interpolation(transform: Transform) -> None:
    """Heights equal scipy.ndimage.map_coordinates (order 1) within 0.01 mm, at 5 000 km northing."""
    cells = Cells(rough_ground(40, 30), transform)
    rng = np.random.default_rng(11)
    col, row = rng.uniform(0.5, 29.5, 500), rng.uniform(0.5, 39.5, 500)
    expected = map_coordinates(cells.values, [row - 0.5, col - 0.5], order=1)
    assert_metres(heights(take(cells, col, row, transform=transform)), expected, within_m=1e-5)


def test_nearest_is_the_cell_that_holds_the_place() -> None:
    """With `nearest`, every place inside the outline gets its own cell's value, to the very edge."""
    cells = Cells(rough_ground(12, 9))
    rng = np.random.default_rng(5)
    col, row = rng.uniform(0.0, 9.0, 300), rng.uniform(0.0, 12.0, 300)
    expected = cells.values[np.floor(row).astype(int), np.floor(col).astype(int)]
    np.testing.assert_array_equal(heights(take(cells, col, row, "nearest")), expected)


def test_at_cell_centres_both_methods_give_the_stored_value() -> None:
    """At a cell's centre the height is the cell's value, bit by bit, also in the outermost cells."""
    cells = Cells(rough_ground(6, 5))
    row, col = (index.ravel() + 0.5 for index in np.indices((6, 5)))
    for method in ("bilinear", "nearest"):
        got = heights(take(cells, col, row, method))
        np.testing.assert_array_equal(got.reshape(6, 5), cells.values)


def test_a_tenth_of_a_metre_cell_at_five_thousand_kilometres_loses_nothing() -> None:
    """A slope of 1:1 in 0.1 m cells gives the closed-form height within 1e-8 m far from the origin."""
    transform = (0.1, 0.0, WEST, 0.0, -0.1, NORTH)
    row, col = np.indices((50, 60)) + 0.5
    cells = Cells(100.0 + 0.1 * col - 0.1 * row, transform)
    x = WEST + np.linspace(0.06, 5.93, 97)
    y = NORTH - np.linspace(0.07, 4.91, 97)
    samples, findings = sample_raster([cells], x, y, "bilinear", 1.0, 1.0)
    # The place as the doubles hold it, relative to the origin: these subtractions are exact.
    assert_metres(heights(samples), 100.0 + (x - WEST) - (NORTH - y), within_m=1e-8)
    assert findings == ()


positions = st.one_of(
    st.integers(-16, 120).map(lambda eighths: eighths / 8.0),  # lines and centres among them
    st.floats(-2.0, 14.0, allow_nan=False),
)


@given(
    st.lists(st.tuples(positions, positions), min_size=1, max_size=8),
    st.sets(st.tuples(st.integers(0, 9), st.integers(0, 11)), max_size=12),
    st.sampled_from(["bilinear", "nearest"]),
)
def test_north_up_and_south_up_sample_alike(
    where: list[tuple[float, float]], holes: set[tuple[int, int]], method: Method
) -> None:
    """Turning the rows of a raster over changes neither heights nor reasons nor support, anywhere."""
    values = rough_ground(10, 12)
    for hole in holes:
        values[hole] = np.nan
    col, row = np.array(where).T
    x, y = place(NORTH_UP, col, row)
    south_up = (CELL, 0.0, WEST, 0.0, CELL, NORTH - 10 * CELL)
    one, _ = sample_raster([Cells(values)], x, y, method, 1.0, 1.0)
    other, _ = sample_raster([Cells(values[::-1].copy(), south_up)], x, y, method, 1.0, 1.0)
    assert reasons(one) == reasons(other)
    assert_metres(heights(one), heights(other), within_m=1e-6)
    for a, b in zip(one, other, strict=True):
        assert (a.support is None) == (b.support is None)
        if a.support and b.support:
            assert a.support.points == b.support.points
            if a.support.slope_deg is not None and b.support.slope_deg is not None:
                assert a.support.slope_deg == pytest.approx(b.support.slope_deg, abs=1e-9)


@given(st.tuples(positions, positions), st.floats(-180.0, 180.0))
def test_turning_raster_and_place_together_changes_nothing(
    where: tuple[float, float], angle_deg: float
) -> None:
    """A rotated geotransform gives the height of the unrotated one at the same position in cells."""
    col, row = (
        round(8 * value) / 8 + 0.05 for value in where
    )  # off the lines: rounding decides there
    cos, sin = math.cos(math.radians(angle_deg)) * CELL, math.sin(math.radians(angle_deg)) * CELL
    turned = (cos, -sin, WEST, sin, cos, NORTH)
    values = rough_ground(10, 12)
    for method in ("bilinear", "nearest"):
        plain = take(Cells(values), col, row, method)
        other = take(Cells(values, turned), col, row, method, turned)
        assert reasons(plain) == reasons(other)
        assert_metres(heights(plain), heights(other), within_m=1e-6)


# ---------------------------------------------------------------- no height, and why


def test_outside_and_edge() -> None:
    """Beyond the outline is `outside`; within half a cell of it bilinear has no height, nearest has."""
    cells = Cells(rough_ground(4, 4))
    col = [-0.01, 4.01, 0.2, 3.8, 2.0, 2.0, 0.5, 3.5, 1e9, 0.0]
    row = [2.0, 2.0, 2.0, 2.0, 0.49, 3.51, 0.5, 3.5, 2.0, 0.0]
    assert reasons(take(cells, col, row)) == [
        *("outside", "outside", "edge", "edge", "edge", "edge", None, None, "outside", "edge")
    ]
    got = reasons(take(cells, col, row, "nearest"))
    assert got == ["outside", "outside", None, None, None, None, None, None, "outside", None]


def test_places_that_are_no_numbers_are_outside() -> None:
    """NaN and infinite coordinates are answered with a reason, not with a fault."""
    x, y = np.array([np.nan, np.inf, WEST]), np.array([NORTH, NORTH, -np.inf])
    for transform in (NORTH_UP, (0.4, -0.3, WEST, 0.3, 0.4, NORTH)):
        cells = Cells(rough_ground(4, 4), transform)
        samples, _ = sample_raster([cells], x, y, "bilinear", 1.0, 1.0)
        assert reasons(samples) == ["outside"] * 3


def test_no_rasters_and_no_places() -> None:
    """Nothing to sample from is `outside`; nothing to sample is an empty list."""
    samples, findings = sample_raster([], np.array([1.0]), np.array([2.0]), "bilinear", 1.0, 1.0)
    assert reasons(samples) == ["outside"]
    assert findings == ()
    none, _ = sample_raster(
        [Cells(rough_ground(3, 3))], np.array([]), np.array([]), "nearest", 1, 1
    )
    assert none == []


def test_a_neighbour_without_data_matters_only_with_weight() -> None:
    """No-data with any weight gives no height; with weight zero the height is the other cells' alone."""
    values = rough_ground(4, 4)
    values[1, 2] = np.nan
    cells = Cells(values)
    # beside it: on the centre line of row 2 or column 1, its weight is zero
    on_line = take(cells, [2.2, 1.5, 1.5], [2.5, 1.9, 1.5])
    expected = [
        0.3 * values[2, 1] + 0.7 * values[2, 2],
        0.6 * values[1, 1] + 0.4 * values[2, 1],
        values[1, 1],
    ]
    assert_metres(heights(on_line), expected, within_m=1e-6)
    assert reasons(take(cells, [2.2, 1.51, 2.5, 2.6], [2.49, 1.9, 1.5, 0.6])) == ["no-data"] * 4
    assert "1 of the 4 cells" in take(cells, 2.2, 2.4)[0].detail


def test_weights_that_are_rounding_only_count_as_zero() -> None:
    """A place at a cell's centre whose doubles cannot hit it exactly does not trip over a neighbour."""
    transform = (0.1, 0.0, WEST, 0.0, -0.1, NORTH)
    values = rough_ground(30, 30)
    values[17, 14] = values[18, 13] = values[16, 13] = values[17, 12] = np.nan
    x, y = WEST + 13.5 * 0.1, NORTH - 17.5 * 0.1
    for nudge in (-1, 0, 1):
        there = np.array([x + nudge * np.spacing(x)]), np.array([y - nudge * np.spacing(y)])
        samples, _ = sample_raster([Cells(values, transform)], *there, "bilinear", 1.0, 1.0)
        assert_metres(heights(samples), [values[17, 13]], within_m=1e-6)
    a_tenth_millimetre_off, _ = sample_raster(
        [Cells(values, transform)], np.array([x + 1e-4]), np.array([y]), "bilinear", 1.0, 1.0
    )
    assert reasons(a_tenth_millimetre_off) == ["no-data"]


def test_nearest_needs_its_own_cell_only() -> None:
    """A gap beside the cell is nothing to `nearest`; in the gap there is no data."""
    values = rough_ground(3, 3)
    values[1, 1] = np.nan
    got = take(Cells(values), [0.9, 1.5], [1.5, 1.5], "nearest")
    assert reasons(got) == [None, "no-data"]
    assert got[0].height == values[1, 0]


@pytest.mark.parametrize("value", [-9999.0, -99999.0, -999999.0, -32768.0, -32767.0, -3.4e38, 1e20])
def test_an_undeclared_no_data_number_gives_no_height_and_is_told(value: float) -> None:
    """A cell that holds a customary no-data number yields no height, and a finding names the number."""
    values = rough_ground(4, 4)
    values[2, 2] = value
    x, y = place(NORTH_UP, [2.1, 2.5, 1.0], [2.1, 2.5, 1.0])
    samples, findings = sample_raster([Cells(values)], x, y, "bilinear", 1.0, 1.0)
    assert reasons(samples) == ["no-data", "no-data", None]
    (finding,) = findings
    assert (finding.code, finding.severity) == ("file-suspect-values", Severity.WARNING)
    assert finding.evidence["value"] == value
    assert finding.evidence["places"] == 2
    assert "cells.tif" in finding.message
    # Without weight it is no neighbour of a height, and stays out of the plane too.
    beside = take(Cells(values), 1.5, 1.5)[0]
    assert beside.height == values[1, 1]
    assert beside.support is not None
    assert beside.support.points == 8


def test_low_and_high_ground_is_not_suspect() -> None:
    """Heights at the Earth's extremes, in metres or feet, are heights (from memory: -430 m, 29 032 ft)."""
    for value in (-430.0, -1411.0, 0.0, 8848.86, 29031.7):
        samples, findings = sample_raster(
            [Cells(np.full((3, 3), value))], *place(NORTH_UP, 1.5, 1.5), "bilinear", 1.0, 1.0
        )
        assert heights(samples)[0] == value
        assert findings == ()


def test_every_reason_given_is_a_registered_one() -> None:
    """The reasons used here are keys of the table that reports print."""
    assert {"outside", "edge", "no-data"} <= set(NO_HEIGHT_REASONS)


# ---------------------------------------------------------------- several rasters


def cut(values: NDArray[np.float64], transform: Transform, rows: slice, cols: slice) -> Cells:
    """Cut a tile from a mosaic, with the geotransform its own file would have."""
    x, y = place(transform, cols.start, rows.start)
    a, b, _, d, e, _ = transform
    name = f"tile_{rows.start}_{cols.start}.tif"
    return Cells(values[rows, cols], (a, b, float(x[0]), d, e, float(y[0])), name)


@given(
    st.integers(1, 9),
    st.integers(1, 11),
    st.lists(st.tuples(positions, positions), min_size=1, max_size=8),
    st.permutations(range(4)),
    st.sampled_from(["bilinear", "nearest"]),
    st.booleans(),
)
def test_at_a_seam_the_tiles_answer_as_their_mosaic(
    row_cut: int,
    col_cut: int,
    where: list[tuple[float, float]],
    order: list[int],
    method: Method,
    rotated: bool,
) -> None:
    """Four tiles, in any order, give the mosaic's heights and reasons, also where the corners meet."""
    values = rough_ground(10, 12)
    values[4, 5] = np.nan
    transform = (0.4, -0.3, WEST, 0.3, 0.4, NORTH) if rotated else NORTH_UP
    tiles = [
        cut(values, transform, rows, cols)
        for rows in (slice(0, row_cut), slice(row_cut, 10))
        for cols in (slice(0, col_cut), slice(col_cut, 12))
    ]
    col, row = np.array(where).T
    x, y = place(transform, col, row)
    whole, _ = sample_raster([Cells(values, transform)], x, y, method, 1.0, 1.0)
    parts, findings = sample_raster([tiles[i] for i in order], x, y, method, 1.0, 1.0)
    assert reasons(parts) == reasons(whole)
    assert_metres(heights(parts), heights(whole), within_m=1e-6)
    assert findings == ()


def test_a_missing_tile_leaves_an_edge() -> None:
    """Beside a tile that was not handed in, the place is at an edge; in its area it is outside."""
    values = rough_ground(8, 8)
    tiles = [
        cut(values, NORTH_UP, slice(0, 4), slice(0, 4)),
        cut(values, NORTH_UP, slice(4, 8), slice(4, 8)),
    ]
    assert reasons(take(tiles, [3.0, 3.9, 4.0, 5.0, 5.0], [3.0, 3.9, 4.0, 3.0, 5.0])) == [
        *(None, "edge", "edge", "outside", None)
    ]


def test_overlapping_tiles_with_equal_values_are_silent() -> None:
    """Tiles that overlap and agree give the mosaic's heights and nothing to report."""
    values = rough_ground(8, 10)
    tiles = [
        cut(values, NORTH_UP, slice(0, 8), slice(0, 6)),
        cut(values, NORTH_UP, slice(0, 8), slice(4, 10)),
    ]
    col, row = np.linspace(0.6, 9.4, 40), np.linspace(0.6, 7.4, 40)
    x, y = place(NORTH_UP, col, row)
    samples, findings = sample_raster(tiles, x, y, "bilinear", 1.0, 1.0)
    assert_metres(heights(samples), heights(take(Cells(values), col, row)), within_m=1e-9)
    assert findings == ()


def test_overlapping_tiles_that_disagree_are_reported_with_the_difference() -> None:
    """Where tiles differ the first given counts, and a finding says how large the difference is."""
    values = np.full((8, 10), 250.0)
    first = cut(values, NORTH_UP, slice(0, 8), slice(0, 6))
    second = cut(values + 0.08, NORTH_UP, slice(0, 8), slice(4, 10))
    x, y = place(NORTH_UP, [2.0, 5.0, 8.0, 4.25], [4.0, 4.0, 4.0, 4.0])
    # in feet: 0.08 ft is 0.024384 m; a quarter of a cell short of the overlap's first centre, 3/4 of it
    for tiles, expected in (
        ([first, second], [250.0, 250.0, 250.08, 250.0]),
        ([second, first], [250.0, 250.08, 250.08, 250.06]),
    ):
        samples, findings = sample_raster(tiles, x, y, "bilinear", 0.3048, 0.3048)
        assert_metres(heights(samples), expected, within_m=1e-9)
        (finding,) = findings
        assert (finding.code, finding.severity) == ("file-overlap", Severity.WARNING)
        assert finding.evidence["places"] == 2
        assert finding.evidence["largest_difference_stored"] == pytest.approx(0.08, abs=1e-9)
        assert finding.evidence["largest_difference_m"] == pytest.approx(0.024384, abs=1e-9)
        assert "tile_0_0.tif" in finding.message
        assert "tile_0_4.tif" in finding.message


def test_a_gap_in_one_tile_is_filled_by_another() -> None:
    """As in a mosaic: a cell without data in the first tile is taken from the second that has it."""
    values = rough_ground(6, 6)
    holed = values.copy()
    holed[2, 2] = np.nan
    tiles = [Cells(holed, name="a.tif"), Cells(values, name="b.tif")]
    x, y = place(NORTH_UP, 2.2, 2.7)
    samples, findings = sample_raster(tiles, x, y, "bilinear", 1.0, 1.0)
    assert_metres(heights(samples), heights(take(Cells(values), 2.2, 2.7)), within_m=1e-9)
    assert findings == ()


def test_rasters_on_other_grids_are_tried_alone() -> None:
    """Tiles half a cell apart are never mixed: the first with a height wins, and a note says so."""
    flat = Cells(np.full((6, 6), 10.0), name="a.tif")
    shifted = (CELL, 0.0, WEST + 5.5 * CELL, 0.0, -CELL, NORTH)
    other = Cells(np.full((6, 6), 10.5), shifted, name="b.tif")
    x, y = place(NORTH_UP, [3.0, 5.4, 5.6, 7.0, 11.4, 13.0], [3.0] * 6)
    samples, findings = sample_raster([flat, other], x, y, "bilinear", 1.0, 1.0)
    assert reasons(samples) == [None, None, "edge", None, "edge", "outside"]
    assert_metres(heights(samples)[[0, 1, 3]], [10.0, 10.0, 10.5], within_m=1e-9)
    assert [(f.code, f.severity) for f in findings] == [("file-overlap", Severity.NOTE)]


def test_a_raster_on_another_grid_fills_a_gap() -> None:
    """Where the first grid has no data or an edge, a later one with a height answers."""
    values = np.full((8, 8), 10.0)
    values[4, 4] = np.nan
    fine = Cells(values, name="fine.tif")
    coarse = Cells(
        np.full((6, 6), 10.3), (1.0, 0.0, WEST - 1.0, 0.0, -1.0, NORTH + 1.0), "coarse.tif"
    )
    x, y = place(NORTH_UP, [4.4, 0.2, 2.0], [4.6, 4.0, 2.0])
    samples, _ = sample_raster([fine, coarse], x, y, "bilinear", 1.0, 1.0)
    assert_metres(heights(samples), [10.3, 10.3, 10.0], within_m=1e-9)
    alone, _ = sample_raster([fine], x, y, "bilinear", 1.0, 1.0)
    assert reasons(alone) == ["no-data", "edge", None]


def test_heights_of_two_grids_over_one_place_are_compared() -> None:
    """A coarse and a fine raster over one place that differ are reported; the first given counts."""
    fine = Cells(np.full((8, 8), 10.0), name="fine.tif")
    coarse = Cells(np.full((4, 4), 10.3), (1.0, 0.0, WEST, 0.0, -1.0, NORTH), "coarse.tif")
    x, y = place(NORTH_UP, 4.0, 4.0)
    for tiles, expected in (([fine, coarse], 10.0), ([coarse, fine], 10.3)):
        samples, findings = sample_raster(tiles, x, y, "bilinear", 1.0, 1.0)
        assert heights(samples)[0] == expected
        warning = next(f for f in findings if f.severity is Severity.WARNING)
        assert warning.evidence["largest_difference_m"] == pytest.approx(0.3, abs=1e-9)


# ---------------------------------------------------------------- support


@pytest.mark.parametrize(
    ("unit_h", "unit_v"),
    [(1.0, 1.0), (0.3048, 0.3048), (1200 / 3937, 1.0)],
    ids=["m", "ft", "mixed"],
)
def test_slope_and_roughness_have_closed_forms(unit_h: float, unit_v: float) -> None:
    """On a plane with a saddle r*u*v on top, slope is the plane's and roughness is r*sqrt(4/6).

    Over u, v in -1, 0, 1 the saddle is orthogonal to 1, u and v, and its squares sum to 4 (closed form);
    9 cells less 3 leave 6 degrees of freedom.
    """
    east, north, saddle = 0.30, -0.16, 0.05
    row, col = np.indices((5, 5)) - 2.0
    plane = 100.0 + east * CELL * col + north * -CELL * row
    cells = Cells(plane + saddle * row * col)
    x, y = place(NORTH_UP, 2.6, 2.4)
    samples, _ = sample_raster([cells], x, y, "bilinear", unit_h, unit_v)
    support = samples[0].support
    assert support is not None
    assert support.points == 9
    assert support.cell_m == pytest.approx(CELL * unit_h, abs=1e-12)
    slope = math.degrees(math.atan(math.hypot(east, north) * unit_v / unit_h))
    assert support.slope_deg == pytest.approx(slope, abs=1e-9)
    assert support.roughness_m == pytest.approx(saddle * math.sqrt(4 / 6) * unit_v, abs=1e-9)


def test_slope_on_a_rotated_grid_is_that_of_the_ground() -> None:
    """Slope is taken in the plane of the coordinates, not of rows and columns."""
    transform = (0.4, -0.6, WEST, 0.3, 0.8, NORTH)  # cells 0.5 by 1.0, turned
    row, col = np.indices((7, 7)) + 0.5
    x, y = place(transform, col.ravel(), row.ravel())
    cells = Cells((0.2 * (x - WEST) + 0.1 * (y - NORTH)).reshape(7, 7), transform)
    support = take(cells, 3.4, 3.2, transform=transform)[0].support
    assert support is not None
    assert support.slope_deg == pytest.approx(
        math.degrees(math.atan(math.hypot(0.2, 0.1))), abs=1e-7
    )
    assert support.roughness_m == pytest.approx(0.0, abs=1e-7)
    assert support.cell_m == pytest.approx(1.0, abs=1e-12)


def test_degrees_are_not_metres() -> None:
    """Without metres per unit there is no cell size, slope or roughness; the height stays."""
    transform = (1 / 1200, 0.0, 6.0, 0.0, -1 / 1200, 50.0)
    x, y = place(transform, 2.5, 2.5)
    samples, _ = sample_raster([Cells(rough_ground(5, 5), transform)], x, y, "bilinear", None, 1.0)
    support = samples[0].support
    assert samples[0].height is not None
    assert support is not None
    assert (support.cell_m, support.slope_deg, support.roughness_m) == (None, None, None)
    unknown, _ = sample_raster([Cells(rough_ground(5, 5), transform)], x, y, "bilinear", 1.0, None)
    assert unknown[0].support is not None
    assert unknown[0].support.cell_m == pytest.approx(1 / 1200, abs=1e-15)
    assert unknown[0].support.roughness_m is None


def test_too_few_cells_make_no_plane() -> None:
    """Three cells, or cells on one line, carry a height but no roughness."""
    values = np.full((5, 5), np.nan)
    values[2, 1:4] = [10.0, 11.0, 12.0]
    support = take(Cells(values), 2.5, 2.5)[0].support
    assert support is not None
    assert (support.points, support.slope_deg, support.roughness_m) == (3, None, None)


# ---------------------------------------------------------------- real rasters


def _independent(path: Path, x: NDArray, y: NDArray) -> NDArray[np.float64]:
    """Bilinear by scipy over the whole band: RegularGridInterpolator on cell centres, NaN for no data."""
    with rasterio.open(path) as raster:
        values = raster.read(1, masked=True).astype(float).filled(np.nan)
        a, _, c, _, e, f = tuple(raster.transform)[:6]
    rows, cols = values.shape
    centres = (np.arange(rows) + 0.5) * e, (np.arange(cols) + 0.5) * a
    axes = centres if e > 0 else (-centres[0], centres[1])
    lookup = RegularGridInterpolator(axes, values, bounds_error=False, fill_value=np.nan)
    return lookup(np.column_stack([(y - f) * (1 if e > 0 else -1), x - c]))


REAL = (
    "bcts-als/bcts_dsm_5m.tif",
    "dem/luxembourg_elev.tif",
    "dem/texas_dem_3s.tif",
    "dem/derived_autzen_ground_10ft.tif",
    "dem/derived_lambert93_ground_2m_compound.tif",
    "dem/float_nan.tif",
    "dem/float_raster_with_nodata.tif",
    "dem/int16.tif",
    "dem/float64.tif",
)


@pytest.mark.shared_data
@pytest.mark.parametrize("name", REAL)
def test_real_rasters_equal_an_independent_interpolation(shared_data: Path, name: str) -> None:
    """Heights of real rasters equal scipy's within 0.01 mm, and have a height exactly where it has one."""
    surface = open_elevation_raster(shared_data / name)
    west, south, east, north = surface.info.bounds
    rng = np.random.default_rng(3)
    x, y = rng.uniform(west, east, 300), rng.uniform(south, north, 300)
    samples, _ = sample_raster([surface], x, y, "bilinear", 1.0, 1.0)
    surface.close()
    got, expected = heights(samples), _independent(shared_data / name, x, y)
    np.testing.assert_array_equal(np.isnan(got), np.isnan(expected))
    assert np.isfinite(got).sum() > 40
    assert_metres(got, expected, within_m=1e-5)


@pytest.mark.shared_data
@pytest.mark.parametrize(
    "name", ["bcts-als/bcts_dsm_5m.tif", "dem/rotated.tif", "dem/texas_dem_3s.tif"]
)
def test_nearest_equals_gdal(shared_data: Path, name: str) -> None:
    """With `nearest`, real rasters give what rasterio's own sampling gives, rotated ones too."""
    surface = open_elevation_raster(shared_data / name)
    rng = np.random.default_rng(4)
    rows, cols = surface.shape
    x, y = place(surface.transform, rng.uniform(0, cols, 300), rng.uniform(0, rows, 300))
    samples, _ = sample_raster([surface], x, y, "nearest", 1.0, 1.0)
    surface.close()
    with rasterio.open(shared_data / name) as raster:
        read = [v[0] for v in raster.sample(zip(x, y, strict=True), masked=True)]
    expected = np.array([math.nan if np.ma.is_masked(v) else float(v) for v in read])
    np.testing.assert_array_equal(heights(samples), expected)


@pytest.mark.shared_data
def test_a_real_raster_cut_into_tiles_answers_as_before(shared_data: Path, tmp_path: Path) -> None:
    """The 5 m surface model, cut into twelve files, gives the same heights and reasons as whole."""
    path = shared_data / "bcts-als" / "bcts_dsm_5m.tif"
    tiles = []
    with rasterio.open(path) as whole:
        for row in range(0, whole.height, 60):
            for col in range(0, whole.width, 15):
                window = rasterio.windows.Window(
                    col, row, min(15, whole.width - col), min(60, whole.height - row)
                )
                profile = whole.profile | {
                    "width": window.width,
                    "height": window.height,
                    "tiled": False,
                    "transform": rasterio.Affine(
                        5.0, 0.0, 885020.0 + 5.0 * col, 0.0, -5.0, 630220.0 - 5.0 * row
                    ),
                }
                tiles.append(tmp_path / f"{row}_{col}.tif")
                with rasterio.open(tiles[-1], "w", **profile) as tile:
                    tile.write(whole.read(window=window))
    assert len(tiles) == 12
    one = open_elevation_raster(path)
    many = [open_elevation_raster(tile) for tile in tiles]
    west, south, east, north = one.info.bounds
    rng = np.random.default_rng(9)
    x, y = rng.uniform(west, east, 400), rng.uniform(south, north, 400)
    x[:100] = (
        west + 15 * 5.0 * rng.integers(0, 3, 100) + rng.uniform(-2.5, 2.5, 100)
    )  # at the seams
    before, _ = sample_raster([one], x, y, "bilinear", 1.0, 1.0)
    after, findings = sample_raster(many, x, y, "bilinear", 1.0, 1.0)
    for surface in (one, *many):
        surface.close()
    assert before == after
    assert findings == ()


@pytest.mark.shared_data
def test_odd_rasters_are_answered_with_a_reason_or_an_error(shared_data: Path) -> None:
    """All no-data gives `no-data`; a corrupt file gives one error that names file and cells."""
    empty = open_elevation_raster(shared_data / "dem" / "all-nodata.tif", band=1)
    x, y = place(empty.transform, [30.3, 60.8], [100.2, 2000.9])
    samples, _ = sample_raster([empty], x, y, "bilinear", 1.0, 1.0)
    empty.close()
    assert reasons(samples) == ["no-data", "no-data"]
    corrupt = open_elevation_raster(shared_data / "dem" / "corrupt.tif", band=1)
    x, y = place(corrupt.transform, [600.0], [600.0])
    with pytest.raises(FormatError, match=r"corrupt\.tif: the cells of rows 598 to 600"):
        sample_raster([corrupt], x, y, "bilinear", 1.0, 1.0)
    corrupt.close()
