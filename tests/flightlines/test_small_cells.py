"""Tables, planes and regressions by themselves, against numpy and laws."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from accuracy.flightlines.collecting import CELL_SUMS, XX, XY, XZ, YY, YZ, ZZ, N, X, Y, Z
from accuracy.flightlines.lattice import BLOCK, Lattice, block_of, corner, pack
from accuracy.flightlines.planes import fit_planes
from accuracy.flightlines.records import LinesSettings
from accuracy.flightlines.regression import Products, widening
from accuracy.flightlines.spread import Spread
from accuracy.flightlines.tables import Rows, merged


@given(st.lists(st.tuples(st.integers(-(10**7), 10**7), st.integers(-(10**7), 10**7)), min_size=1))
def test_packed_cells_keep_their_block(cells):
    """Any cell lies in the block that its number gives, whatever its sign."""
    row, col = (np.array(v) for v in zip(*cells, strict=True))
    key = pack(row, col)
    assert len(np.unique(key)) == len(set(cells))
    for number, (r, c) in zip(block_of(key).tolist(), cells, strict=True):
        south, west = corner(number)
        assert 0 <= r - south < BLOCK
        assert 0 <= c - west < BLOCK


@settings(deadline=None)
@given(st.lists(st.integers(0, 6), min_size=1, max_size=60), st.randoms(use_true_random=False))
def test_merging_does_not_depend_on_order(keys, random):
    """However rows are split and shuffled, the same table comes out."""
    n = len(keys)
    values = np.arange(n)
    rows = Rows(
        np.column_stack([np.array(keys), np.zeros(n, np.int64)]),
        values[:, None],
        values[:, None],
        values[:, None],
    )
    order = list(range(n))
    random.shuffle(order)
    cut = random.randint(0, n)
    parts = [rows.take(np.array(part, np.intp)) for part in (order[:cut], order[cut:])]
    one, two = merged([rows]), merged([merged([parts[0]]), parts[1]])
    for name in ("keys", "sums", "lows", "highs"):
        np.testing.assert_array_equal(getattr(one, name), getattr(two, name))


LATTICE = Lattice(1, 1000, 0.001, 0, 1.0, 1.0)


def sums_of(x, y, z):
    """Sum up one cell from steps about its centre."""
    sums = np.zeros((1, CELL_SUMS), np.int64)
    for at, values in (
        (N, np.ones_like(x)),
        (X, x),
        (Y, y),
        (Z, z),
        (XX, x * x),
        (XY, x * y),
        (YY, y * y),
        (XZ, x * z),
        (YZ, y * z),
        (ZZ, z * z),
    ):
        sums[0, at] = values.sum()
    none = np.zeros((1, 1), np.int64)
    return Rows(np.zeros((1, 2), np.int64), sums, none, none)


@pytest.mark.parametrize("level", [0, 4_000_000], ids=["at zero", "4 km up"])
def test_planes_are_those_of_numpy(level):
    """Height at the centre, slopes, thickness and leverage as by lstsq, also kilometres above zero."""
    rng = np.random.default_rng(4)
    x, y = rng.integers(-500, 500, (2, 40))
    z = np.rint(0.2 * x - 0.1 * y + rng.normal(0.0, 15.0, 40)).astype(np.int64) + level
    planes = fit_planes(sums_of(x, y, z), LATTICE, LinesSettings())
    design = np.column_stack([np.ones(40), x / 1000, y / 1000])
    beta, left, *_ = np.linalg.lstsq(design, (z - level) / 1000, rcond=None)
    assert planes.fitted[0]
    assert planes.height_m[0] - level / 1000 == pytest.approx(beta[0], abs=1e-9)
    assert (planes.east[0], planes.north[0]) == pytest.approx(beta[1:], abs=1e-9)
    assert planes.sigma_m[0] == pytest.approx(math.sqrt(left[0] / 37), abs=1e-9)
    inverse = np.linalg.inv(design.T @ design)
    assert planes.leverage[0] == pytest.approx(inverse[0, 0], abs=1e-9)
    found = (planes.slope_xx[0], planes.slope_xy[0], planes.slope_yy[0])
    assert found == pytest.approx((inverse[1, 1], inverse[1, 2], inverse[2, 2]), abs=1e-9)


def test_points_on_one_line_or_to_one_side_carry_no_plane():
    """One line of a scan leaves the slope across open; points of one half leave the centre outside."""
    rng = np.random.default_rng(5)
    x = rng.integers(-500, 500, 40)
    on_line = fit_planes(sums_of(x, np.full(40, 10), x // 9), LATTICE, LinesSettings())
    half = fit_planes(sums_of(np.abs(x), rng.integers(-500, 500, 40), x), LATTICE, LinesSettings())
    assert not on_line.fitted[0]
    assert not half.fitted[0]


@given(st.lists(st.floats(-5.0, 5.0), min_size=1, max_size=200))
def test_spread_is_that_of_numpy(values):
    """Mean, root mean square, percentile and largest, in one go or in parts."""
    whole, parts = Spread(), Spread()
    array = np.array(values)
    whole.see(array)
    for part in np.array_split(array, 3):
        parts.see(part)
    for found in (whole.differences(), parts.differences()):
        assert found.mean_m == pytest.approx(array.mean(), abs=1e-9)
        assert found.rmsd_m == pytest.approx(math.sqrt(np.mean(array**2)), abs=1e-9)
        assert found.p95_abs_m == pytest.approx(np.percentile(np.abs(array), 95.0), abs=1.01e-5)
        assert found.max_abs_m == np.abs(array).max()
        assert found.accuracy_95_m == pytest.approx(1.96 * found.rmsd_m)


def test_percentile_of_the_worked_example():
    """The notes on the Lidar Base Specification: rank 4.8 of five errors, 0.292 m."""
    spread = Spread()
    spread.see(np.array([0.05, -0.12, 0.31, 0.08, -0.22]))
    assert spread.percentile_abs(95.0) == pytest.approx(0.292, abs=1e-5)


def test_regression_is_the_jackknife_written_out():
    """Parameters as by lstsq; errors as from leaving out every block in turn, by lstsq again."""
    rng = np.random.default_rng(6)
    block = rng.integers(0, 8, 300)
    one, two = rng.normal(size=(2, 300))
    response = 0.3 + 0.5 * one - 0.2 * two + 0.1 * rng.normal(size=8)[block]
    products = Products(3)
    for part in np.array_split(rng.permutation(300), 4):
        products.see(block[part], (one[part], two[part], response[part]))
    fit = products.fit((1, 2), 3)
    design = np.column_stack([np.ones(300), one, two])
    beta = np.linalg.lstsq(design, response, rcond=None)[0]
    np.testing.assert_allclose(fit.values, beta, rtol=0.0, atol=1e-10)
    off = []
    for left_out in range(8):
        keep = block != left_out
        off.append(np.linalg.lstsq(design[keep], response[keep], rcond=None)[0] - beta)
    expected = 7 / 8 * np.transpose(off) @ np.array(off)
    np.testing.assert_allclose(fit.covariance, expected, rtol=0.0, atol=1e-10)
    assert fit.each(1).standard_error == pytest.approx(math.sqrt(expected[1, 1]) * widening(8))
    assert products.fit((1,), 3, combined=[(0.0, 2.0, 0.0, 0.0)]) is None  # the same column twice


def test_few_blocks_say_nothing_of_their_scatter():
    """Four blocks: values without errors."""
    products = Products(1)
    products.see(np.arange(40) % 4, (np.arange(40.0),))
    fit = products.fit((), 1)
    assert fit.each(0).value == pytest.approx(19.5)
    assert fit.each(0).standard_error is None
    assert not fit.each(0).significant
