from __future__ import annotations

import json
import math
from dataclasses import replace

import jsonschema
import numpy as np
import pytest
import scipy.stats
from drawn_result import METRE, evidence_of, make_result, make_rows
from evidence import make_evidence
from hypothesis import given
from hypothesis import strategies as st
from support import assert_metres

from accuracy.residuals import Position
from accuracy.result import result_schema
from accuracy.series import compute_series, round_number
from accuracy.series.curves import (
    by_line,
    cumulative,
    histogram,
    histogram_edges,
    quantiles,
)
from accuracy.series.numbers import MOST_SHOWN, ranks_shown
from accuracy.series.plan import MOST_BOXES, exaggeration, footprint, from_base
from accuracy.series.what_if import MOST_LEFT_OUT, sensitivity
from accuracy.standards.judge import judge
from accuracy.standards.library import load_standard
from accuracy.stats import abs_percentile

ASPRS = load_standard("asprs-2024")
residuals = st.lists(st.floats(-5.0, 5.0, allow_subnormal=False), min_size=1, max_size=80)


# --- curves ---


@given(residuals)
def test_a_histogram_counts_every_point_once(values: list[float]) -> None:
    """Bins and both ends together hold all points; bins are equally wide, and zero is never inside one."""
    array = np.array(values)
    edges = histogram_edges(array)
    found = histogram(array, edges)
    assert sum(found["counts"]) + found["below"] + found["above"] == len(values)
    width = edges[1] - edges[0]
    assert_metres(np.diff(edges), width, within_m=1e-9)
    assert_metres(np.round(edges / width) * width, edges, within_m=1e-9)
    assert 1 <= len(found["counts"]) <= 100


def test_a_histogram_worked_by_hand() -> None:
    """Counts of a case small enough to count by eye; a point on an edge belongs to the bin above it."""
    found = histogram(np.array([-0.01, 0.0, 0.004, 0.01, 0.03]), np.array([-0.01, 0.0, 0.01, 0.02]))
    assert found["counts"] == [1, 2, 1]
    assert (found["below"], found["above"]) == (0, 1)


def test_a_blunder_does_not_flatten_the_histogram() -> None:
    """One point 100 m off is counted beyond the end; the others still spread over several bins."""
    array = np.append(np.linspace(-0.05, 0.05, 60), 100.0)
    found = histogram(array, histogram_edges(array))
    assert found["above"] == 1
    assert len(found["counts"]) < 60
    assert sum(count > 0 for count in found["counts"]) >= 5


def test_the_normal_curve_is_that_of_scipy() -> None:
    """N times width times density, compared with scipy.stats.norm."""
    array = np.random.default_rng(7).normal(0.02, 0.03, 200)
    edges = histogram_edges(array)
    normal = histogram(array, edges)["normal"]
    expected = scipy.stats.norm(array.mean(), array.std(ddof=1)).pdf(normal["x_m"])
    np.testing.assert_allclose(
        normal["count"], 200 * (edges[1] - edges[0]) * expected, rtol=0, atol=0.01
    )


def test_equal_residuals_have_no_normal_curve() -> None:
    """Without spread there is no curve, and one bin holds all points."""
    found = histogram(np.full(9, 0.04), histogram_edges(np.full(9, 0.04)))
    assert found["normal"] is None
    assert sorted(found["counts"], reverse=True)[0] == 9


def test_quantiles_are_those_of_the_ranks() -> None:
    """Blom's plotting positions with scipy.stats.norm.ppf; symmetric, in the order of the residuals."""
    array = np.array([0.05, -0.02, 0.01, 0.0])
    found = quantiles(array)
    positions = (np.arange(1, 5) - 0.375) / 4.25
    np.testing.assert_allclose(
        found["expected"], scipy.stats.norm.ppf(positions), rtol=0, atol=1e-5
    )
    assert found["observed_m"] == [-0.02, 0.0, 0.01, 0.05]


