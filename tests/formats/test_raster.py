from __future__ import annotations

import os
import struct
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from numpy.typing import NDArray
from rasterio.enums import ColorInterp
from support import assert_metres

from accuracy.errors import FormatError
from accuracy.findings import Severity
from accuracy.formats import open_raster, raster
from accuracy.formats.raster import ElevationRaster, open_elevation_raster
from accuracy.sampling.grids import sample_raster

Transform = tuple[float, float, float, float, float, float]

#: Invented place at a northing of 5 000 km; cells of a quarter of a metre.
WEST, NORTH, CELL = 412_000.25, 5_000_000.5, 0.25
NORTH_UP: Transform = (CELL, 0.0, WEST, 0.0, -CELL, NORTH)
SOUTH_UP: Transform = (CELL, 0.0, WEST, 0.0, CELL, NORTH)
ROTATED: Transform = (0.2, -0.15, WEST, 0.15, 0.2, NORTH)
SHAPE = (70, 90)


def height_of(col: NDArray[np.float64], row: NDArray[np.float64]) -> NDArray[np.float64]:
    """Tilted plane and a bilinear term, known everywhere (closed form; position in cells)."""
    return 300.0 + 0.11 * col - 0.07 * row + 0.002 * col * row


def cell_heights() -> NDArray[np.float64]:
    row, col = np.indices(SHAPE) + 0.5
    return height_of(col, row)


def write(
    path: Path,
    values: NDArray[Any],
    transform: Transform | None = NORTH_UP,
    scale: float | None = None,
    offset: float = 0.0,
    unit: str | None = None,
    tags: dict[str, str] | None = None,
    **profile: Any,
) -> Path:
    """Write bands (shape rows, cols or bands, rows, cols) with rasterio."""
    bands = values if values.ndim == 3 else values[np.newaxis]
    settings = {"driver": "GTiff", "dtype": bands.dtype.name} | profile
    if transform is not None:
        settings["transform"] = rasterio.Affine(*transform)
    count, rows, cols = bands.shape
    with rasterio.open(path, "w", count=count, height=rows, width=cols, **settings) as out:
        if scale is not None:
            out.scales, out.offsets = (scale,) * count, (offset,) * count
        if unit is not None:
            out.units = (unit,) * count
        out.update_tags(**(tags or {}))
        out.write(bands)
    return path


# ---------------------------------------------------------------- every kind of file, exact


def _plain(dtype: str, transform: Transform = NORTH_UP, **profile: Any) -> Callable[[Path], Path]:
    return lambda folder: write(
        folder / "a.tif", cell_heights().astype(dtype), transform, **profile
    )


def _scaled(dtype: str, scale: float, offset: float) -> Callable[[Path], Path]:
    def make(folder: Path) -> Path:
        stored = np.round((cell_heights() - offset) / scale).astype(dtype)
        return write(folder / "a.tif", stored, scale=scale, offset=offset)

    return make


def _virtual(folder: Path) -> Path:
    write(folder / "a.tif", cell_heights())
    a, b, c, d, e, f = NORTH_UP
    path = folder / "a.vrt"
    path.write_text(
        f'<VRTDataset rasterXSize="{SHAPE[1]}" rasterYSize="{SHAPE[0]}">'
        f"<GeoTransform>{c}, {a}, {b}, {f}, {d}, {e}</GeoTransform>"
        '<VRTRasterBand dataType="Float64" band="1"><SimpleSource>'
        '<SourceFilename relativeToVRT="1">a.tif</SourceFilename><SourceBand>1</SourceBand>'
        "</SimpleSource></VRTRasterBand></VRTDataset>",
        "utf-8",
    )
    return path


def _ascii(folder: Path) -> Path:
    rows, cols = SHAPE
    lines = [
        f"ncols {cols}",
        f"nrows {rows}",
        f"xllcorner {WEST}",
        f"yllcorner {NORTH - rows * CELL}",
    ]
    lines += [f"cellsize {CELL}", "NODATA_value -9999"]
    lines += [" ".join(f"{value:.4f}" for value in row) for row in cell_heights()]
    path = folder / "a.asc"
    path.write_text("\n".join(lines), "ascii")
    return path


