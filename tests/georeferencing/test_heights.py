"""Geoid grids: known values exactly, published values, and every way in which a grid can fail."""

from __future__ import annotations

import shutil
import struct
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from planning import blocking, go, warned
from support import assert_metres

from accuracy.errors import ReferenceSystemError
from accuracy.formats.raster_write import write_raster
from accuracy.georeferencing.crs import find_datum
from accuracy.georeferencing.grids import MODELS, GridShelf, models_of, sha256
from accuracy.georeferencing.heights import undulations

WEST, SOUTH, STEP, ROWS, COLUMNS = -105.0, 39.0, 0.25, 9, 13


def geoid_m(lon: np.ndarray, lat: np.ndarray) -> np.ndarray:
    """Invented geoid, linear in both axes: bilinear interpolation reproduces it exactly."""
    return -17.0 + 0.5 * (lon - WEST) - 0.25 * (lat - SOUTH)


def nodes() -> np.ndarray:
    """Values at the nodes, southernmost row first."""
    lat, lon = np.mgrid[0:ROWS, 0:COLUMNS]
    return geoid_m(WEST + STEP * lon, SOUTH + STEP * lat)


def write_gtx(path: Path, values: np.ndarray) -> None:
    """Write the GTX form: four doubles, two integers, big-endian, then float32 rows from the south."""
    rows, columns = values.shape
    head = struct.pack(">4d2i", SOUTH, WEST, STEP, STEP, rows, columns)
    path.write_bytes(head + values.astype(">f4").tobytes())


def write_tiff(path: Path, values: np.ndarray, nodata: float = -9999.0) -> None:
    """Write a GeoTIFF whose cell centres are the nodes."""
    import pyproj

    north = SOUTH + STEP * (values.shape[0] - 0.5)
    transform = (STEP, 0.0, WEST - STEP / 2, 0.0, -STEP, north)
    write_raster(path, values[::-1], transform, pyproj.CRS(6318).to_wkt(), nodata)


WRITERS = {"gtx": write_gtx, "tif": write_tiff}
LON, LAT = np.array([-104.9, -103.3, -102.0, WEST]), np.array([39.1, 40.37, 41.0, SOUTH])


@pytest.mark.parametrize("kind", WRITERS)
def test_known_values(tmp_path: Path, kind: str) -> None:
    """A linear geoid is reproduced, corners included, to the float32 of the nodes."""
    WRITERS[kind](tmp_path / f"g.{kind}", nodes())
    found = undulations(tmp_path / f"g.{kind}", LON, LAT)
    assert found.complete
    assert_metres(found.n_m, geoid_m(LON, LAT), within_m=2e-6)


@pytest.mark.parametrize("kind", WRITERS)
def test_outside(tmp_path: Path, kind: str) -> None:
    """A place beyond the outermost nodes has no value, even inside the half cell that GDAL counts in."""
    WRITERS[kind](tmp_path / f"g.{kind}", nodes())
    lon, lat = (
        np.array([WEST - 0.01, -104.0, 20.0, -104.0]),
        np.array([40.0, SOUTH - 0.01, 40.0, 40.0]),
    )
    found = undulations(tmp_path / f"g.{kind}", lon, lat)
    assert found.outside.tolist() == [True, True, True, False]
    assert np.isnan(found.n_m[:3]).all()


@pytest.mark.parametrize(("kind", "hole"), [("gtx", -88.8888), ("tif", np.nan)])
def test_beside_a_node_without_data(tmp_path: Path, kind: str, hole: float) -> None:
    """One node without data empties the four cells around it; PROJ would average what is left."""
    values = nodes()
    values[4, 4] = hole
    WRITERS[kind](tmp_path / f"g.{kind}", values)
    lon0, lat0 = WEST + 4 * STEP, SOUTH + 4 * STEP
    lon = np.array([lon0, lon0 + 0.1, lon0 - 0.1, lon0 + STEP, lon0 + STEP + 0.1])
    lat = np.array([lat0, lat0 + 0.1, lat0 - 0.1, lat0, lat0])
    found = undulations(tmp_path / f"g.{kind}", lon, lat)
    assert found.no_data.tolist() == [True, True, True, False, False]
    assert_metres(found.n_m[3:], geoid_m(lon, lat)[3:], within_m=2e-6)


