"""From TOML to a `Standard`: everything is checked, and all mistakes are told at once."""

from __future__ import annotations

import string
import tomllib
from collections.abc import Mapping
from types import MappingProxyType
from typing import get_args

from accuracy.errors import Problem, StandardsError
from accuracy.standards.library.line_rules import read_design_spacing, read_line_rules
from accuracy.standards.library.marks import Component, Cover, Part
from accuracy.standards.library.reader import Reader, nearest
from accuracy.standards.library.records import (
    UNITS,
    ClaimKey,
    Expectation,
    Limit,
    Measure,
    Minimum,
    Rule,
    Standard,
    SurveyError,
    SurveyMethod,
    SurveyRule,
    Wording,
    WorkedExample,
)
from accuracy.standards.library.siting_reading import read_layout, read_procedure

_COMPONENTS = get_args(Component)
_ONE = ("east", "north", "up")

#: Estimators a file may name, with the components they are defined for; a test compares with
#: `accuracy.stats.ESTIMATORS`, which stands on the same row and may not be imported.
ESTIMATORS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "mean": _COMPONENTS,
        "median": _COMPONENTS,
        "std": _ONE,
        "rmse": _COMPONENTS,
        "nmad": _ONE,
        "min": _COMPONENTS,
        "max": _COMPONENTS,
        "p68_abs": _COMPONENTS,
        "p95_abs": _COMPONENTS,
        "accuracy_95": ("up", "horizontal"),
        "abs_mean": _ONE,
        "abs_max": _COMPONENTS,
        "mean_abs": _COMPONENTS,
        "p90_counted": _COMPONENTS,
        "bias_plus_2_std": _ONE,
        "le90": _ONE,
        "ce90": ("horizontal",),
    }
)

#: A limit on these would be kept by any large negative value.
_SIGNED = ("mean", "median", "min", "max")


def parse_standard(text: str, source: str) -> Standard:
    """Read a standard's file.

    Parameters
    ----------
    text : str
        TOML.
    source : str
        File name, for messages.

    Raises
    ------
    StandardsError
        All mistakes, each with the path of its key.
    """
    remedy = "correct the file; the packaged standards show the layout"
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise StandardsError(f"is not valid TOML: {error}", where=source, remedy=remedy) from error
    problems: list[Problem] = []
    standard = _standard(Reader(data, "", problems), source)
    if not problems:
        _cross_check(standard, problems)
    if problems:
        raise StandardsError(
            f"has {len(problems)} mistake{'s' * (len(problems) > 1)}",
            where=source,
            remedy=remedy,
            problems=tuple(problems),
        )
    return standard


def parse_survey_methods(text: str, source: str) -> tuple[SurveyMethod, ...]:
    """Read a file of ``[[survey_method]]`` alone, as a standard's file has them.

    Raises
    ------
    StandardsError
        All mistakes, each with the path of its key.
    """
    problems: list[Problem] = []
    top = Reader(tomllib.loads(text), "", problems)
    methods = tuple(_survey_method(reader) for reader in top.tables("survey_method"))
    top.finish()
    if problems:
        raise StandardsError("has mistakes", where=source, problems=tuple(problems))
    return methods


def _standard(top: Reader, source: str) -> Standard:
    keys = tuple(_claim_key(reader) for reader in top.tables("claim_key"))
    units = {key.name: key.unit for key in keys}
    requirements = tuple(_measure(r, True, units) for r in top.tables("requirement"))
    survey = top.table_at("survey")
    survey_error = top.table_at("survey_error")
    standard = Standard(
        id=top.text("id"),
        title=top.text("title"),
        edition=top.text("edition", required=False),
        document=top.text("document"),
        date=top.text("date"),
        url=top.text("url", required=False),
        note=top.text("note", required=False),
        superseded_by=top.text("superseded_by", required=False),
        class_required=top.flag("class_required"),
        source=source,
        claim_keys=keys,
        requirements=requirements,
        reports=tuple(_measure(r, False, units) for r in top.tables("report")),
        minimums=tuple(_minimum(r) for r in top.tables("checkpoints")),
        survey=None if survey is None else _survey(survey),
        survey_methods=tuple(_survey_method(r) for r in top.tables("survey_method")),
        rules=tuple(_rule(r) for r in top.tables("rule")),
        wordings=tuple(_wording(r) for r in top.tables("statement")),
        worked_examples=tuple(_worked_example(r) for r in top.tables("worked_example")),
        survey_error=None if survey_error is None else _survey_error(survey_error),
        procedures=tuple(read_procedure(r) for r in top.tables("height_procedure")),
        layout=read_layout(top),
        line_rules=read_line_rules(top, keys),
        line_spacing=read_design_spacing(top, keys),
    )
    top.finish()
    return standard


