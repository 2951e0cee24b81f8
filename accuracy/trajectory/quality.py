"""What the processing says of its own positions: fixed ambiguities, forward against reverse."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from accuracy.findings import Component, EvidenceValue, Finding, Severity
from accuracy.inputs.trajectory_table import TrajectoryTable
from accuracy.trajectory.lines import on_lines
from accuracy.trajectory.record import FlightLine, Quality, Range, Separation, Unfixed
from accuracy.trajectory.track import Array, Track

#: Below this share of fixed positions on flight lines a warning is due. Common practice, no source.
FIXED_SHARE = 0.95
#: Forward against reverse, where the crew states no limit. Common practice, no source.
SEPARATION_LIMIT_M = 0.10
MOST_STRETCHES = 20


def quality_of(
    table: TrajectoryTable,
    track: Track,
    lines: Sequence[FlightLine],
    separation_limit_m: float | None = None,
) -> Quality:
    """Sum up the quality columns.

    Parameters
    ----------
    separation_limit_m : float, optional
        Largest accepted difference of forward and reverse solution; else `SEPARATION_LIMIT_M`.
    """

    def of(values: Array | None) -> Array | None:
        return None if values is None else values[track.rows]

    number = on_lines(lines, track.time_s)
    share = share_on_lines = None
    stretches: tuple[Unfixed, ...] = ()
    if table.fixed is not None:
        fixed = table.fixed[track.rows]
        share = float(fixed.mean())
        share_on_lines = float(fixed[number > 0].mean()) if (number > 0).any() else None
        bad = np.concatenate([[False], ~fixed, [False]]).astype(np.int8)
        edges = np.flatnonzero(np.diff(bad)).reshape(-1, 2)
        stretches = tuple(
            Unfixed(
                float(track.time_s[first]),
                float(track.time_s[beyond - 1]),
                beyond - first,
                tuple(sorted({n for n in number[first:beyond].tolist() if n})),
            )
            for first, beyond in edges.tolist()
        )
    limits = (separation_limit_m or SEPARATION_LIMIT_M, separation_limit_m is not None)
    return Quality(
        fixed_share=share,
        fixed_share_on_lines=share_on_lines,
        fix_counts=table.fix_counts,
        unfixed=tuple(sorted(stretches, key=lambda s: (-s.rows, s.start_s))[:MOST_STRETCHES]),
        unfixed_stretches=len(stretches),
        separation_horizontal=_separation(of(table.separation_h_m), *limits),
        separation_vertical=_separation(of(table.separation_v_m), *limits),
        satellites=range_of(of(table.satellites)),
        pdop=range_of(of(table.pdop)),
        sigma_horizontal_m=range_of(of(table.sigma_h_m)),
        sigma_vertical_m=range_of(of(table.sigma_v_m)),
    )


def range_of(values: Array | None) -> Range | None:
    """Give least, median and greatest of the finite values; None where there is none."""
    known = None if values is None else values[np.isfinite(values)]
    if known is None or not known.size:
        return None
    return Range(float(known.min()), float(np.median(known)), float(known.max()))


def _separation(values_m: Array | None, limit_m: float, stated: bool) -> Separation | None:
    known = None if values_m is None else np.abs(values_m[np.isfinite(values_m)])
    if known is None or not known.size:
        return None
    return Separation(
        float(np.sqrt(np.mean(known**2))),
        float(known.max()),
        limit_m,
        stated,
        float((known > limit_m).mean()),
    )


def quality_findings(name: str, quality: Quality) -> Iterator[Finding]:
    """Say what of the quality the reader must know."""
    on_lines_share = quality.fixed_share_on_lines
    share = quality.fixed_share if on_lines_share is None else on_lines_share
    if share is not None and share < 1.0:
        where = "rows" if on_lines_share is None else "rows on flight lines"
        touched = sorted({line for stretch in quality.unfixed for line in stretch.lines})
        told = f"; flight lines {', '.join(map(str, touched[:12]))}" if touched else ""
        evidence: dict[str, EvidenceValue] = {"fixed_share": share}
        evidence["stretches"] = quality.unfixed_stretches
        yield Finding(
            "trajectory-not-fixed",
            Severity.WARNING if share < FIXED_SHARE else Severity.NOTE,
            f"{name}: {100 * share:.2f} % of the {where} have fixed ambiguities, the rest in "
            f"{quality.unfixed_stretches} stretches{told}",
            evidence=evidence,
            remedy="process again, with another base or from both ends; positions without fixed "
            "ambiguities may be off by decimetres",
        )
    parts: tuple[tuple[Component, Separation | None], ...] = (
        ("horizontal", quality.separation_horizontal),
        ("vertical", quality.separation_vertical),
    )
    for component, separation in parts:
        if separation is None or separation.greatest_m <= separation.limit_m:
            continue
        source = "stated by the job" if separation.limit_stated else "common practice, no source"
        yield Finding(
            "trajectory-separation",
            Severity.WARNING,
            f"{name}: forward and reverse solution differ {component}ly by up to {separation.greatest_m:.3f} m "
            f"(root mean square {separation.rms_m:.3f} m); {100 * separation.share_above:.2f} % of the rows "
            f"exceed {separation.limit_m:g} m ({source})",
            component=component,
            evidence={
                "greatest_m": separation.greatest_m,
                "rms_m": separation.rms_m,
                "limit_m": separation.limit_m,
                "share_above": separation.share_above,
            },
            remedy="look at satellites and fixed ambiguities where the two part; process again",
        )
