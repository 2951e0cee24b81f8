"""Which checkpoints of several runs can be held against each other: same id, same place, judged in all."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from accuracy.comparison_record import PointNote, Points
from accuracy.findings import Finding, Severity
from accuracy.georeferencing.record import Reference
from accuracy.residuals import ResidualRow
from accuracy.result import DatasetResult, Result
from accuracy.units import to_metres

#: Surveyed coordinates that differ by more are those of another place, or of another survey.
SAME_PLACE_M = 0.0001

#: Metres in a degree along a meridian, about: only for saying whether two places are one.
_DEGREE_M = 111_320.0

#: Points named in a finding; all stand in the record.
_NAMED = 8

_SIDES = ("easting", "northing", "height")


@dataclass(frozen=True)
class Side:
    """One dataset of one run."""

    result: Result
    dataset: DatasetResult

    @property
    def rows(self) -> Mapping[str, ResidualRow]:
        """All surveyed points by id."""
        return {row.id: row for row in self.dataset.residuals}

    @property
    def table_reference(self) -> Reference | None:
        """What the coordinates of the checkpoint table refer to."""
        return next((f.reference for f in self.result.inputs if f.role == "checkpoints"), None)


def judged(row: ResidualRow | None) -> bool:
    """Whether a point counts in the figures of its run, with finite numbers."""
    if row is None or not row.used or row.role != "checkpoint" or row.residual is None:
        return False
    values = (row.residual.east_m, row.residual.north_m, row.residual.up_m)
    known = [value for value in values if value is not None]
    return bool(known) and all(map(math.isfinite, known))


def match(name: str, sides: Sequence[Side]) -> tuple[Points, tuple[Finding, ...]]:
    """Find the checkpoints common to all runs of a dataset, and tell the others with their reasons.

    A point that is judged in the first run and not in a later one is lost, one that only a later run judges
    is gained. One whose surveyed coordinates differ is moved: its residuals are of different places or
    surveys, and are not compared.
    """
    first, rows = sides[0], [side.rows for side in sides]
    common = {id_ for id_, row in rows[0].items() if judged(row)}
    gained, lost, moved = [], [], []
    findings: list[Finding] = []
    for run, side in enumerate(sides[1:], 1):
        here = {id_ for id_, row in rows[run].items() if judged(row)}
        in_first = {id_ for id_, row in rows[0].items() if judged(row)}
        gained += [PointNote(run, id_, _why(rows[0].get(id_))) for id_ in sorted(here - in_first)]
        lost += [PointNote(run, id_, _why(rows[run].get(id_))) for id_ in sorted(in_first - here)]
        both = in_first & here
        way = _way(first, side)
        if way is None:
            findings.append(_unknown(name, run))
            common -= both
            continue
        for id_ in sorted(both):
            reason = _moved(
                rows[0][id_], rows[run][id_], first.table_reference if way == "table" else None
            )
            if reason:
                moved.append(PointNote(run, id_, reason))
        common &= here
    common -= {note.id for note in moved}
    points = Points(name, tuple(sorted(common)), tuple(gained), tuple(lost), tuple(moved))
    return points, (*findings, *_told(points))


def _why(row: ResidualRow | None) -> str:
    if row is None:
        return "not in the table"
    if row.role != "checkpoint":
        return f"{row.role}: {row.detail}" if row.detail else row.role
    return row.detail or row.reason or "no value"


def _way(first: Side, side: Side) -> str | None:
    """Choose what shows whether places are the same; None where nothing does."""
    if first.dataset.wkt is not None and first.dataset.wkt == side.dataset.wkt:
        return "frame"
    mine, its = first.table_reference, side.table_reference
    if mine is None or its is None:
        return None
    same = all(
        getattr(mine, key) == getattr(its, key)
        for key in (
            "horizontal_wkt",
            "horizontal_unit",
            "vertical_kind",
            "vertical_wkt",
            "vertical_unit",
            "geoid",
            "epoch_year",
            "frame",
        )
    )
    return "table" if same else None


def _moved(before: ResidualRow, after: ResidualRow, table: Reference | None) -> str | None:
    """Say how far the surveyed coordinates lie apart, or None where they are the same.

    `table` is given where the coordinates of the tables are compared, not those in the deliverable's frame.
    """
    prefix = "given_" if table is not None else ""
    far = []
    for axis in _SIDES:
        old, new = (
            row.native.get(f"{prefix}{axis}", row.native.get(axis)) for row in (before, after)
        )
        if (old is None) != (new is None):
            return f"surveyed {axis} in one run only"
        if old is None or new is None:
            continue
        apart_m = (new - old) * _metres_per_unit(before, axis, table)
        if not abs(apart_m) <= SAME_PLACE_M:
            far.append(f"{axis} {apart_m:+.4f} m")
    return f"surveyed coordinates differ: {', '.join(far)}" if far else None


def _metres_per_unit(row: ResidualRow, axis: str, table: Reference | None) -> float:
    """Give the unit of a coordinate: the table's own, or as the row's own metres tell it."""
    if table is not None:
        unit = table.vertical_unit if axis == "height" else table.horizontal_unit
        return to_metres(1.0, unit) if unit else 1.0 if axis == "height" else _DEGREE_M
    surveyed = row.surveyed
    metres = {"easting": surveyed.east_m, "northing": surveyed.north_m, "height": surveyed.up_m}
    stored, in_metres = row.native.get(axis), metres[axis]
    if in_metres is None:
        return 1.0 if axis == "height" else _DEGREE_M
    return in_metres / stored if stored else 1.0


def _unknown(name: str, run: int) -> Finding:
    return Finding(
        "compare-positions-unknown",
        Severity.BLOCKING,
        f"run {run + 1} is in another reference system than run 1, and so is its table of checkpoints: "
        "nothing shows whether points of the same name are the same places",
        dataset=name,
        remedy="verify both with one table of checkpoints in one reference system",
    )


def _told(points: Points) -> list[Finding]:
    findings = []
    for code, notes, severity, said, remedy in (
        (
            "compare-checkpoint-lost",
            points.lost,
            Severity.WARNING,
            "judged in the first run and not here",
            "figures of the whole runs are not of the same points; only the common ones are compared",
        ),
        (
            "compare-checkpoint-moved",
            points.moved,
            Severity.WARNING,
            "other surveyed coordinates than in the first run, not compared",
            "survey and deliverable cannot be told apart there; verify both runs with one table",
        ),
    ):
        for run in sorted({note.run for note in notes}):
            ids = [note.id for note in notes if note.run == run]
            findings.append(
                Finding(
                    code,
                    severity,
                    f"run {run + 1}: {said}: {len(ids)} ({', '.join(ids[:_NAMED])}"
                    + (", ...)" if len(ids) > _NAMED else ")"),
                    dataset=points.dataset,
                    evidence={"count": len(ids), "common": len(points.common)},
                    remedy=remedy,
                )
            )
    return findings
