"""``accuracy standards``: lists and explains, as text and as JSON."""

from __future__ import annotations

import json

import pytest

from accuracy.cli import run
from accuracy.standards.library import list_standards


def test_list_tells_every_standard(capsys: pytest.CaptureFixture[str]) -> None:
    """Every packaged document has a line; the JSON holds the same ids and counts of marks."""
    assert run(["standards"]) == 0
    text = capsys.readouterr().out
    assert run(["standards", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert [entry["id"] for entry in data] == [s.id for s in list_standards()]
    for entry in data:
        assert f"\n{entry['id']} " in text
        assert sum(entry["numbers"].values()) > 0


@pytest.mark.parametrize("id_", [s.id for s in list_standards()])
def test_one_is_explained(id_: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Every citation stands beside its mark, and every worked example comes out."""
    assert run(["standards", id_]) == 0
    text = capsys.readouterr().out
    its = next(s for s in list_standards() if s.id == id_)
    for measure in (*its.requirements, *its.reports):
        assert f"[{measure.verification}] {measure.cite}" in text
    assert "DOES NOT AGREE" not in text
    assert run(["standards", id_, "--json"]) == 0
    assert all(e["agrees"] for e in json.loads(capsys.readouterr().out)["worked_examples"])


def test_unknown_standard_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """A name that is none ends with 2 and tells the nearest."""
    assert run(["standards", "asprs-2042"]) == 2
    assert "asprs-2024" in capsys.readouterr().err
