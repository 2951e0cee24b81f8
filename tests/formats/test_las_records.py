"""Headers, records and declarations of reference systems, from bytes laid out by hand or by laspy."""

from __future__ import annotations

import math
import struct

import laspy
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from accuracy.errors import FormatError
from accuracy.formats.las import open_las
from accuracy.formats.las_write import write_points

WKT = 'PROJCS["Invented Grid",GEOGCS["Invented"],UNIT["metre",1]]'
KEYS = {
    1024: 1,
    1026: "Invented Grid",
    2057: 6378137.0,
    3072: 26916,
    3076: 9003,
    4096: 5703,
    4098: 5103,
    4099: 9003,
    4097: "heights, invented",
}
POINTS = {axis: np.arange(10) * 100 for axis in "xyz"}


def count_points(cloud):
    """Count the points that an endless radius brings."""
    return sum(len(b.x) for b in cloud.near(np.array([0.0]), np.array([0.0]), math.inf))


def las_with(path, *records, version="1.2", point_format=1, extended=(), wkt_bit=False):
    """Write ten points with records (user, id, content) through laspy, then extended ones by hand."""
    header = laspy.LasHeader(version=version, point_format=point_format)
    header.scales = np.full(3, 0.001)
    header.global_encoding.wkt = wkt_bit
    for user, record_id, content in records:
        header.vlrs.append(laspy.VLR(user, record_id, "", content))
    las = laspy.LasData(header)
    las.X = las.Y = las.Z = np.arange(10) * 100
    las.write(path)
    if extended:
        data = bytearray(path.read_bytes())
        struct.pack_into("<QI", data, 235, len(data), len(extended))
        for user, record_id, content in extended:
            data += struct.pack("<H16sHQ32s", 0, user.encode(), record_id, len(content), b"")
            data += content
        path.write_bytes(data)
    return path


def directory(*entries, count=None, version=1):
    """Lay out a GeoKey directory."""
    head = (version, 1, 0, len(entries) if count is None else count)
    return b"".join(struct.pack("<4H", *entry) for entry in (head, *entries))


def patched(path, layout, offset, *values):
    """Overwrite some header bytes."""
    data = bytearray(path.read_bytes())
    struct.pack_into(layout, data, offset, *values)
    path.write_bytes(data)
    return path


@pytest.mark.parametrize("version", ["1.2", "1.3"])
@pytest.mark.parametrize("suffix", [".las", ".laz"])
def test_geokeys_come_back_whole(tmp_path, version, suffix):
    """Every key written is read with its value: shorts, doubles and texts, vertical ones included."""
    path = tmp_path / f"keys{suffix}"
    write_points(path, points=POINTS, point_format=1, version=version, geokeys=KEYS)
    [evidence] = open_las(path).info.crs_evidence
    assert evidence.source == "geokeys"
    assert evidence.where == "VLR LASF_Projection 34735"
    assert dict(evidence.geokeys) == KEYS
    assert (evidence.wkt, evidence.preferred, evidence.problem) == (None, None, None)


def test_geokeys_written_are_understood_by_laspy(tmp_path):
    """An independent reader finds the same EPSG code in what was written."""
    path = tmp_path / "keys.las"
    write_points(path, points=POINTS, point_format=1, version="1.2", geokeys=KEYS)
    with laspy.open(path) as file:
        assert file.header.parse_crs().to_epsg() == 26916


def test_wkt_comes_back_and_is_preferred(tmp_path):
    """In LAS 1.4 the header names WKT as the kind of declaration; accents survive."""
    path = tmp_path / "wkt.las"
    text = WKT.replace("Invented Grid", "Réseau inventé")
    write_points(path, points=POINTS, wkt=text, geokeys={3072: 26916})
    keys, wkt = open_las(path).info.crs_evidence
    assert (wkt.source, wkt.wkt, wkt.preferred, wkt.problem) == ("wkt-record", text, True, None)
    assert (keys.source, keys.preferred) == ("geokeys", False)
    with laspy.open(path) as file:
        assert file.header.global_encoding.wkt


