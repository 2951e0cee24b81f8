"""Number and places of the checkpoints."""

from __future__ import annotations

from support import assert_metres

from accuracy.findings import Severity
from accuracy.inputs.checkpoints import Checkpoint
from accuracy.layout import lay_out, place_numbers, same_places
from accuracy.residuals import Roles
from accuracy.units import LengthUnit

POINTS = (
    Checkpoint("A", 10.0, 20.0, 5.0),
    Checkpoint("B", 10.0, 20.0, 5.5),
    Checkpoint("C", 10.0, 20.0, 5.0),
    Checkpoint("D", 10.0, 21.0, 5.0, cover="vegetated"),
    Checkpoint("E", 12.0, 26.0, 5.0),
    Checkpoint("F", 12.0, 26.0, 5.0),
)


def test_checkpoints_where_control_stands_are_named() -> None:
    """Every checkpoint at the place of a control point, wherever it stands in the table; others not."""
    (finding,) = same_places(POINTS, Roles(control=frozenset("C")))
    assert (finding.code, finding.severity) == ("checkpoints-near-control", Severity.WARNING)
    assert finding.evidence == {"checkpoints": "A, B", "control": "C"}
    assert "A, B and the control point C" in finding.message
    assert "exclude" in finding.remedy


def test_points_of_one_role_at_one_place_are_no_matter_of_control() -> None:
    """Without control, with control elsewhere, and with the neighbour excluded: nothing to tell."""
    assert same_places(POINTS, Roles()) == ()
    assert same_places(POINTS, Roles(control=frozenset("D"))) == ()
    assert same_places(POINTS, Roles(control=frozenset("E"), excluded={"F": "moved"})) == ()
    assert same_places(POINTS, Roles(control=frozenset("EF"))) == ()


def test_places_are_counted_once() -> None:
    """Six points at three places, whatever their heights; control does not count."""
    numbers = place_numbers(POINTS)
    assert [numbers[point.id] for point in POINTS] == [0, 0, 0, 1, 2, 2]
    layout = lay_out(POINTS, Roles(control=frozenset("D")), LengthUnit.FOOT)
    assert (layout.checkpoints, layout.places, layout.control) == (5, 2, 1)
    assert_metres(layout.extent_north_m or 0.0, 6.0 * 0.3048, within_m=1e-12)
