"""Base and trajectory of a job together: each is held against the other's times."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from accuracy.base_checks.place import in_plane
from accuracy.base_checks.report import BaseReport, base_data, check_base
from accuracy.base_of_job import read_station, record_seconds, with_flight
from accuracy.findings import Finding, Severity
from accuracy.georeferencing.record import Reference
from accuracy.gps_time import DAY_S, EPOCH
from accuracy.preparation import Prepared
from accuracy.sampling.reading import Reader, read_in_turn
from accuracy.trajectory.cloud import all_times, is_small, kind_of_values, to_gps_s
from accuracy.trajectory.record import Span, TrajectoryCheck
from accuracy.trajectory_of_job import trajectory_of_job


@dataclass(frozen=True)
class ProcessingChecks:
    """What was found of base and trajectory; None: the job does not name it."""

    base: BaseReport | None
    trajectory: TrajectoryCheck | None

    @property
    def base_data(self) -> dict[str, Any]:
        """The record of the base for JSON; empty where there is none."""
        return {} if self.base is None else base_data(self.base)

    @property
    def trajectory_data(self) -> dict[str, Any]:
        """The record of the trajectory for JSON; empty where there is none."""
        return {} if self.trajectory is None else dict(self.trajectory.as_json())

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Findings of both, for a verification."""
        return (
            *(() if self.base is None else self.base.findings),
            *(() if self.trajectory is None else self.trajectory.findings),
        )

    def base_in_plane(self, deliverable: Reference) -> tuple[float, float] | None:
        """East and north of the base in the plane of a deliverable, metres; None where not known."""
        return None if self.base is None else in_plane(self.base.station, deliverable)

    @property
    def blocked(self) -> bool:
        """Whether a mistake was found that moves the deliverable."""
        return self.base is not None and any(
            check.severity is Severity.BLOCKING for check in self.base.checks
        )


def check_processing(
    prepared: Prepared,
    *,
    read: Reader = read_in_turn,
    progress: Callable[[str], None] = lambda _: None,
) -> ProcessingChecks:
    """Check base and trajectory of a job.

    When was flown is taken from the job, else from the trajectory, else from the points of small clouds.

    Raises
    ------
    AccuracyError
        A file of the base, or the trajectory, cannot be used.
    """
    if prepared.job.base is not None:
        progress("checking the base")
    station = read_station(prepared)
    record = record_seconds(station)
    span = None if record is None else Span(*record)
    flown = trajectory_of_job(prepared, base=span, read=read, progress=progress)
    if station is not None and station.flight is None:
        when = _flight_of_clouds(prepared) if flown is None else _span_of(flown)
        if when is not None:
            station = with_flight(station, when.name, when.start_s, when.end_s)
    return ProcessingChecks(None if station is None else check_base(station), flown)


def _span_of(flown: TrajectoryCheck) -> Span:
    return Span(flown.file, flown.start_s, flown.end_s)


def _flight_of_clouds(prepared: Prepared) -> Span | None:
    """Take the first and last GPS time of the first cloud; seconds of the week get their week from `flown`.

    None where there is no cloud, where it is too large to be passed over, or where its times have no date.
    """
    import numpy as np

    item = next((d for d in prepared.deliverables if d.clouds), None)
    if item is None or not is_small(item.clouds):
        return None
    seen = all_times(item.clouds, np.zeros((0, 2)))
    if not np.isfinite(seen.first):
        return None
    kind, _ = kind_of_values("gps-week", seen.first, seen.last, item.setting.name)
    flown_on = prepared.job.job.flown
    if kind == "gps-week" and flown_on is None:
        return None
    noon_s = 0.0 if flown_on is None else (flown_on - EPOCH.date()).days * DAY_S + DAY_S / 2.0
    shift_s = to_gps_s(kind, (seen.first + seen.last) / 2.0, noon_s)
    return Span(item.setting.name, seen.first + shift_s, seen.last + shift_s)
