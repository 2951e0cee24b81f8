"""Everything there is to say of a base: all checks, what follows of them, and the record for JSON."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from accuracy.base_checks import Expected, expected, run_checks
from accuracy.base_checks.antenna_heights import chain_words
from accuracy.base_checks.coordinates import held_minus_published
from accuracy.base_checks.cover import record_span
from accuracy.base_checks.distance import Distance, distance
from accuracy.base_checks.heights import causes
from accuracy.base_checks.record import BaseCheck, Side, Station, Vector
from accuracy.base_checks.same_base import RELATIVE
from accuracy.base_checks.used_height import true_m
from accuracy.findings import Finding
from accuracy.georeferencing.datum import as_data
from accuracy.georeferencing.shown_coordinates import Coordinates, stored


@dataclass(frozen=True)
class BaseReport:
    """Everything there is to say of the base.

    Attributes
    ----------
    station : Station
        As described.
    checks : tuple of BaseCheck
        What was found; empty where all is sound.
    expected : Expected
        The shift of the deliverable that follows.
    difference : Vector or None
        Held minus published.
    distance : Distance or None
        To the site.
    """

    station: Station
    checks: tuple[BaseCheck, ...]
    expected: Expected
    difference: Vector | None
    distance: Distance | None

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The checks as findings of a verification."""
        relative = bool(self.station.same_base)
        return tuple(check.finding(relative=relative) for check in self.checks)


def check_base(station: Station) -> BaseReport:
    """Make all checks."""
    checks = run_checks(station)
    found = held_minus_published(station)
    return BaseReport(
        station,
        checks,
        expected(checks),
        None if found is None else found.vector,
        distance(station),
    )


def base_data(report: BaseReport) -> dict[str, Any]:
    """Give the record for ``result.json``: shape as in its schema under ``base``."""
    station = report.station
    span = record_span(station)
    header = station.header
    return {
        "mark": station.mark,
        "held": _side_data(station.held),
        "published": _side_data(station.published),
        "held_minus_published": _vector_data(report.difference),
        "antenna": None
        if station.antenna is None
        else {
            "type": station.antenna.name,
            "radome": station.antenna.radome or None,
            "serial": station.antenna.serial or None,
        },
        "height_chain": list(chain_words(station)),
        "observation": None
        if header is None
        else {
            "file": station.header_name,
            "rinex_version": header.version,
            "hatanaka": header.hatanaka is not None,
            "marker": header.marker_name,
            "receiver": header.receiver_type,
            "antenna": header.antenna_field,
            "start": None if span is None else span.start.isoformat(),
            "end": None if span is None else span.end.isoformat(),
            "interval_s": None if span is None else span.interval_s,
            "epochs_read": None if station.epochs is None else station.epochs.count,
        },
        "flight": None
        if station.flight is None
        else {
            "source": station.flight.what,
            "start": station.flight.start.isoformat(),
            "end": station.flight.end.isoformat(),
        },
        "distance": None
        if report.distance is None
        else {
            "horizontal_m": report.distance.horizontal_m,
            "height_difference_m": report.distance.height_m,
            "expected_sigma": _vector_data(report.distance.sigma),
        },
        "survey_from_same_base": station.same_base,
        "relative": RELATIVE if station.same_base else None,
        "checks": [_check_data(check) for check in report.checks],
        "candidates": _candidates(station),
        "expected_shift": {
            "effect": _vector_data(report.expected.shift),
            "sigma": _vector_data(report.expected.sigma),
            "causes": list(report.expected.causes),
            "why_not": report.expected.why_not or None,
        },
    }


def _candidates(station: Station) -> list[dict[str, Any]]:
    """Give every mistake with the antenna height that could have been made here, for the diagnosis."""
    right = true_m(station)
    return [
        {"cause": c.cause, "what": c.what, "effect": _vector_data(c.effect)}
        for c in ([] if right is None else causes(station, right))
    ]


def _check_data(check: BaseCheck) -> dict[str, Any]:
    return {
        "code": check.code,
        "cause": check.cause,
        "severity": check.severity.value,
        "what": check.what,
        "effect": _vector_data(check.effect),
        "sigma": _vector_data(check.sigma),
        "part": check.part,
        "consistent_with": [
            {"cause": c.cause, "what": c.what, "effect": _vector_data(c.effect)}
            for c in check.consistent_with
        ],
        "remedy": check.remedy or None,
    }


def _vector_data(vector: Vector | None) -> dict[str, float | None] | None:
    if vector is None:
        return None
    return {"east_m": vector.east_m, "north_m": vector.north_m, "up_m": vector.up_m}


def _side_data(side: Side | None) -> dict[str, Any] | None:
    if side is None:
        return None
    shown: Coordinates = stored(side.reference, side.x, side.y, side.z)
    return {
        "reference": as_data(replace(side.reference, findings=())),
        "coordinates": as_data(shown),
        "source": side.source,
        "origin": side.origin,
        "accuracy_h_m": side.accuracy_h_m,
        "accuracy_v_m": side.accuracy_v_m,
    }
