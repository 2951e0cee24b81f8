"""A session of the survey that is off: the points of one set-up share its error."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from accuracy.diagnosis.candidates.context import Context
from accuracy.diagnosis.records import Amount, Candidate, Sightings


def candidates(s: Sightings, context: Context) -> Iterator[Candidate]:
    """Give the groups that the others contradict; the error is the survey's, so the sign turns."""
    for name, ids in context.sessions:
        members = np.isin(np.array(s.ids), ids)[s.place]
        if not members.any() or members.all():
            continue
        field = np.zeros((s.count, 3))
        field[members, 2] = -1.0
        yield Candidate(
            "survey-session",
            "survey",
            f"the heights of {name} are off in the survey (antenna or pole height of one session)",
            free=(Amount("session-height", "m", field, 5.0),),
            how=f"only {len(ids)} points: {', '.join(ids)}",
            remedy="look at pole and antenna heights of that session, and survey two of its points again",
        )
