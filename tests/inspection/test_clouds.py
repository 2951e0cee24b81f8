"""Small clouds whose facts are known exactly, and one for each thing that can be wrong."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
from numpy.typing import NDArray

from accuracy.findings import Severity
from accuracy.formats.las_write import write_points
from accuracy.inspection import bulk, cloud, inspect_file
from accuracy.inspection.record import Concern, Inspection, PointCounts

#: Half a metre from point to point, 4 points per square metre, on a square of 40 m.
SIDE, STEP_M = 80, 0.5
UTM = pyproj.CRS("EPSG:6341+5703").to_wkt("WKT1_GDAL")
FEET = pyproj.CRS("EPSG:2903+6360").to_wkt("WKT1_GDAL")


def grid(
    east: float = 412_300.0, north: float = 4_541_200.0, step: float = STEP_M
) -> dict[str, Any]:
    """Points on a regular grid, heights 1300 to 1301, everything else sound."""
    at = np.arange(SIDE) * step
    x, y = (axis.ravel() for axis in np.meshgrid(east + at, north + at))
    n = x.size
    return {
        "x": x,
        "y": y,
        "z": 1300.0 + np.linspace(0.0, 1.0, n),
        "classification": np.full(n, 2),
        "point_source_id": np.where(np.arange(n) % 4 == 0, 12, 11),
        "gps_time": 400_000.0 + np.arange(n) * 0.01,
        "return_number": np.ones(n, dtype=int),
        "number_of_returns": np.ones(n, dtype=int),
    }


def inspected(path: Path, points: dict[str, Any], **options: Any) -> Inspection:
    """Write and inspect."""
    near = tuple(float(np.floor(np.median(points[a]))) if len(points[a]) else 0.0 for a in "xyz")
    settings: dict[str, Any] = {"wkt": UTM, "offset": near} | options
    write_points(path, points=points, **settings)
    return inspect_file(path)


def counts_of(found: Inspection) -> PointCounts:
    assert found.cloud is not None
    assert found.cloud.counts is not None
    return found.cloud.counts


def told(found: Inspection, code: str) -> list[Concern]:
    return [concern for concern in found.concerns if concern.finding.code == code]


def patched(path: Path, layout: str, offset: int, *values: Any) -> Inspection:
    """Overwrite header bytes and inspect."""
    data = bytearray(path.read_bytes())
    struct.pack_into(layout, data, offset, *values)
    path.write_bytes(data)
    return inspect_file(path)


@pytest.mark.parametrize("suffix", [".las", ".laz"])
@pytest.mark.parametrize("point_format", [1, 3, 6, 7])
def test_a_sound_cloud_is_told_exactly(tmp_path: Path, suffix: str, point_format: int) -> None:
    """Counts, bounds, classes, lines, times and density of a regular grid: closed form, nothing wrong."""
    found = inspected(tmp_path / f"sound{suffix}", grid(), point_format=point_format)
    n = SIDE * SIDE
    counts = counts_of(found)
    assert found.cloud is not None
    assert (counts.points, found.cloud.points) == (n, n)
    assert counts.classes == {2: n}
    assert counts.lines == {11: n * 3 // 4, 12: n // 4}
    assert counts.by_return == {1: n}
    assert (counts.withheld, counts.synthetic, counts.overlap) == (0, 0, 0)
    assert counts.time_minimum == 400_000.0
    assert counts.time_maximum == pytest.approx(400_000.0 + (n - 1) * 0.01, rel=0, abs=1e-6)
    assert found.bounds == pytest.approx(
        (412_300.0, 4_541_200.0, 412_339.5, 4_541_239.5), rel=0, abs=1e-6
    )
    assert counts.density is not None
    assert counts.density.inner
    # cells of 2.56 m hold 5 or 6 points a side, so the mean is within (5.5 / 5.12)^2 of the truth
    assert counts.density.per_m2 == pytest.approx(1 / STEP_M**2, rel=0.05)
    assert found.cloud.about.compression == ("LAZ" if suffix == ".laz" else "none")
    assert {concern.finding.code for concern in found.concerns} == {"crs-geoid-unnamed"}
    assert not found.blocked


def test_flags_returns_and_missing_times_are_counted(tmp_path: Path) -> None:
    """Flags of single points, second returns, and times that are no number."""
    points = grid()
    n = points["x"].size
    points |= {
        "withheld": np.arange(n) < 7,
        "synthetic": np.arange(n) < 5,
        "overlap": np.arange(n) < 3,
        "return_number": np.where(np.arange(n) < 100, 2, 1),
        "number_of_returns": np.full(n, 2),
    }
    points["gps_time"] = np.where(np.arange(n) < 11, np.nan, points["gps_time"])
    found = inspected(tmp_path / "flags.laz", points)
    counts = counts_of(found)
    assert (counts.withheld, counts.synthetic, counts.overlap) == (7, 5, 3)
    assert counts.by_return == {1: n - 100, 2: 100}
    assert counts.time_missing == 11
    [concern] = told(found, "inspect-time")
    assert concern.finding.severity is Severity.WARNING
    assert "11 of" in concern.finding.message


def test_times_of_the_other_kind_are_noticed(tmp_path: Path) -> None:
    """Bit 0 of the global encoding against the values (LAS 1.4 R15, global encoding; from memory)."""
    path = tmp_path / "week.las"
    assert not told(inspected(path, grid()), "inspect-time")
    found = patched(path, "<H", 6, 0x11)  # now the header says adjusted standard time
    assert "look like seconds of the GPS week" in told(found, "inspect-time")[0].finding.message
    points = grid()
    points["gps_time"] += 300_000_000.0
    found = inspected(path, points)
    assert "says seconds of the GPS week" in told(found, "inspect-time")[0].finding.message
    assert not told(patched(path, "<H", 6, 0x11), "inspect-time")


def test_counts_and_box_of_the_header_are_held_against_the_points(tmp_path: Path) -> None:
    """By return, legacy against 64-bit count, and heights beyond the box."""
    path = tmp_path / "header.las"
    inspected(path, grid())
    n = SIDE * SIDE
    found = patched(path, "<15Q", 255, n - 1, 1, *[0] * 13)
    assert any("by return" in c.finding.message for c in told(found, "file-count-differs"))
    inspected(path, grid())
    found = patched(path, "<I", 107, 5)
    assert any("legacy" in c.finding.message for c in told(found, "file-count-differs"))
    inspected(path, grid())
    found = patched(path, "<2d", 211, 1300.2, 1300.0)  # greatest and least z
    [concern] = told(found, "file-bounds-differ")
    assert "greatest z is 1300.2, that of the points 1301" in concern.finding.message
    inspected(path, grid())
    found = patched(path, "<d", 179, 412_310.0)  # greatest x
    assert told(found, "file-bounds-differ")
    assert found.bounds is not None
    assert found.bounds[2] == pytest.approx(412_339.5, rel=0, abs=1e-6)  # of the points


def test_nothing_declared_is_told_with_what_it_costs(tmp_path: Path) -> None:
    """No record of a reference system: neither part is known; the job may still supply it."""
    found = inspected(tmp_path / "bare.las", grid(), wkt=None)
    assert found.sources == ()
    assert told(found, "crs-unknown")[0].finding.severity is Severity.WARNING
    [vertical] = told(found, "crs-vertical-unknown")
    assert "no vertical statement" in vertical.consequence
    assert "3.28" in vertical.consequence  # not even the unit is known
    assert not found.blocked


@pytest.mark.parametrize(
    ("code", "kind"), [("EPSG:6341", "none"), ("EPSG:6341+5703", "orthometric")]
)
def test_no_vertical_system_means_no_vertical_statement(
    tmp_path: Path, code: str, kind: str
) -> None:
    """Horizontal only, or compound."""
    wkt = pyproj.CRS(code).to_wkt("WKT1_GDAL")
    found = inspected(tmp_path / "part.las", grid(), wkt=wkt)
    assert found.reference.vertical_kind == kind
    assert bool(told(found, "crs-vertical-unknown")) == (kind == "none")


def test_feet_say_what_the_other_foot_would_change(tmp_path: Path) -> None:
    """1,639,640 ft times 2 parts per million (exactly 1200/3937 against 0.3048) is 3.28 ft or 1.00 m."""
    points = grid(1_639_600.0, 1_454_500.0)
    points["z"] += 5000.0
    found = inspected(tmp_path / "feet.las", points, wkt=FEET)
    [concern] = told(found, "inspect-feet")
    assert "up to 1.00 m off" in concern.consequence
    assert not told(found, "inspect-mixed-units")
    density = counts_of(found).density
    assert density is not None
    assert density.per_square_unit == pytest.approx(4.0, rel=0.05)
    assert density.per_m2 == pytest.approx(density.per_square_unit / (1200 / 3937) ** 2, rel=1e-12)


def test_heights_in_another_unit_than_the_plane_are_told(tmp_path: Path) -> None:
    """Metres and US survey feet in one compound system: sound, but easily misread."""
    wkt = pyproj.CRS("EPSG:6341+6360").to_wkt("WKT1_GDAL")
    found = inspected(tmp_path / "mixed.las", grid(), wkt=wkt)
    assert "US survey feet" in told(found, "inspect-mixed-units")[0].finding.message
    assert not found.blocked


@pytest.mark.parametrize(
    ("code", "expected"),
    [("EPSG:9000", "crs-epoch-missing"), ("EPSG:4326", "crs-realisation-unknown")],
)
def test_frames_that_are_not_fixed_are_told(tmp_path: Path, code: str, expected: str) -> None:
    """ITRF2014 needs an epoch; "WGS 84" names no realisation (EPSG registry)."""
    wkt = pyproj.CRS(code).to_wkt("WKT1_GDAL")
    points = grid(-83.4, 39.0, step=1e-5)
    found = inspected(tmp_path / "frame.las", points, wkt=wkt, scale=(1e-7, 1e-7, 0.001))
    assert told(found, expected)[0].finding.severity is Severity.WARNING


def test_metres_declared_on_feet_are_blocking(tmp_path: Path) -> None:
    """Coordinates in feet under a system in metres fall out of its area, and into it as feet."""
    wkt = pyproj.CRS("EPSG:2991").to_wkt("WKT1_GDAL")  # Oregon, Lambert, metres
    lon, lat = -123.07, 44.05
    x, y = pyproj.Transformer.from_crs(4269, 2991, always_xy=True).transform(lon, lat)
    sound = inspected(tmp_path / "metres.las", grid(x, y), wkt=wkt)
    assert not told(sound, "inspect-place")
    found = inspected(tmp_path / "feet.las", grid(x / 0.3048, y / 0.3048), wkt=wkt)
    [concern] = told(found, "inspect-place")
    assert concern.finding.severity is Severity.BLOCKING
    assert "if the coordinates were feet" in concern.finding.message
    assert found.blocked


def test_feet_declared_on_metres_are_blocking(tmp_path: Path) -> None:
    """The other way round: New Mexico's false origin in feet, coordinates in metres."""
    wkt = pyproj.CRS("EPSG:2903").to_wkt("WKT1_GDAL")
    found = inspected(
        tmp_path / "metres.las", grid(1_639_600.0 * 0.3048, 1_454_500.0 * 0.3048), wkt=wkt
    )
    [concern] = told(found, "inspect-place")
    assert "if the coordinates were metres" in concern.finding.message
    assert concern.finding.severity is Severity.BLOCKING