def test_wkt_without_the_bit_is_not_preferred(tmp_path):
    """The header's bit, not the record, says which kind the writer meant; before 1.4 there is none."""
    record = ("LASF_Projection", 2112, WKT.encode() + b"\0")
    new = las_with(tmp_path / "new.las", record, version="1.4", point_format=3)
    old = las_with(tmp_path / "old.las", record)
    assert open_las(new).info.crs_evidence[0].preferred is False
    assert open_las(old).info.crs_evidence[0].preferred is None


def test_wkt_in_an_extended_record(tmp_path):
    """A declaration behind the points is found like one before them."""
    path = las_with(
        tmp_path / "far.las",
        version="1.4",
        point_format=6,
        wkt_bit=True,
        extended=[("someone", 7, b"x" * 100), ("LASF_Projection", 2112, WKT.encode())],
    )
    cloud = open_las(path)
    [evidence] = cloud.info.crs_evidence
    assert (evidence.source, evidence.wkt) == ("wkt-extended-record", WKT)
    assert evidence.where == "EVLR LASF_Projection 2112"
    assert evidence.preferred is True
    assert cloud.info.findings == ()
    assert count_points(cloud) == 10


@pytest.mark.parametrize(
    ("record_id", "content", "problem"),
    [
        (2112, b"", "empty"),
        (2112, b"\0" * 40, "empty"),
        (2112, b"''\0", "empty"),
        (34735, b"", "0 bytes"),
        (34735, b"\0" * 40, "zeroed"),
        (34735, directory((1024, 0, 1, 1), version=7), "version 7"),
        (34735, directory(), "no keys"),
        (34735, directory((0, 0, 0, 0), (0, 0, 0, 0)), "no keys"),
    ],
)
def test_an_empty_or_zeroed_record_is_evidence_of_nothing(tmp_path, record_id, content, problem):
    """It stands in the evidence with its problem and in the findings; the points are read all the same."""
    cloud = open_las(las_with(tmp_path / "zero.las", ("LASF_Projection", record_id, content)))
    [evidence] = cloud.info.crs_evidence
    assert problem in evidence.problem
    assert (evidence.wkt, dict(evidence.geokeys)) == (None, {})
    assert {f.code for f in cloud.info.findings} == {"file-record-broken"}
    assert count_points(cloud) == 10


@pytest.mark.parametrize(
    ("entries", "count", "message"),
    [
        ([(2057, 34736, 1, 9)], None, "GeoKey 2057"),
        ([(1026, 34737, 50, 0)], None, "GeoKey 1026"),
        ([(1026, 12345, 1, 0)], None, "GeoKey 1026"),
        ([], 60_000, "promises 60000 keys and holds 1"),
        ([(0, 0, 0, 0)], None, "1 of 2 GeoKeys are zeroed"),
        ([(3072, 0, 1, 1)], None, "GeoKey 3072 stands twice"),
    ],
)
def test_a_partly_broken_directory_keeps_its_sound_keys(tmp_path, entries, count, message):
    """Sound keys stay in use; what is wrong with the others is a finding."""
    content = directory((3072, 0, 1, 26916), *entries, count=count)
    records = [
        ("LASF_Projection", 34735, content),
        ("LASF_Projection", 34736, struct.pack("<d", 1.5)),
        ("LASF_Projection", 34737, b"name|\0"),
    ]
    cloud = open_las(las_with(tmp_path / "part.las", *records))
    [evidence] = cloud.info.crs_evidence
    assert dict(evidence.geokeys) == {3072: 26916}
    assert evidence.problem is None
    [finding] = cloud.info.findings
    assert message in finding.message


def test_keys_of_several_values(tmp_path):
    """Three doubles of one key (a datum shift) are kept as text, none is lost."""
    records = [
        ("LASF_Projection", 34735, directory((2062, 34736, 3, 1))),
        ("LASF_Projection", 34736, struct.pack("<4d", 9.0, -1.5, 0.25, 100.0)),
    ]
    [evidence] = open_las(las_with(tmp_path / "three.las", *records)).info.crs_evidence
    assert dict(evidence.geokeys) == {2062: "-1.5 0.25 100.0"}


