"""An invented site verified several times, so that the true difference between the runs is known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from jobs import CRS, EAST, NORTH, toml, write_points_table

from accuracy.job import load_job
from accuracy.pipeline import verify
from accuracy.result import Result

Vector = np.ndarray[Any, np.dtype[np.float64]]

#: Name of a run to standard deviation and mean of its errors in height, in metres, and its settings.
RUNS: Mapping[str, tuple[float, float, Mapping[str, Any]]] = {
    "before": (0.044, 0.0, {"trajectory_smoothing": 1, "strip": {"adjusted": False}}),
    "better": (0.016, 0.0, {"trajectory_smoothing": 1, "strip": {"adjusted": True}}),
    "undecided": (0.040, 0.0, {"trajectory_smoothing": 2, "strip": {"adjusted": False}}),
    "worse": (0.075, 0.060, {"trajectory_smoothing": 9, "strip": {"adjusted": False}}),
}

POINTS = 40


def places(n: int = POINTS) -> Vector:
    """Give easting, northing and height of `n` checkpoints."""
    random = np.random.default_rng(5)
    return np.column_stack(
        [
            EAST + random.uniform(0, 300, n).round(3),
            NORTH + random.uniform(0, 200, n).round(3),
            100 + random.uniform(0, 9, n).round(3),
        ]
    )


def errors(name: str, n: int = POINTS) -> Vector:
    """Give the errors in height of a run: half of their variance is the survey's and common to all runs."""
    std_m, mean_m, _ = RUNS[name]
    common = np.random.default_rng(6).standard_normal(n)
    own = np.random.default_rng(10 + list(RUNS).index(name)).standard_normal(n)
    return np.asarray((mean_m + std_m * (common + own) / np.sqrt(2)).round(4))


def make_run(
    folder: Path,
    up_m: Sequence[float] | Vector,
    *,
    processing: Mapping[str, Any] | None = None,
    claims: Sequence[Mapping[str, Any]] = ({"standard": "asprs-2024", "vertical_class_cm": 5.0},),
    ids: Sequence[str] | None = None,
    order: Sequence[int] | None = None,
    shift_m: Mapping[str, float] | None = None,
    covers: Sequence[str] | None = None,
    control: Sequence[str] = (),
    measured: str = "measured.csv",
    table: str = "points.csv",
    dataset: str = "ground targets",
    horizontal_m: Vector | None = None,
    job: Mapping[str, Any] | None = None,
) -> Path:
    """Write a job whose measured heights are off by `up_m`; give its file."""
    folder.mkdir(parents=True, exist_ok=True)
    n = len(up_m)
    given = places(n)
    ids = ids or [f"P{i:02d}" for i in range(1, n + 1)]
    covers = covers or ["non-vegetated"] * n
    order = range(n) if order is None else order
    shift = [(shift_m or {}).get(id_, 0.0) for id_ in ids]
    off = np.zeros((n, 2)) if horizontal_m is None else horizontal_m
    write_points_table(
        folder / table,
        [
            [
                ids[i],
                f"{given[i, 0] + shift[i]:.4f}",
                f"{given[i, 1]:.4f}",
                f"{given[i, 2]:.4f}",
                covers[i],
            ]
            for i in order
        ],
    )
    write_points_table(
        folder / measured,
        [
            [ids[i], *(f"{value:.4f}" for value in given[i] + [*off[i], up_m[i]])]
            for i in reversed(order)
        ],
        header="id,easting,northing,height",
    )
    about = {"title": "Spring survey", "site": "Tollgarth Quarry", "sensor": "Wendle 2"} | dict(
        job or {}
    )
    sections: list[tuple[str, Mapping[str, Any]]] = [
        ("[job]", about),
        (
            "[checkpoints]",
            {
                "file": table,
                "crs": CRS,
                "survey_rmse_h_m": 0.005,
                "survey_rmse_v_m": 0.005,
                "control": list(control),
            },
        ),
        (
            "[[dataset]]",
            {"name": dataset, "kind": "measured-points", "files": [measured], "crs": CRS},
        ),
        *(("[[claim]]", {"dataset": dataset} | dict(claim)) for claim in claims),
        ("[processing]", processing or {}),
    ]
    text = "\n".join(
        header + "\n" + "".join(f"{key} = {toml(value)}\n" for key, value in section.items())
        for header, section in sections
    )
    path = folder / "job.toml"
    path.write_text(text, "utf-8")
    return path


def run(folder: Path, up_m: Sequence[float] | Vector, **more: Any) -> Result:
    """Verify such a job."""
    return verify(load_job(make_run(folder, up_m, **more)))


def site(folder: Path, names: Sequence[str] = tuple(RUNS)) -> dict[str, Path]:
    """Verify the runs of `RUNS`; give the folder that holds each ``result.json``."""
    found = {}
    for name in names:
        result = run(folder / name, errors(name), processing=RUNS[name][2])
        found[name] = folder / f"{name}.accuracy"
        found[name].mkdir()
        (found[name] / "result.json").write_text(result.to_json(), "utf-8")
    return found