def _with_overviews(folder: Path) -> Path:
    path = write(
        folder / "a.tif",
        cell_heights(),
        tiled=True,
        blockxsize=16,
        blockysize=32,
        compress="deflate",
    )
    with rasterio.open(path, "r+") as out:
        out.build_overviews([2, 4], rasterio.enums.Resampling.average)
    return path


#: Kind -> (how to make it, its geotransform, largest rounding of a stored cell).
KINDS: dict[str, tuple[Callable[[Path], Path], Transform, float]] = {
    "float64": (_plain("float64"), NORTH_UP, 1e-8),
    "float32": (_plain("float32"), NORTH_UP, 1.6e-5),  # half a unit in the last place at 256 to 512
    "int16-cm": (_scaled("int16", 0.01, 0.0), NORTH_UP, 0.005 + 1e-8),
    "int16-mm-offset": (_scaled("int16", 0.001, 300.0), NORTH_UP, 0.0005 + 1e-8),
    "uint16-offset": (_scaled("uint16", 0.01, -50.0), NORTH_UP, 0.005 + 1e-8),
    "int32": (_scaled("int32", 0.0001, 0.0), NORTH_UP, 0.00005 + 1e-8),
    "uint8-scaled": (_scaled("uint8", 0.25, 290.0), NORTH_UP, 0.125 + 1e-8),
    "int16-whole-metres": (_plain("int16"), NORTH_UP, 1.0 + 1e-8),  # cut off, not rounded
    "south-up": (_plain("float64", SOUTH_UP), SOUTH_UP, 1e-8),
    "rotated": (_plain("float64", ROTATED), ROTATED, 1e-8),
    "pixel-is-point": (_plain("float64", tags={"AREA_OR_POINT": "Point"}), NORTH_UP, 1e-8),
    "big": (_plain("float64", BIGTIFF="YES"), NORTH_UP, 1e-8),
    "tiled": (_plain("float64", tiled=True, blockxsize=16, blockysize=16), NORTH_UP, 1e-8),
    "overviews": (_with_overviews, NORTH_UP, 1e-8),
    "cloud-optimised": (_plain("float32", driver="COG", blocksize=128), NORTH_UP, 1.6e-5),
    "img": (_plain("float64", driver="HFA"), NORTH_UP, 1e-8),
    "virtual": (_virtual, NORTH_UP, 1e-8),
    "ascii": (_ascii, NORTH_UP, 1.6e-5 + 5e-5),
}


@pytest.mark.parametrize("kind", KINDS)
def test_a_known_surface_is_sampled_exactly(kind: str, tmp_path: Path) -> None:
    """At any place and northing, every kind of file gives the closed form within its cells' rounding."""
    make, transform, within_m = KINDS[kind]
    surface = open_raster(make(tmp_path))
    rng = np.random.default_rng(21)
    col, row = rng.uniform(0.5, SHAPE[1] - 0.5, 60), rng.uniform(0.5, SHAPE[0] - 0.5, 60)
    a, b, c, d, e, f = transform
    x, y = a * col + b * row + c, d * col + e * row + f
    samples, findings = sample_raster([surface], x, y, "bilinear", 1.0, 1.0)
    surface.close()
    assert [sample.reason for sample in samples] == [None] * 60
    got = np.array([sample.height for sample in samples], float)
    assert_metres(got, height_of(col, row), within_m=within_m)
    assert findings == ()
    assert surface.shape == SHAPE
    assert_metres(surface.transform, transform, within_m=1e-9)


