"""What antenna height the processing used, and what it should have used."""

from __future__ import annotations

from dataclasses import dataclass

from accuracy.base_checks.antenna_heights import (
    same_value,
    to_arp_m,
    true_arp_m,
    used_for_solution,
)
from accuracy.base_checks.record import Height, Station, Vector

#: Two readings of one set-up agree to this (common practice, no source).
READINGS_AGREE_M = 0.003
#: Heights typed by people are compared to this.
SAME_M = 0.001
#: A mistake larger than this moves the deliverable by what a survey sees (common practice, no source).
MATTERS_M = 0.010


@dataclass(frozen=True)
class Used:
    """Position of the antenna reference point over the mark as the processing had it; `said` tells by whom."""

    arp: Vector
    said: str
    stated: bool


def readings_m(station: Station) -> tuple[float | None, float | None]:
    """Give the heights of the reference point by both readings."""
    return true_arp_m(station, station.height), true_arp_m(station, station.second)


def true_m(station: Station) -> float | None:
    """Give the height of the reference point over the mark; None where it is not known or readings disagree.

    That of the site log counts where nobody measured.
    """
    first, second = readings_m(station)
    if first is None and station.height is not None:
        return None
    if first is None:
        entry = logged(station)
        return second if second is not None else entry and entry[2]
    if second is None:
        return first
    return (first + second) / 2.0 if abs(first - second) <= READINGS_AGREE_M else None


def logged(station: Station) -> tuple[float, float, float] | None:
    """Give east, north, up from the mark to the reference point by the site log, at the time of the record."""
    log, header = station.site_log, station.header
    if log is None:
        return None
    when = header.first.when if header is not None and header.first is not None else None
    entry = log.at(when) if when is not None else (log.antennas[-1] if log.antennas else None)
    if entry is None or entry.up_m is None:
        return None
    return entry.east_m or 0.0, entry.north_m or 0.0, entry.up_m


def true_vector(station: Station, up_m: float) -> Vector:
    """Give the reference point over the mark: centred, unless the site log says otherwise."""
    entry = logged(station)
    east_m, north_m = (entry[0], entry[1]) if entry else (0.0, 0.0)
    return Vector(east_m, north_m, up_m)


def arp_of(station: Station, height: Height) -> float | None:
    """Give the height of the reference point that a program makes of what it was told."""
    one = same_value(used_for_solution(station))
    return to_arp_m(height, None if one is None else one.up_m)


def used(station: Station) -> Used | None:
    """Give what the processing used: as stated, else what the header says, which programs take by default."""
    if station.given is not None:
        up_m = arp_of(station, station.given)
        if up_m is None:
            return None
        entry = logged(station)
        east_m, north_m = (entry[0], entry[1]) if entry else (0.0, 0.0)
        return Used(
            Vector(east_m, north_m, up_m),
            f"the processing was given {station.given.written}",
            True,
        )
    header = station.header
    if header is None or header.delta_hen_m is None:
        return None
    up_m, east_m, north_m = header.delta_hen_m
    return Used(
        Vector(east_m, north_m, up_m),
        f"{station.header_name} says {up_m:.4f} m, which programs take unless told otherwise",
        False,
    )


def solution_error_m(station: Station) -> float:
    """Give by how much the height behind an own solution was wrong; 0 where there is none or it is not known.

    Coordinates solved with a height that is too large by this are too low by this.
    """
    held, right = station.held, true_m(station)
    if held is None or held.origin != "own-solution" or held.solved_with is None or right is None:
        return 0.0
    solved = arp_of(station, held.solved_with)
    return 0.0 if solved is None else solved - right