@pytest.mark.parametrize("kind", WRITERS)
def test_a_broken_file_is_an_error(tmp_path: Path, kind: str) -> None:
    """A file cut short, or with other content, is refused with its name; no traceback, no numbers."""
    path = tmp_path / f"g.{kind}"
    WRITERS[kind](path, nodes())
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    with pytest.raises(ReferenceSystemError, match=path.name):
        undulations(path, LON, LAT)
    path.write_bytes(b"not a grid")
    with pytest.raises(ReferenceSystemError, match=path.name):
        undulations(path, LON, LAT)


def test_paths_with_blanks_and_commas(tmp_path: Path) -> None:
    """Blanks are no trouble; a comma separates grids for PROJ, and is refused with the remedy."""
    folder = tmp_path / "my grids"
    folder.mkdir()
    write_gtx(folder / "a b.gtx", nodes())
    assert undulations(folder / "a b.gtx", LON, LAT).complete
    write_gtx(folder / "a,b.gtx", nodes())
    with pytest.raises(ReferenceSystemError, match="comma"):
        undulations(folder / "a,b.gtx", LON, LAT)


def test_models_name_frames_and_datums_of_the_registry() -> None:
    """Every datum in the table of models is spelt as in the EPSG dataset."""
    for model in MODELS:
        assert model.files
        for name in (*model.frames, *model.datums):
            datum = find_datum(name)
            assert datum is not None, name
            assert datum.name.removesuffix(" ensemble") == name
    assert models_of("North American Vertical Datum 1988") == ("GEOID18", "GEOID12B")


def test_shelf(tmp_path: Path) -> None:
    """The first folder that has a file wins; the job's name for a model replaces the customary ones."""
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        write_gtx(tmp_path / name / "us_noaa_g2018u0.tif", nodes())
    folders = (tmp_path / "one", tmp_path / "two")
    (found,) = GridShelf(folders).find("Geoid 18")
    assert found.parent.name == "one"
    assert GridShelf(folders, {"GEOID18": "other.gtx"}).find("GEOID18") == ()
    assert GridShelf(folders, {"GEOID18": "other.gtx"}).names("geoid-18") == ("other.gtx",)
    assert GridShelf(folders).find("no such model") == ()


# Through the plan: NAD83(2011), invented grid under the name of GEOID18.
AT = ([-104.9, -103.3], [39.1, 40.37], [1600.0, 1700.0])
ORTHOMETRIC, ELLIPSOIDAL = "EPSG:6318+5703", "EPSG:6319"


@pytest.fixture
def grids(tmp_path: Path) -> Path:
    write_tiff(tmp_path / "us_noaa_g2018u0.tif", nodes())
    write_tiff(tmp_path / "us_noaa_g2012bu0.tif", nodes() + 0.034)
    return tmp_path


def test_ellipsoidal_to_orthometric_and_back(grids: Path) -> None:
    """H = h - N and h = H + N with the named grid; its hash is in the record, its accuracy unknown."""
    n_m = geoid_m(*map(np.array, AT[:2]))
    found, there = go(ELLIPSOIDAL, ORTHOMETRIC, AT, geoids=(None, "GEOID18"), folder=grids)
    assert (found.horizontal, found.vertical) == ("identity", "transformed")
    assert_metres(there[:, 2], np.array(AT[2]) - n_m, within_m=2e-6)
    (step,) = (step for step in found.steps if step.grid)
    assert (step.grid, step.accuracy_m) == ("us_noaa_g2018u0.tif", None)
    assert step.sha256 == sha256(grids / "us_noaa_g2018u0.tif")
    assert "transform-accuracy-unknown" in warned(found)
    _, back = go(ORTHOMETRIC, ELLIPSOIDAL, tuple(there.T), geoids=("GEOID18", None), folder=grids)
    assert_metres(back[:, 2], AT[2], within_m=1e-9)


def test_feet_around_a_geoid(grids: Path) -> None:
    """US survey feet above NAVD88 to metres above the ellipsoid: units first, then N in metres."""
    at = ([-104.9], [39.1], [5249.0])
    _, there = go("EPSG:6318+6360", ELLIPSOIDAL, at, geoids=("GEOID18", None), folder=grids)
    n_m = geoid_m(np.array(-104.9), np.array(39.1))
    assert_metres(there[0, 2], 5249.0 * 1200 / 3937 + n_m, within_m=2e-6)


