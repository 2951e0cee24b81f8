"""Does the base's record cover the flight, how often did it record, and where are gaps."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from accuracy.base_checks.record import BaseCheck, Span, Station
from accuracy.base_checks.times import gps_of, to_gps
from accuracy.findings import Severity

#: Asked for before and after the flight (from memory: 5 to 10 minutes).
MARGIN = timedelta(minutes=5)
#: A base records at least this often (common practice for kinematic processing).
INTERVAL_S = 1.0
_DAY = timedelta(days=1)


def record_span(station: Station) -> Span | None:
    """Give from when to when the file holds observations, in GPS time, by the epochs where they were read."""
    header, epochs = station.header, station.epochs
    if header is None:
        return None
    system = header.first.system if header.first is not None else ""
    interval = header.interval_s
    if epochs is not None:
        interval = epochs.interval_s or interval
        start, end = to_gps(epochs.first, system), to_gps(epochs.last, system)
        if not epochs.complete and header.last is not None:
            end = max(end, gps_of(header.last))
        return Span(start, end, station.header_name, interval)
    if header.first is None or header.last is None:
        return None
    return Span(gps_of(header.first), gps_of(header.last), station.header_name, interval)


def check(station: Station) -> Iterator[BaseCheck]:
    """Hold the record, or else the occupations as logged, against the flight."""
    span = record_span(station)
    spans = [span] if span is not None else list(station.occupations)
    if station.flight is not None and spans:
        yield from _covers(spans, station.flight)
    elif station.flight is not None and station.header is not None:
        yield BaseCheck(
            "base-record",
            "record-end-unknown",
            Severity.NOTE,
            f"{station.header_name} does not say when it ends: whether it covers the flight is not known",
            component="all",
        )
    yield from _interval(station, spans)
    yield from _gaps(station)
    yield from _header_against_epochs(station)
    if span is not None:
        yield from _log_against_record(station, span)


def _clock(when: datetime) -> str:
    return f"{when:%Y-%m-%d %H:%M:%S}"


def _covers(spans: list[Span], flight: Span) -> Iterator[BaseCheck]:
    start = min(span.start for span in spans)
    end = max(span.end for span in spans)
    told = (
        f"the base recorded {_clock(start)} to {_clock(end)}, the flight is {_clock(flight.start)} to "
        f"{_clock(flight.end)} (GPS time)"
    )
    if end < flight.start or start > flight.end:
        yield BaseCheck(
            "base-record",
            "record-elsewhere",
            Severity.BLOCKING,
            f"the base did not record during the flight: {told}{_slip(start, end, flight)}",
            remedy="name the observation file of the day; check dates and time systems",
        )
        return
    missing = [
        f"{length.total_seconds():.0f} s {where}"
        for length, where in (
            (start - flight.start, "at the begin"),
            (flight.end - end, "at the end"),
        )
        if length > timedelta(0)
    ]
    if missing:
        yield BaseCheck(
            "base-record",
            "record-short",
            Severity.WARNING,
            f"the base does not cover the flight: {' and '.join(missing)} are missing; {told}",
            remedy="process that part from another base, or leave it out of the deliverable",
        )
    elif flight.start - start < MARGIN or end - flight.end < MARGIN:
        seconds = min(flight.start - start, end - flight.end).total_seconds()
        yield BaseCheck(
            "base-record",
            "record-margin",
            Severity.NOTE,
            f"the base covers the flight with {seconds:.0f} s to spare; 5 minutes on either side "
            f"are usual; {told}",
        )


def _slip(start: datetime, end: datetime, flight: Span) -> str:
    """Name a slip of whole days, or of leap seconds, that would make it fit."""
    for days in (*range(1, 8), 14, 1024 * 7):
        for sign in (1, -1):
            shift = timedelta(days=days * sign)
            if start + shift <= flight.start and flight.end <= end + shift:
                name = {7: "a week", 7168: "1024 weeks, the roll-over of the GPS week"}.get(
                    days, f"{days} day{'s' if days > 1 else ''}"
                )
                return f"; a slip of {name} would explain it"
    return ""


def _interval(station: Station, spans: list[Span]) -> Iterator[BaseCheck]:
    interval = station.header.interval_s if station.header is not None else None
    if station.epochs is not None and station.epochs.interval_s is not None:
        interval = station.epochs.interval_s
    if interval is None:
        interval = max((s.interval_s for s in spans if s.interval_s is not None), default=None)
    if interval is not None and interval > INTERVAL_S:
        yield BaseCheck(
            "base-interval",
            "interval-long",
            Severity.WARNING,
            f"the base recorded every {interval:g} s; between epochs a program interpolates, which "
            "1 s or less "
            "makes harmless",
            remedy="use the record at 1 s where there is one",
        )


def _gaps(station: Station) -> Iterator[BaseCheck]:
    epochs, header = station.epochs, station.header
    if epochs is None or not epochs.gap_count or header is None:
        return
    system = header.first.system if header.first is not None else ""
    flight = station.flight
    gaps = [(to_gps(a, system), to_gps(b, system)) for a, b in epochs.gaps]
    inside = [g for g in gaps if flight is not None and g[0] < flight.end and g[1] > flight.start]
    shown = inside or gaps
    listed = "; ".join(f"{_clock(a)} for {(b - a).total_seconds():.0f} s" for a, b in shown[:5]) + (
        "; ..." if len(shown) > 5 else ""
    )
    yield BaseCheck(
        "base-gaps",
        "gaps",
        Severity.WARNING if inside else Severity.NOTE,
        f"the record of the base has {epochs.gap_count} gap{'s' if epochs.gap_count > 1 else ''}"
        + (f", {len(inside)} of them during the flight" if flight is not None else "")
        + f": {listed}",
        remedy="look at the solution of the flight at these times" if inside else "",
        evidence={"gaps": epochs.gap_count, "during_flight": len(inside)},
    )


def _header_against_epochs(station: Station) -> Iterator[BaseCheck]:
    header, epochs = station.header, station.epochs
    if header is None or epochs is None:
        return
    said, seen = header.interval_s, epochs.interval_s
    if said is not None and seen is not None and abs(said - seen) > 0.001:
        yield BaseCheck(
            "base-header",
            "interval-differs",
            Severity.NOTE,
            f"the header of {station.header_name} says one epoch every {said:g} s, the epochs come "
            f"every {seen:g} s: "
            "the file was thinned later",
        )
    if header.last is None or not epochs.complete:
        return
    short = (header.last.when - epochs.last).total_seconds()
    if short > 2.0 * (seen or said or 1.0):
        yield BaseCheck(
            "base-record",
            "file-cut-off",
            Severity.WARNING,
            f"{station.header_name} ends {short:.0f} s before the time its header names: it is cut off",
            remedy="copy the file again from the receiver",
        )


def _log_against_record(station: Station, span: Span) -> Iterator[BaseCheck]:
    if station.occupations and not any(
        span.start <= o.end and o.start <= span.end for o in station.occupations
    ):
        first = station.occupations[0]
        yield BaseCheck(
            "base-record",
            "record-not-of-occupation",
            Severity.WARNING,
            f"the record ({_clock(span.start)} to {_clock(span.end)}) lies outside every occupation "
            "of the log "
            f"(first {_clock(first.start)} to {_clock(first.end)}, GPS time)",
            remedy="name the file of this occupation, or correct its times and their time system",
        )