def test_other_peoples_records_declare_nothing(tmp_path):
    """Only records of the standard's own user id are declarations."""
    path = las_with(
        tmp_path / "other.las", ("liblas", 2112, WKT.encode()), ("x", 34735, directory())
    )
    info = open_las(path).info
    assert (info.crs_evidence, info.findings) == ((), ())


def test_a_declared_transform_is_not_passed_over(tmp_path):
    """A math transform record changes what coordinates mean: it is said that it is not applied."""
    path = las_with(tmp_path / "math.las", ("LASF_Projection", 2111, b"PARAM_MT[...]"))
    assert [f.code for f in open_las(path).info.findings] == ["crs-unreadable"]


@pytest.mark.parametrize("count", [2, 70_000, 2**32 - 1])
def test_a_garbage_number_of_records(tmp_path, count):
    """More records promised than there is room for: those there are used, the points are read."""
    path = tmp_path / "count.las"
    write_points(path, points=POINTS, point_format=1, version="1.2", geokeys={3072: 26916})
    cloud = open_las(patched(path, "<I", 100, count))
    assert cloud.info.crs_evidence[0].geokeys[3072] == 26916
    [finding] = cloud.info.findings
    assert finding.code == "file-record-broken"
    assert f"of {count}" in finding.message
    assert count_points(cloud) == 10


def test_a_garbage_length_of_a_record(tmp_path):
    """A record longer than the room before the points ends the list, and only the list."""
    path = tmp_path / "length.las"
    write_points(path, points=POINTS, point_format=1, version="1.2", geokeys={3072: 26916})
    cloud = open_las(patched(path, "<H", 227 + 20, 60_000))
    assert cloud.info.crs_evidence == ()
    assert "60000 bytes" in cloud.info.findings[0].message
    assert count_points(cloud) == 10


@pytest.mark.parametrize(
    ("start", "count", "length"),
    [(0, 1, None), (2**63, 3, None), (None, 2**32 - 1, None), (None, 1, 2**62)],
)
def test_garbage_extended_records(tmp_path, start, count, length):
    """Extended records that cannot be where or as long as they say are a finding, not an end."""
    path = las_with(
        tmp_path / "far.las",
        version="1.4",
        point_format=6,
        extended=[("LASF_Projection", 2112, WKT.encode())],
    )
    data = path.read_bytes()
    (true_start,) = struct.unpack_from("<Q", data, 235)
    if length is not None:
        patched(path, "<Q", true_start + 20, length)
    patched(path, "<QI", 235, true_start if start is None else start, count)
    cloud = open_las(path)
    assert "file-record-broken" in {f.code for f in cloud.info.findings}
    assert count_points(cloud) == 10


@pytest.mark.parametrize(("legacy", "long", "read"), [(7, 10, 10), (10, 0, 10), (12, 10, 10)])
def test_counts_that_disagree(tmp_path, legacy, long, read):
    """LAS 1.4 counts twice; the 64-bit count is read unless it is empty, and the difference is said."""
    path = las_with(tmp_path / "counts.las", version="1.4", point_format=6)
    patched(path, "<I", 107, legacy)
    cloud = open_las(patched(path, "<Q", 247, long))
    assert cloud.info.points == count_points(cloud) == read
    finding = cloud.info.findings[0]
    assert finding.code == "file-count-differs"
    assert dict(finding.evidence) == {"points": long, "legacy_points": legacy}


def test_more_points_than_counted(tmp_path):
    """The file holds more than its header counts: the counted ones are read, the rest is a finding."""
    path = las_with(tmp_path / "more.las")
    cloud = open_las(patched(path, "<I", 107, 8))
    assert count_points(cloud) == 8
    [finding] = cloud.info.findings
    assert finding.evidence["points_held"] == 10


