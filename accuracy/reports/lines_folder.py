"""The folder of ``accuracy lines``: record, text, page, pictures, and files for geographic systems."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path

from accuracy.formats.grid_write import write_grid
from accuracy.lines_of_job import DatasetLines
from accuracy.lines_record import LinesReport
from accuracy.reports.lines_gis import render_geopackage
from accuracy.reports.lines_html import page
from accuracy.reports.lines_text import WIDTH, render
from accuracy.reports.lines_view import LinesSubject
from accuracy.reports.plots_lines import LINES_PLOTS, lines_png
from accuracy.reports.qgis_raster_style import classes
from accuracy.reports.words import printable, printable_lines
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
    made: dict[str, bytes | Path] = {
        "lines.json": report.to_json().encode("utf-8"),
        "summary.txt": text.encode("utf-8"),
        "lines.html": page(report, seen),
    }
    if any(subject.claims for subject in seen):
        made["statement.txt"] = _statements(report, seen).encode("utf-8")
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


def _statements(report: LinesReport, seen: Sequence[LinesSubject]) -> str:
    """Give the statements with what holds for all of them: title, files and cautions."""
    parts = ["STATEMENT ON FLIGHT LINES", printable(report.title)]
    for subject in seen:
        for claim in subject.claims:
            head = f"{printable(subject.name)}, flight lines, {printable(claim.title)}"
            parts += ["", head, "-" * WIDTH, _wrapped(claim.statement)]
    parts += ["", "Files tested (SHA-256)", "-" * WIDTH]
    parts += [f"{item.sha256}  {printable(item.path)}" for item in report.inputs]
    parts += ["", "Cautions", "-" * WIDTH]
    parts += [textwrap.fill(f"- {text}", WIDTH, subsequent_indent="  ") for text in report.cautions]
    return "\n".join(parts) + "\n"


def _wrapped(text: str) -> str:
    return "\n".join(
        textwrap.fill(line, WIDTH, break_long_words=False, break_on_hyphens=False)
        for line in printable_lines(text).split("\n")
    )
