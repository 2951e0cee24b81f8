"""A made-up result to draw from: any number of points, any names, any display unit."""

from __future__ import annotations

import hashlib
import math
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import numpy as np

from accuracy.layout import Layout
from accuracy.residuals import Position, ResidualRow
from accuracy.result import ClaimResult, DatasetResult, Result, Run
from accuracy.sampling import LineSupport, Support
from accuracy.series import compute_series
from accuracy.series.shading import shade
from accuracy.standards.judge import Evidence, judge
from accuracy.standards.library import load_standard
from accuracy.stats import figures
from accuracy.units import LengthUnit

METRE = LengthUnit.METRE


def make_rows(
    n: int = 40,
    *,
    vertical: bool = True,
    horizontal: bool = False,
    names: dict[int, str] | None = None,
    degrees: bool = False,
) -> tuple[ResidualRow, ...]:
    """Make `n` checkpoints, every fourth vegetated, then two control points and an excluded one."""
    rows = []
    for i in range(n + 3):
        role: Any = "checkpoint" if i < n else "control" if i < n + 2 else "excluded"
        east, north = 7000.0 + 13.0 * (i % 100), 52000.0 + 17.0 * (i // 100) + 5.0 * (i % 7)
        up_m = 0.02 * math.sin(2.399963 * i) + (0.03 if i % 4 == 3 else 0.0)
        residual = Position(
            0.015 * math.cos(1.7 * i) if horizontal else None,
            0.012 * math.sin(1.3 * i) if horizontal else None,
            up_m if vertical else None,
        )
        height = 100.0 + 0.1 * i
        support = Support(
            12,
            slope_deg=0.5 * (i % 9),
            roughness_m=0.004 + 0.001 * (i % 5),
            lines=(LineSupport(20 + i % 3, 12, height + up_m, 3.0, None),),
        )
        surveyed = Position(east, north, height)
        rows.append(
            ResidualRow(
                id=(names or {}).get(i, f"Q{i + 1}"),
                cover="vegetated" if i % 4 == 3 else "non-vegetated",
                role=role,
                used=role == "checkpoint",
                reason=None if role == "checkpoint" else role,
                detail="",
                surveyed=Position(None, None, height) if degrees else surveyed,
                measured=None,
                residual=residual,
                native=MappingProxyType(
                    {"easting": 8.5 + east * 1e-6, "northing": 47.0 + north * 1e-8}
                    if degrees
                    else {"easting": east, "northing": north}
                ),
                survey_rmse_h_m=0.005,
                survey_rmse_v_m=0.005,
                support=support if vertical else None,
                line=i + 2,
            )
        )
    return tuple(rows)


def evidence_of(rows: tuple[ResidualRow, ...]) -> Evidence:
    """Give the used rows as arrays."""
    used = [row for row in rows if row.used]

    def column(name: str) -> np.ndarray[Any, np.dtype[np.float64]]:
        values = [getattr(row.residual, name) for row in used]
        return np.array([math.nan if v is None else v for v in values], dtype=np.float64)

    return Evidence(
        dataset="ground",
        kind="point-cloud",
        ids=tuple(row.id for row in used),
        east_m=column("east_m"),
        north_m=column("north_m"),
        up_m=column("up_m"),
        vegetated=np.array([row.cover == "vegetated" for row in used], dtype=np.bool_),
        survey_rmse_h_m=np.full(len(used), 0.005),
        survey_rmse_v_m=np.full(len(used), 0.005),
    )


def make_result(
    rows: tuple[ResidualRow, ...] | None = None,
    *,
    dataset: str = "north slope",
    unit: str = "metre",
    claimed: dict[str, float] | None = None,
    base_m: tuple[float, float] | None = (7000.0, 51500.0),
) -> Result:
    """Judge the rows by one claim and put everything into a result."""
    rows = make_rows() if rows is None else rows
    claimed = {"vertical_class_cm": 5.0} if claimed is None else claimed
    standard = load_standard("asprs-2024")
    evidence = evidence_of(rows)
    judgement = judge(standard, claimed, evidence)
    claim = ClaimResult(
        standard=standard.id,
        title=standard.full_title,
        claimed=claimed,
        checks=judgement.checks,
        verdict=judgement.verdict,
        reason=None,
        statement="",
    )
    found = DatasetResult(
        name=dataset,
        kind="point-cloud",
        wkt=None,
        height_method=None,
        max_circumradius_m=None,
        residuals=rows,
        figures=figures(
            evidence.east_m,
            evidence.north_m,
            evidence.up_m,
            evidence.vegetated,
            evidence.survey_rmse_h_m,
            evidence.survey_rmse_v_m,
        ),
        claims=(claim,),
    )
    series = compute_series(
        rows,
        [(standard, claimed)],
        evidence_of,
        [(6900, 51900, 8400, 52900)],
        METRE,
        base_m=base_m,
    )
    return Result(
        run=Run("0", "3", {}, "9", "v11", "", "", {}),
        job={"job": {"title": "Invented", "display_units": unit}},
        inputs=(),
        transformations=(),
        datasets=(found,),
        excluded=(),
        control=(),
        layout=Layout(len(rows) - 3, 0, 0, 2, 1),
        findings=(),
        cautions=(),
        verdict=judgement.verdict,
        series={dataset: series},
        diagnosis={dataset: made_diagnosis(rows)},
    )


def made_diagnosis(rows: tuple[ResidualRow, ...]) -> dict[str, Any]:
    """Give an invented diagnosis, with a prediction for every row."""
    axes: dict[str, Any] = {}
    for axis in ("east", "north", "up"):
        shown = [row for row in rows if row.used and getattr(row.residual, f"{axis}_m") is not None]
        if shown:
            axes[axis] = {
                "ids": [row.id for row in shown],
                "lines": [
                    row.support.lines[0].id if row.support and row.support.lines else None
                    for row in shown
                ],
                "residual_m": [getattr(row.residual, f"{axis}_m") for row in shown],
                "predicted_m": [
                    0.01 if axis == "north" else 1e-4 * (i % 100) for i, _ in enumerate(shown)
                ],
            }
    amount = {"name": "roll", "unit": "deg", "value": 0.02, "sigma": 0.002, "floor": 0.006}
    cause = {
        "causes": [
            {
                "cause": "invented-cause",
                "family": "body",
                "what": "invented",
                "how": "",
                "remedy": "look",
                "evidenced": False,
            }
        ],
        "standing": "consistent",
        "amounts": [amount],
        "predicted_mean": {"east_m": 0.0, "north_m": 0.0, "up_m": 0.0},
        "chi_square": 40.0,
        "score": 44.0,
        "leftover": 6.0,
        "bound": 20.0,
        "above_floor": True,
        "plausible": True,
        "observations": len(rows),
    }
    return {
        "conclusion": "consistent",
        "text": "Invented: consistent with an invented cause.",
        "errors": {
            f"{part}_{letter}_m": None
            for part in ("noise", "point", "line", "shared")
            for letter in ("h", "v")
        }
        | {"line_roll_deg": None},
        "parameters": [],
        "lines": [],
        "blind": [],
        "causes": [cause],
        "tell_apart": [],
        "blunders": {"error_rate": 0.01, "found": [], "figures": {}},
        "what_if": None,
        "evidence": {"causes": ["invented-cause"], "axes": axes},
    }


def with_relief(result: Result) -> Result:
    """Put an invented ground under the plan of every dataset, as a picture beside the record."""
    y, x = np.mgrid[0:60, 0:90] / 9.0
    picture, exaggeration = shade(10.0 * np.sin(x) + 8.0 * np.cos(y), (20.0, 20.0))
    record = {
        "file": "relief-1.png",
        "sha256": hashlib.sha256(picture).hexdigest(),
        "of": "invented ground",
        "box_m": [6800.0, 51800.0, 8600.0, 53000.0],
        "cell_m": 20.0,
        "exaggeration": exaggeration,
        "why": None,
    }
    series = {
        name: {**its, "plan": {**its["plan"], "relief": record}}
        for name, its in result.series.items()
    }
    return replace(result, series=series, side_files={"relief-1.png": picture})
