"""Real files, read in place: every one against laspy's reading of it."""

from __future__ import annotations

import math
import re
import subprocess
import sys
from pathlib import Path

import laspy
import numpy as np
import pytest

from accuracy.errors import FormatError
from accuracy.formats.las import open_las

pytestmark = pytest.mark.shared_data

SOUND = ("las-formats", "copc", "autzen-feet", "newmexico-ftus", "france-lambert93", "bcts-als")
SOUND += ("forest-plots",)
REFUSED = {  # as the README of each folder says of them
    "pdrf7-v4-1.4.laz": "item type 10 in version 4",
    "pdrf9-1.5.las": "LAS 1.5 is not read",
    "pdrf10-1.5.laz": "LAS 1.5 is not read",
    "1.2-no-points.las": "header promises 1065 points, file has none",
    "1.2-with-color-clipped.las": "header promises 1065 points, file holds 1064",
    "garbage_nVariableLength.las": "header promises 719 points, file holds 718",
    "simple-laszip-compressor-version-1.2r0.laz": "pointwise without a table of chunks",
}
FINDINGS = {
    "simple1_3.las": {"file-bounds-differ"},
    "spurious.las": {"file-bounds-differ"},
    "bad_vlr_count.las": {"file-record-broken"},
    "bad-geotiff-keys.las": {"file-record-broken"},
    "warsaw_small.las": {"file-record-broken"},
}


def clouds(folder: Path) -> list[Path]:
    """LAS and LAZ files of a folder."""
    return sorted([*folder.glob("*.las"), *folder.glob("*.laz")])


def compare_with_laspy(path: Path) -> None:
    """Count, coordinates and fields as laspy reads them, and what an endless radius gives."""
    cloud = open_las(path)
    place = np.array([0.0])
    batches = list(cloud.near(place, place, math.inf))
    las = laspy.read(path)
    assert cloud.info.points == len(las)
    ours = {
        name: np.concatenate([getattr(b, name) for b in batches] or [np.zeros(0)])
        for name in ("x", "y", "z", "classification", "point_source_id", "withheld", "gps_time")
    }
    theirs = {"x": las.X, "y": las.Y, "z": las.Z}
    names = set(las.point_format.dimension_names)
    for name, values in ours.items():
        if name in theirs or name in names:
            expected = np.asarray(theirs.get(name, las[name]))
            assert np.array_equal(values, expected, equal_nan=name == "gps_time"), name
        else:
            assert np.isnan(values).all()
    found = {f.code for f in (*cloud.info.findings, *cloud.reading_findings)}
    assert found == FINDINGS.get(path.name, set())


@pytest.mark.parametrize("folder", [*SOUND, "malformed-odd"])
def test_every_file_reads_as_laspy_reads_it(shared_data, folder):
    """All points, in order, field by field; files that cannot be read say why."""
    paths = clouds(shared_data / folder)
    assert paths
    for path in paths:
        if path.name in REFUSED:
            with pytest.raises(FormatError, match=re.escape(REFUSED[path.name])):
                open_las(path)
        else:
            compare_with_laspy(path)


@pytest.mark.parametrize("folder", [*SOUND, "malformed-odd"])
def test_evidence_stands_where_the_readme_lists_it(shared_data, folder):
    """The README's table names the projection records of each file as laspy found them."""
    text = (shared_data / folder / "README.md").read_text("utf-8")
    checked = 0
    for name, records, bit in re.findall(r"^\| (\S+) \|.*\(VLR (\S+); wkt bit (\d)\)", text, re.M):
        if name in REFUSED:
            continue
        info = open_las(shared_data / folder / name).info
        listed = {int(number) for number in records.split(",")} if records != "none" else set()
        found = {int(e.where.split()[-1]) for e in info.crs_evidence if e.where.startswith("VLR")}
        assert found == listed & {2112, 34735}, name
        for evidence in info.crs_evidence:
            if "LAS 1.4" in info.format:
                assert evidence.preferred == ((evidence.source != "geokeys") == (bit == "1"))
            else:
                assert evidence.preferred is None
        checked += 1
    assert checked == len([p for p in clouds(shared_data / folder) if p.name not in REFUSED])


