"""Rules for single values of a job, wherever they are written: in the job file or in a column of a table."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from types import MappingProxyType

#: Kind of dataset -> ways to take its height at a place; the first is the default.
HEIGHT_METHODS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "point-cloud": ("tin", "plane", "neighbourhood-mean", "nearest"),
        "raster": ("bilinear", "nearest"),
        "measured-points": (),
        "orthophoto": (),
    }
)
#: Keys of a dataset that belong to some kinds only.
KINDS_OF_KEY: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "height": ("point-cloud", "raster"),
        "ground_classes": ("point-cloud",),
        "max_circumradius_m": ("point-cloud",),
        "design_anps_m": ("point-cloud",),
        "neighbourhood_shape": ("point-cloud",),
        "neighbourhood_across_m": ("point-cloud",),
        "neighbourhood_across_spacings": ("point-cloud",),
        "neighbourhood_least_points": ("point-cloud",),
        "band": ("raster",),
        "targets": ("point-cloud",),
    }
)
#: Height methods that take the points of a neighbourhood -> fewest points that a job may ask for.
OF_NEIGHBOURHOOD: Mapping[str, int] = MappingProxyType({"plane": 4, "neighbourhood-mean": 3})
FIRST_EPOCH_YEAR = 1980


def epoch_mistake(epoch_year: float) -> str | None:
    """Tell what is wrong with a coordinate epoch, or None.

    Parameters
    ----------
    epoch_year : float
        Should be a decimal year, from 1980 to the end of this year.
    """
    last = date.today().year + 1
    if FIRST_EPOCH_YEAR <= epoch_year <= last:
        return None
    if math.isfinite(epoch_year) and 19_000_101 <= epoch_year <= 21_001_231:
        hint = f"this looks like a date; its decimal year is about {_year_of_date(epoch_year):.3f}"
    elif 0 <= epoch_year < 100:
        hint = f"write the year in full, such as {2000 + epoch_year:.1f}"
    else:
        hint = "such as 2010.0"
    return f"must be a decimal year from {FIRST_EPOCH_YEAR} to {last}; {hint}"


def _year_of_date(yyyymmdd: float) -> float:
    """Decimal year of a date written as one number, to about a day."""
    year, rest = divmod(int(yyyymmdd), 10_000)
    month, day = divmod(rest, 100)
    return year + min(max((month - 1) * 30.4375 + day - 1, 0), 365) / 365.25


def order_mistake(order: str) -> str | None:
    """Tell what is wrong with an order of columns, or None.

    Parameters
    ----------
    order : str
        Letters P (point), N (northing), E (easting), Z (height), D (description), in any case.

    Examples
    --------
    >>> order_mistake("PENZ") is None
    True
    >>> order_mistake("PNED")
    'Z is missing; each of P N E Z once, D at most once'
    """
    letters = order.upper()
    wrong = [
        f"{letter!r} means nothing" for letter in dict.fromkeys(letters) if letter not in "PNEZD"
    ]
    wrong += [f"{letter} is missing" for letter in "PNEZ" if letter not in letters]
    wrong += [f"{letter} stands there twice" for letter in "PNEZD" if letters.count(letter) > 1]
    return f"{', '.join(wrong)}; each of P N E Z once, D at most once" if wrong else None
