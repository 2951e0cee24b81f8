"""Evidence for the judge with known figures: every residual of an axis has the same size."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from accuracy.standards.judge import Evidence, TakenHeights

NAN = math.nan


def alternating(size_m: float, n: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Residuals +size, -size, ...: RMSE exactly `size_m`, mean 0 for an even n."""
    return np.where(np.arange(n) % 2 == 0, size_m, -size_m)


def make_evidence(
    n: int = 30,
    *,
    up_m: float = 0.03,
    east_m: float = NAN,
    north_m: float = NAN,
    vegetated: int = 30,
    vegetated_up_m: float = 0.08,
    survey_h_m: float = 0.005,
    survey_v_m: float = 0.005,
    **more: Any,
) -> Evidence:
    """Make `n` non-vegetated points and some vegetated ones, each axis of constant size (NaN: none)."""
    total = n + vegetated
    up = np.concatenate([alternating(up_m, n), alternating(vegetated_up_m, vegetated)])
    given: dict[str, Any] = {
        "dataset": "ground cloud",
        "kind": "point-cloud" if math.isnan(east_m) else "measured-points",
        "ids": tuple(f"P{i + 1}" for i in range(total)),
        "east_m": alternating(east_m, total),
        "north_m": alternating(north_m, total),
        "up_m": up,
        "vegetated": np.arange(total) >= n,
        "survey_rmse_h_m": np.full(total, survey_h_m),
        "survey_rmse_v_m": np.full(total, survey_v_m),
        "heights": TakenHeights("tin"),
    }
    return Evidence(**(given | more))
