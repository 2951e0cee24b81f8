"""What the exports for geographic information systems share: attributes, systems and places of a dataset."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from accuracy.georeferencing.record import UNKNOWN, Reference
from accuracy.reports.as_csv import COLUMNS
from accuracy.reports.words import printable
from accuracy.residuals import ResidualRow
from accuracy.result import DatasetResult, Result

FieldType = Literal["TEXT", "REAL", "INTEGER", "BOOLEAN"]
Box = tuple[float, float, float, float]

_TEXTS = frozenset(
    [
        "dataset",
        "id",
        "cover",
        "role",
        "reason",
        "detail",
        "classes",
        "flight_lines",
        "tested",
        "description",
    ]
)
_OTHERS: Mapping[str, FieldType] = {"used": "BOOLEAN", "support_points": "INTEGER"}

#: Attributes of a surveyed point and their types: the columns of ``residuals.csv``.
FIELDS: Mapping[str, FieldType] = {
    name: "TEXT" if name in _TEXTS else _OTHERS.get(name, "REAL") for name in ("dataset", *COLUMNS)
}


def attributes(
    dataset: DatasetResult, row: ResidualRow
) -> tuple[str | float | int | bool | None, ...]:
    """Give the values of `FIELDS`; text made harmless, lengths to the micrometre as in the table."""
    values = (dataset.name, *(give(row) for give in COLUMNS.values()))
    return tuple(
        printable(value)
        if isinstance(value, str)
        else round(value, 6) + 0.0
        if isinstance(value, float)
        else value
        for value in values
    )


def reference_of(result: Result, dataset: DatasetResult) -> Reference:
    """Give what the coordinates of a dataset refer to, as read in its files and the job."""
    return next(
        (
            item.reference
            for item in result.inputs
            if item.role == "deliverable" and item.dataset == dataset.name and item.reference
        ),
        UNKNOWN,
    )


def place_of(row: ResidualRow) -> tuple[float, float] | None:
    """Give where a surveyed point stands, in stored units of the deliverable; easting or longitude first."""
    easting, northing = row.native.get("easting"), row.native.get("northing")
    return None if easting is None or northing is None else (easting, northing)


def footprint_of(result: Result, dataset: DatasetResult) -> tuple[Box, ...]:
    """Give the outlines of the files (min x, min y, max x, max y), in stored units of the deliverable."""
    footprint = (result.series.get(dataset.name) or {}).get("footprint") or {}
    return tuple((b[0], b[1], b[2], b[3]) for b in footprint.get("boxes_native") or ())


def ring_of(box: Box) -> tuple[tuple[float, float], ...]:
    """Give the closed ring of a box, counter-clockwise."""
    west, south, east, north = box
    return ((west, south), (east, south), (east, north), (west, north), (west, south))
