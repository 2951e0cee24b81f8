"""What was found about a trajectory, as plain text for people."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from accuracy.reports.words import printable
from accuracy.trajectory.check import utc_words
from accuracy.trajectory.record import (
    Overlap,
    Quality,
    Range,
    Separation,
    TimeCheck,
    TrajectoryCheck,
)

WIDTH = 96
LABEL = 17
MOST_LINES = 40
_SYSTEMS = {
    "gps-seconds-of-week": "seconds of the GPS week",
    "gps-adjusted-standard": "adjusted standard GPS time",
    "gps-seconds": "GPS seconds",
    "utc": "UTC",
}


def render_trajectory(check: TrajectoryCheck) -> str:
    """Give the block of text about a trajectory, findings included; no line wider than 100 columns."""
    rows = [f"Trajectory {printable(check.file)}", "-" * WIDTH]
    declared = _SYSTEMS[check.time_system]
    if check.week is not None:
        declared = f"seconds of GPS week {check.week}"
    rows += _item(
        "times",
        f"{_clock(check.start_s)} to {_clock(check.end_s)}, declared as "
        f"{declared}; {check.rows} rows, every {check.interval_s:g} s",
    )
    rows += _item("gaps", _gaps(check))
    for overlap in check.overlaps:
        rows += _item(overlap.against, _overlap(overlap))
    for time_check in check.time_checks:
        rows += _item("", _time_check(time_check))
    frame = f"{check.frame}{', the frame of the cloud' if check.in_frame_of_cloud else ''}"
    rows += _item("positions", frame)
    rows += [row for label, text in _quality(check.quality) for row in _item(label, text)]
    rows += _item("above ground", _height(check))
    if check.speed_m_s is not None:
        rows += _item("speed", f"{_range(check.speed_m_s, 1)} m/s over ground")
    if check.attitude is not None:
        found = check.attitude
        parts = [
            f"{name} {_range(angles, 1)} deg"
            for name, angles in (("roll", found.roll_deg), ("pitch", found.pitch_deg))
            if angles is not None
        ]
        if found.heading_minus_course_deg is not None:
            parts.append(
                f"heading minus direction of flight {_signed(found.heading_minus_course_deg)} deg"
            )
        rows += _item("attitude", "; ".join(parts) or "none")
    rows += _lines(check)
    if check.findings:
        rows += ["", "  Findings"]
        for finding in check.findings:
            rows += _wrap(printable(f"{finding.severity.value}: {finding.message}"), "  ", "    ")
            if finding.remedy:
                rows += _wrap(printable(f"-> {finding.remedy}"), "    ", "       ")
    return "\n".join(rows) + "\n"


def _wrap(text: str, first: str, rest: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    ) or [first.rstrip()]


def _item(label: str, text: str) -> list[str]:
    return _wrap(printable(text), f"  {label:<{LABEL}}", " " * (LABEL + 2))


def _clock(gps_s: float) -> str:
    utc = utc_words(gps_s)
    return f"GPS second {gps_s:.0f}" if utc is None else utc


def _range(values: Range, decimals: int) -> str:
    return (
        f"{_round(values.least, decimals)} to {_round(values.greatest, decimals)}, "
        f"median {_round(values.median, decimals)}"
    )


def _gaps(check: TrajectoryCheck) -> str:
    if not check.gap_count:
        return f"none; longest time between rows {check.longest_interval_s:g} s"
    told = f"{check.gap_count}, the longest {check.gaps[0].duration_s:.2f} s"
    if check.points_in_gaps is not None:
        told += f"; {check.points_in_gaps} of {check.points_seen} points looked at fall into them"
    return told


def _overlap(overlap: Overlap) -> str:
    whole = "the cloud" if overlap.against == "cloud" else "the trajectory"
    return (
        f"{_clock(overlap.start_s)} to {_clock(overlap.end_s)} ({overlap.name}; {overlap.source}); "
        f"{100 * overlap.covered:.1f} % of {whole} covered, {overlap.before_s:+.1f} s before and "
        f"{overlap.after_s:+.1f} s after"
    )


def _time_check(check: TimeCheck) -> str:
    how = "where points lie" if check.how == "positions" else "first and last times"
    if check.fits:
        told = f"times fit those of the {check.against}, by {how}"
        if check.against == "date":
            return "times fit the date of the flight"
        if check.floor_s is not None and check.found_offset_s is not None:
            told += (
                f" (offset {_signed(check.found_offset_s)} s; less than {check.floor_s:.1f} s is not told from "
                "a scanner that looks ahead or back)"
            )
        return told
    told = f"times do NOT fit those of the {check.against}, by {how}"
    if check.against == "date":
        told = "times do NOT fit the date of the flight"
    if check.offset_s is not None:
        told += f"; add {check.offset_s:+.3f} s to the trajectory"
    if check.along_m is not None:
        told += f"; displacement along the track {check.along_m:+.1f} m"
    return told


def _quality(quality: Quality) -> Iterable[tuple[str, str]]:
    if quality.fixed_share is not None:
        told = f"{100 * quality.fixed_share:.2f} % of all rows"
        if quality.fixed_share_on_lines is not None:
            told += f", {100 * quality.fixed_share_on_lines:.2f} % of those on flight lines"
        yield "fixed", told
    parts = (
        ("horizontal", quality.separation_horizontal),
        ("vertical", quality.separation_vertical),
    )
    told = "; ".join(f"{name} {_separation(part)}" for name, part in parts if part is not None)
    if told:
        yield "forward-reverse", told
    for label, values, decimals, unit in (
        ("satellites", quality.satellites, 0, ""),
        ("PDOP", quality.pdop, 1, ""),
        ("sigma horiz.", quality.sigma_horizontal_m, 3, " m, as the processing states"),
        ("sigma vertical", quality.sigma_vertical_m, 3, " m, as the processing states"),
    ):
        if values is not None:
            yield label, _range(values, decimals) + unit


def _separation(part: Separation) -> str:
    source = "" if part.limit_stated else ", common practice, no source"
    return (
        f"rms {part.rms_m:.3f} m, greatest {part.greatest_m:.3f} m, {100 * part.share_above:.2f} % above "
        f"{part.limit_m:g} m{source}"
    )


def _height(check: TrajectoryCheck) -> str:
    height = check.height
    if height is None:
        return "not known"
    told = f"{_range(height.above_ground_m, 1)} m at {height.places} places"
    if height.without_ground:
        told += f" ({height.without_ground} more without ground)"
    if height.planned_m is not None and height.share_outside is not None:
        told += (
            f"; planned {height.planned_m:g} m, {100 * height.share_outside:.0f} % of them more than "
            f"{height.tolerance_m:g} m off"
        )
    if height.follows_terrain is not None:
        told += f"; terrain {'followed' if height.follows_terrain else 'not followed'}"
    relief_m = height.ground_m.greatest - height.ground_m.least
    return f"{told}; the ground varies by {relief_m:.1f} m"


def _lines(check: TrajectoryCheck) -> list[str]:
    if not check.lines:
        return _item("flight lines", "none found")
    kinds = [
        word
        for word, there in (("opposite", check.opposite_lines), ("crossing", check.crossing_lines))
        if there
    ]
    told = f"{len(check.lines)}, {' and '.join(kinds) or 'all in one direction'}"
    rows = _item("flight lines", told)
    rows.append("    line  start (UTC)           seconds  heading   length    speed  above ground")
    rows.append("                                    s      deg        m      m/s             m")
    effects = {e.line: e for c in check.time_checks for e in c.effects}
    for line in check.lines[:MOST_LINES]:
        above = "-" if line.height_above_ground_m is None else f"{line.height_above_ground_m:.1f}"
        row = (
            f"    {line.number:>4}  {_clock(line.start_s):<20} {line.end_s - line.start_s:>8.1f} "
            f"{line.heading_deg:>8.1f} {line.length_m:>8.1f} {line.speed_m_s:>8.1f} {above:>13}"
        )
        if effect := effects.get(line.number):
            row += f"  E {_signed(effect.east_m)} N {_signed(effect.north_m)} m"
        rows.append(row)
    if len(check.lines) > MOST_LINES:
        rows.append(f"    and {len(check.lines) - MOST_LINES} more")
    return rows


def _round(value: float, decimals: int) -> str:
    return f"{round(value, decimals) + 0.0:.{decimals}f}"


def _signed(value: float) -> str:
    return f"{round(value, 1) + 0.0:+.1f}"
