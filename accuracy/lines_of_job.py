"""The flight lines of a job, or of files: analysed, judged, drawn; one plain record for each point cloud."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, cast

import numpy as np

from accuracy.deliverables import Deliverable
from accuracy.errors import JobError, ReferenceSystemError
from accuracy.findings import Finding, Severity
from accuracy.flightlines.analysis import Reading, analyse_lines
from accuracy.flightlines.records import ASSESSED, Grids, LinesRecord, LinesSettings, Span
from accuracy.formats.scanning import Scannable
from accuracy.georeferencing.record import UNKNOWN, Reference
from accuracy.job import Job
from accuracy.job.sections import Claim
from accuracy.line_statement import compose_lines
from accuracy.preparation import Prepared
from accuracy.series.line_maps import Drawn, draw_density, draw_difference
from accuracy.standards.judge import (
    LineEvidence,
    LineJudgement,
    Verdict,
    judge_lines,
    line_values,
)
from accuracy.standards.judge.lines import LEAST_CELLS
from accuracy.standards.library import Standard
from accuracy.statement import Context
from accuracy.stats import show
from accuracy.trajectory.cloud import kind_of_values, to_gps_s
from accuracy.trajectory.record import FlightLine
from accuracy.units import LengthUnit

Progress = Callable[[str], None]

#: Rows of a raster that are looked at together.
_STRIP = 512


@dataclass(frozen=True)
class Asked:
    """What a job or a command line says of the comparison; None takes the usual.

    Attributes
    ----------
    unit : LengthUnit or None
        Unit of files that declare none, as stated by people.
    """

    design_anps_m: float | None = None
    cell_m: float | None = None
    slope_limit_deg: float | None = None
    smooth_limit_m: float | None = None
    left_out_classes: tuple[int, ...] | None = None
    unit: LengthUnit | None = None


@dataclass(frozen=True)
class Printed:
    """What statements name."""

    title: str
    display_unit: LengthUnit = LengthUnit.METRE
    prepared_for: str | None = None
    prepared_by: str | None = None


@dataclass(frozen=True, eq=False)
class DatasetLines:
    """Flight lines of one point cloud.

    Attributes
    ----------
    data : mapping
        The record, plain: an entry of ``lines`` in ``result.schema.json``.
    findings : tuple of Finding
        Of the files, the analysis and the claims.
    pictures : mapping of str to bytes
        By file name; their hashes stand in the record.
    grids : Grids or None
        Rasters, for exports.
    reference : Reference
        What places refer to.
    """

    name: str
    data: Mapping[str, Any]
    findings: tuple[Finding, ...]
    pictures: Mapping[str, bytes]
    grids: Grids | None
    reference: Reference
    verdicts: tuple[Verdict, ...] = ()


def asked_of_job(job: Job) -> Asked:
    """Give what the section ``[lines]`` says."""
    section = job.lines
    if section is None:
        return Asked()
    return Asked(
        section.design_anps_m,
        section.cell_m,
        section.slope_limit_deg,
        section.smooth_limit_m,
        section.left_out_classes,
    )


def merged(first: Asked, then: Asked) -> Asked:
    """Take what the first says, and else what the other says."""
    its = {
        name: value if (value := getattr(first, name)) is not None else getattr(then, name)
        for name in vars(first)
    }
    return Asked(**its)


def without_checkpoints(job: Job) -> Job:
    """Leave out of a job all that its clouds do not need, so that it can be prepared in the field."""
    bare = job.checkpoints.model_copy(update={"file": None, "control": (), "exclude": ()})
    return job.model_copy(update={"checkpoints": bare, "area": None, "base": None})


def clouds_of(prepared: Prepared) -> list[Deliverable]:
    """Give the point clouds whose lines are to be compared.

    Raises
    ------
    JobError
        There is none.
    """
    section = prepared.job.lines
    wanted = section.datasets if section is not None and section.datasets else None
    found = [
        item
        for item in prepared.deliverables
        if item.setting.kind == "point-cloud" and (wanted is None or item.setting.name in wanted)
    ]
    if not found:
        raise JobError(
            "names no point cloud",
            where=str(prepared.job.path),
            remedy="only point clouds have flight lines",
        )
    return found


def lines_of_job(
    prepared: Prepared,
    progress: Progress,
    reading: Reading | None = None,
    flown: Sequence[FlightLine] = (),
) -> tuple[DatasetLines, ...]:
    """Compare the flight lines of the point clouds of a job, and judge its claims on them.

    Parameters
    ----------
    prepared : Prepared
        The job, its deliverables opened.
    reading : Reading, optional
        Passes over files with several workers.
    flown : sequence of FlightLine
        Straight runs of the trajectory.
    """
    job = prepared.job
    about = job.job
    printed = Printed(about.title, about.display_units, about.prepared_for, about.prepared_by)
    return tuple(
        compare_lines(
            item,
            [
                (prepared.standards[claim.standard], claim)
                for claim in job.claim
                if claim.dataset == item.setting.name
            ],
            asked_of_job(job),
            printed,
            number=number,
            progress=progress,
            reading=reading,
            flown=flown,
        )
        for number, item in enumerate(clouds_of(prepared), 1)
    )


def compare_lines(
    item: Deliverable,
    claims: Sequence[tuple[Standard, Claim]],
    asked: Asked,
    printed: Printed,
    *,
    number: int = 1,
    progress: Progress,
    reading: Reading | None = None,
    flown: Sequence[FlightLine] = (),
) -> DatasetLines:
    """Compare the flight lines of one point cloud; see `lines_of_job`.

    Parameters
    ----------
    claims : sequence of (Standard, Claim)
        What is claimed of it.
    asked, printed
        How it is compared, and what statements name.
    number : int
        Of the cloud, for the names of its pictures.
    flown : sequence of FlightLine
        Straight runs of the trajectory, for clouds whose point source ids do not tell lines.

    Raises
    ------
    ReferenceSystemError
        The cloud is in degrees.
    """
    name = item.setting.name
    units, findings, blocked = _units(item.reference, asked.unit, name)
    apart = [f.message for f in item.findings if f.code == "crs-contradiction"]
    blocked = (*blocked, *dict.fromkeys(apart))
    design_m, source = _design(item, claims, asked)
    settings = replace(_settings(asked, units, design_m), spans=spans_of(item, flown))
    progress(f"{name}: comparing flight lines")
    record = analyse_lines(item.clouds, settings, lambda text: progress(f"{name}: {text}"), reading)
    context = Context(
        title=printed.title,
        dataset=name,
        display_unit=printed.display_unit,
        prepared_for=printed.prepared_for,
        prepared_by=printed.prepared_by,
        warnings=_warnings(record, findings),
        standalone=False,
    )
    return judged_lines(
        record,
        settings,
        claims,
        context,
        number=number,
        design_source=source,
        blocked=blocked,
        findings=[*findings, *(finding for file in item.files for finding in file.findings)],
        reference=item.reference,
    )


def judged_lines(
    record: LinesRecord,
    settings: LinesSettings,
    claims: Sequence[tuple[Standard, Claim]],
    context: Context,
    *,
    number: int = 1,
    design_source: str = "none stated",
    blocked: tuple[str, ...] = (),
    findings: Sequence[Finding] = (),
    reference: Reference = UNKNOWN,
) -> DatasetLines:
    """Judge an analysis, draw its pictures, and make the plain record of it.

    Parameters
    ----------
    blocked : tuple of str
        What takes every statement away.
    findings : sequence of Finding
        Of what was assumed before the analysis.
    """
    evidence = LineEvidence(context.dataset, line_values(record), blocked)
    judged = [
        (standard, claim, judgement)
        for standard, claim in claims
        if (judgement := judge_lines(standard, claim.keys, evidence)) is not None
    ]
    grids = None if record.grids is None else without_margin(record.grids)
    drawn = _drawn(record, grids, number, _limit_m([judgement for _, _, judgement in judged]))
    told = (
        *findings,
        *record.findings,
        *untested_pairs(record),
        *common_errors(record),
        *(finding for _, _, judgement in judged for finding in judgement.findings),
    )
    bare = record.to_dict()
    del bare["findings"]  # with those of the whole result
    data = {
        "settings": {
            "design_anps_m": settings.design_anps_m,
            "design_source": design_source,
            "slope_limit_deg": settings.slope_limit_deg,
            "smooth_limit_m": settings.smooth_limit_m,
            "least_points": settings.least_points,
            "usable_share": settings.usable_share,
            "noise_classes": list(settings.noise_classes),
            "left_out_classes": list(settings.left_out_classes),
        },
        "analysis": bare,
        "claims": [_claim(*one, context) for one in judged],
        "maps": [picture.record for picture in drawn],
    }
    return DatasetLines(
        name=context.dataset,
        data=data,
        findings=tuple(replace(finding, dataset=context.dataset) for finding in told),
        pictures={picture.record["file"]: picture.picture for picture in drawn},
        grids=grids,
        reference=reference,
        verdicts=tuple(judgement.verdict for _, _, judgement in judged),
    )


def _units(
    reference: Reference, stated: LengthUnit | None, name: str
) -> tuple[tuple[float, float], list[Finding], tuple[str, ...]]:
    """Give metres per stored unit, horizontal and vertical; what was assumed; what takes claims away."""
    if reference.horizontal_kind in ("geographic", "geocentric"):
        raise ReferenceSystemError(
            f"{name} is in {reference.horizontal_kind} coordinates, and flight lines are compared in a plane",
            remedy="reproject the cloud into a projected reference system, or leave it out of [lines]",
        )
    across = reference.horizontal_unit or stated
    if across is None:
        finding = Finding(
            "lines-unit-assumed",
            Severity.WARNING,
            "nothing declares the unit of the coordinates; they were taken as metres",
            component="all",
            remedy="state crs of the dataset, or --unit",
        )
        return (1.0, 1.0), [finding], ("nothing declares the unit of the coordinates",)
    up = reference.vertical_unit or stated
    findings = []
    if up is None:
        findings.append(
            Finding(
                "lines-unit-assumed",
                Severity.WARNING,
                f"nothing declares the unit of the heights; they were taken as {across.print_name}, the unit "
                "of the plane",
                component="vertical",
                remedy="state crs of the dataset with its heights, or --unit",
            )
        )
    return (float(across.metres), float((up or across).metres)), findings, ()


def spans_of(item: Deliverable, flown: Sequence[FlightLine]) -> tuple[Span, ...]:
    """Give the straight runs of a trajectory in the time that the points are stored with.

    What kind of time that is, is told by the values of the first points, as in the check of the trajectory.
    """
    if not flown or not item.clouds:
        return ()
    for cloud in item.clouds:
        batch = next(cast(Scannable, cloud).scan(("gps_time",)), None)
        if batch is not None and len(batch.gps_time) and np.isfinite(batch.gps_time).any():
            times = batch.gps_time[np.isfinite(batch.gps_time)]
            break
    else:
        return ()
    first, last = float(times.min()), float(times.max())
    kind, _ = kind_of_values("none", first, last, item.setting.name)
    added_s = to_gps_s(kind, first, flown[0].start_s)
    return tuple(
        Span(number=line.number, start_s=line.start_s - added_s, end_s=line.end_s - added_s)
        for line in flown
    )


def _design(
    item: Deliverable, claims: Sequence[tuple[Standard, Claim]], asked: Asked
) -> tuple[float | None, str]:
    """Find the spacing that was ordered, and who says so."""
    if asked.design_anps_m is not None:
        return asked.design_anps_m, "as stated"
    if item.setting.design_anps_m is not None:
        return item.setting.design_anps_m, "of the dataset"
    for standard, claim in claims:
        spacing = standard.line_spacing
        value = None if spacing is None else spacing.limit.number(claim.keys)
        if value is not None:
            return value, f"of the claim by {standard.id}"
    return None, "none stated"


def _settings(
    asked: Asked, units: tuple[float, float], design_anps_m: float | None
) -> LinesSettings:
    given = {
        "cell_m": asked.cell_m,
        "slope_limit_deg": asked.slope_limit_deg,
        "smooth_limit_m": asked.smooth_limit_m,
        "left_out_classes": asked.left_out_classes,
    }
    return LinesSettings(
        horizontal_unit_m=units[0],
        vertical_unit_m=units[1],
        design_anps_m=design_anps_m,
        **{name: value for name, value in given.items() if value is not None},  # type: ignore[arg-type]  # of the same names and types
    )


def _warnings(record: LinesRecord, findings: Sequence[Finding]) -> tuple[str, ...]:
    """Give what every statement on these lines must carry."""
    told = [
        finding.message
        for finding in (
            *findings,
            *record.findings,
            *untested_pairs(record),
            *common_errors(record),
        )
        if finding.severity is not Severity.NOTE
    ]
    if record.how == "time":
        told.append(
            "flight lines were told apart by gaps in time and turns, not by point source ids"
        )
    if record.how == "trajectory":
        told.append("flight lines were told apart by the trajectory, not by point source ids")
    if set(record.classes) <= {0, 1}:
        told.append(
            "no point is classified: open ground was told by single returns, slope and smoothness alone"
        )
    return tuple(told)


def untested_pairs(record: LinesRecord) -> tuple[Finding, ...]:
    """Tell pairs of which too little is known, where others are judged for all."""
    thin = [pair for pair in record.pairs if pair.differences.n < LEAST_CELLS]
    if not thin or len(thin) == len(record.pairs):
        return ()  # all of them: no statement, by the rule itself
    named = ", ".join(f"{pair.later} - {pair.earlier}" for pair in thin[:8])
    more = f" and {len(thin) - 8} more" if len(thin) > 8 else ""
    return (
        Finding(
            "lines-pairs-untested",
            Severity.WARNING,
            f"of {len(record.pairs)} pairs of lines, {len(thin)} have fewer than {LEAST_CELLS} hard, smooth "
            f"and gently sloping cells in common, so that nothing is said of them: {named}{more}",
            component="vertical",
            evidence={"pairs": len(record.pairs), "untested": len(thin)},
            remedy="look whether these lines share open ground; a cross line over a road would tell",
        ),
    )


def common_errors(record: LinesRecord) -> tuple[Finding, ...]:
    """Tell what all lines have in common, where it is larger than chance and than the noise of a plane."""
    noise_m, trends = record.expected_rmsd_m, record.trends
    widths = [line.width_m for line in record.lines if line.width_m is not None]
    times = [t for line in record.lines for t in (line.start_s, line.end_s) if t is not None]
    found = []
    roll, drift = trends.roll_rad, trends.drift_m_s
    apart = trends.correlation is None or abs(trends.correlation) <= 0.95
    if noise_m is not None and roll is not None and roll.significant and widths:
        edge_m = abs(roll.value) * max(widths) / 2.0
        if edge_m > noise_m:
            found.append(
                Finding(
                    "lines-roll",
                    Severity.WARNING,
                    f"every line {'rises' if roll.value > 0 else 'falls'} to the right of its flight by "
                    f"{1000 * abs(roll.value):.2f} mm per m, {show(edge_m)} m at the edge of the swath: as a "
                    f"roll error of {-math.degrees(roll.value):+.4f} degrees does"
                    + ("" if apart else ", or a drift, which these lines do not tell from it"),
                    component="all",
                    evidence={"roll_deg": -math.degrees(roll.value), "edge_m": edge_m},
                    remedy="look at boresight and roll before anything else; horizontal positions suffer, too",
                )
            )
    if noise_m is not None and drift is not None and drift.significant and apart and times:
        whole_m = abs(drift.value) * (max(times) - min(times))
        if whole_m > noise_m:
            found.append(
                Finding(
                    "lines-drift",
                    Severity.WARNING,
                    f"heights change with time by {60_000 * drift.value:+.2f} mm per minute, {show(whole_m)} m "
                    "from the first line to the last",
                    component="vertical",
                    evidence={"drift_m_s": drift.value, "whole_m": whole_m},
                    remedy="look at the trajectory and its base",
                )
            )
    return tuple(found)


def _limit_m(judged: Sequence[LineJudgement]) -> float | None:
    """Give the limit on differences of heights that the picture shows: that of the first claim."""
    limits = (
        check.limit
        for judgement in judged
        for check in judgement.checks
        if check.quantity == "swath-rmsd" and check.limit is not None
    )
    return next(limits, None)


def without_margin(grids: Grids) -> Grids | None:
    """Cut off rows and columns outside all lines; None where there are only such."""
    rows, cols = grids.lines.shape
    used_rows, used_cols = np.zeros(rows, bool), np.zeros(cols, bool)
    for row in range(0, rows, _STRIP):
        strip = np.asarray(grids.lines[row : row + _STRIP]) > 0
        used_rows[row : row + _STRIP] = strip.any(axis=1)
        used_cols |= strip.any(axis=0)
    if not used_rows.any():
        return None
    (down,), (over,) = used_rows.nonzero(), used_cols.nonzero()
    part = slice(down[0], down[-1] + 1), slice(over[0], over[-1] + 1)
    return replace(
        grids,
        west=grids.west + float(over[0]) * grids.cell,
        north=grids.north - float(down[0]) * grids.cell,
        difference_m=grids.difference_m[part],
        state=grids.state[part],
        lines=grids.lines[part],
        first_returns=grids.first_returns[part],
    )


def _drawn(
    record: LinesRecord, grids: Grids | None, number: int, limit_m: float | None
) -> list[Drawn]:
    if grids is None:
        return []
    rows, cols = grids.state.shape
    metres = record.horizontal_unit_m
    west, north = grids.west * metres, grids.north * metres
    box_m = (west, north - rows * grids.cell_m, west + cols * grids.cell_m, north)
    density = draw_density(
        grids.first_returns, grids.lines, grids.cell_m, box_m, f"lines-{number}-density.png"
    )
    if not record.pairs:
        return [density]
    difference = draw_difference(
        grids.difference_m,
        grids.state,
        box_m,
        f"lines-{number}-difference.png",
        assessed=ASSESSED,
        limit_m=limit_m,
    )
    return [difference, density]


def _claim(
    standard: Standard, claim: Claim, judgement: LineJudgement, context: Context
) -> dict[str, Any]:
    label = standard.label if standard.client_file else ""
    return {
        "standard": standard.label,
        "title": standard.full_title,
        "claimed": dict(claim.keys),
        "checks": [dict(vars(check)) for check in judgement.checks],
        "verdict": judgement.verdict,
        "reason": "; ".join(judgement.reasons) or None,
        "statement": compose_lines(judgement, context, label),
    }


def open_files(paths: Sequence[Path], name: str, progress: Progress) -> Deliverable:
    """Open point clouds without a job, as one dataset.

    Raises
    ------
    FormatError, ReferenceSystemError
        A file cannot be read, or declares what cannot be understood.
    """
    from accuracy.deliverables import Setting, Survey, open_deliverable
    from accuracy.residuals import Roles

    return open_deliverable(
        Setting(name=name, kind="point-cloud"),
        [(path, path.name) for path in paths],
        None,
        Survey(UNKNOWN, (), Roles()),
        progress,
    )
