"""Survey points as the USGS wants them: a GeoPackage layer with heights, in the deliverable's system.

References
----------
USGS Lidar Base Specification 2025 rev. A, checkpoints, delivery (read): the fields below; source elevations
with at most three decimals; checkpoints that were not used in the final test are not delivered.
"""

from __future__ import annotations

import re

from accuracy.formats.geopackage import (
    Feature,
    FieldType,
    Layer,
    SpatialReference,
    Value,
    geopackage,
)
from accuracy.georeferencing.record import UNKNOWN, Reference
from accuracy.georeferencing.wkt_forms import wkt_forms
from accuracy.reports.spatial import place_of
from accuracy.reports.words import printable
from accuracy.residuals import ResidualRow
from accuracy.result import Result
from accuracy.units import LengthUnit

FIELDS: dict[str, FieldType] = {
    "unique_identifier": "TEXT",
    "point_type": "TEXT",
    "comment": "TEXT",
    "collection_date": "TEXT",
    "source_geoid": "TEXT",
    "source_horizontal_epsg": "INTEGER",
    "source_horizontal_unit": "TEXT",
    "source_vertical_epsg": "INTEGER",
    "source_vertical_unit": "TEXT",
    "source_easting": "REAL",
    "source_northing": "REAL",
    "source_elevation": "REAL",
    "project_id": "TEXT",
    "accuracy": "REAL",
}


def render(result: Result) -> bytes:
    """Give ``survey-points.gpkg``: the points that were used, and control; `accuracy` is the RMSE of heights.

    Points of all datasets in one system stand in one layer, each once; another system has a layer of its own,
    ending in ``_2``. What the record does not hold, such as the date of each occupation, is left empty.
    """
    source = next(
        (item.reference for item in result.inputs if item.role == "checkpoints" and item.reference),
        UNKNOWN,
    )
    project = _project(result)
    name = re.sub(r"[^a-z0-9]+", "_", project.lower()).strip("_")[:40]
    name = f"{name}_survey_points" if name[:1].isalpha() else f"project_{name}_survey_points"
    layers: list[Layer] = []
    for wkt in dict.fromkeys(dataset.wkt for dataset in result.datasets):
        suffix = "" if not layers else f"_{len(layers) + 1}"
        layers.append(_layer(result, wkt, re.sub("_+", "_", name) + suffix, project, source))
    return geopackage(layers)


def _project(result: Result) -> str:
    number = (result.job.get("report") or {}).get("number")
    return printable(str(number or result.job.get("job", {}).get("title", "project")))


def _layer(result: Result, wkt: str | None, name: str, project: str, source: Reference) -> Layer:
    reference = SpatialReference("unknown")
    if wkt is not None:
        forms = wkt_forms(wkt)
        reference = SpatialReference(
            printable(forms.name), forms.wkt1, forms.wkt2, forms.epsg, forms.geographic
        )
    rows: dict[str, ResidualRow] = {}
    for dataset in result.datasets:
        for row in dataset.residuals:
            if dataset.wkt == wkt and (row.used or row.role == "control"):
                rows.setdefault(row.id, row)
    return Layer(
        name=name,
        title=name,
        description="Survey points used in the test, and control; USGS Lidar Base Specification 2025 rev. A",
        kind="POINT",
        reference=reference,
        fields=FIELDS,
        features=[Feature(_place(row), _values(row, project, source)) for row in rows.values()],
    )


def _place(row: ResidualRow) -> tuple[tuple[float, ...], ...]:
    place, height = place_of(row), row.native.get("height")
    if place is None:
        return ()
    return (place,) if height is None else ((*place, height),)


def _values(row: ResidualRow, project: str, source: Reference) -> tuple[Value, ...]:
    kinds = {"non-vegetated": "NVA", "vegetated": "VVA"}

    def given(axis: str) -> float | None:
        return row.native.get(f"given_{axis}", row.native.get(axis))

    elevation = given("height")
    return (
        printable(row.id),
        "Control" if row.role == "control" else kinds[row.cover],
        printable(row.description) or None,
        None,
        source.geoid,
        _epsg(source.horizontal),
        _unit(source.horizontal_unit),
        _epsg(source.vertical),
        _unit(source.vertical_unit),
        given("easting"),
        given("northing"),
        None if elevation is None else round(elevation, 3),
        project,
        row.survey_rmse_v_m,
    )


def _epsg(code: str | None) -> int | None:
    found = re.fullmatch(r"EPSG:([0-9]+)", code or "")
    return int(found[1]) if found else None


def _unit(unit: LengthUnit | None) -> str | None:
    return None if unit is None else unit.print_name
