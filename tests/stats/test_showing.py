"""Deciding and showing: the two may never contradict each other."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from typing import Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from accuracy.stats import show, show_both, within
from accuracy.units import LengthUnit


@pytest.mark.parametrize(
    ("value", "limit", "operator", "text", "limit_text"),
    [
        (0.1, 0.1, "<=", "0.100", "0.100"),
        (0.1, 0.1, "<", "0.100", "0.100"),
        (0.0999999, 0.1, "<=", "0.100", "0.100"),
        (0.0999999, 0.1, "<", "0.0999999", "0.1000000"),
        (0.1000001, 0.1, "<=", "0.1000001", "0.1000000"),
        (0.1004, 0.1, "<=", "0.1004", "0.1000"),
        (0.2, 0.1, "<=", "0.200", "0.100"),
        (0.0196, 0.0, "<=", "0.020", "0.000"),
        (math.nextafter(0.1, 1), 0.1, "<=", "0.10000000000000002", "0.10000000000000000"),
    ],
)
def test_table(
    value: float, limit: float, operator: Literal["<=", "<"], text: str, limit_text: str
) -> None:
    """Values on both sides of a limit are printed so that the printed verdict is the true one."""
    assert show_both(value, limit, operator) == (text, limit_text)
    assert show(value, limit, operator) == text


@given(
    st.floats(0.0, 2.0),
    st.floats(0.0, 2.0),
    st.sampled_from(["<=", "<"]),
    st.integers(0, 4),
    st.sampled_from(list(LengthUnit)),
)
def test_texts_decide_like_the_numbers(
    value: float, limit: float, operator: Literal["<=", "<"], decimals: int, unit: LengthUnit
) -> None:
    """In any unit and with any decimals, comparing the printed texts gives the verdict of the numbers."""
    for near in (limit, math.nextafter(limit, 0), math.nextafter(limit, 9), value):
        texts = show_both(near, limit, operator, decimals, unit.metres)
        printed = within(Fraction(texts[0]), Fraction(texts[1]), operator)
        assert printed == within(near, limit, operator)


@given(st.floats(-1e4, 1e4), st.integers(0, 6))
def test_rounds_once_half_to_even(value: float, decimals: int) -> None:
    """A value without limit is rounded as the decimal module rounds its shortest decimal form."""
    wanted = Decimal(repr(value)).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_EVEN)
    text = show(value, decimals=decimals)
    assert Decimal(text) == wanted
    assert len(text.partition(".")[2]) == decimals


def test_known_roundings() -> None:
    """Half goes to the even digit, and nothing is printed as minus zero."""
    assert show(0.0625) == "0.062"
    assert show(0.0635) == "0.064"
    assert show(-0.0001) == "0.000"
    assert show(-0.0316) == "-0.032"
    assert show(12.5, decimals=0) == "12"


def test_feet() -> None:
    """A tenth of a metre is 0.328 international feet (1 ft = 0.3048 m exactly) and 10.0 cm."""
    assert show(0.1, per_unit=LengthUnit.FOOT.metres) == "0.328"
    assert show(0.1, decimals=1, per_unit=Fraction(1, 100)) == "10.0"