def test_waveforms_behind_the_points_are_not_points(tmp_path):
    """Bytes that the header gives to waveforms are not taken for uncounted points."""
    path = las_with(tmp_path / "wave.las", version="1.3", point_format=4)
    size = path.stat().st_size
    path.write_bytes(path.read_bytes() + b"\1" * 600)
    cloud = open_las(patched(path, "<Q", 227, size))
    assert cloud.info.findings == ()
    assert count_points(cloud) == 10


@pytest.mark.parametrize(
    ("layout", "offset", "value", "message"),
    [
        ("<4s", 0, b"LASX", "does not begin with LASF"),
        ("<B", 24, 2, "LAS 2.2 is not read"),
        ("<B", 25, 5, "LAS 1.5 is not read"),
        ("<H", 94, 200, "no less than 227 bytes"),
        ("<I", 96, 100, "inside the header"),
        ("<I", 96, 2**32 - 1, "cut short"),
        ("<B", 104, 11, "point format 11"),
        ("<B", 104, 0x43, "point format 67"),
        ("<B", 104, 0x81, "record that says how is missing"),
        ("<H", 105, 27, "no less than 28 bytes"),
        ("<H", 105, 65_535, "cut short"),
        ("<I", 107, 11, "promises 11 points, file holds 10"),
        ("<d", 131, 0.0, "of x make no coordinates"),
        ("<d", 139, math.nan, "of y make no coordinates"),
        ("<d", 147, -0.01, "of z make no coordinates"),
        ("<d", 155, math.inf, "of x make no coordinates"),
    ],
)
def test_headers_that_cannot_be_right(tmp_path, layout, offset, value, message):
    """Each mistake is named, with the file and what to do next."""
    path = patched(las_with(tmp_path / "wrong.las"), layout, offset, value)
    with pytest.raises(FormatError, match=message) as error:
        open_las(path)
    assert error.value.where == str(path)
    assert error.value.remedy


@pytest.mark.parametrize("length", [0, 3, 4, 100, 226, 227, 300])
@pytest.mark.parametrize("version", ["1.2", "1.4"])
def test_files_too_short_for_a_header_or_its_points(tmp_path, version, length):
    """Any beginning of a file is refused, never a traceback."""
    path = las_with(tmp_path / "short.las", version=version)
    path.write_bytes(path.read_bytes()[:length])
    with pytest.raises(FormatError, match=r"cut short|empty|not a LAS"):
        open_las(path)


def test_what_is_not_there_and_what_is_no_file(tmp_path):
    """A missing file and a folder are said to be that."""
    with pytest.raises(FormatError, match="file not found"):
        open_las(tmp_path / "absent.las")
    with pytest.raises(FormatError, match="cannot be read"):
        open_las(tmp_path)


@pytest.fixture(scope="module")
def sound_files(tmp_path_factory):
    """Bytes of small sound files of several kinds."""
    folder = tmp_path_factory.mktemp("sound")
    contents = []
    for name, point_format, version in (
        ("a.las", 3, "1.2"),
        ("a.laz", 1, "1.2"),
        ("b.laz", 5, "1.3"),
        ("b.las", 6, "1.4"),
        ("c.laz", 7, "1.4"),
    ):
        path = folder / name
        write_points(
            path, points=POINTS, point_format=point_format, version=version, geokeys=KEYS, wkt=WKT
        )
        contents.append(path.read_bytes())
    return contents


@settings(
    deadline=None, max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    which=st.integers(0, 4),
    hits=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), min_size=1, max_size=4),
    kept=st.one_of(st.just(1.0), st.floats(0, 1)),
)
def test_any_damage_is_answered(sound_files, tmp_path, capfd, which, hits, kept):
    """Damaged bytes and cuts anywhere: all promised points, or a `FormatError`; nothing else."""
    data = bytearray(sound_files[which])
    for where, value in hits:
        data[int(where * (len(data) - 1))] = value
    path = tmp_path / "damaged.las"
    path.write_bytes(data[: int(kept * len(data))])
    try:
        cloud = open_las(path)
        held, promised = count_points(cloud), cloud.info.points
    except FormatError:
        return
    assert held == promised
