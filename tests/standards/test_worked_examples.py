"""Every standard's own worked examples, read from its file: adding a standard adds its test."""

from __future__ import annotations

import pytest

from accuracy.standards.judge.examples import Recomputed, recompute
from accuracy.standards.library import list_standards

EXAMPLES = [
    pytest.param(done, id=f"{standard.id}: {done.example.name}")
    for standard in list_standards()
    for done in recompute(standard)
]


@pytest.mark.parametrize("done", EXAMPLES)
def test_worked_example(done: Recomputed) -> None:
    """The published (or derived) values come out to the last digit given, and each check as stated."""
    for wanted, found in done.values:
        assert found is not None
        assert abs(found - wanted.value) <= 0.5000001 * 10.0**-wanted.decimals
    assert dict(done.passes) == dict(done.example.passes)
    assert done.agrees
