"""The diagnosis of a dataset as plain values for ``result.json``. Numbers are rounded."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from accuracy.diagnosis.blunders import ERROR_RATE
from accuracy.diagnosis.records import Diagnosis, Fitted, Parameter, Scored, Sightings

#: Causes in the record at most, besides those that are listed.
MOST = 8
AXES = ("east", "north", "up")


def length(value_m: float | None) -> float | None:
    """Round a length to a tenth of a millimetre."""
    return None if value_m is None or not math.isfinite(value_m) else round(float(value_m), 4) + 0.0


def figures(value: float | None, digits: int = 4) -> float | None:
    """Round to so many significant figures."""
    if value is None or not math.isfinite(value):
        return None
    if value == 0.0:
        return 0.0
    return round(value, digits - 1 - math.floor(math.log10(abs(value))))


def diagnosis_data(diagnosis: Diagnosis) -> dict[str, Any]:
    """Give the record of one dataset: shape as in ``result.schema.json`` under ``diagnosis``."""
    sightings = diagnosis.sightings
    listed = diagnosis.listed
    others = [s for s in diagnosis.scored if s not in listed][:MOST]
    errors = diagnosis.errors
    return {
        "conclusion": diagnosis.conclusion,
        "text": diagnosis.text,
        "errors": {
            f"{part}_{letter}_m": length(getattr(errors, f"{part}_{letter}_m") or None)
            for part in ("noise", "point", "line", "shared")
            for letter in ("h", "v")
        }
        | {"line_roll_deg": figures(errors.line_roll_deg or None, 2)},
        "parameters": [_parameter(p) for p in diagnosis.parameters],
        "lines": [
            {
                "line": line.line,
                "points": line.points,
                "east_m": length(line.east_m),
                "north_m": length(line.north_m),
                "up_m": length(line.up_m),
                "sigma_h_m": length(line.sigma_h_m),
                "sigma_v_m": length(line.sigma_v_m),
                "heading_deg": None if line.heading_deg is None else round(line.heading_deg, 1),
                "speed_m_s": None if line.speed_m_s is None else round(line.speed_m_s, 2),
                "height_m": None if line.height_m is None else round(line.height_m, 1),
            }
            for line in diagnosis.lines
        ],
        "blind": list(diagnosis.blind),
        "causes": [_scored(s, sightings) for s in (*listed, *others) if sightings is not None],
        "tell_apart": list(diagnosis.tell_apart),
        "blunders": {
            "error_rate": ERROR_RATE,
            "found": [
                {
                    "ids": list(b.ids),
                    "component": b.component,
                    "value_m": length(b.value_m),
                    "statistic": figures(b.statistic, 3),
                    "critical": figures(b.critical, 3),
                    "how": b.how,
                }
                for b in diagnosis.blunders
            ],
            "figures": {
                axis: {
                    which: {k: v if k == "n" else length(v) for k, v in its.items()}
                    for which, its in both.items()
                }
                for axis, both in diagnosis.without_blunders.items()
            },
        },
        "what_if": None if diagnosis.what_if is None else dict(diagnosis.what_if),
        "evidence": _evidence(listed[0], sightings) if listed and sightings is not None else None,
    }


def _parameter(p: Parameter) -> dict[str, Any]:
    return {
        "name": p.name,
        "unit": p.unit,
        "value": figures(p.value),
        "sigma": figures(p.sigma),
        "floor": figures(p.floor),
        "state": p.state,
        "look_alikes": list(p.look_alikes),
    }


def _fitted(f: Fitted) -> dict[str, Any]:
    return {
        "name": f.name,
        "unit": f.unit,
        "value": figures(f.value),
        "sigma": figures(f.sigma),
        "floor": figures(f.floor),
    }


def _scored(s: Scored, sightings: Sightings) -> dict[str, Any]:
    mean = s.predicted.mean(axis=0)
    return {
        "causes": [
            {
                "cause": c.cause,
                "family": c.family,
                "what": c.what,
                "how": c.how,
                "remedy": c.remedy,
                "evidenced": c.evidenced,
            }
            for c in s.causes
        ],
        "standing": s.standing,
        "amounts": [_fitted(f) for f in s.amounts],
        "predicted_mean": {f"{axis}_m": length(float(mean[i])) for i, axis in enumerate(AXES)},
        "chi_square": figures(s.chi_square),
        "score": figures(s.score),
        "leftover": figures(s.leftover, 3),
        "bound": figures(s.bound, 3),
        "above_floor": s.above_floor,
        "plausible": s.plausible,
        "observations": int(np.isfinite(sightings.residual_m).sum()),
    }


def _evidence(s: Scored, sightings: Sightings) -> dict[str, Any]:
    """Give residual and prediction of every row, as they are drawn."""
    seen = s.predicted.copy()
    seen[:, 2] -= (s.predicted[:, :2] * sightings.gradient).sum(axis=1)
    axes: dict[str, Any] = {}
    for i, axis in enumerate(AXES):
        rows = np.flatnonzero(np.isfinite(sightings.residual_m[:, i]))
        if rows.size:
            axes[axis] = {
                "ids": [sightings.ids[sightings.place[row]] for row in rows],
                "lines": [int(line) if line >= 0 else None for line in sightings.line[rows]],
                "residual_m": [length(float(v)) for v in sightings.residual_m[rows, i]],
                "predicted_m": [length(float(v)) for v in seen[rows, i]],
            }
    return {"causes": list(s.names), "axes": axes}
