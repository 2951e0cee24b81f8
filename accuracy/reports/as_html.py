"""The report as one page: a single file without any request to elsewhere, for screen, phone and paper.

Text from files is escaped by the template engine and passes `words.printable`; the data for the script stand
in a JSON block; a content security policy lets only the page's own script run.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from accuracy.findings import Finding, Severity
from accuracy.reports import editions_text, html_content, html_plan, html_plots, meaning
from accuracy.reports.diagnosis_text import paragraphs
from accuracy.reports.evidence_content import (
    pictures_on_page,
    survey_lines,
    told_of_pictures,
)
from accuracy.reports.layout_text import layout_lines
from accuracy.reports.pictures import relief_of
from accuracy.reports.targets_text import target_tables
from accuracy.reports.words import (
    VERDICT_WORDS,
    length,
    neighbourhood_text,
    printable,
    standard_name,
)
from accuracy.result import DatasetResult, Result, plain
from accuracy.units import LengthUnit

if TYPE_CHECKING:
    import jinja2
    from markupsafe import Markup

TEMPLATES = "templates"

_COUNTED = (
    ("passes", "passes", "pass"),
    ("fails", "fails", "fail"),
    ("no-statement", "can have no statement", "can have no statement"),
    ("reported", "is reported without a limit", "are reported without a limit"),
)


@dataclass(frozen=True)
class PlotView:
    """One plot: its title, what it shows, and its drawing."""

    title: str
    shows: str
    drawing: str


@dataclass(frozen=True)
class SensitivityView:
    """What one claim would be without each single point."""

    standard: str
    verdict: str
    check: str
    value: str
    lowest: str
    highest: str
    tried: int
    of: int
    changes: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True)
class ApartView:
    """Figures of points that are never judged."""

    ids: tuple[str, ...]
    figures: tuple[html_content.FigureRow, ...]
    verdicts: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class DatasetView:
    """One dataset as the page shows it."""

    key: str
    result: DatasetResult
    axes: tuple[str, ...]
    has_slope: bool
    plan: html_plan.Plan | None
    ground: str | None
    judged: tuple[html_content.PointView, ...]
    apart: tuple[html_content.PointView, ...]
    figures: tuple[html_content.FigureRow, ...]
    sources: tuple[Mapping[str, Any], ...]
    plots: tuple[PlotView, ...]
    sensitivity: tuple[SensitivityView, ...]
    control: ApartView | None
    restored: ApartView | None
    diagnosis: tuple[str, ...]
    pictures: str = ""


def render(result: Result) -> bytes:
    """Give ``report.html``: UTF-8, self-contained, the same bytes for the same record."""
    unit = LengthUnit(result.job.get("job", {}).get("display_units", "metre"))
    script = packaged("page.js")
    lines = _lines(result)
    style = packaged("page.css") + (packaged("lines.css") if lines else "")
    page = (
        environment()
        .get_template("page.html")
        .render(
            result=result,
            layout_lines=layout_lines(result, unit),
            target_tables=target_tables(result, unit),
            unit=unit,
            style=safe(style),
            script=safe(script),
            script_hash=base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode(),
            word=VERDICT_WORDS[result.verdict],
            counted=_counted(result),
            claims=[
                html_content.claim_view(dataset, claim, unit)
                for dataset in result.datasets
                for claim in dataset.claims
            ],
            documents=editions_text.views(result, unit),
            documents_title=editions_text.title(result),
            means=meaning.means(result, unit),
            means_not=meaning.means_not(result),
            datasets=[_dataset(result, i, unit) for i in range(len(result.datasets))],
            lines=lines,
            findings=_findings(result.findings),
            data=safe(_json({f"d{i}": _details(d, unit) for i, d in enumerate(result.datasets)})),
            grounds=_grounds(result),
            pictures=_pictures(result),
            survey_lines=survey_lines(result, unit),
            versions=_versions(result),
            words=VERDICT_WORDS,
        )
    )
    return page.encode("utf-8")


def _json(data: object) -> str:
    """Write JSON that can stand inside a script element: no character of markup in it."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text


def safe(text: str) -> Markup:
    """Mark text of our own as markup."""
    from markupsafe import Markup

    return Markup(text)  # ours: packaged files, drawn plots, escaped JSON


def packaged(name: str) -> str:
    """Give a packaged template."""
    return resources.files("accuracy.reports").joinpath(TEMPLATES, name).read_text("utf-8")


