"""Deliverables: opened by their headers, understood, compared with the checkpoints' frame, and sampled."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from accuracy.errors import InputError
from accuracy.findings import Finding, Severity
from accuracy.formats import PointSurface, RasterSurface, open_cloud, open_raster
from accuracy.georeferencing.reference import (
    Agreement,
    Reference,
    agree,
    interpret,
    supplement,
    with_units,
)
from accuracy.inputs.checkpoints import (
    Checkpoint,
    MeasuredPoint,
    MeasuredTable,
    read_measured_points,
)
from accuracy.residuals import ResidualRow, Roles, height_residuals, position_residuals
from accuracy.sampling import Sample
from accuracy.sampling.grids import Method, sample_raster
from accuracy.sampling.tin import CloudSetting, largest_circumradius_m, sample_cloud
from accuracy.units import LengthUnit

Kind = Literal["point-cloud", "raster", "measured-points"]


@dataclass(frozen=True)
class Setting:
    """How a deliverable is to be read, as its job says; lengths in metres.

    Attributes
    ----------
    name, kind : str
        Of the dataset.
    method : str or None
        Height method.
    ground_classes, max_circumradius_m, design_anps_m, band
        As in the job.
    """

    name: str
    kind: Kind
    method: str | None = None
    ground_classes: tuple[int, ...] = (2,)
    max_circumradius_m: float | None = None
    design_anps_m: float | None = None
    band: int | None = None


@dataclass(frozen=True)
class File:
    """One file of a deliverable: what it is and what it says of its coordinates."""

    path: Path
    format: str
    surface: PointSurface | RasterSurface | None
    measured: MeasuredTable | None
    reference: Reference
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Deliverable:
    """A deliverable whose headers are read, before anything is computed.

    Attributes
    ----------
    reference : Reference
        What all its coordinates refer to.
    agreement : Agreement
        Whether it may be compared with the checkpoints as it is.
    decimals : int
        Decimals of its stored coordinates, for print.
    """

    setting: Setting
    files: tuple[File, ...]
    reference: Reference
    agreement: Agreement
    findings: tuple[Finding, ...]
    decimals: int

    @property
    def clouds(self) -> list[PointSurface]:
        """Its point clouds."""
        return [f.surface for f in self.files if f.surface and f.surface.info.kind == "point-cloud"]  # type: ignore[misc]  # told apart by kind

    @property
    def rasters(self) -> list[RasterSurface]:
        """Its rasters."""
        return [f.surface for f in self.files if f.surface and f.surface.info.kind == "raster"]  # type: ignore[misc]  # told apart by kind


def _open(path: Path, written: str, setting: Setting) -> File:
    if setting.kind == "measured-points":
        table = read_measured_points(path)
        return File(path, "table", None, table, Reference("unknown"), table.findings)
    surface = open_cloud(path) if setting.kind == "point-cloud" else open_raster(path, setting.band)
    reference, findings = interpret(surface.info.crs_evidence)
    told = tuple(
        replace(finding, message=f"{written}: {finding.message}")
        for finding in (*surface.info.findings, *findings)
    )
    return File(path, surface.info.format, surface, None, reference, told)


def open_deliverable(
    setting: Setting,
    paths: Sequence[tuple[Path, str]],
    declared: Reference | None,
    checkpoints: Reference,
    progress: Callable[[str], None],
) -> Deliverable:
    """Open all files of a deliverable by their headers and compare their frame with the checkpoints'.

    Parameters
    ----------
    paths : sequence of (Path, str)
        Each file, and its name as the job writes it.
    declared : Reference or None
        What the job says of the coordinates, to supply or to assert.
    checkpoints : Reference
        The other side.
    """
    files = []
    findings: list[Finding] = []
    for path, written in paths:
        progress(f"{setting.name}: reading the header of {written}")
        file = _open(path, written, setting)
        completed, more = supplement(file.reference, declared, written)
        if file.measured is not None:
            completed, unit_findings = _with_table_units(completed, file.measured, written)
            more = (*more, *unit_findings)
        files.append(replace(file, reference=completed))
        findings += [*file.findings, *more]
    findings += _files_agree(files, [written for _, written in paths])
    reference = files[0].reference
    agreement = agree(checkpoints, reference, setting.name)
    heights_compared = setting.kind != "measured-points" or any(
        point.height is not None
        for file in files
        if file.measured
        for point in file.measured.points
    )
    findings += [f for f in agreement.findings if heights_compared or f.component != "vertical"]
    if setting.kind == "point-cloud" and reference.horizontal_kind == "geographic":
        findings.append(
            Finding(
                "crs-geographic",
                Severity.BLOCKING,
                f"{setting.name} is in degrees; a triangulation needs a plane",
                remedy="deliver or reproject the cloud in a projected reference system",
            )
        )
    named = distinct(replace(finding, dataset=setting.name) for finding in findings)
    decimals = [
        file.surface.info.decimals
        if file.surface
        else file.measured.decimals
        if file.measured
        else 3
        for file in files
    ]
    return Deliverable(setting, tuple(files), reference, agreement, named, max(decimals))


def distinct(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Keep one of findings that say the same."""
    kept: list[Finding] = []
    for finding in findings:
        if finding not in kept:
            kept.append(finding)
    return tuple(kept)


