"""Checkpoints that were surveyed from the same base: the test is relative to it."""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.base_checks.record import BaseCheck, Station
from accuracy.findings import Severity

RELATIVE = (
    "the checkpoints were surveyed from the same base: the test is relative to it, and a mistake in "
    "its coordinates, "
    "antenna height or frame cannot show"
)


def check(station: Station) -> Iterator[BaseCheck]:
    """Say so, or that nobody says anything about it."""
    if station.same_base is None:
        yield BaseCheck(
            "base-not-stated",
            "survey-base-not-stated",
            Severity.WARNING,
            "the job does not say whether the checkpoints were surveyed from the same base; had "
            "they been, a mistake "
            "of the base could not show in the test",
            remedy="write survey_from_same_base = true or false under [base]",
        )
    elif station.same_base:
        yield BaseCheck(
            "base-same-for-survey",
            "survey-from-same-base",
            Severity.WARNING,
            RELATIVE,
            remedy="survey some checkpoints from another base or network, or say in the claim that "
            "it is relative",
        )
