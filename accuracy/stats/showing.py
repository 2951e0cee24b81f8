"""Deciding a limit and showing the numbers: one function decides, one displays."""

from __future__ import annotations

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