def test_swapped_axes_are_noticed(tmp_path: Path) -> None:
    """Northing stored as x in a plane, latitude stored as x in degrees."""
    points = grid()
    points["x"], points["y"] = points["y"], points["x"]
    found = inspected(tmp_path / "swapped.las", points)
    [concern] = told(found, "inspect-axes")
    assert concern.finding.severity is Severity.BLOCKING
    degrees = grid(39.0, -83.4, step=1e-5)
    wgs = pyproj.CRS("EPSG:4326").to_wkt("WKT1_GDAL")
    found = inspected(tmp_path / "deg.las", degrees, wkt=wgs, scale=(1e-7, 1e-7, 0.001))
    assert told(found, "inspect-axes")[0].finding.severity is Severity.WARNING
    beyond = grid(39.0, -101.4, step=1e-5)
    found = inspected(tmp_path / "beyond.las", beyond, wkt=wgs, scale=(1e-7, 1e-7, 0.001))
    assert told(found, "inspect-axes")[0].finding.severity is Severity.BLOCKING
    right = grid(-83.4, 39.0, step=1e-5)
    found = inspected(tmp_path / "right.las", right, wkt=wgs, scale=(1e-7, 1e-7, 0.001))
    assert not told(found, "inspect-axes")
    assert told(found, "crs-geographic")[0].finding.severity is Severity.BLOCKING
    assert counts_of(found).density is None


