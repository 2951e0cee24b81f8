"""Every fault that can be put into a simulated flight, by name, and how sizes are read."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from accuracy.errors import UsageError
from accuracy.simulation.fault_record import Array, Dataset, Family, Fault, Unit, Where
from accuracy.simulation.faults_of_base import BASE_FAULTS
from accuracy.simulation.faults_of_body import BODY_FAULTS
from accuracy.simulation.faults_of_map import MAP_FAULTS
from accuracy.simulation.faults_of_survey import OTHER_FAULTS

__all__ = ["FAULTS", "Family", "Fault", "Unit", "Where", "checked", "parse_fault", "predicted_m"]

FAULTS: Mapping[str, Fault] = MappingProxyType(
    {fault.name: fault for fault in (*BASE_FAULTS, *MAP_FAULTS, *BODY_FAULTS, *OTHER_FAULTS)}
)

#: Unit as typed -> factor to the fault's own unit.
UNITS: Mapping[Unit, Mapping[str, float]] = MappingProxyType(
    {
        "m": {"m": 1.0, "cm": 0.01, "mm": 0.001},
        "deg": {"deg": 1.0, "mdeg": 0.001},
        "s": {"s": 1.0, "ms": 0.001, "us": 1e-6},
        "ratio": {"%": 0.01, "ppm": 1e-6},
        "ppm": {"ppm": 1.0},
        "yr": {"yr": 1.0},
        "times": {"": 1.0, "x": 1.0},
        "cells": {"": 1.0, "cells": 1.0},
    }
)
_SIZE = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([a-zA-Z%]*)", re.ASCII)


def parse_fault(text: str) -> tuple[str, float]:
    """Read ``NAME=SIZE``.

    Returns
    -------
    tuple of str and float
        Name, and size in the fault's own unit (`Fault.unit`).

    Raises
    ------
    UsageError
        The name is unknown, or the size is no number, lacks its unit, or is absurd.

    Examples
    --------
    >>> parse_fault("base-slant=44mm")
    ('base-slant', 0.044)
    """
    name, equals, size = (part.strip() for part in text.partition("="))
    fault = _fault(name)
    if not equals or not size:
        raise UsageError(
            f"the fault {name} has no size", remedy=f"write --fault {name}={fault.example}"
        )
    match = _SIZE.fullmatch(size)
    if match is None:
        raise UsageError(
            f"the size {size!r} of the fault {name} is not a number with a unit",
            remedy=f"write --fault {name}={fault.example}",
        )
    factors = UNITS[fault.unit]
    unit = match[2] if match[2] in factors else match[2].lower()
    if unit not in factors:
        known = ", ".join(each or "no unit" for each in factors)
        found = f"has the unit {match[2]!r}" if unit else "has no unit"
        raise UsageError(
            f"the size {size!r} of the fault {name} {found}",
            remedy=f"its units are {known}: write --fault {name}={fault.example}",
        )
    # through decimal text, so that 44mm is 0.044 to the last bit
    value = float(f"{float(match[1]) * factors[unit]:.12g}")
    checked({name: value})
    return name, value


def checked(faults: Mapping[str, float]) -> Mapping[str, float]:
    """Check names and sizes (in the faults' own units); give them in the order of the registry.

    Raises
    ------
    UsageError
        As `parse_fault`.
    """
    for name, size in faults.items():
        fault = _fault(name)
        unit = "" if fault.unit in ("times", "cells") else f" {fault.unit}"
        if not math.isfinite(size) or abs(size) > fault.largest:
            raise UsageError(
                f"the size {size:g}{unit} of the fault {name} is beyond "
                f"{fault.largest:g}{unit}, which is taken for a slip",
                remedy=f"a typical size is {fault.example}",
            )
        if fault.whole and size != round(size):
            raise UsageError(
                f"the size {size:g} of the fault {name} is no whole number",
                remedy=f"{fault.sign}",
            )
    return {name: float(faults[name]) for name in FAULTS if faults.get(name)}


def predicted_m(faults: Mapping[str, float], where: Where, dataset: Dataset = "cloud") -> Array:
    """Residuals that faults make, deliverable minus checkpoint: east, north, up, shape (n, 3), metres.

    Closed forms, to first order in the sizes; for `dataset` "colour" the place where colours are.
    """
    total = where.vector(0.0, 0.0, 0.0)
    for name, size in checked(faults).items():
        fault = FAULTS[name]
        if dataset in fault.reaches:
            total = total + fault.vector_m(size, where)
    return np.asarray(total)


def _fault(name: str) -> Fault:
    if name in FAULTS:
        return FAULTS[name]
    close = difflib.get_close_matches(name.lower(), FAULTS, 1, 0.5)
    hint = f"; did you mean {close[0]}?" if close else ""
    raise UsageError(
        f"there is no fault {name!r}{hint}", remedy="accuracy simulate --list tells all of them"
    )


def map_shift_m(faults: Mapping[str, float], where: Where) -> Array:
    """Sum of the vectors of all faults of family map: what moves the whole deliverable."""
    return predicted_m(
        {name: size for name, size in faults.items() if FAULTS[name].family == "map"}, where
    )
