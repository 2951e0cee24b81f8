"""The trajectory of a job, read, carried to the frame of its cloud, and checked."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from accuracy.deliverables import Deliverable
from accuracy.findings import Finding, Severity
from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.realisation import with_realisation
from accuracy.georeferencing.reference import Reference, declared, with_units
from accuracy.gps_time import week_of_date
from accuracy.inputs.trajectory_table import TrajectoryTable, read_trajectory
from accuracy.job.trajectory_section import TrajectorySection
from accuracy.preparation import Prepared
from accuracy.sampling.reading import Reader, read_in_turn
from accuracy.sampling.tin import CloudSetting
from accuracy.trajectory.check import Limits, check_trajectory
from accuracy.trajectory.cloud import CloudSide
from accuracy.trajectory.frame import Destination, positions_of
from accuracy.trajectory.lines import flight_lines
from accuracy.trajectory.record import FlightLine, Span, TrajectoryCheck
from accuracy.trajectory.track import track_of
from accuracy.units import LengthUnit


def trajectory_of_job(
    prepared: Prepared,
    *,
    base: Span | None = None,
    read: Reader = read_in_turn,
    all_points: bool = False,
    progress: Callable[[str], None] = lambda _: None,
) -> TrajectoryCheck | None:
    """Check the trajectory of a job against its first point cloud; None where the job names none.

    Parameters
    ----------
    prepared : Prepared
        The job, its deliverables opened.
    base : Span, optional
        First and last epoch of the base's record, GPS seconds.
    read : callable
        How files are read; see `accuracy.sampling.reading`.
    all_points : bool
        Pass over all points of the cloud for their times, however many there are.

    Raises
    ------
    InputError, ReferenceSystemError, FormatError
        The trajectory, its reference system or the cloud cannot be used.
    """
    section = prepared.job.trajectory
    if section is None:
        return None
    progress(f"reading {section.file}")
    flown = prepared.job.job.flown
    week = week_of_date(flown) if flown is not None else None
    table = read_trajectory(section.located.path, section, week)
    if section.time == "gps-seconds-of-week" and section.week is None and week is not None:
        told = f"{section.file}: GPS week {week} taken from the date of the flight, {flown}"
        note = Finding("trajectory-week-assumed", Severity.NOTE, told)
        table = replace(table, findings=(*table.findings, note))
    reference, findings = _reference(section, table)
    table = replace(table, findings=(*table.findings, *findings))
    deliverable = next((d for d in prepared.deliverables if d.clouds), None)
    destination = side = None
    if deliverable is not None:
        job = prepared.job
        destination = Destination(
            deliverable.reference,
            deliverable.setting.name,
            GridShelf(job.grids.folders(job.folder), job.grids.geoid_files),
            getattr(deliverable.plan, "local", None),
            deliverable.setting.local,
        )
        side = _side(deliverable, read)
    return check_trajectory(
        table,
        positions_of(table, reference, destination),
        name=section.file,
        side=side,
        base=base,
        flown_on=flown,
        limits=Limits(
            section.planned_height_m,
            section.planned_height_tolerance_m,
            section.separation_limit_m,
        ),
        all_points=all_points,
        progress=progress,
    )


def flown_lines(prepared: Prepared) -> tuple[FlightLine, ...]:
    """Give the straight runs of the trajectory of a job, in its own plane; none where it names no trajectory.

    Raises
    ------
    InputError, ReferenceSystemError
        The trajectory or its reference system cannot be used.
    """
    section = prepared.job.trajectory
    if section is None:
        return ()
    flown = prepared.job.job.flown
    week = week_of_date(flown) if flown is not None else None
    table = read_trajectory(section.located.path, section, week)
    reference, _ = _reference(section, table)
    its = positions_of(table, reference)
    return flight_lines(track_of(table, its.east_m, its.north_m, its.up_m))


def _reference(
    section: TrajectorySection, table: TrajectoryTable
) -> tuple[Reference, tuple[Finding, ...]]:
    """Find what the positions refer to; findings of the declaration are those of the trajectory."""
    reference = Reference("unknown")
    if section.crs is not None:
        reference = declared(
            section.crs, geoid=section.geoid, epoch_year=section.epoch, where="[trajectory].crs"
        )
    reference, findings = with_units(
        reference, table.horizontal_unit, table.vertical_unit, table.geographic, section.file
    )
    if section.realisation is not None:
        reference = with_realisation(reference, section.realisation, "realisation of [trajectory]")
    # nothing about the flown way forbids a statement on the deliverable itself
    softened = tuple(
        replace(f, severity=Severity.WARNING) if f.severity is Severity.BLOCKING else f
        for f in findings
    )
    return reference, softened


def _side(deliverable: Deliverable, read: Reader) -> CloudSide | None:
    reference, setting = deliverable.reference, deliverable.setting
    if reference.horizontal_unit is None:
        return None
    vertical = reference.vertical_unit or LengthUnit.METRE  # without a unit no height is compared
    return CloudSide(
        setting.name,
        deliverable.clouds,
        CloudSetting(
            ground_classes=setting.ground_classes,
            metres_h=float(reference.horizontal_unit.metres),
            metres_v=float(vertical.metres),
            max_circumradius_m=setting.max_circumradius_m,
            design_anps_m=setting.design_anps_m,
        ),
        read,
    )
