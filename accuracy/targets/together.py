"""The same places in all deliverables: which of them is off, and by how much."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from itertools import combinations
from typing import Any

import numpy as np

from accuracy.deliverables import Deliverable
from accuracy.findings import Component, Finding, Severity
from accuracy.measuring import Measured, Reading
from accuracy.preparation import Prepared
from accuracy.residuals import ResidualRow
from accuracy.sampling.colour_offset import ColourOffset, Patch, colour_offset
from accuracy.sampling.targets.cloud import read_returns
from accuracy.targets.grid_shift import grid_shift
from accuracy.targets.measuring import TargetsMeasured

#: Deliverables differ if chance gives that less often than this, and by at least so much. Invented.
CHANCE, LEAST_M = 0.002, 0.01
FEWEST = 4
#: Colours lie aside if chance gives that less often than this.
COLOUR_CHANCE = 0.003
#: Half the side of a patch of ground whose colours are set against its intensities, metres.
PATCH_M = 1.2
MOST_PATCHES = 60
#: Share of the roughness that is in the height between three points, or four cells: root of the mean of the
#: sum of squared weights over the triangle (1/2) and over the cell (4/9).
TIN_SHARE, BILINEAR_SHARE = math.sqrt(0.5), 2.0 / 3.0

_AXES: tuple[tuple[str, str, Component], ...] = (
    ("east_m", "east", "horizontal"),
    ("north_m", "north", "horizontal"),
    ("up_m", "up", "vertical"),
)


def set_together(
    prepared: Prepared,
    targets: TargetsMeasured,
    reading: Reading,
    progress: Callable[[str], None],
) -> tuple[dict[str, Any], tuple[Finding, ...]]:
    """Give the record ``targets`` of the result, completed by what deliverables say of each other.

    Nothing is added to jobs without ``[together]`` and without targets.
    """
    section = prepared.job.together
    record = dict(targets.record)
    if section is None and not record:
        return record, ()
    findings: list[Finding] = []
    if section is None or section.deliverables:
        items = prepared.deliverables
        if len(items) > 1:
            record["together"], findings = _deliverables(
                items, targets.measured, record.get("measured", {}), reading, progress
            )
    if section is None or section.colour:
        colours, more = _colours(prepared, reading, progress)
        findings += more
        if colours:
            record["colour"] = colours
    return record, tuple(findings)


def _deliverables(
    items: Sequence[Deliverable],
    measured: Sequence[Measured],
    targets: Mapping[str, Sequence[Mapping[str, Any]]],
    reading: Reading,
    progress: Callable[[str], None],
) -> tuple[dict[str, Any], list[Finding]]:
    values = [
        {row.id: _value(item, row, targets) for row in its.rows if row.role != "excluded"}
        for item, its in zip(items, measured, strict=True)
    ]
    ids = list(dict.fromkeys(name for one in values for name in one))
    points = []
    for name in ids:
        here = [one[name] for one in values if one.get(name) is not None]
        if len(here) > 1:
            points.append({"id": name, "values": here})
    pairs = []
    findings: list[Finding] = []
    for one, two in combinations(range(len(items)), 2):
        for key, word, component in _AXES:
            pair = _pair(items, values, one, two, key)
            if pair is None:
                continue
            pairs.append({"component": word, **pair})
            if pair["differs"]:
                findings.append(_differs(pair, word, component))
    shifts = []
    for raster in (item for item in items if item.rasters):
        for cloud in (item for item in items if item.clouds):
            if raster.reference.horizontal_wkt != cloud.reference.horizontal_wkt:
                continue
            rows = measured[list(items).index(cloud)].rows
            shift = grid_shift(raster, cloud, rows, reading, progress)
            if shift is None:
                continue
            names = raster.setting.name, cloud.setting.name
            away = max(
                abs(shift.east_m) / shift.sigma_east_m, abs(shift.north_m) / shift.sigma_north_m
            )
            size_m = math.hypot(shift.east_m, shift.north_m)
            differs = away > 4.0 and size_m > max(LEAST_M, 0.1 * shift.cell_m)
            shifts.append(
                {
                    "raster": names[0],
                    "cloud": names[1],
                    **{name: getattr(shift, name) for name in shift.__dataclass_fields__},
                    "differs": differs,
                }
            )
            if differs:
                findings.append(
                    Finding(
                        "together-differs",
                        Severity.WARNING,
                        f"{names[0]} lies {shift.east_m:+.3f} m east and {shift.north_m:+.3f} m north of "
                        f"{names[1]}, {size_m / shift.cell_m:.2f} of a cell, as the slopes at "
                        f"{shift.places} places tell",
                        dataset=names[0],
                        component="all",
                        evidence={"east_m": shift.east_m, "north_m": shift.north_m},
                        remedy="half a cell: a grid of cell centres was written as one of cell corners, or "
                        "the other way round",
                    )
                )
    return {"points": points, "pairs": pairs, "grid_shifts": shifts}, findings


def _value(
    item: Deliverable, row: ResidualRow, targets: Mapping[str, Sequence[Mapping[str, Any]]]
) -> dict[str, Any] | None:
    """Give what one deliverable says at one point: differences from the survey, with standard errors."""
    its = row.residual
    if its is None:
        return None
    entry = next(
        (e for e in targets.get(item.setting.name, ()) if e["id"] == row.id and not e["refused"]),
        None,
    )
    sigma_up_m = None
    if row.support is not None and row.support.roughness_m is not None:
        share = BILINEAR_SHARE if item.setting.kind == "raster" else TIN_SHARE
        sigma_up_m = share * row.support.roughness_m
    return {
        "dataset": item.setting.name,
        "kind": item.setting.kind,
        "east_m": its.east_m,
        "north_m": its.north_m,
        "up_m": its.up_m,
        "sigma_east_m": None if entry is None else entry["sigma_east_m"],
        "sigma_north_m": None if entry is None else entry["sigma_north_m"],
        "sigma_up_m": sigma_up_m if its.up_m is not None else None,
    }


def _pair(
    items: Sequence[Deliverable],
    values: Sequence[Mapping[str, dict[str, Any] | None]],
    one: int,
    two: int,
    key: str,
) -> dict[str, Any] | None:
    """Give the mean difference of two deliverables (second minus first) along one axis."""
    from scipy.special import stdtr

    differences, variances = [], []
    for name in values[one].keys() & values[two].keys():
        a, b = values[one][name], values[two][name]
        if a is None or b is None or a[key] is None or b[key] is None:
            continue
        differences.append(b[key] - a[key])
        variances.append(sum((v[f"sigma_{key}"] or 0.0) ** 2 for v in (a, b)))
    n = len(differences)
    if n < 2:
        return None
    mean = float(np.mean(sorted(differences)))
    spread = math.sqrt(max(float(np.var(differences, ddof=1)), math.fsum(variances) / n) / n)
    chance = 2.0 * float(stdtr(n - 1, -abs(mean) / max(spread, 1e-9)))
    return {
        "first": items[one].setting.name,
        "second": items[two].setting.name,
        "points": n,
        "mean_m": mean,
        "sigma_m": spread,
        "chance": chance,
        "differs": n >= FEWEST and chance < CHANCE and abs(mean) >= LEAST_M,
    }


def _differs(pair: Mapping[str, Any], word: str, component: Component) -> Finding:
    return Finding(
        "together-differs",
        Severity.WARNING,
        f"{pair['second']} is {pair['mean_m']:+.3f} m {word} of {pair['first']} at {pair['points']} points "
        f"(standard error {pair['sigma_m']:.3f} m)",
        component=component,
        evidence={"mean_m": pair["mean_m"], "points": pair["points"]},
        remedy="compare both with the survey: the one with the smaller residuals is right",
    )


def _colours(
    prepared: Prepared, reading: Reading, progress: Callable[[str], None]
) -> tuple[dict[str, Any], list[Finding]]:
    """Set the colours of every cloud against its intensities."""
    found: dict[str, Any] = {}
    findings = []
    for item in prepared.deliverables:
        offset = _colour_of(item, prepared, reading, progress)
        if offset is None:
            continue
        told = {name: getattr(offset, name) for name in offset.__dataclass_fields__}
        aside = offset.chance < COLOUR_CHANCE
        found[item.setting.name] = {**told, "differs": aside}
        if aside:
            findings.append(
                Finding(
                    "together-colour-offset",
                    Severity.WARNING,
                    f"colours lie {offset.east_m:+.3f} m east and {offset.north_m:+.3f} m north of the "
                    f"intensities (standard errors {offset.sigma_east_m:.3f} and "
                    f"{offset.sigma_north_m:.3f} m, {offset.patches} patches)",
                    dataset=item.setting.name,
                    component="horizontal",
                    evidence={"east_m": offset.east_m, "north_m": offset.north_m},
                    remedy="the camera is out of step with the lidar: look at its timing, boresight and "
                    "lever arm",
                )
            )
    return found, findings


def _colour_of(
    item: Deliverable, prepared: Prepared, reading: Reading, progress: Callable[[str], None]
) -> ColourOffset | None:
    unit = item.reference.horizontal_unit
    if not item.clouds or unit is None or item.reference.horizontal_kind == "geographic":
        return None
    places = item.plan.apply(*_columns(prepared)) if item.plan.carries else _columns(prepared)
    x, y = places[0], places[1]
    known = np.isfinite(x) & np.isfinite(y)
    x, y = x[known][:MOST_PATCHES], y[known][:MOST_PATCHES]
    if not x.size:
        return None
    metres = float(unit.metres)
    progress(f"{item.setting.name}: setting colours against intensities")
    returns = read_returns(item.clouds, x, y, 1.5 * PATCH_M / metres, progress, reading.read)
    if returns is None or returns.intensity is None or returns.colour is None:
        return None
    patches = []
    for east, north in zip(x.tolist(), y.tolist(), strict=True):
        off_x = (returns.x - (east - returns.origin[0])) * metres
        off_y = (returns.y - (north - returns.origin[1])) * metres
        near = np.maximum(np.abs(off_x), np.abs(off_y)) <= PATCH_M
        at = np.column_stack([off_x[near], off_y[near]])
        # lines differ in gain; a line alone is compared with itself
        numbers, counts = np.unique(returns.line[near], return_counts=True)
        if not numbers.size:
            continue
        own = returns.line[near] == numbers[int(np.argmax(counts))]
        patches.append(Patch(at[own], returns.intensity[near][own], returns.colour[near][own]))
    return colour_offset(patches)


def _columns(prepared: Prepared) -> list[np.ndarray[Any, np.dtype[np.float64]]]:
    from accuracy.deliverables import columns

    return columns(prepared.table.points)