def _hand_made_geotiff(path: Path, raster_type: int, values: NDArray[np.float32]) -> None:
    """Write a GeoTIFF tag by tag, its tie point being raster (0, 0) at (WEST, NORTH).

    Layout by TIFF 6.0; keys by OGC GeoTIFF 1.1, GTRasterTypeGeoKey 1025: 1 area, 2 point (from memory).
    """
    rows, cols = values.shape
    data = values.astype("<f4").tobytes()
    doubles = struct.pack("<3d", CELL, CELL, 0.0) + struct.pack("<6d", 0, 0, 0, WEST, NORTH, 0)
    keys = struct.pack(
        "<16H", 1, 1, 0, 3, *(1024, 0, 1, 1), *(1025, 0, 1, raster_type), *(3072, 0, 1, 32632)
    )
    at = 8
    scale_at, tie_at, keys_at = at + len(data), at + len(data) + 24, at + len(data) + 72
    entries = [
        (256, 3, 1, cols),
        (257, 3, 1, rows),
        (258, 3, 1, 32),
        (259, 3, 1, 1),
        (262, 3, 1, 1),
        (273, 4, 1, at),
        (277, 3, 1, 1),
        (278, 3, 1, rows),
        (279, 4, 1, len(data)),
        (339, 3, 1, 3),
        (33550, 12, 3, scale_at),
        (33922, 12, 6, tie_at),
        (34735, 3, 16, keys_at),
    ]
    directory = struct.pack("<H", len(entries))
    for tag, kind, count, value in entries:
        short = kind == 3 and count == 1
        directory += struct.pack("<HHI", tag, kind, count)
        directory += struct.pack("<HH", value, 0) if short else struct.pack("<I", value)
    start = keys_at + len(keys)
    path.write_bytes(
        struct.pack("<2sHI", b"II", 42, start) + data + doubles + keys + directory + b"\0" * 4
    )


def test_pixel_is_point_is_shifted_exactly_once(tmp_path: Path) -> None:
    """A tie point is the first cell's corner for areas and its centre for points; nobody shifts twice."""
    values = np.arange(20, dtype=np.float32).reshape(4, 5) ** 2 + 200
    for raster_type, meaning, centre in ((1, "Area", 0.5), (2, "Point", 0.0)):
        path = tmp_path / f"{meaning}.tif"
        _hand_made_geotiff(path, raster_type, values)
        surface = open_elevation_raster(path)
        assert surface.tags["AREA_OR_POINT"] == meaning
        assert f"AREA_OR_POINT={meaning}" in surface.info.format
        row, col = (index.ravel() for index in np.indices(values.shape))
        x, y = WEST + (col + centre) * CELL, NORTH - (row + centre) * CELL
        samples, _ = sample_raster([surface], x, y, "bilinear", 1.0, 1.0)
        surface.close()
        assert [sample.height for sample in samples] == values.ravel().tolist()


# ---------------------------------------------------------------- cells without data


def cells(path: Path, band: int | None = None) -> NDArray[np.float64]:
    """Read all cells of a small raster."""
    surface = open_elevation_raster(path, band)
    patch = surface.patch(0, 0, *surface.shape)
    surface.close()
    return patch.values


ONES = np.full((3, 4), 101.5, dtype=np.float32)


def holed(at: tuple[int, int], value: float, dtype: str = "float32") -> NDArray[Any]:
    values = ONES.astype(dtype)
    values[at] = value
    return values


@pytest.mark.parametrize(
    ("values", "nodata"),
    [
        (holed((1, 2), -9999.0), -9999.0),
        (holed((1, 2), -3.4e38), -3.4e38),  # declared in 64 bits, stored in 32
        (holed((1, 2), float(np.finfo(np.float32).min)), float(np.finfo(np.float32).min)),
        (holed((1, 2), np.nan), np.nan),
        (holed((1, 2), np.nan), None),
        (holed((1, 2), np.inf), -9999.0),
        (holed((1, 2), -32768, "int16"), -32768),
        (holed((1, 2), 0, "uint16"), 0),
        (holed((1, 2), -1e300, "float64"), -1e300),
    ],
)
def test_cells_without_data_are_nan(
    tmp_path: Path, values: NDArray[Any], nodata: float | None
) -> None:
    """Declared no-data numbers, NaN and infinity come back as NaN, all other cells as stored."""
    got = cells(write(tmp_path / "a.tif", values, nodata=nodata))
    expected = values.astype(np.float64)
    expected[1, 2] = np.nan
    np.testing.assert_array_equal(got, expected)


