"""Compressed points: damage of every kind is named before the decompressor sees it."""

from __future__ import annotations

import math
import struct

import numpy as np
import pytest

from accuracy.errors import FormatError
from accuracy.formats.las import open_las
from accuracy.formats.las_write import write_points
from accuracy.formats.laz import lazrs_errors

COUNT = 120_000  # three chunks: 50 000, 50 000, 20 000


@pytest.fixture(scope="module", params=[1, 6], ids=["pointwise", "layered"])
def sound(request, tmp_path_factory):
    """Bytes of a file of three chunks and its record length."""
    path = tmp_path_factory.mktemp("laz") / "sound.laz"
    rng = np.random.default_rng(8)
    x, y = rng.integers(0, 100_000, (2, COUNT))
    write_points(
        path,
        points={"x": x, "y": y, "z": x // 9 + y // 7},
        point_format=request.param,
        version="1.4",
    )
    return path.read_bytes()


def points_offset(data):
    """First byte after the records: where the offset of the table of chunks stands."""
    return struct.unpack_from("<I", data, 96)[0]


def read_all(path):
    """Count the points that an endless radius brings."""
    place = np.array([0.0])
    return sum(len(b.x) for b in open_las(path).near(place, place, math.inf))


def outcome(path):
    """Give the number of points read, or the message of the refusal."""
    try:
        return read_all(path)
    except FormatError as error:
        return error.message


def saved(tmp_path, data):
    """Write bytes to a file."""
    path = tmp_path / "file.laz"
    path.write_bytes(bytes(data))
    return path


def test_cut_anywhere_it_is_refused(sound, tmp_path):
    """Every beginning of a compressed file is refused or gives all its points."""
    (table,) = struct.unpack_from("<q", sound, points_offset(sound))
    rng = np.random.default_rng(4)
    cuts = {*range(len(sound) - 30, len(sound)), table, table + 1, *rng.integers(0, table, 60)}
    refused = 0
    for length in cuts:
        answer = outcome(saved(tmp_path, sound[:length]))
        if isinstance(answer, int):
            assert answer == COUNT
            assert length > table + 8
        else:
            refused += 1
            assert length < 375 or length > table or f"header promises {COUNT} points" in answer
    assert refused >= 60


@pytest.mark.parametrize("promised", [COUNT + 1, 150_001, 2**31])
def test_more_points_promised_than_held(sound, tmp_path, promised):
    """A header that counts more points than the chunks hold is refused, not read short."""
    data = bytearray(sound)
    struct.pack_into("<I", data, 107, 0)
    struct.pack_into("<Q", data, 247, promised)
    layered = data[104] & 0x7F >= 6
    path = saved(tmp_path, data)
    if layered or promised > 150_000:
        held = COUNT if layered else 150_000  # pointwise chunks are counted by their nominal size
        with pytest.raises(FormatError, match=f"promises {promised} points, file holds {held}"):
            open_las(path)
    else:
        with pytest.raises(FormatError, match="damaged"):
            read_all(path)


@pytest.mark.parametrize("promised", [119_000, 100_000, 60_000, 1])
def test_fewer_points_counted_than_held(sound, tmp_path, promised):
    """As many points as the header counts are read; where the file counts too, the rest is a finding."""
    data = bytearray(sound)
    struct.pack_into("<I", data, 107, 0)
    struct.pack_into("<Q", data, 247, promised)
    path = saved(tmp_path, data)
    assert read_all(path) == promised
    codes = [finding.code for finding in open_las(path).info.findings]
    if data[104] & 0x7F >= 6 or promised <= 100_000:
        assert "file-count-differs" in codes


def test_offset_of_the_table_at_the_end(sound, tmp_path):
    """A file written without going back has the offset of its table in its last eight bytes."""
    data = bytearray(sound)
    at = points_offset(sound)
    data += data[at : at + 8]
    struct.pack_into("<q", data, at, -1)
    assert read_all(saved(tmp_path, data)) == COUNT
    with pytest.raises(FormatError, match="ends before the table of chunks"):
        open_las(saved(tmp_path, data[:-8]))


@pytest.mark.parametrize(
    ("layout", "offset", "value"),
    [("<I", 0, 1), ("<I", 4, 0), ("<I", 4, 2**32 - 1), ("<I", 4, 2), ("<I", 4, 4), ("<I", 8, 0)],
)
def test_a_damaged_table_of_chunks(sound, tmp_path, layout, offset, value):
    """Version, number of chunks and their sizes are checked against the room there is."""
    data = bytearray(sound)
    (table,) = struct.unpack_from("<q", data, points_offset(data))
    struct.pack_into(layout, data, table + offset, value)
    with pytest.raises(FormatError, match="damaged"):
        open_las(saved(tmp_path, data))


def _laszip_record(data):
    return data.index(b"laszip encoded") - 2 + 54


@pytest.mark.parametrize(
    ("layout", "offset", "value", "message"),
    [
        ("<H", 0, 0, "compressor 0"),
        ("<H", 0, 1, "pointwise without a table of chunks"),
        ("<H", 0, 9, "compressor 9"),
        ("<H", 2, 1, "coder 1"),
        ("<I", 12, 0, "chunks of no points"),
        ("<H", 32, 99, "list of items"),
        ("<H", 34, 99, "item type 99"),
        ("<H", 36, 21, "the header says"),
        ("<H", 38, 4, "in version 4"),
    ],
)
def test_unsupported_compression_is_named(sound, tmp_path, layout, offset, value, message):
    """What the laszip record asks for and cannot be had is said, with what to do."""
    data = bytearray(sound)
    struct.pack_into(layout, data, _laszip_record(data) + offset, value)
    with pytest.raises(FormatError, match=message) as error:
        open_las(saved(tmp_path, data))
    assert "uncompressed" in error.value.remedy


@pytest.mark.parametrize("sound", [6], ids=["layered"], indirect=True)
def test_chunks_that_contradict_themselves(sound, tmp_path):
    """Layered chunks repeat their number of points and give the size of each layer: both are checked."""
    at = points_offset(sound) + 8
    for offset, value, message in (
        (0, 49_999, "49999 points instead"),
        (4, 2**32 - 1, "layers of"),
    ):
        data = bytearray(sound)
        struct.pack_into("<I", data, at + 30 + offset, value)
        with pytest.raises(FormatError, match=message):
            read_all(saved(tmp_path, data))


def test_what_the_decompressor_throws_becomes_one_error(tmp_path):
    """A panic, which is no Exception, becomes a FormatError; an interrupt stays what it is."""
    panic = type("PanicException", (BaseException,), {})  # as the extension module names it
    with pytest.raises(FormatError, match="damaged"), lazrs_errors(tmp_path):
        raise panic("no chunk table")
    with pytest.raises(KeyboardInterrupt), lazrs_errors(tmp_path):
        raise KeyboardInterrupt
    with pytest.raises(ZeroDivisionError), lazrs_errors(tmp_path):
        raise ZeroDivisionError


def test_damaged_compressed_bytes(sound, tmp_path):
    """Zeros over the compressed bytes: an error, or as many points as promised; never fewer."""
    (table,) = struct.unpack_from("<q", sound, points_offset(sound))
    rng = np.random.default_rng(6)
    for start in rng.integers(points_offset(sound) + 8, table - 5000, 12):
        data = bytearray(sound)
        data[start : start + 5000] = bytes(5000)
        answer = outcome(saved(tmp_path, data))
        assert answer == COUNT or "damaged" in str(answer)
