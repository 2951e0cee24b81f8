"""The documents beyond the first four: limits on the very edge, vocabulary, and the tightest class."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from evidence import make_evidence
from support import assert_metres

from accuracy.standards.judge import judge
from accuracy.standards.judge.tightest import Tightest, tightest
from accuracy.standards.library import list_standards, load_standard
from accuracy.stats import ESTIMATORS

#: Heights of one size: RMSE, largest error and 90 % count are that size.
EDGE: list[tuple[str, dict[str, Any], float, bool]] = [
    ("usgs-lbs-2023a", {"quality_level": "QL2"}, 0.1, True),
    ("usgs-lbs-1.2", {"quality_level": "QL3"}, 0.2, True),
    ("usgs-lbs-2024a", {"quality_level": "QL0"}, 0.05, True),
    ("asprs-2023", {"vertical_class_cm": 5.0}, 0.05, True),
    ("japan-2025-uav-laser", {"product": "ground data"}, 0.1, True),
    ("japan-2025-airborne-laser", {"test": "all points"}, 0.25, False),
    ("korea-dem-2026", {"product": "raw points"}, 0.25, False),
    ("england-ea-lidar", {"product": "lidar"}, 0.15, True),
    ("nmas-1947", {"contour_interval_m": 0.5}, 0.25, True),
]


@pytest.mark.parametrize(("id_", "claim", "limit_m", "at_limit"), EDGE)
def test_value_equal_to_the_limit_and_one_step_beside(
    id_: str, claim: dict[str, Any], limit_m: float, at_limit: bool
) -> None:
    """A value on the limit passes or not by the document's operator; one unit in the last place above never."""
    standard = load_standard(id_)
    above, below = math.nextafter(limit_m, 9.0), limit_m * 0.999
    for up_m, passes in ((limit_m, at_limit), (above, False), (below, True)):
        evidence = make_evidence(60, vegetated=0, up_m=up_m, survey_v_m=0.0, kind="raster")
        assert (judge(standard, claim, evidence).verdict == "passes") is passes, up_m


def test_vocabulary_does_not_cross_over() -> None:
    """Documents that know RMSE only say nothing of 95 %; those of 95 % know no RMSE_V or RMSE_H."""
    for standard in list_standards():
        words = " ".join(
            [m.name for m in (*standard.requirements, *standard.reports)]
            + [w.text + w.vegetated_text for w in standard.wordings]
        )
        if standard.id in ("asprs-2023", "asprs-2024", "usgs-lbs-2024a", "usgs-lbs-2025a"):
            assert "95" not in words
        else:
            assert "RMSE_V" not in words
            assert "RMSEV" not in words


def test_editions_name_themselves() -> None:
    """The statement of one version of Edition 2 never names the other."""
    for id_, own, other in (("asprs-2023", "(2023)", "(2024)"), ("asprs-2024", "(2024)", "(2023)")):
        words = " ".join(w.text for w in load_standard(id_).wordings)
        assert own in words
        assert other not in words


def test_tightest_class_is_the_smallest_that_passes() -> None:
    """It passes, and one step of 1 mm tighter does not; what is needed is told."""
    evidence = make_evidence(30, vegetated=0, up_m=0.0423, survey_v_m=0.01)
    standard = load_standard("asprs-2024")
    found = next(t for t in tightest(standard, evidence) if t.key == "vertical_class_cm")
    expected = math.ceil(math.hypot(0.0423, 0.01) * 1000) / 10
    assert found.value == pytest.approx(expected, abs=1e-12)
    assert judge(standard, {found.key: found.value}, evidence).verdict == "passes"
    assert found.tighter is not None
    assert judge(standard, {found.key: found.tighter}, evidence).verdict == "fails"
    assert any("smaller errors" in text for text in found.needed)


def needed(found: tuple[Tightest, ...], key: str) -> str:
    return "; ".join(next(t for t in found if t.key == key).needed)


def test_what_the_next_class_needs() -> None:
    """Too few points, a survey too coarse, a bias: each is named."""
    few = tightest(load_standard("asprs-2024"), make_evidence(12, vegetated=0, survey_v_m=0.01))
    assert next(t for t in few if t.key == "vertical_class_cm").value is None
    assert "18 more" in needed(few, "vertical_class_cm")
    coarse = tightest(
        load_standard("usgs-lbs-2025a"), make_evidence(30, vegetated=0, up_m=0.01, survey_v_m=0.04)
    )
    assert coarse[0].value == "QL1"
    assert coarse[0].tighter == "QL0"
    assert "better survey" in needed(coarse, "quality_level")


@pytest.mark.shared_data
def test_ndep_example(shared_data: Path) -> None:
    """FVA, CVA and VVA of the sixty points in the notes on NDEP 2004 come out to a micrometre."""
    folder = shared_data.parent / "standards"
    rows = (folder / "ndep-example-points.csv").read_text("utf-8").splitlines()[1:]
    cover = np.array([row.split(",")[1] for row in rows])
    dz_m = np.array([float(row.split(",")[2]) for row in rows])
    opened = cover == "1 open terrain"
    assert_metres(ESTIMATORS["accuracy_95"]((dz_m[opened],)), 0.100739, within_m=5e-7)
    assert_metres(ESTIMATORS["p95_abs"]((dz_m,)), 0.315250, within_m=5e-7)
    assert_metres(ESTIMATORS["p95_abs"]((dz_m[~opened],)), 0.323350, within_m=5e-7)