def test_a_declared_number_beyond_the_cells_range_is_harmless(tmp_path: Path) -> None:
    """The lowest 64-bit number, declared for cells of 32 bits, marks no cell and raises nothing."""
    path = _virtual(tmp_path)
    text = path.read_text("utf-8").replace('"Float64" band="1">', '"Float32" band="1">MARK')
    mark = "<NoDataValue>-1.7976931348623157e+308</NoDataValue>"
    path.write_text(text.replace("MARK", mark), "utf-8")
    assert_metres(cells(path), cell_heights(), within_m=1.6e-5)


@pytest.mark.parametrize("number", [-5.0, -3.4e38])
def test_a_mask_and_a_declared_number_both_count(tmp_path: Path, number: float) -> None:
    """GDAL uses a mask instead of the no-data number; here both say where there is no data."""
    path = write(tmp_path / "a.tif", holed((0, 0), number), nodata=number)
    mask = np.ones(ONES.shape, dtype=bool)
    mask[2, 3] = False
    with rasterio.open(path, "r+") as out:
        out.write_mask(mask)
    assert np.argwhere(np.isnan(cells(path))).tolist() == [[0, 0], [2, 3]]


@pytest.mark.parametrize("dtype", ["uint16", "float32"])
def test_transparent_cells_have_no_data(tmp_path: Path, dtype: str) -> None:
    """An alpha band is a mask, not a second band of values: no band need be named."""
    opaque = np.full(ONES.shape, 255)
    opaque[1, 1] = 0
    path = write(tmp_path / "a.tif", np.stack([ONES, opaque]).astype(dtype), ALPHA="YES")
    with rasterio.open(path) as made:
        assert made.colorinterp[1] is ColorInterp.alpha
    assert np.argwhere(np.isnan(cells(path))).tolist() == [[1, 1]]
    with pytest.raises(FormatError, match="band 2 holds colours"):
        open_elevation_raster(path, band=2)


def test_scale_and_offset_belong_to_heights_only(tmp_path: Path) -> None:
    """The no-data number is that of the stored cells, also where a scaled band does not declare it."""
    stored = np.array([[12345, -9999], [200, -32768]], dtype=np.int16)
    declared = write(tmp_path / "a.tif", stored, scale=0.01, offset=100.0, nodata=-32768)
    assert_metres(cells(declared), [[223.45, 0.01], [102.0, np.nan]], within_m=1e-9)
    silent = write(tmp_path / "b.tif", stored, scale=0.01, offset=100.0)
    assert_metres(cells(silent), [[223.45, -9999.0], [102.0, -32768.0]], within_m=1e-9)
    with open_and_close(silent) as surface:
        x, y = np.array([WEST + CELL * 0.7]), np.array([NORTH - CELL * 0.7])
        samples, findings = sample_raster([surface], x, y, "bilinear", 1.0, 1.0)
    assert samples[0].reason == "no-data"
    assert sorted(float(f.evidence["value"] or 0) for f in findings) == [-32768.0, -9999.0]


class open_and_close:  # noqa: N801 (reads as the statement it stands in)
    def __init__(self, path: Path) -> None:
        self.surface = open_elevation_raster(path)

    def __enter__(self) -> ElevationRaster:
        return self.surface

    def __exit__(self, *_: object) -> None:
        self.surface.close()


def test_cells_beyond_the_raster_are_nan(tmp_path: Path) -> None:
    """A window may lie partly or wholly outside; what is outside is NaN, what is inside is in place."""
    values = np.arange(12, dtype=np.float32).reshape(3, 4)
    with open_and_close(write(tmp_path / "a.tif", values)) as surface:
        patch = surface.patch(-1, 2, 3, 4)
        assert (patch.row0, patch.col0) == (-1, 2)
        nan = np.nan
        np.testing.assert_array_equal(
            patch.values, [[nan, nan, nan, nan], [2, 3, nan, nan], [6, 7, nan, nan]]
        )
        for row, col in ((3, 0), (-3, 0), (0, 4), (0, -3), (10**9, -(10**9))):
            assert np.isnan(surface.patch(row, col, 3, 3).values).all()


