"""Deliverables measured: checkpoints carried to their frame, heights or positions taken, residuals formed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from accuracy.deliverables import Deliverable, Setting, columns, distinct
from accuracy.errors import InputError
from accuracy.findings import Component, Finding, Severity
from accuracy.georeferencing.transform import Plan
from accuracy.inputs.checkpoints import (
    Checkpoint,
    MeasuredPoint,
)
from accuracy.residuals import (
    ResidualRow,
    Roles,
    height_residuals,
    in_degrees_of,
    position_residuals,
)
from accuracy.sampling import Sample
from accuracy.sampling.grids import Method, sample_raster
from accuracy.sampling.patch import sample_patches
from accuracy.sampling.reading import Reader, read_in_turn
from accuracy.sampling.seen import Seen, seen_cells, seen_of
from accuracy.sampling.tin import CloudSetting, largest_circumradius_m, sample_cloud
from accuracy.units import LengthUnit

#: Differences below this are none: a micrometre, finer than any coordinate is written.
NO_DIFFERENCE_M = 1e-6

#: Fewest points at which it is no accident that there are no differences. No source.
ENOUGH_TO_WONDER = 3


@dataclass(frozen=True)
class Reading:
    """How files are read; nothing here changes a result outside its `run`.

    Attributes
    ----------
    read : callable
        Reads files one after the other, or `accuracy.parallel.Workers.read`.
    workers : int
        How many read.
    scheduler : str or None
        Whose workers they are.
    index_folder : Path or None
        Where indexes of chunks are kept and looked for; None keeps none.
    hashes : Path or None
        File of recorded hashes: taken for inputs whose size and time have not changed, and kept for the
        next run. None computes every hash.
    evidence : bool
        Whether a picture of every checkpoint is drawn from what is read.
    reduce : callable or None
        Passes over all points of files with several workers: `accuracy.parallel.Workers.reduce`.
    """

    read: Reader = read_in_turn
    workers: int = 1
    scheduler: str | None = None
    index_folder: Path | None = None
    hashes: Path | None = None
    evidence: bool = False
    reduce: Any = None


@dataclass(frozen=True)
class Measured:
    """What was measured at the checkpoints, what was found while reading, and what lies around each."""

    rows: tuple[ResidualRow, ...]
    findings: tuple[Finding, ...]
    max_circumradius_m: float | None = None
    seen: tuple[Seen | None, ...] = ()


def measure(
    deliverable: Deliverable,
    points: Sequence[Checkpoint],
    roles: Roles,
    progress: Callable[[str], None],
    reading: Reading | None = None,
) -> Measured:
    """Take the deliverable's heights or positions at the checkpoints and form the residuals.

    Parameters
    ----------
    points : sequence of Checkpoint
        As in their table; they are carried to the frame and stored units of the deliverable here.
    """
    carried, given = _carried(deliverable.plan, points)
    measured = _measure(deliverable, carried, given, roles, progress, reading or Reading())
    more = _no_differences(measured.rows, deliverable.setting.name)
    return replace(measured, findings=(*measured.findings, *more))


def _measure(
    deliverable: Deliverable,
    points: Sequence[Checkpoint],
    given: Sequence[Checkpoint] | None,
    roles: Roles,
    progress: Callable[[str], None],
    reading: Reading,
) -> Measured:
    reference = deliverable.reference
    horizontal, vertical = reference.horizontal_unit, reference.vertical_unit
    if deliverable.setting.kind == "measured-points":
        return _measure_positions(deliverable, points, given, roles)
    if deliverable.setting.kind == "orthophoto":  # its targets are measured by accuracy.targets
        nothing = [Sample(None, "no-target", "no target was measured")] * len(points)
        return Measured(height_residuals(points, nothing, roles, horizontal, vertical, given), ())
    refused = _why_not(deliverable)
    findings: list[Finding] = []
    limit_m = None
    if refused is not None:
        samples = [Sample(None, *refused)] * len(points)
    else:
        assert vertical is not None
        progress(f"{deliverable.setting.name}: reading heights at {len(points)} points")
        x, y, _ = columns(points)
        lost = ~(np.isfinite(x) & np.isfinite(y))
        x, y = x[~lost], y[~lost]
        metres_v = float(vertical.metres)
        if deliverable.setting.kind == "point-cloud":
            assert horizontal is not None
            setting = _cloud_setting(deliverable.setting, horizontal, vertical)
            setting = replace(setting, pictures=reading.evidence)
            method = deliverable.setting.method or "tin"
            patch = deliverable.setting.patch
            if patch is None:
                limit_m = largest_circumradius_m(deliverable.clouds, setting)
            for cloud in deliverable.clouds:
                if hasattr(cloud, "index_folder"):
                    cloud.index_folder = reading.index_folder
            if patch is None:
                samples, found = sample_cloud(
                    deliverable.clouds,
                    x,
                    y,
                    setting,
                    method=method,
                    progress=progress,
                    read=reading.read,
                )
            else:
                samples, found = sample_patches(
                    deliverable.clouds,
                    x,
                    y,
                    setting,
                    patch,
                    method="plane" if method == "plane" else "neighbourhood-mean",
                    progress=progress,
                    read=reading.read,
                )
            findings += found
            for cloud in deliverable.clouds:
                findings += getattr(cloud, "reading_findings", [])
        else:
            metres_h = float(horizontal.metres) if horizontal else None
            raster_method: Method = (
                "nearest" if deliverable.setting.method == "nearest" else "bilinear"
            )
            samples, found = sample_raster(
                deliverable.rasters, x, y, raster_method, metres_h, metres_v
            )
            findings += found
            if reading.evidence and metres_h is not None:
                samples = [
                    replace(
                        its,
                        seen=seen_cells(
                            deliverable.rasters, px, py, its.height, metres_h, metres_v
                        ),
                    )
                    for its, px, py in zip(samples, x.tolist(), y.tolist(), strict=True)
                ]
            for raster in deliverable.rasters:
                raster.close()
        if lost.any():
            found_there = iter(samples)
            nowhere = Sample(
                None, "frame", "this point could not be carried to the deliverable's frame"
            )
            samples = [nowhere if is_lost else next(found_there) for is_lost in lost]
    rows = height_residuals(points, samples, roles, horizontal, vertical, given)
    named = distinct(replace(finding, dataset=deliverable.setting.name) for finding in findings)
    return Measured(rows, named, limit_m, tuple(seen_of(sample) for sample in samples))


def _no_differences(rows: Sequence[ResidualRow], name: str) -> Iterator[Finding]:
    """Wonder at a deliverable that agrees with the survey to the last digit at every point."""
    positions = [row.residual for row in rows if row.used and row.residual is not None]
    sides: tuple[tuple[Component, list[list[float | None]]], ...] = (
        ("horizontal", [[p.east_m, p.north_m] for p in positions]),
        ("vertical", [[p.up_m] for p in positions]),
    )
    for component, values in sides:
        known_m = [axis for point in values for axis in point if axis is not None]
        n = sum(None not in point for point in values)
        if n >= ENOUGH_TO_WONDER and all(abs(axis) < NO_DIFFERENCE_M for axis in known_m):
            yield Finding(
                "measured-no-differences",
                Severity.WARNING,
                f"{name}: all {n} {component} differences are exactly zero, which no measurement gives",
                dataset=name,
                component=component,
                evidence={"points": n},
                remedy="make sure that the deliverable was measured, and not copied from the survey",
            )


def _carried(
    way: Plan, points: Sequence[Checkpoint]
) -> tuple[Sequence[Checkpoint], Sequence[Checkpoint] | None]:
    """Carry the points to the deliverable; give them as they were, too, unless nothing was carried."""
    if not way.carries:
        return points, None
    there_now = (values.tolist() for values in way.apply(*columns(points)))
    there = [
        replace(point, easting=east, northing=north, height=up)
        for point, east, north, up in zip(points, *there_now, strict=True)
    ]
    return there, points


def _cloud_setting(setting: Setting, horizontal: LengthUnit, vertical: LengthUnit) -> CloudSetting:
    return CloudSetting(
        ground_classes=setting.ground_classes,
        metres_h=float(horizontal.metres),
        metres_v=float(vertical.metres),
        max_circumradius_m=setting.max_circumradius_m,
        design_anps_m=setting.design_anps_m,
    )


def _why_not(deliverable: Deliverable) -> tuple[str, str] | None:
    """Say why heights cannot be compared at all: reason and detail; None where they can."""
    reference, agreement = deliverable.reference, deliverable.plan
    if agreement.horizontal == "differs":
        return "frame", f"the deliverable is in {reference.name}, the checkpoints are not"
    if agreement.vertical == "differs":
        return "vertical-frame", f"the deliverable's heights are {reference.name}"
    plane_needed = deliverable.setting.kind == "point-cloud"
    if reference.horizontal_unit is None and (
        plane_needed or reference.horizontal_kind != "geographic"
    ):
        return "frame", "the unit of the horizontal coordinates is not declared"
    if plane_needed and reference.horizontal_kind == "geographic":
        return "frame", "a triangulation needs a plane; these are degrees"
    if reference.vertical_unit is None:
        return "vertical-frame", "the unit of the heights is not declared"
    return None


def _measure_positions(
    deliverable: Deliverable,
    points: Sequence[Checkpoint],
    given: Sequence[Checkpoint] | None,
    roles: Roles,
) -> Measured:
    reference, agreement = deliverable.reference, deliverable.plan
    measured: list[MeasuredPoint] = []
    seen: dict[str, Path] = {}
    for file in deliverable.files:
        assert file.measured is not None
        for point in file.measured.points:
            if point.id in seen:
                raise InputError(
                    f"point {point.id} stands in {seen[point.id].name} already",
                    where=f"{file.path}, line {point.line}",
                    remedy="measure each point once per dataset, or make two datasets",
                )
            seen[point.id] = file.path
            measured.append(point)
    not_compared = None
    in_degrees = in_degrees_of(reference)
    if agreement.horizontal == "differs":
        not_compared = f"the measured positions are in {reference.name}, the checkpoints are not"
    elif reference.horizontal_kind == "geocentric":
        not_compared = "the measured positions are geocentric"
    elif reference.horizontal_unit is None and in_degrees is None:
        not_compared = "the measured positions are not in a plane with a declared unit of length"
    rows = position_residuals(
        points,
        measured,
        roles,
        reference.horizontal_unit,
        reference.vertical_unit,
        compare_heights=agreement.vertical != "differs",
        not_compared=not_compared,
        given=given,
        in_degrees=in_degrees,
    )
    surveyed = {point.id for point in points}
    strangers = [point.id for point in measured if point.id not in surveyed]
    findings: tuple[Finding, ...] = ()
    if strangers:
        findings = (
            Finding(
                "measured-not-matched",
                Severity.WARNING,
                f"{len(strangers)} measured positions have no surveyed point of the same id and were not "
                f"used: {', '.join(strangers[:10])}{' ...' if len(strangers) > 10 else ''}",
                dataset=deliverable.setting.name,
                evidence={"points": len(strangers)},
                remedy="give measured and surveyed points the same ids, letter for letter",
            ),
        )
    return Measured(rows, findings)
