"""Every real file through the inspection, held against what was read of it independently."""

from __future__ import annotations

import json
import re
from pathlib import Path

import laspy
import numpy as np
import pytest

from accuracy.errors import AccuracyError
from accuracy.inspection import inspect_file
from accuracy.inspection.record import Inspection, PointCounts, as_data
from accuracy.reports.inspection_text import render

pytestmark = pytest.mark.shared_data

FOLDERS = (
    "autzen-feet",
    "bcts-als",
    "checkpoints-sxb",
    "copc",
    "dem",
    "forest-plots",
    "france-lambert93",
    "las-formats",
    "malformed-odd",
    "newmexico-ftus",
    "proj-grids",
)
CLOUDS = tuple(f for f in FOLDERS if f not in ("checkpoints-sxb", "dem", "proj-grids"))
#: Names that laspy and this tool give otherwise: the authority's name stands for a system that says it.
OTHER_NAMES = {"lone-star.copc.laz", "test_epsg_4047.las"}


def inspected(path: Path) -> Inspection | None:
    """Inspect; None where the file cannot be read, which must be one of our errors."""
    try:
        return inspect_file(path)
    except AccuracyError as error:
        told = error
    assert path.name in str(told)
    assert told.remedy
    return None


def rows(shared_data: Path, folder: str, head: str) -> list[list[str]]:
    """Rows of the README's table that begins with this head (read with laspy or rasterio, see there)."""
    lines = (shared_data / folder / "README.md").read_text("utf-8").splitlines()
    try:
        start = next(at for at, line in enumerate(lines) if line.startswith(head)) + 2
    except StopIteration:
        return []
    taken = []
    for line in lines[start:]:
        if not line.startswith("|"):
            break
        taken.append([cell.strip() for cell in line.strip("|").split(" | ")])
    return taken


@pytest.mark.parametrize("folder", FOLDERS)
def test_no_file_leads_to_a_traceback(shared_data: Path, folder: str) -> None:
    """Whatever a file holds: one error of ours, or a record that prints and goes into JSON."""
    for path in sorted((shared_data / folder).iterdir()):
        found = inspected(path) if path.suffix != ".md" else None
        if found is None:
            continue
        text = render(found)
        assert max(map(len, text.splitlines())) <= 100, path.name
        json.dumps(as_data(found), allow_nan=False)
        for concern in found.concerns:
            assert concern.consequence
            assert concern.finding.message


@pytest.mark.parametrize("folder", CLOUDS)
def test_clouds_are_counted_as_laspy_counts_them(shared_data: Path, folder: str) -> None:
    """Points, classes, flight lines, extent and name of the system: the README's table."""
    table = rows(shared_data, folder, "| file | bytes |")
    assert table
    compared = 0
    for name, _, format_, points, *more in table:
        found = inspected(shared_data / folder / name)
        if len(more) < 5:  # laspy did not return
            assert found is None, name
            continue
        classes, lines, extent, heights, *crs = more
        if "read fails" in points or "header says" in points:
            assert found is None or found.problem, name
            continue
        if found is None:
            assert "1.5" in format_, name  # LAS 1.5 is not read here, and says so
            continue
        cloud = found.cloud
        assert cloud is not None
        counts = cloud.counts
        assert counts is not None, name
        assert counts.points == cloud.points == int(points)
        assert f"{cloud.about.version} / {cloud.about.point_format}" == format_
        for told, ours in ((classes, counts.classes), (lines, counts.lines)):
            if told.startswith("{"):
                assert {str(k): v for k, v in ours.items()} == json.loads(told), name
            else:
                assert len(ours) == int(told.split()[0]), name
        if extent != "-":
            assert found.bounds is not None
            west, south, east, north = map(float, extent.replace(" .. ", " ").split())
            assert found.bounds == pytest.approx((west, south, east, north), rel=0, abs=0.0501)
            low, high = map(float, heights.split(".."))
            assert counts.minimum is not None
            assert counts.maximum is not None
            assert (counts.minimum[2], counts.maximum[2]) == pytest.approx(
                (low, high), rel=0, abs=0.00501
            )
        told_name = re.split(r" \[|;| \(VLR", crs[0])[0]
        if not told_name.startswith(("none", "CRS parse error")) and name not in OTHER_NAMES:
            assert found.reference.name.startswith(told_name), name
        compared += 1
    assert compared >= len(table) // 2