# ---------------------------------------------------------------- what the header says


def test_header_facts(tmp_path: Path) -> None:
    """Bounds, cell size, unit, decimals and format are the file's own."""
    path = write(tmp_path / "a.tif", ONES.astype("int16"), scale=0.01, unit="US survey foot")
    with open_and_close(path) as surface:
        info = surface.info
    assert info.kind == "raster"
    assert info.bounds == (WEST, NORTH - 3 * CELL, WEST + 4 * CELL, NORTH)
    assert info.cell_size == (CELL, CELL)
    assert info.vertical_unit_text == "US survey foot"
    assert info.decimals == 2
    assert info.format.startswith("GeoTIFF, int16, band 1 of 1")
    assert info.size_bytes == path.stat().st_size
    assert info.findings == ()


@pytest.mark.parametrize(
    ("dtype", "scale", "offset", "decimals"),
    [
        ("float32", None, 0.0, 3),
        ("int16", None, 0.0, 0),
        ("int16", 0.01, 0.0, 2),
        ("int16", 0.5, 0.125, 3),
        ("int32", 10.0, 0.0, 0),
        ("int32", 0.30480060960121924, 0.0, 6),
    ],
)
def test_decimals_are_those_of_the_stored_heights(
    tmp_path: Path, dtype: str, scale: float | None, offset: float, decimals: int
) -> None:
    """Whole numbers have none; scale and offset add theirs (at most six); floats count as three."""
    path = write(tmp_path / "a.tif", ONES.astype(dtype), scale=scale, offset=offset)
    with open_and_close(path) as surface:
        assert surface.info.decimals == decimals


def test_bounds_of_a_rotated_raster_hold_all_its_corners(tmp_path: Path) -> None:
    """The outline's box is that of the four corners (a 4 by 3 raster turned, by hand)."""
    with open_and_close(
        write(tmp_path / "a.tif", ONES, (0.8, -0.6, 1000.0, 0.6, 0.8, 2000.0))
    ) as surface:
        assert_metres(surface.info.bounds, (998.2, 2000.0, 1003.2, 2004.8), within_m=1e-9)
        assert_metres(surface.info.cell_size, (1.0, 1.0), within_m=1e-12)


@pytest.mark.parametrize("version", ["1.0", "1.1"])
def test_a_vertical_crs_survives(tmp_path: Path, version: str) -> None:
    """A compound CRS is handed on whole; by default GDAL drops its vertical part from GeoTIFF 1.0."""
    path = write(tmp_path / "a.tif", ONES, crs="EPSG:6345+5703", GEOTIFF_VERSION=version)
    with open_and_close(path) as surface:
        evidence, keys = surface.info.crs_evidence
    assert (evidence.source, keys.source) == ("raster-crs", "geokeys")
    assert evidence.problem is None
    assert evidence.wkt is not None
    assert evidence.wkt.startswith("COMPOUNDCRS[")
    for part in ("NAD83(2011) / UTM zone 16N", "NAVD88 height", 'ID["EPSG",5703]'):
        assert part in evidence.wkt


def test_heights_above_an_ellipsoid_are_declared_by_a_3d_crs(tmp_path: Path) -> None:
    """A geographic 3D CRS, which the older WKT cannot express, is handed on with its three axes."""
    with open_and_close(write(tmp_path / "a.tif", ONES, crs="EPSG:4979")) as surface:
        evidence, _ = surface.info.crs_evidence
    assert evidence.problem is None
    assert "CS[ellipsoidal,3]" in (evidence.wkt or "")


def test_no_crs_is_no_evidence(tmp_path: Path) -> None:
    """A raster without a CRS is opened; that nothing is declared shows as no evidence."""
    with open_and_close(write(tmp_path / "a.tif", ONES)) as surface:
        assert surface.info.crs_evidence == ()


