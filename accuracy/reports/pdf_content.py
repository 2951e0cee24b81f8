"""What stands in the PDF: plain strings, lists and mappings, in the order of the pages, for the template.

Nothing here is markup. The template reads it as JSON data and sets every string as text.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from accuracy.findings import Severity
from accuracy.reports import editions_text, html_content, lines_pdf, meaning
from accuracy.reports.diagnosis_text import paragraphs
from accuracy.reports.evidence_content import pdf_photographs, pdf_pictures, survey_lines
from accuracy.reports.layout_text import layout_lines
from accuracy.reports.targets_text import target_tables
from accuracy.reports.words import (
    VERDICT_WORDS,
    length,
    neighbourhood_text,
    printable,
    standard_name,
)
from accuracy.residuals import ResidualRow
from accuracy.result import DatasetResult, Result, Transformation, plain
from accuracy.standards.judge import Check
from accuracy.units import LengthUnit

#: Date of the document where the job has no date of flight. It is no date of anything: the PDF must have one,
#: and the same record must give the same bytes.
NO_DATE = date(2000, 1, 1)

#: A longer word is allowed to break after every so many characters.
LONGEST, PIECE = 28, 12

#: A bar is cut off at so many times the limit.
LONGEST_BAR = 1.6

_BREAK = "\u200b"
_UNBROKEN = frozenset({"svg", "sha256"})


def content(result: Result, *, drawings: bool = True) -> dict[str, Any]:
    """Give all that the template sets.

    Parameters
    ----------
    result : Result
        The finished record.
    drawings : bool
        With site plans and plots.

    Returns
    -------
    dict
        For ``templates/report.typ``. Every text has passed `words.printable`.
    """
    unit = LengthUnit(result.job.get("job", {}).get("display_units", "metre"))
    job, report = result.job.get("job", {}), result.job.get("report", {})
    flown = _date(job.get("flown"))
    told: dict[str, Any] = {
        "title": job.get("title") or "Report of accuracy",
        "author": job.get("prepared_by") or "",
        "date": [flown.year, flown.month, flown.day],
        "about": [
            [label, str(job[key])]
            for key, label in (
                ("site", "Site"),
                ("prepared_for", "Prepared for"),
                ("prepared_by", "Prepared by"),
                ("flown", "Flown"),
            )
            if job.get(key)
        ],
        "unit": unit.print_name,
        "number": report.get("number") or "",
        "revision": report.get("revision") or "",
        "signer": report.get("signer") or "",
        "licence": report.get("licence") or "",
        "verdict": result.verdict,
        "word": VERDICT_WORDS[result.verdict],
        "layout": _layout(result, unit),
        "layout_lines": layout_lines(result, unit),
        "survey_lines": survey_lines(result, unit),
        "photographs": pdf_photographs(result) if drawings else [],
        "target_tables": [vars(table) for table in target_tables(result, unit)],
        "claims": [
            _claim(dataset, place, unit)
            for dataset in result.datasets
            for place in range(len(dataset.claims))
        ],
        "documents": plain(editions_text.views(result, unit)),
        "documents_title": editions_text.title(result),
        "means": list(meaning.means(result, unit)),
        "means_not": list(meaning.means_not(result)),
        "datasets": [_dataset(result, dataset, unit, drawings) for dataset in result.datasets],
        "lines": lines_pdf.content(result, drawings=drawings),
        "findings": _findings(result),
        "transformations": [_transformation(item, unit) for item in result.transformations],
        "control": list(result.control),
        "excluded": [[out.id, out.reason] for out in result.excluded],
        "inputs": [
            {
                "path": item.path,
                "role": f"{item.role}, {item.dataset}" if item.dataset else item.role,
                "format": item.format,
                "system": item.reference.name if item.reference else "",
                "bytes": f"{item.bytes:,}".replace(",", "\u202f"),
                "sha256": item.sha256,
            }
            for item in result.inputs
        ],
        "versions": _versions(result),
        "cautions": list(result.cautions),
    }
    return {key: breakable(value, key) for key, value in told.items()}


def breakable(value: Any, key: str = "") -> Any:
    """Make text harmless and let long words break; drawings and hashes stay as they are."""
    if isinstance(value, Mapping):
        return {name: breakable(item, name) for name, item in value.items()}
    if key == "jpeg":
        return value
    if isinstance(value, (list, tuple)):
        return [breakable(item, key) for item in value]
    if isinstance(value, str) and key not in _UNBROKEN:
        return _breakable(printable(value))
    return value


def _breakable(text: str) -> str:
    if len(text) <= LONGEST:
        return text
    return " ".join(
        word
        if len(word) <= LONGEST
        else _BREAK.join(word[i : i + PIECE] for i in range(0, len(word), PIECE))
        for word in text.split(" ")
    )


def _date(text: object) -> date:
    try:
        return date.fromisoformat(str(text))
    except ValueError:
        return NO_DATE


def _layout(result: Result, unit: LengthUnit) -> str:
    of = result.layout
    told = (
        f"{of.checkpoints} checkpoints ({of.non_vegetated} non-vegetated, {of.vegetated} vegetated); "
        f"{of.control} control and {of.excluded} excluded points, never judged."
    )
    if of.extent_east_m is None or of.extent_north_m is None:
        return told
    east, north = (length(v, unit, decimals=1) for v in (of.extent_east_m, of.extent_north_m))
    return f"{told} The checkpoints reach over {east} by {north} {unit.symbol}, east by north."


# --- claims ---------------------------------------------------------------------------------------------


def _claim(dataset: DatasetResult, place: int, unit: LengthUnit) -> dict[str, Any]:
    view = html_content.claim_view(dataset, dataset.claims[place], unit)
    return {
        "dataset": view.dataset,
        "verdict": view.claim.verdict,
        "word": view.word,
        "title": view.claim.title,
        "standard": view.standard,
        "claimed": view.claimed,
        "reason": view.claim.reason or "",
        "paragraphs": list(view.paragraphs),
        "sources": list(view.sources),
        "checks": [
            {
                "name": check.name,
                "n": str(check.n),
                "value": check.value or "no value",
                "sense": check.sense,
                "limit": check.limit or "none",
                "source": f"{check.source} ({check.how})",
                "share_of_limit": share_of_limit(its),
            }
            for check, its in zip(view.checks, view.claim.checks, strict=True)
        ],
    }


def share_of_limit(check: Check) -> float | None:
    """Give how long the bar of a value is, its limit being 1; at most `LONGEST_BAR`. None: nothing to draw."""
    if check.value is None or check.limit is None or check.limit <= 0.0:
        return None
    return min(max(check.value / check.limit, 0.0), LONGEST_BAR)


# --- datasets -------------------------------------------------------------------------------------------


def _dataset(
    result: Result, dataset: DatasetResult, unit: LengthUnit, drawings: bool
) -> dict[str, Any]:
    series = plain(result.series.get(dataset.name) or {})
    axes = html_content.axes_of(dataset.residuals)
    drawn = _plots(result, dataset.name) if drawings else {}
    pictures, told = pdf_pictures(result, dataset) if drawings else ([], "")
    return {
        "name": dataset.name,
        "about": _about(dataset, unit),
        "plan": drawn.pop("site-plan", None),
        "plots": list(drawn.values()),
        "axes": [
            *(html_content.AXES[axis] for axis in axes),
            *(["slope, °"] if html_content.has_slope(dataset.residuals) else []),
        ],
        "figures": _figures(plain(dataset.figures), unit),
        "judged": _points(dataset, axes, unit, judged=True),
        "apart": _points(dataset, axes, unit, judged=False),
        "sensitivity": _sensitivity(dataset, series.get("sensitivity") or {}, unit),
        "diagnosis": list(paragraphs(result, dataset.name, unit)),
        "control": _apart(dataset, series.get("control"), unit),
        "restored": _apart(dataset, series.get("with_exclusions_restored"), unit),
        "no_value": _no_value(dataset.residuals),
        "pictures": pictures,
        "pictures_told": told,
    }


def _about(dataset: DatasetResult, unit: LengthUnit) -> str:
    told = dataset.kind.replace("-", " ")
    if dataset.height_method:
        told += f"; heights taken: {dataset.height_method}"
    if dataset.neighbourhood is not None:
        told += f" of {neighbourhood_text(dataset.neighbourhood, unit)}"
    if dataset.max_circumradius_m is not None:
        radius = f"{length(dataset.max_circumradius_m, unit)} {unit.symbol}"
        told += f"; circumradius of a ground triangle at most {radius}"
    return told


def _plots(result: Result, dataset: str) -> dict[str, dict[str, str]]:
    from accuracy.reports.plots import PLOTS, plot_svg

    return {
        name: {"svg": svg, "title": about.title, "shows": about.shows}
        for name, about in PLOTS.items()
        if (svg := plot_svg(result, dataset, name)) is not None
    }


def _points(
    dataset: DatasetResult, axes: Sequence[str], unit: LengthUnit, *, judged: bool
) -> list[list[str]]:
    """Give the rows of a residual table: id, cover, state, residuals, slope if known, remark."""
    sloped = html_content.has_slope(dataset.residuals)
    views = (
        html_content.point_view("", row, axes, unit)
        for row in dataset.residuals
        if (row.role == "checkpoint") == judged
    )
    return [
        [
            view.row.id,
            view.row.cover,
            view.state,
            *view.cells,
            *([view.slope] if sloped else []),
            view.remark,
        ]
        for view in views
    ]


def _figures(figures: Sequence[Mapping[str, Any]], unit: LengthUnit) -> dict[str, Any]:
    """Give a table of figures: heads of the columns of numbers, and rows."""
    found = html_content.figure_rows(figures, unit)
    return {
        "names": list(found[0].names) if found else [],
        "rows": [[row.component, row.cover, str(row.n), *row.cells] for row in found],
    }


def _sensitivity(
    dataset: DatasetResult, series: Mapping[str, Any], unit: LengthUnit
) -> list[dict[str, Any]]:
    """Say what each claim would be without each single point."""

    def value(of: Mapping[str, Any]) -> str:
        return f"{length(of['value'], unit, decimals=4)} {unit.symbol}"

    told = []
    for place, claim in enumerate(dataset.claims):
        its = series.get(str(place))
        if not its or its["check"] is None or its["lowest"] is None or its["highest"] is None:
            continue
        part = (
            "" if its["tried"] == its["of"] else " (those of the largest and the smallest errors)"
        )
        told.append(
            {
                "text": f"{standard_name(claim)}, {its['check']}, {value(its)} with every point. Judged again "
                f"{its['tried']} times, each time without one of the {its['of']} points{part}: from "
                f"{value(its['lowest'])} without {its['lowest']['id']} to {value(its['highest'])} without "
                f"{its['highest']['id']}.",
                "changes": [
                    f"without {change['id']}: {VERDICT_WORDS[change['verdict']]}, {value(change)}"
                    for change in its["changes"]
                ],
            }
        )
    return told


def _apart(
    dataset: DatasetResult, series: Mapping[str, Any] | None, unit: LengthUnit
) -> dict[str, Any] | None:
    if not series:
        return None
    return {
        "ids": ", ".join(series["ids"]),
        "figures": _figures(series["figures"], unit),
        "verdicts": [
            f"With them, the claim by {standard_name(dataset.claims[int(place)])} would read: "
            f"{VERDICT_WORDS[verdict]}."
            for place, verdict in (series.get("verdicts") or {}).items()
        ],
    }


def _no_value(rows: Sequence[ResidualRow]) -> list[list[str]]:
    """Gather the checkpoints without a value by the reason."""
    found: dict[str, list[str]] = {}
    for row in rows:
        if row.role == "checkpoint" and not row.used:
            found.setdefault(row.detail or row.reason or "", []).append(row.id)
    return [[why, ", ".join(ids)] for why, ids in found.items()]


# --- the rest -------------------------------------------------------------------------------------------


def _findings(result: Result) -> list[dict[str, str]]:
    return [
        {
            "severity": finding.severity.value,
            "dataset": finding.dataset or "",
            "message": finding.message,
            "code": finding.code,
            "remedy": finding.remedy,
        }
        for severity in (Severity.BLOCKING, Severity.WARNING, Severity.NOTE)
        for finding in result.findings
        if finding.severity is severity
    ]


def _transformation(item: Transformation, unit: LengthUnit) -> dict[str, Any]:
    def accuracy(value_m: float | None) -> str:
        return "unknown" if value_m is None else f"{length(value_m, unit)} {unit.symbol}"

    if item.horizontal == item.vertical == "identity":
        text = (
            f"One reference system on both sides, {item.target}. Nothing was transformed; the coordinates were "
            "compared as they are."
        )
    else:
        epoch = "" if item.epoch_year is None else f"; epoch {item.epoch_year}"
        text = (
            f"From {item.source} to {item.target}. Horizontal: {item.horizontal}; vertical: {item.vertical}; "
            f"stated accuracy of the way: {accuracy(item.accuracy_m)}{epoch}."
        )
    steps = []
    for step in () if item.horizontal == item.vertical == "identity" else item.steps:
        named = ", ".join(filter(None, (step.operation, step.code)))
        epoch = "" if step.epoch_year is None else f", at epoch {step.epoch_year}"
        steps.append(
            {
                "what": f"{step.what}{f' [{named}]' if named else ''}; stated accuracy "
                f"{accuracy(step.accuracy_m)}{epoch}",
                "grid": step.grid or "",
                "sha256": step.sha256 or "",
                "parameters": step.parameters or "",
            }
        )
    return {
        "dataset": item.dataset,
        "text": text,
        "steps": steps,
        "not_applied": list(item.not_applied),
    }


def _versions(result: Result) -> list[list[str]]:
    """Give what computed; not when, so that the same inputs give the same bytes."""
    run = result.run
    return [
        ["accuracy", run.tool_version],
        ["Python", run.python],
        ["PROJ", run.proj],
        ["EPSG dataset", run.epsg],
        *([name, version] for name, version in sorted(run.libraries.items())),
        ["format of the record", f"{result.format} {result.format_version}"],
    ]
