"""The true answers of a simulated flight."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

import numpy as np

from accuracy.simulation.faults import FAULTS, predicted_m
from accuracy.simulation.memory_record import Simulated
from accuracy.simulation.near import Flight

TRUTH_FORMAT = "accuracy-simulation-truth"
DIGITS = 6  # of metres: micrometres


def truth_of(flight: Flight, simulated: Simulated, points: int) -> dict[str, Any]:
    """Collect what was put in, and the vectors that follow by closed forms."""
    scenario, site, checkpoints = flight.scenario, flight.scenario.site, simulated.checkpoints
    longitude_deg, latitude_deg = site.place_deg
    seen = simulated.seen
    by_checkpoint: dict[int, list[dict[str, Any]]] = {}
    for k, at in enumerate(seen.checkpoint.tolist()):
        by_checkpoint.setdefault(at, []).append(
            {
                "line": int(seen.line[k]),
                "heading_deg": _round(seen.heading_deg[k], 4),
                "across_m": _round(seen.across_m[k]),
                "flying_height_m": _round(seen.flying_height_m[k]),
                "predicted_m": _round(seen.predicted_m[k]),
                "exact_m": _round(seen.exact_m[k]),
            }
        )
    targets = {each.id: each for each in scenario.landscape.targets}
    marks = []
    for k, name in enumerate(checkpoints.id):
        marks.append(
            {
                "id": name,
                "cover": checkpoints.cover[k],
                "target": checkpoints.target[k] or None,
                "session": int(checkpoints.session[k]),
                "true_m": _round(checkpoints.true_m[k]),
                "surveyed_m": _round(checkpoints.surveyed_m[k], 3),
                "slope": _round(checkpoints.slope[k]),
                "lines": by_checkpoint.get(k, []),
            }
        )
    return {
        "format": TRUTH_FORMAT,
        "format_version": 1,
        "scenario": scenario.name,
        "about": scenario.about,
        "seed": flight.seed,
        "faults": [_fault(flight, name, size) for name, size in flight.faults.items()],
        "site": {
            "name": site.name,
            "crs": site.crs,
            "geoid": site.geoid,
            "longitude_deg": _round(longitude_deg, 9),
            "latitude_deg": _round(latitude_deg, 9),
            "normal": _round(site.normal, 12),
            "undulation_m": site.undulation_m,
            "epoch_year": _round(site.epoch_year),
            "frame_difference_m": _round(site.frame_shift_m(site.to_frame, site.epoch_year)),
            "antenna": asdict(site.antenna),
        },
        "noise": asdict(scenario.noise),
        "payload": asdict(scenario.payload),
        "plants": asdict(scenario.plants),
        "lines": [
            {
                "number": track.plan.number,
                "track_deg": _round(track.azimuth_deg, 4),
                "above_m": track.plan.above_m,
                "speed_m_s": track.plan.speed_m_s,
                "start_s": track.start_s,
                "end_s": _round(track.end_s),
            }
            for track in flight.motion.tracks
        ],
        "points": points,
        "targets": [asdict(targets[mark.target]) for mark in scenario.marks if mark.target],
        "checkpoints": marks,
        "control": [
            {"id": mark.id, "true_m": _round(at)}
            for mark, at in zip(flight.survey.marks, flight.survey.true_m, strict=True)
            if mark.control
        ],
    }


def truth_text(truth: dict[str, Any]) -> str:
    """Write the truth as JSON."""
    return json.dumps(truth, indent=1, ensure_ascii=False) + "\n"


def _fault(flight: Flight, name: str, size: float) -> dict[str, Any]:
    fault = FAULTS[name]
    entry = {
        "name": name,
        "family": fault.family,
        "size": size,
        "unit": fault.unit,
        "what": fault.what,
        "sign": fault.sign,
        "vector": fault.vector,
    }
    if fault.family in ("map", "raster", "camera"):
        from accuracy.simulation.fault_record import Where

        terrain = flight.scenario.landscape.terrain
        middle = Where(
            site=flight.scenario.site,
            east_m=np.array([terrain.east_m + terrain.width_m / 2]),
            north_m=np.array([terrain.north_m + terrain.depth_m / 2]),
            up_m=np.array([terrain.height_0_m]),
            cell_m=flight.scenario.cell_m,
        )
        dataset = {"map": "cloud", "raster": "raster", "camera": "colour"}[fault.family]
        vector = predicted_m({name: size}, middle, dataset)[0]  # type: ignore[arg-type]  # one of three literals
        entry["at_middle_m"] = _round(vector)
    return entry


def _round(value: Any, digits: int = DIGITS) -> Any:
    """Round numbers and arrays, as plain Python numbers, without a negative zero."""
    return (np.round(np.asarray(value, dtype=np.float64), digits) + 0.0).tolist()