def test_a_crs_beside_the_file_is_evidence(tmp_path: Path) -> None:
    """The .prj beside an ASCII grid is read by GDAL and handed on."""
    path = _ascii(tmp_path)
    path.with_suffix(".prj").write_text(
        'PROJCS["WGS_1984_UTM_Zone_32N",GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984",'
        'SPHEROID["WGS_1984",6378137.0,298.257223563]],PRIMEM["Greenwich",0.0],'
        'UNIT["Degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],'
        'PARAMETER["False_Easting",500000.0],PARAMETER["False_Northing",0.0],'
        'PARAMETER["Central_Meridian",9.0],PARAMETER["Scale_Factor",0.9996],'
        'PARAMETER["Latitude_Of_Origin",0.0],UNIT["Meter",1.0]]',
        "ascii",
    )
    with open_and_close(path) as surface:
        evidence, beside = surface.info.crs_evidence
    assert (evidence.source, beside.source) == ("raster-crs", "sidecar-prj")
    assert "UTM zone 32N" in (evidence.wkt or "")


def test_whole_numbers_of_a_picture_are_told(tmp_path: Path) -> None:
    """A band of bytes may be a shaded view of an elevation model: a warning, not a refusal."""
    with open_and_close(write(tmp_path / "a.tif", ONES.astype("uint8"))) as surface:
        (finding,) = surface.info.findings
    assert (finding.code, finding.severity) == ("file-suspect-values", Severity.WARNING)
    assert finding.dataset is None


def test_a_band_can_be_named(tmp_path: Path) -> None:
    """With `band`, the cells of that band are the heights, and its scale and unit count."""
    path = write(tmp_path / "a.tif", np.stack([ONES, ONES + 7, ONES + 9]))
    np.testing.assert_array_equal(cells(path, band=2), ONES + 7)


# ---------------------------------------------------------------- refusals


def _text(path: Path) -> Path:
    path.write_text("point,easting,northing\n", "utf-8")
    return path


def _cut_off(path: Path) -> Path:
    write(path, cell_heights())
    path.write_bytes(path.read_bytes()[:5000])
    return path


def _palette(path: Path) -> Path:
    write(path, ONES.astype("uint8"))
    with rasterio.open(path, "r+") as out:
        out.write_colormap(1, {101: (10, 20, 30, 255)})
    return path


def _gone(path: Path) -> Path:
    path = path.with_suffix(".vrt")
    path.write_text(
        '<VRTDataset rasterXSize="2" rasterYSize="2"><GeoTransform>5,1,0,5,0,-1</GeoTransform>'
        '<VRTRasterBand dataType="Byte" band="1"><SimpleSource><SourceFilename relativeToVRT="1">'
        "gone.tif</SourceFilename></SimpleSource></VRTRasterBand></VRTDataset>",
        "utf-8",
    )
    return path


def _empty(path: Path) -> Path:
    path.write_bytes(b"")
    return path


def _folder(path: Path) -> Path:
    path.mkdir()
    return path