@pytest.mark.parametrize(
    "name",
    [
        "bcts-als/bcts_1.laz",
        "copc/1.2-with-color.copc.laz",
        "forest-plots/Topography.laz",
        "las-formats/simple1_1.las",
        "france-lambert93/crop.las",
    ],
)
def test_returns_flags_and_times_are_those_of_laspy(shared_data: Path, name: str) -> None:
    """Counts by return, flags and the span of times, point by point through laspy."""
    found = inspect_file(shared_data / name)
    las = laspy.read(shared_data / name)
    assert found.cloud is not None
    counts = found.cloud.counts
    assert isinstance(counts, PointCounts)
    numbers, how_many = np.unique(np.asarray(las.return_number), return_counts=True)
    assert dict(counts.by_return) == dict(zip(numbers.tolist(), how_many.tolist(), strict=True))
    assert counts.withheld == np.count_nonzero(las.withheld)
    assert counts.synthetic == np.count_nonzero(las.synthetic)
    assert (counts.time_minimum, counts.time_maximum) == (las.gps_time.min(), las.gps_time.max())
    about = found.cloud.about
    assert about.software == las.header.generating_software.rstrip("\0").strip()
    # day 0 is no day; laspy takes it for the last of the year before, and year 0 for year 1
    if about.day_of_year and about.year >= 1980:
        assert about.created == las.header.creation_date
    header = list(las.header.number_of_points_by_return)[: len(about.by_return)]
    assert list(about.by_return) == [int(v) for v in header]
    assert about.time_kind == (
        "adjusted-standard" if las.header.global_encoding.gps_time_type.value else "gps-week"
    )


@pytest.mark.parametrize("folder", ["dem", "bcts-als"])
def test_rasters_are_read_as_rasterio_reads_them(shared_data: Path, folder: str) -> None:
    """Size, type, no data, cell, bounds, valid cells and range: the README's table."""
    compared = 0
    for name, _, size, nodata, cell, bounds, valid, span, _ in (
        row for row in rows(shared_data, folder, "| raster | bytes |") if len(row) == 9
    ):
        if "fails" in size:
            found = inspected(shared_data / folder / name)
            assert found is None or found.problem
            continue
        found = inspect_file(shared_data / folder / name)
        assert found.raster is not None
        about = found.raster.about
        cols, count_rows, bands = map(int, size.split()[0].split("x"))
        assert (about.shape, len(about.bands)) == ((count_rows, cols), bands), name
        assert about.bands[0].dtype == size.split()[1]
        ours = about.bands[0].nodata
        assert (str(ours) if ours is not None else "None") == nodata or (
            ours is not None and abs(float(nodata) / ours - 1) < 1e-6
        )
        if found.raster.cell_size is None:
            assert name == "autzen-height.tif"  # a picture without georeferencing
            continue
        assert found.raster.cell_size[0] == pytest.approx(float(cell), rel=1e-5), name
        assert found.bounds is not None
        if name not in (
            "rotated.tif",
            "float_nan.tif",
        ):  # rasterio's bounds are not the outline there
            assert found.bounds == pytest.approx(tuple(map(float, bounds.split())), rel=1e-5), name
        assert found.raster.counted[0].valid == int(valid), name
        if span != "-":
            low, high = map(float, span.strip("()").split(","))
            assert (found.raster.counted[0].minimum, found.raster.counted[0].maximum) == (low, high)
        compared += 1
    assert compared


