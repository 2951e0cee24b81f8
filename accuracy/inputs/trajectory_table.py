"""Trajectory tables: time, position, attitude and quality of a flight, one row per epoch."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import InputError
from accuracy.findings import Finding, Severity
from accuracy.formats.long_tables import blocks, find_head
from accuracy.gps_time import ADJUSTED_S, WEEK_S
from accuracy.inputs.trajectory_columns import ANGLES, Columns, columns_of, known_names
from accuracy.inputs.trajectory_rows import Rows
from accuracy.job.trajectory_section import TimeSystem, TrajectorySection
from accuracy.units import LengthUnit

Array = NDArray[np.float64]

#: Words for a fixed solution where the job names none. Common practice, no source.
FIXED_WORDS = frozenset({"fixed", "fix", "integer"})


@dataclass(frozen=True, eq=False)
class TrajectoryTable:
    """A trajectory as handed in, in the order of the file. All arrays have shape (n,).

    Attributes
    ----------
    path : Path
        The file.
    time_system : str
        What the job declares its times to be.
    week : int or None
        GPS week of seconds of the week.
    line : ndarray of int64
        Line of each row in the file, from 1.
    time_s : ndarray of float64
        GPS seconds since 1980-01-06, as they follow from what is declared.
    first_written, last_written : float or None
        Smallest and largest time as written; None for utc.
    easting, northing, height : ndarray of float64
        In stored units; longitude and latitude in degrees where `geographic`.
    horizontal_unit, vertical_unit : LengthUnit or None
        Stated by column names.
    roll_deg, pitch_deg, heading_deg : ndarray or None
        None without such a column; NaN where a row has none.
    fixed : ndarray of bool or None
        Whether ambiguities are fixed; None where that is not known.
    fix_counts : mapping of str to int
        Values of the quality column, and how often each stands there.
    satellites, pdop, separation_h_m, separation_v_m, sigma_h_m, sigma_v_m : ndarray or None
        Quality as stated; separations and standard deviations in metres, horizontal ones radial.
    findings : tuple of Finding
        What was assumed or looks wrong in the table itself.
    """

    path: Path
    time_system: TimeSystem
    week: int | None
    line: NDArray[np.int64]
    time_s: Array
    easting: Array
    northing: Array
    height: Array
    first_written: float | None = None
    last_written: float | None = None
    horizontal_unit: LengthUnit | None = None
    vertical_unit: LengthUnit | None = None
    geographic: bool = False
    roll_deg: Array | None = None
    pitch_deg: Array | None = None
    heading_deg: Array | None = None
    fixed: NDArray[np.bool_] | None = None
    fix_counts: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    satellites: Array | None = None
    pdop: Array | None = None
    separation_h_m: Array | None = None
    separation_v_m: Array | None = None
    sigma_h_m: Array | None = None
    sigma_v_m: Array | None = None
    findings: tuple[Finding, ...] = ()


def read_trajectory(
    path: Path, section: TrajectorySection, week: int | None = None
) -> TrajectoryTable:
    """Read a trajectory. Memory holds one number per row and column used, whatever else the file holds.

    Parameters
    ----------
    path : Path
        Delimited text with a header; lines may stand before it.
    section : TrajectorySection
        What its columns and times are.
    week : int, optional
        GPS week where the section names none.

    Raises
    ------
    InputError
        The file or its columns cannot be used; or rows without a finite time or position, or with too many
        or too few cells: each with its line.
    """
    head = find_head(path, lambda names: known_names(names, section.columns), section.delimiter)
    columns = columns_of(head, section.columns)
    rows = Rows(head, columns, section.time == "utc")
    for block in blocks(head, rows.numeric, rows.textual):
        rows.add(block)
    rows.finish()
    findings = [*columns.findings, *rows.findings()]
    time_s, written = _times(rows, section, section.week if section.week is not None else week)
    if section.time == "gps-seconds-of-week":
        time_s, more = _unwrapped(time_s, path)
        findings += more
    if time_s.min() == time_s.max():
        raise InputError(
            "all rows of the trajectory have one time",
            where=str(path),
            remedy="look at the column of times; it may have been rounded, or be another column",
        )
    findings += _order(time_s, rows.lines, path)
    attitude, more = _attitude(rows, columns, section, path)
    findings += more
    fixed, counts, more = _fixed(rows, section, path)
    findings += more
    return TrajectoryTable(
        path=path,
        time_system=section.time,
        week=section.week if section.week is not None else week,
        line=rows.lines,
        time_s=time_s,
        easting=rows.values["easting"],
        northing=rows.values["northing"],
        height=rows.values["height"],
        first_written=written[0],
        last_written=written[1],
        horizontal_unit=columns.length("easting"),
        vertical_unit=columns.length("height"),
        geographic=columns.geographic,
        **attitude,
        fixed=fixed,
        fix_counts=counts,
        satellites=rows.values.get("satellites"),
        pdop=rows.values.get("pdop"),
        **_quality(rows, columns),
        findings=tuple(findings),
    )


def _times(
    rows: Rows, section: TrajectorySection, week: int | None
) -> tuple[Array, tuple[float | None, float | None]]:
    """Turn times as written into GPS seconds."""
    times = rows.values["time"]
    if section.time == "utc":
        return times, (None, None)
    written = (float(times.min()), float(times.max()))
    if section.time == "gps-adjusted-standard":
        return times + ADJUSTED_S, written
    if section.time == "gps-seconds-of-week":
        if week is None:
            raise InputError(
                "seconds of the week need their week",
                where=str(rows.head.path),
                remedy="state week under [trajectory], or flown under [job]",
            )
        return times + float(week * WEEK_S), written
    return times, written


def _unwrapped(time_s: Array, path: Path) -> tuple[Array, list[Finding]]:
    """Go on counting where seconds of the week start again at zero."""
    starts = np.flatnonzero(np.diff(time_s) < -WEEK_S / 2)
    if not starts.size:
        return time_s, []
    weeks = np.zeros(len(time_s))
    weeks[starts + 1] = 1.0
    told = f"{path.name}: seconds of the week start again at zero; counted on into the next week"
    return time_s + np.cumsum(weeks) * WEEK_S, [
        Finding("trajectory-week-assumed", Severity.NOTE, told)
    ]


def _order(time_s: Array, lines: NDArray[np.int64], path: Path) -> Iterator[Finding]:
    step = np.diff(time_s)
    for which, words in ((step < 0, "go back"), (step == 0, "repeat")):
        at = np.flatnonzero(which)
        if at.size:
            first = ", ".join(str(line) for line in lines[at[:5] + 1].tolist())
            yield Finding(
                "trajectory-time-order",
                Severity.WARNING,
                f"{path.name}: times {words} at {at.size} rows, first at line {first}; rows were put in order "
                "of time, and of rows with one time the first was taken",
                evidence={"rows": int(at.size), "first_line": int(lines[at[0] + 1])},
                remedy="export the trajectory again, each epoch once, in order of time",
            )


def _attitude(
    rows: Rows, columns: Columns, section: TrajectorySection, path: Path
) -> tuple[dict[str, Array], list[Finding]]:
    found: dict[str, Array] = {}
    assumed = []
    for role in sorted(ANGLES & rows.values.keys()):
        stated = columns.units.get(role)
        if stated and section.angle_unit and stated != section.angle_unit:
            raise InputError(
                f"column {rows.head.names[columns.at[role]]!r} states {stated}, the job {section.angle_unit}",
                where=f"{path}, line {rows.head.line}",
                remedy="remove angle_unit from [trajectory], or correct it",
            )
        unit = stated or section.angle_unit
        if unit is None:
            assumed.append(role)
        values = rows.values[role]
        found[f"{role}_deg"] = np.degrees(values) if unit == "radian" else values
    if not assumed:
        return found, []
    told = f"{path.name}: {', '.join(assumed)} taken as degrees; nothing states the unit of angles"
    return found, [Finding("trajectory-columns", Severity.NOTE, told)]


def _fixed(
    rows: Rows, section: TrajectorySection, path: Path
) -> tuple[NDArray[np.bool_] | None, Mapping[str, int], list[Finding]]:
    if rows.fix is None:
        return None, {}, []
    counts = np.bincount(rows.fix, minlength=len(rows.words)).tolist()
    told = {word or "(empty)": count for word, count in zip(rows.words, counts, strict=True)}
    wanted = {_value(value) for value in section.fixed_values} or FIXED_WORDS
    means_fixed = np.array([_value(word) in wanted for word in rows.words], dtype=np.bool_)
    numbers = all(_is_number(word) for word in rows.words if word)
    if not section.fixed_values and (numbers or not means_fixed.any()):
        values = ", ".join(list(told)[:8])
        finding = Finding(
            "trajectory-fix-unknown",
            Severity.WARNING,
            f"{path.name}: nothing says which values of the quality column mean fixed; it holds {values}",
            remedy="name them under [trajectory]: fixed_values = [...]",
        )
        return None, _few(told), [finding]
    more = []
    present = {_value(word) for word in rows.words}
    if strangers := [str(v) for v in section.fixed_values if _value(v) not in present]:
        note = f"{path.name}: no row has the quality {', '.join(strangers)} named in fixed_values"
        more.append(Finding("trajectory-fix-unknown", Severity.NOTE, note))
    return means_fixed[rows.fix], _few(told), more


def _few(counts: Mapping[str, int]) -> Mapping[str, int]:
    """Keep the most frequent values; a column of many values is no quality."""
    most = sorted(counts, key=lambda word: -counts[word])[:20]
    return MappingProxyType({word: counts[word] for word in most})


def _value(value: object) -> str:
    """Make values comparable: numbers as numbers, words in lower case."""
    text = str(value).strip().lower()
    return f"{float(text):g}" if _is_number(text) else text


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False


def _quality(rows: Rows, columns: Columns) -> dict[str, Array | None]:
    def in_metres(role: str) -> Array | None:
        if role not in rows.values:
            return None
        unit = columns.length(role) or LengthUnit.METRE
        return rows.values[role] * float(unit.metres)

    def radial(kind: str) -> Array | None:
        east, north = in_metres(f"{kind}_east"), in_metres(f"{kind}_north")
        if east is not None and north is not None:
            return np.hypot(east, north)
        return in_metres(f"{kind}_horizontal")

    return {
        "separation_h_m": radial("separation"),
        "separation_v_m": in_metres("separation_up"),
        "sigma_h_m": radial("sigma"),
        "sigma_v_m": in_metres("sigma_up"),
    }
