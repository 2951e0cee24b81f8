"""What an inspection found, as plain text for people."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta

from accuracy.formats.las_about import LasAbout
from accuracy.georeferencing.reference import Reference
from accuracy.inspection.record import (
    CloudFacts,
    CrsSource,
    Inspection,
    PointCounts,
    RasterFacts,
    TableFacts,
)
from accuracy.reports.words import printable
from accuracy.units import LengthUnit

WIDTH = 96
LABEL = 13
#: Classes of the LAS specification 1.4 R15, table 17 (from memory).
CLASSES = {
    0: "never classified",
    1: "unclassified",
    2: "ground",
    3: "low vegetation",
    4: "medium vegetation",
    5: "high vegetation",
    6: "building",
    7: "low noise",
    9: "water",
    10: "rail",
    11: "road surface",
    17: "bridge deck",
    18: "high noise",
}
#: Names of GeoKeys, OGC GeoTIFF 1.1 (19-008r4; from memory).
GEOKEYS = {
    1024: "model type",
    1025: "raster type",
    1026: "citation",
    2048: "geodetic CRS",
    2049: "geodetic citation",
    2050: "geodetic datum",
    2051: "prime meridian",
    2052: "linear unit of the geodetic CRS",
    2054: "angular unit",
    2056: "ellipsoid",
    2057: "semi-major axis",
    2058: "semi-minor axis",
    2059: "inverse flattening",
    3072: "projected CRS",
    3073: "projected citation",
    3074: "projection",
    3075: "projection method",
    3076: "linear unit",
    3077: "size of the linear unit",
    4096: "vertical CRS",
    4097: "vertical citation",
    4098: "vertical datum",
    4099: "vertical unit",
}
_MOST = 16  # classes, lines, keys and the like listed in full
_GPS_START = datetime(1980, 1, 6)
_ADJUSTED = 1_000_000_000  # seconds taken off adjusted standard GPS time, LAS specification 1.4


def render(inspection: Inspection) -> str:
    """Give one file's block of text, no line wider than 100 columns."""
    lines = [*_wrap(printable(inspection.path.as_posix()), "", "  "), "-" * WIDTH]
    lines += _item("what", f"{inspection.format}; {inspection.size_bytes} bytes")
    if inspection.cloud is not None:
        lines += _cloud(inspection.cloud)
    elif inspection.raster is not None:
        lines += _raster(inspection, inspection.raster)
    elif inspection.table is not None:
        lines += _table(inspection, inspection.table)
    lines += _systems(inspection)
    lines += _concerns(inspection)
    return "\n".join(lines) + "\n"


def render_together(lines: Sequence[str]) -> str:
    """Give the block that holds the files against each other; empty where there is nothing to say."""
    if not lines:
        return ""
    body = [row for line in lines for row in _wrap(printable(line), "  ", "    ")]
    return "\n".join(["All files together", "-" * WIDTH, *body]) + "\n"


def _wrap(text: str, first: str, rest: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    ) or [first.rstrip()]


def _item(label: str, text: str) -> list[str]:
    return _wrap(printable(text), f"  {label:<{LABEL}}", " " * (LABEL + 2))


def _number(value: float, decimals: int) -> str:
    if not math.isfinite(value) or abs(value) >= 1e13:
        return f"{value:g}"
    return f"{value:.{min(decimals, 10)}f}"


def _decimals(scale: float) -> int:
    return max(0, min(9, math.ceil(-math.log10(scale) - 1e-9))) if scale > 0.0 else 3