def codes(found: Inspection) -> dict[str, str]:
    """Code -> heaviest severity of what looks wrong."""
    told: dict[str, str] = {}
    for concern in found.concerns:
        told.setdefault(concern.finding.code, concern.finding.severity.value)
    return told


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        (
            "copc/1.2-with-color.copc.laz",
            {"inspect-place": "blocking", "inspect-mixed-units": "note"},
        ),
        ("copc/simple_with_page.copc.laz", {"inspect-place": "blocking"}),
        (
            "copc/ellipsoid.copc.laz",
            {"inspect-stretched": "warning", "crs-realisation-unknown": "warning"},
        ),
        (
            "copc/lone-star.copc.laz",
            {
                "inspect-place": "blocking",
                "crs-geographic": "blocking",
                "inspect-no-ground": "warning",
                "inspect-no-lines": "warning",
            },
        ),
        (
            "forest-plots/MixedConifer.laz",
            {"inspect-normalised": "warning", "inspect-no-lines": "warning"},
        ),
        (
            "malformed-odd/test_epsg_4326_axis.las",
            {"inspect-axes": "warning", "crs-geographic": "blocking"},
        ),
        (
            "malformed-odd/spurious.las",
            {"inspect-stray": "warning", "file-bounds-differ": "warning"},
        ),
        ("malformed-odd/gps-time-nan.las", {"inspect-time": "warning"}),
        ("malformed-odd/nocrs.las", {"crs-unknown": "warning", "crs-vertical-unknown": "warning"}),
        ("malformed-odd/no-points.las", {"inspect-empty": "blocking"}),
        ("malformed-odd/malformed_extrabytes.las", {"file-bounds-differ": "note"}),
        (
            "autzen-feet/autzen_trim.laz",
            {"inspect-feet": "note", "crs-vertical-unknown": "warning"},
        ),
        ("autzen-feet/autzen-dd.las", {"crs-geographic": "blocking"}),
        ("newmexico-ftus/4_6_crop.las", {"crs-contradiction": "warning", "inspect-time": "note"}),
        ("las-formats/file_with_both_wkt_and_geotiff_vlrs.las", {"crs-contradiction": "blocking"}),
        ("las-formats/pdrf6-1.4.laz", {"inspect-heights": "warning", "inspect-coarse": "warning"}),
        ("dem/all-nodata.tif", {"inspect-empty": "blocking", "inspect-band": "warning"}),
        ("dem/autzen-height.tif", {"inspect-unusable": "blocking"}),
        ("dem/corrupt.tif", {"inspect-unreadable": "blocking"}),
        ("dem/luxembourg_elev.tif", {"crs-geographic": "warning", "inspect-coarse": "warning"}),
        ("dem/rotated.tif", {"inspect-cells": "note", "file-suspect-values": "warning"}),
        ("checkpoints-sxb/sxb-control.txt", {"inspect-order": "blocking"}),
        ("checkpoints-sxb/sxb_residuals.csv", {"inspect-columns": "blocking"}),
    ],
)
def test_the_traps_of_the_real_files_are_seen(
    shared_data: Path, name: str, expected: dict[str, str]
) -> None:
    """What each README says is wrong with its files is told."""
    assert expected.items() <= codes(inspect_file(shared_data / name)).items()


@pytest.mark.parametrize(
    "name",
    [
        "bcts-als/bcts_1.laz",
        "autzen-feet/autzen-utm.las",
        "autzen-feet/autzen_clip_native.copc.laz",
        "forest-plots/Topography.laz",
        "france-lambert93/las_with_several_extra_byte_bloc.laz",
        "bcts-als/bcts_dsm_5m.tif",
        "dem/derived_lambert93_ground_2m_compound.tif",
    ],
)
def test_sound_files_raise_no_suspicion(shared_data: Path, name: str) -> None:
    """Files whose coordinates are what they say: none of the suspicions about place, axes and heights."""
    wrong = {
        "inspect-place",
        "inspect-axes",
        "inspect-stretched",
        "inspect-normalised",
        "inspect-heights",
        "inspect-stray",
        "inspect-no-data",
        "file-bounds-differ",
        "inspect-empty",
    }
    assert not wrong & set(codes(inspect_file(shared_data / name)))


def test_feet_on_metres_are_named_as_the_way_out(shared_data: Path) -> None:
    """The Oregon file fits its area only if its numbers are feet: that is said, with the place as declared."""
    found = inspect_file(shared_data / "copc" / "1.2-with-color.copc.laz")
    [told] = [c for c in found.concerns if c.finding.code == "inspect-place"]
    assert "if the coordinates were feet" in told.finding.message
    assert "49.36°N" in told.finding.message


def test_every_source_stands_beside_the_others(shared_data: Path) -> None:
    """GeoKeys with their numbers and the WKT record of one file, each read alone, then both together."""
    name = "las-formats/file_with_both_wkt_and_geotiff_vlrs.las"
    found = inspect_file(shared_data / name)
    by_where = {source.evidence.where: source for source in found.sources}
    keys, wkt = by_where["VLR LASF_Projection 34735"], by_where["VLR LASF_Projection 2112"]
    assert keys.evidence.geokeys[3072] == 32104
    assert keys.evidence.geokeys[3076] == 9003
    assert keys.reference is not None
    assert keys.reference.horizontal == "EPSG:32104, in US survey feet"
    assert wkt.reference is not None
    assert wkt.reference.horizontal == "EPSG:6880"
    assert found.reference.horizontal == "EPSG:6880"  # the header names WKT
    text = render(found)
    assert "3072 projected CRS = 32104" in text
    assert "names WKT" in text


def test_density_of_the_national_survey_tile(shared_data: Path) -> None:
    """45 points per square metre on 20 m x 20 m, as its README counts."""
    found = inspect_file(shared_data / "france-lambert93" / "faceraster_numerical_imprecision.laz")
    assert found.cloud is not None
    assert found.cloud.counts is not None
    density = found.cloud.counts.density
    assert density is not None
    assert density.per_m2 == pytest.approx(18074 / 400.0, rel=0.05)
