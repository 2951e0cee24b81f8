"""A session of the survey that is off: the points of one set-up share its error."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from accuracy.diagnosis.candidates.context import Context
from accuracy.diagnosis.records import Amount, Candidate, Sightings


def candidates(s: Sightings, context: Context) -> Iterator[Candidate]:
    """Give the groups that the others contradict, and what the table says most of their points have in common.

    A group that the table itself tells apart may be named. One that was only found among the many runs and
    neighbours that were tried would be scored as if it had been known beforehand: it is listed, no more.
    """
    for name, ids in context.sessions:
        stated = [
            (text, its) for text, its in s.groups if 2 * len(set(ids).intersection(its)) > len(ids)
        ]
        for text, its in stated:
            yield from _session(s, f"the points described as {text!r}", its, sought=False)
        if not any(set(ids) == set(its) for _, its in stated):
            yield from _session(s, name, ids, sought=True)


def _session(s: Sightings, name: str, ids: tuple[str, ...], *, sought: bool) -> Iterator[Candidate]:
    """Give the cause for one group; the error is the survey's, so the sign turns."""
    members = np.isin(np.array(s.ids), ids)[s.place]
    if not members.any() or members.all():
        return
    field = np.zeros((s.count, 3))
    field[members, 2] = -1.0
    yield Candidate(
        "survey-session",
        "survey",
        f"the heights of {name} are off in the survey (antenna or pole height of one session)",
        free=(Amount("session-height", "m", field, 5.0),),
        sought=sought,
        how=f"only {len(ids)} points: {', '.join(ids)}",
        remedy="look at pole and antenna heights of that session, and survey two of its points again",
    )
