"""Deciding a limit and showing the numbers: one function decides, one displays."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Literal

Operator = Literal["<=", "<"]


def within(value: float | Fraction, limit: float | Fraction, operator: Operator = "<=") -> bool:
    """Decide whether a value keeps a limit: unrounded, by the standard's own operator."""
    return value <= limit if operator == "<=" else value < limit


def _text(number: Fraction, decimals: int) -> str:
    scaled = round(number * 10**decimals)  # exact, half to even
    digits = str(abs(scaled)).rjust(decimals + 1, "0")
    sign = "-" if scaled < 0 else ""
    return f"{sign}{digits[:-decimals]}.{digits[-decimals:]}" if decimals else f"{sign}{digits}"


def show_both(
    value: float,
    limit: float,
    operator: Operator = "<=",
    decimals: int = 3,
    per_unit: Fraction = Fraction(1),
) -> tuple[str, str]:
    """Show a value and its limit with enough digits that the two texts give the verdict of the numbers.

    `value` and `limit` are in metres; `per_unit` is the length in metres of the unit to show them in.

    Examples
    --------
    >>> show_both(0.1000001, 0.1)
    ('0.1000001', '0.1000000')
    >>> show_both(0.0999999, 0.1)
    ('0.100', '0.100')
    """
    exact_value, exact_limit = Fraction(repr(value)) / per_unit, Fraction(repr(limit)) / per_unit
    truth = within(exact_value, exact_limit, operator)
    while True:
        texts = _text(exact_value, decimals), _text(exact_limit, decimals)
        if within(Fraction(texts[0]), Fraction(texts[1]), operator) == truth:
            return texts
        decimals += 1


#: Values with coarser last digits are rounded up when they are reported, in metres.
FINE_M = Fraction(1, 1000)

#: Noise of binary floating point, in units of the value shown; never rounded up to the next digit.
_NOISE = Fraction(1, 10**9)


def show_reported(
    value: float,
    limit: float | None = None,
    operator: Operator = "<=",
    decimals: int = 3,
    per_unit: Fraction = Fraction(1),
) -> tuple[str, str | None]:
    """Show an accuracy (never negative), and its limit, as a statement reports them.

    As `show_both`, but with at least two significant digits, and never better than it is: where the last
    digit is coarser than `FINE_M` (the coordinates have no more), the value is rounded up.

    Examples
    --------
    >>> show_reported(0.447, decimals=0)
    ('0.45', None)
    >>> show_reported(0.4411, decimals=0), show_reported(0.1412, decimals=2), show_reported(12.01, decimals=0)
    (('0.45', None), ('0.15', None), ('13', None))
    >>> show_reported(0.142, 0.144, decimals=2)
    ('0.142', '0.144')
    """
    exact_value = Fraction(repr(value)) / per_unit
    exact_limit = None if limit is None else Fraction(repr(limit)) / per_unit
    while True:
        shown = exact_value
        if per_unit > FINE_M * 10**decimals:
            shown = Fraction(math.ceil((exact_value - _NOISE) * 10**decimals), 10**decimals)
        text = _text(shown, decimals)
        limit_text = None if exact_limit is None else _text(exact_limit, decimals)
        clear = exact_value <= _NOISE or len(text.replace(".", "").lstrip("0")) >= 2
        if exact_limit is None or limit_text is None:
            consistent = True
        else:
            truth = within(exact_value, exact_limit, operator)
            consistent = within(Fraction(text), Fraction(limit_text), operator) == truth
        if clear and consistent:
            return text, limit_text
        decimals += 1


def show(
    value: float,
    limit: float | None = None,
    operator: Operator = "<=",
    decimals: int = 3,
    per_unit: Fraction = Fraction(1),
) -> str:
    """Show a value, rounded once, half to even, with more digits where rounding would hide the verdict."""
    if limit is None:
        return _text(Fraction(repr(value)) / per_unit, decimals)
    return show_both(value, limit, operator, decimals, per_unit)[0]
