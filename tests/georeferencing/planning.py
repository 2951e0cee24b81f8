"""Helpers for tests of transformations: one line from two declarations to a plan."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from accuracy.findings import Severity
from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.reference import Reference, declared
from accuracy.georeferencing.transform import Places, Plan, plan


def places(easting: Any, northing: Any, height: Any) -> Places:
    """Points P1, P2, ..., all judged."""
    east, north, up = (np.atleast_1d(np.asarray(v, float)) for v in (easting, northing, height))
    ids = tuple(f"P{i}" for i in range(1, east.size + 1))
    return Places(ids, east, north, up, np.ones(east.shape, dtype=np.bool_))


def side(text: str | Reference, geoid: str | None = None) -> Reference:
    return declared(text, geoid=geoid) if isinstance(text, str) else text


def go(
    source: str | Reference,
    target: str | Reference,
    at: tuple[Any, Any, Any],
    *,
    geoids: tuple[str | None, str | None] = (None, None),
    folder: Path | None = None,
    files: dict[str, str] | None = None,
) -> tuple[Plan, np.ndarray]:
    """Plan and carry: the plan, and the coordinates as an array of shape (n, 3)."""
    points = places(*at)
    found = plan(
        side(source, geoids[0]),
        side(target, geoids[1]),
        dataset_name="cloud",
        places=points,
        grids=GridShelf((folder,) if folder else (), files or {}),
    )
    carried = found.apply(points.easting, points.northing, points.height)
    return found, np.column_stack(carried)


def blocking(found: Plan) -> set[str]:
    """Codes of the findings that block."""
    return {f.code for f in found.findings if f.severity is Severity.BLOCKING}


def warned(found: Plan) -> set[str]:
    """Codes of the warnings."""
    return {f.code for f in found.findings if f.severity is Severity.WARNING}