def test_quantiles_of_normal_quantiles_lie_on_a_line() -> None:
    """Residuals that are mean + std times normal quantiles lie on the line of that mean and std."""
    z = scipy.stats.norm.ppf((np.arange(1, 61) - 0.375) / 60.25)
    found = quantiles(0.01 + 0.02 * z)
    line = 0.01 + 0.02 * np.array(found["expected"])
    assert_metres(found["observed_m"], line, within_m=2e-6)


@given(residuals)
def test_percentiles_lie_on_the_cumulative_curve(values: list[float]) -> None:
    """Read off the curve, the 95th percentile is the one of the figures (linear rank)."""
    array = np.array(values)
    found = cumulative(array)
    read = np.interp(0.95, found["share"], found["abs_m"])
    steepest = float(np.ptp(np.abs(array))) * len(array) * 2e-5  # shares are kept to 5 decimals
    assert_metres(read, abs_percentile(array, 95.0), within_m=2e-6 + steepest)
    assert found["abs_m"] == sorted(found["abs_m"])


@given(st.integers(1, 5000))
def test_long_curves_keep_their_ends(n: int) -> None:
    """Ranks shown ascend, begin with the first, end with the last, and are not more than the most."""
    ranks = ranks_shown(n)
    assert ranks[0] == 0
    assert ranks[-1] == n - 1
    assert len(ranks) <= MOST_SHOWN
    assert (np.diff(ranks) > 0).all()


def test_differences_by_flight_line() -> None:
    """A line's difference is its own height minus the surveyed one, at used points only."""
    rows = make_rows(9)
    found = by_line(rows)
    assert [line["line"] for line in found] == [20, 21, 22]
    assert sum(len(line["ids"]) for line in found) == 9
    for line in found:
        for id_, up_m in zip(line["ids"], line["up_m"], strict=True):
            (row,) = [row for row in rows if row.id == id_]
            assert row.residual is not None
            assert row.residual.up_m is not None
            assert_metres(up_m, row.residual.up_m, within_m=1e-6)


# --- plan ---


@pytest.mark.parametrize(
    ("value", "expected"),
    [(1.0, 1.0), (3.0, 2.0), (3.3, 5.0), (8.0, 10.0), (0.0, 1.0), (-4.0, 1.0), (1700.0, 2000.0)],
)
def test_round_numbers(value: float, expected: float) -> None:
    """The nearest of 1, 2, 5, 10 by ratio: the change from 2 to 5 is at the root of 10."""
    assert round_number(value) == expected


@given(st.floats(1e-9, 1e9))
def test_round_numbers_are_near(value: float) -> None:
    """A round number is never further off than the root of 2.5."""
    assert 1 / 1.5812 <= round_number(value) / value <= 1.5812


def test_large_residuals_are_a_tenth_of_the_plan() -> None:
    """On a plan of 900 m, residuals of 45 mm are drawn 2000 times their size: 90 m."""
    rows = [
        replace(
            row,
            surveyed=Position(100.0 * i, 0.0, 0.0),
            residual=Position(0.045, 0.0, None),
        )
        for i, row in enumerate(make_rows(10)[:10])
    ]
    assert exaggeration(rows, "horizontal") == 2000.0
    assert exaggeration(rows, "vertical") == 1.0


def test_distances_from_the_base_are_those_in_the_plane() -> None:
    """Hypotenuse of east and north, used points only, in their order; nothing without a base."""
    rows = make_rows(12)
    found = from_base(rows, (7000.0, 51500.0))
    assert found is not None
    used = [row for row in rows if row.used]
    assert found["ids"] == [row.id for row in used]
    east = np.array([row.surveyed.east_m for row in used], float) - 7000.0
    north = np.array([row.surveyed.north_m for row in used], float) - 51500.0
    assert_metres(found["distance_m"], np.sqrt(east**2 + north**2), within_m=1e-6)
    assert (found["east_m"], found["north_m"]) == (7000.0, 51500.0)
    assert from_base(rows, None) is None


