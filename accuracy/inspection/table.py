"""A table of checkpoints or measured positions: what its columns were read as, and whether that can be."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import MappingProxyType

from accuracy.errors import FormatError, InputError
from accuracy.findings import Finding, Severity
from accuracy.formats.point_tables import read_point_table
from accuracy.formats.tables import DELIMITERS, TextTable, is_number
from accuracy.georeferencing.reference import UNKNOWN, Reference, with_units
from accuracy.inputs.checkpoints import (
    Checkpoint,
    CheckpointTable,
    MeasuredPoint,
    MeasuredTable,
    read_checkpoints,
    read_measured_points,
)
from accuracy.inputs.columns import NAMES, Layout, layout_of
from accuracy.inspection import concerns as tell
from accuracy.inspection.concerns import concern
from accuracy.inspection.orders import (
    FIRST_ROWS,
    LARGEST_HEIGHT,
    possible_orders,
    ranges,
    utm_like,
)
from accuracy.inspection.record import Box, Concern, Inspection, OrderReading, TableFacts
from accuracy.job.values import order_mistake

LARGEST_BYTES = 64_000_000
_ROLES = frozenset(NAMES) - {"longitude", "latitude"} | {"easting", "northing"}
_NEEDED = frozenset({"id", "easting", "northing"})
_FORMATS = {"row": "workbook", "feature": "points of a map"}
_SHOWN = 5  # mistakes told


def inspect_table(path: Path, order: str | None = None) -> Inspection:
    """Look into a delimited text file.

    Parameters
    ----------
    order : str, optional
        Letters P N E Z D for a table without a header.

    Raises
    ------
    InputError, FormatError
        The file cannot be read as text, or is far too large for a table of points.
    """
    size = path.stat().st_size if path.is_file() else 0
    if size > LARGEST_BYTES:
        raise FormatError(
            f"{size / 1e6:.0f} MB of text are no table of checkpoints",
            where=str(path),
            remedy="hand in points of a cloud as .las or .laz",
        )
    text = read_point_table(path)
    if not text.rows:
        raise InputError(
            "the table holds no points", where=str(path), remedy="check that this is the right file"
        )
    if order is not None and (mistake := order_mistake(order)):
        raise InputError(f"order = {order!r}: {mistake}", where=str(path))
    headed = not any(map(is_number, text.rows[0].cells))
    if headed:
        order = None  # meant for the tables without a header among several files
    layout: Layout | None = None
    read: CheckpointTable | MeasuredTable | None = None
    orders: tuple[OrderReading, ...] = ()
    found: list[Concern] = []
    try:
        layout = layout_of(text, order, _ROLES, _NEEDED)
        read = (
            read_checkpoints(path, order)
            if order is not None or "height" in layout.columns
            else read_measured_points(path)
        )
    except InputError as error:
        if headed or order is not None:
            found.append(_not_understood(path.name, error, understood=layout is not None))
        else:
            orders = possible_orders(text)
            found.append(_no_header(path.name, text, orders))
    reference = UNKNOWN
    if read is not None:
        reference, unit_findings = with_units(
            UNKNOWN, read.horizontal_unit, read.vertical_unit, read.geographic, path.name
        )
        found += tell.of_findings((*read.findings, *unit_findings), "table")
    facts = _facts(text, layout, headed, read, orders)
    if facts.places:
        found += _plausible(path.name, facts, reference)
    return Inspection(
        path=path,
        kind="table",
        format=_FORMATS.get(text.unit) or f"table, separated by {DELIMITERS[text.delimiter]}",
        size_bytes=size,
        bounds=_box(facts),
        sources=(),
        reference=reference,
        table=facts,
        concerns=tell.ordered(found),
    )


def _facts(
    text: TextTable,
    layout: Layout | None,
    headed: bool,
    read: CheckpointTable | MeasuredTable | None,
    orders: tuple[OrderReading, ...],
) -> TableFacts:
    points = () if read is None else read.points
    heights = [point.height for point in points if point.height is not None]
    places = tuple((point.easting, point.northing) for point in points)
    return TableFacts(
        delimiter=DELIMITERS[text.delimiter] if text.unit == "line" else "cells",
        encoding=text.encoding,
        header=headed,
        columns=_columns(text, layout, headed, read is not None and read.geographic),
        rows=len(text.rows) - int(headed),
        points=None if read is None else len(points),
        has_heights=bool(heights),
        first=_first(text, points, headed),
        orders=orders,
        height_range=(min(heights), max(heights)) if heights else None,
        covers=_covers(points),
        duplicates=len(places) - len(set(places)),
        places=places,
    )


def _columns(
    text: TextTable, layout: Layout | None, headed: bool, geographic: bool
) -> tuple[tuple[str, str], ...]:
    if layout is None:
        cells = text.rows[0].cells
        names = cells if headed else tuple(f"column {at}" for at in range(1, len(cells) + 1))
        return tuple((name, "") for name in names)
    roles = {index: role for role, index in layout.columns.items()}
    if geographic:
        degrees = {"easting": "longitude", "northing": "latitude"}
        roles = {index: degrees.get(role, role) for index, role in roles.items()}
    names = (
        layout.names
        if layout.header_rows
        else tuple(f"column {at}" for at in range(1, len(layout.names) + 1))
    )
    return tuple((name, roles.get(at, "")) for at, name in enumerate(names))


def _first(
    text: TextTable, points: tuple[Checkpoint, ...] | tuple[MeasuredPoint, ...], headed: bool
) -> tuple[tuple[str, ...], ...]:
    if not points:
        start = int(headed)
        return tuple(row.cells for row in text.rows[start : start + FIRST_ROWS])
    rows = []
    for point in points[:FIRST_ROWS]:
        height = "" if point.height is None else _number(point.height)
        row = [point.id, _number(point.easting), _number(point.northing), height]
        if isinstance(point, Checkpoint):
            assumed = "" if point.cover_stated else " (assumed)"
            row += [point.cover + assumed, point.description]
        rows.append(tuple(row))
    return tuple(rows)


def _number(value: float) -> str:
    return f"{value:.12g}"


def _covers(points: tuple[Checkpoint, ...] | tuple[MeasuredPoint, ...]) -> Mapping[str, int]:
    told = Counter(
        point.cover if point.cover_stated else f"assumed {point.cover}"
        for point in points
        if isinstance(point, Checkpoint)
    )
    return MappingProxyType(dict(sorted(told.items())))


def _box(facts: TableFacts) -> Box | None:
    if not facts.places:
        return None
    (west, east), (south, north) = ranges(facts.places)
    return west, south, east, north


def _not_understood(name: str, error: InputError, *, understood: bool) -> Concern:
    mistakes = [str(problem) for problem in error.problems]
    more = f"; and {len(mistakes) - _SHOWN} more" if len(mistakes) > _SHOWN else ""
    told = f": {'; '.join(mistakes[:_SHOWN])}{more}" if mistakes else ""
    return concern(
        "inspect-unusable" if understood else "inspect-columns",
        Severity.BLOCKING,
        f"{name}: {error.message}{told}",
        "the table is refused",
        remedy=error.remedy or "correct the table",
    )


def _no_header(name: str, text: TextTable, orders: tuple[OrderReading, ...]) -> Concern:
    possible = [reading.order for reading in orders if reading.possible]
    if possible:
        asked = (
            f"its numbers allow {', '.join(possible)}"
            if len(possible) > 1
            else f"its numbers allow only {possible[0]} of the usual orders"
        )
        remedy = (
            "find out which it is, and say it in the job: under [checkpoints], "
            + " or ".join(f'order = "{order}"' for order in possible)
            + " (P point, N northing, E easting, Z height, D description)"
        )
    else:
        asked = "no usual order (PNEZD, PENZD and the like) fits its numbers"
        remedy = "add a header: id, easting, northing, height, ..."
    comment = next((c for c in text.comments if len(c.cells) >= len(text.rows[0].cells)), None)
    if comment is not None:
        remedy += f"; line {comment.line}, a comment, may be the header: {comment.text.strip()}"
    return concern(
        "inspect-order",
        Severity.BLOCKING,
        f"{name}: no header says what the columns mean; {asked}",
        "the table is refused; with easting and northing the wrong way round no point would meet the "
        "deliverable",
        remedy=remedy,
    )


def _plausible(name: str, facts: TableFacts, reference: Reference) -> Iterator[Concern]:
    easting, northing = ranges(facts.places)
    degrees = reference.horizontal_kind == "geographic"
    if not degrees and utm_like(northing, easting):
        yield concern(
            "inspect-axes",
            Severity.WARNING,
            f"{name}: easting {easting[0]:.0f} to {easting[1]:.0f} and northing {northing[0]:.0f} to "
            f"{northing[1]:.0f}: in a UTM zone it would be the other way round (a suspicion only: some "
            "systems in feet look like this)",
            "no point would meet the deliverable",
            remedy="check the header against the survey",
        )
    if not degrees and max(map(abs, (*easting, *northing))) <= 180.0:
        yield concern(
            "inspect-place",
            Severity.WARNING,
            f"{name}: all coordinates are below 180: degrees, or a small local system?",
            "degrees read as lengths would meet no deliverable",
            remedy="call the columns lon and lat if they are degrees",
        )
    if facts.height_range is not None:
        low, high = facts.height_range
        if max(abs(low), abs(high)) > LARGEST_HEIGHT or low == high == 0.0:
            yield concern(
                "inspect-heights",
                Severity.WARNING,
                f"{name}: heights from {low:g} to {high:g}",
                "these are no heights; vertical residuals would be nonsense",
                remedy="check which column holds the height",
                component="vertical",
            )
    if not degrees and reference.horizontal_unit is None:
        finding = Finding(
            "crs-unit-unknown",
            Severity.NOTE,
            f"{name}: column names state no unit",
            remedy="names such as height_ftus state it",
        )
        yield Concern(finding=finding, consequence="the units are those of crs in the job")
    repeated = facts.duplicates and not facts.covers  # of checkpoints the reader tells it
    if repeated:
        yield concern(
            "checkpoints-repeated-place",
            Severity.WARNING,
            f"{name}: {facts.duplicates} points stand where another stands",
            tell.CONSEQUENCES["checkpoints-repeated-place"],
            remedy="keep one of them",
        )