def _cloud(facts: CloudFacts) -> list[str]:
    about, counts = facts.about, facts.counts
    lines = _item("software", _origin(about))
    lines += _item("header", _header_counts(about))
    if counts is None:
        lines += _item("points", facts.not_counted or "not counted")
    else:
        lines += _item("points", _read_counts(counts))
    low, high = about.minimum, about.maximum
    told = "header"
    if counts is not None and counts.minimum is not None and counts.maximum is not None:
        low, high, told = counts.minimum, counts.maximum, "points"
    decimals = [_decimals(scale) for scale in about.scale]
    for at, axis in enumerate("xyz"):
        lines += _item(
            f"bounds {axis}",
            f"{_number(low[at], decimals[at])} to {_number(high[at], decimals[at])} ({told}); "
            f"stored as integers times {about.scale[at]:g}, offset {about.offset[at] + 0.0:.12g}",
        )
    if counts is None or not counts.points:
        return lines
    lines += _item("classes", _listed(counts.classes, CLASSES))
    lines += _item("flight lines", _listed(counts.lines, {}))
    flags = (
        ("withheld", counts.withheld),
        ("synthetic", counts.synthetic),
        ("overlap", counts.overlap),
    )
    lines += _item("flags", ", ".join(f"{name} {number}" for name, number in flags))
    lines += _item("density", _density(counts))
    return lines + _item("GPS time", _times(about, counts))


def _origin(about: LasAbout) -> str:
    made = (
        about.created.isoformat() if about.created else f"day {about.day_of_year} of {about.year}"
    )
    if not about.year and not about.day_of_year:
        made = "date not given"
    return f'"{about.software}", system "{about.system}", {made}'


def _header_counts(about: LasAbout) -> str:
    text = f"{about.legacy_points} points (legacy count)"
    if about.long_points is not None:
        text = f"{about.long_points} points (64-bit), {about.legacy_points} (legacy)"
    if any(about.by_return):
        text += "; by return " + _returns(dict(enumerate(about.by_return, 1)))
    else:
        text += "; not counted by return"
    return f"{text}; {about.extra_bytes} extra bytes a point" if about.extra_bytes else text


def _returns(counts: Mapping[int, int]) -> str:
    return ", ".join(f"{number}: {count}" for number, count in counts.items() if count)


def _read_counts(counts: PointCounts) -> str:
    return f"{counts.points} read; by return {_returns(counts.by_return) or 'none'}"


def _listed(counts: Mapping[int, int], names: Mapping[int, str]) -> str:
    shown = [
        f"{key}{f' {names[key]}' if key in names else ''}: {count}"
        for key, count in list(counts.items())[:_MOST]
    ]
    more = len(counts) - len(shown)
    return ", ".join(shown) + (f", and {more} more" if more else "")


def _density(counts: PointCounts) -> str:
    density = counts.density
    if density is None:
        return "not computed: too few points, or coordinates in degrees"
    where = "with points in all eight cells around" if density.inner else "with points"
    if density.per_m2 is None:
        return (
            f"{density.per_square_unit:.3g} points per square stored unit, mean of {density.cells} cells "
            + where
        )
    return (
        f"{density.per_m2:.3g} points/m2: mean of the {density.cells} cells of {density.cell_m:.2f} m {where}; "
        f"{density.overall_per_m2:.3g} over all cells with points ({density.covered_m2:.0f} m2); noise and "
        "withheld points aside"
    )


def _times(about: LasAbout, counts: PointCounts) -> str:
    if about.time_kind == "none":
        return "none in this point format"
    low, high = counts.time_minimum, counts.time_maximum
    if low is None or high is None:
        return f"no number in any of {counts.points} points"
    if about.time_kind == "adjusted-standard":
        text = f"{_moment(low)} to {_moment(high)} (adjusted standard GPS time {low:.10g} to {high:.10g})"
    else:
        text = f"{low:.10g} to {high:.10g} s (seconds of the GPS week, as the header says)"
    text += f", span {high - low:.6g} s"
    return f"{text}; {counts.time_missing} not a number" if counts.time_missing else text


def _moment(adjusted: float) -> str:
    try:
        at = _GPS_START + timedelta(seconds=adjusted + _ADJUSTED)
    except OverflowError:
        return "no date"
    return at.isoformat(sep=" ", timespec="seconds")