def test_points_without_a_place_have_no_distance() -> None:
    """In degrees there is no plane, and no distance is made up."""
    found = from_base(make_rows(5, degrees=True), (0.0, 0.0))
    assert found is not None
    assert found["ids"] == []


def test_the_place_of_a_point_goes_with_it() -> None:
    """Without one of two points at one place, the other counts once; places stay with their points."""
    rows = make_rows(40)
    evidence = replace(evidence_of(rows), place=(0, 0, *range(1, 39)))
    found = sensitivity(ASPRS, {"vertical_class_cm": 5.0}, evidence)
    assert found["tried"] == found["of"] == 40


def test_the_footprint_is_in_metres_too() -> None:
    """Boxes are kept as stored and turned into metres; in degrees there are none in metres."""
    found = footprint(((0.0, 0.0, 1000.0, 2000.0),), METRE.FOOT)
    assert found["boxes_native"] == [[0.0, 0.0, 1000.0, 2000.0]]
    assert_metres(found["boxes_m"], [[0.0, 0.0, 304.8, 609.6]], within_m=1e-9)
    assert footprint(((0.0, 0.0, 1.0, 1.0),), None)["boxes_m"] == []


def test_very_many_boxes_become_one() -> None:
    """More than the most are given as the one box around all of them."""
    boxes = tuple((float(i), 0.0, i + 1.0, 1.0) for i in range(MOST_BOXES + 1))
    assert footprint(boxes, None)["boxes_native"] == [[0.0, 0.0, MOST_BOXES + 1.0, 1.0]]


# --- what if ---


def test_sensitivity_in_closed_form() -> None:
    """Thirty-five points, one of 0.2 m, the others of 0.02 m: without it the RMSE is that of the others."""
    evidence = make_evidence(35, up_m=0.02, survey_v_m=0.0)
    up = np.array(evidence.up_m)
    up[4] = 0.2
    evidence = replace(evidence, up_m=up)
    found = sensitivity(ASPRS, {"vertical_class_cm": 3.0}, evidence)
    assert found["verdict"] == "fails"
    assert_metres(found["value"], math.sqrt((34 * 0.02**2 + 0.2**2) / 35), within_m=1e-12)
    assert found["lowest"]["id"] == "P5"
    assert_metres(found["lowest"]["value"], 0.02, within_m=1e-12)
    assert [(item["id"], item["verdict"]) for item in found["changes"]] == [("P5", "passes")]
    without_another = math.sqrt((33 * 0.02**2 + 0.2**2) / 34)
    assert_metres(found["highest"]["value"], without_another, within_m=1e-12)
    assert (found["tried"], found["of"]) == (65, 65)
    assert found["limit"] == 0.03


def test_a_verdict_that_hangs_on_the_number_of_points() -> None:
    """With the fewest points allowed, every one of them is needed for a statement."""
    found = sensitivity(ASPRS, {"vertical_class_cm": 5.0}, make_evidence(30))
    assert found["verdict"] == "passes"
    assert {item["id"] for item in found["changes"]} == {f"P{i}" for i in range(1, 31)}
    assert {item["verdict"] for item in found["changes"]} == {"no-statement"}


def test_each_point_is_really_judged_again() -> None:
    """Verdict and value without a point are those of the judge on a table without that row."""
    rows = make_rows(36)
    claimed = {"vertical_class_cm": 2.0}
    found = sensitivity(ASPRS, claimed, evidence_of(rows))
    for item in found["without"]:
        rest = tuple(row for row in rows if row.id != item["id"])
        again = judge(ASPRS, claimed, evidence_of(rest))
        assert item["verdict"] == again.verdict
        (check,) = [check for check in again.checks if check.name == found["check"]]
        assert item["value"] == check.value


