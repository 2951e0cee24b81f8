"""From a job to a result, in the order of the picture in DEVELOPERS.md."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

import numpy as np

from accuracy import __version__
from accuracy.deliverables import (
    Deliverable,
    distinct,
)
from accuracy.findings import Finding, Severity
from accuracy.georeferencing.library import epsg_version, proj_version
from accuracy.georeferencing.reference import Reference
from accuracy.georeferencing.site_plan import SitePlan
from accuracy.job import Job
from accuracy.job.sections import Claim
from accuracy.layout import lay_out, place_numbers
from accuracy.measuring import Measured, Reading, measure
from accuracy.placement import placement
from accuracy.preparation import Prepared, Progress, prepare, quiet
from accuracy.processing_checks import check_processing
from accuracy.provenance import Hashing, library_versions, python_version
from accuracy.residuals import ResidualRow, row_findings
from accuracy.result import (
    ClaimResult,
    DatasetResult,
    Grid,
    InputFile,
    LeftOut,
    Result,
    Run,
    Transformation,
    overall,
)
from accuracy.series import compute_series
from accuracy.series.relief import draw_reliefs
from accuracy.standards.judge import Evidence, Judgement, judge
from accuracy.standards.library import Standard
from accuracy.statement import CAUTIONS, Context, Roll, compose
from accuracy.stats import Figure, bias_significant, figures, mean, mean_interval_95
from accuracy.targets.measuring import measure_targets
from accuracy.targets.together import set_together

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

#: Role and format of the base's files by the key that names them.
BASE_FILES = {
    "observation": ("base-observation", "RINEX"),
    "antex": ("base-antex", "ANTEX"),
    "site_log": ("base-site-log", "IGS site log"),
}


def verify(
    job: Job,
    progress: Progress = quiet,
    reading: Reading | None = None,
    kept: dict[str, Evidence] | None = None,
) -> Result:
    """Test the deliverables of a job against its checkpoints and judge its claims.

    Parameters
    ----------
    job : Job
        From `accuracy.load_job`.
    progress : callable
        Told, in words, what is being done.
    kept : dict, optional
        Filled with what the judge was given, by the name of the dataset.

    Raises
    ------
    AccuracyError
        The job cannot be run; see `accuracy.errors`.
    """
    started = datetime.now(UTC)
    prepared = prepare(job, progress)
    reading = reading or Reading()
    with Hashing(reading.hashes) as hashing:
        hashing.begin(file.path for item in prepared.deliverables for file in item.files)
        measured = [
            measure(item, prepared.table.points, prepared.roles, progress, reading)
            for item in prepared.deliverables
        ]
        targets = measure_targets(prepared, measured, reading, progress)
        measured = list(targets.measured)
        target_record, together = set_together(prepared, targets, reading, progress)
        processing = check_processing(prepared, read=reading.read, progress=progress)
        progress("hashing the inputs")
        inputs = _inputs(prepared, hashing)
    progress("judging the claims")
    findings = [*prepared.findings, *targets.findings, *together, *processing.findings, *_same_file(inputs)]
    datasets = []
    series = {}
    for item, values in zip(prepared.deliverables, measured, strict=True):
        findings += [*values.findings, *row_findings(values.rows, item.setting.name)]
        evidence = _evidence(prepared, item, values.rows, findings)
        if kept is not None:
            kept[item.setting.name] = evidence
        result, more = _judge(prepared, item, values, evidence, findings, inputs)
        datasets.append(result)
        series[item.setting.name] = _series(
            prepared, item, values, findings, processing.base_in_plane(item.reference)
        )
        findings += more
    progress("looking where the checkpoints lie")
    layouts, more = placement(prepared, [values.rows for values in measured])
    findings += more
    progress("shading the ground")
    reliefs = draw_reliefs(prepared.deliverables, [values.rows for values in measured])
    for name, relief in reliefs.records.items():
        series[name]["plan"]["relief"] = relief
    points, roles = prepared.table.points, prepared.roles
    return Result(
        run=_run(prepared, started, reading, hashing.notes),
        job=job.as_read(),
        inputs=inputs,
        transformations=tuple(
            _transformation(prepared.surveyed, item) for item in prepared.deliverables
        ),
        datasets=tuple(datasets),
        excluded=tuple(LeftOut(out.id, out.reason) for out in job.checkpoints.exclude),
        control=job.checkpoints.control,
        layout=lay_out(points, roles, prepared.surveyed.horizontal_unit, layouts),
        findings=distinct(findings),
        cautions=tuple(CAUTIONS),
        base=processing.base_data,
        trajectory=processing.trajectory_data,
        verdict=overall([claim.verdict for dataset in datasets for claim in dataset.claims]),
        series=series,
        targets=target_record,
        side_files=reliefs.pictures,
    )


def _inputs(prepared: Prepared, hashing: Hashing) -> tuple[InputFile, ...]:
    job = prepared.job

    def entry(path: Path, written: str, role: Any, kind: str, **more: Any) -> InputFile:
        size = path.stat().st_size
        more = {"dataset": None} | more
        return InputFile(
            path=written, role=role, format=kind, bytes=size, sha256=hashing.of(path), **more
        )

    table = job.checkpoints.located
    found = [
        entry(job.path, job.path.name, "job", "TOML"),
        entry(table.path, table.written, "checkpoints", "table", reference=prepared.surveyed),
    ]
    for dataset, item in zip(job.dataset, prepared.deliverables, strict=True):
        for located, file in zip(dataset.located, item.files, strict=True):
            evidence = file.surface.info.crs_evidence if file.surface else ()
            found.append(
                entry(
                    file.path,
                    located.written,
                    "deliverable",
                    file.format,
                    dataset=dataset.name,
                    crs_evidence=evidence,
                    reference=file.reference,
                )
            )
    if job.local_grid is not None and job.local_grid.located is not None:
        pairs = job.local_grid.located
        found.append(entry(pairs.path, pairs.written, "local-grid", "table"))
    if job.base is not None:
        for key, of_base in job.base.located.items():
            role, kind = BASE_FILES[key]
            found.append(entry(of_base.path, of_base.written, role, kind))
    if job.trajectory is not None:
        flown = job.trajectory.located
        found.append(entry(flown.path, flown.written, "trajectory", "table"))
    if job.processing_file is not None:
        settings = job.processing_file
        found.append(entry(settings.path, settings.written, "processing", "settings"))
    if job.area is not None:
        outline = job.area.located
        found.append(entry(outline.path, outline.written, "area", "outline"))
    for name, standard in prepared.standards.items():
        if standard.client_file:
            found.append(entry(job.folder / name, standard.client_file, "standard", "TOML"))
    return tuple(found)


def _same_file(inputs: tuple[InputFile, ...]) -> list[Finding]:
    """Block what is tested with itself: a deliverable that is the table of checkpoints, byte for byte."""
    table = next(item for item in inputs if item.role == "checkpoints")
    return [
        Finding(
            "file-is-checkpoint-table",
            Severity.BLOCKING,
            f"{item.path} is the table of checkpoints itself, byte for byte, so nothing is tested",
            dataset=item.dataset,
            evidence={"sha256": item.sha256},
            remedy="name the table of positions that were measured in the deliverable",
        )
        for item in inputs
        if item.role == "deliverable" and item.sha256 == table.sha256
    ]


def _judge(
    prepared: Prepared,
    item: Deliverable,
    measured: Measured,
    evidence: Evidence,
    findings: Sequence[Finding],
    inputs: tuple[InputFile, ...],
) -> tuple[DatasetResult, list[Finding]]:
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
        residuals=measured.rows,
        figures=_figures(evidence),
        claims=tuple(claims),
    )
    return result, more


def _evidence(
    prepared: Prepared, item: Deliverable, rows: tuple[ResidualRow, ...], findings: list[Finding]
) -> Evidence:
    """Hand the judged rows on as arrays, with what blocks a statement."""
    used = [row for row in rows if row.used]
    name = item.setting.name
    dataset = next(d for d in prepared.job.dataset if d.name == name)
    assumed = {point.id for point in prepared.table.points if not point.cover_stated}
    places = place_numbers(prepared.table.points)

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
    )


def _series(
    prepared: Prepared,
    item: Deliverable,
    measured: Measured,
    findings: list[Finding],
    base_m: tuple[float, float] | None,
) -> dict[str, Any]:
    """Compute the curves and what-ifs of one dataset, with the findings its claims were judged with."""
    surfaces = [file.surface for file in item.files if file.surface is not None]
    return compute_series(
        measured.rows,
        [
            (prepared.standards[claim.standard], claim.keys)
            for claim in prepared.job.claim
            if claim.dataset == item.setting.name
        ],
        lambda rows: _evidence(prepared, item, rows, findings),
        boxes=[s.info.bounds for s in surfaces if s.info.bounds_believed],
        unit=item.reference.horizontal_unit,
        base_m=base_m,
    )


def _figures(evidence: Evidence) -> tuple[Figure, ...]:
    return figures(
        evidence.east_m,
        evidence.north_m,
        evidence.up_m,
        evidence.vegetated,
        evidence.survey_rmse_h_m,
        evidence.survey_rmse_v_m,
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


def _transformation(surveyed: Reference, item: Deliverable) -> Transformation:
    way = item.plan
    return Transformation(
        dataset=item.setting.name,
        source=surveyed.name,
        target=item.reference.name,
        horizontal=way.horizontal,
        vertical=way.vertical,
        steps=way.steps,
        grids=tuple(
            Grid(step.grid, step.sha256) for step in way.steps if step.grid and step.sha256
        ),
        accuracy_m=way.accuracy_m,
        epoch_year=way.epoch_year,
        not_applied=way.not_applied,
        local_grid=way.record if isinstance(way, SitePlan) else None,
    )


def _run(prepared: Prepared, started: datetime, reading: Reading, notes: Sequence[str]) -> Run:
    job = prepared.job
    clouds = [
        note
        for item in prepared.deliverables
        for cloud in item.clouds
        for note in getattr(cloud, "notes", ())
    ]
    located = [job.checkpoints.located, *(file for d in job.dataset for file in d.located)]
    return Run(
        tool_version=__version__,
        python=python_version(),
        libraries=library_versions(),
        proj=proj_version(),
        epsg=epsg_version(),
        started=started.isoformat(timespec="seconds"),
        finished=datetime.now(UTC).isoformat(timespec="seconds"),
        paths={job.path.name: job.path.as_posix()}
        | {f.written: f.path.as_posix() for f in located},
        workers=reading.workers,
        scheduler=reading.scheduler,
        notes=(*clouds, *notes),
    )
