"""Deliverables: opened by their headers, understood, compared with the checkpoints' frame, and sampled."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from accuracy.findings import Finding, Severity
from accuracy.formats import PointSurface, RasterSurface, open_cloud, open_raster
from accuracy.formats.picture import Picture, open_picture
from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.local_grid import LocalGrid
from accuracy.georeferencing.realisation import with_realisation
from accuracy.georeferencing.reference import (
    Reference,
    agree,
    interpret,
    supplement,
    with_units,
)
from accuracy.georeferencing.site_plan import plan_on_site
from accuracy.georeferencing.table_system import of_table
from accuracy.georeferencing.transform import Places, Plan
from accuracy.inputs.checkpoints import (
    Checkpoint,
    MeasuredTable,
    read_measured_points,
)
from accuracy.residuals import (
    Roles,
)
from accuracy.sampling import Patch

Kind = Literal["point-cloud", "raster", "measured-points", "orthophoto"]


@dataclass(frozen=True)
class Setting:
    """How a deliverable is to be read, as its job says; lengths in metres.

    Attributes
    ----------
    name, kind : str
        Of the dataset.
    method : str or None
        Height method.
    ground_classes, max_circumradius_m, design_anps_m, band, realisation
        As in the job.
    local : bool
        Its coordinates are in the job's local grid.
    patch : Patch or None
        The neighbourhood that heights are taken from, where the method takes one.
    """

    name: str
    kind: Kind
    method: str | None = None
    ground_classes: tuple[int, ...] = (2,)
    max_circumradius_m: float | None = None
    design_anps_m: float | None = None
    band: int | None = None
    realisation: str | None = None
    local: bool = False
    patch: Patch | None = None


@dataclass(frozen=True)
class Survey:
    """The other side: what the surveyed points refer to, where they are, and where grids are found.

    `local_grid` is that of the job; `local` says that the points are in it.
    """

    reference: Reference
    points: tuple[Checkpoint, ...]
    roles: Roles
    grids: GridShelf = field(default_factory=GridShelf)
    local_grid: LocalGrid | None = None
    local: bool = False

    @property
    def places(self) -> Places:
        """The points as arrays."""
        easting, northing, height = columns(self.points)
        return Places(
            tuple(point.id for point in self.points),
            easting,
            northing,
            height,
            np.array([self.roles.role(point.id) == "checkpoint" for point in self.points], bool),
        )


@dataclass(frozen=True)
class File:
    """One file of a deliverable: what it is and what it says of its coordinates."""

    path: Path
    format: str
    surface: PointSurface | RasterSurface | Picture | None
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
    plan : Plan
        How the checkpoints get to its frame and units, or why they do not.
    decimals : int
        Decimals of its stored coordinates, for print.
    """

    setting: Setting
    files: tuple[File, ...]
    reference: Reference
    plan: Plan
    findings: tuple[Finding, ...]
    decimals: int

    @property
    def clouds(self) -> list[PointSurface]:
        """Its point clouds."""
        return [f.surface for f in self.files if f.surface and f.surface.info.kind == "point-cloud"]  # type: ignore[misc]  # told apart by kind

    @property
    def rasters(self) -> list[RasterSurface]:
        """Its rasters."""
        return [
            f.surface  # type: ignore[misc]  # told apart by kind
            for f in self.files
            if f.surface and f.surface.info.kind == "raster" and not isinstance(f.surface, Picture)
        ]

    @property
    def pictures(self) -> list[Picture]:
        """Its orthophotos."""
        return [f.surface for f in self.files if isinstance(f.surface, Picture)]


def _open(path: Path, written: str, setting: Setting) -> File:
    if setting.kind == "measured-points":
        table = read_measured_points(path)
        reference, _ = of_table(table.crs, None, written)
        return File(path, "table", None, table, reference, table.findings)
    surface: PointSurface | RasterSurface | Picture
    if setting.kind == "orthophoto":
        surface = open_picture(path)
    elif setting.kind == "point-cloud":
        surface = open_cloud(path)
    else:
        surface = open_raster(path, setting.band)
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
    survey: Survey,
    progress: Callable[[str], None],
) -> Deliverable:
    """Open all files of a deliverable by their headers and plan how the checkpoints get to its frame.

    Parameters
    ----------
    paths : sequence of (Path, str)
        Each file, and its name as the job writes it.
    declared : Reference or None
        What the job says of the coordinates, to supply or to assert.
    survey : Survey
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
        if setting.realisation is not None:
            completed = with_realisation(
                completed, setting.realisation, f'realisation of [[dataset]] "{setting.name}"'
            )
        files.append(replace(file, reference=completed))
        findings += [*file.findings, *more]
    findings += _files_agree(files, [written for _, written in paths])
    reference = files[0].reference if files else declared or Reference("unknown")
    way = plan_on_site(
        survey.reference,
        reference,
        local=survey.local_grid,
        source_local=survey.local,
        target_local=setting.local,
        dataset_name=setting.name,
        places=survey.places,
        grids=survey.grids,
    )
    heights_compared = setting.kind in ("point-cloud", "raster") or any(
        point.height is not None
        for file in files
        if file.measured
        for point in file.measured.points
    )
    findings += [f for f in way.findings if heights_compared or f.component != "vertical"]
    if setting.kind == "point-cloud" and reference.horizontal_kind == "geographic":
        findings.append(
            Finding(
                "crs-geographic",
                Severity.BLOCKING,
                f"{setting.name} is in degrees; a triangulation needs a plane",
                remedy="deliver or reproject the cloud in a projected reference system",
            )
        )
    if reference.horizontal_kind == "geocentric":
        findings.append(
            Finding(
                "crs-geographic",
                Severity.BLOCKING,
                f"{setting.name} is in geocentric coordinates, whose errors have no horizontal part",
                remedy="deliver projected or geographic coordinates",
            )
        )
    named = distinct(replace(finding, dataset=setting.name) for finding in findings)
    decimals = [
        file.surface.info.decimals
        if file.surface
        else file.measured.decimals
        if file.measured and reference.horizontal_kind != "geographic"
        else 3
        for file in files
    ]
    return Deliverable(setting, tuple(files), reference, way, named, max(decimals, default=3))


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
    if not files:
        return []  # planned, not flown yet
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


def columns(points: Sequence[Checkpoint]) -> list[NDArray[np.float64]]:
    """Give eastings, northings and heights as arrays, in stored units."""
    return [
        np.array([getattr(point, axis) for point in points], dtype=np.float64)
        for axis in ("easting", "northing", "height")
    ]