def test_a_plane_made_for_looking_at_is_not_for_measuring(tmp_path: Path) -> None:
    """Web Mercator stretches by 1/cos(latitude) on a sphere: 1.31 at 40.7 degrees (closed form)."""
    wkt = pyproj.CRS("EPSG:3857").to_wkt("WKT1_GDAL")
    found = inspected(tmp_path / "web.las", grid(-8_242_600.0, 4_966_600.0), wkt=wkt)
    [concern] = told(found, "inspect-stretched")
    factor = float(concern.finding.message.split(" times those")[0].rsplit(" ", 1)[1])
    assert factor == pytest.approx(
        1.0 / np.cos(np.radians(40.69)), abs=0.005
    )  # ellipsoid: within 0.3 %


def test_geocentric_coordinates_must_lie_on_the_earth(tmp_path: Path) -> None:
    """A point of the earth's surface, and one deep under it."""
    wkt = pyproj.CRS("EPSG:4978").to_wkt("WKT1_GDAL")
    points = grid(1_130_000.0, -4_830_000.0)
    points["z"] += 3_994_000.0
    found = inspected(tmp_path / "surface.las", points, wkt=wkt)
    assert told(found, "crs-geographic")[0].finding.severity is Severity.BLOCKING
    assert not told(found, "inspect-place")
    found = inspected(tmp_path / "deep.las", grid(), wkt=wkt)
    assert told(found, "inspect-place")[0].finding.severity is Severity.BLOCKING


