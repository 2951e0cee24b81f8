"""Reading LAS and LAZ points: against laspy, brute force and bytes laid out by hand."""

from __future__ import annotations

import math
import struct
from datetime import date
from fractions import Fraction

import laspy
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from accuracy.errors import FormatError
from accuracy.formats import las_search as module
from accuracy.formats import open_cloud
from accuracy.formats.las import decimals_of, open_las
from accuracy.formats.las_header import RECORD_LENGTHS
from accuracy.formats.las_write import write_points
from accuracy.formats.laz import LAYERS_POINT

OFFSET = (412_000.0, 5_000_000.0, 0.0)
ALL_FORMATS = [
    (version, point_format)
    for version, last in (("1.1", 1), ("1.2", 3), ("1.3", 5), ("1.4", 10))
    for point_format in range(last + 1)
]


def plane(point_format, count=4000, seed=3):
    """Points of a tilted plane at 5 000 km north, as stored millimetres, with every field filled."""
    rng = np.random.default_rng(seed)
    x, y = rng.integers(0, 60_000, (2, count))
    points = {
        "x": x,
        "y": y,
        "z": 100_000 + x // 50 - y // 40,
        "classification": rng.integers(0, 32 if point_format < 6 else 256, count),
        "point_source_id": rng.integers(0, 65_536, count),
        "return_number": rng.integers(1, 6, count),
        "number_of_returns": np.full(count, 5),
        "intensity": rng.integers(0, 65_536, count),
        "withheld": rng.integers(0, 2, count),
        "synthetic": rng.integers(0, 2, count),
        "key_point": rng.integers(0, 2, count),
        "scan_angle_deg": rng.integers(-15, 16, count).astype(float),
    }
    if point_format >= 6:
        points["overlap"] = rng.integers(0, 2, count)
        points["scan_angle_deg"] = rng.integers(-2500, 2501, count) * 0.006
    if point_format not in (0, 2):
        points["gps_time"] = np.sort(rng.uniform(1e8, 1e8 + 100, count))
    return points


def everything(cloud):
    """All points of a file: an endless radius."""
    return together(cloud.near(np.array([0.0]), np.array([0.0]), math.inf))


def together(batches):
    """Batches as one mapping of arrays."""
    batches = list(batches)
    names = ("x", "y", "z", "classification", "withheld", "synthetic", "overlap")
    names += ("point_source_id", "gps_time", "scan_angle_deg")
    return {
        name: np.concatenate([getattr(b, name) for b in batches] or [np.zeros(0)]) for name in names
    }


def rows_of(points):
    """List stored x, y, z of each point."""
    return list(zip(*(points[axis].tolist() for axis in "xyz"), strict=True))


def keys_of(points):
    """Sort the rows, to compare sets with repeats."""
    return sorted(rows_of(points))


@pytest.mark.parametrize("suffix", [".las", ".laz"])
@pytest.mark.parametrize(("version", "point_format"), ALL_FORMATS)
def test_every_format_gives_what_was_stored(tmp_path, version, point_format, suffix):
    """Every field comes back exactly, in file order, and agrees with laspy's own reading."""
    path = tmp_path / f"plane{suffix}"
    points = plane(point_format)
    write_points(path, points=points, point_format=point_format, version=version, offset=OFFSET)
    cloud = open_cloud(path)
    found, independent = everything(cloud), laspy.read(path)
    kind = ", LAZ" if suffix == ".laz" else ""
    assert cloud.info.format == f"LAS {version}, point format {point_format}{kind}"
    assert cloud.info.points == 4000
    assert cloud.info.findings == ()
    for ours, theirs in (("x", "X"), ("y", "Y"), ("z", "Z")):
        assert np.array_equal(found[ours], points[ours])
        assert np.array_equal(found[ours], np.asarray(independent[theirs]))
        assert found[ours].dtype == np.int64
    for name in ("classification", "point_source_id", "withheld", "synthetic"):
        assert np.array_equal(found[name], points[name])
        assert np.array_equal(found[name], np.asarray(independent[name]))
    assert np.array_equal(found["overlap"], points.get("overlap", np.zeros(4000)))
    np.testing.assert_allclose(found["scan_angle_deg"], points["scan_angle_deg"], rtol=0, atol=1e-5)
    if "gps_time" in points:
        assert np.array_equal(found["gps_time"], points["gps_time"])
    else:
        assert np.isnan(found["gps_time"]).all()


