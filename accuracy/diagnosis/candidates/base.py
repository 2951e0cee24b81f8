"""Mistakes of the base: those that its files show, and those that its heights make possible."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from accuracy.diagnosis.candidates.context import Context
from accuracy.diagnosis.fields import constant
from accuracy.diagnosis.records import Array, Candidate, Sightings

#: A prediction from papers of the base is good to this (one sigma; common practice, no source).
PAPERS_M = 0.002
#: Smaller displacements are no cause of anything.
LEAST_M = 0.0005
_REMEDY = "correct the base's entry and process again"


def candidates(s: Sightings, context: Context) -> Iterator[Candidate]:
    """Give what moves the deliverable; nothing where the checkpoints hang on the same base and move with it."""
    base = context.base
    if base.get("survey_from_same_base"):
        return
    for check in base.get("checks") or ():
        field = _field(s, check.get("effect"))
        if field is not None and check.get("severity") != "note":
            yield Candidate(
                check["cause"],
                "base",
                f"the files of the base show it: {_told(check)}",
                fixed=field,
                sigma_m=_sigma(check.get("sigma")),
                evidenced=True,
                how="check of the base",
                remedy=check.get("remedy") or _REMEDY,
            )
        for other in check.get("consistent_with") or ():
            yield from _possible(s, other)
    together = base.get("expected_shift") or {}
    if len(together.get("causes") or ()) > 1:
        field = _field(s, together.get("effect"))
        if field is not None:
            yield Candidate(
                "base-together",
                "base",
                f"the files of the base show several mistakes at once: {', '.join(together['causes'])}",
                fixed=field,
                sigma_m=_sigma(together.get("sigma")),
                evidenced=True,
                how="sum of the checks of the base",
                remedy=_REMEDY,
            )
    for other in base.get("candidates") or _from_job(context.job_base):
        yield from _possible(s, other)


def _told(check: Mapping[str, Any]) -> str:
    """Say what a check found, in short where one mistake explains it."""
    explained = {other["what"] for other in check.get("consistent_with") or ()}
    return explained.pop() if len(explained) == 1 else str(check["what"])


def _possible(s: Sightings, other: Mapping[str, Any]) -> Iterator[Candidate]:
    field = _field(s, other.get("effect"))
    if field is not None:
        yield Candidate(
            other["cause"],
            "base",
            f"at the base: {other['what']}",
            fixed=field,
            sigma_m=(PAPERS_M, PAPERS_M),
            how="from the antenna height of the base as measured",
            remedy="look at the antenna height that the processing was given",
        )


def _field(s: Sightings, effect: Mapping[str, float | None] | None) -> Array | None:
    if not effect:
        return None
    values = [effect.get(f"{axis}_m") for axis in ("east", "north", "up")]
    east, north, up = values
    if east is None or north is None or up is None:
        return None
    if math.hypot(east, north, up) < LEAST_M:
        return None
    return constant(s, east, north, up)


def _sigma(sigma: Mapping[str, float | None] | None) -> tuple[float, float]:
    values = [(sigma or {}).get(f"{axis}_m") or 0.0 for axis in ("east", "north", "up")]
    return max(PAPERS_M, values[0], values[1]), max(PAPERS_M, values[2])


def _from_job(job_base: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    """Give the mistakes that the measured height alone makes possible, where the record lists none."""
    height = job_base.get("height")
    if not isinstance(height, Mapping) or not isinstance(height.get("value"), (int, float)):
        return
    if height.get("unit", "metre") != "metre" or height.get("kind", "vertical") != "vertical":
        return
    up_m = float(height["value"])
    for cause, what, value_m in (
        ("height-omitted", "the antenna height left out", -up_m),
        ("height-doubled", "the antenna height counted twice", up_m),
        ("feet-as-metres", "feet typed as metres", up_m / 0.3048 - up_m),
        ("metres-as-feet", "metres typed as feet", up_m * 0.3048 - up_m),
    ):
        yield {
            "cause": cause,
            "what": what,
            "effect": {"east_m": 0.0, "north_m": 0.0, "up_m": value_m},
        }