def _with_table_units(
    reference: Reference, table: MeasuredTable, written: str
) -> tuple[Reference, tuple[Finding, ...]]:
    return with_units(
        reference, table.horizontal_unit, table.vertical_unit, table.geographic, written
    )


def _files_agree(files: Sequence[File], names: Sequence[str]) -> list[Finding]:
    """Files of one dataset must be in one frame."""
    first = files[0].reference
    findings = []
    for file, name in zip(files[1:], names[1:], strict=True):
        if replace(file.reference, sources=()) == replace(first, sources=()):
            continue
        same = agree(first, file.reference, name)
        for component, state in (("horizontal", same.horizontal), ("vertical", same.vertical)):
            known = first.name != "unknown" and file.reference.name != "unknown"
            if state == "identity" or (state == "unknown" and not known):
                continue
            findings.append(
                Finding(
                    "crs-contradiction",
                    Severity.BLOCKING,
                    f"files of one dataset are in different reference systems: {names[0]} in {first.name}, "
                    f"{name} in {file.reference.name}",
                    component="vertical" if component == "vertical" else "all",
                    remedy="make two datasets of them, or deliver all files in one reference system",
                )
            )
            break
    return findings


@dataclass(frozen=True)
class Measured:
    """What was measured at the checkpoints, and what was found while reading."""

    rows: tuple[ResidualRow, ...]
    findings: tuple[Finding, ...]
    max_circumradius_m: float | None = None


def measure(
    deliverable: Deliverable,
    points: Sequence[Checkpoint],
    roles: Roles,
    progress: Callable[[str], None],
) -> Measured:
    """Take the deliverable's heights or positions at the checkpoints and form the residuals.

    Parameters
    ----------
    points : sequence of Checkpoint
        In the frame and stored units of the deliverable.
    """
    reference = deliverable.reference
    horizontal, vertical = reference.horizontal_unit, reference.vertical_unit
    if deliverable.setting.kind == "measured-points":
        return _measure_positions(deliverable, points, roles)
    refused = _why_not(deliverable)
    findings: list[Finding] = []
    limit_m = None
    if refused is not None:
        samples = [Sample(None, *refused)] * len(points)
    else:
        assert vertical is not None
        progress(f"{deliverable.setting.name}: reading heights at {len(points)} points")
        x = np.array([point.easting for point in points])
        y = np.array([point.northing for point in points])
        metres_v = float(vertical.metres)
        if deliverable.setting.kind == "point-cloud":
            assert horizontal is not None
            setting = _cloud_setting(deliverable.setting, horizontal, vertical)
            limit_m = largest_circumradius_m(deliverable.clouds, setting)
            method = deliverable.setting.method or "tin"
            samples, found = sample_cloud(
                deliverable.clouds, x, y, setting, method=method, progress=progress
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
            for raster in deliverable.rasters:
                raster.close()
    rows = height_residuals(points, samples, roles, horizontal, vertical)
    named = distinct(replace(finding, dataset=deliverable.setting.name) for finding in findings)
    return Measured(rows, named, limit_m)


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
    reference, agreement = deliverable.reference, deliverable.agreement
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
    deliverable: Deliverable, points: Sequence[Checkpoint], roles: Roles
) -> Measured:
    reference, agreement = deliverable.reference, deliverable.agreement
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
    if agreement.horizontal == "differs":
        not_compared = f"the measured positions are in {reference.name}, the checkpoints are not"
    elif reference.horizontal_unit is None:
        not_compared = "the measured positions are not in a plane with a declared unit of length"
    rows = position_residuals(
        points,
        measured,
        roles,
        reference.horizontal_unit,
        reference.vertical_unit,
        compare_heights=agreement.vertical != "differs",
        not_compared=not_compared,
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