@pytest.mark.parametrize("suffix", [".las", ".laz"])
@pytest.mark.parametrize("point_format", [1, 6, 10])
def test_near_gives_what_brute_force_gives(tmp_path, point_format, suffix):
    """All points within the radius of any place come, whole, and none beyond it by more than 5 mm."""
    path = tmp_path / f"plane{suffix}"
    points = plane(point_format)
    write_points(path, points=points, point_format=point_format, version="1.4", offset=OFFSET)
    px = OFFSET[0] + np.array([10.0, 30.0, 59.0, 500.0])
    py = OFFSET[1] + np.array([10.0, 30.0005, 1.0, 500.0])
    east = points["x"][:, None] - (px - OFFSET[0])[None, :] * 1000.0  # millimetres
    north = points["y"][:, None] - (py - OFFSET[1])[None, :] * 1000.0
    distance_mm = np.hypot(east, north).min(axis=1)
    found = together(open_las(path).near(px, py, 2.0))
    inner, outer = distance_mm <= 2000.0, distance_mm <= 2005.0
    assert inner.sum() > 20
    wanted = keys_of({axis: points[axis][inner] for axis in "xyz"})
    allowed = keys_of({axis: points[axis][outer] for axis in "xyz"})
    rows = keys_of(found)
    assert set(wanted) <= set(rows) <= set(allowed)
    source_of = dict(zip(rows_of(points), points["point_source_id"].tolist(), strict=True))
    assert [source_of[row] for row in rows_of(found)] == found["point_source_id"].tolist()


@settings(
    deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    seed=st.integers(0, 2**32 - 1),
    count=st.integers(1, 300),
    radius=st.floats(0.0, 20.0),
    compress=st.booleans(),
    point_format=st.sampled_from([0, 3, 6, 7]),
)
def test_any_cloud_any_places(tmp_path, seed, count, radius, compress, point_format):
    """Random clouds and places: near is brute force, give or take two stored units."""
    rng = np.random.default_rng(seed)
    x, y, z = rng.integers(-40_000, 40_000, (3, count))
    path = tmp_path / "any.las"
    write_points(
        path,
        points={"x": x, "y": y, "z": z},
        point_format=point_format,
        offset=OFFSET,
        compress=compress,
    )
    px, py = rng.uniform(-60.0, 60.0, (2, 5))
    distance = np.hypot(x[:, None] * 0.001 - px, y[:, None] * 0.001 - py).min(axis=1)
    found = keys_of(together(open_las(path).near(px + OFFSET[0], py + OFFSET[1], radius)))
    inner, outer = distance <= radius - 1e-6, distance <= radius + 0.005
    assert set(keys_of({"x": x[inner], "y": y[inner], "z": z[inner]})) <= set(found)
    assert set(found) <= set(keys_of({"x": x[outer], "y": y[outer], "z": z[outer]}))


@pytest.mark.parametrize(("suffix", "point_format"), [(".las", 1), (".laz", 1), (".laz", 7)])
def test_batches_and_streams_change_nothing(tmp_path, monkeypatch, suffix, point_format):
    """Any size of batch, and chunks too large to hold, give the same points in the same order."""
    path = tmp_path / f"plane{suffix}"
    write_points(
        path, points=plane(point_format, 120_000), point_format=point_format, offset=OFFSET
    )
    px, py = OFFSET[0] + np.array([3.0, 57.0]), OFFSET[1] + np.array([3.0, 20.0])
    whole = together(open_las(path).near(px, py, 3.0))
    assert len(whole["x"]) > 500
    monkeypatch.setattr(module, "GROUP_POINTS", 7_001)
    monkeypatch.setattr(module, "LAS_GROUP_POINTS", 7_001)
    monkeypatch.setattr(module, "BLOCK_POINTS", 3_001)
    in_batches = together(open_las(path).near(px, py, 3.0))
    monkeypatch.setattr(module, "LARGEST_CHUNK_BYTES", 1000)
    streamed = together(open_las(path).near(px, py, 3.0))
    for name, values in whole.items():
        assert np.array_equal(values, in_batches[name], equal_nan=values.dtype.kind == "f")
        assert np.array_equal(values, streamed[name], equal_nan=values.dtype.kind == "f")


