"""Measuring: units of what carries a value, and what is not compared."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from jobs import CRS, EAST, NORTH, plane_checkpoints, write_job, write_points_table
from support import assert_metres
from test_pipeline import wkt_of

from accuracy.formats.las_write import write_points
from accuracy.formats.raster_write import write_raster
from accuracy.job import load_job
from accuracy.measuring import measure
from accuracy.pipeline import verify
from accuracy.preparation import Prepared, prepare, quiet
from accuracy.residuals import ResidualRow
from accuracy.sampling import Support

FOOT, FTUS = 0.3048, 1200 / 3937
#: Metres in one unit of plane and height. NAD83(2011) / Montana in metres (6514) and international feet (6515),
#: NAVD88 in metres (5703) and US survey feet (6360).
SYSTEMS = {
    "EPSG:6514+5703": (1.0, 1.0),
    "EPSG:6514+6360": (1.0, FTUS),
    "EPSG:6515+5703": (FOOT, 1.0),
    "EPSG:6515+6360": (FOOT, FTUS),
}
EAST_M, NORTH_M = 600_000.0, 200_000.0
#: Slope of the plane 0.24 x + 0.07 y (gradient exactly 0.25).
SLOPE_DEG = np.degrees(np.arctan(0.25))


def surface_m(x_m: np.ndarray, y_m: np.ndarray, bumps_m: np.ndarray | float) -> np.ndarray:
    return 900.0 + 0.24 * (x_m - EAST_M) + 0.07 * (y_m - NORTH_M) + bumps_m


def supports(folder: Path, code: str, kind: str, bump_m: float) -> list[Support]:
    """Support at nine points of one surface, written in the units of a system."""
    metres_h, metres_v = SYSTEMS[code]
    random = np.random.default_rng(5)
    grid = np.arange(41.0)
    x_m, y_m = (EAST_M + axis.ravel() for axis in np.meshgrid(grid, grid))
    y_m = y_m - EAST_M + NORTH_M
    bumps = bump_m * random.choice([-1.0, 1.0], x_m.size)
    if kind == "point-cloud":
        x_m, y_m = (axis + random.uniform(-0.3, 0.3, axis.size) for axis in (x_m, y_m))
        write_points(
            folder / "a.laz",
            points={
                "x": x_m / metres_h,
                "y": y_m / metres_h,
                "z": surface_m(x_m, y_m, bumps) / metres_v,
                "classification": np.full(x_m.size, 2, np.uint8),
            },
            point_format=6,
            version="1.4",
            scale=(0.0001, 0.0001, 0.0001),
            offset=(EAST_M / metres_h, NORTH_M / metres_h, 0.0),
            wkt=wkt_of(code),
        )
    else:
        heights = np.flipud(surface_m(x_m, y_m, bumps).reshape(41, 41)) / metres_v
        corner = ((EAST_M - 0.5) / metres_h, (NORTH_M + 40.5) / metres_h)
        cell = 1.0 / metres_h
        transform = (cell, 0.0, corner[0], 0.0, -cell, corner[1])
        write_raster(folder / "a.tif", heights, transform, wkt_of(code))
    places = [(12.3 + 7 * i, 11.6 + 8 * j) for i in range(3) for j in range(3)]
    table = [
        [
            f"P{i}",
            repr((EAST_M + a) / metres_h),
            repr((NORTH_M + b) / metres_h),
            900 / metres_v,
            "nva",
        ]
        for i, (a, b) in enumerate(places)
    ]
    write_points_table(folder / "points.csv", table)
    job = write_job(
        folder,
        checkpoints={"crs": code},
        datasets=[{"name": "d", "kind": kind, "files": ["a.*"]}],
    )
    rows = verify(load_job(job)).datasets[0].residuals
    found = [row.support for row in rows if row.support is not None and row.used]
    assert len(found) == 9
    return found


@pytest.mark.parametrize("code", SYSTEMS)
@pytest.mark.parametrize("kind", ["point-cloud", "raster"])
def test_the_support_of_a_plane_is_in_metres_and_degrees(
    tmp_path: Path, kind: str, code: str
) -> None:
    """Closed form: gradient 0.25, no roughness, in every mixture of units of plane and height."""
    for support in supports(tmp_path, code, kind, 0.0):
        assert support.slope_deg is not None
        assert support.roughness_m is not None
        assert_metres(support.slope_deg, SLOPE_DEG, within_m=0.02)
        assert_metres(support.roughness_m, 0.0, within_m=2e-4)


@pytest.mark.parametrize("code", list(SYSTEMS)[1:])
@pytest.mark.parametrize("kind", ["point-cloud", "raster"])
def test_support_does_not_depend_on_units(tmp_path: Path, kind: str, code: str) -> None:
    """A rough surface written in metres and in other units has the same support."""
    for folder in (tmp_path / "metres", tmp_path / "other"):
        folder.mkdir()
    wanted = supports(tmp_path / "metres", "EPSG:6514+5703", kind, 0.05)
    for its, other in zip(wanted, supports(tmp_path / "other", code, kind, 0.05), strict=True):
        assert its.points == other.points
        for name in ("slope_deg", "roughness_m", "circumradius_m", "nearest_m", "cell_m"):
            value = getattr(its, name)
            assert (value is None) == (getattr(other, name) is None)
            if value is not None:
                assert_metres(getattr(other, name), value, within_m=0.02 if "deg" in name else 3e-4)
        assert (its.roughness_m or 0.0) > 0.01
    assert any(support.circumradius_m or support.cell_m for support in wanted)


def prepared_positions(folder: Path) -> Prepared:
    """Make a table of measured positions that is 30 mm off in each direction."""
    points = plane_checkpoints(5)
    write_points_table(folder / "points.csv", points)
    moved = [[row[0], *(f"{float(str(v)) + 0.03:.3f}" for v in row[1:4])] for row in points]
    write_points_table(folder / "m.csv", moved, "id,easting,northing,height")
    job = write_job(
        folder,
        datasets=[{"name": "t", "kind": "measured-points", "files": ["m.csv"], "crs": CRS}],
    )
    return prepare(load_job(job))


def rows_of(prepared: Prepared, **plan: str) -> tuple[ResidualRow, ...]:
    (item,) = prepared.deliverables
    changed = replace(item, plan=replace(item.plan, **plan))
    return measure(changed, prepared.table.points, prepared.roles, quiet).rows


def test_heights_that_refer_to_something_else_are_not_compared(tmp_path: Path) -> None:
    """Positions: only the horizontal part stands; where it differs, too, nothing does."""
    prepared = prepared_positions(tmp_path)
    for row in rows_of(prepared):
        assert row.residual is not None
        assert_metres(row.residual.up_m or 0.0, 0.03, within_m=1e-3)
    for row in rows_of(prepared, vertical="differs"):
        assert row.residual is not None
        assert row.residual.up_m is None
        assert row.native["measured_height"] is None
        assert_metres(row.residual.east_m or 0.0, 0.03, within_m=1e-6)
    for row in rows_of(prepared, horizontal="differs"):
        assert (row.residual, row.reason) == (None, "frame")


def test_a_surface_with_other_heights_has_no_residuals(tmp_path: Path) -> None:
    """A cloud whose heights refer to something else: no residual, and the reason is the heights."""
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(0.0, 40.0), np.arange(0.0, 40.0)))
    write_points(
        tmp_path / "a.laz",
        points={
            "x": EAST + x,
            "y": NORTH + y,
            "z": np.full(x.size, 100.0),
            "classification": np.full(x.size, 2, np.uint8),
        },
        point_format=6,
        version="1.4",
        scale=(0.001, 0.001, 0.001),
        offset=(EAST, NORTH, 0.0),
        wkt=wkt_of(CRS),
    )
    write_points_table(tmp_path / "points.csv", plane_checkpoints(4))
    job = write_job(tmp_path, datasets=[{"name": "c", "kind": "point-cloud", "files": ["a.laz"]}])
    prepared = prepare(load_job(job))
    assert all(row.used for row in rows_of(prepared))
    for row in rows_of(prepared, vertical="differs"):
        assert (row.residual, row.used, row.reason) == (None, False, "vertical-frame")
    for row in rows_of(prepared, horizontal="differs"):
        assert (row.residual, row.reason) == (None, "frame")


@pytest.mark.parametrize(
    ("shift", "told"),
    [
        ((0.0, 0.0, 0.0), {"horizontal", "vertical"}),
        ((0.0, 0.0, 0.001), {"horizontal"}),
        ((0.001, 0.0, 0.0), {"vertical"}),
        ((0.0, 0.001, 0.001), set()),
    ],
)
def test_agreement_to_the_last_digit_is_wondered_at(
    tmp_path: Path, shift: tuple[float, ...], told: set[str]
) -> None:
    """No measurement gives exactly zero at three points and more; fewer may be chance."""
    points = [[row[0], *(f"{float(str(v)):.3f}" for v in row[1:4])] for row in plane_checkpoints(4)]
    write_points_table(tmp_path / "points.csv", points, "id,easting,northing,height")
    for n, wanted in ((4, told), (3, told), (2, set())):
        copied = [
            [row[0], *(f"{float(v) + by:.3f}" for v, by in zip(row[1:], shift, strict=True))]
            for row in points[:n]
        ]
        write_points_table(tmp_path / "m.csv", copied, "id,easting,northing,height")
        job = write_job(
            tmp_path,
            datasets=[{"name": "t", "kind": "measured-points", "files": ["m.csv"], "crs": CRS}],
        )
        prepared = prepare(load_job(job))
        found = measure(
            prepared.deliverables[0], prepared.table.points, prepared.roles, quiet
        ).findings
        codes = {f.component for f in found if f.code == "measured-no-differences"}
        assert codes == wanted