REFUSED: dict[str, tuple[Callable[[Path], Path], int | None, str]] = {
    "missing": (lambda path: path, None, "no such file"),
    "folder": (_folder, None, "is a folder"),
    "empty": (_empty, None, "not a raster"),
    "text": (_text, None, "not a raster"),
    "cut-off": (_cut_off, None, "cannot be read"),
    "picture": (
        lambda path: write(path, np.stack([ONES] * 3).astype("uint8"), photometric="RGB"),
        None,
        r"3 bands .*: 1 \(red, uint8\), 2 \(green, uint8\), 3 \(blue, uint8\)",
    ),
    "no-such-band": (lambda path: write(path, ONES), 2, r"no band 2; it holds 1 \(gray, float32\)"),
    "band-zero": (lambda path: write(path, ONES), 0, "no band 0"),
    "complex": (lambda path: write(path, ONES.astype("complex64")), None, "complex numbers"),
    "palette": (_palette, None, "holds colours"),
    "not-georeferenced": (lambda path: write(path, ONES, None), None, "not georeferenced"),
    "no-area": (
        lambda path: write(path, ONES, (1.0, 2.0, 3.0, 2.0, 4.0, 5.0)),
        None,
        "without an area",
    ),
    "scale-zero": (lambda path: write(path, ONES, scale=0.0), None, "scale 0.0"),
    "source-gone": (_gone, None, "gone.tif"),
}


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning:rasterio")
@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_used_is_refused_in_one_error(
    case: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Each bad file gives one error with file, reason and remedy; nothing is printed, no warning leaks."""
    make, band, reason = REFUSED[case]
    path = make(tmp_path / "a.tif")
    capfd.readouterr()
    with pytest.raises(FormatError, match=reason) as caught:
        open_elevation_raster(path, band).patch(0, 0, 2, 2)
    assert caught.value.where == str(path)
    assert caught.value.remedy
    assert capfd.readouterr() == ("", "")


def test_damage_inside_names_file_and_cells(tmp_path: Path) -> None:
    """A file that opens but whose cells are damaged fails at the window, whose rows and columns it names."""
    path = write(tmp_path / "a.tif", cell_heights(), compress="deflate", blockysize=1)
    content = bytearray(path.read_bytes())
    with rasterio.open(path) as made:
        first = int(made.get_tag_item("BLOCK_OFFSET_0_60", dm="TIFF", bidx=1))
    content[first : first + 40] = b"\xff" * 40
    path.write_bytes(bytes(content))
    with open_and_close(path) as surface:
        assert np.isfinite(surface.patch(10, 10, 3, 3).values).all()
        with pytest.raises(FormatError, match=r"rows 59 to 61, columns 4 to 6") as caught:
            surface.patch(59, 4, 3, 3)
    assert caught.value.where == str(path)


# ---------------------------------------------------------------- resources and surroundings


def test_only_the_window_is_read(tmp_path: Path) -> None:
    """From a raster of 40 GB (sparse), a window comes back at once and in little memory."""
    path, rows = tmp_path / "a.tif", 100_000
    profile = {
        "driver": "GTiff",
        "dtype": "float32",
        "count": 1,
        "height": rows,
        "width": rows,
        "transform": rasterio.Affine(*NORTH_UP),
        "nodata": -9999.0,
        "tiled": True,
        "BIGTIFF": "YES",
        "SPARSE_OK": "TRUE",
    }
    with rasterio.open(path, "w", **profile) as out:
        out.write(ONES[:3, :3], 1, window=rasterio.windows.Window(70_000, 50_000, 3, 3))
    with open_and_close(path) as surface:
        np.testing.assert_array_equal(surface.patch(50_000, 70_000, 3, 3).values, ONES[:3, :3])
        assert np.isnan(surface.patch(5, 5, 3, 3).values).all()


def test_few_files_are_open_at_a_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Thousands of tiles do not exhaust the system: the longest unused are closed and opened again."""
    monkeypatch.setattr(raster, "MAX_OPEN", 3)
    surfaces = [open_elevation_raster(write(tmp_path / f"{i}.tif", ONES + i)) for i in range(8)]
    for _ in range(2):
        for i, surface in enumerate(surfaces):
            assert surface.patch(0, 0, 1, 1).values[0, 0] == 101.5 + i
            assert sum(one.is_open for one in surfaces) <= 3
    for surface in surfaces:
        surface.close()
        surface.close()
    assert not any(surface.is_open for surface in surfaces)


def test_another_programs_proj_folder_does_no_harm(tmp_path: Path) -> None:
    """PROJ_DATA, PROJ_LIB and GDAL_DATA of another program are cleared and told; the CRS is read whole."""
    path = write(tmp_path / "a.tif", ONES, crs="EPSG:25832")
    (tmp_path / "proj.db").write_bytes(b"of another program")
    foreign = {name: str(tmp_path) for name in ("PROJ_DATA", "PROJ_LIB", "GDAL_DATA")}
    code = (
        "import os, sys, pathlib\n"
        "from accuracy.formats.raster import foreign_proj_environment, open_elevation_raster\n"
        "assert foreign_proj_environment() == {}\n"
        "surface = open_elevation_raster(pathlib.Path(sys.argv[1]))\n"
        "print(surface.info.crs_evidence[0].wkt)\n"
        "print(sorted(foreign_proj_environment().items()))\n"
        "print([name for name in ('PROJ_DATA', 'PROJ_LIB', 'GDAL_DATA') if name in os.environ])\n"
    )
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code, str(path)],
        env={**os.environ, **foreign},
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).resolve().parents[2],
    )
    assert 'ID["EPSG",25832]' in done.stdout
    assert str(sorted(foreign.items())) in done.stdout
    assert done.stdout.splitlines()[-1] == "[]"