def test_no_ground_and_no_lines_are_told(tmp_path: Path) -> None:
    """Without class 2 no checkpoint gets a height; without ids lines cannot be told apart."""
    points = grid()
    points["classification"], points["point_source_id"] = (np.zeros(SIDE**2, int),) * 2
    found = inspected(tmp_path / "plain.las", points)
    assert "ground_classes" in told(found, "inspect-no-ground")[0].consequence
    assert told(found, "inspect-no-lines")


def test_normalised_heights_are_a_suspicion_only(tmp_path: Path) -> None:
    """Ground near zero under plants of several metres; a flat shore without plants is no suspect."""
    points = grid()
    n = points["x"].size
    ground = np.arange(n) % 3 > 0
    points["z"] = np.where(ground, 0.05 * np.sin(np.arange(n)), 12.0)
    points["classification"] = np.where(ground, 2, 5)
    found = inspected(tmp_path / "normal.las", points)
    [concern] = told(found, "inspect-normalised")
    assert concern.finding.severity is Severity.WARNING
    assert "suspicion" in concern.finding.message
    points["z"] = np.where(ground, points["z"], 0.1)
    assert not told(inspected(tmp_path / "shore.las", points), "inspect-normalised")


@pytest.mark.parametrize(
    ("heights", "expected"),
    [
        ((-900.0, -800.0), True),
        ((8000.0, 9500.0), True),
        ((0.0, 0.0), True),
        ((-400.0, 8800.0), False),
    ],
)
def test_heights_that_no_ground_has(
    tmp_path: Path, heights: tuple[float, float], expected: bool
) -> None:
    """The lowest shore lies near -430 m, the highest summit near 8849 m (common knowledge)."""
    points = grid()
    points["z"] = np.linspace(*heights, points["x"].size)
    assert bool(told(inspected(tmp_path / "z.las", points), "inspect-heights")) == expected


