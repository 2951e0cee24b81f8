"""From a job to a result, in the order of the picture in DEVELOPERS.md."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

import numpy as np

from accuracy import __version__
from accuracy.deliverables import (
    Deliverable,
    Measured,
    Setting,
    distinct,
    measure,
    open_deliverable,
)
from accuracy.errors import JobError, Problem
from accuracy.findings import Finding, Severity
from accuracy.georeferencing.library import epsg_version, proj_version
from accuracy.georeferencing.reference import Reference, declared, with_units
from accuracy.inputs.checkpoints import CheckpointTable, read_checkpoints
from accuracy.job import Job
from accuracy.job.sections import Claim, Dataset
from accuracy.layout import lay_out, same_places
from accuracy.provenance import Hashing, library_versions, python_version
from accuracy.residuals import ResidualRow, Roles, row_findings
from accuracy.result import (
    ClaimResult,
    DatasetResult,
    InputFile,
    LeftOut,
    Result,
    Run,
    Transformation,
    overall,
)
from accuracy.standards.judge import Evidence, Judgement, judge
from accuracy.standards.library import Standard, load_standard
from accuracy.statement import CAUTIONS, Context, compose
from accuracy.stats import Figure, bias_significant, figures, mean, mean_interval_95

Progress = Callable[[str], None]
AxisName = Literal["east", "north", "up"]
AxisPart = Literal["horizontal", "vertical"]


def quiet(_: str) -> None:
    """Report no progress."""


@dataclass(frozen=True)
class Prepared:
    """A job whose inputs are read and whose deliverables are opened, before anything is computed."""

    job: Job
    table: CheckpointTable
    surveyed: Reference
    roles: Roles
    deliverables: tuple[Deliverable, ...]
    standards: Mapping[str, Standard]
    findings: tuple[Finding, ...]

    def describe(self) -> str:
        """Say what was read and checked, for people."""
        lines = [
            f"{self.job.path.name}: in order, nothing computed",
            f"  checkpoints: {len(self.table.points)} points in {self.surveyed.name}",
        ]
        for item in self.deliverables:
            lines.append(
                f"  {item.setting.name}: {len(item.files)} file(s) in {item.reference.name}; "
                f"horizontal {item.agreement.horizontal}, vertical {item.agreement.vertical}"
            )
        lines += [
            f"  claim on {c.dataset}: {self.standards[c.standard].full_title}"
            for c in self.job.claim
        ]
        for finding in self.findings:
            lines.append(f"  {finding.severity.value}: {finding.message} [{finding.code}]")
        return "\n".join(lines) + "\n"


def prepare(job: Job, progress: Progress = quiet) -> Prepared:
    """Read and check everything a job names; compute nothing.

    Raises
    ------
    AccuracyError
        Something cannot be used; see `accuracy.errors`.
    """
    progress(f"reading {job.checkpoints.file}")
    table = read_checkpoints(job.checkpoints.located.path, job.checkpoints.order)
    roles = _roles(job, table)
    surveyed, findings = _surveyed(job, table)
    deliverables = tuple(_open(job, dataset, surveyed, progress) for dataset in job.dataset)
    standards = {c.standard: load_standard(c.standard, job.folder) for c in job.claim}
    findings = (
        *table.findings,
        *findings,
        *same_places(table.points, roles),
        *(finding for item in deliverables for finding in item.findings),
    )
    return Prepared(job, table, surveyed, roles, deliverables, standards, distinct(findings))


def verify(job: Job, progress: Progress = quiet) -> Result:
    """Test the deliverables of a job against its checkpoints and judge its claims.

    Parameters
    ----------
    job : Job
        From `accuracy.load_job`.
    progress : callable
        Told, in words, what is being done.

    Raises
    ------
    AccuracyError
        The job cannot be run; see `accuracy.errors`.
    """
    started = datetime.now(UTC)
    prepared = prepare(job, progress)
    with Hashing() as hashing:
        hashing.begin(file.path for item in prepared.deliverables for file in item.files)
        measured = [
            measure(item, prepared.table.points, prepared.roles, progress)
            for item in prepared.deliverables
        ]
        progress("hashing the inputs")
        inputs = _inputs(prepared, hashing)
    progress("judging the claims")
    findings = list(prepared.findings)
    datasets = []
    for item, values in zip(prepared.deliverables, measured, strict=True):
        findings += [*values.findings, *row_findings(values.rows, item.setting.name)]
        result, more = _judge(prepared, item, values, findings, inputs)
        datasets.append(result)
        findings += more
    points, roles = prepared.table.points, prepared.roles
    return Result(
        run=_run(prepared, started),
        job=job.as_read(),
        inputs=inputs,
        transformations=tuple(
            _transformation(prepared.surveyed, item) for item in prepared.deliverables
        ),
        datasets=tuple(datasets),
        excluded=tuple(LeftOut(out.id, out.reason) for out in job.checkpoints.exclude),
        control=job.checkpoints.control,
        layout=lay_out(points, roles, prepared.surveyed.horizontal_unit),
        findings=distinct(findings),
        cautions=tuple(CAUTIONS),
        verdict=overall([claim.verdict for dataset in datasets for claim in dataset.claims]),
    )


def _roles(job: Job, table: CheckpointTable) -> Roles:
    known = {point.id for point in table.points}
    named = [(f"checkpoints.control[{i}]", pid) for i, pid in enumerate(job.checkpoints.control)]
    named += [
        (f"checkpoints.exclude[{i}].id", out.id) for i, out in enumerate(job.checkpoints.exclude)
    ]
    strangers = tuple(
        Problem(
            where, f"no point {pid!r} in {job.checkpoints.file}", "ids must match letter for letter"
        )
        for where, pid in named
        if pid not in known
    )
    if strangers:
        raise JobError("ids that are not in the table", where=str(job.path), problems=strangers)
    return Roles(
        control=frozenset(job.checkpoints.control),
        excluded={out.id: out.reason for out in job.checkpoints.exclude},
        survey_rmse_h_m=job.checkpoints.survey_rmse_h_m,
        survey_rmse_v_m=job.checkpoints.survey_rmse_v_m,
    )


def _surveyed(job: Job, table: CheckpointTable) -> tuple[Reference, tuple[Finding, ...]]:
    """Find what the checkpoints' coordinates refer to."""
    said = job.checkpoints
    reference = (
        declared(said.crs, geoid=said.geoid, epoch_year=said.epoch)
        if said.crs is not None
        else Reference("unknown", geoid=said.geoid, epoch_year=said.epoch)
    )
    return with_units(
        reference, table.horizontal_unit, table.vertical_unit, table.geographic, said.file
    )


