"""A few flights of the simulator with known faults; the whole table is ``tests/benchmarks/diagnosis.py``.

The catalogue's predictions stand on closed forms and on the layers of reference systems; the simulator turns
rays by its own rigorous equations and carries its own parameters of frames. Neither imports the other.
"""

from __future__ import annotations

import ast
from collections.abc import Mapping
from pathlib import Path

import pytest
from diagnosis_cases import run

import accuracy.diagnosis

CASES: tuple[tuple[str, Mapping[str, float], str], ...] = (
    ("flat", {}, "nothing"),
    ("hills", {}, "nothing"),
    ("two-heights", {"boresight-roll": -0.06}, "named"),
    ("two-heights", {"clock-offset": 0.040}, "named"),
    ("flat", {"frame": 1.0}, "named"),
    ("corridor", {"frame-older": 1.0}, "named"),
    ("hills", {"geoid-omitted": 1.0}, "named"),
    ("flat", {"feet-heights": 1.0}, "named"),
    ("flat", {"base-slant": 0.060}, "named"),
    ("flat", {"base-up": -0.090}, "listed"),
    ("flat", {"survey-session": 0.060}, "listed"),
    ("hills", {"half-cell": 0.5}, "listed"),
)


@pytest.mark.parametrize(
    ("scenario", "faults", "expected"),
    CASES,
    ids=lambda value: "+".join(value) or "none" if isinstance(value, dict) else None,
)
def test_what_was_put_in_is_found(
    scenario: str, faults: Mapping[str, float], expected: str, tmp_path: Path
) -> None:
    """A fault well above its floor is named, or listed where others look alike; without one nothing is."""
    case = run(scenario, faults, 91_000, 0.0, tmp_path)
    assert not case.wrong_name
    if expected == "nothing":
        assert case.listed == ()
    elif expected == "named":
        assert len(case.named) == 1
        assert case.in_list
        if case.sigma is not None and case.value is not None and case.truth is not None:
            assert abs(case.value - case.truth) <= 3.0 * case.sigma
    else:
        assert case.in_list


def test_terrain_followed_takes_nothing_from_a_clock(tmp_path: Path) -> None:
    """An aircraft that climbs with the ground shows little of a clock in heights; its size is right.

    Heights predicted for a level flight made it 10 to 20 % too small.
    """
    case = run("two-heights", {"clock-offset": 0.027}, 91_001, 0.0, tmp_path)
    assert case.named == ("timing",)
    assert case.value is not None
    assert abs(case.value - 27.0) < 0.08 * 27.0


def test_a_group_that_only_the_residuals_found_is_not_named(tmp_path: Path) -> None:
    """Three neighbours stand out by chance on this sound flight: nobody said that they belong together."""
    case = run("hills", {}, 720_078, 0.0, tmp_path)
    assert case.named == ()


def test_a_session_that_the_survey_states_is_named(tmp_path: Path) -> None:
    """The points of one session are 60 mm off, and the table tells the sessions apart."""
    case = run("flat", {"survey-session": 0.060}, 91_003, 0.0, tmp_path)
    assert case.named == ("survey-session",)


def test_the_catalogue_knows_nothing_of_the_simulator() -> None:
    """No module of the diagnosis imports the simulator: the comparison would be circular."""
    folder = Path(accuracy.diagnosis.__file__).parent
    for path in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            names += [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            assert not any("simulation" in name for name in names), path.name
