"""From a job to a result, in the order of the picture in DEVELOPERS.md."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from accuracy import __version__
from accuracy.deliverables import Deliverable, distinct
from accuracy.diagnosis_of_result import with_diagnosis
from accuracy.findings import Finding
from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.library import epsg_version, proj_version
from accuracy.georeferencing.reference import Reference
from accuracy.georeferencing.site_plan import SitePlan
from accuracy.inputs_of_job import inputs_of_job, same_file
from accuracy.job import Job
from accuracy.judging import beside, evidence_of, judge_dataset
from accuracy.layout import lay_out
from accuracy.lines_of_job import lines_of_job
from accuracy.measuring import Measured, Reading, measure
from accuracy.placement import placement
from accuracy.preparation import Prepared, Progress, prepare, quiet
from accuracy.processing_checks import check_processing
from accuracy.provenance import Hashing, library_versions, python_version
from accuracy.residuals import row_findings
from accuracy.result import Grid, LeftOut, Result, Run, Transformation, overall
from accuracy.series import compute_series
from accuracy.series.evidence import Evidences, draw_evidence
from accuracy.series.relief import draw_reliefs
from accuracy.standards.judge import Evidence
from accuracy.standards.judge.side_by_side import SideBySide
from accuracy.statement import CAUTIONS
from accuracy.targets.measuring import measure_targets
from accuracy.targets.together import set_together


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
        flown = processing.trajectory.lines if processing.trajectory is not None else ()
        lines = lines_of_job(prepared, progress, reading.reduce, flown) if job.lines else ()
        progress("hashing the inputs")
        inputs = inputs_of_job(prepared, hashing)
    progress("judging the claims")
    findings = [
        *prepared.findings,
        *targets.findings,
        *together,
        *processing.findings,
        *same_file(inputs),
    ]
    datasets = []
    side_by_side: list[SideBySide] = []
    series = {}
    for item, values in zip(prepared.deliverables, measured, strict=True):
        findings += [*values.findings, *row_findings(values.rows, item.setting.name)]
        evidence = evidence_of(prepared, item, values.rows, findings)
        if kept is not None:
            kept[item.setting.name] = evidence
        result, more = judge_dataset(prepared, item, values, evidence, findings, inputs)
        datasets.append(result)
        side_by_side += beside(prepared, item, evidence)
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
    evidences = Evidences({}, {})
    if reading.evidence:
        progress("drawing the checkpoints")
        evidences = draw_evidence(
            [
                (item.setting.name, values.rows, values.seen)
                for item, values in zip(prepared.deliverables, measured, strict=True)
                if values.seen
            ]
        )
    for name, its in evidences.records.items():
        series[name]["evidence"] = its
    findings += [finding for its in lines for finding in its.findings]
    verdicts = [claim.verdict for dataset in datasets for claim in dataset.claims]
    verdicts += [verdict for its in lines for verdict in its.verdicts]
    points, roles = prepared.table.points, prepared.roles
    whole = Result(
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
        verdict=overall(verdicts),
        series=series,
        targets=target_record,
        side_by_side=tuple(side_by_side),
        survey=prepared.survey.record,
        lines={its.name: its.data for its in lines},
        side_files={
            **reliefs.pictures,
            **prepared.survey.pictures,
            **evidences.pictures,
            **{name: picture for its in lines for name, picture in its.pictures.items()},
        },
    )
    progress("looking for causes")
    shelf = GridShelf(job.grids.folders(job.folder), job.grids.geoid_files)
    return with_diagnosis(whole, shelf, prepared.standards)


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
        lambda rows: evidence_of(prepared, item, rows, findings),
        boxes=[s.info.bounds for s in surfaces if s.info.bounds_believed],
        unit=item.reference.horizontal_unit,
        base_m=base_m,
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
