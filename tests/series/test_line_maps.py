"""Pictures of flight lines: every pixel has the colour of its value, read back by another library."""

from __future__ import annotations

import hashlib
import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from accuracy.series.line_maps import (
    ASIDE,
    DIVERGING,
    LONGEST,
    SEQUENTIAL,
    coarser,
    difference_bounds_m,
    draw_density,
    draw_difference,
)

BOX = (0.0, 0.0, 4.0, 2.0)
ASSESSED = 3


def pixels(picture: bytes) -> NDArray[np.uint8]:
    """Red, green, blue, alpha of a PNG, by Pillow."""
    return np.asarray(Image.open(io.BytesIO(picture)).convert("RGBA"))


def drawn(values: list[list[float]], limit_m: float | None = 0.08) -> NDArray[np.uint8]:
    """Colours of differences that are all assessed."""
    array = np.array(values)
    state = np.full(array.shape, ASSESSED, np.uint8)
    made = draw_difference(
        array, state, BOX, "lines-1-difference.png", assessed=ASSESSED, limit_m=limit_m
    )
    return pixels(made.picture)


def test_signs_and_sizes_have_their_colours() -> None:
    """With a limit of 0.08 m a class is 0.02 m wide; zero divides blue from orange; nothing is clipped."""
    colours = drawn([[-9.0, -0.019, 0.0, 0.019], [0.02, 0.079, 0.081, 9.0]])
    found = [tuple(map(int, pixel[:3])) for pixel in colours.reshape(-1, 4)]
    assert found == [
        DIVERGING[0],
        DIVERGING[6],
        DIVERGING[7],
        DIVERGING[7],
        DIVERGING[8],
        DIVERGING[10],
        DIVERGING[11],
        DIVERGING[13],
    ]
    assert (colours[..., 3] == 255).all()


def test_blue_is_lower_and_orange_is_higher_and_both_darken_outwards() -> None:
    """Lower has more blue than red, higher more red than blue; grey print tells sizes (luma of Rec. 601)."""
    luma = [0.299 * r + 0.587 * g + 0.114 * b for r, g, b in DIVERGING]
    assert all(b > r for r, _, b in DIVERGING[:7])
    assert all(r > b for r, _, b in DIVERGING[7:])
    assert luma[:7] == sorted(luma[:7])
    assert luma[7:] == sorted(luma[7:], reverse=True)
    grey = [0.299 * r + 0.587 * g + 0.114 * b for r, g, b in SEQUENTIAL]
    assert grey == sorted(grey, reverse=True)


def test_what_is_not_assessed_is_grey_and_what_is_not_shared_is_clear() -> None:
    """Three kinds of cells: no difference, one that does not count, one that counts."""
    values = np.array([[np.nan, 0.5, 0.01]])
    state = np.array([[1, 2, ASSESSED]], np.uint8)
    made = draw_difference(values, state, BOX, "lines-1-difference.png", assessed=ASSESSED)
    found = pixels(made.picture)[0]
    assert found[0, 3] == 0
    assert tuple(map(int, found[1, :3])) == ASIDE
    assert tuple(map(int, found[2, :3])) in DIVERGING[7:]


def test_the_record_names_the_picture() -> None:
    """File, hash, box and one colour more than bounds, and grey."""
    values = np.zeros((2, 4))
    made = draw_difference(
        values,
        np.full((2, 4), ASSESSED, np.uint8),
        BOX,
        "lines-2-difference.png",
        assessed=ASSESSED,
    )
    record = made.record
    assert record["sha256"] == hashlib.sha256(made.picture).hexdigest()
    assert record["file"] == "lines-2-difference.png"
    assert record["box_m"] == list(BOX)
    assert len(record["colours"]) == len(record["bounds"]) + 2


def test_density_counts_per_square_metre() -> None:
    """Four returns in a cell of 2 m are 1 per m2; cells without a line are clear, those without returns not."""
    counts = np.array([[4, 40, 0, 0]], np.uint32)
    lines = np.array([[1, 2, 1, 0]], np.uint8)
    made = draw_density(counts, lines, 2.0, (0.0, 0.0, 8.0, 2.0), "lines-1-density.png")
    found = pixels(made.picture)[0]
    bounds = made.record["bounds"]
    for pixel, density in zip(found[:3], (1.0, 10.0, 0.0), strict=True):
        place = sum(bound <= density for bound in bounds)
        assert tuple(map(int, pixel[:3])) == SEQUENTIAL[place]
    assert found[3, 3] == 0


@given(limit_m=st.floats(0.001, 1.0), top=st.floats(0.0, 5.0))
def test_bounds_are_symmetric_about_zero(limit_m: float, top: float) -> None:
    """A sign never depends on rounding: zero is a bound, and the others lie mirrored."""
    for bounds in (
        difference_bounds_m(np.array([top]), limit_m),
        difference_bounds_m(np.array([top])),
    ):
        assert bounds == sorted(bounds)
        assert bounds == [-b + 0.0 for b in reversed(bounds)]
        assert 0.0 in bounds


@pytest.mark.parametrize("shape", [(3, LONGEST), (3, LONGEST + 1), (2 * LONGEST + 3, 5)])
def test_a_large_raster_is_averaged_in_whole_blocks(shape: tuple[int, int]) -> None:
    """Means of blocks against a loop over all cells; the box covers the padding."""
    random = np.random.default_rng(3)
    values = random.normal(size=shape)
    values[random.random(shape) < 0.3] = np.nan
    found, box = coarser(
        lambda rows: values[rows], shape, (0.0, 0.0, float(shape[1]), float(shape[0]))
    )
    block = -(-max(shape) // LONGEST)
    assert max(found.shape) <= LONGEST
    for row in range(found.shape[0]):
        for col in range(found.shape[1]):
            part = values[row * block : (row + 1) * block, col * block : (col + 1) * block]
            known = part[~np.isnan(part)]
            if known.size:
                assert abs(found[row, col] - known.mean()) < 1e-12
            else:
                assert np.isnan(found[row, col])
    assert box == (
        0.0,
        shape[0] - found.shape[0] * block,
        float(found.shape[1] * block),
        float(shape[0]),
    )


def test_nothing_to_show_is_still_a_picture() -> None:
    """All cells empty: clear pixels, bounds from the smallest step."""
    values = np.full((2, 2), np.nan)
    made = draw_difference(
        values, np.zeros((2, 2), np.uint8), BOX, "lines-1-difference.png", assessed=ASSESSED
    )
    assert (pixels(made.picture)[..., 3] == 0).all()
    assert made.record["bounds"][-1] == 0.006