def _claim_key(reader: Reader) -> ClaimKey:
    kind = reader.text("kind", choices=("length", "choice"))
    key = ClaimKey(
        name=reader.text("name"),
        meaning=reader.text("meaning"),
        kind=kind,
        unit=reader.text("unit", choices=tuple(UNITS)) if kind == "length" else None,
        choices=reader.listed("choices", (str,), "texts") if kind == "choice" else (),
        required=reader.flag("required", required=False),
    )
    if kind == "choice" and not key.choices:
        reader.wrong("choices", "is missing or empty", "list the allowed texts")
    reader.finish()
    return key


def _limit(reader: Reader, units: Mapping[str, str | None]) -> Limit:
    key = reader.text("key", required=False)
    table = reader.table_at("table") if key else None
    if not key:
        limit = Limit(
            unit=reader.text("unit", choices=tuple(UNITS)), value=reader.number("value") or 1.0
        )
    elif key not in units:
        reader.wrong("key", f"{key!r} is not a claim key of this file", nearest(key, list(units)))
        return Limit(unit="m", value=1.0)
    elif table is not None:
        entries = {name: table.number(name) or 1.0 for name in table.table}
        limit = Limit(
            unit=reader.text("unit", choices=tuple(UNITS)),
            key=key,
            table=MappingProxyType(entries),
        )
    else:
        unit = units[key]
        if unit is None:
            reader.wrong("table", "is missing", f"{key} is a choice: give a table of its values")
        factor = reader.share("factor") or reader.one
        limit = Limit(
            unit=unit or "m",
            key=key,
            factor=float(factor),
            factor_text=str(factor) if isinstance(reader.table.get("factor"), str) else "",
        )
    reader.finish()
    return limit


def _measure(reader: Reader, limited: bool, units: Mapping[str, str | None]) -> Measure:
    limit_reader = reader.table_at("limit") if limited else None
    if limited and limit_reader is None:
        reader.wrong(
            "limit", "is missing", "give { key, factor }, { key, table, unit } or { value, unit }"
        )
    cite, verification = reader.source()
    measure = Measure(
        id=reader.text("id"),
        name=reader.text("name"),
        component=reader.text("component", choices=_COMPONENTS),
        cover=reader.text("cover", choices=get_args(Cover)),
        estimator=reader.text("estimator", choices=tuple(ESTIMATORS)),
        survey_error_included=(
            reader.text("survey_error", choices=("included", "excluded")) == "included"
        ),
        cite=cite,
        verification=verification,
        limit=None if limit_reader is None else _limit(limit_reader, units),
        operator=reader.text("operator", choices=("<=", "<")) if limited else "<=",
        each_land_cover=not limited and reader.flag("each_land_cover", required=False),
        except_land_covers=(
            () if limited else reader.listed("except_land_covers", (str,), "land covers")
        ),
    )
    if measure.component not in ESTIMATORS.get(measure.estimator, _COMPONENTS):
        reader.wrong(
            "estimator",
            f"{measure.estimator} is not defined for {measure.component}",
            f"it is for {', '.join(ESTIMATORS[measure.estimator])}",
        )
    if measure.survey_error_included and measure.estimator != "rmse":
        reader.wrong(
            "survey_error", "'included' found", "only an rmse can include the survey error"
        )
    if limited and measure.estimator in _SIGNED:
        reader.wrong(
            "estimator",
            f"{measure.estimator} can be negative, so an upper limit says nothing",
            "use abs_mean or abs_max",
        )
    if measure.id and not measure.id.isidentifier():
        reader.wrong("id", f"{measure.id!r} found", "give letters, digits and underscores")
    reader.finish()
    return measure


def _minimum(reader: Reader) -> Minimum:
    cite, verification = reader.source()
    minimum = Minimum(
        part=reader.text("part", choices=get_args(Part)),
        cover=reader.text("cover", choices=get_args(Cover)),
        minimum=reader.integer("minimum"),
        binding=reader.flag("binding"),
        cite=cite,
        verification=verification,
        each_land_cover=reader.flag("each_land_cover", required=False),
    )
    if minimum.each_land_cover and minimum.binding:
        reader.wrong("binding", "true found", "a number in each land cover is a finding only")
    reader.finish()
    return minimum


def _survey(reader: Reader) -> SurveyRule:
    cite, verification = reader.source()
    rule = SurveyRule(
        reader.number("ratio", required=False), reader.flag("binding"), cite, verification
    )
    if rule.binding and rule.ratio is None and "ratio" not in reader.table:
        reader.wrong("binding", "true found", "without a ratio nothing can bind")
    reader.finish()
    return rule


def _survey_error(reader: Reader) -> SurveyError:
    its = SurveyError(*reader.source())
    reader.finish()
    return its


def _survey_method(reader: Reader) -> SurveyMethod:
    cite, verification = reader.source()
    method = SurveyMethod(
        id=reader.text("id"),
        name=reader.text("name"),
        rmse_h_m=reader.number("rmse_h_m", required=False),
        rmse_v_m=reader.number("rmse_v_m", required=False),
        cite=cite,
        verification=verification,
    )
    reader.finish()
    return method


