"""Targets measured in every cloud and orthophoto of a job, and put into the residuals."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

import numpy as np

from accuracy.deliverables import Deliverable
from accuracy.findings import Finding, Severity
from accuracy.measuring import Measured, Reading
from accuracy.preparation import Prepared
from accuracy.residuals import Position, ResidualRow, in_degrees_of
from accuracy.sampling.targets import REFUSALS, Centre, Outcome, Refused, TargetSpec
from accuracy.sampling.targets.cloud import Found, measure_in_cloud, read_returns
from accuracy.sampling.targets.image import measure_in_photo
from accuracy.sampling.targets.lines import LINES_CHANCE, lines_chance
from accuracy.targets.stated import stated_targets

#: Positions of a sound flight wander, by 6 mm (1 sigma) a line: the farthest of a few are seldom more than
#: this apart, metres. Common practice, no source.
USUAL_APART_M = 0.030


@dataclass(frozen=True)
class TargetsMeasured:
    """Residuals with what targets add, findings, and the record for ``targets`` of the result."""

    measured: tuple[Measured, ...]
    findings: tuple[Finding, ...] = ()
    record: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))


def measure_targets(
    prepared: Prepared,
    measured: Sequence[Measured],
    reading: Reading,
    progress: Callable[[str], None],
) -> TargetsMeasured:
    """Measure the targets of a job; without any, everything stays as it is.

    Parameters
    ----------
    measured : sequence of Measured
        What was measured at the checkpoints, by deliverable.
    """
    specs, findings = stated_targets(prepared.job.targets, prepared.table.points)
    photos = any(item.setting.kind == "orthophoto" for item in prepared.deliverables)
    if not specs and not findings and not photos:
        return TargetsMeasured(tuple(measured))
    done: list[Measured] = []
    told = list(findings)
    record: dict[str, Any] = {}
    for item, values in zip(prepared.deliverables, measured, strict=True):
        if not _measures(prepared, item):
            done.append(values)
            continue
        progress(f"{item.setting.name}: measuring targets")
        rows, entries = _measure(item, values.rows, specs, reading, progress)
        done.append(replace(values, rows=rows))
        record[item.setting.name] = entries
        told += _told(item.setting.name, entries)
    return TargetsMeasured(tuple(done), tuple(told), {"measured": record})


def _measures(prepared: Prepared, item: Deliverable) -> bool:
    if item.setting.kind == "orthophoto":
        return True
    dataset = next(d for d in prepared.job.dataset if d.name == item.setting.name)
    return item.setting.kind == "point-cloud" and dataset.targets is not False


def _measure(
    item: Deliverable,
    rows: Sequence[ResidualRow],
    specs: Mapping[str, TargetSpec],
    reading: Reading,
    progress: Callable[[str], None],
) -> tuple[tuple[ResidualRow, ...], list[dict[str, Any]]]:
    """Give the rows with positions of targets, and an entry for each target."""
    metres = _metres(item, rows)
    asked = [
        row
        for row in rows
        if row.id in specs
        and item.plan.horizontal != "differs"
        and metres is not None
        and row.native["easting"] is not None
    ]
    found: dict[str, Found] = {}
    if metres is not None and asked:
        take = _in_photos if item.setting.kind == "orthophoto" else _in_clouds
        found = take(item, asked, specs, metres, reading, progress)
    entries = [_entry(row, specs[row.id], found[row.id], item) for row in asked]
    added = [
        _with_target(row, found[row.id], item, metres, specs[row.id].pattern)
        if metres is not None and row.id in found
        else _without(row, item)
        for row in rows
    ]
    return tuple(added), entries


def _metres(item: Deliverable, rows: Sequence[ResidualRow]) -> tuple[float, float] | None:
    """Give metres per stored unit along east and north; None where they are not known."""
    unit = item.reference.horizontal_unit
    if unit is not None and item.reference.horizontal_kind != "geographic":
        return float(unit.metres), float(unit.metres)
    in_degrees = in_degrees_of(item.reference)
    place = next((row.native for row in rows if row.native["easting"] is not None), None)
    if in_degrees is None or place is None or item.setting.kind != "orthophoto":
        return None
    lon, lat = place["easting"] or 0.0, place["northing"] or 0.0
    step = 1e-4
    east = in_degrees(lon, lat, lon + step, lat)[0] / step
    north = in_degrees(lon, lat, lon, lat + step)[1] / step
    return east, north


def _place(row: ResidualRow) -> tuple[float, float]:
    east, north = row.native["easting"], row.native["northing"]
    assert east is not None
    assert north is not None
    return east, north


def _in_photos(
    item: Deliverable,
    rows: Sequence[ResidualRow],
    specs: Mapping[str, TargetSpec],
    metres: tuple[float, float],
    _: Reading,
    __: Callable[[str], None],
) -> dict[str, Found]:
    scale = np.array(metres)
    found = {
        row.id: Found(measure_in_photo(item.pictures, *_place(row), specs[row.id], scale))
        for row in rows
    }
    for picture in item.pictures:
        picture.close()
    return found


def _in_clouds(
    item: Deliverable,
    rows: Sequence[ResidualRow],
    specs: Mapping[str, TargetSpec],
    metres: tuple[float, float],
    reading: Reading,
    progress: Callable[[str], None],
) -> dict[str, Found]:
    reach_m = max(specs[row.id].search_m + 1.6 * specs[row.id].reach_m for row in rows)
    x, y = (np.array(axis) for axis in zip(*map(_place, rows), strict=True))
    returns = read_returns(item.clouds, x, y, reach_m / metres[0], progress, reading.read)
    vertical = item.reference.vertical_unit
    metres_v = 1.0 if vertical is None else float(vertical.metres)
    nothing = Found(Refused("too-few-returns", "the cloud has no returns there"))
    if returns is None:
        return {row.id: nothing for row in rows}
    return {
        row.id: measure_in_cloud(returns, *_place(row), specs[row.id], metres[0], metres_v)
        for row in rows
    }


def _with_target(
    row: ResidualRow,
    found: Found,
    item: Deliverable,
    metres: tuple[float, float],
    pattern: str,
) -> ResidualRow:
    """Put the position of a target into a row; the height only of plates, which stand above the ground."""
    centre = found.together
    if not isinstance(centre, Centre):
        return _without(row, item, centre)
    east, north = _place(row)
    native = dict(row.native)
    native["measured_easting"] = east + centre.east_m / metres[0]
    native["measured_northing"] = north + centre.north_m / metres[1]
    residual, measured = row.residual or Position(), row.measured or Position()
    if row.tested != "vertical":
        residual = replace(residual, east_m=centre.east_m, north_m=centre.north_m)
        if row.surveyed.east_m is not None and row.surveyed.north_m is not None:
            measured = replace(
                measured,
                east_m=row.surveyed.east_m + centre.east_m,
                north_m=row.surveyed.north_m + centre.north_m,
            )
    if pattern == "plate" and row.tested != "horizontal" and item.plan.vertical != "differs":
        up_m = _up_m(row, found)
        if up_m is not None and row.surveyed.up_m is not None and item.reference.vertical_unit:
            residual = replace(residual, up_m=up_m)
            measured = replace(measured, up_m=row.surveyed.up_m + up_m)
            native["measured_height"] = (row.surveyed.up_m + up_m) / float(
                item.reference.vertical_unit.metres
            )
    there = residual != Position()
    kept = row.reason in ("control", "excluded")
    return replace(
        row,
        used=there and row.role == "checkpoint",
        reason=row.reason if kept or not there else None,
        detail=row.detail if kept or not there else "",
        residual=residual if there else None,
        measured=measured if there else None,
        native=MappingProxyType(native),
    )


def _up_m(row: ResidualRow, found: Found) -> float | None:
    if found.height_m is None or row.surveyed.up_m is None:
        return None
    return found.height_m - row.surveyed.up_m


def _without(row: ResidualRow, item: Deliverable, refused: Refused | None = None) -> ResidualRow:
    """Say in the row why an orthophoto has no position there; a cloud still has its height."""
    if item.setting.kind != "orthophoto" or row.reason in ("control", "excluded"):
        return row
    if item.plan.horizontal == "differs":
        return replace(row, reason="frame", detail="the orthophoto is in another frame")
    if refused is None:
        return replace(row, detail="no target is stated there")
    return replace(row, detail=f"{REFUSALS[refused.reason]}: {refused.detail}")


def _numbers(outcome: Outcome) -> dict[str, Any]:
    if isinstance(outcome, Refused):
        return {"refused": outcome.reason, "detail": outcome.detail, "points": outcome.points}
    return {
        "refused": None,
        "east_m": outcome.east_m,
        "north_m": outcome.north_m,
        "sigma_east_m": outcome.sigma_east_m,
        "sigma_north_m": outcome.sigma_north_m,
        "correlation": outcome.correlation,
        "points": outcome.points,
    }


def _entry(row: ResidualRow, spec: TargetSpec, found: Found, item: Deliverable) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "id": row.id,
        "pattern": spec.pattern,
        "size_m": spec.size_m,
        "seen_by": "picture" if item.setting.kind == "orthophoto" else spec.seen_by,
        **_numbers(found.together),
    }
    centre = found.together
    if isinstance(centre, Centre):
        heights = item.plan.vertical != "differs" and item.reference.vertical_unit is not None
        entry |= {
            "rotation_deg": centre.rotation_deg,
            "blur_m": centre.blur_m,
            "contrast": centre.contrast,
            "explained": centre.explained,
            "up_m": _up_m(row, found) if heights else None,
            "sigma_up_m": found.sigma_height_m if heights else None,
        }
        entry["lines"] = [{"line": line, **_numbers(one)} for line, one in found.by_line]
        entry["lines_chance"] = lines_chance([one for _, one in found.by_line])
    return entry


def _told(name: str, entries: Sequence[Mapping[str, Any]]) -> list[Finding]:
    findings = []
    refused = [entry for entry in entries if entry["refused"]]
    if refused:
        by_reason = {
            reason: ", ".join(e["id"] for e in refused if e["refused"] == reason)
            for reason in REFUSALS
            if any(e["refused"] == reason for e in refused)
        }
        told = "; ".join(f"{REFUSALS[reason]}: {ids}" for reason, ids in by_reason.items())
        findings.append(
            Finding(
                "target-refused",
                Severity.WARNING,
                f"{len(refused)} of {len(entries)} targets gave no centre ({told})",
                dataset=name,
                component="horizontal",
                evidence={"refused": len(refused), "targets": len(entries)},
                remedy="see the reason at each target; pick these by hand and hand them in as measured points",
            )
        )
    differing = [
        entry
        for entry in entries
        if entry.get("lines_chance") is not None and entry["lines_chance"] < LINES_CHANCE
    ]
    if differing:
        worst = min(differing, key=lambda entry: entry["lines_chance"])
        placed = "; ".join(
            f"line {line['line']}: {line['east_m']:+.3f} east, {line['north_m']:+.3f} north"
            for line in worst["lines"]
            if not line["refused"]
        )
        apart_m = max(_apart_m(entry) for entry in differing)
        usual = apart_m <= USUAL_APART_M
        within = f", but by no more than positions of a sound flight wander ({USUAL_APART_M} m)"
        findings.append(
            Finding(
                "target-lines-disagree",
                Severity.NOTE if usual else Severity.WARNING,
                f"flight lines place {len(differing)} targets differently by more than chance, up to "
                f"{apart_m:.3f} m{within if usual else ''}: {', '.join(entry['id'] for entry in differing)}; "
                f"surest of all {worst['id']} ({placed}, m)",
                dataset=name,
                component="horizontal",
                evidence={"targets": len(differing), "worst": worst["id"], "apart_m": apart_m},
                remedy="look at boresight, timing and trajectory; accuracy lines compares the heights",
            )
        )
    return findings


def _apart_m(entry: Mapping[str, Any]) -> float:
    """Give the largest distance between the centres of two flight lines."""
    places = [(one["east_m"], one["north_m"]) for one in entry["lines"] if not one["refused"]]
    return max(math.dist(one, other) for one in places for other in places)
