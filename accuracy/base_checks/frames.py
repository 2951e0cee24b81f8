"""The frame that the base was held in against the frame of the deliverables."""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.base_checks.record import BaseCheck, Candidate, Side, Station, Vector, shown
from accuracy.base_checks.times import observation_year
from accuracy.findings import Severity
from accuracy.georeferencing.frames import EXAMPLE_EPOCH_YEAR, hop_between
from accuracy.georeferencing.record import Reference
from accuracy.georeferencing.shown_coordinates import vector_m


def check(station: Station) -> Iterator[BaseCheck]:
    """Tell what it would do had the change of frame been forgotten, and frames that are not precise."""
    held = station.held
    if held is None:
        return
    reference = held.reference
    if reference.ensemble:
        yield BaseCheck(
            "base-frame",
            "frame-ensemble",
            Severity.WARNING,
            f"the base was held in {reference.name}, an ensemble known to "
            f"{reference.ensemble_accuracy_m or 2.0:g} m only",
            remedy='name the realisation, such as realisation = "WGS 84 (G2296)", or hold '
            "coordinates in a frame",
            component="all",
        )
    elif reference.dynamic and reference.epoch_year is None:
        yield BaseCheck(
            "base-frame",
            "epoch-missing",
            Severity.WARNING,
            f"the base was held in {reference.name}, which moves with the plate, and no epoch is stated",
            remedy="write epoch under [base.held], as decimal year",
            component="horizontal",
        )
    told: set[str] = set()
    for _, deliverable in station.deliverables:
        name = deliverable.frame
        if name is None or name == reference.frame or name in told or reference.frame is None:
            continue
        told.add(name)
        yield _other_frame(station, held, deliverable)


def _other_frame(station: Station, held: Side, deliverable: Reference) -> BaseCheck:
    assert held.reference.frame is not None
    assert deliverable.frame is not None
    year = held.reference.epoch_year or observation_year(station) or EXAMPLE_EPOCH_YEAR
    hop = hop_between(held.reference.frame, deliverable.frame, year)
    points = held.points
    candidates: tuple[Candidate, ...] = ()
    words = "by how much is not known: no named operation links them"
    if hop is not None and points is not None:
        vector = Vector(*(-value for value in vector_m(points, hop(points), hop.end)))
        candidates = (
            Candidate(
                "frame-not-changed",
                f"{held.reference.frame} taken for {deliverable.frame}",
                vector,
            ),
        )
        words = f"had that been forgotten, the deliverable would be off by {shown(vector)}"
    return BaseCheck(
        "base-frame",
        "frame-changed",
        Severity.NOTE,
        f"the base was held in {held.reference.frame}, the deliverable is in {deliverable.frame}: "
        "the processing must "
        f"have changed the frame; {words}",
        consistent_with=candidates,
    )
