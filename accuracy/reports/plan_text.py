"""A plan of checkpoints as text: what is wanted, where, how sure."""

from __future__ import annotations

import textwrap

from accuracy.planning.records import FieldPlan, PlanWant
from accuracy.reports.words import printable

_WIDTH = 96


def render(plan: FieldPlan) -> str:
    """Give ``plan.txt``; metres, unless it says otherwise."""
    lines = [f"Plan of checkpoints: {printable(plan.title)}", ""]
    lines += [f"  system  {printable(plan.reference.name)}"]
    lines += [
        f"  area    {plan.area_km2:.4g} km2, diagonal {plan.diagonal_m:.1f} m: {plan.area_from} "
        f"({printable(plan.dataset)})",
        f"  seed    {plan.seed}",
        "",
    ]
    for cover in plan.spread:
        quadrants = " ".join(
            f"{q} {n}" for q, n in zip(("NE", "NW", "SW", "SE"), cover.quadrants, strict=False)
        )
        nearest = (
            "" if cover.nearest_m is None else f"; the nearest two {cover.nearest_m:.1f} m apart"
        )
        lines.append(f"  {cover.points} {cover.cover}: {quadrants}{nearest}")
    for want in plan.wants:
        lines += ["", *_want(want)]
    if plan.predictions:
        lines += ["", "Predicted from [flight] and [sensor], one standard deviation"]
        for found in plan.predictions:
            lines.append(
                f"  at {found.scan_angle_deg:4.1f} degrees  up {found.up_m:.4f}  along {found.along_m:.4f}"
                f"  across {found.across_m:.4f}  horizontal {found.horizontal_m:.4f} m"
            )
        edge = plan.predictions[-1]
        lines += [
            f"    {term.cause:<14} up {term.up_m:.4f}  along {term.along_m:.4f}  across "
            f"{term.across_m:.4f} m"
            for term in edge.terms
        ]
        lines += [
            f"  horizontal RMSE by {name}: {value_m:.4f} m"
            for name, value_m in plan.estimates_m.items()
        ]
    if plan.confirm:
        lines += ["", "To be looked after on site"]
        lines += [line for text in plan.confirm for line in _wrapped(f"- {text}")]
    if plan.findings:
        lines += ["", "Findings"]
        for finding in plan.findings:
            lines += _wrapped(
                f"{finding.severity.value}: {printable(finding.message)} [{finding.code}]"
            )
    return "\n".join(lines) + "\n"


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(
        text, _WIDTH, initial_indent="  ", subsequent_indent="    ", break_long_words=False
    )


def _want(want: PlanWant) -> list[str]:
    lines = [
        f"{printable(want.dataset)}, {printable(want.standard)}: {want.measure} within "
        f"{want.limit_m:.4g} m"
    ]
    if want.number is not None:
        lines += _wrapped(f"{want.number} {want.cover} checkpoints wanted ({want.number_source})")
    if want.survey_allowed_m is not None:
        lines += _wrapped(
            f"survey RMSE at most {want.survey_allowed_m:.4f} m: {want.survey_ratio:g} times better than "
            f"{want.rmse_limit_m:.4g} m ({want.survey_source})"
        )
    for method in want.methods:
        word = "good enough" if method.enough else "not good enough"
        lines.append(f"    {method.name:<28} {method.rmse_m:.3f} m  {word} ({method.source})")
    if want.needed_rmse_m is not None:
        lines += _wrapped(
            f"with the planned number a pass has a probability of 95 % if the deliverable's true RMSE is "
            f"{want.needed_rmse_m:.4f} m or less"
        )
    lines += _wrapped(
        "probability of passing, if errors are independent, normal and of zero mean, with a survey RMSE of "
        f"{want.survey_used_m:.4f} m:"
    )
    lines.append("    true RMSE" + "".join(f"{value:9.4f}" for value in want.true_rmse_m))
    lines += [
        f"    n = {chance.points:<5}" + "".join(f"{100 * p:8.1f}%" for p in chance.probability)
        for chance in want.chances
    ]
    return lines
