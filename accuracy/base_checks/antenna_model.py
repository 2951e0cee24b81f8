"""The antenna whose calibration was applied against the antenna on the mark: offset used minus true."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from accuracy.base_checks.antenna import NAMELESS
from accuracy.base_checks.antenna_heights import (
    calibration,
    of_frequency,
    phase_centres,
    same_antenna,
    same_value,
)
from accuracy.base_checks.record import Antenna, BaseCheck, Candidate, Station, Vector, shown
from accuracy.base_checks.used_height import MATTERS_M, SAME_M
from accuracy.findings import Severity
from accuracy.formats.antex import split_antenna


def model_used(station: Station) -> tuple[Antenna, str] | None:
    """Give the antenna whose calibration was applied, and who says so; None where nobody does."""
    if station.model is not None:
        return station.model, "the processing used"
    header = station.header
    if header is None:
        return None
    named = Antenna(*split_antenna(header.antenna_field))
    if named.name.upper() in NAMELESS:
        return None
    return named, f"{station.header_name} names, and programs take unless told otherwise,"


def check(station: Station) -> Iterator[BaseCheck]:
    """Give the difference of the offsets, by frequency where it is not stated on what the solution rests."""
    said, antenna = model_used(station), station.antenna
    if said is None or antenna is None or antenna.name.upper() in NAMELESS:
        return
    model, who = said
    if model.name and same_antenna(model, antenna):
        return
    right = phase_centres(calibration(station.antex))
    wrong: Mapping[str, Vector]
    if model.name:
        wrong = phase_centres(calibration(station.antex_model))
        what = f"{who} the calibration of {model.full}; on the mark is {antenna.full}"
        cause = "antenna-model-wrong"
    else:
        wrong = {name: Vector(0.0, 0.0, 0.0) for name in right}
        what = f"{who} no calibration for {antenna.full} at the base"
        cause = "antenna-model-none"
    shifts = {
        name: wrong[name].plus(Vector(*(-(value or 0.0) for value in right[name].values)))
        for name in right
        if name in wrong
    }
    chosen = of_frequency(shifts, station.frequency)
    if chosen is not None:
        shifts = {chosen[0]: chosen[1]}
    effect = same_value(shifts)
    candidates = tuple(
        Candidate(cause, f"a solution on {name}: {shown(shift)}", shift)
        for name, shift in shifts.items()
    )
    if not shifts:
        what += "; by how much their phase centres differ is not known: the ANTEX file does not hold both"
    elif effect is None:
        what += f"; by frequency: {'; '.join(c.what for c in candidates)}"
    size_m = max((shift.size_m for shift in shifts.values()), default=MATTERS_M + SAME_M)
    yield BaseCheck(
        "base-antenna-model",
        cause,
        Severity.BLOCKING
        if size_m > MATTERS_M and shifts
        else (Severity.WARNING if size_m > SAME_M else Severity.NOTE),
        what
        + (
            ". Where the rover had no calibration either, the two offsets partly cancel"
            if not model.name
            else ""
        ),
        effect=effect,
        consistent_with=() if effect is not None else candidates,
        remedy="process again with the calibration of the antenna on the mark, absolute, at both ends",
        part="antenna",
    )
