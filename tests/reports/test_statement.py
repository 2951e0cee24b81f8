"""statement.txt: plain text that nobody's names can forge, with every file by its hash."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from jobs import CRS, plane_checkpoints, write_job, write_plane_cloud, write_points_table

from accuracy.job import load_job
from accuracy.pipeline import verify
from accuracy.reports.as_statement import render
from accuracy.result import Result


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    """Verify a small job with one claim."""
    folder = tmp_path_factory.mktemp("job")
    write_plane_cloud(folder / "a.laz", wkt=None)
    write_points_table(folder / "points.csv", plane_checkpoints(24, error_m=(0.01, -0.01)))
    job = write_job(
        Path(folder),
        checkpoints={"survey_rmse_v_m": 0.01},
        datasets=[{"name": "c", "kind": "point-cloud", "files": ["a.laz"], "crs": CRS}],
        claims=[{"dataset": "c", "standard": "nssda-1998"}],
    )
    return verify(load_job(job))


@pytest.mark.parametrize("bad", ["\x1b[2J", "\u202e", "\u2066", "\x9b", "\x07", "\r"])
def test_no_control_or_direction_character_gets_through(result: Result, bad: str) -> None:
    """In title, dataset name, claim title and every line of a statement; the lines stay lines."""
    (dataset,) = result.datasets
    (claim,) = dataset.claims
    bent = replace(
        claim, title=f"title{bad}x", statement=f"first{bad}line\nsecond line{bad}\nthird line"
    )
    odd = replace(
        result,
        job=result.job | {"job": {"title": f"job{bad}y"}},
        datasets=(replace(dataset, name=f"cloud{bad}z", claims=(bent,)),),
    )
    text = render(odd).decode("utf-8")
    assert bad not in text
    lines = text.split("\n")
    for wanted in ("first\ufffdline", "second line\ufffd", "third line", "job\ufffdy"):
        shown = wanted if len(bad) == 1 else wanted.replace("\ufffd", "\ufffd[2J")
        assert shown in lines
    assert any(line.startswith("cloud\ufffd") and "title\ufffd" in line for line in lines)


def test_a_clients_file_stands_with_its_hash(result: Result) -> None:
    """Whoever reads the statement can find the specification it was judged by."""
    table = next(item for item in result.inputs if item.role == "checkpoints")
    own = replace(table, role="standard", path="own.toml", sha256="cd" * 32)
    text = render(replace(result, inputs=(*result.inputs, own))).decode("utf-8")
    assert f"{'cd' * 32}  own.toml" in text.splitlines()
    assert "Client's own" not in render(result).decode("utf-8")
