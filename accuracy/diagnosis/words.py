"""The diagnosis as a short paragraph with numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from accuracy.diagnosis.blunders import ERROR_RATE
from accuracy.diagnosis.records import Blunder, Candidate, Conclusion, Fitted, Scored, Sightings

_AXES = ("east", "north", "up")
#: Causes named in the paragraph at most; the rest is in the record.
MOST_LISTED = 5


def metres(value_m: float) -> str:
    """Write a length with its sign: millimetres below half a metre."""
    if abs(value_m) < 0.5:
        return f"{round(value_m * 1000.0) + 0:+d} mm"
    return f"{value_m:+.3f} m"


def size(fitted: Fitted) -> str:
    """Write a fitted size with its standard error in its own unit."""
    if fitted.unit == "m":
        return f"{metres(fitted.value)} (standard error {abs(fitted.sigma) * 1000:.0f} mm)"
    if fitted.name == "share":
        return f"{fitted.value * 100.0:.0f} % of it shows (standard error {fitted.sigma * 100.0:.0f} %)"
    digits = max(0, min(5, 1 - math.floor(math.log10(max(fitted.sigma, 1e-9)))))
    return f"{fitted.value:+.{digits}f} {fitted.unit} (standard error {fitted.sigma:.{digits}f})"


def shift_words(shift: Mapping[str, tuple[float, float]]) -> str:
    """Say by how much the whole deliverable is off."""
    return ", ".join(
        f"{axis} {metres(value)} (standard error {sigma * 1000:.0f} mm)"
        for axis, (value, sigma) in shift.items()
    )


def moves(scored: Scored, sightings: Sightings) -> str:
    """Say what causes that belong to the map do on average, in the axes that they move."""
    there = [sightings.has(axis) for axis in range(3)]
    told = []
    for axis, name in enumerate(_AXES):
        if float(np.abs(scored.predicted[:, axis]).max()) >= 0.0005:
            untested = "" if there[axis] else " (not tested directly)"
            told.append(f"{name} {metres(float(scored.predicted[:, axis].mean()))}{untested}")
    return ", ".join(told)


def _plain_shift(cause: Candidate) -> bool:
    """Whether what is open of a cause is a shift, which the mean displacement tells already."""
    return bool(cause.free) and all(a.name.startswith("shift-") for a in cause.free)


def of_cause(scored: Scored, sightings: Sightings) -> str:
    """Say what a cause is and how large."""
    what = " together with ".join(f"{c.cause}: {c.what}" for c in scored.causes)
    sizes = [
        size(f)
        for f in scored.amounts
        if not f.name.startswith("shift-") or not any(map(_plain_shift, scored.causes))
    ]
    mean = "" if any(c.family == "body" for c in scored.causes) else moves(scored, sightings)
    return f"{what}; {', '.join([*sizes, mean] if mean else sizes)}" if sizes or mean else what


def paragraph(
    conclusion: Conclusion,
    shift: Mapping[str, tuple[float, float]],
    scored: tuple[Scored, ...],
    sightings: Sightings,
    blind: tuple[str, ...],
    tell_apart: tuple[str, ...],
    blunders: tuple[Blunder, ...],
    notes: tuple[str, ...],
) -> str:
    """Put it all into a paragraph."""
    seen_rows = np.isfinite(sightings.residual_m).any(axis=1)
    points = int(np.unique(sightings.place[seen_rows]).size)
    lines = len(sightings.lines)
    seen = f"{points} point{'s' if points != 1 else ''}" + (
        f" on {lines} flight lines" if lines > 1 else ""
    )
    told = [f"Mean of {seen}, robustly: {shift_words(shift)}."] if shift else []
    listed = [s for s in scored if s.standing in ("named", "consistent")]
    if conclusion == "nothing-to-explain":
        told.append(
            "Nothing beyond chance and the errors that all points share: there is no cause to name."
        )
    elif conclusion == "named":
        told.append(_named(listed[0], scored, sightings))
    elif conclusion == "consistent":
        shown = listed[:MOST_LISTED]
        left = len(listed) - len(shown)
        more = f"; and {left} more in the record" if left else ""
        told.append(
            "No single cause can be named. The residuals are consistent with "
            + "; or ".join(f"({i}) {of_cause(s, sightings)}" for i, s in enumerate(shown, 1))
            + f"{more}."
        )
        if tell_apart:
            told.append(f"To tell them apart: {'; '.join(tell_apart)}.")
    elif conclusion == "unexplained":
        best = scored[0] if scored else None
        told.append(
            "The residuals are more than chance, and no cause of the catalogue, alone or with one other, "
            "explains the whole of them"
            + (
                f"; the nearest, {' with '.join(best.names)}, leaves {best.leftover:.0f} where "
                f"{best.bound:.0f} would be chance (squared Mahalanobis distance)"
                if best is not None
                else ""
            )
            + ". More than two causes at once, or one that is not in the catalogue."
        )
    told += [f"{text[0].upper()}{text[1:]}." for text in (*blind, *notes)]
    told += [blunder_words(blunders)] if blunders else []
    return " ".join(told)


def _named(first: Scored, scored: tuple[Scored, ...], sightings: Sightings) -> str:
    others = [s for s in scored if s is not first and s.score > first.score]
    next_best = min(others, key=lambda s: s.score, default=None)
    margin = (
        f"; the next best, {' with '.join(next_best.names)}, is worse by "
        f"{next_best.score - first.score:.0f} in chi-square"
        if next_best is not None
        else ""
    )
    remedy = " ".join(f"To do: {c.remedy}." for c in first.causes if c.remedy)
    several = "Two causes together" if len(first.causes) > 1 else "Cause"
    return (
        f"{several}: {of_cause(first, sightings)}. It leaves {first.leftover:.1f} to a general fit where "
        f"{first.bound:.1f} would still be chance (squared Mahalanobis distance, 99 %){margin}. {remedy}"
    ).strip()


def blunder_words(blunders: tuple[Blunder, ...]) -> str:
    """Say which points the others contradict."""
    told = []
    for b in blunders:
        which = (
            b.ids[0] if len(b.ids) == 1 else f"{len(b.ids)} points together ({', '.join(b.ids)})"
        )
        told.append(
            f"{which} {b.component} {metres(b.value_m)} ({b.statistic:.1f}, critical {b.critical:.1f})"
        )
    return (
        f"Contradicted by the others, at a chance of {ERROR_RATE * 100:g} % of any false alarm: "
        f"{'; '.join(told)}. None is dropped."
    )
