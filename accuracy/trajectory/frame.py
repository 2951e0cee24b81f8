"""Positions of a trajectory in the frame of the cloud, in metres; or in its own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from accuracy.findings import Finding, Severity
from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.local_grid import LocalGrid
from accuracy.georeferencing.record import Reference
from accuracy.georeferencing.site_plan import plan_on_site
from accuracy.georeferencing.transform import NO_GRIDS, Places
from accuracy.inputs.trajectory_table import TrajectoryTable
from accuracy.trajectory.track import Array
from accuracy.units import to_metres

#: The way to the cloud's frame is planned with so many rows, and carried out with all.
PLANNED_ROWS = 100


@dataclass(frozen=True, eq=False)
class Positions:
    """Where the rows of a table are. Arrays have shape (n,), metres.

    Attributes
    ----------
    east_m, north_m, up_m : ndarray of float64 or None
        None where no plane, or no height, is known.
    frame : str
        Name of their reference system; ``unknown`` without one.
    in_cloud : bool
        Whether that is the frame of the cloud.
    """

    east_m: Array | None = None
    north_m: Array | None = None
    up_m: Array | None = None
    frame: str = "unknown"
    in_cloud: bool = False
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Destination:
    """The frame of the cloud, and what may be used on the way there."""

    reference: Reference
    dataset: str
    grids: GridShelf = NO_GRIDS
    local_grid: LocalGrid | None = None
    local: bool = False


def positions_of(
    table: TrajectoryTable, reference: Reference, cloud: Destination | None = None
) -> Positions:
    """Carry a trajectory to the frame of the cloud by named steps, as checkpoints are carried.

    Parameters
    ----------
    reference : Reference
        Of the trajectory.
    cloud : Destination, optional
        Where to; without it, and where there is no way, positions stay in the trajectory's own plane.
    """
    if cloud is None:
        return _own(table, reference, ())
    at = np.linspace(0, len(table.line) - 1, min(len(table.line), PLANNED_ROWS)).astype(np.intp)
    extremes = [f(v) for v in (table.easting, table.northing) for f in (np.argmin, np.argmax)]
    at = np.unique(np.concatenate([at, np.array(extremes, dtype=np.intp)]))
    places = Places(
        tuple(f"line {line}" for line in table.line[at].tolist()),
        table.easting[at],
        table.northing[at],
        table.height[at],
        np.ones(len(at), dtype=np.bool_),
    )
    way = plan_on_site(
        reference,
        cloud.reference,
        local=cloud.local_grid,
        source_local=False,
        target_local=cloud.local,
        dataset_name=cloud.dataset,
        places=places,
        grids=cloud.grids,
    )
    told = [f for f in way.findings if f.severity is Severity.BLOCKING]
    told = told or [f for f in way.findings if f.severity is not Severity.NOTE]
    target = cloud.reference
    if way.horizontal not in ("identity", "transformed") or target.horizontal_unit is None:
        return _own(table, reference, (_refused(table, way.horizontal, told, cloud, "all"),))
    east, north, up = way.apply(table.easting, table.northing, table.height)
    east_m = to_metres(east, target.horizontal_unit)
    north_m = to_metres(north, target.horizontal_unit)
    if not (np.isfinite(east_m).all() and np.isfinite(north_m).all()):
        return _own(table, reference, (_refused(table, "differs", told, cloud, "all"),))
    up_m = None
    findings: tuple[Finding, ...] = ()
    if way.vertical in ("identity", "transformed") and target.vertical_unit is not None:
        up_m = to_metres(up, target.vertical_unit)
    if up_m is None or not np.isfinite(up_m).all():
        up_m = None
        findings = (_refused(table, way.vertical, told, cloud, "vertical"),)
    return Positions(east_m, north_m, up_m, target.name, True, findings)


def _own(table: TrajectoryTable, reference: Reference, findings: tuple[Finding, ...]) -> Positions:
    """Keep positions in the trajectory's own plane, where it has one."""
    unit = reference.horizontal_unit
    if (
        unit is None
        or table.geographic
        or reference.horizontal_kind not in ("projected", "unknown")
    ):
        return Positions(frame=reference.name, findings=findings)
    vertical = reference.vertical_unit
    return Positions(
        to_metres(table.easting, unit),
        to_metres(table.northing, unit),
        None if vertical is None else to_metres(table.height, vertical),
        reference.name,
        findings=findings,
    )


def _refused(
    table: TrajectoryTable, state: str, told: list[Finding], cloud: Destination, component: str
) -> Finding:
    reasons = [
        finding.message.replace("the checkpoints", "the trajectory").replace(
            "checkpoints", "the trajectory"
        )
        for finding in told
        if component == "all" or finding.component != "horizontal"
    ]
    what = "heights" if component == "vertical" else "positions"
    why = "; ".join(dict.fromkeys(reasons)) or f"the reference systems are {state}"
    remedies = [finding.remedy for finding in told if finding.remedy]
    return Finding(
        "trajectory-frame",
        Severity.WARNING,
        f"{table.path.name}: {what} of the trajectory are not held against {cloud.dataset}: {why}",
        component="vertical" if component == "vertical" else "all",
        remedy="state crs, epoch and geoid under [trajectory]"
        + (f"; {remedies[0]}" if remedies else ""),
    )
