"""Plans that lead through a local site grid, on the side of the checkpoints or of the deliverable."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from accuracy.georeferencing.carrying import Plan, State, Step
from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.local_grid import Carried, Direction, LocalGrid, carry, local_reference
from accuracy.georeferencing.record import Reference
from accuracy.georeferencing.transform import NO_GRIDS, Places, plan

Array = NDArray[np.float64]


@dataclass(frozen=True)
class SitePlan(Plan):
    """A plan that goes through a local grid before (checkpoints local) or after (deliverable local).

    Attributes
    ----------
    inner : Plan
        The part between the local grid's own reference system and the other side.
    local : LocalGrid
        The local grid.
    direction : {"local-to-grid", "grid-to-local"}
        ``local-to-grid``: it is gone through before `inner`; else after it.
    record : mapping
        Parameters and fit, for the result.
    """

    inner: Plan = field(kw_only=True)
    local: LocalGrid = field(kw_only=True, repr=False)
    direction: Direction = field(kw_only=True)
    record: Mapping[str, Any] = field(kw_only=True, repr=False)

    @property
    def carries(self) -> bool:
        """Points always move."""
        return True

    def apply(self, easting: Array, northing: Array, height: Array) -> tuple[Array, Array, Array]:
        """Carry coordinates; see `Plan.apply`."""
        if self.direction == "local-to-grid":
            there = carry(self.local, easting, northing, height, self.direction)
            return self.inner.apply(there.easting, there.northing, there.height)
        between = self.inner.apply(easting, northing, height)
        lost = ~np.isfinite(between[2])
        there = carry(
            self.local, between[0], between[1], np.where(lost, 0.0, between[2]), self.direction
        )
        return there.easting, there.northing, np.where(lost, np.nan, there.height)


def plan_on_site(
    source: Reference,
    target: Reference,
    *,
    local: LocalGrid | None,
    source_local: bool,
    target_local: bool,
    dataset_name: str,
    places: Places,
    grids: GridShelf = NO_GRIDS,
) -> Plan:
    """Plan as `accuracy.georeferencing.transform.plan` does, through the local grid where one side is in it.

    Where both sides are in the local grid they are the same system, and nothing is carried.

    Parameters
    ----------
    local : LocalGrid or None
        The job's local grid.
    source_local, target_local : bool
        Whether the checkpoints, and the deliverable, are in it.
    """
    if local is None or source_local == target_local:
        return plan(source, target, dataset_name=dataset_name, places=places, grids=grids)
    if source_local:
        there = carry(local, places.easting, places.northing, places.height, "local-to-grid")
        moved = replace(places, easting=there.easting, northing=there.northing, height=there.height)
        inner = plan(there.reference, target, dataset_name=dataset_name, places=moved, grids=grids)
        return _joined(source, target, inner, local, there, "local-to-grid", dataset_name)
    grid = local.sides.grid
    inner = plan(source, grid, dataset_name=dataset_name, places=places, grids=grids)
    at_grid = inner.apply(places.easting, places.northing, places.height)
    known = np.isfinite(at_grid[0])
    east, north, up = (np.where(np.isfinite(v), v, 0.0)[known] for v in at_grid)
    there = carry(local, east, north, up, "grid-to-local")
    return _joined(
        source, local_reference(local), inner, local, there, "grid-to-local", dataset_name
    )


def _joined(
    source: Reference,
    target: Reference,
    inner: Plan,
    local: LocalGrid,
    there: Carried,
    direction: Direction,
    dataset_name: str,
) -> SitePlan:
    own = tuple(Step(text, accuracy_m=there.accuracy_m) for text in there.steps)
    steps = (*own, *inner.steps) if direction == "local-to-grid" else (*inner.steps, *own)
    parts = (inner.accuracy_m, there.accuracy_m)
    tied = there.reference.vertical_kind not in ("unknown", "none")
    vertical: State = _moved(inner.vertical)
    if not tied and vertical == "transformed":
        vertical = "unknown"
    values = {f.name: getattr(inner, f.name) for f in fields(Plan)}
    values |= {
        "source": source,
        "target": target,
        "horizontal": _moved(inner.horizontal),
        "vertical": vertical,
        "steps": steps,
        "accuracy_m": None if None in parts else sum(part for part in parts if part is not None),
        "findings": (
            *inner.findings,
            *(replace(finding, dataset=dataset_name) for finding in there.findings),
        ),
    }
    return SitePlan(**values, inner=inner, local=local, direction=direction, record=there.record)


def _moved(state: State) -> State:
    return "transformed" if state == "identity" else state
