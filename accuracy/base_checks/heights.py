"""The antenna height that the processing used against the one that was measured."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from accuracy.base_checks import feet, multiples, orders, phase_centre, slant
from accuracy.base_checks.record import BaseCheck, Candidate, Station, Vector, length, shown, upward
from accuracy.base_checks.used_height import (
    MATTERS_M,
    SAME_M,
    arp_of,
    solution_error_m,
    true_m,
    true_vector,
    used,
)
from accuracy.findings import Severity

Causes = Callable[[Station, float], Iterator[Candidate]]
#: One file for each kind of mistake; each says what it would do.
CAUSES: tuple[Causes, ...] = (
    slant.candidates,
    multiples.candidates,
    feet.candidates,
    phase_centre.candidates,
    orders.candidates,
)


def causes(station: Station, true_up_m: float) -> list[Candidate]:
    """Give every mistake of height that is known of, with its size here."""
    return [candidate for source in CAUSES for candidate in source(station, true_up_m)]


def matching(vector: Vector, known: list[Candidate], within_m: float) -> tuple[Candidate, ...]:
    """Take those that agree with a vector in every component that is known; each cause once."""
    found: dict[tuple[str, str], Candidate] = {}
    for candidate in known:
        pairs = zip(vector.values, candidate.effect.values, strict=True)
        if all(abs((a or 0.0) - (b or 0.0)) <= within_m + 1e-9 for a, b in pairs if a is not None):
            found.setdefault((candidate.cause, candidate.what), candidate)
    return tuple(found.values())


def one_of(candidates: tuple[Candidate, ...]) -> str:
    """Name one cause, or say that several fit."""
    words = list(dict.fromkeys(candidate.what for candidate in candidates))
    return words[0] if len(words) == 1 else "consistent with " + ", or ".join(words)


def check(station: Station) -> Iterator[BaseCheck]:
    """Compare, and name the mistake where one explains the difference to a millimetre."""
    right, had = true_m(station), used(station)
    if right is None or had is None:
        yield from _unknown(station, right is None)
        return
    true = true_vector(station, right)
    off = had.arp.plus(Vector(*(-(value or 0.0) for value in true.values)))
    behind_m = solution_error_m(station)
    if off.size_m <= SAME_M:
        if abs(behind_m) > SAME_M:
            yield _solved_wrongly(station, behind_m)
        return
    found = matching(off, causes(station, right), SAME_M)
    effect = off.plus(upward(-behind_m))
    what = f"{had.said}; measured are {right:.4f} m to the reference point: {shown(off)}"
    if found:
        what += f"; {one_of(found)}"
    severity = Severity.BLOCKING if effect.size_m > MATTERS_M else Severity.WARNING
    held = station.held
    if effect.size_m <= SAME_M:
        severity = Severity.NOTE
        what += (
            "; the held coordinates were solved with the same height, so the mistake cancels in the "
            "deliverable; it does not where coordinates of another origin are held"
        )
    elif held is not None and held.origin == "own-solution" and held.solved_with is None:
        what += (
            "; the held coordinates come from a solution of this set-up: had it used the same height, the "
            "mistake would cancel, and the job does not say with which height it was solved"
        )
    elif not had.stated:
        what += "; this holds if the processing took the height from the file"
    names = sorted({candidate.cause for candidate in found})
    yield BaseCheck(
        "base-height",
        names[0] if len(names) == 1 else "antenna-height",
        severity,
        what,
        effect=effect,
        consistent_with=found,
        remedy=f"process again with {right:.4f} m, vertical, to the antenna reference point"
        if severity is not Severity.NOTE
        else "",
        part="height",
        evidence={"used_m": had.arp.up_m, "measured_m": right, "solution_error_m": behind_m},
    )


def _solved_wrongly(station: Station, behind_m: float) -> BaseCheck:
    """Tell of the right height in the flight's processing over coordinates solved with a wrong one."""
    held = station.held
    assert held is not None
    assert held.solved_with is not None
    right = true_m(station) or 0.0
    solved = arp_of(station, held.solved_with) or 0.0
    found = matching(upward(behind_m), causes(station, right), SAME_M)
    what = (
        f"the held coordinates were solved with an antenna height of {solved:.4f} m; measured are "
        f"{right:.4f} m, so the mark is held {length(-behind_m)} off in height"
    )
    if found:
        what += f"; {one_of(found)}"
    names = sorted({candidate.cause for candidate in found})
    return BaseCheck(
        "base-height",
        names[0] if len(names) == 1 else "antenna-height",
        Severity.BLOCKING if abs(behind_m) > MATTERS_M else Severity.WARNING,
        what,
        effect=upward(-behind_m),
        consistent_with=found,
        remedy="solve the mark again with the measured height, and hold the new coordinates",
        part="height",
        evidence={"solution_error_m": behind_m, "measured_m": right},
    )


def _unknown(station: Station, no_measure: bool) -> Iterator[BaseCheck]:
    if no_measure and station.height is None and station.second is None:
        remedy = "write [base.height] with value, unit, kind and the point it ends at"
        what = "nobody states a measured antenna height: the height that was used cannot be checked"
        had = used(station)
        if had is not None and had.arp.up_m == 0.0:
            what = (
                "the antenna height used is 0 and nobody states a measured one: the antenna stood "
                "on the mark, "
                "or its height was forgotten"
            )
        yield BaseCheck(
            "base-not-stated", "height-not-stated", Severity.WARNING, what, remedy=remedy
        )
    elif not no_measure:
        yield BaseCheck(
            "base-not-stated",
            "height-used-not-stated",
            Severity.WARNING,
            "neither the job nor an observation file says which antenna height the processing used",
            remedy="write [base.processing] height, or name the observation file",
        )
