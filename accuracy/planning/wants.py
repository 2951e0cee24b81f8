"""What the documents of the claims want: how many points, and how well surveyed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from importlib import resources

from accuracy.budget import rmse_limit_m
from accuracy.layout.records import CoverGroup
from accuracy.layout.rules import rules_of
from accuracy.planning.chances import NUMBERS, SHARES, needed_rmse_m, passing
from accuracy.planning.records import Chance, Method, PlanWant
from accuracy.standards.library import (
    Measure,
    Part,
    Standard,
    SurveyMethod,
    load_standard,
    parse_survey_methods,
)

_AXES = {"up": 1, "east": 1, "north": 1, "horizontal": 2, "3d": 3}

#: Where the accuracies of survey methods are taken from when the claim's document has none.
METHODS_OF = "asprs-2024"


@cache
def other_methods() -> tuple[SurveyMethod, ...]:
    """Give the survey methods whose accuracy other documents tell."""
    name = "survey_methods.toml"
    text = resources.files("accuracy.planning").joinpath(name).read_text("utf-8")
    return parse_survey_methods(text, name)


def number_wanted(
    standard: Standard, part: Part, cover: CoverGroup, area_km2: float, control: int = 0
) -> tuple[int | None, str]:
    """Give how many points a document wants of a cover, and where it says so; the largest of its numbers.

    `control` is the number of control points, beside which some documents want a share.
    """
    found = [
        (rule.minimum, rule.cite)
        for rule in standard.minimums
        if rule.part == part and rule.cover == cover and not rule.each_land_cover
    ]
    rule = rules_of(standard).count(part, cover)
    wanted = rule.wanted(area_km2) if rule else None
    if rule and wanted is not None:
        found.append((wanted, str(rule.source)))
    beside = rules_of(standard).control
    if beside is not None and control and cover == "all":
        found.append((beside.wanted(control), str(beside.source)))
    return max(found, key=lambda item: item[0]) if found else (None, "")


def covers_wanted(
    standard: Standard, claimed: Mapping[str, object], area_km2: float, control: int = 0
) -> dict[CoverGroup, int]:
    """Give how many points of each cover a claim wants, over its parts; ``all`` counts as open ground."""
    limited = [m for m in standard.requirements if rmse_limit_m(m, claimed) is not None]
    parts = {m.part for m in (limited or standard.requirements)}
    counts: dict[CoverGroup, int] = {}
    covers: tuple[CoverGroup, ...] = ("all", "non-vegetated", "vegetated")
    for part in parts:
        for cover in covers:
            number, _ = number_wanted(standard, part, cover, area_km2, control)
            if number is not None:
                kept: CoverGroup = "non-vegetated" if cover == "all" else cover
                counts[kept] = max(number, counts.get(kept, 0))
    return counts


def wants_of(
    dataset: str,
    standard: Standard,
    claimed: Mapping[str, object],
    area_km2: float,
    planned: Mapping[CoverGroup, int],
    survey_rmse_m: tuple[float | None, float | None],
    control: int = 0,
) -> tuple[PlanWant, ...]:
    """Give what every limit of one claim wants.

    Parameters
    ----------
    planned : mapping
        Points planned of each cover.
    survey_rmse_m : tuple of float or None
        The survey's own RMSE that the job states, horizontal and vertical.
    control : int
        Number of control points.
    """
    found = []
    for measure in standard.requirements:
        limit_m = rmse_limit_m(measure, claimed)
        if limit_m is not None and measure.limit is not None:
            stated_m = survey_rmse_m[1] if measure.component == "up" else survey_rmse_m[0]
            raw_m = measure.limit.metres(claimed) or limit_m
            found.append(
                _want(
                    dataset,
                    standard,
                    measure,
                    (raw_m, limit_m),
                    (area_km2, control),
                    planned,
                    stated_m,
                )
            )
    return tuple(found)


def _want(
    dataset: str,
    standard: Standard,
    measure: Measure,
    limits_m: tuple[float, float],
    counted_by: tuple[float, int],
    planned: Mapping[CoverGroup, int],
    stated_m: float | None,
) -> PlanWant:
    raw_m, limit_m = limits_m
    number, source = number_wanted(standard, measure.part, measure.cover, *counted_by)
    ratio = standard.survey.ratio if standard.survey else None
    allowed_m = limit_m / ratio if ratio else None
    survey_m = stated_m if stated_m is not None else (allowed_m or 0.0)
    axes, included = _AXES[measure.component], measure.survey_error_included
    n = planned.get("vegetated" if measure.cover == "vegetated" else "non-vegetated", 0)
    true_m = tuple(round(share * limit_m, 9) for share in SHARES)

    def chance(points: int) -> Chance:
        return Chance(
            points,
            tuple(
                round(
                    passing(
                        points,
                        value,
                        limit_m,
                        survey_rmse_m=survey_m,
                        survey_included=included,
                        axes=axes,
                    ),
                    4,
                )
                for value in true_m
            ),
        )

    needed = (
        needed_rmse_m(n, limit_m, survey_rmse_m=survey_m, survey_included=included, axes=axes)
        if n
        else None
    )
    return PlanWant(
        dataset=dataset,
        standard=standard.id,
        measure=measure.name,
        part=measure.part,
        cover=measure.cover,
        number=number,
        number_source=source,
        limit_m=raw_m,
        rmse_limit_m=limit_m,
        survey_ratio=ratio,
        survey_allowed_m=allowed_m,
        survey_source=standard.survey.cite if standard.survey else "",
        survey_used_m=survey_m,
        methods=_methods(standard, measure.part, allowed_m if allowed_m is not None else limit_m),
        needed_rmse_m=needed,
        true_rmse_m=true_m,
        chances=tuple(chance(points) for points in sorted({*NUMBERS, *([n] if n else [])})),
    )


def _methods(standard: Standard, part: Part, allowed_m: float) -> tuple[Method, ...]:
    """Give the survey methods with a known accuracy, the best first, and whether they are good enough."""
    known: list[tuple[Sequence[SurveyMethod], str]] = [(standard.survey_methods, "")]
    if not standard.survey_methods:
        borrowed = load_standard(METHODS_OF)
        known = [(borrowed.survey_methods, f"{borrowed.title}, {borrowed.edition}, ")]
    found = []
    for methods, prefix in (*known, (other_methods(), "")):
        for method in methods:
            parts = [method.rmse_v_m] if part == "vertical" else [method.rmse_h_m]
            if part == "3d":
                parts.append(method.rmse_v_m)
            values = [value for value in parts if value is not None]
            if len(values) == len(parts):
                rmse_m = sum(value**2 for value in values) ** 0.5
                mark = "" if method.verification == "read" else f", {method.verification}"
                source = f"{prefix}{method.cite}{mark}"
                found.append(Method(method.name, rmse_m, rmse_m <= allowed_m, source))
    return tuple(sorted(found, key=lambda method: method.rmse_m))