def test_layered_chunks_without_a_hit_are_left_packed(tmp_path, monkeypatch):
    """Where few chunks hold wanted points, height and class are unpacked for those chunks only."""
    path = tmp_path / "strip.laz"
    points = plane(6, 250_000)
    points["x"] = np.sort(points["x"])  # five chunks of 50 000, side by side
    points["z"] = 100_000 + points["x"] // 50 - points["y"] // 40
    write_points(path, points=points, point_format=6, offset=OFFSET)
    monkeypatch.setattr(module, "GROUP_POINTS", 250_000)
    unpacked = []
    original = module.decompress

    def watched(data, compression, chunks, layers, header, records):
        unpacked.append((len(chunks), layers))
        original(data, compression, chunks, layers, header, records)

    monkeypatch.setattr(module, "decompress", watched)
    found = together(
        open_las(path).near(np.array([OFFSET[0] + 30.0]), np.array([OFFSET[1] + 9.0]), 1.0)
    )
    assert unpacked == [(4, module.LAYERS_XY), (1, LAYERS_POINT)]
    hit = np.hypot(points["x"] - 30_000, points["y"] - 9_000) <= 1000
    assert set(keys_of({axis: points[axis][hit] for axis in "xyz"})) <= set(keys_of(found))
    assert len(found["x"]) <= hit.sum() + 10


def test_the_box_decides_what_is_read(tmp_path, monkeypatch):
    """A header box that misses every place spares the reading; one that touches a disc does not."""
    path = tmp_path / "plane.las"
    write_points(path, points=plane(6), offset=OFFSET)
    cloud = open_las(path)
    assert list(cloud.near(np.array([OFFSET[0] - 5.0]), np.array([OFFSET[1] + 9.0]), 6.0))
    assert not list(cloud.near(np.zeros(0), np.zeros(0), 6.0))
    monkeypatch.setattr(module, "read_exactly", None)  # reading would fail
    assert not list(cloud.near(np.array([OFFSET[0] - 50.0]), np.array([OFFSET[1] + 9.0]), 6.0))


def _with_box(path, *, min_x, max_x):
    data = bytearray(path.read_bytes())
    struct.pack_into("<dd", data, 179, max_x, min_x)
    path.write_bytes(data)


@pytest.mark.parametrize(
    ("min_x", "max_x", "why"),
    [
        (1.0, 0.0, "minimum above its maximum"),
        (math.nan, 0.0, "not finite"),
        (-4.1e9, 4.1e9, "scale and offset can express"),
        (412_900.0, 413_000.0, "does not hold the file's first point"),
    ],
)
@pytest.mark.parametrize("suffix", [".las", ".laz"])
def test_a_box_that_cannot_be_right_is_not_believed(tmp_path, suffix, min_x, max_x, why):
    """Points inside the disc come although the header's box misses it, and the finding says why."""
    path = tmp_path / f"plane{suffix}"
    write_points(path, points=plane(6), offset=OFFSET)
    _with_box(path, min_x=min_x, max_x=max_x)
    cloud = open_las(path)
    assert list(cloud.near(np.array([OFFSET[0] + 30.0]), np.array([OFFSET[1] + 30.0]), 6.0))
    [finding] = cloud.info.findings
    assert finding.code == "file-bounds-differ"
    assert why in finding.message


def test_points_outside_the_box_are_counted(tmp_path):
    """While reading, points beyond the box by more than a unit are counted and their reach given."""
    path = tmp_path / "row.las"
    stored = np.arange(100) * 1000
    write_points(path, points={"x": stored, "y": stored, "z": stored}, offset=OFFSET)
    _with_box(path, min_x=OFFSET[0], max_x=OFFSET[0] + 89.999)  # 90 m lies outside by rounding only
    cloud = open_las(path)
    assert cloud.info.findings == ()
    place = (np.array([OFFSET[0]]), np.array([OFFSET[1]]), 1.0)
    list(cloud.near(*place))
    [finding] = cloud.reading_findings
    assert finding.code == "file-bounds-differ"
    assert finding.evidence["points_outside"] == 9
    assert finding.evidence["largest_distance_stored_units"] == pytest.approx(
        9.001, rel=0, abs=1e-9
    )
    list(cloud.near(*place))
    assert len(cloud.reading_findings) == 1  # renewed, not added up


