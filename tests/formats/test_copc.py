"""COPC: chosen nodes only, the same points as the plain file, and distrust of a wrong hierarchy."""

from __future__ import annotations

import math
import struct

import laspy
import numpy as np
import pytest
from laz_files import write_copc

from accuracy.formats import las_search
from accuracy.formats.las import open_las
from accuracy.sampling.tin import CloudSetting, sample_cloud

INFO = 375 + 54  # first byte of the record that makes a file COPC


def slope(count=6000, seed=4):
    """Points of an invented slope of 60 m, stored millimetres."""
    rng = np.random.default_rng(seed)
    header = laspy.LasHeader(version="1.4", point_format=6)
    header.scales, header.offsets = np.full(3, 0.001), np.array([412_000.0, 5_000_000.0, 0.0])
    las = laspy.LasData(header)
    las.X, las.Y = rng.integers(0, 60_000, (2, count))
    las.Z = 50_000 + las.X // 20
    las.classification = np.full(count, 2)
    return las


@pytest.fixture(scope="module", params=[False, True], ids=["one-page", "two-pages"])
def octree(request, tmp_path_factory):
    """Write a COPC file of 6000 points and its plain twin."""
    folder = tmp_path_factory.mktemp("copc")
    slope().write(folder / "plain.laz")
    write_copc(folder / "cloud.copc.laz", slope(), pages=request.param)
    return folder / "cloud.copc.laz", folder / "plain.laz"


def near(cloud, radius=2.0):
    """Points near two places, sorted."""
    x, y = np.array([412_010.0, 412_011.0]), np.array([5_000_010.0, 5_000_020.0])
    batches = list(cloud.near(x, y, radius))
    rows = [np.column_stack([b.x, b.y, b.z]) for b in batches]
    return sorted(map(tuple, np.concatenate(rows).tolist())) if rows else []


def damaged(path, folder, position, layout, *values):
    """Copy a file and change some bytes."""
    data = bytearray(path.read_bytes())
    struct.pack_into(layout, data, position, *values)
    copy = folder / "damaged.copc.laz"
    copy.write_bytes(data)
    return copy


def test_only_touched_nodes_are_decoded(octree, monkeypatch):
    """Two places near a corner touch few of the nodes, and nothing is lost by it."""
    path, plain = octree
    decoded = []
    original = las_search.decompress

    def watched(data, compression, chunks, *more):
        decoded.extend(chunks)
        original(data, compression, chunks, *more)

    expected = near(open_las(plain))
    assert len(expected) > 20
    monkeypatch.setattr(las_search, "decompress", watched)
    cloud = open_las(path)
    assert cloud.info.format.endswith("COPC")
    assert near(cloud) == expected
    assert 0 < len(decoded) < len(cloud._compression.chunks) / 2
    assert "chosen by the file's hierarchy" in cloud.notes[0]
    assert cloud.reading_findings == []


@pytest.mark.parametrize(
    ("what", "message"),
    [
        ("count", "leads to"),
        ("offset", "are not the"),
        ("key", "impossible entry"),
        ("page", "cannot be"),
        ("cube", "states no cube"),
    ],
)
def test_a_wrong_hierarchy_loses_nothing(octree, tmp_path, what, message):
    """A hierarchy that does not fit the file is a finding, and every point is read all the same."""
    path, plain = octree
    (first,) = struct.unpack_from("<Q", path.read_bytes(), INFO + 40)
    wrong = {
        "count": (first + 28, "<i", 0),
        "offset": (first + 16, "<Q", 9999),
        "key": (first + 4, "<i", 5),
        "page": (INFO + 40, "<Q", 1 << 40),
        "cube": (INFO + 24, "<d", math.nan),
    }[what]
    cloud = open_las(damaged(path, tmp_path, *wrong))
    assert near(cloud) == near(open_las(plain))
    [finding] = cloud.reading_findings
    assert finding.code == "file-hierarchy-incomplete"
    assert message in finding.message


def test_a_page_that_names_itself_ends(octree, tmp_path):
    """Pages in a circle are met once."""
    path, plain = octree
    (first,) = struct.unpack_from("<Q", path.read_bytes(), INFO + 40)
    copy = damaged(path, tmp_path, first + 16, "<Q2i", first, 32, -1)
    cloud = open_las(copy)
    assert near(cloud) == near(open_las(plain))
    assert "named twice" in cloud.reading_findings[0].message


def test_points_outside_their_node_are_noticed(octree, tmp_path):
    """A cube stated in the wrong place sends the search astray: a node read shows it, and all is read."""
    path, plain = octree
    copy = damaged(path, tmp_path, INFO, "<2d", 412_033.0, 5_000_033.0)
    cloud = open_las(copy)
    assert near(cloud) == near(open_las(plain))
    [finding] = cloud.reading_findings
    assert "outside the node" in finding.message


def test_wkt_in_an_extended_record_of_a_copc_file(tmp_path):
    """The reference system is found where it follows the points."""
    path = tmp_path / "cloud.copc.laz"
    write_copc(path, slope(500))
    data = bytearray(path.read_bytes())
    wkt = b'LOCAL_CS["invented"]\0'
    struct.pack_into("<I", data, 243, 2)
    data += struct.pack("<H16sHQ32s", 0, b"LASF_Projection", 2112, len(wkt), b"") + wkt
    path.write_bytes(data)
    [evidence] = open_las(path).info.crs_evidence
    assert evidence.source == "wkt-extended-record"
    assert evidence.wkt == 'LOCAL_CS["invented"]'


@pytest.mark.shared_data
def test_a_real_copc_file_and_its_plain_twin(shared_data):
    """Heights of the two files of one cloud agree in every bit."""
    twins = [shared_data / "copc" / name for name in ("ellipsoid.copc.laz", "ellipsoid-1.4.laz")]
    rng = np.random.default_rng(2)
    x = rng.uniform(-8_242_746.0, -8_242_446.0, 40).round(3)
    y = rng.uniform(4_966_506.0, 4_966_706.0, 40).round(3)
    setting = CloudSetting((2, 3, 4, 5), 1.0, 1.0, max_circumradius_m=5.0)
    copc, plain = (repr(sample_cloud([open_las(p)], x, y, setting)[0]) for p in twins)
    assert copc == plain
    assert "height=None" in copc
    assert copc.count("circumradius_m=") > 20


@pytest.mark.shared_data
@pytest.mark.parametrize("name", ["1.2-with-color", "simple_with_page", "lone-star"])
def test_real_hierarchies_are_believed(shared_data, name, monkeypatch):
    """Real files, one with several pages, are read through their hierarchy, as reading all of them does."""
    path = shared_data / "copc" / f"{name}.copc.laz"
    cloud = open_las(path)
    west, south, east, north = cloud.info.bounds
    rng = np.random.default_rng(1)
    x, y = rng.uniform(west, east, 3), rng.uniform(south, north, 3)
    radius = (east - west) / 30.0

    def rows():
        batches = [np.column_stack([b.x, b.y, b.z]) for b in cloud.near(x, y, radius)]
        return np.concatenate(batches).tolist()

    by_node = rows()
    assert "hierarchy" in cloud.notes[0]
    assert not cloud.reading_findings
    cloud._copc = None
    assert rows() == by_node
