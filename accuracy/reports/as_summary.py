"""The summary a surveyor reads at a glance: verdict, claims, figures, worst points, findings."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from accuracy.findings import Severity
from accuracy.reports.base_text import together
from accuracy.reports.diagnosis_text import summary_lines as causes
from accuracy.reports.editions_text import summary_lines, title
from accuracy.reports.lines_text import short
from accuracy.reports.lines_view import subjects_of
from accuracy.reports.targets_text import target_tables
from accuracy.reports.words import VERDICT_WORDS, check_text, length, printable
from accuracy.residuals import ResidualRow
from accuracy.result import ClaimResult, DatasetResult, Result
from accuracy.stats import Figure
from accuracy.units import LengthUnit

WIDTH = 96

#: Points listed per dataset.
WORST = 5

_COLUMNS = ("mean", "median", "std", "rmse", "nmad", "min", "max", "p95_abs", "accuracy_95")
_HEADS = ("mean", "median", "std", "RMSE", "NMAD", "min", "max", "95% |e|", "NSSDA 95%")
_AXES = {"east", "north", "up"}
_SIGNED = {"mean", "median", "min", "max"}
_COVER_WORDS = {"all": "all", "non-vegetated": "non-veg.", "vegetated": "vegetated"}


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]], left: set[int]) -> list[str]:
    """Align columns: those in `left` to the left, numbers to the right."""
    body = [tuple(heads), *(tuple(row) for row in rows)]
    widths = [max(len(row[i]) for row in body) for i in range(len(heads))]
    return [
        "  "
        + "  ".join(
            cell.ljust(width) if i in left else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in body
    ]


def _wrapped(text: str, first: str, indent: str) -> str:
    return textwrap.fill(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )


def _head(result: Result) -> list[str]:
    verdicts: list[str] = [
        *(claim.verdict for dataset in result.datasets for claim in dataset.claims),
        *result.line_verdicts,
    ]
    counted = ", ".join(
        f"{number} {word}"
        for verdict, word in (
            ("passes", "passes"),
            ("fails", "fails"),
            ("no-statement", "without statement"),
            ("reported", "reported"),
        )
        if (number := verdicts.count(verdict))
    )
    lines = [f"{VERDICT_WORDS[result.verdict]}   ({counted or 'no claim in the job'})", ""]
    job = result.job.get("job", {})
    for key, label in (
        ("title", "job"),
        ("site", "site"),
        ("prepared_for", "for"),
        ("prepared_by", "by"),
        ("flown", "flown"),
    ):
        if job.get(key):
            lines.append(f"  {label:<8}{printable(str(job[key]))}")
    layout = result.layout
    lines.append(
        f"  {'survey':<8}{layout.checkpoints} checkpoints ({layout.non_vegetated} non-vegetated, "
        f"{layout.vegetated} vegetated); {layout.control} control and {layout.excluded} excluded, never judged"
    )
    return lines


def _claim(dataset: DatasetResult, claim: ClaimResult, unit: LengthUnit) -> list[str]:
    claimed = ", ".join(f"{key} = {value}" for key, value in claim.claimed.items())
    lines = [
        f"  {VERDICT_WORDS[claim.verdict]:<14}{printable(dataset.name)}: {printable(claim.standard)}"
        + (f", {claimed}" if claimed else "")
    ]
    for check in claim.checks:
        lines.append(_wrapped(f"{check_text(check, unit)} [{check.cite}]", " " * 16, " " * 18))
    if claim.reason:
        lines.append(_wrapped(claim.reason, " " * 16 + "because ", " " * 16))
    return lines


def _figures(dataset: DatasetResult, unit: LengthUnit) -> list[str]:
    groups: dict[tuple[str, str], dict[str, Figure]] = {}
    for figure in dataset.figures:
        if not figure.survey_error_included:
            groups.setdefault((figure.component, figure.cover), {})[figure.statistic] = figure
    rows = []
    for (component, cover), by_name in groups.items():
        n = by_name["n"].n
        if n == 0 or component == "3d" or (cover == "all" and _one_cover_only(groups, component)):
            continue
        cells = []
        for name in _COLUMNS:
            found = by_name.get(name)
            value = found.value if found is not None else None
            cells.append(
                length(value, unit, sign=name in _SIGNED)
                if isinstance(value, (int, float))
                else "-"
            )
        rows.append((component, _COVER_WORDS[cover], str(n), *cells))
    if not rows:
        return [f"  {printable(dataset.name)}: no residuals"]
    return [f"  {printable(dataset.name)}", *_table(("", "cover", "n", *_HEADS), rows, {0, 1})]


def _one_cover_only(groups: dict[tuple[str, str], dict[str, Figure]], component: str) -> bool:
    counts = [
        groups[component, cover]["n"].n
        for cover in ("non-vegetated", "vegetated")
        if (component, cover) in groups
    ]
    return sum(n > 0 for n in counts) == 1


def _size(row: ResidualRow) -> float:
    """How far off a row is, for ordering only."""
    residual = row.residual
    values = (residual.east_m, residual.north_m, residual.up_m) if residual else ()
    return max((abs(value) for value in values if value is not None), default=0.0)


def _worst(dataset: DatasetResult, unit: LengthUnit) -> list[str]:
    used = sorted((row for row in dataset.residuals if row.used), key=_size, reverse=True)[:WORST]
    if not used:
        return []
    heads = ("id", "cover", "east", "north", "up", "slope", "description")
    rows = []
    for row in used:
        residual = row.residual
        slope = row.support.slope_deg if row.support else None
        rows.append(
            (
                printable(row.id),
                _COVER_WORDS[row.cover],
                length(residual.east_m if residual else None, unit, sign=True),
                length(residual.north_m if residual else None, unit, sign=True),
                length(residual.up_m if residual else None, unit, sign=True),
                "-" if slope is None else f"{slope:.1f}°",
                printable(row.description)[:40],
            )
        )
    return [f"  {printable(dataset.name)}", *_table(heads, rows, {0, 1, 6})]


def _transformations(result: Result) -> list[str]:
    """Say in words how the checkpoints came to the frame of each dataset."""
    lines = []
    for item in result.transformations:
        name = printable(item.dataset)
        states = {item.horizontal, item.vertical}
        if states == {"identity"}:
            lines.append(f"  {name}: none; one reference system, {printable(item.target)}")
            continue
        told = f"{name}: from {printable(item.source)} to {printable(item.target)}"
        told += f"; horizontal {item.horizontal}, vertical {item.vertical}"
        if "transformed" in states:
            known = item.accuracy_m is not None
            told += f"; stated accuracy {item.accuracy_m:g} m" if known else "; accuracy unknown"
        lines.append(_wrapped(told, "  ", "    "))
        for number, step in enumerate(item.steps, 1):
            named = ", ".join(filter(None, (step.code, step.grid)))
            what = f"{printable(step.what)} [{printable(named)}]" if named else printable(step.what)
            lines.append(_wrapped(what, f"    {number}. ", " " * 7))
            if step.sha256:
                lines.append(f"       SHA-256 {step.sha256}")
        lines += [_wrapped(f"not applied: {text}", "    ", "      ") for text in item.not_applied]
    return lines or ["  nothing to compare"]


def _left_out(result: Result) -> list[str]:
    lines = []
    if result.control:
        lines.append(
            _wrapped(
                "control, never judged: " + ", ".join(map(printable, result.control)), "  ", "    "
            )
        )
    lines += [
        _wrapped(f"excluded: {printable(out.id)}: {printable(out.reason)}", "  ", "    ")
        for out in result.excluded
    ]
    for dataset in result.datasets:
        missing: dict[str, list[str]] = {}
        for row in dataset.residuals:
            if row.role == "checkpoint" and not row.used:
                missing.setdefault(row.detail or row.reason or "", []).append(printable(row.id))
        lines += [
            _wrapped(
                f"no value in {printable(dataset.name)}: {printable(why)}: {', '.join(ids)}",
                "  ",
                "    ",
            )
            for why, ids in missing.items()
        ]
    return lines or ["  nobody"]


def _findings(result: Result) -> list[str]:
    lines = []
    for severity in (Severity.BLOCKING, Severity.WARNING, Severity.NOTE):
        for finding in result.findings:
            if finding.severity is not severity:
                continue
            about = f"{printable(finding.dataset)}: " if finding.dataset else ""
            lines.append(
                _wrapped(
                    f"{about}{printable(finding.message)} [{finding.code}]",
                    f"  {severity.value:<9} ",
                    " " * 12,
                )
            )
            if finding.remedy and severity is not Severity.NOTE:
                lines.append(_wrapped(f"-> {printable(finding.remedy)}", " " * 12, " " * 15))
    return lines or ["  none"]


def _base(result: Result) -> list[str]:
    """Say what the base does to the deliverables; the rest is in ``accuracy base``."""
    told = together(result.base)
    lines = [_wrapped(f"{told[0].upper()}{told[1:]}.", "  ", "    ")]
    if result.base["relative"]:
        lines.append(_wrapped(f"Relative: {result.base['relative']}.", "  ", "    "))
    return lines


def _flight_lines(result: Result) -> list[str]:
    """Say how the flight lines agree; the rest is in ``accuracy lines`` and on the page."""
    return [line for subject in subjects_of(result) for line in short(subject)]


def _section(title: str, lines: Iterable[str]) -> list[str]:
    return ["", title, "-" * WIDTH, *lines]


def render(result: Result) -> bytes:
    """Give ``summary.txt``: plain UTF-8 text, verdict first."""
    unit = LengthUnit(result.job.get("job", {}).get("display_units", "metre"))
    claims = [
        line for d in result.datasets for claim in d.claims for line in _claim(d, claim, unit)
    ]
    lines = _head(result)
    lines += _section("Claims", claims or ["  nothing is claimed"])
    if told := summary_lines(result, unit):
        lines += _section(title(result), told)
    lines += _section(
        f"Figures in {unit.print_name}, measured minus surveyed",
        [line for dataset in result.datasets for line in _figures(dataset, unit)],
    )
    lines += _section(
        f"Largest differences in {unit.print_name}",
        [line for dataset in result.datasets for line in _worst(dataset, unit)] or ["  none"],
    )
    for table in target_tables(result, unit):
        rows = _table(table.heads, table.rows, set(range(table.left)))
        lines += _section(f"{table.title}, {unit.print_name}", rows)
    if result.diagnosis:
        lines += _section("Diagnosis: why it is off", causes(result, unit))
    lines += _section("Transformations", _transformations(result))
    lines += _section("Who was left out, and why", _left_out(result))
    if result.base:
        lines += _section(f"Base {printable(str(result.base['mark']))}", _base(result))
    if result.lines:
        lines += _section("Flight lines", _flight_lines(result))
    lines += _section("Findings", _findings(result))
    lines += [
        "",
        "The statements with their cautions are in statement.txt, every number in result.json.",
    ]
    return ("\n".join(lines) + "\n").encode("utf-8")
