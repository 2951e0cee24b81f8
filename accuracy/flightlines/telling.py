"""Findings of an analysis of flight lines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from accuracy.findings import Finding, Severity
from accuracy.flightlines.records import (
    Coverage,
    Duplicates,
    FileOrder,
    LinesSettings,
    PairRecord,
    Stray,
    TimeGap,
)
from accuracy.flightlines.stretches import Told

#: So many are named in a message.
MOST_NAMED = 8


def findings_of(
    told: Told,
    pairs: Sequence[PairRecord],
    coverage: Coverage,
    duplicates: Duplicates,
    order: Sequence[FileOrder],
    settings: LinesSettings,
    *,
    literal: bool,
    alone: int,
    untimed: int,
) -> tuple[Finding, ...]:
    """Say what the reader of the record must know."""
    return (
        *_of_ids(told, settings),
        *_of_stray(told.stray, alone),
        *_of_times(told.gaps, untimed),
        *_of_pairs(told, pairs),
        *_of_points(duplicates, order),
        *_of_settings(coverage, settings, literal=literal),
    )


def _of_ids(told: Told, settings: LinesSettings) -> Iterator[Finding]:
    if told.together:
        by = "the lines of the trajectory" if settings.spans else "pauses and turns in their times"
        yield Finding(
            "lines-by-time",
            Severity.WARNING,
            f"point source ids do not tell flight lines; {len(told.passes)} lines were told by {by}",
            evidence={"lines": len(told.passes), "by": told.how},
            remedy="export the cloud with one point source id for each flight line",
        )
    elif told.split:
        yield Finding(
            "lines-by-time",
            Severity.WARNING,
            f"point source ids that hold several passes: {_named(told.split)}; these were split by pauses "
            "and turns in their times",
            evidence={"ids": len(told.split), "lines": len(told.passes)},
            remedy="export the cloud with one point source id for each flight line",
        )
    elif told.how == "all-points":
        yield Finding(
            "lines-by-time",
            Severity.WARNING,
            "all points have point source id 0, and their times show one pass or none: taken as one line",
            remedy="export the cloud with point source ids and GPS times",
        )


def _of_stray(stray: Sequence[Stray], alone: int) -> Iterator[Finding]:
    points = sum(one.points for one in stray)
    if stray:
        ids = tuple(sorted({one.source_id for one in stray}))
        yield Finding(
            "lines-stray",
            Severity.NOTE,
            f"{points} points belong to no flight line: ids {_named(ids)} "
            f"({'; '.join(sorted({one.reason for one in stray}))})",
            evidence={"points": points, "ids": len(ids)},
        )
    if alone:
        yield Finding(
            "lines-stray",
            Severity.NOTE,
            f"{alone} points lie alone, far from the swaths, and were left out",
            evidence={"points": alone},
        )


def _of_times(gaps: Sequence[TimeGap], untimed: int) -> Iterator[Finding]:
    if untimed:
        yield Finding(
            "lines-untimed",
            Severity.WARNING,
            f"{untimed} points have no time, or time zero: headings and trends with time cannot use them",
            evidence={"points": untimed},
            remedy="export the cloud with GPS times",
        )
    if gaps:
        longest = max(gaps, key=lambda gap: gap.end_s - gap.start_s)
        seconds = longest.end_s - longest.start_s
        yield Finding(
            "lines-gap",
            Severity.NOTE,
            f"{len(gaps)} stretches of more than two seconds without points inside a line; the longest, "
            f"{seconds:.1f} s, in line {longest.line}",
            evidence={"gaps": len(gaps), "longest_s": seconds, "line": longest.line},
        )


def _of_pairs(told: Told, pairs: Sequence[PairRecord]) -> Iterator[Finding]:
    if any(pair.differences.n for pair in pairs):
        return
    why = (
        "only one line"
        if len(told.passes) < 2
        else "no smooth, gently sloping cell lies in two lines"
    )
    yield Finding(
        "lines-none-shared",
        Severity.WARNING,
        f"flight lines cannot be compared: {why}",
        evidence={"lines": len(told.passes), "pairs": len(pairs)},
    )


def _of_points(duplicates: Duplicates, order: Sequence[FileOrder]) -> Iterator[Finding]:
    if duplicates.surplus:
        about = "" if duplicates.sampled == 1.0 else "about "
        yield Finding(
            "lines-duplicates",
            Severity.WARNING,
            f"{about}{duplicates.surplus:.0f} points are stored twice",
            evidence={
                "points": duplicates.surplus,
                "sampled": duplicates.sampled,
                "standard_error": duplicates.surplus_error,
            },
            remedy="remove repeated points, or tiles that overlap; density and precision count them twice",
        )
    back = [one for one in order if one.steps_back or one.returns_out_of_order]
    if back:
        steps = sum(one.steps_back for one in back)
        returns = sum(one.returns_out_of_order for one in back)
        yield Finding(
            "lines-order",
            Severity.NOTE,
            f"points are not stored in order of time in {len(back)} of {len(order)} files ({steps} steps "
            f"back; {returns} returns after a later one of their pulse)",
            evidence={"files": len(back), "steps_back": steps, "returns": returns},
        )


def _of_settings(
    coverage: Coverage, settings: LinesSettings, *, literal: bool
) -> Iterator[Finding]:
    if settings.design_anps_m is None and coverage.anps_m is not None:
        yield Finding(
            "lines-anps-measured",
            Severity.NOTE,
            f"no spacing was ordered: voids and distribution were judged with the measured "
            f"{coverage.anps_m:.3f} m, which chance alone exceeds in places",
            evidence={"anps_m": coverage.anps_m},
            remedy="state design_anps_m",
        )
    if not literal:
        yield Finding(
            "lines-literal",
            Severity.NOTE,
            "the literal raster formula was not computed: its cell is not made of whole cells",
            remedy="leave cell_m out, or choose one that divides CEILING(ANPS) x 2 by 1, 2 or 4",
        )


def _named(ids: Sequence[int]) -> str:
    shown = ", ".join(map(str, ids[:MOST_NAMED]))
    return shown if len(ids) <= MOST_NAMED else f"{shown} and {len(ids) - MOST_NAMED} more"