def test_two_geoid_models_behind_one_datum(grids: Path) -> None:
    """Both grids there: through both, 34 mm here. One missing: the vertical part alone is refused."""
    pair = ("GEOID18", "GEOID12B")
    found, there = go(ORTHOMETRIC, ORTHOMETRIC, AT, geoids=pair, folder=grids)
    assert (found.horizontal, found.vertical) == ("identity", "transformed")
    assert_metres(there[:, 2] - np.array(AT[2]), -0.034, within_m=3e-6)
    assert (there[:, :2] == np.column_stack(AT[:2])).all()
    assert [step.grid for step in found.steps if step.grid] == [
        "us_noaa_g2018u0.tif",
        "us_noaa_g2012bu0.tif",
    ]
    (grids / "us_noaa_g2012bu0.tif").unlink()
    found, there = go(ORTHOMETRIC, ORTHOMETRIC, AT, geoids=pair, folder=grids)
    assert (found.horizontal, found.vertical) == ("identity", "differs")
    assert np.isnan(there[:, 2]).all()
    (finding,) = (f for f in found.findings if f.code == "transform-grid-missing")
    assert finding.component == "vertical"
    assert "us_noaa_g2012bu0.tif" in finding.message
    assert "folder" in finding.remedy


def test_orthometric_on_another_frame_than_the_grid(grids: Path) -> None:
    """ITRF2014 + NAVD88 to ITRF2014 ellipsoidal: N leads to NAD83(2011) heights, 0.86 m from ITRF2014 here."""
    at = ([-104.9], [39.74], [1600.0])
    n_m = float(geoid_m(np.array(-104.9), np.array(39.74)))
    found, there = go(
        "EPSG:9000+5703@2025.0", "EPSG:7912@2025.0", at, geoids=("GEOID18", None), folder=grids
    )
    assert (found.horizontal, found.vertical) == ("identity", "transformed")
    # Denver, 2025: ITRF2014 minus NAD83(2011) is -0.861 m up (computed with PROJ, 11 km from here).
    assert_metres(there[0, 2] - (1600.0 + n_m), -0.861, within_m=0.005)
    assert [s.code for s in found.steps if s.code and s.code.endswith("8970")] == ["EPSG:8970"] * 2


@pytest.mark.parametrize(
    ("at", "geoids", "code"),
    [
        (([-104.9], [39.1], [0.0]), (None, None), "transform-geoid-unnamed"),
        (([-104.9], [39.1], [0.0]), (None, "EGM96"), "transform-geoid-unfit"),
        (([-104.9], [39.1], [0.0]), (None, "GEOID12B"), "transform-grid-missing"),
        (([-104.9], [39.1], [0.0]), (None, "NOSUCH2099"), "transform-grid-missing"),
        (([-104.9, -110.0], [39.1, 39.1], [0.0, 0.0]), (None, "GEOID18"), "transform-outside-grid"),
        (([-104.9, -104.0], [39.1, 40.05], [0.0, 0.0]), (None, "GEOID18"), "transform-no-data"),
    ],
)
def test_refusals(tmp_path: Path, at: tuple, geoids: tuple, code: str) -> None:
    """The vertical part alone is refused, naming points and remedy; the horizontal part stands."""
    values = nodes()
    values[4, 4] = np.nan
    write_tiff(tmp_path / "us_noaa_g2018u0.tif", values)
    found, there = go(ELLIPSOIDAL, ORTHOMETRIC, at, geoids=geoids, folder=tmp_path)
    assert (found.horizontal, found.vertical) == ("identity", "differs")
    assert blocking(found) == {code}
    (finding,) = (f for f in found.findings if f.code == code)
    assert finding.component == "vertical"
    assert finding.remedy
    if code in ("transform-outside-grid", "transform-no-data"):
        assert "P2" in finding.message
        assert "P1" not in finding.message
    assert np.isnan(there[:, 2]).all()
    assert np.isfinite(there[:, :2]).all()


def test_a_broken_grid_is_a_finding(grids: Path) -> None:
    """A damaged file blocks the vertical part and nothing else."""
    path = grids / "us_noaa_g2018u0.tif"
    path.write_bytes(path.read_bytes()[:300])
    found, _ = go(ELLIPSOIDAL, ORTHOMETRIC, AT, geoids=(None, "GEOID18"), folder=grids)
    assert (found.horizontal, blocking(found)) == ("identity", {"transform-grid-unreadable"})


def test_without_grids_section(grids: Path) -> None:
    """No folder named: nothing is searched, and the message says so."""
    found, _ = go(ELLIPSOIDAL, ORTHOMETRIC, AT, geoids=(None, "GEOID18"))
    (finding,) = (f for f in found.findings if f.code == "transform-grid-missing")
    assert "[grids] is not in the job" in finding.message


