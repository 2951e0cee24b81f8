"""From residual rows to sightings: every point as every flight line shows it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from accuracy.diagnosis.lines import Crossing, crossings
from accuracy.diagnosis.records import Array, Sightings
from accuracy.residuals import ResidualRow

#: More points say no more of a cause: what all share is the same. Of more than these every second, third, ...
#: is looked at, and that is said.
MOST_POINTS = 600


@dataclass(frozen=True)
class _Row:
    """One row of the sightings."""

    place: int
    residual_m: tuple[float, float, float]
    line: int = -1
    returns: int = 1
    scan_angle_deg: float = np.nan
    gps_time: float = np.nan
    sigma_m: float = np.nan


#: Centre of one target by each flight line that shows it: east and north from the survey, and its deviation.
Centres = Mapping[int, tuple[float, float, float]]


def centres_of(targets: Sequence[Mapping[str, Any]]) -> dict[str, Centres]:
    """Give the centres of targets by flight line, from ``targets.measured`` of a dataset; metres."""
    found: dict[str, Centres] = {}
    for target in targets:
        its = {
            int(one["line"]): (
                float(one["east_m"]),
                float(one["north_m"]),
                float(np.hypot(one["sigma_east_m"], one["sigma_north_m"]) / np.sqrt(2.0)),
            )
            for one in target.get("lines") or ()
            if not one.get("refused")
        }
        if its and not target.get("refused"):
            found[str(target["id"])] = its
    return found


def _number(value: float | None) -> float:
    return np.nan if value is None else float(value)


def sightings_of(
    rows: Sequence[ResidualRow],
    trajectory: Mapping[str, Any],
    kind: str,
    targets: Sequence[Mapping[str, Any]] = (),
) -> Sightings | None:
    """Give the sightings of the judged points of one dataset; None where there is nothing to look at.

    Parameters
    ----------
    rows : sequence of ResidualRow
        All rows of the dataset. Heights on vegetated ground are not used: grass is no cause.
    trajectory : mapping
        ``trajectory`` of the result; empty where there is none.
    kind : str
        Of the dataset.
    targets : sequence of mapping
        ``targets.measured`` of the result for this dataset.
    """
    used = [row for row in rows if row.used and row.residual is not None]
    if not used:
        return None
    step = -(-len(used) // MOST_POINTS)
    every, used = len(used), used[::step]
    several = len({line.id for row in used if row.support for line in row.support.lines}) > 1
    centres = centres_of(targets)
    raised = {str(one["id"]) for one in targets if one.get("pattern") == "plate"}
    made: list[_Row] = []
    for number, row in enumerate(used):
        made += _rows_of(number, row, several, centres.get(row.id) or {}, row.id in raised)
    sigma_m = np.array([one.sigma_m for one in made])
    surface = kind in ("point-cloud", "raster")
    gradient, known = _gradients(used) if surface else (np.zeros((len(used), 2)), True)
    place = np.array([one.place for one in made], dtype=np.intp)
    position = np.array(
        [
            [_number(v) for v in (r.surveyed.east_m, r.surveyed.north_m, r.surveyed.up_m)]
            for r in used
        ]
    )
    crossing = _crossings(made, position, trajectory)
    cells = [row.support.cell_m for row in used if row.support and row.support.cell_m is not None]
    return Sightings(
        ids=tuple(row.id for row in used),
        place=place,
        residual_m=np.array([one.residual_m for one in made], dtype=np.float64),
        position_m=position[place],
        gradient=gradient[place],
        gradient_known=known,
        line=np.array([one.line for one in made], dtype=np.intp),
        heading_deg=crossing.heading_deg,
        across_m=crossing.across_m,
        height_m=crossing.height_m,
        speed_m_s=crossing.speed_m_s,
        returns=np.array([max(one.returns, 1) for one in made], dtype=np.float64),
        order=np.array([row.line for row in used], dtype=np.intp),
        survey_h_m=_median([row.survey_rmse_h_m for row in used]),
        survey_v_m=_median([row.survey_rmse_v_m for row in used]),
        cell_m=max(cells) if cells else None,
        groups=_groups(used),
        left_out=every - len(used),
        crab_deg=crossing.crab_deg,
        centre_sigma_m=sigma_m if np.isfinite(sigma_m).any() else None,
    )


def _groups(rows: Sequence[ResidualRow]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Give the points that share a description: often the session, the crew or the kind of ground."""
    found: dict[str, list[str]] = {}
    for row in rows:
        if row.description:
            found.setdefault(row.description, []).append(row.id)
    return tuple((text, tuple(ids)) for text, ids in found.items() if len(ids) < len(rows))


def _rows_of(
    place: int, row: ResidualRow, several: bool, centres: Centres, raised: bool
) -> list[_Row]:
    """Give one row for each line that shows the point; one alone where lines are not told apart.

    Where lines show the centre of a target one by one, these stand for the common one. What lines say of the
    height of a raised plate is that of the ground around it, and not used.
    """
    assert row.residual is not None
    east, north = _number(row.residual.east_m), _number(row.residual.north_m)
    up = _number(row.residual.up_m) if row.cover == "non-vegetated" else np.nan
    lines = row.support.lines if row.support is not None else ()
    surveyed = row.surveyed.up_m
    centres = centres if np.isfinite(east) and np.isfinite(north) else {}
    by_line = []
    for line in lines:
        flat = centres.get(line.id, (np.nan, np.nan, np.nan))
        rise = np.nan
        if line.height_m is not None and surveyed is not None and np.isfinite(up) and not raised:
            rise = line.height_m - surveyed
        if np.isfinite(rise) or line.id in centres:
            time, angle = _number(line.gps_time), _number(line.scan_angle_deg)
            seen = (flat[0], flat[1], rise)
            by_line.append(_Row(place, seen, line.id, line.points, angle, time, flat[2]))
    if not by_line or not (several or np.isfinite(by_line[0].gps_time)):
        return [_Row(place, (east, north, up))]
    centred = any(np.isfinite(one.sigma_m) for one in by_line)
    if len(by_line) == 1 and not (centred or raised):
        return [replace(by_line[0], residual_m=(east, north, up))]
    rest = (np.nan if centred else east, np.nan if centred else north, up if raised else np.nan)
    if np.isfinite(rest).any():
        by_line.append(_Row(place, rest))
    return by_line


def _gradients(rows: Sequence[ResidualRow]) -> tuple[Array, bool]:
    """Give the rise of the ground per metre east and north; and whether it was known where it is not flat."""
    gradient = np.zeros((len(rows), 2))
    known = True
    for i, row in enumerate(rows):
        if row.support is None:
            continue
        east, north = row.support.slope_east, row.support.slope_north
        if east is not None and north is not None:
            gradient[i] = east, north
        elif row.support.slope_deg is not None:
            known = False
    return gradient, known


def _crossings(made: Sequence[_Row], position: Array, trajectory: Mapping[str, Any]) -> Crossing:
    place = np.array([one.place for one in made], dtype=np.intp)
    return crossings(
        line=np.array([one.line for one in made], dtype=np.intp),
        position_m=position[place],
        scan_angle_deg=np.array([one.scan_angle_deg for one in made]),
        gps_time=np.array([one.gps_time for one in made]),
        trajectory=trajectory,
    )


def _median(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return float(np.median(known)) if known else None