def test_of_very_many_points_the_extreme_ones_are_tried() -> None:
    """Above the most, the largest and the smallest errors are tried, and the record says so."""
    evidence = make_evidence(MOST_LEFT_OUT + 200, up_m=0.01)
    up = np.linspace(0.001, 0.05, len(evidence.ids))
    found = sensitivity(ASPRS, {"vertical_class_cm": 5.0}, replace(evidence, up_m=up))
    tried = {item["id"] for item in found["without"]}
    assert (found["tried"], found["of"]) == (MOST_LEFT_OUT, len(evidence.ids))
    assert {"P1", f"P{len(evidence.ids)}"} <= tried
    assert f"P{len(evidence.ids) // 2}" not in tried


def test_a_claim_without_points_has_no_sensitivity() -> None:
    """No point, no value: nothing is invented."""
    found = sensitivity(ASPRS, {"vertical_class_cm": 5.0}, make_evidence(0, vegetated=0))
    assert found["verdict"] == "no-statement"
    assert found["without"] == []
    assert found["lowest"] is None


def test_exclusions_put_back_and_control_stand_apart() -> None:
    """Figures with the excluded point counted have n + 1; those of control have the control points only."""
    rows = make_rows(40)
    series = compute_series(rows, [(ASPRS, {"vertical_class_cm": 5.0})], evidence_of)
    restored, control = series["with_exclusions_restored"], series["control"]
    assert restored["ids"] == ["Q43"]
    assert restored["verdicts"] == {"0": "passes"}
    counts = {
        (f["component"], f["cover"]): f["value"]
        for f in restored["figures"]
        if f["statistic"] == "n"
    }
    assert counts["up", "all"] == 41.0
    assert control["ids"] == ["Q41", "Q42"]
    (rmse,) = [
        f
        for f in control["figures"]
        if f["statistic"] == "rmse" and f["cover"] == "all" and f["component"] == "up"
    ]
    ups = [row.residual.up_m for row in rows[40:42] if row.residual is not None]
    assert_metres(rmse["value"], math.sqrt(sum((u or 0.0) ** 2 for u in ups) / 2), within_m=1e-12)


def test_nobody_excluded_and_no_control() -> None:
    """Where there are none, the record says null."""
    series = compute_series(make_rows(5)[:5], [], evidence_of)
    assert series["with_exclusions_restored"] is None
    assert series["control"] is None
    assert series["sensitivity"] == {}


# --- the whole ---


@pytest.mark.parametrize("horizontal", [False, True])
@pytest.mark.parametrize("n", [0, 1, 2, 3, 40])
def test_series_fit_the_schema(n: int, horizontal: bool) -> None:
    """From no point to some, the series are plain JSON of the shape the schema gives, twice the same."""
    rows = make_rows(n, horizontal=horizontal)
    claims = [(ASPRS, {"vertical_class_cm": 5.0})]
    series = compute_series(rows, claims, evidence_of, [(0.0, 0.0, 1.0, 1.0)], METRE)
    text = json.dumps(series, allow_nan=False)
    whole = result_schema()
    schema = {"$ref": "#/$defs/dataset_series", "$defs": whole["$defs"]}
    jsonschema.validate(json.loads(text), schema, cls=jsonschema.Draft202012Validator)
    again = compute_series(rows, claims, evidence_of, [(0.0, 0.0, 1.0, 1.0)], METRE)
    assert json.dumps(again, allow_nan=False) == text


def test_horizontal_curves_are_lengths() -> None:
    """The horizontal component has no sign: no histogram and no quantiles, but a cumulative curve."""
    result = make_result(make_rows(20, horizontal=True))
    curves = result.series["north slope"]["curves"]
    assert set(curves) == {"east", "north", "up", "horizontal"}
    assert curves["horizontal"]["all"]["histogram"] is None
    east, north = (
        np.array([getattr(row.residual, axis) for row in result.datasets[0].residuals if row.used])
        for axis in ("east_m", "north_m")
    )
    largest = curves["horizontal"]["all"]["cumulative"]["abs_m"][-1]
    assert_metres(largest, np.hypot(east, north).max(), within_m=1e-6)
