"""Heights of neighbourhoods from the job to the result, and the documents that want them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from jobs import (
    CRS,
    plane_checkpoints,
    write_job,
    write_plane_cloud,
    write_points_table,
)
from support import assert_metres

from accuracy.cli import run
from accuracy.job import load_job
from accuracy.pipeline import verify
from accuracy.reports.as_html import render as render_html
from accuracy.result import Result, parse_result, result_schema

JAPAN = {"dataset": "cloud", "standard": "japan-2025-uav-laser", "product": "ground data"}
KOREA = {"dataset": "cloud", "standard": "korea-dem-2026", "product": "raw points"}
NDEP = {"dataset": "cloud", "standard": "ndep-2004", "fva_m": 0.5, "cva_m": 0.5}
MEAN = {"height": "neighbourhood-mean", "design_anps_m": 0.4, "neighbourhood_across_spacings": 5}


def job_at(
    folder: Path,
    dataset: dict[str, Any],
    claims: tuple[dict[str, Any], ...] = (),
    rows: list[list[object]] | None = None,
) -> Path:
    """Write a job on the tilted plane, 2.5 points per square metre."""
    write_plane_cloud(folder / "a.laz", wkt=None)
    write_points_table(folder / "points.csv", rows or plane_checkpoints(error_m=(0.02, -0.02)))
    cloud = {"name": "cloud", "kind": "point-cloud", "files": ["a.laz"], "crs": CRS}
    return write_job(
        folder, datasets=[cloud | dataset], claims=claims, checkpoints={"survey_rmse_v_m": 0.002}
    )


def verified(path: Path) -> Result:
    result = verify(load_job(path))
    data = json.loads(result.to_json())
    jsonschema.validate(data, result_schema())
    again = parse_result(result.to_json(), "again")
    assert again.datasets[0].neighbourhood == result.datasets[0].neighbourhood
    assert again.to_json() == result.to_json()
    return result


def test_a_plane_gives_the_residuals_that_were_put_in(tmp_path: Path) -> None:
    """The plane of a neighbourhood is exact on a plane; the result says of what, and holds the support."""
    path = job_at(tmp_path, {"height": "plane", "neighbourhood_across_m": 3.0})
    result = verified(path)
    (dataset,) = result.datasets
    assert dataset.height_method == "plane"
    assert dataset.max_circumradius_m is None
    up_m = [row.residual.up_m for row in dataset.residuals if row.residual]
    assert_metres(up_m, np.resize([0.02, -0.02], 36), within_m=2e-7)
    written = json.loads(result.to_json())["datasets"][0]
    assert written["neighbourhood"] == {"shape": "circle", "across_m": 3.0, "least_points": 6}
    support = written["residuals"][0]["support"]
    assert support["points"] >= 6
    assert support["spread_m"] > 0.0
    assert support["centroid_m"] > 0.0
    assert "plane of a circle of diameter 3.000 m, at least 6 ground points" in render_html(
        result
    ).decode("utf-8")


def test_a_result_of_other_heights_knows_nothing_of_neighbourhoods(tmp_path: Path) -> None:
    """A triangulation writes the record that it wrote before."""
    written = json.loads(verified(job_at(tmp_path, {})).to_json())["datasets"][0]
    assert "neighbourhood" not in written
    assert {"spread_m", "centroid_m"} & set(written["residuals"][0]["support"]) == set()


def test_a_mean_differs_from_the_plane_by_its_middle(tmp_path: Path) -> None:
    """On the plane of 5 % and 2 % a mean is off by no more than the slope times the middle's distance."""
    path = job_at(tmp_path, MEAN, rows=plane_checkpoints())
    rows = verified(path).datasets[0].residuals
    off = [
        (abs(row.residual.up_m or 0.0), row.support.centroid_m or 0.0)
        for row in rows
        if row.residual is not None and row.residual.up_m is not None and row.support
    ]
    assert len(off) >= 30
    assert max(size for size, _ in off) > 0.001
    assert all(size <= np.hypot(0.05, 0.02) * middle + 1e-6 for size, middle in off)


@pytest.mark.parametrize(
    ("dataset", "claim", "verdict", "says"),
    [
        (MEAN, JAPAN, "passes", ""),
        (MEAN | {"neighbourhood_shape": "square"}, JAPAN, "passes", ""),
        (MEAN | {"neighbourhood_across_spacings": 4}, JAPAN, "no-statement", "4 times the design"),
        ({}, JAPAN, "no-statement", "height = tin"),
        ({"height": "nearest"}, JAPAN, "no-statement", "height = nearest"),
        ({}, KOREA, "no-statement", "height = tin"),
        (MEAN, KOREA, "passes", ""),
    ],
)
def test_documents_that_prescribe_a_neighbourhood(
    tmp_path: Path, dataset: dict[str, Any], claim: dict[str, Any], verdict: str, says: str
) -> None:
    """From the job's keys to the verdict, its reason and its remedy."""
    result = verified(job_at(tmp_path, dataset, (claim,)))
    assert result.verdict == verdict
    assert says in (result.datasets[0].claims[0].reason or "")
    told = [f for f in result.findings if f.code == "claim-height-procedure"]
    assert bool(told) == (verdict == "no-statement" or claim is KOREA)
    if verdict == "no-statement":
        assert 'set height = "neighbourhood-mean"' in (told[0].remedy or "")


def test_the_command_line_ends_with_3_and_with_0(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without the neighbourhood there is no statement; what the remedy says gives one."""
    assert (
        run(["verify", str(job_at(tmp_path, {}, (JAPAN,))), "-q", "-o", str(tmp_path / "a")]) == 3
    )
    capsys.readouterr()
    path = job_at(tmp_path, MEAN, (JAPAN,))
    assert run(["verify", str(path), "-q", "-o", str(tmp_path / "b")]) == 0
    assert run(["compare", str(tmp_path / "a"), str(tmp_path / "b")]) in (0, 1, 3)
    assert "neighbourhood" in capsys.readouterr().out


def test_refused_places_are_listed_with_their_reason(tmp_path: Path) -> None:
    """At the edge of the data a neighbourhood lies to one side, too small ones hold too few points."""
    rows = plane_checkpoints()
    rows[0][1] = f"{412_039.975:.3f}"
    path = job_at(tmp_path, {"height": "plane", "neighbourhood_across_m": 5.0}, rows=rows)
    found = verified(path).datasets[0].residuals[0]
    assert (found.used, found.reason) == (False, "one-sided")
    assert "to one side of it" in found.detail
    small = job_at(tmp_path, {"height": "plane", "neighbourhood_across_m": 0.5}, rows=rows)
    reasons = {row.reason for row in verified(small).datasets[0].residuals if not row.used}
    assert "few-points" in reasons


def test_land_covers_of_the_table_give_an_sva_each(tmp_path: Path) -> None:
    """The column cover names them, in any spelling that the reader knows."""
    rows = plane_checkpoints(60, error_m=(0.01, -0.01))
    for i, row in enumerate(rows):
        row[4] = ("open", "Forested", "tall_weeds")[i % 3]
    (dataset,) = verified(job_at(tmp_path, {}, (NDEP,), rows)).datasets
    checks = {check.name: check for check in dataset.claims[0].checks}
    sva = {name.split(": ")[1]: c.n for name, c in checks.items() if name.startswith("SVA")}
    assert sva == {"forest": 20, "tall weeds and crops": 20}
