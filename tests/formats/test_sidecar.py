from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
from jobs import CRS, write_plane_cloud
from rasterio.transform import Affine

from accuracy.formats import open_cloud, open_raster
from accuracy.formats.sidecar import sidecar_evidence
from accuracy.formats.tiff_keys import geokey_evidence
from accuracy.georeferencing.reference import interpret

OTHER = "EPSG:6342+5703"


def wkt(code: str, version: str = "WKT1_GDAL") -> str:
    return str(pyproj.CRS.from_user_input(code).to_wkt(version))


def write_tiff(path: Path, code: str | int | None, **options: object) -> Path:
    """Write a small GeoTIFF by GDAL."""
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=4,
        height=3,
        count=1,
        dtype="float32",
        transform=Affine(1, 0, 412000, 0, -1, 5012000),
        crs=code,
        **options,
    ) as out:
        out.write(np.ones((1, 3, 4), np.float32))
    return path


def test_a_prj_beside_a_cloud_is_evidence(tmp_path: Path) -> None:
    """A cloud without records is understood by the .prj beside it, and the record says where it was read."""
    path = tmp_path / "a.laz"
    write_plane_cloud(path, wkt=None)
    (tmp_path / "a.prj").write_text(wkt(CRS), "utf-8")
    reference, findings = interpret(open_cloud(path).info.crs_evidence)
    assert reference.horizontal == "EPSG:6341"
    assert reference.vertical == "EPSG:5703"
    assert any("a.prj" in source for source in reference.sources)
    assert findings == ()


def test_a_prj_that_contradicts_the_file_blocks(tmp_path: Path) -> None:
    """The file says zone 12, its side file zone 13: a blocking contradiction that names both."""
    path = tmp_path / "a.laz"
    write_plane_cloud(path, wkt=wkt(CRS))
    (tmp_path / "a.prj").write_text(wkt(OTHER), "utf-8")
    _, findings = interpret(open_cloud(path).info.crs_evidence)
    (finding,) = (f for f in findings if f.severity == "blocking")
    assert finding.code == "crs-contradiction"
    assert "a.prj" in finding.message
    assert "2112" in finding.message


@pytest.mark.parametrize(
    ("name", "content", "problem"),
    [
        ("a.prj", b"", "empty"),
        ("a.laz.aux.xml", b"<PAMDataset><SRS>", "not XML"),
        ("a.laz.aux.xml", b'<!DOCTYPE x [<!ENTITY e "e">]><PAMDataset/>', "entities"),
        ("a.prj", b"x" * (1 << 20) + b"y", "too long"),
    ],
)
def test_a_broken_side_file_is_told(
    tmp_path: Path, name: str, content: bytes, problem: str
) -> None:
    """Broken or hostile side files are evidence with a problem, never a crash."""
    (tmp_path / name).write_bytes(content)
    (evidence,) = sidecar_evidence(tmp_path / "a.laz")
    assert problem in (evidence.problem or "")


def test_no_side_file_is_no_evidence(tmp_path: Path) -> None:
    """Statistics in an .aux.xml declare nothing."""
    (tmp_path / "a.tif.aux.xml").write_text("<PAMDataset><Metadata/></PAMDataset>", "utf-8")
    assert sidecar_evidence(tmp_path / "a.tif") == ()


def test_an_aux_xml_beside_a_raster_is_read_and_named(tmp_path: Path) -> None:
    """A raster whose reference system stands only in its .aux.xml: both readings, side by side."""
    path = write_tiff(tmp_path / "a.tif", None)
    (tmp_path / "a.tif.aux.xml").write_text(
        f"<PAMDataset><SRS>{wkt(CRS).replace('&', '&amp;')}</SRS></PAMDataset>", "utf-8"
    )
    evidence = open_raster(path).info.crs_evidence
    assert "sidecar-aux-xml" in {item.source for item in evidence}
    reference, findings = interpret(evidence)
    assert (reference.horizontal, reference.vertical) == ("EPSG:6341", "EPSG:5703")
    assert not [f for f in findings if f.severity == "blocking"]


@pytest.mark.parametrize("options", [{}, {"BIGTIFF": "YES"}, {"ENDIANNESS": "BIG"}])
@pytest.mark.parametrize("code", ["EPSG:6341", "EPSG:2903", "EPSG:4326", "EPSG:6341+5703"])
def test_geokeys_of_a_tiff_agree_with_the_library(
    tmp_path: Path, options: dict[str, object], code: str
) -> None:
    """The keys as they stand in the file, classic, BigTIFF and big-endian, say what GDAL wrote."""
    path = write_tiff(tmp_path / "a.tif", code, **options)
    (evidence,) = geokey_evidence(path)
    keys = evidence.geokeys
    number = int(code.split(":")[1].split("+")[0])
    assert keys.get(2048 if number == 4326 else 3072) == number
    if "+" in code:
        assert keys.get(4096) == 5703
    _, findings = interpret(open_raster(path).info.crs_evidence)
    assert not [f for f in findings if f.severity == "blocking"]


def test_what_is_no_tiff_has_no_keys(tmp_path: Path) -> None:
    """Cut or foreign files give no evidence and no error."""
    whole = write_tiff(tmp_path / "a.tif", 6341)
    data = whole.read_bytes()
    for length in (0, 1, 3, 7, 9, 20, len(data) // 2):
        cut = tmp_path / "cut.tif"
        cut.write_bytes(data[:length])
        assert isinstance(geokey_evidence(cut), tuple)
    shutil.copy(__file__, tmp_path / "b.tif")
    assert geokey_evidence(tmp_path / "b.tif") == ()
