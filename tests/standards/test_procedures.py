"""Heights taken otherwise than the document takes them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from evidence import make_evidence

from accuracy.findings import Severity
from accuracy.reports.explain_text import render_explained
from accuracy.standards.judge import Evidence, Judgement, TakenHeights, judge
from accuracy.standards.library import load_standard

MEAN = "neighbourhood-mean"
GROUND = {"product": "ground data"}
RAW = {"product": "raw points"}
ALL = {"test": "all points"}
QL1 = {"quality_level": "QL1"}


def decided(
    id_: str, claim: dict[str, Any], heights: TakenHeights | None, **more: Any
) -> Judgement:
    evidence = make_evidence(40, up_m=0.01, survey_v_m=0.001, heights=heights, **more)
    return judge(load_standard(id_), claim, evidence)


def told(judgement: Judgement) -> list[tuple[Severity, str]]:
    return [
        (f.severity, f"{f.message} {f.remedy}")
        for f in judgement.findings
        if f.code == "claim-height-procedure"
    ]


@pytest.mark.parametrize(
    ("id_", "claim", "heights", "says"),
    [
        ("japan-2025-uav-laser", GROUND, TakenHeights(MEAN, "circle", 0.35, 0.07), None),
        ("japan-2025-uav-laser", GROUND, TakenHeights(MEAN, "square", 0.35, 0.07), None),
        ("japan-2025-uav-laser", GROUND, TakenHeights(MEAN, "square", 0.34, 0.07), "4.857 times"),
        ("japan-2025-uav-laser", GROUND, TakenHeights(MEAN, "square", 0.34), "not known"),
        ("japan-2025-uav-laser", GROUND, TakenHeights("tin", None, None, 0.07), "height = tin"),
        ("japan-2025-uav-laser", GROUND, TakenHeights("plane", "circle", 0.35, 0.07), "= plane"),
        ("japan-2025-uav-laser", GROUND, TakenHeights("nearest"), "height = nearest"),
        ("japan-2025-uav-laser", GROUND, None, "not said"),
        ("japan-2025-airborne-laser", ALL, TakenHeights(MEAN, "circle", 1.0, 0.5), None),
        ("japan-2025-airborne-laser", ALL, TakenHeights(MEAN, "circle", 2.5, 0.5), "5 times"),
        ("korea-dem-2026", RAW, TakenHeights(MEAN, "circle", 2.0), None),
        ("korea-dem-2026", RAW, TakenHeights(MEAN, "square", 2.0), "of a square"),
        ("korea-dem-2026", RAW, TakenHeights("tin"), "height = tin"),
    ],
)
def test_binding_procedures(
    id_: str, claim: dict[str, Any], heights: TakenHeights | None, says: str | None
) -> None:
    """By the procedure: a verdict. Otherwise none, with what was done, what is wanted, and what to set."""
    judged = decided(id_, claim, heights)
    assert judged.verdict == ("passes" if says is None else "no-statement")
    if says is not None:
        assert says in judged.reasons[0]
        assert "mean of the points around the place" in judged.reasons[0]
        ((severity, text),) = told(judged)
        assert severity is Severity.WARNING
        assert 'set height = "neighbourhood-mean"' in text


def test_the_grid_that_a_size_means_is_said() -> None:
    """Korea: a circle of 2 m is the radius of a 1 m grid; no file says whether that is the model's."""
    ((severity, text),) = told(decided("korea-dem-2026", RAW, TakenHeights(MEAN, "circle", 2.0)))
    assert severity is Severity.NOTE
    assert "1 m grid spacing" in text


@pytest.mark.parametrize("heights", [TakenHeights("nearest"), TakenHeights(MEAN, "circle", 1.0)])
def test_procedures_that_do_not_bind_are_told(heights: TakenHeights) -> None:
    """USGS 2025: anything but the triangulation is told, the verdict stands; before 2020 nothing is."""
    judged = decided("usgs-lbs-2025a", QL1, heights)
    assert judged.verdict == "passes"
    assert "triangulation of the ground points" in told(judged)[0][1]
    assert told(decided("usgs-lbs-2025a", QL1, TakenHeights("tin"))) == []
    assert told(decided("usgs-lbs-2025a", QL1, None)) == []
    assert told(decided("usgs-lbs-1.3", QL1, heights)) == []


def test_other_deliverables() -> None:
    """A raster is not a cloud; a table does not show how its heights were taken, which is told."""
    raster = decided("japan-2025-uav-laser", GROUND, None, kind="raster")
    assert raster.verdict == "passes"
    assert told(raster) == []
    table = decided("japan-2025-uav-laser", GROUND, None, kind="measured-points")
    assert table.verdict == "passes"
    assert "does not show how they were taken" in told(table)[0][1]
    assert told(decided("usgs-lbs-2025a", QL1, None, kind="measured-points")) == []


def test_a_limit_exceeded_without_the_procedure_is_told() -> None:
    """No statement wins, and that the limit was exceeded as well is a finding."""
    evidence = make_evidence(40, up_m=0.2, vegetated=0)
    judged = judge(load_standard("japan-2025-uav-laser"), GROUND, evidence)
    assert judged.verdict == "no-statement"
    assert "claim-limit-exceeded" in {f.code for f in judged.findings}


