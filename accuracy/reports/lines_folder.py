"""The folder of ``accuracy lines``: record, text, page, pictures, and files for geographic systems."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from accuracy.formats.grid_write import write_grid
from accuracy.lines_of_job import DatasetLines
from accuracy.lines_record import LinesReport
from accuracy.reports.lines_gis import render_geopackage
from accuracy.reports.lines_html import page
from accuracy.reports.lines_text import render
from accuracy.reports.lines_view import LinesSubject
from accuracy.reports.plots_lines import LINES_PLOTS, lines_png
from accuracy.reports.qgis_raster_style import classes
from accuracy.units import LengthUnit


def subjects(report: LinesReport, found: Sequence[DatasetLines]) -> list[LinesSubject]:
    """Give what views show."""
    unit = LengthUnit(report.display_unit)
    return [LinesSubject(its.name, its.data, its.pictures, unit) for its in found]


def files(
    report: LinesReport, found: Sequence[DatasetLines], aside: Path
) -> dict[str, bytes | Path]:
    """Give every file of the folder, by name; rasters are written to `aside` and stand as paths.

    Of several clouds, the second has ``-2`` in the names of its files.
    """
    seen = subjects(report, found)
    text = render(report.title, report.verdict, seen, report.findings)
    statements = [claim.statement for subject in seen for claim in subject.claims]
    made: dict[str, bytes | Path] = {
        "lines.json": report.to_json().encode("utf-8"),
        "summary.txt": text.encode("utf-8"),
        "lines.html": page(report, seen),
    }
    if statements:
        made["statement.txt"] = ("\n\n".join(map(_wrapped, statements)) + "\n").encode("utf-8")
    for number, (its, subject) in enumerate(zip(found, seen, strict=True), 1):
        suffix = "" if number == 1 else f"-{number}"
        made |= its.pictures
        made[f"lines{suffix}.gpkg"] = render_geopackage(subject.record, its.reference)
        for name in LINES_PLOTS:
            drawing = lines_png(subject, name)
            if drawing is not None:
                made[f"{name}{suffix}.png"] = drawing
        record = subject.map("difference")
        if its.grids is not None and record is not None:
            raster = aside / f"difference{suffix}.tif"
            write_grid(
                raster,
                its.grids.difference_m,
                (its.grids.west, its.grids.north),
                its.grids.cell,
                its.reference.horizontal_wkt,
                "height of the later flight line minus the earlier, metres",
            )
            made[raster.name] = raster
            bounds = record["bounds"]
            style = classes(bounds, record["colours"][: len(bounds) + 1], "m")
            made[f"difference{suffix}.qml"] = style.encode("utf-8")
    return made


def _wrapped(text: str) -> str:
    import textwrap

    from accuracy.reports.words import printable_lines

    return "\n".join(
        textwrap.fill(line, 96, break_long_words=False, break_on_hyphens=False)
        for line in printable_lines(text).split("\n")
    )
