"""Units of length: the only conversions in the package.

References
----------
International foot, exactly 0.3048 m, and US survey foot, exactly 1200/3937 m: the definitions of 1959
(Federal Register 59-5442; from memory). The tests compare them with PROJ's table of units.
"""

from __future__ import annotations

from enum import StrEnum
from fractions import Fraction
from typing import TYPE_CHECKING, overload

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


class LengthUnit(StrEnum):
    """A unit of length. A bare "foot" means the international foot; the other is always named in full."""

    METRE = "metre"
    FOOT = "foot"
    US_SURVEY_FOOT = "us-survey-foot"

    @property
    def metres(self) -> Fraction:
        """Length of one unit in metres, exact."""
        return _METRES[self]

    @property
    def symbol(self) -> str:
        """Short form for tables; never a bare "ft"."""
        return _SYMBOLS[self]

    @property
    def print_name(self) -> str:
        """Name for prose, plural."""
        return _PRINT_NAMES[self]

    @property
    def epsg(self) -> int:
        """EPSG code of the unit of measure."""
        return _EPSG[self]


_METRES = {
    LengthUnit.METRE: Fraction(1),
    LengthUnit.FOOT: Fraction(3048, 10000),
    LengthUnit.US_SURVEY_FOOT: Fraction(1200, 3937),
}
_SYMBOLS = {
    LengthUnit.METRE: "m",
    LengthUnit.FOOT: "ft (int.)",
    LengthUnit.US_SURVEY_FOOT: "ft (US survey)",
}
_PRINT_NAMES = {
    LengthUnit.METRE: "metres",
    LengthUnit.FOOT: "international feet",
    LengthUnit.US_SURVEY_FOOT: "US survey feet",
}
_EPSG = {LengthUnit.METRE: 9001, LengthUnit.FOOT: 9002, LengthUnit.US_SURVEY_FOOT: 9003}


def unit_of_epsg(code: int) -> LengthUnit | None:
    """Give the unit with this EPSG unit-of-measure code, or None when it is none of the three."""
    return next((unit for unit, its in _EPSG.items() if its == code), None)


def unit_of_factor(metres_per_unit: float) -> LengthUnit | None:
    """Give the unit whose length in metres is this factor, or None.

    The two feet differ by 2 parts per million; a factor must agree to 1 part in 10 million.
    """
    for unit in LengthUnit:
        if abs(metres_per_unit / float(unit.metres) - 1.0) < 1e-7:
            return unit
    return None


@overload
def to_metres(value: float, unit: LengthUnit) -> float: ...
@overload
def to_metres(value: NDArray[np.float64], unit: LengthUnit) -> NDArray[np.float64]: ...
def to_metres(value: float | NDArray[np.float64], unit: LengthUnit) -> float | NDArray[np.float64]:
    """Convert a length in `unit` to metres."""
    ratio = unit.metres
    return value if ratio == 1 else value * ratio.numerator / ratio.denominator


@overload
def from_metres(value_m: float, unit: LengthUnit) -> float: ...
@overload
def from_metres(value_m: NDArray[np.float64], unit: LengthUnit) -> NDArray[np.float64]: ...
def from_metres(
    value_m: float | NDArray[np.float64], unit: LengthUnit
) -> float | NDArray[np.float64]:
    """Convert a length in metres to `unit`."""
    ratio = unit.metres
    return value_m if ratio == 1 else value_m * ratio.denominator / ratio.numerator