def test_a_sound_box_raises_no_finding(tmp_path):
    """A box as written by laspy, rounding included, is not complained about."""
    path = tmp_path / "plane.laz"
    write_points(path, points=plane(7), point_format=7, offset=OFFSET)
    cloud = open_las(path)
    everything(cloud)
    assert cloud.reading_findings == []


def test_version_1_0_laid_out_by_hand(tmp_path):
    """A LAS 1.0 file made byte by byte from the specification (from memory) reads as laid out.

    Its points follow a two-byte signature, and its records are longer than their format needs.
    """
    header = bytearray(227)
    header[0:4], header[24], header[25] = b"LASF", 1, 0
    struct.pack_into("<HII", header, 94, 227, 229, 0)
    struct.pack_into("<BHI", header, 104, 1, 31, 2)
    struct.pack_into("<6d", header, 131, 0.01, 0.01, 0.00025, 1000.0, 2000.0, 0.0)
    struct.pack_into("<6d", header, 179, 1000.05, 1000.01, 2000.06, 2000.02, 0.002, 0.0005)
    point = "<iiiHBBbBHd3s"
    points = struct.pack(point, 1, 2, 2, 7, 9, 0b10100010, -12, 0, 65535, 12.5, b"xyz")
    points += struct.pack(point, 5, 6, 8, 7, 9, 0b01011111, 90, 0, 1, -3.0, b"xyz")
    path = tmp_path / "old.las"
    path.write_bytes(bytes(header) + b"\xdd\xcc" + points)
    cloud = open_las(path)
    found = everything(cloud)
    assert cloud.info.format == "LAS 1.0, point format 1"
    assert cloud.info.bounds == (1000.01, 2000.02, 1000.05, 2000.06)
    assert cloud.info.decimals == 5
    assert cloud.grid.scale == (Fraction(1, 100), Fraction(1, 100), Fraction(1, 4000))
    assert cloud.grid.offset == (1000, 2000, 0)
    assert (found["x"].tolist(), found["y"].tolist(), found["z"].tolist()) == (
        [1, 5],
        [2, 6],
        [2, 8],
    )
    assert found["classification"].tolist() == [2, 31]
    assert found["withheld"].tolist() == [True, False]
    assert found["synthetic"].tolist() == [True, False]
    assert found["scan_angle_deg"].tolist() == [-12.0, 90.0]
    assert found["point_source_id"].tolist() == [65535, 1]
    assert found["gps_time"].tolist() == [12.5, -3.0]


def test_extra_bytes_are_stepped_over(tmp_path):
    """Extra bytes, written by laspy, change nothing in LAS or LAZ."""
    header = laspy.LasHeader(version="1.4", point_format=6)
    header.add_extra_dim(laspy.ExtraBytesParams("deviation", np.float32))
    las = laspy.LasData(header)
    las.X, las.Y, las.Z = np.arange(3000), np.arange(3000)[::-1], np.arange(3000) % 7
    las.deviation = np.linspace(0, 1, 3000)
    las.point_source_id = np.arange(3000)
    for name in ("extra.las", "extra.laz"):
        las.write(tmp_path / name)
        found = everything(open_las(tmp_path / name))
        assert np.array_equal(found["x"], np.arange(3000))
        assert np.array_equal(found["z"], np.arange(3000) % 7)
        assert np.array_equal(found["point_source_id"], np.arange(3000))


@pytest.mark.parametrize("suffix", [".las", ".laz"])
def test_a_file_without_points_is_no_error(tmp_path, suffix):
    """No points promised, none held: nothing comes, nothing is complained about."""
    path = tmp_path / f"none{suffix}"
    write_points(path, points={"x": [], "y": [], "z": []})
    cloud = open_las(path)
    assert cloud.info.points == 0
    assert len(everything(cloud)["x"]) == 0


