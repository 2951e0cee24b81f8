"""The catalogue of causes: one file for each family, one row here. Each predicts its vector at this site.

A new cause is one more candidate in a file, or a new file here. Nothing in it comes from a simulator: the
predictions stand on closed forms and on the layers that carry coordinates.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from accuracy.diagnosis.candidates import base, body, constant, grid, survey, systems
from accuracy.diagnosis.candidates.context import Context
from accuracy.diagnosis.records import Candidate, Sightings

Family = Callable[[Sightings, Context], Iterator[Candidate]]

FAMILIES: dict[str, Family] = {
    "systems": systems.candidates,
    "base": base.candidates,
    "grid": grid.candidates,
    "survey": survey.candidates,
    "body": body.candidates,
    "constant": constant.candidates,
}


def catalogue(sightings: Sightings, context: Context) -> tuple[Candidate, ...]:
    """Give every candidate at this site."""
    return tuple(
        candidate for family in FAMILIES.values() for candidate in family(sightings, context)
    )


__all__ = ["FAMILIES", "Context", "catalogue"]
