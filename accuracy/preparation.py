"""A job made ready: inputs read, deliverables opened, the way between their frames planned."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from accuracy.deliverables import (
    Deliverable,
    Setting,
    Survey,
    distinct,
    open_deliverable,
)
from accuracy.errors import JobError, Problem, ReferenceSystemError
from accuracy.findings import Finding
from accuracy.formats.outlines import read_outline
from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.local_grid import (
    LocalGrid,
    Parameters,
    Sides,
    fitted,
    local_reference,
    shared_ids,
    stated,
)
from accuracy.georeferencing.realisation import with_realisation
from accuracy.georeferencing.reference import Reference, declared, with_units
from accuracy.georeferencing.table_epochs import with_epochs
from accuracy.georeferencing.table_system import of_table
from accuracy.inputs.checkpoints import CheckpointTable, read_checkpoints
from accuracy.inputs.grid_pairs import GridPair, read_grid_pairs
from accuracy.job import Job
from accuracy.job.base import BaseCoordinates
from accuracy.job.local_grid import LOCAL, LocalGridSection
from accuracy.job.sections import Checkpoints, Dataset
from accuracy.job.trajectory_section import TrajectorySection
from accuracy.layout import same_places
from accuracy.layout.counts import near_points
from accuracy.residuals import Roles
from accuracy.sampling.patch import patch_of
from accuracy.standards.library import Standard, load_standard
from accuracy.survey import Surveyed, look_at_survey

Progress = Callable[[str], None]
_Declares = Checkpoints | Dataset | LocalGridSection | BaseCoordinates | TrajectorySection


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
    survey: Surveyed = field(default_factory=Surveyed)

    def describe(self) -> str:
        """Say what was read and checked, for people."""
        lines = [
            f"{self.job.path.name}: in order, nothing computed",
            f"  checkpoints: {len(self.table.points)} points in {self.surveyed.name}",
        ]
        for item in self.deliverables:
            lines.append(
                f"  {item.setting.name}: {len(item.files)} file(s) in {item.reference.name}; "
                f"horizontal {item.plan.horizontal}, vertical {item.plan.vertical}"
            )
        lines += [
            f"  claim on {c.dataset}: {self.standards[c.standard].full_title}"
            for c in self.job.claim
        ]
        for finding in self.findings:
            lines.append(f"  {finding.severity.value}: {finding.message} [{finding.code}]")
        return "\n".join(lines) + "\n"


def prepare(job: Job, progress: Progress = quiet, *, planning: bool = False) -> Prepared:
    """Read and check everything a job names; compute nothing.

    Parameters
    ----------
    planning : bool
        Whether the job may come without a table of checkpoints.

    Raises
    ------
    AccuracyError
        Something cannot be used; see `accuracy.errors`.
    """
    _check_systems(job)
    if job.checkpoints.file is None:
        if not planning:
            raise JobError(
                "names no table of checkpoints",
                where=str(job.path),
                remedy="name it as file in [checkpoints]; only accuracy plan does without",
            )
        table = CheckpointTable(job.path, ())
    else:
        progress(f"reading {job.checkpoints.file}")
        said = job.checkpoints
        table = read_checkpoints(
            said.located.path, said.order, said.layer, repeats=bool(said.repeats)
        )
    if job.area is not None:
        read_outline(job.area.located.path, job.area.layer)  # refused here, before the reading
    roles = _roles(job, table)
    site = _site(job)
    surveyed, findings = _surveyed(job, table, site.local)
    shelf = GridShelf(job.grids.folders(job.folder), job.grids.geoid_files)
    checkpoints_local = job.checkpoints.crs == LOCAL
    survey = Survey(surveyed, table.points, roles, shelf, site.local, checkpoints_local)
    deliverables = tuple(_open(dataset, survey, progress) for dataset in job.dataset)
    standards = {c.standard: load_standard(c.standard, job.folder) for c in job.claim}
    told = look_at_survey(
        table.points,
        roles,
        surveyed,
        table.path.parent,
        job.job.flown,
        job.checkpoints.max_days_from_flight,
    )
    findings = (
        *table.findings,
        *findings,
        *same_places(table.points, roles),
        *near_points(
            table.points,
            roles,
            surveyed.horizontal_unit,
            job.checkpoints.least_distance_to_control_m,
        ),
        *told.findings,
        *site.findings,
        *_shared_with_site(job, table, surveyed, roles, site),
        *(finding for item in deliverables for finding in item.findings),
    )
    return Prepared(job, table, surveyed, roles, deliverables, standards, distinct(findings), told)


def _check_systems(job: Job) -> None:
    """Refuse what the job says of reference systems, all of it at once, before anything is read."""
    sides: dict[str, _Declares] = {"checkpoints.crs": job.checkpoints}
    sides |= {f"dataset[{i}].crs": dataset for i, dataset in enumerate(job.dataset)}
    if job.local_grid is not None:
        sides["[local_grid].crs"] = job.local_grid
    if job.base is not None:
        stated = {"base.published": job.base.published, "base.held": job.base.held}
        stated |= {f"base.solution[{i}]": one for i, one in enumerate(job.base.solution)}
        sides |= {f"{where}.crs": side for where, side in stated.items() if side is not None}
    if job.trajectory is not None:
        sides["trajectory.crs"] = job.trajectory
    problems = []
    for where, side in sides.items():
        if side.crs is None or side.crs == LOCAL:
            continue
        try:
            declared(side.crs, geoid=side.geoid, epoch_year=side.epoch, where=where)
        except ReferenceSystemError as error:
            problems.append(Problem(where, error.message, error.remedy or ""))
    if problems:
        raise JobError(
            "reference systems that cannot be used",
            where=str(job.path),
            problems=tuple(problems),
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


@dataclass(frozen=True)
class _Site:
    """The job's local grid, if it has one, and the pairs it was fitted to."""

    local: LocalGrid | None = None
    pairs: tuple[GridPair, ...] = ()
    findings: tuple[Finding, ...] = ()