# ---------------------------------------------------------------- real files


@pytest.mark.shared_data
def test_real_odd_rasters_are_answered(
    shared_data: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """The odd files of the corpus open with their facts or are refused with one error (its README)."""
    folder = shared_data / "dem"
    for name, band, reason in (
        ("autzen-height.tif", None, r"3 bands .*1 \(red, uint8\)"),
        ("autzen-height.tif", 1, "not georeferenced"),
        ("all-nodata.tif", None, "4 bands"),
        ("corrupt.tif", None, "3 bands"),
        ("README.md", None, "not a raster"),
    ):
        with pytest.raises(FormatError, match=reason) as caught:
            open_elevation_raster(folder / name, band)
        assert name in str(caught.value.where)
    corrupt = open_elevation_raster(folder / "corrupt.tif", band=1)
    with pytest.raises(FormatError, match="rows 600 to 602, columns 600 to 602"):
        corrupt.patch(600, 600, 3, 3)
    corrupt.close()
    assert capfd.readouterr() == ("", "")


@pytest.mark.shared_data
@pytest.mark.parametrize(
    ("name", "shape", "cell", "valid", "lowest", "highest", "crs"),
    [
        (
            "bcts-als/bcts_dsm_5m.tif",
            (213, 42),
            5.0,
            8338,
            326.54998779296875,
            418.4599914550781,
            "3005",
        ),
        ("dem/luxembourg_elev.tif", (90, 95), 0.00833333, 4608, 141.0, 547.0, "4326"),
        ("dem/texas_dem_3s.tif", (359, 367), 0.000833333, 131753, 147.0, 298.0, "4326"),
        ("dem/float_nan.tif", (2, 3), 100.0, 5, -1.8799999952316284, 1.409999966621399, None),
        ("dem/float_raster_with_nodata.tif", (12, 13), 500.0, 98, 0.0, 0.25, ""),
        ("dem/rotated.tif", (15, 10), 20.0, 150, 0.0, 149.0, None),
        ("dem/test_esri_wkt.tif", (2, 2), 10.0, 4, 1.0, 4.0, ""),
        (
            *("dem/derived_autzen_ground_10ft.tif", (57, 118), 10.0, 4284),
            *(406.42999267578125, 433.7900085449219, ""),
        ),
        (
            *("dem/derived_lambert93_ground_2m_compound.tif", (186, 176), 2.0, 21108),
            *(99.69999694824219, 118.25, "5698"),
        ),
    ],
)
def test_real_rasters_read_as_recorded(
    shared_data: Path,
    name: str,
    shape: tuple[int, int],
    cell: float,
    valid: int,
    lowest: float,
    highest: float,
    crs: str | None,
) -> None:
    """Size, valid cells, extremes and CRS are those recorded beside the files (README of the corpus)."""
    with open_and_close(shared_data / name) as surface:
        values = surface.patch(0, 0, *surface.shape).values
        info = surface.info
    assert surface.shape == shape
    assert info.cell_size is not None
    assert info.cell_size[0] == pytest.approx(cell, abs=1e-8)
    assert int(np.isfinite(values).sum()) == valid
    assert (np.nanmin(values), np.nanmax(values)) == (lowest, highest)
    if crs is None:
        assert info.crs_evidence == ()
    else:
        assert f'ID["EPSG",{crs}' in (info.crs_evidence[0].wkt or "")
