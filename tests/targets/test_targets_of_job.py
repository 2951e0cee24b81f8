"""Targets of a job, the whole way: simulated deliverables that are off by known amounts."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from target_site import make_site, target_job

from accuracy import load_job, verify
from accuracy.errors import JobError
from accuracy.findings import Severity
from accuracy.reports import as_html, as_summary
from accuracy.result import Result, result_schema
from accuracy.sampling.targets import Centre
from accuracy.sampling.targets.lines import between_lines, lines_chance
from accuracy.targets.measuring import USUAL_APART_M

CLOUD_M, PHOTO_M = (0.0, 0.020), (0.040, 0.0)


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Result:
    """Verify a cloud 2 cm north, an orthophoto 4 cm east, one point without a target; colours in step."""
    folder = tmp_path_factory.mktemp("site")
    make_site(folder, cloud_shift_m=CLOUD_M, photo_shift_m=PHOTO_M, bare=(3,), count=6)
    claims = ({"dataset": "cloud", "standard": "asprs-2024", "horizontal_class_cm": 10.0},)
    return verify(load_job(target_job(folder, claims=claims)))


def test_positions_become_residuals(measured: Result) -> None:
    """East and north residuals of cloud and orthophoto are the shifts that were put in, within their errors."""
    for dataset, shift_m, within_m in (
        (measured.datasets[0], CLOUD_M, 0.010),
        (measured.datasets[1], PHOTO_M, 0.003),
    ):
        rows = {row.id: row for row in dataset.residuals}
        assert rows.pop("T04").residual is None or dataset.name == "cloud"
        assert len(rows) == 5
        for row in rows.values():
            assert row.used
            assert row.residual is not None
            assert row.measured is not None
            assert row.surveyed.east_m is not None
            assert row.residual.east_m is not None
            assert row.residual.north_m is not None
            assert abs(row.residual.east_m - shift_m[0]) < within_m
            assert abs(row.residual.north_m - shift_m[1]) < within_m
            assert row.measured.east_m == row.surveyed.east_m + row.residual.east_m


def test_the_refused_target_keeps_its_height(measured: Result) -> None:
    """Where no target is, the cloud gives a height only; the orthophoto gives nothing, and says why."""
    cloud, photo = ({row.id: row for row in d.residuals}["T04"] for d in measured.datasets)
    assert cloud.used
    assert cloud.residual is not None
    assert cloud.residual.east_m is None
    assert cloud.residual.up_m is not None
    assert not photo.used
    assert photo.reason == "no-target"
    assert photo.detail
    assert {f.dataset for f in measured.findings if f.code == "target-refused"} == {
        "cloud",
        "ortho",
    }


def test_horizontal_claim_is_judged_by_targets(measured: Result) -> None:
    """A horizontal claim on a cloud has its figure from the targets: 2 cm north."""
    (claim,) = measured.datasets[0].claims
    values = [check.value for check in claim.checks if check.value is not None]
    assert any(abs(value - 0.020) < 0.006 for value in values)


def test_deliverables_against_each_other(measured: Result) -> None:
    """The orthophoto lies 4 cm east and 2 cm south of the cloud, and the finding says so."""
    pairs = {pair["component"]: pair for pair in measured.targets["together"]["pairs"]}
    assert abs(pairs["east"]["mean_m"] - 0.040) < 4.0 * pairs["east"]["sigma_m"]
    assert abs(pairs["north"]["mean_m"] + 0.020) < 4.0 * pairs["north"]["sigma_m"]
    assert pairs["east"]["differs"]
    assert sum(f.code == "together-differs" for f in measured.findings) == 2
    told = {
        (value["dataset"], point["id"])
        for point in measured.targets["together"]["points"]
        for value in point["values"]
        if value["sigma_east_m"] is not None
    }
    assert len(told) == 10


def test_colours_in_step_are_not_told(measured: Result) -> None:
    """Colours that lie where the intensities lie give no finding."""
    assert not [f for f in measured.findings if f.code == "together-colour-offset"]


def test_record_fits_schema_and_shows(measured: Result) -> None:
    """The record follows its schema, comes back the same, and page and summary show the tables."""
    data = json.loads(measured.to_json())
    jsonschema.validate(data, result_schema())
    summary = as_summary.render(measured).decode("utf-8")
    assert "The same places in all deliverables" in summary
    assert "refused" in summary
    page = as_html.render(measured).decode("utf-8")
    assert 'id="targets"' in page
    assert "Deliverables against each other" in page


def test_without_targets_nothing_is_added(tmp_path: Path) -> None:
    """A job without the sections has no `targets` in its record, and no finding on them."""
    make_site(tmp_path, count=3)
    only = ({"name": "cloud", "kind": "point-cloud", "files": ["cloud.laz"]},)
    result = verify(load_job(target_job(tmp_path, targets={}, datasets=only)))
    assert "targets" not in json.loads(result.to_json())
    assert not [f for f in result.findings if f.code.startswith(("target-", "together-"))]
    assert all(row.residual and row.residual.east_m is None for row in result.datasets[0].residuals)


def test_lines_that_disagree_and_colours_aside(tmp_path: Path) -> None:
    """A second line 4 cm east and colours 6 cm north are told; positions are the mean of both lines."""
    make_site(
        tmp_path, second_line_shift_m=(0.04, 0.0), colour_shift_m=(0.0, 0.06), count=6, seed=4
    )
    only = ({"name": "cloud", "kind": "point-cloud", "files": ["cloud.laz"]},)
    result = verify(load_job(target_job(tmp_path, datasets=only)))
    (told,) = [f for f in result.findings if f.code == "target-lines-disagree"]
    assert told.severity is Severity.WARNING
    assert 0.03 < told.evidence["apart_m"] < 0.05
    entries = result.targets["measured"]["cloud"]
    for entry in entries:
        assert abs(entry["east_m"] - 0.02) < 0.010
        assert entry["sigma_east_m"] > 0.010  # what the lines leave open
    colour = result.targets["colour"]["cloud"]
    assert abs(colour["north_m"] - 0.06) < 4.0 * colour["sigma_north_m"]


def test_targets_from_the_table(tmp_path: Path) -> None:
    """Pattern and size may stand in the table, row by row; rows without are left alone."""
    make_site(tmp_path, count=3)
    table = tmp_path / "points.csv"
    lines = table.read_text("utf-8").splitlines()
    more = ["target_pattern,target_size_m", "checkerboard,0.5", "none,", ","]
    table.write_text(
        "\n".join(f"{a},{b}" for a, b in zip(lines, more, strict=True)) + "\n", "utf-8"
    )
    only = ({"name": "ortho", "kind": "orthophoto", "files": ["ortho.tif"]},)
    result = verify(load_job(target_job(tmp_path, targets={}, datasets=only)))
    assert [e["id"] for e in result.targets["measured"]["ortho"]] == ["T01"]
    assert [row.used for row in result.datasets[0].residuals] == [True, False, False]


@pytest.mark.parametrize(
    ("section", "word"),
    [
        ({"pattern": "ring", "size_m": 0.5}, "inner_m"),
        ({"pattern": "ring", "size_m": 0.5, "inner_m": 0.6}, "below size_m"),
        ({"pattern": "star", "size_m": 0.5}, "checkerboard"),
        ({"pattern": "disc", "size_m": -1.0}, "size_m"),
        ({"pattern": "disc", "size_m": 0.5, "serch_m": 1.0}, "search_m"),
    ],
)
def test_wrong_sections_are_refused(tmp_path: Path, section: dict[str, Any], word: str) -> None:
    """What is wrong in [targets] is told with its key."""
    (tmp_path / "cloud.laz").write_bytes(b"x")
    (tmp_path / "ortho.tif").write_bytes(b"x")
    (tmp_path / "points.csv").write_text("id,x,y,z\nA,1,2,3\n", "utf-8")
    with pytest.raises(JobError) as told:
        load_job(target_job(tmp_path, targets=section))
    assert word in " ".join(f"{p.where} {p.found} {p.allowed}" for p in told.value.problems)


def centre(east_m: float, sigma_m: float) -> Centre:
    """Give a centre on the line to the east."""
    return Centre(east_m, 0.0, sigma_m, sigma_m, 0.0, None, 0.02, 20.0, 0.9, 40)


def test_chance_of_lines_is_chi_square() -> None:
    """The probability that lines agree is the upper tail of chi-square, as scipy.stats has it."""
    from scipy import stats

    for apart_m, count in ((0.004, 2), (0.010, 2), (0.006, 3)):
        lines = [centre(apart_m * i, 0.002) for i in range(count)]
        squared = sum(((apart_m * (i - (count - 1) / 2)) / 0.002) ** 2 for i in range(count))
        expected = stats.chi2.sf(squared, 2 * (count - 1))
        assert math.isclose(lines_chance(lines) or 0.0, expected, rel_tol=1e-9)
    assert lines_chance([centre(0.0, 0.002)]) is None


def test_lines_far_apart_give_their_mean() -> None:
    """Lines 4 cm apart give the middle, known to 2 cm; lines that agree leave the common fit alone."""
    together = centre(0.001, 0.001)
    apart = between_lines(together, [centre(0.0, 0.002), centre(0.04, 0.002)])
    assert math.isclose(apart.east_m, 0.02)
    assert np.isclose(
        apart.sigma_east_m, math.hypot(0.02, 0.002 / math.sqrt(2.0)), rtol=0, atol=1e-9
    )
    assert between_lines(together, [centre(0.0, 0.002), centre(0.003, 0.002)]) is together


def test_lines_that_wander_as_usual_are_no_warning(tmp_path: Path) -> None:
    """A second line 12 mm aside is more than chance at single targets; a sound flight wanders so much."""
    make_site(tmp_path, second_line_shift_m=(0.012, 0.0), count=6, seed=5)
    only = ({"name": "cloud", "kind": "point-cloud", "files": ["cloud.laz"]},)
    result = verify(load_job(target_job(tmp_path, datasets=only)))
    (told,) = [f for f in result.findings if f.code == "target-lines-disagree"]
    assert told.severity is Severity.NOTE
    assert 0.008 < told.evidence["apart_m"] < USUAL_APART_M
