"""The usual mistakes with times, by what they amount to."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from accuracy.gps_time import ADJUSTED_S, DAY_S, UNIX_S, WEEK_S, leap_seconds
from accuracy.job.trajectory_section import TimeSystem

HOUR_S = 3600
#: GPS receivers count weeks in ten bits and start again (IS-GPS-200; from memory).
ROLLOVER_WEEKS = 1024

_WORDS = {
    "gps-seconds-of-week": "seconds of the GPS week",
    "gps-adjusted-standard": "adjusted standard GPS time",
    "gps-seconds": "GPS seconds",
    "utc": "UTC",
    "unix": "seconds since 1970 (Unix time)",
}


@dataclass(frozen=True)
class Usual:
    """A usual mistake: `offset_s` added to the trajectory's times undoes it."""

    offset_s: float
    words: str


def usual_mistakes(
    declared: TimeSystem,
    written: float | None,
    declared_s: float,
    other_s: float,
    other: str,
    modulo_week: bool = False,
) -> tuple[Usual, ...]:
    """List the usual mistakes, the simplest first.

    Parameters
    ----------
    declared : str
        What the trajectory's times are said to be.
    written, declared_s : float
        One time as written (None for utc), and the GPS seconds that follow from it.
    other_s : float
        GPS seconds at the other side, about.
    other : str
        The other side, in words: ``the cloud``.
    modulo_week : bool
        The other side has seconds of the week: whole weeks cannot be told.
    """
    found = []
    seen: set[float] = set()
    for usual in _all(declared, written, declared_s, other_s, other):
        offset_s = usual.offset_s
        if modulo_week:
            offset_s -= round(offset_s / WEEK_S) * float(WEEK_S)
        if offset_s and offset_s not in seen:
            seen.add(offset_s)
            found.append(Usual(offset_s, usual.words))
    return tuple(found)


def _all(
    declared: TimeSystem, written: float | None, declared_s: float, other_s: float, other: str
) -> Iterator[Usual]:
    leap = leap_seconds(other_s)
    if declared == "utc":
        yield Usual(-leap, f"the trajectory's dates are GPS time, not UTC ({leap} s)")
        yield Usual(leap, f"leap seconds were taken off the trajectory's UTC once more ({leap} s)")
    else:
        yield Usual(leap, f"the trajectory's times are UTC, not GPS time ({leap} s)")
        yield Usual(
            -leap,
            f"times of {other} are UTC, not GPS time, or leap seconds were added to the trajectory's GPS time "
            f"({leap} s)",
        )
    if written is not None:
        yield from _other_systems(declared, written, declared_s, other_s, leap)
    for days in range(1, 7):
        plural = "s" if days > 1 else ""
        yield Usual(days * DAY_S, f"the trajectory's times are {days} day{plural} early")
        yield Usual(-days * DAY_S, f"the trajectory's times are {days} day{plural} late")
    for weeks in (*range(1, 53), ROLLOVER_WEEKS):
        plural = "s" if weeks > 1 else ""
        rolled = ", at which receivers start counting again" if weeks == ROLLOVER_WEEKS else ""
        words = f"{weeks} week{plural}"
        yield Usual(weeks * WEEK_S, f"the trajectory's times are {words} early{rolled}")
        yield Usual(-weeks * WEEK_S, f"the trajectory's times are {words} late{rolled}")
    for hours in range(1, 15):
        ahead = f"the trajectory's times are local time, {hours} h ahead of"
        behind = f"the trajectory's times are local time, {hours} h behind"
        if declared != "utc":
            yield Usual(leap - hours * HOUR_S, f"{ahead} UTC, taken for GPS time")
            yield Usual(leap + hours * HOUR_S, f"{behind} UTC, taken for GPS time")
        yield Usual(-hours * HOUR_S, f"{ahead} what they are declared to be")
        yield Usual(hours * HOUR_S, f"{behind} what they are declared to be")


def _other_systems(
    declared: TimeSystem, written: float, declared_s: float, other_s: float, leap: int
) -> Iterator[Usual]:
    """Give what it amounts to that times are another system than declared; also by the leap seconds beside."""
    week_start_s = round((other_s - written) / WEEK_S) * float(WEEK_S)
    values = {
        "gps-seconds-of-week": written + week_start_s,
        "gps-adjusted-standard": written + ADJUSTED_S,
        "gps-seconds": written,
        "unix": written - UNIX_S + leap,
    }
    if not -DAY_S <= written <= WEEK_S + DAY_S:
        del values["gps-seconds-of-week"]
    for system, value_s in values.items():
        if system != declared:
            words = f"the trajectory's times are {_WORDS[system]}, not {_WORDS[declared]}"
            yield Usual(value_s - declared_s, words)
            if system != "unix":
                more = f"{words}, and UTC, not GPS time ({leap} s)"
                yield Usual(value_s - declared_s + leap, more)
