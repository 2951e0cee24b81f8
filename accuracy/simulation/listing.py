"""What `accuracy simulate --list` prints."""

from __future__ import annotations

import textwrap

from accuracy.simulation.fault_record import Family, Fault
from accuracy.simulation.faults import FAULTS, UNITS
from accuracy.simulation.scenarios import SCENARIOS

WIDTH = 96
_HEADINGS: dict[Family, str] = {
    "map": "Fixed to the map: the same whatever the heading",
    "body": "Fixed to the aircraft: turning with the heading; judge by flight line",
    "survey": "In the survey",
    "raster": "In the elevation raster only",
    "camera": "In the colours only",
    "time": "In the time tags only",
}


def size_text(name: str, size: float) -> str:
    """Write a size in the fault's own unit."""
    unit = FAULTS[name].unit
    text = f"{size:.9g}"
    return {
        "times": f"{text} x",
        "cells": f"{text} cells",
        "ratio": f"{size * 100:.9g} %",
    }.get(unit, f"{text} {unit}")


def listing() -> str:
    """Explain all scenarios and faults."""
    lines = ["Scenarios", ""]
    for each in SCENARIOS.values():
        terrain = each.landscape.terrain
        tested = [mark for mark in each.marks if not mark.control]
        targets = sum(bool(mark.target) for mark in tested)
        lines.append(f"  {each.name}")
        facts = (
            f"{each.about}. {terrain.width_m:.0f} x {terrain.depth_m:.0f} m, {len(each.passes)} passes, "
            f"{len(tested)} checkpoints, {targets} of them targets; {each.site.crs}."
        )
        lines += _wrapped(facts[0].upper() + facts[1:], "    ")
    lines += [
        "",
        "Faults: --fault NAME=SIZE, several at a time. Residuals are deliverable minus checkpoint,",
        "east, north, up. Causes that look alike are told apart as the last line of each says.",
    ]
    for family, heading in _HEADINGS.items():
        lines += ["", heading, ""]
        for fault in FAULTS.values():
            if fault.family == family:
                lines += _fault(fault)
    return "\n".join([*lines, ""])


def _fault(fault: Fault) -> list[str]:
    units = ", ".join(unit for unit in UNITS[fault.unit] if unit) or "none"
    lines = [f"  {fault.name}={fault.example}    (unit: {units})"]
    for label, text in (
        ("", fault.what),
        ("sign    ", fault.sign),
        ("vector  ", fault.vector),
        ("you see ", fault.seen),
        ("like    ", fault.alike),
    ):
        lines += textwrap.wrap(
            f"{label}{text}",
            WIDTH,
            initial_indent="    ",
            subsequent_indent="    " + " " * len(label),
        )
    return [*lines, ""]


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)
