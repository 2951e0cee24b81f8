"""Flight lines as views see them: one subject for each point cloud, tables and facts in words.

Text, page and PDF show the same tables.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import Any

from accuracy.flightlines.records import (
    LEFT_OUT,
    Estimate,
    LineRecord,
    LinesRecord,
    PairRecord,
    WithinPart,
)
from accuracy.formats.png import SIGNATURE
from accuracy.reports.words import length, printable
from accuracy.result import Result
from accuracy.standards.judge import LineCheck
from accuracy.standards.judge.lines import UNIT_WORDS, texts
from accuracy.standards.library.line_rules import counted
from accuracy.units import LengthUnit, from_metres

#: Rows of a table that views show; the record has all.
MOST_ROWS = 40
MOST_VOIDS = 12

KINDS: Mapping[str, str] = {
    "same-direction": "same",
    "opposite": "opposite",
    "crossing": "crossing",
    "unknown": "?",
}
HOW: Mapping[str, str] = {
    "source-id": "point source ids",
    "time": "gaps in time and turns, since point source ids do not tell them",
    "trajectory": "the trajectory, since point source ids do not tell them",
    "all-points": "nothing: all points count as one line",
}
#: Stored GPS times from here on are counted from 1980 less a thousand million seconds, in the LAS form
#: "adjusted standard GPS time"; seconds of the week never get so far.
_SECONDS_OF_WEEK = 604_800.0


@dataclass(frozen=True)
class Table:
    """A table for people: `left` are the columns of text."""

    title: str
    note: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: frozenset[int] = frozenset({0})
    more: int = 0


@dataclass(frozen=True)
class ClaimLines:
    """What a document made of the lines."""

    standard: str
    title: str
    claimed: Mapping[str, Any]
    verdict: str
    reason: str | None
    statement: str
    checks: tuple[LineCheck, ...]


@dataclass(frozen=True)
class LinesSubject:
    """Flight lines of one cloud, as a record has them.

    Attributes
    ----------
    pictures : mapping of str to bytes
        Those that lie beside the record, by file name.
    """

    name: str
    data: Mapping[str, Any]
    pictures: Mapping[str, bytes]
    unit: LengthUnit = LengthUnit.METRE

    @cached_property
    def record(self) -> LinesRecord:
        """What the analysis found."""
        return LinesRecord.from_dict(self.data["analysis"])

    @cached_property
    def claims(self) -> tuple[ClaimLines, ...]:
        """The claims on it."""
        return tuple(
            ClaimLines(**{**claim, "checks": tuple(LineCheck(**c) for c in claim["checks"])})
            for claim in self.data["claims"]
        )

    def map(self, name: str) -> Mapping[str, Any] | None:
        """Give the record of a picture; None where there is none."""
        return next((its for its in self.data["maps"] if its["name"] == name), None)

    def picture(self, name: str) -> bytes | None:
        """Give a picture whose hash is that of the record; None without."""
        its = self.map(name)
        content = None if its is None else self.pictures.get(str(its["file"]))
        if its is None or content is None or not content.startswith(SIGNATURE):
            return None
        return content if hashlib.sha256(content).hexdigest() == its["sha256"] else None

    def shown(self, value_m: float) -> float:
        """Give a length in the unit it is shown in."""
        return float(from_metres(value_m, self.unit))


def subjects_of(result: Result) -> tuple[LinesSubject, ...]:
    """Give the flight lines of a result; none where it has none."""
    unit = LengthUnit(result.job.get("job", {}).get("display_units", "metre"))
    return tuple(
        LinesSubject(name, data, result.side_files, unit) for name, data in result.lines.items()
    )


def tables(subject: LinesSubject) -> Iterator[Table]:
    """Give the tables of a cloud, in the order of views."""
    record = subject.record
    yield _lines_table(subject, record.lines)
    if record.pairs:
        pairs = sorted(record.pairs, key=lambda pair: -(pair.differences.rmsd_m or 0.0))
        yield _pairs_table(subject, pairs)
        if any(pair.trends or pair.offset for pair in pairs):
            yield _trends_table(subject, pairs)
    if any(part.literal_cells or part.plane_cells for part in record.within):
        yield _within_table(subject, record.within)
    if record.coverage.voids:
        yield _voids_table(subject)


def _text(subject: LinesSubject, value_m: float | None, *, sign: bool = False) -> str:
    return length(value_m, subject.unit, sign=sign)


def _number(value: float | None, decimals: int = 1) -> str:
    return "-" if value is None else f"{round(value, decimals) + 0.0:.{decimals}f}"


def _whole_length(subject: LinesSubject, value_m: float | None) -> str:
    return "-" if value_m is None else f"{subject.shown(value_m):.0f}"


def _lines_table(subject: LinesSubject, lines: Sequence[LineRecord]) -> Table:
    days = {flown_at(line.start_s).partition(" ")[0] for line in lines}
    one_day = len(days) == 1 and len(next(iter(days))) == 10

    def row(line: LineRecord) -> tuple[str, ...]:
        whole = next((part for part in line.within if part.part == "all"), None)
        share = None if line.distribution is None else 100.0 * line.distribution
        return (
            str(line.number),
            flown_at(line.start_s)[11:] if one_day else flown_at(line.start_s),
            _number(line.heading_deg, 0),
            _whole_length(subject, line.length_m),
            _whole_length(subject, line.width_m),
            f"{line.points:,}".replace(",", " "),
            _number(line.density_per_m2),
            _text(subject, line.spacing_m),
            _text(subject, whole.plane_rms_m if whole else None),
            _text(subject, whole.literal_rmsd_m if whole else None),
            _number(share),
            str(line.voids),
        )

    flown = f"flown on {next(iter(days))}" if one_day else "flown"
    return Table(
        "Flight lines",
        f"Lengths in {subject.unit.print_name}; {flown} by GPS time; course over ground in degrees; first "
        "returns of the line alone per square metre of its usable centre, and their spacing; thickness: "
        "points about fitted planes; range: RMSD of the documents' raster formula; cells: % of those of "
        "2 x ANPS with a point.",
        (
            "line",
            "flown",
            "course",
            "length",
            "width",
            "points",
            "per m²",
            "spacing",
            "thickness",
            "range",
            "cells",
            "voids",
        ),
        tuple(map(row, lines[:MOST_ROWS])),
        frozenset({0, 1}),
        max(len(lines) - MOST_ROWS, 0),
    )


def flown_at(stored_s: float | None) -> str:
    """Give the time of a line for people: GPS date and time, or seconds as stored.

    Examples
    --------
    >>> flown_at(0.0 + 462_000_000.0), flown_at(230_412.25), flown_at(None)
    ('2026-05-04 21:20:00', '230412 s', '-')
    """
    if stored_s is None:
        return "-"
    if 0.0 <= stored_s < _SECONDS_OF_WEEK:
        return f"{stored_s:.0f} s"
    try:
        moment = datetime(1980, 1, 6, tzinfo=UTC) + timedelta(seconds=stored_s + 1e9)
    except OverflowError:
        return f"{stored_s:.0f} s"
    return f"{moment:%Y-%m-%d %H:%M:%S}"


def pair_name(pair: PairRecord) -> str:
    """Name a pair as what is taken from what."""
    return f"{pair.later} − {pair.earlier}"


def _pairs_table(subject: LinesSubject, pairs: Sequence[PairRecord]) -> Table:
    def row(pair: PairRecord | None) -> tuple[str, ...]:
        whole = subject.record
        differences = pair.differences if pair else whole.differences
        plain = pair.plain if pair else whole.plain
        return (
            pair_name(pair) if pair else "all pairs",
            KINDS[pair.kind] if pair else "",
            str(differences.n),
            _text(subject, differences.mean_m, sign=True),
            _text(subject, differences.rmsd_m),
            _text(subject, pair.expected_rmsd_m if pair else whole.expected_rmsd_m),
            _text(subject, differences.p95_abs_m),
            _text(subject, differences.max_abs_m),
            _text(subject, plain.rmsd_m),
            _whole_length(subject, pair.overlap_width_m) if pair else "",
        )

    return Table(
        "Line against line",
        f"Heights of the later line minus the earlier, in {subject.unit.print_name}, in cells that are "
        "hard, smooth and gently sloping in both; the largest RMSD first. Noise: what the scatter of both "
        "lines alone would make of the RMSD. Raw: RMSD of mean heights in all shared cells, slopes and "
        "plants included.",
        (
            "pair",
            "course",
            "cells",
            "mean",
            "RMSD",
            "noise",
            "95 % |d|",
            "largest",
            "raw",
            "overlap",
        ),
        (row(None), *(row(pair) for pair in pairs[:MOST_ROWS])),
        frozenset({0, 1}),
        max(len(pairs) - MOST_ROWS, 0),
    )


def _estimate(value: Estimate | None, times: float, decimals: int) -> str:
    """Show an estimate with its standard error; a star where it exceeds three of them.

    Up to two decimals more where the standard error would be shown as nothing.
    """
    if value is None:
        return "-"
    error = value.standard_error
    if error is None:
        return f"{round(times * value.value, decimals) + 0.0:+.{decimals}f}±?"
    most = decimals + 2
    while decimals < most and round(times * error, decimals) == 0.0:
        decimals += 1
    star = "*" if value.significant else ""
    text = f"{round(times * value.value, decimals) + 0.0:+.{decimals}f}"
    return f"{text}±{times * error:.{decimals}f}{star}"


def _trends_table(subject: LinesSubject, pairs: Sequence[PairRecord]) -> Table:
    per_unit = subject.shown(1.0)
    a_unit = "a metre" if subject.unit is LengthUnit.METRE else "a foot"

    def row(pair: PairRecord) -> tuple[str, ...]:
        trends, offset = pair.trends, pair.offset
        tells = offset is not None and offset.identified == "both"
        return (
            pair_name(pair),
            _estimate(trends.shift_m if trends else None, per_unit, 3),
            _estimate(trends.across if trends else None, 1000.0, 2),
            _estimate(trends.along if trends else None, 1000.0, 2),
            _estimate(trends.time_m_s if trends else None, 60_000.0 * per_unit, 1),
            _estimate(offset.east_m if offset and tells else None, per_unit, 3),
            _estimate(offset.north_m if offset and tells else None, per_unit, 3),
            "" if offset is None or tells else printable(offset.reason),
        )

    return Table(
        "Shift, tilt and drift of each pair",
        f"Later minus earlier line, ± one standard error; * beyond three. Shift in {subject.unit.print_name}; "
        "tilts in mm per metre, to the right of and forward on the earlier line; with time in thousandths of "
        f"{a_unit} per minute, in place of forward: in one pair the two cannot be told apart; east and north "
        "in the plane, from slopes and roofs.",
        ("pair", "shift", "across", "along", "with time", "east", "north", "remark"),
        tuple(map(row, pairs[:MOST_ROWS])),
        frozenset({0, 7}),
        max(len(pairs) - MOST_ROWS, 0),
    )


def _within_table(subject: LinesSubject, parts: Sequence[WithinPart]) -> Table:
    cell = subject.record.literal_cell_m
    size = "" if cell is None else f" of {_text(subject, cell)}"
    return Table(
        "Precision inside one line",
        f"In {subject.unit.print_name}. Range: largest minus smallest height in a cell{size} less slope x "
        "cell x 1.414, as the documents have it; it grows with the number of points and may be negative. "
        "Thickness: standard deviation about planes in the same hard cells.",
        (
            "part of the swath",
            "cells",
            "RMSD of range",
            "mean",
            "least",
            "largest",
            "plane cells",
            "thickness",
            "95 % of cells",
        ),
        tuple(
            (
                part.part,
                str(part.literal_cells),
                _text(subject, part.literal_rmsd_m),
                _text(subject, part.literal_mean_m, sign=True),
                _text(subject, part.literal_min_m, sign=True),
                _text(subject, part.literal_max_m, sign=True),
                str(part.plane_cells),
                _text(subject, part.plane_rms_m),
                _text(subject, part.plane_p95_m),
            )
            for part in parts
        ),
    )


def _voids_table(subject: LinesSubject) -> Table:
    coverage = subject.record.coverage
    open_first = sorted(coverage.voids, key=lambda void: (void.filled, -void.area_m2))
    return Table(
        "Voids",
        "Gaps in the first returns of one line; those that no other line fills first. Causes (water, dark "
        "surfaces, shadow) cannot be told from the points. Places as stored in the files.",
        ("line", "area in m²", "easting", "northing", "filled by another line", "cause"),
        tuple(
            (
                str(void.line),
                f"{void.area_m2:.2f}",
                f"{void.place[0]:.1f}",
                f"{void.place[1]:.1f}",
                "yes" if void.filled else "no",
                printable(void.cause),
            )
            for void in open_first[:MOST_VOIDS]
        ),
        frozenset({0, 4, 5}),
        max(coverage.voids_found - MOST_VOIDS, 0),
    )


def facts(subject: LinesSubject) -> Iterator[tuple[str, str]]:
    """Give what is no table: label and words."""
    record, settings = subject.record, subject.data["settings"]
    unit = subject.unit.symbol
    lines = len(record.lines)
    yield "told apart by", f"{HOW[record.how]}; {lines} line{'s' * (lines != 1)}"
    if record.stray:
        strays = "; ".join(
            f"{stray.source_id}: {stray.points} points, {printable(stray.reason)}"
            for stray in record.stray[:8]
        )
        yield "stray", strays + f"; and {len(record.stray) - 8} more" * (len(record.stray) > 8)
    yield (
        "compared",
        f"planes of last returns in cells of {_text(subject, record.cell_m)} {unit}, slope up to "
        f"{settings['slope_limit_deg']:g} degrees, points within {_text(subject, settings['smooth_limit_m'])} "
        f"{unit} (RMS) of their plane; {record.withheld} withheld and {record.noise} noise points left out",
    )
    yield from _aside(record)
    yield from _site(subject)
    yield from _coverage(subject)
    found = record.duplicates
    if found.sampled < 1.0:
        yield (
            "stored twice",
            f"{found.surplus:.0f} ± {found.surplus_error:.0f} points, estimated from "
            f"{100 * found.sampled:.2g} % of all",
        )
    else:
        yield "stored twice", f"{found.surplus:.0f} points"
    yield from _order(record)
    gone = [its["file"] for its in subject.data["maps"] if subject.picture(its["name"]) is None]
    if gone:
        named = ", ".join(printable(str(name)) for name in gone)
        yield "pictures", f"not beside the record, or not those that it names: {named}"
    classes = ", ".join(f"{number}: {count}" for number, count in sorted(record.classes.items()))
    yield "classes", f"{classes} points" if classes else "none"


def _aside(record: LinesRecord) -> Iterator[tuple[str, str]]:
    counts: dict[str, int] = {}
    for pair in record.pairs:
        for reason, number in pair.left_out.items():
            counts[reason] = counts.get(reason, 0) + number
    told = [
        f"{number} {LEFT_OUT.get(reason, reason)}"
        for reason, number in sorted(counts.items(), key=lambda entry: -entry[1])
        if number
    ]
    if told:
        yield "not assessed", f"shared cells left out: {'; '.join(told)}"


def _site(subject: LinesSubject) -> Iterator[tuple[str, str]]:
    trends = subject.record.trends
    if trends.roll_rad is not None:
        degrees = trends.roll_rad.value * 57.29577951308232
        yield (
            "all lines alike",
            f"tilt to the right of flight {_estimate(trends.roll_rad, 1000.0, 2)} mm per m, a roll of "
            f"{round(-degrees, 4) + 0.0:+.4f} degrees",
        )
    if trends.drift_m_s is not None:
        thousandths = 60_000.0 * subject.shown(1.0)
        word = "mm" if subject.unit is LengthUnit.METRE else "thousandths of a foot"
        yield "drift", f"{_estimate(trends.drift_m_s, thousandths, 2)} {word} per minute"
    if trends.correlation is not None and abs(trends.correlation) > 0.95:
        yield "", "roll and drift cannot be told apart by these lines"


def _coverage(subject: LinesSubject) -> Iterator[tuple[str, str]]:
    coverage = subject.record.coverage
    yield (
        "density",
        f"{_number(coverage.line_density_per_m2, 2)} first returns per m² of single lines, "
        f"{_number(coverage.density_per_m2, 2)} of all together on {coverage.covered_m2:.0f} m²",
    )
    if coverage.anps_m is None:
        return
    source = subject.data["settings"]["design_source"]
    whose = (
        f"designed, {printable(source)}" if coverage.anps_designed else "measured, none is stated"
    )
    yield "spacing", f"{_text(subject, coverage.anps_m)} {subject.unit.symbol} ({whose})"
    if coverage.void_limit_m2 is not None:
        yield (
            "voids",
            f"{coverage.voids_found} of {coverage.void_limit_m2:.2f} m² or more in single lines, "
            f"{coverage.voids_unfilled} of them filled by no other line",
        )
    if coverage.distribution is not None:
        yield (
            "distribution",
            f"{100 * coverage.distribution:.1f} % of {coverage.distribution_cells} cells of 2 x ANPS hold a "
            "first return of their line",
        )


def _order(record: LinesRecord) -> Iterator[tuple[str, str]]:
    back = [item for item in record.order if item.steps_back]
    mixed = [item for item in record.order if item.returns_out_of_order]
    if back:
        worst = max(back, key=lambda item: item.largest_back_s)
        yield (
            "order in time",
            f"{sum(item.steps_back for item in back)} steps back in {len(back)} of {len(record.order)} files, "
            f"the largest {worst.largest_back_s:.3f} s in {printable(worst.name)}",
        )
    if mixed:
        yield (
            "order of returns",
            f"{sum(item.returns_out_of_order for item in mixed)} returns stored after a later one of their "
            "pulse",
        )
    if record.untimed:
        yield "without a time", f"{record.untimed} points"
    if record.gaps:
        told = "; ".join(
            f"line {gap.line}: {gap.end_s - gap.start_s:.1f} s" for gap in record.gaps[:6]
        )
        yield "gaps in time", told + f"; and {len(record.gaps) - 6} more" * (len(record.gaps) > 6)


def check_row(check: LineCheck, unit: LengthUnit) -> tuple[str, str, str, str]:
    """Give a check as cells: value, sign, limit (both with their unit), and what stands behind it."""
    behind = "" if check.kind == "count" else counted(check.n, check.counted)
    if check.value is None:
        return "no value", "", "", behind
    value, limit = texts(check, unit.metres)
    word = f" {unit.symbol}" if check.kind == "length" else UNIT_WORDS[check.kind]
    if limit is None or check.operator is None:
        return f"{value}{word}", "", "", behind
    signs = {"<=": ("≤", ">"), "<": ("<", "≥"), ">=": ("≥", "<")}
    return (
        f"{value}{word}",
        signs[check.operator][0 if check.passes else 1],
        f"{limit}{word}",
        behind,
    )
