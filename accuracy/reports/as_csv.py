"""The residuals as a table for spreadsheets, safe to open there."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping

from accuracy.residuals import Position, ResidualRow
from accuracy.result import Result
from accuracy.sampling import Support

#: A cell that starts with one of these may run as a formula; an apostrophe in front makes it text.
#: (OWASP, "CSV Injection"; from memory.)
_STARTS_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%")

_NOWHERE = Position()
_NO_SUPPORT = Support(0)


def _position(of: Position | None) -> Position:
    return of or _NOWHERE


def _support(row: ResidualRow) -> Support:
    return row.support or _NO_SUPPORT


def _counts(counts: Mapping[int, int]) -> str:
    return " ".join(f"{key}:{value}" for key, value in counts.items())


Cell = str | float | int | bool | None

#: Column name to what stands in it. Residual = measured - surveyed; metres unless named otherwise.
COLUMNS: Mapping[str, Callable[[ResidualRow], Cell]] = {
    "id": lambda row: row.id,
    "cover": lambda row: row.cover,
    "role": lambda row: row.role,
    "used": lambda row: row.used,
    "reason": lambda row: row.reason,
    "detail": lambda row: row.detail,
    "residual_east_m": lambda row: _position(row.residual).east_m,
    "residual_north_m": lambda row: _position(row.residual).north_m,
    "residual_up_m": lambda row: _position(row.residual).up_m,
    "surveyed_east_m": lambda row: row.surveyed.east_m,
    "surveyed_north_m": lambda row: row.surveyed.north_m,
    "surveyed_up_m": lambda row: row.surveyed.up_m,
    "measured_east_m": lambda row: _position(row.measured).east_m,
    "measured_north_m": lambda row: _position(row.measured).north_m,
    "measured_up_m": lambda row: _position(row.measured).up_m,
    "native_easting": lambda row: row.native.get("easting"),
    "native_northing": lambda row: row.native.get("northing"),
    "native_height": lambda row: row.native.get("height"),
    "native_measured_easting": lambda row: row.native.get("measured_easting"),
    "native_measured_northing": lambda row: row.native.get("measured_northing"),
    "native_measured_height": lambda row: row.native.get("measured_height"),
    "given_easting": lambda row: row.native.get("given_easting"),
    "given_northing": lambda row: row.native.get("given_northing"),
    "given_height": lambda row: row.native.get("given_height"),
    "survey_rmse_h_m": lambda row: row.survey_rmse_h_m,
    "survey_rmse_v_m": lambda row: row.survey_rmse_v_m,
    "support_points": lambda row: _support(row).points if row.support else None,
    "nearest_m": lambda row: _support(row).nearest_m,
    "circumradius_m": lambda row: _support(row).circumradius_m,
    "cell_m": lambda row: _support(row).cell_m,
    "slope_deg": lambda row: _support(row).slope_deg,
    "roughness_m": lambda row: _support(row).roughness_m,
    "ambiguity_m": lambda row: _support(row).ambiguity_m,
    "classes": lambda row: _counts(_support(row).classes),
    "flight_lines": lambda row: _counts({line.id: line.points for line in _support(row).lines}),
    "tested": lambda row: row.tested,
    "description": lambda row: row.description,
}


def safe(text: str) -> str:
    """Keep a spreadsheet from running a cell: text that could start a formula gets an apostrophe."""
    return f"'{text}" if text.startswith(_STARTS_FORMULA) else text


def _cell(value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return repr(round(value, 6) + 0.0)
    return safe(value) if isinstance(value, str) else str(value)


def render(result: Result) -> bytes:
    """Give ``residuals.csv``: UTF-8 with byte-order mark, comma separated, one row per point and dataset."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(["dataset", *COLUMNS])
    for dataset in result.datasets:
        for row in dataset.residuals:
            writer.writerow([safe(dataset.name), *(_cell(give(row)) for give in COLUMNS.values())])
    return stream.getvalue().encode("utf-8-sig")