def test_the_job_names_the_file(grids: Path) -> None:
    """geoid_files names the file of a model, known or not; an unknown one is taken in the frame at hand."""
    at = ([-104.9], [39.1], [1600.0])
    options = {"folder": grids, "files": {"SITE2026": "us_noaa_g2018u0.tif"}}
    found, there = go(ELLIPSOIDAL, ORTHOMETRIC, at, geoids=(None, "SITE2026"), **options)
    assert found.vertical == "transformed"
    assert "transform-geoid-frame-assumed" in warned(found)
    assert_metres(there[0, 2], 1600.0 - geoid_m(np.array(-104.9), np.array(39.1)), within_m=2e-6)


# Real grids. N computed with PROJ by the providers of the notes, except TP01, which is published.
REAL = [
    ("us_nga_egm96_15.tif", 12.5, 55.5, 36.0213),
    ("us_nga_egm96_15.tif", -123.068, 44.058, -22.3933),
    ("us_nga_egm96_15.tif", 139.74, 35.66, 36.4386),
    ("fr_ign_RAF20.tif", 2.78, 43.15, 49.4026),
    ("ca_nrc_HT2_2010v70.tif", -127.6256, 50.6675, -14.6466),
    ("es_ign_egm08-rednap.tif", -0.39, 39.45, 50.0572),
    ("us_noaa_g2018p0.tif", -66.1, 18.4, -41.7614),
]


@pytest.mark.shared_data
@pytest.mark.parametrize(("name", "lon", "lat", "n_m"), REAL)
def test_real_grids(shared_data: Path, name: str, lon: float, lat: float, n_m: float) -> None:
    """Values of real grids to the last digit noted."""
    found = undulations(shared_data / "proj-grids" / name, np.array([lon]), np.array([lat]))
    assert_metres(found.n_m, n_m, within_m=0.00006)


@pytest.mark.shared_data
def test_ordnance_survey_test_point(shared_data: Path) -> None:
    """Ordnance Survey TP01: ETRS89 49.92226393730 N, 6.29977752014 W, 100.000 m is 46.519 m above ODN."""
    at = (-6.29977752014, 49.92226393730, 100.0)
    folder = shared_data / "proj-grids"
    found, there = go("EPSG:4937", "EPSG:4258+5701", at, geoids=(None, "OSGM15"), folder=folder)
    assert found.vertical == "transformed"
    assert_metres(there[0, 2], 46.519, within_m=0.001)


@pytest.mark.shared_data
def test_published_undulations(shared_data: Path, shared_geodesy: Path) -> None:
    """Every row whose grid is there, at the tolerance of the table."""
    import csv

    files = {"EGM96": "us_nga_egm96_15.tif", "GEOID18 (PR/VI)": "us_noaa_g2018p0.tif"}
    with (shared_geodesy / "check_geoid.csv").open(encoding="utf-8") as file:
        table = [row for row in csv.DictReader(file) if row["model"] in files]
    assert len(table) == 9
    for row in table:
        path = shared_data / "proj-grids" / files[row["model"]]
        place = (np.array([float(row["lon_deg"])]), np.array([float(row["lat_deg"])]))
        n_m = float(row["geoid_height_N_m"])
        assert_metres(undulations(path, *place).n_m, n_m, within_m=float(row["tolerance_m"]))


@pytest.mark.shared_data
@pytest.mark.parametrize("name", ["test_nodata.gtx", "test_vgrid_nodata.tif"])
def test_real_no_data(shared_data: Path, name: str) -> None:
    """PROJ gives 10 where three of four nodes have no data; this tool gives nothing."""
    lon, lat = np.array([4.06, 4.15]), np.array([52.06, 52.15])
    found = undulations(shared_data / "proj-grids" / name, lon, lat)
    assert found.no_data.tolist() == [True, False]
    assert_metres(found.n_m[1], 10.0, within_m=1e-9)


@pytest.mark.shared_data
@pytest.mark.parametrize(
    "name", ["egm96_15_uncompressed_truncated.tif", "test_vgrid_single_strip_truncated.tif"]
)
def test_real_broken_grids(shared_data: Path, tmp_path: Path, name: str) -> None:
    """Truncated grids are refused."""
    shutil.copy(shared_data / "proj-grids" / name, tmp_path / name)
    with pytest.raises(ReferenceSystemError):
        undulations(tmp_path / name, np.array([4.05]), np.array([52.05]))