def _rule(reader: Reader) -> Rule:
    cite, verification = reader.source()
    rule = Rule(
        kind=reader.text("kind", choices=("mean-error", "blunder")),
        factor=reader.number("factor") or 1.0,
        operator=reader.text("operator", choices=("<=", "<")),
        binding=reader.flag("binding"),
        cite=cite,
        verification=verification,
    )
    reader.finish()
    return rule


def _wording(reader: Reader) -> Wording:
    cite, verification = reader.source()
    wording = Wording(
        kind=reader.text("kind", choices=("tested", "reduced", "reported")),
        part=reader.text("part", choices=get_args(Part)),
        text=reader.text("text"),
        vegetated_text=reader.text("vegetated_text", required=False),
        unit=reader.text("unit", choices=(*UNITS, "display")),
        cite=cite,
        verification=verification,
    )
    reader.finish()
    return wording


def _worked_example(reader: Reader) -> WorkedExample:
    cite, verification = reader.source()
    claim, passes = reader.table_at("claim"), reader.table_at("passes")
    example = WorkedExample(
        name=reader.text("name"),
        east_m=reader.listed("east_m", (int, float), "numbers"),
        north_m=reader.listed("north_m", (int, float), "numbers"),
        up_m=reader.listed("up_m", (int, float), "numbers"),
        vegetated=reader.flag("vegetated", required=False),
        survey_rmse_h_m=reader.number("survey_rmse_h_m", required=False, positive=False),
        survey_rmse_v_m=reader.number("survey_rmse_v_m", required=False, positive=False),
        expect=tuple(_expectation(r) for r in reader.tables("expect")),
        claim=MappingProxyType({} if claim is None else dict(claim.table)),
        passes=MappingProxyType(
            {} if passes is None else {key: passes.flag(key) for key in passes.table}
        ),
        cite=cite,
        verification=verification,
    )
    lengths = {len(axis) for axis in (example.east_m, example.north_m, example.up_m) if axis}
    if len(lengths) != 1:
        reader.wrong(
            "up_m", "lists of different lengths, or none", "give residuals of the same points"
        )
    if not example.expect and not example.passes:
        reader.wrong("expect", "is missing", "give at least one expected value")
    reader.finish()
    return example


def _expectation(reader: Reader) -> Expectation:
    survey = reader.text("survey_error", required=False, choices=("included", "excluded"))
    expectation = Expectation(
        component=reader.text("component", choices=_COMPONENTS),
        cover=reader.text("cover", required=False, choices=get_args(Cover)) or "all",
        statistic=reader.text("statistic", choices=tuple(ESTIMATORS)),
        survey_error_included=survey == "included",
        value=reader.number("value", positive=False) or 0.0,
        decimals=reader.integer("decimals"),
    )
    reader.finish()
    return expectation


def _cross_check(standard: Standard, problems: list[Problem]) -> None:
    """Refuse names used twice or pointing nowhere."""
    measures = (*standard.requirements, *standard.reports)
    for what, names in (
        ("id of a requirement or report", [m.id for m in measures]),
        ("claim_key.name", [k.name for k in standard.claim_keys]),
        ("survey_method.id", [m.id for m in standard.survey_methods]),
    ):
        problems += [
            Problem(what, f"{name!r} is used twice", "give each its own")
            for name in sorted({n for n in names if names.count(n) > 1})
        ]
    choices = {key.name: key.choices for key in standard.claim_keys}
    for index, measure in enumerate(standard.requirements):
        limit = measure.limit
        if limit and limit.table is not None and limit.key:
            wanted, found = set(choices[limit.key]), set(limit.table)
            if wanted != found:
                where = f"requirement[{index}].limit.table"
                listed = ", ".join(sorted(wanted ^ found))
                problems.append(
                    Problem(
                        where,
                        f"{listed} not on both sides",
                        f"one row for each choice of {limit.key}",
                    )
                )
    known = [m.id for m in measures] + list(choices) + ["n", "minimum", "unit"]
    for index, wording in enumerate(standard.wordings):
        where = f"statement[{index}].text"
        try:
            fields = list(string.Formatter().parse(wording.text + wording.vegetated_text))
        except ValueError as error:
            problems.append(Problem(where, f"braces do not match: {error}", "write {{ for a brace"))
            continue
        for _, name, spec, conversion in fields:
            if name is not None and name not in known:
                problems.append(Problem(where, f"{{{name}}} is not defined", nearest(name, known)))
            elif spec or conversion:
                problems.append(
                    Problem(where, f"{{{name}}} has a format", "give the bare name in braces")
                )
    if standard.survey_error is None and any(m.survey_error_included for m in measures):
        problems.append(
            Problem(
                "survey_error",
                "is missing",
                "say where it stands that the survey error is included: [survey_error] with cite and "
                "verification",
            )
        )
    if standard.class_required and not standard.claim_keys:
        problems.append(Problem("class_required", "true found", "there is no claim_key to give"))
    if not measures:
        problems.append(
            Problem("requirement", "is missing", "give at least one requirement or report")
        )
