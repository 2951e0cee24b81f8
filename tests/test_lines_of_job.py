"""From an analysis to what is claimed: spacing, units, reasons, and which quantity is which."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from made_lines import differences, made_dataset, made_lines

from accuracy.deliverables import Setting
from accuracy.errors import ReferenceSystemError
from accuracy.flightlines.records import Coverage, Differences, Duplicates
from accuracy.georeferencing.record import UNKNOWN, Reference
from accuracy.georeferencing.reference import declared
from accuracy.job.sections import Claim
from accuracy.lines_of_job import Asked, _design, _units, merged
from accuracy.standards.judge import line_values
from accuracy.standards.library import QUANTITIES, load_standard
from accuracy.units import LengthUnit

QL2: dict[str, Any] = {"quality_level": "QL2"}


def item(design_anps_m: float | None = None) -> Any:
    """Stand in for a deliverable whose job states a spacing."""
    return SimpleNamespace(
        setting=Setting(name="c", kind="point-cloud", design_anps_m=design_anps_m)
    )


def test_every_quantity_of_the_documents_is_measured() -> None:
    """Each name in the library has a value, in metres, shares, counts and points per square metre."""
    record = made_lines()
    values = line_values(record)
    assert set(values) == set(QUANTITIES)
    told = {name: (value.value, value.n) for name, value in values.items()}
    assert told["swath-rmsd"] == (record.differences.rmsd_m, 7800)
    assert told["precision-rmsd"] == (0.031, 930)
    assert told["precision-max"] == (0.052, 930)
    assert told["density-single-swath"] == (76.4, 3)
    assert told["density-aggregate"] == (112.0, 3)
    assert told["voids-open"] == (1.0, 2)
    assert told["distribution-share"] == (0.9987, 81_000)
    assert told["overlap-least"] == (28.0, 2)


def test_an_error_common_to_all_lines_is_told_with_its_size() -> None:
    """A tilt of 0.6 mm per m is 27 mm at the edge of a swath of 90 m, and a roll of 0.0344 degrees."""
    from accuracy.flightlines.records import Estimate, SiteTrends
    from accuracy.lines_of_job import common_errors

    (found,) = common_errors(made_lines(fault=0.0012))
    assert found.code == "lines-roll"
    assert "rises to the right of its flight by 0.60 mm per m, 0.027 m at the edge" in found.message
    assert "-0.0344 degrees" in found.message  # atan(0.000601), in degrees
    drift = SiteTrends(
        cells=900,
        blocks=20,
        drift_m_s=Estimate(value=0.0002, standard_error=0.00001),
        correlation=0.1,
    )
    (found,) = common_errors(made_lines(trends=drift))
    assert "+12.00 mm per minute, 0.030 m from the first line to the last" in found.message  # 152 s
    assert common_errors(made_lines()) == ()
    both = replace(drift, correlation=0.99)
    assert common_errors(made_lines(trends=both)) == ()


def test_pairs_of_which_nothing_is_known_are_named() -> None:
    """One of two pairs has 29 cells: told, with its name; where no pair has enough, the rule itself tells."""
    from accuracy.lines_of_job import untested_pairs

    first, second = made_lines().pairs
    thin = replace(second, differences=differences(29, 0.0, 0.01))
    (found,) = untested_pairs(made_lines(pairs=(first, thin)))
    assert "of 2 pairs of lines, 1 have fewer than 30" in found.message
    assert found.message.endswith("3 - 2")
    assert untested_pairs(made_lines()) == ()
    assert untested_pairs(made_lines(pairs=(thin,))) == ()


def test_margins_without_lines_are_cut_off() -> None:
    """Corner and cells of what is left, against the indices of the first and last cell with points."""
    from made_lines import SOUTH, WEST, grids

    from accuracy.lines_of_job import without_margin

    whole = grids()
    lines = np.zeros_like(whole.lines)
    lines[10:31, 5:8] = 1
    part = without_margin(replace(whole, lines=lines))
    assert part is not None
    assert (part.west, part.north) == (WEST + 5.0, SOUTH + 160.0 - 10.0)
    assert part.lines.shape == (21, 3)
    assert np.array_equal(part.first_returns, whole.first_returns[10:31, 5:8])
    assert without_margin(replace(whole, lines=np.zeros_like(lines))) is None


def test_the_worst_pair_is_found_whatever_its_sign() -> None:
    """A mean of -0.05 m is larger than one of +0.02 m; a pair of few cells does not count."""
    first, second = made_lines().pairs
    record = made_lines(
        pairs=(
            replace(first, differences=differences(500, -0.05, 0.01)),
            replace(second, differences=differences(500, 0.02, 0.01)),
            replace(second, differences=differences(29, 0.9, 0.01)),
        )
    )
    values = line_values(record)
    assert values["pair-mean-largest"].value == 0.05
    assert values["pair-mean-largest"].n == 2


@pytest.mark.parametrize(
    ("changed", "quantity", "why"),
    [
        ({"pairs": ()}, "swath-rmsd", "no two flight lines overlap"),
        ({"pairs": (), "how": "all-points"}, "swath-rmsd", "cannot be told apart"),
        ({"how": "all-points"}, "density-single-swath", "cannot be told apart"),
        ({"how": "all-points"}, "voids-open", "cannot be told apart"),
        ({"differences": Differences(n=0)}, "swath-max", "no shared cell is smooth"),
        ({"literal_cell_m": None, "within": ()}, "precision-rmsd", "not made of whole cells"),
        ({"within": ()}, "precision-max", "no smooth cell"),
        ({"coverage": Coverage()}, "voids-open", "no spacing"),
        (
            {"coverage": Coverage(anps_m=0.1, distribution=0.99, distribution_cells=9)},
            "distribution-share",
            "no design spacing",
        ),
    ],
)
def test_what_cannot_be_measured_says_why(changed: Any, quantity: str, why: str) -> None:
    """No value, or none that proves anything, and a reason for people."""
    value = line_values(made_lines(**changed))[quantity]
    assert value.value is None
    assert why in value.why


def test_duplicates_are_whole_points() -> None:
    """An estimate of 12.4 points is shown as 12 of those compared."""
    record = made_lines(duplicates=Duplicates(surplus=12.4, sampled=0.1, surplus_error=3.0))
    assert line_values(record)["duplicate-points"].value == 12.0
    assert line_values(record)["duplicate-points"].n == 361_300


def test_the_spacing_asked_for_wins() -> None:
    """As stated, else the dataset's, else the claim's, else none."""
    lbs = load_standard("usgs-lbs-2025a")
    claims = [(lbs, Claim(dataset="c", standard="usgs-lbs-2025a", **QL2))]
    assert _design(item(0.2), claims, Asked(design_anps_m=0.1)) == (0.1, "as stated")
    assert _design(item(0.2), claims, Asked()) == (0.2, "of the dataset")
    assert _design(item(), claims, Asked()) == (0.71, "of the claim by usgs-lbs-2025a")
    assert _design(item(), [], Asked()) == (None, "none stated")


def test_what_the_command_line_says_wins_over_the_job() -> None:
    """Key by key."""
    both = merged(Asked(cell_m=0.5), Asked(cell_m=2.0, design_anps_m=0.3))
    assert both == Asked(cell_m=0.5, design_anps_m=0.3)


def test_units_are_those_declared() -> None:
    """US survey feet in plane and height; of a system without heights, the plane's are taken and told."""
    feet = declared("EPSG:6576+6360")
    (across, up), findings, blocked = _units(feet, None, "c")
    assert across == up == 1200 / 3937
    assert (findings, blocked) == ([], ())
    flat = declared("EPSG:6341")
    (across, up), findings, blocked = _units(flat, None, "c")
    assert (across, up, blocked) == (1.0, 1.0, ())
    assert [finding.code for finding in findings] == ["lines-unit-assumed"]


