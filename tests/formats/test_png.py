from __future__ import annotations

import hashlib
import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.image import imread

from accuracy.formats.png import write_palette_png

PALETTE = [(255, 255, 255), *((16 * i, 255 - 16 * i, 7 * i) for i in range(1, 16))]


@given(st.integers(1, 40), st.integers(1, 40), st.integers(0, 2**32 - 1))
def test_a_picture_is_read_back_as_it_was(rows: int, cols: int, seed: int) -> None:
    """Pillow, behind matplotlib, finds every pixel's colour; the first colour of the palette is clear."""
    places = np.random.default_rng(seed).integers(0, 16, (rows, cols)).astype(np.uint8)
    pixels = np.asarray(imread(io.BytesIO(write_palette_png(places, PALETTE)), format="png"))
    wanted = np.array(PALETTE)[places]
    assert pixels.shape == (rows, cols, 4)
    np.testing.assert_array_equal(np.round(pixels[..., :3] * 255), wanted)
    np.testing.assert_array_equal(pixels[..., 3] == 0.0, places == 0)


def test_a_large_picture_of_several_blocks_is_read_back() -> None:
    """More bytes than one stored block of 65 535 holds."""
    places = (np.add.outer(np.arange(500), np.arange(601)) % 16).astype(np.uint8)
    content = write_palette_png(places, PALETTE)
    pixels = np.asarray(imread(io.BytesIO(content), format="png"))
    np.testing.assert_array_equal(np.round(pixels[..., :3] * 255), np.array(PALETTE)[places])
    assert len(content) < 500 * 601 / 2 + 2000


def test_the_bytes_depend_on_no_squeezing_library() -> None:
    """The hash of a known picture, worked out once from the standard's own rules: it must never change."""
    content = write_palette_png(np.array([[0, 1, 2], [3, 4, 5]], np.uint8), PALETTE)
    assert (
        hashlib.sha256(content).hexdigest()
        == "d4019023ee750e27ca3d921cbfb52377902d4bffd26a84db707f3ed8a254798b"
    )


@pytest.mark.parametrize("palette", [[], PALETTE[:3], [*PALETTE, (0, 0, 0)]])
def test_a_pixel_outside_the_palette_is_a_mistake(palette: list[tuple[int, int, int]]) -> None:
    """Neither too few nor too many colours."""
    with pytest.raises(ValueError, match="palette"):
        write_palette_png(np.array([[3]], np.uint8), palette)
