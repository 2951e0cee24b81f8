"""What the judge is given beside residuals: how heights were taken, and land covers by name."""

from __future__ import annotations

from pathlib import Path

import pytest
from jobs import CRS, plane_checkpoints, write_job, write_plane_cloud, write_points_table

from accuracy.job import load_job
from accuracy.pipeline import verify
from accuracy.recheck import recheck


@pytest.mark.parametrize("standard", ["ndep-2004", "fema-2003", "asprs-2024", "usgs-lbs-1.3"])
@pytest.mark.parametrize("height", ["tin", "nearest"])
def test_every_document_is_judged_again_alike(tmp_path: Path, standard: str, height: str) -> None:
    """Named land covers from the table, the height choice from the job: sound as written."""
    keys = {
        "ndep-2004": {"fva_m": 0.3, "cva_m": 0.4},
        "fema-2003": {"equivalent_contour": "2 ft"},
        "asprs-2024": {"vertical_class_cm": 5.0},
        "usgs-lbs-1.3": {"quality_level": "QL2"},
    }
    covers = ["open terrain", "forest", "brush", "tall weeds", "urban"]
    rows = plane_checkpoints(60, error_m=[0.02, -0.03, 0.05])
    for i, row in enumerate(rows):
        row[4] = covers[i % 5]
    write_plane_cloud(tmp_path / "a.laz", wkt=None)
    write_points_table(tmp_path / "points.csv", rows)
    job = write_job(
        tmp_path,
        datasets=[
            {
                "name": "cloud",
                "kind": "point-cloud",
                "files": ["a.laz"],
                "crs": CRS,
                "height": height,
            }
        ],
        claims=[{"dataset": "cloud", "standard": standard} | keys[standard]],
        checkpoints={"survey_rmse_v_m": 0.01},
    )
    result = verify(load_job(job))
    path = tmp_path / "job.accuracy" / "result.json"
    path.parent.mkdir()
    path.write_text(result.to_json(), "utf-8")
    assert [f.message for f in recheck(path).findings] == []