@cache
def environment() -> jinja2.Environment:
    """Give the template engine: everything escaped and printable unless marked."""
    import jinja2
    from markupsafe import Markup

    def shown(value: object) -> object:
        """Make every printed value harmless; print what is missing as a dash."""
        if value is None:
            return "–"
        if isinstance(value, str) and not isinstance(value, Markup):
            return printable(value)
        return value

    def metres(value: float | None, unit: LengthUnit, decimals: int = 3) -> str:
        return "–" if value is None else f"{length(value, unit, decimals=decimals)} {unit.symbol}"

    environment = jinja2.Environment(
        loader=jinja2.FunctionLoader(lambda name: packaged(name)),
        autoescape=True,
        finalize=shown,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters["metres"] = metres
    environment.filters["neighbourhood"] = neighbourhood_text
    environment.filters["figure_value"] = html_content.figure_value
    environment.filters["size"] = lambda count: f"{count:,}".replace(",", "\u202f")
    environment.globals["axis_words"] = html_content.AXES
    return environment


def _pictures(result: Result) -> Markup | None:
    """Give what the script shows of a point on request; None where there is nothing."""
    shown, embedded = pictures_on_page(result)
    if not any(shown.values()):
        return None
    return safe(_json({"shown": shown, "embedded": embedded}))


def _counted(result: Result) -> str:
    verdicts = [claim.verdict for dataset in result.datasets for claim in dataset.claims]
    verdicts += result.line_verdicts
    told = [
        f"{number} {one if number == 1 else many}"
        for verdict, one, many in _COUNTED
        if (number := verdicts.count(verdict))  # type: ignore[arg-type]  # one of the words
    ]
    if not told:
        return "Nothing is claimed in the job; the figures stand below."
    if len(verdicts) == 1:
        return f"The one claim {told[0].removeprefix('1 ')}."
    return f"Of {len(verdicts)} claims: {', '.join(told)}."


def _details(dataset: DatasetResult, unit: LengthUnit) -> dict[str, Any]:
    return html_content.details(dataset.residuals, unit, printable)


def _dataset(result: Result, place: int, unit: LengthUnit) -> DatasetView:
    dataset = result.datasets[place]
    series = plain(result.series.get(dataset.name) or {})
    axes = html_content.axes_of(dataset.residuals)
    relief = relief_of(result, dataset.name)
    points = [
        html_content.point_view(str(i), row, axes, unit) for i, row in enumerate(dataset.residuals)
    ]
    return DatasetView(
        key=f"d{place}",
        result=dataset,
        axes=axes,
        has_slope=html_content.has_slope(dataset.residuals),
        plan=html_plan.draw(
            dataset.residuals, unit, (series.get("footprint") or {}).get("boxes_m", ()), relief
        ),
        ground=None if relief is None or relief.picture is None else _place(relief.picture),
        judged=tuple(point for point in points if point.row.role == "checkpoint"),
        apart=tuple(point for point in points if point.row.role != "checkpoint"),
        figures=html_content.figure_rows(plain(dataset.figures), unit),
        sources=tuple(figure for figure in plain(dataset.figures) if figure["n"]),
        plots=_plots(result, dataset.name, f"d{place}"),
        sensitivity=_sensitivity(dataset, series.get("sensitivity") or {}, unit),
        control=_apart(dataset, series.get("control"), unit),
        restored=_apart(dataset, series.get("with_exclusions_restored"), unit),
        pictures=told_of_pictures(result, place),
        diagnosis=paragraphs(result, dataset.name, unit),
    )


def _lines(result: Result) -> tuple[Any, ...]:
    """Give the sections on flight lines, where these were compared."""
    from accuracy.reports.lines_html import views

    return views(result)


def _place(picture: bytes) -> str:
    """Name a picture on the page by its content, so that plans of the same ground share it."""
    return f"ground-{hashlib.sha256(picture).hexdigest()[:12]}"


def _grounds(result: Result) -> dict[str, str]:
    """Give the pictures of the ground by their names on the page."""
    reliefs = [relief_of(result, dataset.name) for dataset in result.datasets]
    return {
        _place(its.picture): "data:image/png;base64," + base64.b64encode(its.picture).decode()
        for its in reliefs
        if its is not None and its.picture is not None
    }


def _plots(result: Result, dataset: str, key: str) -> tuple[PlotView, ...]:
    from accuracy.reports import plots

    views = []
    for name, about in plots.PLOTS.items():
        svg = None if name == "site-plan" else plots.plot_svg(result, dataset, name)
        if svg is not None:
            label = printable(f"{about.title}, {dataset}. {about.shows}")
            drawing = html_plots.inline(svg, f"{key}-{name}-", label)
            views.append(PlotView(about.title, about.shows, safe(drawing)))
    return tuple(views)


def _sensitivity(
    dataset: DatasetResult, series: Mapping[str, Any], unit: LengthUnit
) -> tuple[SensitivityView, ...]:
    def value(of: Mapping[str, Any] | None) -> str:
        return f"{length(of['value'] if of else None, unit, decimals=4)} {unit.symbol}"

    def with_id(of: Mapping[str, Any] | None) -> str:
        return f"{value(of)} without {of['id']}" if of else "–"

    views = []
    for place, claim in enumerate(dataset.claims):
        its = series.get(str(place))
        if not its or its["check"] is None:
            continue
        views.append(
            SensitivityView(
                standard=standard_name(claim),
                verdict=its["verdict"],
                check=its["check"],
                value=value(its),
                lowest=with_id(its["lowest"]),
                highest=with_id(its["highest"]),
                tried=its["tried"],
                of=its["of"],
                changes=tuple(
                    (change["id"], VERDICT_WORDS[change["verdict"]], value(change))
                    for change in its["changes"]
                ),
            )
        )
    return tuple(views)


def _apart(
    dataset: DatasetResult, series: Mapping[str, Any] | None, unit: LengthUnit
) -> ApartView | None:
    if not series:
        return None
    return ApartView(
        ids=tuple(series["ids"]),
        figures=html_content.figure_rows(series["figures"], unit),
        verdicts=tuple(
            (standard_name(dataset.claims[int(place)]), VERDICT_WORDS[verdict])
            for place, verdict in (series.get("verdicts") or {}).items()
        ),
    )


def _findings(findings: Sequence[Finding]) -> list[tuple[Severity, list[Finding]]]:
    """Group findings by weight, the heaviest first."""
    grouped = [
        (severity, [finding for finding in findings if finding.severity is severity])
        for severity in (Severity.BLOCKING, Severity.WARNING, Severity.NOTE)
    ]
    return [(severity, its) for severity, its in grouped if its]


def _versions(result: Result) -> list[tuple[str, str]]:
    """Give versions, not times: the same inputs give the same page, and the record has the rest of the run."""
    run = result.run
    return [
        ("accuracy", run.tool_version),
        ("Python", run.python),
        ("PROJ", run.proj),
        ("EPSG dataset", run.epsg),
        *sorted(run.libraries.items()),
        ("format of the record", f"{result.format} {result.format_version}"),
    ]
