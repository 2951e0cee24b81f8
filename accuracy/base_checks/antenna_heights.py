"""The chain from the mark to the phase centre: closed forms, and the chain in words.

References
----------
Slant to vertical, ``sqrt(s^2 - R^2) - o``: Pythagoras. Phase centre = reference point + offset: ANTEX 1.4. The
ionosphere-free combination of two carriers weighs them by f1^2 / (f1^2 - f2^2) and its complement; GPS carriers
are 154 and 120 times 10.23 MHz (interface specification of GPS; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from accuracy.base_checks.record import Antenna, Height, Station, Vector, length
from accuracy.formats.antex import AntexAnswer, AntexAntenna

#: 154^2 / (154^2 - 120^2): weight of L1 in the ionosphere-free combination.
IONOSPHERE_FREE_L1 = 154**2 / (154**2 - 120**2)
IONOSPHERE_FREE = "ionosphere-free"
_L1, _L2 = ("G01", "E01", "J01"), ("G02", "J02")


def slant_to_arp_m(slant_m: float, radius_m: float, offset_m: float) -> float | None:
    """Reduce a slant height to the vertical height of the antenna reference point; None where impossible.

    Parameters
    ----------
    slant_m : float
        From the mark to the rim mark.
    radius_m : float
        Horizontal distance of the rim mark from the axis.
    offset_m : float
        Height of the rim mark above the antenna reference point; negative below.

    Examples
    --------
    >>> round(slant_to_arp_m(1.8527, 0.1905, 0.0350), 4)
    1.8079
    """
    if slant_m <= radius_m:
        return None
    return math.sqrt(slant_m**2 - radius_m**2) - offset_m


def to_arp_m(height: Height, centre_up_m: float | None = None) -> float | None:
    """Give the vertical height of the antenna reference point over the mark; None where it does not follow.

    Parameters
    ----------
    centre_up_m : float, optional
        Height of the phase centre above the reference point, for heights to the phase centre.
    """
    if height.kind == "slant":
        if height.radius_m is None or height.offset_m is None:
            return None
        return slant_to_arp_m(height.value_m, height.radius_m, height.offset_m)
    if height.to == "arp":
        return height.value_m
    if height.to == "rim":
        return None if height.offset_m is None else height.value_m - height.offset_m
    return None if centre_up_m is None else height.value_m - centre_up_m


def calibration(answer: AntexAnswer | None) -> AntexAntenna | None:
    """Give the calibration found, if need be that without radome."""
    return None if answer is None else answer.antenna or answer.without_radome


def phase_centres(antenna: AntexAntenna | None) -> Mapping[str, Vector]:
    """Give the offsets of the phase centre in metres: by frequency, and for the ionosphere-free combination."""
    if antenna is None:
        return {}
    centres = {
        o.frequency: Vector(o.east_mm / 1000.0, o.north_mm / 1000.0, o.up_mm / 1000.0)
        for o in antenna.offsets
    }
    one, two = centres.get("G01"), centres.get("G02")
    if one is not None and two is not None:
        centres[IONOSPHERE_FREE] = Vector(
            *(
                IONOSPHERE_FREE_L1 * (a or 0.0) - (IONOSPHERE_FREE_L1 - 1.0) * (b or 0.0)
                for a, b in zip(one.values, two.values, strict=True)
            )
        )
    return centres


def of_frequency(centres: Mapping[str, Vector], frequency: str | None) -> tuple[str, Vector] | None:
    """Take the offset that a solution rests on (``L1``, ``L2``, ``ionosphere-free``), with its name."""
    names = {"L1": _L1, "L2": _L2, IONOSPHERE_FREE: (IONOSPHERE_FREE,)}.get(frequency or "", ())
    return next(((name, centres[name]) for name in names if name in centres), None)


def used_for_solution(station: Station) -> Mapping[str, Vector]:
    """Give the offsets of the station's antenna that come into question: one where the frequency is stated."""
    centres = phase_centres(calibration(station.antex))
    chosen = of_frequency(centres, station.frequency)
    return centres if chosen is None else {chosen[0]: chosen[1]}


def same_value(vectors: Mapping[str, Vector], within_m: float = 0.001) -> Vector | None:
    """Give the one vector that all of them are, to a millimetre; None where they differ or there is none."""
    values = list(vectors.values())
    if not values:
        return None
    for axis in range(3):
        numbers = [v.values[axis] or 0.0 for v in values]
        if max(numbers) - min(numbers) > within_m:
            return None
    return values[0]


def true_arp_m(station: Station, reading: Height | None) -> float | None:
    """Give the height of the reference point that a reading stands for."""
    if reading is None:
        return None
    centre = None
    if reading.to == "phase-centre":
        one = same_value(used_for_solution(station))
        centre = None if one is None else one.up_m
    return to_arp_m(reading, centre)


def chain_words(station: Station) -> tuple[str, ...]:
    """Say how the antenna stands over the mark, link by link."""
    lines = []
    for label, reading in (("measured", station.height), ("second reading", station.second)):
        if reading is None:
            continue
        arp_m = true_arp_m(station, reading)
        by = f" by {reading.by}" if reading.by else ""
        told = f"{label}{by}: {described(reading)}"
        reduced = reading.to != "arp"
        if arp_m is None:
            told += "; no height of the reference point follows from it"
        elif reduced:
            told += f"; reference point {arp_m:.4f} m over the mark"
        lines.append(told)
    if station.given is not None:
        lines.append(f"processing was given: {described(station.given)}")
    if station.header is not None and station.header.delta_hen_m is not None:
        up, east, north = station.header.delta_hen_m
        lines.append(
            f"{station.header_name} says: height {up:.4f}, east {east:.4f}, north {north:.4f} m"
        )
    for name, offset in used_for_solution(station).items():
        lines.append(
            f"phase centre {name}: {length(offset.up_m or 0.0)} above the reference point"
            f" (east {length(offset.east_m or 0.0)}, north {length(offset.north_m or 0.0)})"
        )
    return tuple(lines)


def described(height: Height) -> str:
    """Describe a height: number, kind, where it ends."""
    ends = {"arp": "the reference point", "rim": "the rim", "phase-centre": "the phase centre"}
    text = f"{height.written}, {height.kind}, to {ends[height.to]}"
    if height.to == "rim":
        text += f" (rim {length(height.offset_m or 0.0)} from the reference point"
        text += f", radius {height.radius_m:.4f} m)" if height.radius_m is not None else ")"
    return text


def same_antenna(one: Antenna, other: Antenna) -> bool:
    """Whether two antennas have the same codes; no radome stated counts as none."""
    return one.name.upper() == other.name.upper() and (one.radome or "NONE") == (
        other.radome or "NONE"
    )