def _raster(inspection: Inspection, facts: RasterFacts) -> list[str]:
    about = facts.about
    lines: list[str] = []
    if facts.cell_size is not None and inspection.bounds is not None:
        west, south, east, north = inspection.bounds
        lines += _item("bounds", f"x {west:.10g} to {east:.10g}, y {south:.10g} to {north:.10g}")
        width, height = facts.cell_size
        turned = f", rows turned by {facts.rotation_deg:.4f} degrees" if facts.rotation_deg else ""
        lines += _item("cells", f"{width:.10g} x {height:.10g} stored units{turned}")
    else:
        lines += _item("cells", "nothing says where they lie")
    lines += _item("convention", f"AREA_OR_POINT {about.area_or_point or 'not given'}")
    counted = {band.band: band for band in facts.counted}
    for band in about.bands[:_MOST]:
        nodata = "none declared" if band.nodata is None else f"{band.nodata:g}"
        text = f"{band.dtype}, {band.description or band.colour}, no data {nodata}"
        if (band.scale, band.offset) != (1.0, 0.0):
            text += f", scale {band.scale:g}, offset {band.offset:g}"
        text += f", unit {band.unit or 'not named'}"
        found = counted.get(band.number)
        if found is not None:
            text += f"; {found.valid} of {found.cells} cells hold data"
            if found.minimum is not None:
                text += f", {found.minimum:.7g} to {found.maximum:.7g}"
        lines += _item(f"band {band.number}", text)
    if facts.not_counted:
        lines += _item("not read", facts.not_counted)
    return lines


def _table(inspection: Inspection, facts: TableFacts) -> list[str]:
    lines = _item("text", f"separated by {facts.delimiter}, {facts.encoding}")
    headed = "the first row names the columns" if facts.header else "no header"
    lines += _item("rows", f"{facts.rows}; {headed}")
    lines += _item(
        "columns",
        ", ".join(
            name if name == role else f"{name} -> {role}" if role else f"{name} (not used)"
            for name, role in facts.columns
        )
        if facts.points is not None
        else ", ".join(name for name, _ in facts.columns),
    )
    if facts.points is not None:
        kind = "with heights" if facts.has_heights else "without heights"
        twice = f", {facts.duplicates} at the place of another" if facts.duplicates else ""
        lines += _item("points", f"{facts.points} {kind}{twice}")
    if inspection.bounds is not None:
        west, south, east, north = inspection.bounds
        text = f"easting {west:.10g} to {east:.10g}, northing {south:.10g} to {north:.10g}"
        if facts.height_range is not None:
            text += f", height {facts.height_range[0]:.10g} to {facts.height_range[1]:.10g}"
        lines += _item("extent", text)
        lines += _item("units", _units(inspection.reference))
    if facts.covers:
        lines += _item("cover", ", ".join(f"{name}: {n}" for name, n in facts.covers.items()))
    if facts.orders:
        for reading in facts.orders:
            lines += _item(f"as {reading.order}", reading.likeness)
            lines += _grid(("id", "easting", "northing", "height", "description"), reading.first)
    elif facts.points is not None:
        heads = ("id", "easting", "northing", "height", "cover", "description")
        lines += _item("first points", "as understood")
        lines += _grid(heads[: max(map(len, facts.first))], facts.first)
    else:
        lines += _item("first rows", "as they stand")
        lines += [
            row
            for cells in facts.first
            for row in _wrap(printable(" | ".join(cells)), " " * 15, " " * 17)
        ]
    return lines


def _units(reference: Reference) -> str:
    def told(unit: LengthUnit | None) -> str:
        return "not stated" if unit is None else unit.print_name

    if reference.horizontal_kind == "geographic":
        return f"longitude and latitude in degrees, heights {told(reference.vertical_unit)}"
    return f"plane {told(reference.horizontal_unit)}, heights {told(reference.vertical_unit)}"


