"""What stands in the tables of the page: rows and words of one dataset, in the display unit."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from accuracy.reports import html_plan
from accuracy.reports.words import VERDICT_WORDS, length, standard_name
from accuracy.residuals import Position, ResidualRow
from accuracy.result import ClaimResult, DatasetResult
from accuracy.sampling import NO_HEIGHT_REASONS, Support
from accuracy.standards.judge import Check
from accuracy.statement import VERIFICATION
from accuracy.stats import show, show_both
from accuracy.units import LengthUnit

#: Where the limit stands in the drawing of a value against it, and where a longer bar is cut: plan units.
BAR_LIMIT, BAR_END = 140, 236

STATISTICS: Mapping[str, str] = {
    "mean": "mean",
    "median": "median",
    "std": "std. dev.",
    "rmse": "RMSE",
    "nmad": "NMAD",
    "min": "smallest",
    "max": "largest",
    "p95_abs": "95th pct. |e|",
}
_SIGNED = frozenset({"mean", "median", "min", "max"})
AXES: Mapping[str, str] = {"east_m": "east", "north_m": "north", "up_m": "up"}
COMPONENT_WORDS: Mapping[str, str] = {"horizontal": "in plan", "3d": "in space"}

_NOTHING = Position()
_NO_SUPPORT = Support(0)


@dataclass(frozen=True)
class Bar:
    """A value drawn against its limit: ends of what lies within and beyond; `cut` where it goes on."""

    limit: str
    inside: str
    beyond: str
    hatch: str
    cut: bool


@dataclass(frozen=True)
class CheckView:
    """One check as a row of the table of claims."""

    name: str
    value: str
    sense: str
    limit: str
    n: int
    passes: bool | None
    source: str
    how: str
    bar: Bar | None


@dataclass(frozen=True)
class ClaimView:
    """One claim: verdict, what is claimed, checks, the statement in paragraphs and the sources below it."""

    dataset: str
    claim: ClaimResult
    word: str
    standard: str
    claimed: str
    checks: tuple[CheckView, ...]
    paragraphs: tuple[str, ...]
    sources: tuple[str, ...]


def claim_view(dataset: DatasetResult, claim: ClaimResult, unit: LengthUnit) -> ClaimView:
    """Prepare one claim."""
    text, mark, sources = claim.statement.partition("Sources of what decides:\n")
    listed = [line for line in sources.split("\n") if line]
    after = [line for line in listed if not line.startswith("- ")]
    return ClaimView(
        dataset=dataset.name,
        claim=claim,
        word=VERDICT_WORDS[claim.verdict],
        standard=standard_name(claim),
        claimed=", ".join(_claimed(key, value) for key, value in claim.claimed.items()),
        checks=tuple(check_view(check, unit) for check in claim.checks),
        paragraphs=tuple(line for line in [*text.split("\n"), *after] if line.strip()),
        sources=tuple(line[2:] for line in listed if line.startswith("- ")) if mark else (),
    )


def _claimed(key: str, value: float | int | str | bool) -> str:
    """Write a claimed class or limit as people do: its key ends in the unit."""
    name, _, unit = key.rpartition("_")
    if unit not in ("cm", "m", "mm") or isinstance(value, (bool, str)):
        return f"{key.replace('_', ' ')} {value}"
    return f"{name.replace('_', ' ')} {value:.6f}".rstrip("0").rstrip(".") + f" {unit}"


def check_view(check: Check, unit: LengthUnit) -> CheckView:
    """Prepare one check."""
    value = limit = sense = ""
    bar = None
    if check.value is not None:
        value = show(check.value, decimals=4, per_unit=unit.metres)
        if check.limit is not None and check.operator is not None:
            value, limit = show_both(check.value, check.limit, check.operator, 4, unit.metres)
            sense = {True: {"<=": "≤", "<": "<"}, False: {"<=": ">", "<": "≥"}}[bool(check.passes)][
                check.operator
            ]
            bar = _bar(check.value, check.limit)
    elif check.limit is not None:
        limit = show(check.limit, decimals=4, per_unit=unit.metres)
    return CheckView(
        name=f"{check.name}, survey error included" if check.survey_error_included else check.name,
        value=value,
        sense=sense,
        limit=limit,
        n=check.n,
        passes=check.passes,
        source=check.cite,
        how=VERIFICATION.get(check.verification, check.verification),
        bar=bar,
    )


def _bar(value: float, limit: float) -> Bar | None:
    if limit <= 0.0:
        return None
    end = BAR_LIMIT * max(value, 0.0) / limit
    shown = min(end, float(BAR_END))
    beyond = max(shown - BAR_LIMIT, 0.0)
    return Bar(
        limit=str(BAR_LIMIT),
        inside=f"{min(shown, BAR_LIMIT):.1f}",
        beyond=f"{beyond:.1f}" if beyond >= 0.05 else "",
        hatch="".join(f"M{BAR_LIMIT + i} 18l6 -12" for i in range(0, int(beyond) - 5, 6)),
        cut=end > BAR_END,
    )


# --- points ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class PointView:
    """One row of the residual table; `key` ties it to its mark on the plan."""

    key: str
    row: ResidualRow
    state: str
    cells: tuple[str, ...]
    slope: str
    remark: str
    reason: str


def axes_of(rows: Iterable[ResidualRow]) -> tuple[str, ...]:
    """Give the axes in which some row has a residual."""
    residuals = [row.residual for row in rows if row.residual is not None]
    return tuple(a for a in AXES if any(getattr(its, a) is not None for its in residuals))


def has_slope(rows: Iterable[ResidualRow]) -> bool:
    """Say whether the slope of the ground is known at some row."""
    return any(row.support and row.support.slope_deg is not None for row in rows)


def point_view(key: str, row: ResidualRow, axes: Sequence[str], unit: LengthUnit) -> PointView:
    """Prepare one row of a residual table."""
    residual, support = row.residual or _NOTHING, row.support or _NO_SUPPORT
    state: str = row.role
    if row.role == "checkpoint":
        state = "counts" if row.used else "no value"
    reason = ""
    if not row.used:
        reason = row.detail or NO_HEIGHT_REASONS.get(row.reason or "", row.reason or "")
    return PointView(
        key=key,
        row=row,
        state=state,
        cells=tuple(_dash(length(getattr(residual, axis), unit, sign=True)) for axis in axes),
        slope="–" if support.slope_deg is None else f"{support.slope_deg:.1f}",
        remark="; ".join(filter(None, (row.description, reason))),
        reason=reason,
    )


def _dash(text: str) -> str:
    """Print a missing number as a dash and a negative one with a minus sign."""
    return "–" if text == "-" else text.replace("-", "−")


def _position(position: Position | None, unit: LengthUnit) -> str | None:
    of = position or _NOTHING
    values = [
        f"{name} {_dash(length(getattr(of, axis), unit))}"
        for axis, name in AXES.items()
        if getattr(of, axis) is not None
    ]
    return f"{', '.join(values)} {unit.symbol}" if values else None


def _of_support(
    give: Callable[[Support], float | None], unit: LengthUnit, decimals: int = 3
) -> Callable[[ResidualRow], str | None]:
    def text(row: ResidualRow) -> str | None:
        value = give(row.support) if row.support else None
        return None if value is None else f"{length(value, unit, decimals=decimals)} {unit.symbol}"

    return text


def _survey(row: ResidualRow, unit: LengthUnit) -> str | None:
    told = [
        f"{name} {length(value, unit)} {unit.symbol}"
        for name, value in (("in plan", row.survey_rmse_h_m), ("in height", row.survey_rmse_v_m))
        if value is not None
    ]
    return ", ".join(told) or None


def _lines(row: ResidualRow, unit: LengthUnit) -> str | None:
    told = [
        f"{line.id}: {line.points} points, {length(line.height_m, unit)} {unit.symbol}"
        for line in (row.support.lines if row.support else ())
        if line.height_m is not None
    ]
    return "; ".join(told) or None


def _native(row: ResidualRow, names: Sequence[str]) -> str | None:
    values = [row.native.get(name) for name in names]
    told = [f"{value:.6f}".rstrip("0").rstrip(".") for value in values if value is not None]
    return ", ".join(told) or None


def _detail_fields(unit: LengthUnit) -> Mapping[str, Callable[[ResidualRow], str | None]]:
    return {
        "difference": lambda row: html_plan.title_of(row, unit).partition(": ")[2],
        "surveyed": lambda row: _position(row.surveyed, unit),
        "measured": lambda row: _position(row.measured, unit),
        "surveyed, as stored": lambda row: _native(row, ("easting", "northing", "height")),
        "surveyed, as in the table handed in": lambda row: _native(
            row, ("given_easting", "given_northing", "given_height")
        ),
        "RMSE of the survey": lambda row: _survey(row, unit),
        "slope of the ground": lambda row: (
            None
            if row.support is None or row.support.slope_deg is None
            else f"{row.support.slope_deg:.1f}°"
        ),
        "roughness of the ground": _of_support(lambda s: s.roughness_m, unit),
        "ground points or cells around": lambda row: (
            str(row.support.points) if row.support else None
        ),
        "spread of the heights around": _of_support(lambda s: s.spread_m, unit, 4),
        "middle of the points around": _of_support(lambda s: s.centroid_m, unit),
        "nearest ground point": _of_support(lambda s: s.nearest_m, unit),
        "circumradius of the triangle": _of_support(lambda s: s.circumradius_m, unit),
        "cell": _of_support(lambda s: s.cell_m, unit),
        "spread of valid triangulations": _of_support(lambda s: s.ambiguity_m, unit, 4),
        "by flight line": lambda row: _lines(row, unit),
        "tested": lambda row: None if row.tested == "both" else f"{row.tested} only",
        "description": lambda row: row.description or None,
        "why it does not count": lambda row: (
            None
            if row.used
            else row.detail or NO_HEIGHT_REASONS.get(row.reason or "", row.reason) or row.role
        ),
    }


def details(
    rows: Sequence[ResidualRow], unit: LengthUnit, clean: Callable[[str], str]
) -> dict[str, Any]:
    """Give what the page tells of a point on request: names of fields, and values in their order.

    Parameters
    ----------
    clean : callable
        Makes text from files harmless.
    """
    fields = _detail_fields(unit)
    points = [[give(row) for give in fields.values()] for row in rows]
    kept = [i for i in range(len(fields)) if any(point[i] for point in points)]
    names = list(fields)
    return {
        "fields": [names[i] for i in kept],
        "ids": [clean(row.id) for row in rows],
        "points": [
            [None if point[i] is None else clean(point[i] or "") for i in kept] for point in points
        ],
    }


# --- figures --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class FigureRow:
    """Figures of one component and cover, under the names of their columns."""

    component: str
    cover: str
    n: int
    names: tuple[str, ...]
    cells: tuple[str, ...]


def figure_rows(figures: Sequence[Mapping[str, Any]], unit: LengthUnit) -> tuple[FigureRow, ...]:
    """Arrange figures as a table; groups that repeat the whole under another name are left out.

    Parameters
    ----------
    figures : sequence of mapping
        Figures as in the record.
    """
    groups: dict[tuple[str, str], dict[str, Mapping[str, Any]]] = {}
    for figure in figures:
        if not figure["survey_error_included"] and figure["n"]:
            key = (figure["component"], figure["cover"])
            groups.setdefault(key, {})[figure["statistic"]] = figure
    covers = {
        component: {cover for its, cover in groups if its == component and cover != "all"}
        for component, _ in groups
    }
    shown = [name for name in STATISTICS if any(name in by_name for by_name in groups.values())]
    names = tuple(STATISTICS[name] for name in shown)
    rows = []
    for (component, cover), by_name in groups.items():
        if cover == "all" and len(covers[component]) == 1:
            continue
        cells = []
        for name in shown:
            value = by_name[name]["value"] if name in by_name else None
            signed = name in _SIGNED and component in ("east", "north", "up")
            cells.append(_dash(length(value, unit, sign=signed)))
        n = next(iter(by_name.values()))["n"]
        rows.append(
            FigureRow(COMPONENT_WORDS.get(component, component), cover, n, names, tuple(cells))
        )
    return tuple(rows)


def figure_value(figure: Mapping[str, Any], unit: LengthUnit) -> str:
    """Print the value of one figure with its unit."""
    value = figure["value"]
    if value is None:
        return "–"
    values = value if isinstance(value, (list, tuple)) else [value]
    if figure["unit"] == "m":
        return f"{' to '.join(_dash(length(v, unit, decimals=4)) for v in values)} {unit.symbol}"
    return ", ".join(f"{v:g}" for v in values)
