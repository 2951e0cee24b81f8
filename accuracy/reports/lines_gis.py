"""Flight lines for geographic information systems: lines, swaths, pairs and voids as a GeoPackage."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from accuracy.flightlines.records import Estimate, LineRecord, LinesRecord, PairRecord
from accuracy.formats.geopackage import (
    Feature,
    FieldType,
    Layer,
    SpatialReference,
    Value,
    geopackage,
)
from accuracy.georeferencing.record import Reference
from accuracy.georeferencing.wkt_forms import wkt_forms
from accuracy.reports.lines_view import pair_name
from accuracy.reports.spatial import ring_of
from accuracy.reports.words import printable

_LINE_FIELDS: dict[str, FieldType] = {
    "line": "INTEGER",
    "source_id": "INTEGER",
    "told_by": "TEXT",
    "points": "INTEGER",
    "first_returns": "INTEGER",
    "start_s": "REAL",
    "end_s": "REAL",
    "course_deg": "REAL",
    "length_m": "REAL",
    "width_m": "REAL",
    "density_per_m2": "REAL",
    "spacing_m": "REAL",
    "thickness_m": "REAL",
    "range_rmsd_m": "REAL",
    "distribution": "REAL",
    "voids": "INTEGER",
    "voids_m2": "REAL",
}
_PAIR_FIELDS: dict[str, FieldType] = {
    "pair": "TEXT",
    "earlier": "INTEGER",
    "later": "INTEGER",
    "course": "TEXT",
    "cells": "INTEGER",
    "mean_m": "REAL",
    "rmsd_m": "REAL",
    "noise_rmsd_m": "REAL",
    "p95_abs_m": "REAL",
    "max_abs_m": "REAL",
    "overlap_m2": "REAL",
    "overlap_width_m": "REAL",
    "tilt_across": "REAL",
    "tilt_across_se": "REAL",
    "east_m": "REAL",
    "east_se_m": "REAL",
    "north_m": "REAL",
    "north_se_m": "REAL",
}
_VOID_FIELDS: dict[str, FieldType] = {
    "line": "INTEGER",
    "area_m2": "REAL",
    "filled": "BOOLEAN",
    "cause": "TEXT",
}


def render_geopackage(record: LinesRecord, reference: Reference) -> bytes:
    """Give ``lines.gpkg``; the same bytes for the same record. Lengths in attributes are metres."""
    return geopackage(list(_layers(record, _spatial(reference))))


def _spatial(reference: Reference) -> SpatialReference:
    if reference.horizontal_wkt is None:
        return SpatialReference("unknown")
    forms = wkt_forms(reference.horizontal_wkt)
    return SpatialReference(printable(forms.name), forms.wkt1, forms.wkt2, forms.epsg, False)


def _layers(record: LinesRecord, reference: SpatialReference) -> Iterator[Layer]:
    yield Layer(
        "flight_lines",
        "Flight lines",
        "Middle of each swath in the direction of flight; lengths in metres",
        "LINESTRING",
        reference,
        _LINE_FIELDS,
        [Feature(line.track, _line_values(line)) for line in record.lines if len(line.track) > 1],
    )
    yield Layer(
        "swaths",
        "Swaths",
        "Outline of each flight line's points; lengths in metres",
        "POLYGON",
        reference,
        _LINE_FIELDS,
        [Feature(line.outline, _line_values(line)) for line in record.lines if line.outline],
    )
    yield Layer(
        "pairs",
        "Pairs of flight lines",
        "Outline of what two lines share; heights of the later minus the earlier line, in metres; tilt in "
        "metres per metre to the right of the earlier line; se: one standard error",
        "POLYGON",
        reference,
        _PAIR_FIELDS,
        [Feature(pair.outline, _pair_values(pair)) for pair in record.pairs if pair.outline],
    )
    yield Layer(
        "voids",
        "Voids of single lines",
        "Box around each gap in the first returns of one line; the cause is to be confirmed by people",
        "POLYGON",
        reference,
        _VOID_FIELDS,
        [
            Feature(
                ring_of(void.box),
                (void.line, round(void.area_m2, 3), void.filled, printable(void.cause)),
            )
            for void in record.coverage.voids
        ],
    )


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 6) + 0.0


def _line_values(line: LineRecord) -> Sequence[Value]:
    whole = next((part for part in line.within if part.part == "all"), None)
    return (
        line.number,
        line.source_id,
        line.how,
        line.points,
        line.first_returns,
        line.start_s,
        line.end_s,
        _rounded(line.heading_deg),
        _rounded(line.length_m),
        _rounded(line.width_m),
        _rounded(line.density_per_m2),
        _rounded(line.spacing_m),
        _rounded(whole.plane_rms_m if whole else None),
        _rounded(whole.literal_rmsd_m if whole else None),
        _rounded(line.distribution),
        line.voids,
        _rounded(line.voids_m2),
    )


def _both(estimate: Estimate | None) -> tuple[float | None, float | None]:
    if estimate is None:
        return None, None
    return _rounded(estimate.value), _rounded(estimate.standard_error)


def _pair_values(pair: PairRecord) -> Sequence[Value]:
    found, offset = pair.differences, pair.offset
    tells = offset is not None and offset.identified == "both"
    return (
        pair_name(pair),
        pair.earlier,
        pair.later,
        pair.kind,
        found.n,
        _rounded(found.mean_m),
        _rounded(found.rmsd_m),
        _rounded(pair.expected_rmsd_m),
        _rounded(found.p95_abs_m),
        _rounded(found.max_abs_m),
        _rounded(pair.overlap_m2),
        _rounded(pair.overlap_width_m),
        *_both(pair.trends.across if pair.trends else None),
        *_both(offset.east_m if offset and tells else None),
        *_both(offset.north_m if offset and tells else None),
    )