def by_cover(names: list[str], up_m: list[float]) -> Evidence:
    n = len(names)
    return Evidence(
        dataset="cloud",
        kind="point-cloud",
        ids=tuple(f"P{i}" for i in range(n)),
        east_m=np.full(n, np.nan),
        north_m=np.full(n, np.nan),
        up_m=np.array(up_m),
        vegetated=np.array([name not in ("open terrain", "urban") for name in names]),
        survey_rmse_h_m=np.full(n, np.nan),
        survey_rmse_v_m=np.full(n, 0.01),
        land_cover=tuple(names),
    )


def test_sva_of_one_land_cover_at_a_time() -> None:
    """NDEP 2004: linear rank 95 % of each cover, urban too (it was SVA), open terrain not; FVA and CVA stay."""
    names = ["open terrain"] * 20 + ["forest"] * 20 + ["urban"] * 20
    up_m = [0.01 * (i % 20 + 1) * (-1) ** i for i in range(60)]
    up_m[20:40] = [2 * value for value in up_m[:20]]
    judged = judge(load_standard("ndep-2004"), {"fva_m": 1.0, "cva_m": 1.0}, by_cover(names, up_m))
    checks = {check.name: check for part in judged.parts for check in part.checks.values()}
    sva = {name: check for name, check in checks.items() if name.startswith("SVA")}
    assert [name.split(": ")[1] for name in sva] == ["forest", "urban"]
    # rank 0.95 * 19 + 1 = 19.05 of 0.01 .. 0.20 is 0.1905 (the notes: 1 .. 20 give 19.05)
    assert [round(check.value or 0.0, 9) for check in sva.values()] == [0.381, 0.1905]
    assert [check.n for check in sva.values()] == [20, 20]
    assert [check.cover for check in sva.values()] == ["forest", "urban"]
    assert checks["FVA, fundamental vertical accuracy at 95 % confidence level"].n == 40
    assert judged.verdict == "passes"


def test_explained_by_its_own_points() -> None:
    """The steps of an SVA are of its land cover: rank 19.05 of 20 sizes, not of all 60."""
    names = ["open terrain"] * 20 + ["forest"] * 20 + ["urban"] * 20
    up_m = [0.01 * (i % 20 + 1) for i in range(60)]
    text = render_explained(
        load_standard("ndep-2004"), {"fva_m": 1.0, "cva_m": 1.0}, by_cover(names, up_m)
    )
    after = text.partition("percentile: forest, 20 points")[2]
    steps = after.splitlines()
    assert steps[2].endswith("(20 - 1) + 1 = 19.050000")
    assert steps[3].endswith("= 0.1905000 m")


@pytest.mark.parametrize(("forest", "told"), [(20, False), (19, True)])
def test_twenty_points_in_each_land_cover(forest: int, told: bool) -> None:
    """NDEP 2004: twenty in each that is named; one fewer is told and decides nothing."""
    names = ["open terrain"] * 41 + ["forest"] * forest
    judged = judge(
        load_standard("ndep-2004"),
        {"fva_m": 1.0, "cva_m": 1.0},
        by_cover(names, [0.01] * len(names)),
    )
    few = [f.message for f in judged.findings if f.code == "claim-too-few-points"]
    assert any("19 forest checkpoints, at least 20" in text for text in few) is told
    assert judged.verdict == "passes"


def test_sva_without_names_of_land_covers() -> None:
    """Where only groups are known, one figure of all vegetated points, and its name says so."""
    evidence = make_evidence(40, vegetated=30)
    judged = judge(load_standard("ndep-2004"), {"fva_m": 1.0, "cva_m": 1.0}, evidence)
    (sva,) = [c for p in judged.parts for c in p.checks.values() if c.name.startswith("SVA")]
    assert sva.name.endswith("all land covers together")
    assert (sva.cover, sva.n) == ("vegetated", 30)


def test_land_covers_are_as_many_as_points() -> None:
    """A name for each point, or none at all."""
    with pytest.raises(ValueError, match="land_cover has 1 entries for 70 points"):
        make_evidence(40, vegetated=30, land_cover=("forest",))


@pytest.mark.shared_data
def test_ndep_example_by_land_cover(shared_standards: Any) -> None:
    """The sixty points of the notes: FVA, SVA of both covers and CVA come out to a micrometre."""
    rows = (shared_standards / "ndep-example-points.csv").read_text("utf-8").splitlines()[1:]
    names = [row.split(",")[1].split(" ", 1)[1] for row in rows]
    dz_m = [float(row.split(",")[2]) for row in rows]
    judged = judge(load_standard("ndep-2004"), {"fva_m": 1.0, "cva_m": 1.0}, by_cover(names, dz_m))
    found = {c.name: c.value or 0.0 for p in judged.parts for c in p.checks.values()}
    for start, end, value_m in (
        ("FVA", "level", 0.100739),
        ("SVA", "tall weeds/crops", 0.268700),
        ("SVA", "forested", 0.391250),
        ("CVA", "percentile", 0.315250),
    ):
        (name,) = [n for n in found if n.startswith(start) and n.endswith(end)]
        assert abs(found[name] - value_m) <= 5e-7
