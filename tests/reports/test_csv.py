from __future__ import annotations

import pytest

from accuracy.reports.as_csv import safe


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "|", "%"])
def test_text_that_could_run_is_marked_as_text(start: str) -> None:
    """Every start of a formula known to spreadsheets gets an apostrophe in front."""
    assert safe(f"{start}1") == f"'{start}1"


def test_other_text_stays_as_it_is() -> None:
    """No apostrophe where none is needed."""
    assert safe("CP-01 = good") == "CP-01 = good"
