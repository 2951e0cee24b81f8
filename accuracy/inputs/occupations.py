"""Notes of a survey, and points that were occupied several times."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, TypeVar

from accuracy.inputs.rows import Cells

if TYPE_CHECKING:
    from accuracy.inputs.checkpoints import Checkpoint

    Point = TypeVar("Point", bound=Checkpoint)

_DATE = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})(?:[T ].*)?")


@dataclass(frozen=True)
class SurveyNotes:
    """When, how and by whom a point was surveyed; empty where the table is silent.

    Attributes
    ----------
    date : str
        ISO date; empty where it is not stated or cannot be read.
    date_written : str
        As it stands in the table.
    method, instrument, observer : str
        Free text.
    photograph : str
        Path as written, relative to the table's folder.
    """

    date: str = ""
    date_written: str = ""
    method: str = ""
    instrument: str = ""
    observer: str = ""
    photograph: str = ""


NO_NOTES = SurveyNotes()


@dataclass(frozen=True)
class Occupation:
    """One occupation of a point: coordinates in stored units, its name, its line, its notes."""

    easting: float
    northing: float
    height: float
    name: str = ""
    line: int = 0
    survey: SurveyNotes = NO_NOTES


def notes_of(cells: Cells) -> SurveyNotes:
    """Read the notes of one row."""
    written = cells.text("date")
    return SurveyNotes(
        date=iso_date(written),
        date_written=written,
        method=cells.text("method"),
        instrument=cells.text("instrument"),
        observer=cells.text("observer"),
        photograph=cells.text("photograph"),
    )


def iso_date(text: str) -> str:
    """Give the date of ``2026-05-14`` or ``2026-05-14T10:30``; empty for anything else.

    Orders such as 05/06/2026 mean different days to different people and are not guessed at.
    """
    found = _DATE.fullmatch(text)
    if found is None:
        return ""
    try:
        return date.fromisoformat(found[1]).isoformat()
    except ValueError:
        return ""


def merged(first: Point, occupations: Sequence[Occupation]) -> Point:
    """Give a point at the mean of its occupations; its notes are those that all share."""

    def mean(axis: str) -> float:
        values = [float(getattr(occupation, axis)) for occupation in occupations]
        return values[0] + sum(value - values[0] for value in values) / len(values)

    def shared(name: str) -> str:
        values = dict.fromkeys(getattr(occupation.survey, name) for occupation in occupations)
        return ", ".join(filter(None, values))

    photographs = [o.survey.photograph for o in occupations if o.survey.photograph]
    return replace(
        first,
        easting=mean("easting"),
        northing=mean("northing"),
        height=mean("height"),
        survey=SurveyNotes(
            date=max(occupation.survey.date for occupation in occupations),
            date_written=shared("date_written"),
            method=shared("method"),
            instrument=shared("instrument"),
            observer=shared("observer"),
            photograph=photographs[0] if photographs else "",
        ),
        occupations=tuple(occupations),
    )
