"""The record of flight lines: its schema names exactly what the analysis has, and both schemas say the same."""

from __future__ import annotations

import json
from dataclasses import fields
from typing import Any

import jsonschema
from made_lines import made_dataset

from accuracy.errors import ExitCode
from accuracy.findings import Finding, Severity
from accuracy.flightlines import records
from accuracy.line_statement import LINE_CAUTIONS
from accuracy.lines_of_job import DatasetLines
from accuracy.lines_record import LinesInput, LinesReport, lines_schema
from accuracy.result import Run, overall, result_schema
from accuracy.standards.judge import LineCheck

NAMES = {
    "line_differences": records.Differences,
    "line_estimate": records.Estimate,
    "line_trends": records.Trends,
    "line_offset": records.Offset,
    "line_pair_record": records.PairRecord,
    "line_profile": records.Profile,
    "line_site_trends": records.SiteTrends,
    "line_within_part": records.WithinPart,
    "line_time_gap": records.TimeGap,
    "line_record": records.LineRecord,
    "line_stray": records.Stray,
    "line_void": records.Void,
    "line_coverage": records.Coverage,
    "line_duplicates": records.Duplicates,
    "line_file_order": records.FileOrder,
    "lines_analysis": records.LinesRecord,
    "line_check": LineCheck,
}


def report(*found: DatasetLines, findings: tuple[Finding, ...] = ()) -> LinesReport:
    """Make a record of invented lines."""
    run = Run(
        "0", "3", {}, "9", "v11", "2026-05-14T10:00:00+00:00", "2026-05-14T10:01:00+00:00", {}
    )
    return LinesReport(
        run,
        "Alder Creek",
        "metre",
        (LinesInput("a.laz", "ground cloud", "LAS", 9, "0" * 64, None),),
        {its.name: its.data for its in found},
        findings,
        LINE_CAUTIONS,
        overall([verdict for its in found for verdict in its.verdicts]),
    )


def test_the_schema_names_every_field_of_the_analysis() -> None:
    """A field added or left out on one side is noticed; rasters and findings stand elsewhere."""
    defined = result_schema()["$defs"]
    for name, kind in NAMES.items():
        wanted = {field.name for field in fields(kind)}
        if kind is records.LinesRecord:
            wanted -= {"grids", "findings"}
        assert set(defined[name]["properties"]) == wanted, name


def test_both_schemas_say_the_same_of_lines() -> None:
    """What stands under a cloud's name is one shape in result.json and lines.json."""
    result, lines = result_schema(), lines_schema()
    assert lines["properties"]["lines"] == result["properties"]["lines"]
    for name, definition in lines["$defs"].items():
        assert definition == result["$defs"][name]


def test_a_record_fits() -> None:
    """Sound and faulty, one line alone, and nothing found at all."""
    validator = jsonschema.Draft202012Validator(lines_schema())
    for found in (made_dataset(), made_dataset(fault=0.0012), made_dataset(pairs=(), grids=None)):
        record = json.loads(report(found).to_json())
        validator.validate(record)
        assert list(record)[:2] == ["format", "format_version"]


def test_exit_codes() -> None:
    """A failure or a blocking finding is 1, no statement 3, without a claim 0."""
    bad = Finding("lines-none-shared", Severity.BLOCKING, "x")
    thin = made_dataset(standard="asprs-2024", claimed={"vertical_class_cm": 0.5})
    kept = made_dataset(standard="asprs-2024", claimed={"vertical_class_cm": 20.0})
    cases: list[tuple[LinesReport, Any]] = [
        (report(thin), ExitCode.FAILS),
        (report(kept), ExitCode.PASSES),
        (report(made_dataset()), ExitCode.NO_STATEMENT),
        (report(), ExitCode.PASSES),
        (report(kept, findings=(bad,)), ExitCode.FAILS),
    ]
    for made, code in cases:
        assert made.exit_code is code
