"""What the survey itself says: repeats, dates, photographs, who observed with what.

Nothing here changes a figure or a verdict: it tells whether the survey supports what is stated of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from accuracy.findings import Finding
from accuracy.georeferencing.record import Reference
from accuracy.inputs.checkpoints import Checkpoint
from accuracy.residuals import Roles
from accuracy.survey.dates import date_findings
from accuracy.survey.photographs import Photograph, photographs_of
from accuracy.survey.repeats import Repeats, repeat_findings, repeats_of


@dataclass(frozen=True)
class Surveyed:
    """What is told of the survey.

    Attributes
    ----------
    record : mapping
        The value of ``survey`` in ``result.schema.json``; empty where the table tells nothing.
    pictures : mapping of str to bytes
        Scaled photographs by the names of their files.
    findings : tuple of Finding
        What the reader must know.
    """

    record: Mapping[str, Any] = field(default_factory=dict)
    pictures: Mapping[str, bytes] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()


def look_at_survey(
    points: Sequence[Checkpoint],
    roles: Roles,
    reference: Reference,
    folder: Path,
    flown: date | None,
    most_days: int | None,
) -> Surveyed:
    """Look at what a table of checkpoints says of its survey.

    Parameters
    ----------
    reference : Reference
        Of the table.
    folder : Path
        Of the table: photographs are named from there.
    flown : date or None
        When the deliverables were flown.
    most_days : int or None
        Days between survey and flight that are not told; None for the default.
    """
    repeats = repeats_of(points, roles, reference)
    photographs, more = photographs_of(points, folder)
    findings = (
        *date_findings(points, flown, most_days),
        *repeat_findings(repeats),
        *more,
    )
    entries = [
        entry
        for point in points
        if len(entry := _entry(point, repeats, photographs.get(point.id))) > 1
    ]
    if not entries:
        return Surveyed(findings=findings)
    record = {"points": entries, "repeats": repeats.record if repeats else None}
    pictures = {its.file: its.scaled for its in photographs.values()}
    return Surveyed(record, pictures, findings)


def _entry(point: Checkpoint, repeats: Repeats | None, photograph: Photograph | None) -> Any:
    notes = point.survey
    entry: dict[str, Any] = {"id": point.id}
    for name in ("date", "method", "instrument", "observer"):
        if value := getattr(notes, name):
            entry[name] = value
    if photograph is not None:
        entry["photograph"] = photograph.record
    if count := len(point.occupations):
        entry["occupations"] = count
        if repeats is not None:
            entry["mean_sigma_h_m"] = repeats.mean_sigma_h_m(count)
            entry["mean_sigma_v_m"] = repeats.mean_sigma_v_m(count)
    return entry
