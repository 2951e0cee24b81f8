"""Several files side by side: whether they are in one system and on one scale, and whether they meet."""

from __future__ import annotations

from collections.abc import Sequence

from accuracy.georeferencing.reference import agree
from accuracy.inspection.record import Box, Inspection

_SAME = {"identity": "the same", "differs": "different", "unknown": "not known to be the same"}


def side_by_side(inspections: Sequence[Inspection]) -> tuple[str, ...]:
    """Say what holds between files, in lines for people; empty for fewer than two.

    Clouds and rasters are held against the first of them. A table names no reference system; it is only
    counted how many of its points lie in the boxes of the others.
    """
    surfaces = [item for item in inspections if item.kind != "table"]
    lines: list[str] = []
    if len(surfaces) > 1:
        lines += _systems(surfaces)
        clouds = [item for item in surfaces if item.cloud is not None]
        if len(clouds) > 1:
            grids = {item.cloud.about.scale for item in clouds if item.cloud}
            told = "one" if len(grids) == 1 else f"{len(grids)} different ones"
            lines.append(f"scale of stored coordinates: {told}")
        boxes = [item for item in surfaces if item.bounds is not None]
        apart = [
            item.path.name
            for item in boxes
            if not any(_meet(item.bounds, other.bounds) for other in boxes if other is not item)
        ]
        if apart:
            lines.append(f"boxes that touch no other: {', '.join(apart)}")
    boxes_only = [item.bounds for item in surfaces if item.bounds is not None]
    if boxes_only:
        for item in inspections:
            lines += _inside(item, boxes_only)
    return tuple(lines)


def _systems(surfaces: Sequence[Inspection]) -> list[str]:
    first, *others = surfaces
    lines = []
    for part in ("horizontal", "vertical"):
        groups: dict[str, list[str]] = {}
        for item in others:
            verdict = getattr(agree(first.reference, item.reference, item.path.name), part)
            groups.setdefault(verdict, []).append(item.path.name)
        for verdict, names in groups.items():
            which = "all files" if len(names) == len(others) else ", ".join(names)
            lines.append(f"{part} system, against {first.path.name}: {_SAME[verdict]} ({which})")
    return lines


def _meet(one: Box | None, other: Box | None) -> bool:
    return (
        one is not None
        and other is not None
        and one[0] <= other[2]
        and other[0] <= one[2]
        and one[1] <= other[3]
        and other[1] <= one[3]
    )


def _inside(item: Inspection, boxes: Sequence[Box]) -> list[str]:
    if item.table is None:
        return []
    lines = []
    if item.table.places:
        total = len(item.table.places)
        as_read, swapped = _hits(item.table.places, boxes)
        lines.append(
            f"{item.path.name}: {as_read} of {total} points lie in the boxes of the clouds and rasters, as "
            f"numbers; {swapped} with easting and northing swapped"
        )
    for reading in item.table.orders:
        places = tuple(
            (float(row[1].replace(",", ".")), float(row[2].replace(",", ".")))
            for row in reading.first
        )
        as_read, _ = _hits(places, boxes)
        lines.append(
            f"{item.path.name}: of its first {len(places)} points {as_read} lie in the boxes of the clouds "
            f"and rasters if read as {reading.order}"
        )
    return lines


def _hits(places: Sequence[tuple[float, float]], boxes: Sequence[Box]) -> tuple[int, int]:
    def inside(x: float, y: float) -> bool:
        return any(box[0] <= x <= box[2] and box[1] <= y <= box[3] for box in boxes)

    return sum(inside(x, y) for x, y in places), sum(inside(y, x) for x, y in places)