@pytest.mark.parametrize(
    ("name", "keys"),
    [  # values as the README of each folder and geodesy notes state them
        ("newmexico-ftus/4_6_crop.las", {4096: 5103, 4098: 5703, 4099: 9003, 3072: 2903}),
        ("las-formats/file_with_both_wkt_and_geotiff_vlrs.las", {3072: 32104, 3076: 9003}),
        ("bcts-als/bcts_1.laz", {3072: 3005, 4096: 5713}),
        ("autzen-feet/autzen-thin-srs.las", {3076: 9002, 3072: 32767}),
    ],
)
def test_keys_that_decide(shared_data, name, keys):
    """The keys that carry units and heights are all there."""
    evidence = open_las(shared_data / name).info.crs_evidence
    found = next(e.geokeys for e in evidence if e.source == "geokeys")
    assert {key: found[key] for key in keys} == keys


@pytest.mark.parametrize("name", ["bcts-als/bcts_1.laz", "copc/lone-star.copc.laz"])
def test_near_in_real_files(shared_data, name):
    """Around a few of its own points a real file gives what brute force gives."""
    path = shared_data / name
    las = laspy.read(path)
    scale, offset = las.header.scales, las.header.offsets
    chosen = np.random.default_rng(2).integers(0, len(las), 12)
    px, py = las.X[chosen] * scale[0] + offset[0], las.Y[chosen] * scale[1] + offset[1]
    radius = 0.8
    inner, outer = np.zeros(len(las), bool), np.zeros(len(las), bool)
    for i in chosen:
        east = (las.X.astype(np.int64) - las.X[i]) * scale[0]
        north = (las.Y.astype(np.int64) - las.Y[i]) * scale[1]
        distance = np.hypot(east, north)
        inner |= distance <= radius - 1e-6
        outer |= distance <= radius + 4 * (scale[0] + scale[1])
    found = {
        row
        for b in open_las(path).near(px, py, radius)
        for row in zip(b.x.tolist(), b.y.tolist(), b.z.tolist(), strict=True)
    }

    def rows(which):
        return set(zip(*(np.asarray(las[a])[which].tolist() for a in "XYZ"), strict=True))

    assert inner.sum() > 12
    assert rows(inner) <= found <= rows(outer)


def test_copc_and_plain_twin_agree(shared_data):
    """The same points stored as COPC and as plain LAZ: the same places give the same points."""
    place = np.array([-8242596.0]), np.array([4966606.0])
    plain, copc = (
        sorted(
            (int(x * b.grid.scale[0] / step + b.grid.offset[0] / step), int(c))
            for b in open_las(shared_data / "copc" / name).near(*place, 30.0)
            for x, c in zip(b.x.tolist(), b.classification.tolist(), strict=True)
        )
        for name, step in (("ellipsoid-1.4.laz", 0.01), ("ellipsoid.copc.laz", 0.01))
    )
    assert abs(len(plain) - len(copc)) <= 2  # a point on the rim may fall either way
    assert len(plain) > 50


def test_the_file_that_hangs_another_reader(shared_data):
    """A garbage number of records is answered at once; in a process of its own, lest it hang here."""
    path = shared_data / "malformed-odd" / "garbage_nVariableLength.las"
    code = (
        "import sys, pathlib\n"
        "from accuracy.errors import FormatError\n"
        "from accuracy.formats.las import open_las\n"
        "try:\n    open_las(pathlib.Path(sys.argv[1]))\n"
        "except FormatError as error:\n    print(error.message)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)],
        capture_output=True,
        text=True,
        timeout=20,
        check=True,
        cwd=Path(__file__).resolve().parents[2],
    )
    assert done.stdout.strip() == "cut short: header promises 719 points, file holds 718"
    assert done.stderr == ""


@pytest.mark.parametrize(
    "name",
    [
        "las-formats/simple.laz",
        "las-formats/fullwave.laz",
        "copc/simple_with_page.copc.laz",
        "newmexico-ftus/1_4_w_evlr.laz",
        "forest-plots/MixedConifer.laz",
        "autzen-feet/autzen-utm.las",
    ],
)
def test_cut_copies_are_refused_or_complete(shared_data, tmp_path, name):
    """Copies cut at many lengths: all points or a FormatError, never fewer, never another error."""
    data = (shared_data / name).read_bytes()
    path = tmp_path / Path(name).name
    lengths = np.random.default_rng(9).integers(0, len(data), 60)
    place = np.array([0.0])
    refused = 0
    for length in {*lengths.tolist(), *range(len(data) - 20, len(data))}:
        path.write_bytes(data[:length])
        try:
            cloud = open_las(path)
            held = sum(len(b.x) for b in cloud.near(place, place, math.inf))
        except FormatError:
            refused += 1
        else:
            assert held == cloud.info.points > 0
    assert refused >= 50
