"""When the checkpoints were surveyed, against when the deliverables were flown."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from accuracy.findings import Finding, Severity
from accuracy.inputs.checkpoints import Checkpoint

#: Days between survey and flight within which the ground is taken to be the same. Common practice, no source.
MOST_DAYS = 30


def date_findings(
    points: Sequence[Checkpoint], flown: date | None, most_days: int | None
) -> Iterator[Finding]:
    """Tell dates that cannot be read, and points surveyed long before or after the flight."""
    unread = [p for p in points if p.survey.date_written and not p.survey.date]
    if unread:
        yield Finding(
            "checkpoints-date-unread",
            Severity.WARNING,
            f"the date {unread[0].survey.date_written!r} of {unread[0].id} cannot be read as year-month-day"
            + (f", nor those of {len(unread) - 1} other points" if len(unread) > 1 else "")
            + "; not used",
            evidence={"points": len(unread)},
            remedy="write dates as 2026-05-14",
        )
    if flown is None:
        return
    limit = MOST_DAYS if most_days is None else most_days
    far = {
        point.id: days
        for point in points
        if point.survey.date
        and abs(days := (date.fromisoformat(point.survey.date) - flown).days) > limit
    }
    if far:
        worst = max(far, key=lambda id_: abs(far[id_]))
        when = "after" if far[worst] > 0 else "before"
        source = (
            "default: common practice, no source" if most_days is None else "max_days_from_flight"
        )
        shown = ", ".join(list(far)[:10]) + (" ..." if len(far) > 10 else "")
        yield Finding(
            "checkpoints-date",
            Severity.WARNING,
            f"{len(far)} point{'s were' if len(far) > 1 else ' was'} surveyed more than {limit} days from the "
            f"flight of {flown.isoformat()} ({source}), {worst} {abs(far[worst])} days {when} it: {shown}",
            evidence={"points": len(far), "most_days": abs(far[worst]), "limit_days": limit},
            remedy="make sure that the ground has not changed in between, or survey the points again",
        )