def test_stray_points_are_counted_but_not_if_noise(tmp_path: Path) -> None:
    """Two points a kilometre away and one high up; as noise or withheld they are dealt with already."""
    points = grid()
    points["x"] = points["x"].copy()
    points["x"][:2] += 1000.0
    points["z"][2] += 300.0
    counts = counts_of(inspected(tmp_path / "stray.las", points))
    assert (counts.stray, counts.stray_vertical) == (2, 1)
    points["withheld"] = np.arange(SIDE**2) < 2
    points["classification"][2] = 7
    found = inspected(tmp_path / "noise.las", points)
    assert not told(found, "inspect-stray")


def test_coarse_storage_says_what_rounding_adds(tmp_path: Path) -> None:
    """Steps of 0.1 m: standard deviation of rounding 0.1 / sqrt(12) = 0.029 m (closed form)."""
    found = inspected(tmp_path / "coarse.las", grid(), scale=(0.1, 0.1, 0.1))
    assert "0.029 m" in told(found, "inspect-coarse")[0].consequence


def test_an_empty_cloud_blocks(tmp_path: Path) -> None:
    """No points: no height for anyone, and no division by zero."""
    nothing: dict[str, NDArray[np.int64]] = {axis: np.zeros(0, dtype=int) for axis in "xyz"}
    found = inspected(tmp_path / "empty.las", nothing)
    assert told(found, "inspect-empty")
    assert found.bounds is None
    assert found.blocked


def test_large_files_are_counted_only_when_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beyond the limit the header alone is told, and how to get the rest."""
    monkeypatch.setattr(cloud, "MOST_POINTS", 100)
    path = tmp_path / "large.laz"
    found = inspected(path, grid())
    assert found.cloud is not None
    assert found.cloud.counts is None
    assert "--full" in (found.cloud.not_counted or "")
    assert not told(found, "inspect-no-ground")  # not known
    assert counts_of(inspect_file(path, full=True)).points == SIDE**2


def test_density_does_not_depend_on_how_much_is_held(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Doubling cells to bound memory changes the cells, hardly the density."""
    path = tmp_path / "held.las"
    at_ease = counts_of(inspected(path, grid())).density
    monkeypatch.setattr(bulk, "MOST_CELLS", 60)
    held = counts_of(inspect_file(path)).density
    assert at_ease is not None
    assert held is not None
    assert held.cell_m is not None
    assert at_ease.cell_m is not None
    assert held.cell_m > at_ease.cell_m
    assert held.per_m2 == pytest.approx(at_ease.per_m2, rel=0.1)


def test_holes_do_not_lower_the_density(tmp_path: Path) -> None:
    """Half of the box is empty: the box would say 2 points per square metre, covered ground has 4."""
    points = grid()
    kept = (points["x"] < 412_310.0) | (points["x"] > 412_330.0)
    density = counts_of(
        inspected(tmp_path / "hole.las", {k: v[kept] for k, v in points.items()})
    ).density
    assert density is not None
    assert density.per_m2 == pytest.approx(4.0, rel=0.1)
    assert density.covered_m2 == pytest.approx(20.0 * 40.0, rel=0.35)  # cells at edges count whole


def test_a_wkt_record_and_geokeys_that_contradict_are_shown_apart(tmp_path: Path) -> None:
    """Each is read alone; the contradiction blocks."""
    keys = {1024: 1, 3072: 26912, 3076: 9001}
    found = inspected(tmp_path / "both.las", grid(), geokeys=keys)
    alone = {s.evidence.source: s.reference.horizontal for s in found.sources if s.reference}
    assert alone == {"wkt-record": "EPSG:6341", "geokeys": "EPSG:26912"}
    assert told(found, "crs-contradiction")[0].finding.severity is Severity.BLOCKING
    assert found.blocked
