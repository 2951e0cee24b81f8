"""Points, residual vectors and footprints as a GeoPackage, with styles, in the deliverable's own system.

One set of three layers for each reference system among the datasets; the second set has ``_2`` in its names.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from accuracy.formats.geopackage import Feature, Layer, Place, SpatialReference, geopackage
from accuracy.georeferencing.geodetic import ellipsoid_of, offsets_m
from accuracy.georeferencing.record import Reference
from accuracy.georeferencing.wkt_forms import same_system, wkt_forms
from accuracy.reports import qgis_style
from accuracy.reports.spatial import (
    FIELDS,
    FieldType,
    attributes,
    footprint_of,
    place_of,
    reference_of,
    ring_of,
)
from accuracy.reports.words import printable
from accuracy.residuals import ResidualRow
from accuracy.result import DatasetResult, Result
from accuracy.units import from_metres

Part = Literal["horizontal", "vertical"]

_VECTOR_FIELDS: dict[str, FieldType] = {
    "dataset": "TEXT",
    "id": "TEXT",
    "cover": "TEXT",
    "role": "TEXT",
    "used": "BOOLEAN",
    "part": "TEXT",
    "exaggeration": "REAL",
    "residual_east_m": "REAL",
    "residual_north_m": "REAL",
    "residual_up_m": "REAL",
}
_FOOTPRINT_FIELDS: dict[str, FieldType] = {"dataset": "TEXT", "kind": "TEXT"}


@dataclass
class _Group:
    """Datasets in one reference system."""

    wkt: str | None
    reference: SpatialReference
    members: list[tuple[DatasetResult, Reference]]


def render(result: Result) -> bytes:
    """Give ``residuals.gpkg``; the same bytes for the same record."""
    layers: list[Layer] = []
    for place, group in enumerate(_groups(result)):
        layers += _layers(result, group, "" if place == 0 else f"_{place + 1}")
    return geopackage(layers)


def _groups(result: Result) -> list[_Group]:
    groups: list[_Group] = []
    for dataset in result.datasets:
        reference = reference_of(result, dataset)
        group = next((g for g in groups if _fits(g, dataset.wkt, reference)), None)
        if group is None:
            group = _Group(dataset.wkt, _spatial(dataset, reference), [])
            groups.append(group)
        group.members.append((dataset, reference))
    return groups


def _fits(group: _Group, wkt: str | None, reference: Reference) -> bool:
    if group.wkt is None or wkt is None:
        geographic = reference.horizontal_kind == "geographic"
        return group.wkt is wkt and group.reference.geographic == geographic
    return group.wkt == wkt or same_system(group.wkt, wkt)


def _spatial(dataset: DatasetResult, reference: Reference) -> SpatialReference:
    geographic = reference.horizontal_kind == "geographic"
    if dataset.wkt is None:
        return SpatialReference("unknown", geographic=geographic)
    forms = wkt_forms(dataset.wkt)
    return SpatialReference(printable(forms.name), forms.wkt1, forms.wkt2, forms.epsg, geographic)


def _layers(result: Result, group: _Group, suffix: str) -> Iterator[Layer]:
    names = [dataset.name for dataset, _ in group.members]
    system = f"reference system: {group.reference.name}"
    yield Layer(
        name=f"checkpoints{suffix}",
        title=f"Checkpoints{suffix.replace('_', ' ')}",
        description="Surveyed points with residuals, measured minus surveyed, in metres; heights are the "
        f"surveyed ones; {system}",
        kind="POINT",
        reference=group.reference,
        fields=FIELDS,
        features=[
            Feature(_point(row), attributes(dataset, row))
            for dataset, _ in group.members
            for row in dataset.residuals
        ],
        style=qgis_style.points(names),
    )
    factors = "; ".join(
        f"{printable(dataset.name)}: horizontal {_factor(result, dataset, 'horizontal'):g} times, "
        f"vertical {_factor(result, dataset, 'vertical'):g} times"
        for dataset, _ in group.members
    )
    yield Layer(
        name=f"residual_vectors{suffix}",
        title=f"Residual vectors, exaggerated{suffix.replace('_', ' ')}",
        description="From the surveyed point, exaggerated by the factor in the attribute exaggeration; a "
        f"vertical residual is drawn to the north where the deliverable is too high; {factors}; none where "
        f"the unit of the system is not known; {system}",
        kind="LINESTRING",
        reference=group.reference,
        fields=_VECTOR_FIELDS,
        features=[
            feature
            for dataset, reference in group.members
            for feature in _vectors(result, dataset, reference)
        ],
        style=qgis_style.vectors(names),
    )
    outlines = [
        Feature(ring_of(box), (printable(dataset.name), dataset.kind))
        for dataset, _ in group.members
        for box in footprint_of(result, dataset)
    ]
    if not outlines:  # tables of measured points have none
        return
    yield Layer(
        name=f"footprint{suffix}",
        title=f"Footprint{suffix.replace('_', ' ')}",
        description=f"Outlines of the files tested, from their headers; {system}",
        kind="POLYGON",
        reference=group.reference,
        fields=_FOOTPRINT_FIELDS,
        features=outlines,
        style=qgis_style.outlines(
            [dataset.name for dataset, _ in group.members if footprint_of(result, dataset)]
        ),
    )


def _point(row: ResidualRow) -> tuple[Place, ...]:
    place, height = place_of(row), row.native.get("height")
    if place is None:
        return ()
    return (place,) if height is None else ((*place, height),)


def _factor(result: Result, dataset: DatasetResult, part: Part) -> float:
    """Give how many times a residual is drawn longer than it is, as computed for the site plan."""
    plan = (result.series.get(dataset.name) or {}).get("plan") or {}
    return float(plan.get(f"exaggeration_{part}") or 1.0)


def _vectors(result: Result, dataset: DatasetResult, reference: Reference) -> Iterable[Feature]:
    for row in dataset.residuals:
        start, residual = place_of(row), row.residual
        if start is None or residual is None:
            continue
        parts: Sequence[tuple[Part, float | None, float | None]] = (
            ("horizontal", residual.east_m, residual.north_m),
            ("vertical", None if residual.up_m is None else 0.0, residual.up_m),
        )
        for part, east_m, north_m in parts:
            if east_m is None or north_m is None:
                continue
            factor = _factor(result, dataset, part)
            end = _moved(start, factor * east_m, factor * north_m, reference)
            if end is not None:
                yield Feature(
                    (start, end),
                    (
                        printable(dataset.name),
                        printable(row.id),
                        row.cover,
                        row.role,
                        row.used,
                        part,
                        factor,
                        residual.east_m,
                        residual.north_m,
                        residual.up_m,
                    ),
                )


def _moved(
    start: tuple[float, float], east_m: float, north_m: float, reference: Reference
) -> tuple[float, float] | None:
    """Give the drawn end of a vector; None where metres have no length in the system's unit."""
    x, y = start
    if reference.horizontal_unit is not None:
        unit = reference.horizontal_unit
        return x + from_metres(east_m, unit), y + from_metres(north_m, unit)
    if reference.horizontal_kind != "geographic" or not reference.horizontal_known:
        return None
    step = 1e-4  # degrees; the length of a degree there, for drawing
    lon, lat, to_lon, to_lat = np.array([[x, x], [y, y], [x + step, x], [y, y + step]])
    east, north = offsets_m(ellipsoid_of(reference), lon, lat, to_lon, to_lat)
    return x + east_m * step / float(east[0]), y + north_m * step / float(north[1])