def test_without_a_unit_nothing_is_stated() -> None:
    """Taken as metres for people to look at, and every claim is blocked; unless somebody states the unit."""
    units, findings, blocked = _units(UNKNOWN, None, "c")
    assert units == (1.0, 1.0)
    assert blocked
    assert findings
    assert _units(UNKNOWN, LengthUnit.FOOT, "c") == ((0.3048, 0.3048), [], ())


def test_degrees_are_refused() -> None:
    """No cell of a grid in degrees is square."""
    with pytest.raises(ReferenceSystemError, match="geographic"):
        _units(Reference("x", horizontal_kind="geographic"), None, "c")


def test_what_was_assumed_stands_in_the_statement() -> None:
    """Lines told by time, and unclassified points, are said in every statement."""
    found = made_dataset(how="time", classes={1: 9})
    (claim,) = found.data["claims"]
    assert "Remark: " not in claim["statement"].replace("Remark: usgs", "")
    from accuracy.lines_of_job import _warnings

    told = _warnings(made_lines(how="time", classes={1: 9}), ())
    assert any("gaps in time" in text for text in told)
    assert any("no point is classified" in text for text in told)
    assert _warnings(made_lines(), ()) == ()


@pytest.mark.parametrize("kind", ["gps-week", "adjusted-standard"])
def test_runs_of_the_trajectory_are_put_into_the_time_of_the_points(
    tmp_path: Any, kind: str
) -> None:
    """A run from 1000 s to 1200 s of GPS week 2418 is found in seconds of the week and in adjusted time."""
    from accuracy.formats import open_cloud
    from accuracy.formats.las_write import write_points
    from accuracy.lines_of_job import spans_of
    from accuracy.trajectory.record import FlightLine

    week_s = 2418 * 604_800.0
    stored = np.linspace(1000.0, 1200.0, 50) + (0.0 if kind == "gps-week" else week_s - 1e9)
    place = np.arange(50.0)
    path = tmp_path / "a.las"
    write_points(path, points={"x": place, "y": place, "z": place, "gps_time": stored})
    cloud = SimpleNamespace(clouds=[open_cloud(path)], setting=item().setting)
    flown = (FlightLine(1, week_s + 1000.0, week_s + 1200.0, 0.0, 900.0, 4.5),)
    (span,) = spans_of(cloud, flown)  # type: ignore[arg-type]  # as much of a deliverable as is needed
    assert (span.start_s, span.end_s) == (stored[0], stored[-1])
    assert spans_of(cloud, ()) == ()  # type: ignore[arg-type]  # a stand-in for a cloud