def test_batches_do_not_hold_the_file(tmp_path):
    """What is handed out owns its memory: no view keeps a whole batch or the file alive."""
    path = tmp_path / "plane.las"
    write_points(path, points=plane(6), offset=OFFSET)
    [batch] = open_las(path).near(np.array([OFFSET[0] + 9.0]), np.array([OFFSET[1] + 9.0]), 3.0)
    for name in ("x", "y", "z", "classification", "withheld", "overlap", "point_source_id"):
        assert getattr(batch, name).base is None
        assert len(getattr(batch, name)) < 100
    path.unlink()


def test_a_file_that_shrinks_after_opening_is_refused(tmp_path):
    """Points that vanish between opening and reading are an error, not a short answer."""
    path = tmp_path / "plane.las"
    write_points(path, points=plane(6), offset=OFFSET)
    cloud = open_las(path)
    path.write_bytes(path.read_bytes()[:-1])
    with pytest.raises(FormatError, match="cut short"):
        everything(cloud)
    path.unlink()
    with pytest.raises(FormatError, match="file not found"):
        everything(cloud)


@pytest.mark.parametrize(
    ("scale", "decimals"),
    [
        (1.0, 0),
        (10.0, 0),
        (0.1, 1),
        (0.01, 2),
        (0.001, 3),
        (0.00025, 5),
        (1e-7, 7),
        (0.0013908205841446453, 3),
        (1.003143236e-06, 6),
        (0.3048, 1),
        (1 / 256, 3),
    ],
)
def test_decimals_of_a_scale(scale, decimals):
    """Short decimals keep theirs; odd scales get ceil(-log10): closed form."""
    assert decimals_of(scale) == decimals


@pytest.mark.parametrize("point_format", range(11))
def test_point_lengths_agree_with_laspy(point_format):
    """The table of record lengths is laspy's."""
    assert RECORD_LENGTHS[point_format] == laspy.PointFormat(point_format).size


def test_writing_twice_gives_the_same_bytes(tmp_path):
    """Same points, same date, same bytes; the date is the one asked for."""
    for name in ("a.laz", "b.laz"):
        write_points(
            tmp_path / name, points=plane(6), offset=OFFSET, wkt="W", created=date(2026, 5, 14)
        )
    assert (tmp_path / "a.laz").read_bytes() == (tmp_path / "b.laz").read_bytes()
    with laspy.open(tmp_path / "a.laz") as file:
        header = file.header
    assert header.creation_date == date(2026, 5, 14)
    assert header.generating_software == "accuracy"
    assert header.uuid.int == 0


def test_coordinates_given_as_floats_are_rounded_to_the_grid(tmp_path):
    """Floats go to the nearest stored integer: at 5 000 km north still the right millimetre."""
    path = tmp_path / "floats.las"
    x = np.array([412_000.0004, 412_000.0006, 411_999.1])
    y = np.array([5_000_000.0014, 5_000_001.0, 5_000_123.4567])
    write_points(path, points={"x": x, "y": y, "z": [1.0, -2.0, 0.0]}, offset=OFFSET)
    found = everything(open_las(path))
    assert found["x"].tolist() == [0, 1, -900]
    assert found["y"].tolist() == [1, 1000, 123_457]
    assert found["z"].tolist() == [1000, -2000, 0]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"x": [1e9]}, "does not fit 32-bit"),
        ({"x": [math.nan]}, "does not fit 32-bit"),
        ({"classification": [300]}, "classification does not fit"),
        ({"intensity": [-1]}, "intensity does not fit"),
        ({"colour": [1]}, "no field for colour"),
        ({"red": [1]}, "no field for red"),
    ],
)
def test_what_cannot_be_stored_is_refused(tmp_path, change, message):
    """Nothing is wrapped round or dropped while writing."""
    points = {"x": [0.0], "y": [0.0], "z": [0.0]} | change
    with pytest.raises(FormatError, match=message):
        write_points(tmp_path / "no.las", points=points)
    assert not (tmp_path / "no.las").exists()


def test_writing_names_the_mistake(tmp_path):
    """Versions and formats that do not go together, and folders that are not there, are said."""
    points = {"x": [0.0], "y": [0.0], "z": [0.0]}
    with pytest.raises(FormatError, match="point format 6 cannot be written"):
        write_points(tmp_path / "no.las", points=points, version="1.2", point_format=6)
    with pytest.raises(FormatError, match="cannot be written"):
        write_points(tmp_path / "absent" / "no.las", points=points)
