"""Targets, and deliverables against each other, as tables of text: one source for summary, page and PDF."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from accuracy.reports.words import length, printable
from accuracy.result import Result
from accuracy.units import LengthUnit


@dataclass(frozen=True)
class TextTable:
    """A table of texts; the first columns (`left`) are words, the rest numbers."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: int = 1


def target_tables(result: Result, unit: LengthUnit) -> tuple[TextTable, ...]:
    """Give the tables of a result; none without targets."""
    record = result.targets
    tables = [
        _targets(name, entries, unit) for name, entries in (record.get("measured") or {}).items()
    ]
    together = record.get("together") or {}
    tables += [_places(together.get("points") or (), unit), _pairs(together, unit)]
    tables.append(_colours(record.get("colour") or {}, unit))
    return tuple(table for table in tables if table.rows)


def _signed(value: float | None, sigma: float | None, unit: LengthUnit) -> str:
    if value is None:
        return "-"
    told = length(value, unit, sign=True, decimals=4)
    return told if sigma is None else f"{told} ± {length(sigma, unit, decimals=4)}"


def _targets(name: str, entries: Sequence[Mapping[str, Any]], unit: LengthUnit) -> TextTable:
    rows = []
    for entry in entries:
        about = (printable(str(entry["id"])), f"{entry['pattern']} {entry['size_m']:g} m")
        if entry["refused"]:
            why = printable(str(entry["refused"]))
            rows.append((*about, f"refused: {why}", "-", "-", str(entry["points"])))
            continue
        rows.append(
            (
                *about,
                entry["seen_by"],
                _signed(entry["east_m"], entry["sigma_east_m"], unit),
                _signed(entry["north_m"], entry["sigma_north_m"], unit),
                str(entry["points"]),
            )
        )
    heads = ("id", "target", "seen by", "east", "north", "values on it")
    title = f"{printable(name)}: targets, measured minus surveyed, with standard errors"
    return TextTable(title, heads, tuple(rows), 3)


def _places(points: Sequence[Mapping[str, Any]], unit: LengthUnit) -> TextTable:
    rows = [
        (
            printable(str(point["id"])),
            printable(str(value["dataset"])),
            *(
                _signed(value[f"{axis}_m"], value[f"sigma_{axis}_m"], unit)
                for axis in ("east", "north", "up")
            ),
        )
        for point in points
        for value in point["values"]
    ]
    return TextTable(
        "The same places in all deliverables, minus surveyed, with standard errors",
        ("id", "deliverable", "east", "north", "up"),
        tuple(rows),
        2,
    )


def _pairs(together: Mapping[str, Any], unit: LengthUnit) -> TextTable:
    rows = [
        (
            f"{printable(pair['second'])} minus {printable(pair['first'])}",
            pair["component"],
            _signed(pair["mean_m"], pair["sigma_m"], unit),
            str(pair["points"]),
            "differs" if pair["differs"] else "agrees",
        )
        for pair in together.get("pairs") or ()
    ]
    for shift in together.get("grid_shifts") or ():
        rows += [
            (
                f"{printable(shift['raster'])} minus {printable(shift['cloud'])}",
                f"{axis}, from slopes",
                _signed(shift[f"{axis}_m"], shift[f"sigma_{axis}_m"], unit),
                str(shift["places"]),
                f"{abs(shift[f'{axis}_m']) / shift['cell_m']:.2f} cell",
            )
            for axis in ("east", "north")
        ]
    return TextTable(
        "Deliverables against each other: mean difference",
        ("difference", "component", "mean", "points", ""),
        tuple(rows),
        2,
    )


def _colours(colour: Mapping[str, Any], unit: LengthUnit) -> TextTable:
    rows = [
        (
            printable(name),
            _signed(its["east_m"], its["sigma_east_m"], unit),
            _signed(its["north_m"], its["sigma_north_m"], unit),
            str(its["patches"]),
            "aside" if its["differs"] else "in step",
        )
        for name, its in colour.items()
    ]
    heads = ("cloud", "east", "north", "patches", "")
    return TextTable("Colours minus intensities inside the cloud", heads, tuple(rows))