def _grid(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    body = [tuple(heads), *(tuple(printable(cell)[:24] for cell in row) for row in rows)]
    body = [(*row, *[""] * (len(heads) - len(row)))[: len(heads)] for row in body]
    widths = [max(len(row[at]) for row in body) for at in range(len(heads))]
    numbers = {1, 2, 3}
    return [
        (
            " " * (LABEL + 2)
            + "  ".join(
                cell.rjust(width) if at in numbers else cell.ljust(width)
                for at, (cell, width) in enumerate(zip(row, widths, strict=True))
            )
        ).rstrip()[: WIDTH + 4]
        for row in body
    ]


def _systems(inspection: Inspection) -> list[str]:
    if inspection.table is not None:
        return _item("system", "a table names none; state crs in [checkpoints] of the job")
    lines: list[str] = []
    if inspection.cloud is not None and inspection.cloud.about.names_wkt is not None:
        named = "WKT" if inspection.cloud.about.names_wkt else "GeoKeys"
        lines += _item("header bit", f"names {named} as the kind of reference system record")
    for source in inspection.sources:
        lines += _source(source)
    if not inspection.sources:
        lines += _item("source", "no record declares a reference system")
    return lines + _item("system", _meaning(inspection.reference))


def _source(source: CrsSource) -> list[str]:
    item = source.evidence
    lines = _item("source", item.where)
    indent = " " * (LABEL + 2)
    shown = list(item.geokeys.items())[: 2 * _MOST]
    for key, value in shown:
        named = GEOKEYS.get(key, "")
        lines += _wrap(printable(f"{key} {named} = {value}"), f"{indent}  ", f"{indent}    ")
    if item.wkt is not None:
        lines += _wrap(printable(_shortened(item.wkt)), f"{indent}  ", f"{indent}    ")
    if source.reference is not None:
        lines += _wrap(printable(f"alone: {_meaning(source.reference)}"), indent, f"{indent}  ")
    if source.problem is not None:
        lines += _wrap(printable(f"but: {source.problem}"), indent, f"{indent}  ")
    return lines


def _shortened(wkt: str) -> str:
    one_line = " ".join(wkt.split())
    return one_line if len(one_line) <= 150 else f"{one_line[:147]}..."


def _meaning(reference: Reference) -> str:
    plane = "horizontal unknown"
    if reference.horizontal_wkt is not None:
        unit = (
            "degrees"
            if reference.horizontal_kind == "geographic"
            else "unit unknown"
            if reference.horizontal_unit is None
            else reference.horizontal_unit.print_name
        )
        plane = f"horizontal {reference.horizontal}, {reference.frame or 'datum unknown'}, {unit}"
    elif reference.horizontal_unit is not None:
        plane = f"horizontal unknown, {reference.horizontal_unit.print_name}"
    up_unit = "" if reference.vertical_unit is None else f", {reference.vertical_unit.print_name}"
    if reference.vertical_known:
        geoid = f", geoid {reference.geoid}" if reference.geoid else ""
        up = f"vertical {reference.vertical}{up_unit}{geoid}"
    else:
        up = f"vertical {'not declared' if reference.vertical_kind == 'none' else 'unknown'}{up_unit}"
    epoch = "" if reference.epoch_year is None else f"; epoch {reference.epoch_year:g}"
    name = "" if reference.name == "unknown" else f"{reference.name}: "
    return f"{name}{plane}; {up}{epoch}"


def _concerns(inspection: Inspection) -> list[str]:
    if not inspection.concerns:
        return _item("looks wrong", "nothing")
    lines = ["  looks wrong, and what it would do to a comparison"]
    for found in inspection.concerns:
        finding = found.finding
        own = f"{inspection.path.name}: "
        message = finding.message.removeprefix(own)
        lines += _wrap(
            printable(f"{message} [{finding.code}]"),
            f"    {finding.severity.value:<9} ",
            " " * 14,
        )
        lines += _wrap(printable(f"effect: {found.consequence}"), " " * 14, " " * 16)
        if finding.remedy:
            lines += _wrap(printable(f"-> {finding.remedy}"), " " * 14, " " * 17)
    return lines
