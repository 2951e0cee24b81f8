"""From residual rows to sightings: every point as every flight line shows it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
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


def _number(value: float | None) -> float:
    return np.nan if value is None else float(value)


def sightings_of(
    rows: Sequence[ResidualRow], trajectory: Mapping[str, Any], kind: str
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
    """
    used = [row for row in rows if row.used and row.residual is not None]
    if not used:
        return None
    step = -(-len(used) // MOST_POINTS)
    every, used = len(used), used[::step]
    several = len({line.id for row in used if row.support for line in row.support.lines}) > 1
    made: list[_Row] = []
    for number, row in enumerate(used):
        made += _rows_of(number, row, several)
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
    )


def _groups(rows: Sequence[ResidualRow]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Give the points that share a description: often the session, the crew or the kind of ground."""
    found: dict[str, list[str]] = {}
    for row in rows:
        if row.description:
            found.setdefault(row.description, []).append(row.id)
    return tuple((text, tuple(ids)) for text, ids in found.items() if len(ids) < len(rows))


def _rows_of(place: int, row: ResidualRow, several: bool) -> list[_Row]:
    """Give one row for each line that shows the point; one alone where lines are not told apart."""
    assert row.residual is not None
    east, north = _number(row.residual.east_m), _number(row.residual.north_m)
    up = _number(row.residual.up_m) if row.cover == "non-vegetated" else np.nan
    lines = row.support.lines if row.support is not None else ()
    surveyed = row.surveyed.up_m
    by_line = [
        _Row(
            place,
            (np.nan, np.nan, line.height_m - surveyed),
            line.id,
            line.points,
            _number(line.scan_angle_deg),
            _number(line.gps_time),
        )
        for line in lines
        if line.height_m is not None and surveyed is not None and np.isfinite(up)
    ]
    if not by_line or not (several or np.isfinite(by_line[0].gps_time)):
        return [_Row(place, (east, north, up))]
    if len(by_line) == 1:
        one = by_line[0]
        return [
            _Row(place, (east, north, up), one.line, one.returns, one.scan_angle_deg, one.gps_time)
        ]
    if np.isfinite(east):
        by_line.append(_Row(place, (east, north, np.nan)))
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