def _site(job: Job) -> _Site:
    said = job.local_grid
    if said is None:
        return _Site()
    grid = declared(said.crs, geoid=said.geoid, epoch_year=said.epoch, where="[local_grid].crs")
    sides = Sides(said.name, grid, said.local_unit, said.height_unit)
    if said.direction is not None:
        parameters = Parameters(
            said.direction,
            said.scale_stated,
            said.clockwise_deg,
            said.origin_easting or 0.0,
            said.origin_northing or 0.0,
            said.translation_east_m or 0.0,
            said.translation_north_m or 0.0,
            said.vertical_shift_m,
            said.tilt_north_m_per_m or 0.0,
            said.tilt_east_m_per_m or 0.0,
        )
        local = stated(sides, parameters)
        return _Site(local, (), local.findings)
    if said.located is not None:
        table = read_grid_pairs(said.located.path)
        pairs, more, source = table.pairs, table.findings, said.located.written
    else:
        pairs = tuple(GridPair(**pair.model_dump()) for pair in said.pair)
        more, source = (), "[[local_grid.pair]]"
    local = fitted(
        sides,
        pairs,
        vertical_model=said.vertical_model,
        tolerance_m=said.tolerance_m,
        source=source,
    )
    return _Site(local, pairs, (*more, *local.findings))


def _shared_with_site(
    job: Job, table: CheckpointTable, surveyed: Reference, roles: Roles, site: _Site
) -> tuple[Finding, ...]:
    """Points that the local grid was fitted to are not independent of what it carries."""
    if site.local is None or not site.pairs:
        return ()
    judged = [point for point in table.points if roles.role(point.id) == "checkpoint"]
    if job.checkpoints.crs == LOCAL:
        return shared_ids(site.pairs, judged, side="local", unit=site.local.sides.local_unit)
    if surveyed.horizontal_wkt == site.local.sides.grid.horizontal_wkt:
        return shared_ids(site.pairs, judged, side="grid", unit=surveyed.horizontal_unit)
    return shared_ids(site.pairs, judged)


def _declared(
    crs: str | None, geoid: str | None, epoch_year: float | None, local: LocalGrid | None
) -> Reference | None:
    """Interpret what the job says of one side; None where it says nothing."""
    if crs == LOCAL:
        assert local is not None  # the job's own check: "local" needs the section
        return local_reference(local)
    if crs is not None:
        return declared(crs, geoid=geoid, epoch_year=epoch_year)
    if geoid is None and epoch_year is None:
        return None
    return Reference("unknown", geoid=geoid, epoch_year=epoch_year)


def _surveyed(
    job: Job, table: CheckpointTable, local: LocalGrid | None
) -> tuple[Reference, tuple[Finding, ...]]:
    """Find what the checkpoints' coordinates refer to."""
    said = job.checkpoints
    of_job = _declared(said.crs, said.geoid, said.epoch, local)
    reference, told = of_table(table.crs, of_job, said.file or str(job.path))
    reference, findings = with_units(
        reference,
        table.horizontal_unit,
        table.vertical_unit,
        table.geographic,
        said.file or str(job.path),
    )
    if said.realisation is not None:
        reference = with_realisation(reference, said.realisation, "realisation of [checkpoints]")
    reference, more = with_epochs(
        reference, [point.epoch_year for point in table.points], said.file or str(job.path)
    )
    return reference, (*told, *findings, *more)


def _open(dataset: Dataset, survey: Survey, progress: Progress) -> Deliverable:
    setting = Setting(
        name=dataset.name,
        kind=dataset.kind,
        method=dataset.height,
        ground_classes=dataset.ground_classes,
        max_circumradius_m=dataset.max_circumradius_m,
        design_anps_m=dataset.design_anps_m,
        band=dataset.band,
        realisation=dataset.realisation,
        local=dataset.crs == LOCAL,
        patch=patch_of(
            dataset.height,
            dataset.neighbourhood_shape,
            dataset.neighbourhood_across_m,
            dataset.neighbourhood_across_spacings,
            dataset.design_anps_m,
            dataset.neighbourhood_least_points,
        ),
    )
    said = _declared(dataset.crs, dataset.geoid, dataset.epoch, survey.local_grid)
    paths = [(file.path, file.written) for file in dataset.located]
    return open_deliverable(setting, paths, said, survey, progress)
