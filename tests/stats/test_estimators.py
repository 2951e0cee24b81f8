"""Figures by component and cover."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import hypothesis.extra.numpy as hnp
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from support import assert_metres

from accuracy.stats import COMPONENTS, COVERS, ESTIMATORS, Figure, Value, figures

NAN = math.nan

Key = tuple[str, str, str, bool]

#: The statistics that the project promises.
PROMISED = {
    *("n", "mean", "median", "std", "rmse", "nmad", "min", "max", "p68_abs", "p95_abs", "skew"),
    *("excess_kurtosis", "accuracy_95", "rmse_interval_95", "bias_t"),
}


def by_key(made: tuple[Figure, ...]) -> dict[Key, Value]:
    """Index figures; two with the same key are a mistake."""
    keyed: dict[Key, Value] = {
        (f.statistic, f.component, f.cover, f.survey_error_included): f.value for f in made
    }
    assert len(keyed) == len(made)
    return keyed


def make(
    east: list[float],
    north: list[float],
    up: list[float],
    vegetated: list[bool] | None = None,
    survey_h: float = NAN,
    survey_v: float = NAN,
) -> tuple[Figure, ...]:
    n = len(up)
    return figures(
        np.array(east),
        np.array(north),
        np.array(up),
        np.array(vegetated if vegetated is not None else [False] * n),
        np.full(n, survey_h),
        np.full(n, survey_v),
    )


ANNEX_D = (
    [-0.140, -0.100, 0.017, -0.070, 0.130],
    [-0.070, -0.100, -0.070, 0.150, 0.120],
    [-0.071, 0.010, 0.102, -0.100, 0.087],
)


@pytest.mark.parametrize(
    ("survey_h", "survey_v", "rmse_h", "rmse_v", "rmse_3d"),
    [
        (0.0, 0.0, 0.14723, 0.08138, 0.16823),
        (0.020, 0.032, 0.14859, 0.08745, 0.17241),
        (0.010, 0.016, 0.14757, 0.08294, 0.16928),
    ],
)
def test_annex_d_under_edition_2(
    survey_h: float, survey_v: float, rmse_h: float, rmse_v: float, rmse_3d: float
) -> None:
    """Annex D of ASPRS 2014 with survey errors: computed by hand from the formulas of Edition 2."""
    keyed = by_key(make(*ANNEX_D, survey_h=survey_h, survey_v=survey_v))
    for component, value in (("horizontal", rmse_h), ("up", rmse_v), ("3d", rmse_3d)):
        got = keyed["rmse", component, "all", True]
        assert isinstance(got, float)
        assert_metres(got, value, within_m=5e-6)


def test_every_promised_statistic_is_given() -> None:
    """Each is given somewhere, with unit, number and source; none is NaN."""
    made = make(*ANNEX_D, survey_h=0.01, survey_v=0.01)
    assert {figure.statistic for figure in made} >= PROMISED
    for figure in made:
        assert figure.cite
        assert figure.unit in ("m", "1")
        assert figure.n in (0, 5)
        values = figure.value if isinstance(figure.value, tuple) else (figure.value,)
        assert all(v is None or (type(v) is float and math.isfinite(v)) for v in values)


def test_a_group_without_points_gives_its_number_alone() -> None:
    """No vegetated point: n = 0 and nothing else, for every component."""
    made = [f for f in make(*ANNEX_D) if f.cover == "vegetated"]
    assert [(f.statistic, f.component, f.value) for f in made] == [
        ("n", c, 0.0) for c in COMPONENTS
    ]


def test_points_without_a_component_do_not_count_for_it() -> None:
    """NaN means not available: a cloud has no horizontal residuals, a point may lack a height."""
    keyed = by_key(make([NAN] * 3, [NAN] * 3, [0.1, NAN, -0.1]))
    assert keyed["n", "horizontal", "all", False] == 0.0
    assert keyed["n", "3d", "all", False] == 0.0
    assert keyed["n", "up", "all", False] == 2.0
    assert keyed["rmse", "up", "all", False] == 0.1
    assert ("rmse", "horizontal", "all", False) not in keyed


def test_cover_splits_the_points() -> None:
    """Non-vegetated and vegetated points are figured apart; 'all' has both."""
    keyed = by_key(make([0.0] * 4, [0.0] * 4, [0.1, -0.1, 0.3, 0.3], [False, False, True, True]))
    assert keyed["rmse", "up", "non-vegetated", False] == 0.1
    assert keyed["rmse", "up", "vegetated", False] == 0.3
    assert keyed["mean", "up", "all", False] == pytest.approx(0.15)
    assert ("accuracy_95", "up", "vegetated", False) not in keyed


def test_survey_error_needs_every_point() -> None:
    """One point with an unknown survey error, and no figure that includes it is given."""
    known = np.array([0.01, 0.01, NAN])
    zero = np.zeros(3)
    keyed = by_key(figures(zero, zero, zero + 0.03, np.zeros(3, dtype=bool), known, zero + 0.04))
    assert ("rmse", "horizontal", "all", True) not in keyed
    assert ("rmse", "3d", "all", True) not in keyed
    assert keyed["rmse", "up", "all", True] == pytest.approx(0.05, abs=1e-15)


def test_horizontal_survey_error_is_radial() -> None:
    """One axis carries 1 / sqrt 2 of the radial survey error, the two together all of it."""
    keyed = by_key(make([0.0] * 3, [0.0] * 3, [0.0] * 3, survey_h=0.02, survey_v=0.01))
    assert keyed["rmse", "east", "all", True] == pytest.approx(0.02 / math.sqrt(2), abs=1e-15)
    assert keyed["rmse", "horizontal", "all", True] == 0.02
    assert keyed["rmse", "3d", "all", True] == pytest.approx(math.hypot(0.02, 0.01), abs=1e-15)


def test_survey_rmse_of_differing_points_is_their_root_mean_square() -> None:
    """Per-point survey errors 0.03 and 0.04 make sqrt((0.0009 + 0.0016) / 2); closed form."""
    zero = np.zeros(2)
    keyed = by_key(figures(zero, zero, zero, np.zeros(2, dtype=bool), zero, np.array([0.03, 0.04])))
    assert keyed["rmse", "up", "all", True] == pytest.approx(math.sqrt(0.00125), abs=1e-15)


def test_lengths_for_horizontal() -> None:
    """A 3-4-5 triangle: the length is 5, whatever the direction."""
    keyed = by_key(make([0.03, -0.03, 0.04], [0.04, 0.04, -0.03], [0.12] * 3))
    for statistic in ("mean", "median", "min", "max", "rmse", "p68_abs", "p95_abs"):
        assert keyed[statistic, "horizontal", "all", False] == pytest.approx(0.05, abs=1e-15)
        assert keyed[statistic, "3d", "all", False] == pytest.approx(0.13, abs=1e-15)


def test_intervals_of_spread_and_mean_where_the_bias_is_significant() -> None:
    """With a clear bias the interval of the RMSE gives way to those of spread and mean."""
    small = [0.001, -0.001, 0.002, -0.002, 0.001]
    biased = by_key(make(small, small, [0.1 + x for x in small]))
    assert ("rmse_interval_95", "up", "all", False) not in biased
    assert ("rmse_interval_95", "east", "all", False) in biased
    assert ("std_interval_95", "up", "all", False) in biased
    assert ("mean_interval_95", "up", "all", False) in biased
    low, high = biased["mean_interval_95", "up", "all", False]
    assert low < 0.1 < high
    unbiased = by_key(make(small, small, small))
    assert ("rmse_interval_95", "up", "all", False) in unbiased
    assert ("std_interval_95", "up", "all", False) not in unbiased


def test_few_points_give_what_is_defined() -> None:
    """One point has no spread; two have no skew; three no kurtosis."""
    one = {f.statistic for f in make([0.1], [0.1], [0.1]) if f.component == "up" and f.n}
    assert one == {"n", "mean", "median", "rmse", "min", "max", "p68_abs", "p95_abs", "accuracy_95"}
    two = {f.statistic for f in make([0.1] * 2, [0.1] * 2, [0.1, 0.2]) if f.component == "up"}
    assert "std" in two
    assert "skew" not in two
    three = {
        f.statistic for f in make([0.1] * 3, [0.1] * 3, [0.1, 0.2, 0.4]) if f.component == "up"
    }
    assert "skew" in three
    assert "excess_kurtosis" not in three


def test_percentiles_by_name() -> None:
    """Of 0 to 1000 mm, rank 0.683 x 1000 + 1 is 683 mm and rank 0.95 x 1000 + 1 is 950 mm."""
    up = [0.001 * i * (-1) ** i for i in range(1001)]
    keyed = by_key(make(up, up, up))
    assert keyed["p68_abs", "up", "all", False] == pytest.approx(0.683, rel=0.0, abs=1e-12)
    assert keyed["p95_abs", "up", "all", False] == pytest.approx(0.950, rel=0.0, abs=1e-12)


def test_interval_of_the_radial_rmse_has_two_axes() -> None:
    """Twenty points: factors 0.7651 and 1.4441 for one axis, 0.8210 and 1.2795 for two (scipy 1.17)."""
    axis = [0.03, -0.03] * 10
    keyed = by_key(make(axis, axis, axis))
    for component, rmse, low, high in (
        ("up", 0.03, 0.7651, 1.4441),
        ("horizontal", 0.03 * math.sqrt(2), 0.8210, 1.2795),
    ):
        interval = keyed["rmse_interval_95", component, "all", False]
        assert isinstance(interval, tuple)
        assert_metres(interval, (rmse * low, rmse * high), within_m=4e-6)


def test_no_circle_below_the_ratio() -> None:
    """A ratio below 0.6 gives a figure without a value: the document has no formula."""
    keyed = by_key(make([0.05, -0.05], [0.1, -0.1], [0.0, 0.0]))
    assert keyed["accuracy_95", "horizontal", "all", False] is None


def test_infinite_residuals_are_refused() -> None:
    """An infinite residual is a fault of the caller, not a figure."""
    with pytest.raises(ValueError, match="infinite"):
        make([0.0], [0.0], [math.inf])


ABSURD = st.one_of(st.just(NAN), st.floats(-1e7, 1e7), st.floats(-0.1, 0.1))


@given(st.data(), st.integers(0, 12))
def test_never_nan_whatever_comes(data: st.DataObject, n: int) -> None:
    """Any mixture of absurd, tiny and missing residuals gives finite figures, in every group."""
    east, north, up, sh, sv = (
        data.draw(hnp.arrays(np.float64, n, elements=ABSURD.map(abs if i > 2 else float)))
        for i in range(5)
    )
    vegetated: NDArray[np.bool_] = data.draw(hnp.arrays(np.bool_, n))
    made = figures(east, north, up, vegetated, sh, sv)
    by_key(made)
    assert {(f.component, f.cover) for f in made} == {(a, b) for a in COMPONENTS for b in COVERS}
    for figure in made:
        values = figure.value if isinstance(figure.value, tuple) else (figure.value,)
        assert all(v is None or math.isfinite(v) for v in values), figure


@given(hnp.arrays(np.float64, st.integers(2, 20), elements=st.floats(-1.0, 1.0)))
def test_combined_never_below_the_bare(up: NDArray[np.float64]) -> None:
    """Including the survey error never makes an RMSE smaller."""
    n = len(up)
    keyed = by_key(figures(up, up, up, np.zeros(n, dtype=bool), np.full(n, 0.02), np.full(n, 0.01)))
    for component in COMPONENTS:
        bare, combined = (keyed["rmse", component, "all", included] for included in (False, True))
        assert isinstance(bare, float)
        assert isinstance(combined, float)
        assert combined >= bare


def test_estimators_are_named_once_and_documented() -> None:
    """Every estimator has a source, and intervals and tests give several numbers."""
    axis = (np.array([0.1, -0.1, 0.2, 0.05]),)
    for name, estimator in ESTIMATORS.items():
        assert estimator.cite
        several = isinstance(estimator(axis), tuple)
        assert several == (name.endswith("_interval_95") or name == "bias_t")


@pytest.mark.shared_data
def test_land_cover_example(shared_standards: Path) -> None:
    """Sixty points in three land covers: figures of an example worked out by hand for this project."""
    with (shared_standards / "ndep-example-points.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    with (shared_standards / "ndep-example-expected.csv").open(
        encoding="utf-8", newline=""
    ) as file:
        expected = {row["statistic"]: float(row["value"]) for row in csv.DictReader(file)}
    up = np.array([float(row["dz_m_dataset_minus_check"]) for row in rows])
    vegetated = np.array([not row["land_cover_class"].startswith("1") for row in rows])
    none = np.full(len(up), NAN)
    keyed = by_key(figures(none, none, up, vegetated, none, none))
    for name, key in {
        "FVA_RMSEz_open_m": ("rmse", "up", "non-vegetated", False),
        "FVA_95_1.9600xRMSEz_m": ("accuracy_95", "up", "non-vegetated", False),
        "p95_open_(info)_m": ("p95_abs", "up", "non-vegetated", False),
        "CVA_p95_all_m": ("p95_abs", "up", "all", False),
        "mean_all_m": ("mean", "up", "all", False),
        "VVA_p95_classes3-5_m_(ASPRS2014/LBS1.1-2023)": ("p95_abs", "up", "vegetated", False),
        "VVA_RMSEv1_classes3-5_m_(ASPRS Ed2/LBS2024+)": ("rmse", "up", "vegetated", False),
    }.items():
        value = keyed[key]
        assert isinstance(value, float)
        assert_metres(value, expected[name], within_m=5.1e-7)


@pytest.mark.shared_data
def test_three_dimensional_example(shared_standards: Path) -> None:
    """Twelve points with east, north and up: figures worked out for this project with other software."""
    with (shared_standards / "iso-example-points.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    with (shared_standards / "iso-example-expected.csv").open(encoding="utf-8", newline="") as file:
        expected = {row["measure"]: float(row["value_m_or_unit"]) for row in csv.DictReader(file)}
    east, north, up = (np.array([float(r[k]) for r in rows]) for k in ("dE_m", "dN_m", "dH_m"))
    none = np.full(len(up), NAN)
    keyed = by_key(figures(east, north, up, np.zeros(len(up), dtype=bool), none, none))
    for name, statistic, component in (
        ("28_mean_positional_uncertainty_2D", "mean", "horizontal"),
        ("28_mean_positional_uncertainty_3D", "mean", "3d"),
        ("128_bias_z", "mean", "up"),
        ("sigma_x_n-1", "std", "east"),
        ("sigma_z_n-1", "std", "up"),
        ("39_RMSE_z", "rmse", "up"),
        ("47_RMSEP", "rmse", "horizontal"),
        ("RMSE_y", "rmse", "north"),
        ("NSSDA_accuracy_z", "accuracy_95", "up"),
        ("NSSDA_accuracy_r_2.4477x0.5(rx+ry)", "accuracy_95", "horizontal"),
        ("95th_percentile_abs_z", "p95_abs", "up"),
    ):
        value = keyed[statistic, component, "all", False]
        assert isinstance(value, float)
        assert_metres(value, expected[name], within_m=1.1e-6)
