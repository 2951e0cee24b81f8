"""From the residuals of one dataset to what the result says of it: figures, claims, statements."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

import numpy as np

from accuracy.deliverables import Deliverable, Setting, distinct
from accuracy.findings import Finding, Severity
from accuracy.job.sections import Claim
from accuracy.layout import place_numbers
from accuracy.measuring import Measured
from accuracy.preparation import Prepared
from accuracy.residuals import ResidualRow
from accuracy.result import ClaimResult, DatasetResult, InputFile
from accuracy.standards.judge import Evidence, Judgement, TakenHeights, judge
from accuracy.standards.judge.side_by_side import SideBySide, side_by_side
from accuracy.standards.library import Standard, load_standard
from accuracy.statement import Context, Roll, compose
from accuracy.stats import bias_significant, mean, mean_interval_95

AxisName = Literal["east", "north", "up"]
AxisPart = Literal["horizontal", "vertical"]

#: Warnings that a statement must carry wherever they come from.
TOLD_IN_STATEMENT = (
    "base-antenna-model",
    "base-autonomous",
    "base-height",
    "base-held-differs",
    "base-not-comparable",
    "base-same-for-survey",
    "checkpoints-near-control",
    "checkpoints-repeated-place",
    "crs-",
    "measured-no-differences",
    "transform-",
)


def judge_dataset(
    prepared: Prepared,
    item: Deliverable,
    measured: Measured,
    evidence: Evidence,
    findings: Sequence[Finding],
    inputs: tuple[InputFile, ...],
) -> tuple[DatasetResult, list[Finding]]:
    """Compute the figures of one dataset, judge its claims, and word their statements."""
    name = item.setting.name
    claims: list[ClaimResult] = []
    more: list[Finding] = []
    for claim in prepared.job.claim:
        if claim.dataset == name:
            standard = prepared.standards[claim.standard]
            judgement = judge(standard, claim.keys, evidence)
            more += judgement.findings
            claims.append(
                _claim(prepared, item, measured, findings, claim, standard, judgement, inputs)
            )
    more += _bias(evidence)
    result = DatasetResult(
        name=name,
        kind=item.setting.kind,
        wkt=item.reference.wkt,
        height_method=item.setting.method,
        max_circumradius_m=measured.max_circumradius_m,
        neighbourhood=item.setting.patch,
        residuals=measured.rows,
        figures=evidence.figures,
        claims=tuple(claims),
    )
    return result, more


def beside(prepared: Prepared, item: Deliverable, evidence: Evidence) -> tuple[SideBySide, ...]:
    """Lay the documents asked for one dataset side by side; nothing where none is asked."""
    name = item.setting.name
    its = [claim for claim in prepared.job.claim if claim.dataset == name]
    found = side_by_side(
        name,
        [(prepared.standards[claim.standard], claim.keys) for claim in its],
        evidence,
        [load_standard(id_, prepared.job.folder) for id_ in prepared.job.under],
    )
    return () if found is None else (found,)


def evidence_of(
    prepared: Prepared, item: Deliverable, rows: tuple[ResidualRow, ...], findings: list[Finding]
) -> Evidence:
    """Hand the judged rows on as arrays, with what blocks a statement."""
    used = [row for row in rows if row.used]
    name = item.setting.name
    dataset = next(d for d in prepared.job.dataset if d.name == name)
    assumed = {point.id for point in prepared.table.points if not point.cover_stated}
    places = place_numbers(prepared.table.points)
    land_covers = {point.id: point.land_cover for point in prepared.table.points}

    def column(values: list[float | None]) -> np.ndarray[Any, np.dtype[np.float64]]:
        return np.array([np.nan if value is None else value for value in values], dtype=np.float64)

    def blocked(component: Any) -> tuple[str, ...]:
        return tuple(f.message for f in distinct(findings) if f.blocks(name, component))

    return Evidence(
        dataset=name,
        kind=item.setting.kind,
        ids=tuple(row.id for row in used),
        east_m=column([row.residual.east_m if row.residual else None for row in used]),
        north_m=column([row.residual.north_m if row.residual else None for row in used]),
        up_m=column([row.residual.up_m if row.residual else None for row in used]),
        vegetated=np.array([row.cover == "vegetated" for row in used], dtype=np.bool_),
        survey_rmse_h_m=column([row.survey_rmse_h_m for row in used]),
        survey_rmse_v_m=column([row.survey_rmse_v_m for row in used]),
        survey_method=prepared.job.checkpoints.survey_method,
        adjusted_to_points=dataset.adjusted_to_points,
        blocked_horizontal=blocked("horizontal"),
        blocked_vertical=blocked("vertical"),
        cover_assumed_count=sum(row.id in assumed for row in used),
        place=tuple(places[row.id] for row in used),
        heights=_taken(item.setting),
        land_cover=tuple(land_covers[row.id] for row in used),
    )


def _taken(setting: Setting) -> TakenHeights | None:
    """Say how the heights of a point cloud are taken; None for other deliverables."""
    if setting.kind != "point-cloud":
        return None
    patch = setting.patch
    return TakenHeights(
        setting.method or "tin",
        shape=patch.shape if patch else None,
        across_m=patch.across_m if patch else None,
        design_spacing_m=setting.design_anps_m,
    )


def _bias(evidence: Evidence) -> list[Finding]:
    """Say where the mean error of open ground differs from zero by more than chance (information only)."""
    findings = []
    axes: tuple[tuple[AxisName, AxisPart], ...] = (
        ("east", "horizontal"),
        ("north", "horizontal"),
        ("up", "vertical"),
    )
    for component, affected in axes:
        (values_m,) = evidence.group(component, "non-vegetated").axes
        if bias_significant(values_m):
            low_m, high_m = mean_interval_95(values_m)
            findings.append(
                Finding(
                    "result-bias-significant",
                    Severity.NOTE,
                    f"the mean {component} error on open ground is {mean(values_m):+.3f} m, by more than "
                    f"chance: 95 % interval {low_m:+.3f} to {high_m:+.3f} m, if errors are independent",
                    dataset=evidence.dataset,
                    component=affected,
                    evidence={"mean_m": mean(values_m), "low_m": low_m, "high_m": high_m},
                )
            )
    return findings


def _claim(
    prepared: Prepared,
    item: Deliverable,
    measured: Measured,
    findings: Sequence[Finding],
    claim: Claim,
    standard: Standard,
    judgement: Judgement,
    inputs: tuple[InputFile, ...],
) -> ClaimResult:
    about = prepared.job.job
    context = Context(
        title=about.title,
        dataset=item.setting.name,
        display_unit=about.display_units,
        files=tuple((f.path, f.sha256) for f in inputs if f.dataset == item.setting.name),
        decimals=item.decimals,
        prepared_for=about.prepared_for,
        prepared_by=about.prepared_by,
        warnings=tuple(
            finding.message
            for finding in findings
            if finding.severity is Severity.WARNING
            and finding.dataset in (None, item.setting.name)
            and finding.code.startswith(TOLD_IN_STATEMENT)
        ),
        roll=_roll(prepared, measured.rows),
        standalone=False,
    )
    return ClaimResult(
        standard=standard.label,
        title=standard.full_title,
        claimed=claim.keys,
        checks=judgement.checks,
        verdict=judgement.verdict,
        reason="; ".join(judgement.reasons) or None,
        statement=compose(standard, judgement, context),
    )


def _roll(prepared: Prepared, rows: tuple[ResidualRow, ...]) -> Roll:
    """Tell who was surveyed, and who has no value for which part of a claim."""

    def without(*axes: str) -> tuple[str, ...]:
        return tuple(
            row.id
            for row in rows
            if row.role == "checkpoint"
            and any(getattr(row.residual, axis, None) is None for axis in axes)
        )

    checkpoints = prepared.job.checkpoints
    return Roll(
        surveyed=len(prepared.table.points),
        control=checkpoints.control,
        excluded=tuple((out.id, out.reason) for out in checkpoints.exclude),
        without_value={
            "vertical": without("up_m"),
            "horizontal": without("east_m", "north_m"),
            "3d": without("east_m", "north_m", "up_m"),
        },
    )
