"""Each formula of a claim with the job's own numbers put in."""

from __future__ import annotations

import math
from collections.abc import Mapping

from accuracy.standards.judge import Check, Evidence, judge
from accuracy.standards.library import Standard
from accuracy.stats import ESTIMATORS, Group, circular_case, mean, rmse, std


def render_explained(
    standard: Standard, claimed: Mapping[str, float | int | str | bool], evidence: Evidence
) -> str:
    """Write the steps to every figure of one claim; numbers are rounded for print, not for computing."""
    claim = ", ".join(f"{key} = {value}" for key, value in claimed.items())
    lines = [f"{evidence.dataset}, {standard.id}{f' ({claim})' if claim else ''}"]
    for part in judge(standard, claimed, evidence).parts:
        for check in part.checks.values():
            lines += _check_lines(check, evidence)
    return "\n".join(lines) + "\n"


def _check_lines(check: Check, evidence: Evidence) -> list[str]:
    group = evidence.group(check.component, check.cover)  # type: ignore[arg-type]
    lines = [f"  {check.name}, {check.n} points [{check.cite}; {check.verification}]"]
    if check.n == 0:
        return [*lines, "    no points"]
    lines += [f"    {line}" for line in _steps(check.estimator, group)]
    found = ESTIMATORS[check.estimator](group.axes)
    if check.survey_error_included and isinstance(found, float):
        known = group.survey_rmse_m
        if known is None:
            lines.append("    with the survey's own error: not known at every point")
        else:
            lines.append(
                f"    with the survey's own error: sqrt({found:.6f}^2 + {known:.6f}^2) = "
                f"{math.hypot(found, known):.6f} m"
            )
    if check.limit is not None and check.value is not None:
        truth = "true" if check.passes else "false"
        lines.append(f"    {check.value:.6f} m {check.operator} {check.limit:.6f} m is {truth}")
    return lines


def _steps(estimator: str, group: Group) -> list[str]:
    n, axes = group.n, group.axes
    names = ("east", "north", "up")[: len(axes)] if len(axes) > 1 else ("",)
    each = []
    for name, axis in zip(names, axes, strict=True):
        total = math.fsum(axis * axis)
        each.append(
            f"RMSE{f' {name}' if name else ''} = sqrt(sum of squares / n) = sqrt({total:.6f} / {n}) = "
            f"{rmse(axis):.6f} m"
        )
    if estimator == "rmse":
        if len(axes) == 1:
            return each
        inner = " + ".join(f"{rmse(axis):.6f}^2" for axis in axes)
        return [*each, f"sqrt({inner}) = {math.hypot(*map(rmse, axes)):.6f} m"]
    if estimator == "accuracy_95":
        return [*each, *_accuracy_95(group)]
    if estimator == "p95_abs" and len(axes) == 1:
        return _percentile(group)
    if estimator in ("std", "abs_mean", "mean", "bias_plus_2_std") and len(axes) == 1:
        return _moments(estimator, group)
    value = ESTIMATORS[estimator](axes)
    text = f"{value:.6f} m" if isinstance(value, float) else "no value"
    return [f"{ESTIMATORS[estimator].cite}: {text}"]


def _accuracy_95(group: Group) -> list[str]:
    if len(group.axes) == 1:
        value = rmse(group.axes[0])
        return [f"1.9600 x {value:.6f} = {1.96 * value:.6f} m"]
    x, y = (rmse(axis) for axis in group.axes)
    found = ESTIMATORS["accuracy_95"](group.axes)
    if not isinstance(found, float):
        return [f"ratio {min(x, y) / max(x, y):.4f}: below 0.6 there is no formula"]
    if circular_case(x, y) == 1:
        return [f"1.7308 x sqrt({x:.6f}^2 + {y:.6f}^2) = {found:.6f} m"]
    return [f"2.4477 x 0.5 x ({x:.6f} + {y:.6f}) = {found:.6f} m"]


def _percentile(group: Group) -> list[str]:
    sizes = sorted(abs(group.axes[0]))
    rank = 0.95 * (len(sizes) - 1) + 1
    below = min(int(rank), len(sizes))
    low, high = sizes[below - 1], sizes[min(below, len(sizes) - 1)]
    value = ESTIMATORS["p95_abs"](group.axes)
    return [
        f"rank 0.95 x ({len(sizes)} - 1) + 1 = {rank:.2f} of the sorted error sizes",
        f"{low:.6f} + {rank - below:.2f} x ({high:.6f} - {low:.6f}) = {value:.6f} m",
    ]


def _moments(estimator: str, group: Group) -> list[str]:
    (errors,) = group.axes
    middle = mean(errors)
    lines = [f"mean = sum / n = {math.fsum(errors):.6f} / {group.n} = {middle:.6f} m"]
    if estimator in ("std", "bias_plus_2_std") and group.n > 1:
        spread = std(errors)
        squares = math.fsum((errors - middle) ** 2)
        lines.append(f"s = sqrt({squares:.6f} / ({group.n} - 1)) = {spread:.6f} m")
        if estimator == "bias_plus_2_std":
            lines.append(f"{abs(middle):.6f} + 2 x {spread:.6f} = {abs(middle) + 2 * spread:.6f} m")
    elif estimator == "abs_mean":
        lines.append(f"its size is {abs(middle):.6f} m")
    return lines
