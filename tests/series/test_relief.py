"""Which ground lies under which plan: jobs with a cloud, rasters and tables of invented places."""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
import rasterio
from jobs import CRS, EAST, NORTH, plane_checkpoints, plane_height, write_job, write_plane_cloud
from jobs import write_points_table as write_table
from matplotlib.image import imread
from support import assert_metres

from accuracy.job import load_job
from accuracy.pipeline import verify
from accuracy.result import Result, result_schema

FTUS = "EPSG:6407+6360"  # NAD83(2011) / Arizona Central (ft)... vertical in US survey feet (EPSG dataset)


def write_raster(path: Path, crs: str = CRS, cell: float = 0.5, nodata: bool = False) -> None:
    """Write the plane of the tests over 40 m by 40 m, with a bump so that there is something to see."""
    n = round(40 / cell)
    x = EAST + (np.arange(n) + 0.5) * cell
    y = NORTH + 40 - (np.arange(n) + 0.5) * cell
    east, north = np.meshgrid(x, y)
    z = plane_height(east, north)
    z += 3.0 * np.exp(-(((east - EAST - 30) / 3) ** 2 + ((north - NORTH - 10) / 3) ** 2))
    if nodata:
        z[:] = -9999.0
    transform = rasterio.Affine(cell, 0.0, EAST, 0.0, -cell, NORTH + 40)
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        dtype="float64",
        count=1,
        height=n,
        width=n,
        transform=transform,
        crs=crs,
        nodata=-9999.0,
    ) as out:
        out.write(z, 1)


CLOUD = {"name": "cloud", "kind": "point-cloud", "files": ["cloud.laz"], "crs": CRS}
RASTER = {"name": "ground", "kind": "raster", "files": ["dem.tif"], "crs": CRS}


def run(
    folder: Path, datasets: list[dict[str, Any]], *, raster: Mapping[str, Any] | None = None
) -> Result:
    """Verify a job of these datasets; its result is valid against the schema."""
    write_plane_cloud(folder / "cloud.laz", wkt=None)
    write_raster(folder / "dem.tif", **(raster or {}))
    write_table(folder / "points.csv", plane_checkpoints())
    result = verify(load_job(write_job(folder, datasets=datasets)))
    jsonschema.validate(json.loads(result.to_json()), result_schema())
    return result


def relief(result: Result, dataset: str) -> Mapping[str, Any]:
    found: Mapping[str, Any] = result.series[dataset]["plan"]["relief"]
    return found


def test_a_raster_lies_under_its_own_plan_and_the_clouds(tmp_path: Path) -> None:
    """One picture for both, which names whose ground it is; its hash is that of its bytes."""
    result = run(tmp_path, [CLOUD, RASTER])
    own, borrowed = relief(result, "ground"), relief(result, "cloud")
    assert own == borrowed
    assert own["of"] == "ground"
    assert list(result.side_files) == [own["file"]] == ["relief-1.png"]
    assert hashlib.sha256(result.side_files["relief-1.png"]).hexdigest() == own["sha256"]
    assert "side_files" not in result.to_json()
    assert_metres(own["box_m"], [EAST, NORTH, EAST + 40, NORTH + 40], within_m=1e-6)
    assert own["cell_m"] == 0.5


def test_the_bump_is_lit_from_the_north_west(tmp_path: Path) -> None:
    """Its side toward the light is lighter than the plane, the other darker; at its own place."""
    result = run(tmp_path, [RASTER])
    grey = np.asarray(imread(io.BytesIO(result.side_files["relief-1.png"]), format="png"))[..., 0]

    def at(east_m: float, north_m: float) -> float:
        return float(grey[int((40 - north_m) / 0.5), int(east_m / 0.5)])

    assert at(28.5, 11.5) > at(5.0, 35.0) > at(31.5, 8.5)


def test_a_cloud_alone_has_no_relief_and_says_why(tmp_path: Path) -> None:
    """A cloud is not read coarsely for the sake of a picture."""
    result = run(tmp_path, [CLOUD])
    assert relief(result, "cloud") == {
        "file": None,
        "why": "no raster of this job lies in the same plane",
    }
    assert result.side_files == {}


@pytest.mark.parametrize("other", ["EPSG:6342+5703", "EPSG:6341+6360"])
def test_only_a_raster_in_the_same_plane_is_borrowed(tmp_path: Path, other: str) -> None:
    """Another zone is another plane; another unit of height is the same."""
    result = run(tmp_path, [CLOUD, RASTER | {"crs": other}], raster={"crs": other})
    same_plane = other.startswith("EPSG:6341")
    assert (relief(result, "cloud")["file"] is not None) == same_plane


def test_ground_elsewhere_or_without_heights_is_said(tmp_path: Path) -> None:
    """No picture of nothing."""
    empty = run(tmp_path, [RASTER], raster={"nodata": True})
    assert relief(empty, "ground")["why"] == "ground has no heights around the points"
    write_table(tmp_path / "points.csv", [["A", EAST + 9000, NORTH, 100.0, "non-vegetated"]])
    write_raster(tmp_path / "dem.tif")
    away = verify(load_job(write_job(tmp_path, datasets=[RASTER])))
    assert relief(away, "ground")["why"] == "ground lies elsewhere"


def test_a_raster_that_cannot_be_read_for_the_picture_stops_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The picture is left out with its reason; the figures are there."""
    from accuracy.errors import FormatError
    from accuracy.formats.raster import ElevationRaster

    def broken(*_: object) -> object:
        raise FormatError("the cells cannot be read", where="dem.tif", remedy="copy it again")

    monkeypatch.setattr(ElevationRaster, "coarse", broken)
    result = run(tmp_path, [RASTER])
    assert relief(result, "ground")["why"] == "ground cannot be read"
    assert result.datasets[0].residuals[0].residual is not None


def test_the_same_inputs_give_the_same_picture(tmp_path: Path) -> None:
    """Byte for byte, so that the record's hash is the same too."""
    first = run(tmp_path, [RASTER])
    again = run(tmp_path, [RASTER])
    assert first.side_files == again.side_files
    assert first.series == again.series