def _open(job: Job, dataset: Dataset, surveyed: Reference, progress: Progress) -> Deliverable:
    setting = Setting(
        name=dataset.name,
        kind=dataset.kind,
        method=dataset.height,
        ground_classes=dataset.ground_classes,
        max_circumradius_m=dataset.max_circumradius_m,
        design_anps_m=dataset.design_anps_m,
        band=dataset.band,
    )
    said = None
    if dataset.crs is not None:
        said = declared(dataset.crs, geoid=dataset.geoid, epoch_year=dataset.epoch)
    elif dataset.geoid is not None or dataset.epoch is not None:
        said = Reference("unknown", geoid=dataset.geoid, epoch_year=dataset.epoch)
    paths = [(file.path, file.written) for file in dataset.located]
    return open_deliverable(setting, paths, said, surveyed, progress)


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
    for name in prepared.standards:
        own = job.folder / name
        if name.endswith(".toml") and own.is_file():
            found.append(entry(own, name, "standard", "TOML"))
    return tuple(found)


def _judge(
    prepared: Prepared,
    item: Deliverable,
    measured: Measured,
    findings: list[Finding],
    inputs: tuple[InputFile, ...],
) -> tuple[DatasetResult, list[Finding]]:
    name = item.setting.name
    evidence = _evidence(prepared, item, measured.rows, findings)
    claims: list[ClaimResult] = []
    more: list[Finding] = []
    for claim in prepared.job.claim:
        if claim.dataset == name:
            standard = prepared.standards[claim.standard]
            judgement = judge(standard, claim.keys, evidence)
            more += judgement.findings
            claims.append(_claim(prepared, item, claim, standard, judgement, inputs))
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
            for finding in item.findings
            if finding.severity is Severity.WARNING and finding.code.startswith("crs-")
        ),
        standalone=False,
    )
    return ClaimResult(
        standard=standard.id,
        title=standard.full_title,
        claimed=claim.keys,
        checks=judgement.checks,
        verdict=judgement.verdict,
        reason="; ".join(judgement.reasons) or None,
        statement=compose(standard, judgement, context),
    )


def _transformation(surveyed: Reference, item: Deliverable) -> Transformation:
    agreement = item.agreement
    steps = tuple(
        f"{component}: identity, nothing is transformed"
        for component, state in (
            ("horizontal", agreement.horizontal),
            ("vertical", agreement.vertical),
        )
        if state == "identity"
    )
    return Transformation(
        dataset=item.setting.name,
        source=surveyed.name,
        target=item.reference.name,
        horizontal=agreement.horizontal,
        vertical=agreement.vertical,
        steps=steps,
        accuracy_m=0.0 if len(steps) == 2 else None,
        epoch_year=item.reference.epoch_year,
    )


def _run(prepared: Prepared, started: datetime) -> Run:
    job = prepared.job
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
        notes=job.notes,
    )
