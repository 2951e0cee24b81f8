"""Local grids; every site, point and number here is invented unless a source stands beside it."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import least_squares
from support import assert_metres

from accuracy.errors import InputError, ReferenceSystemError
from accuracy.findings import Finding, Severity
from accuracy.georeferencing.local_grid import (
    LocalGrid,
    Parameters,
    Sides,
    carry,
    fitted,
    local_reference,
    shared_ids,
    stated,
)
from accuracy.georeferencing.local_grid_checks import ground_factor, scale_findings
from accuracy.georeferencing.reference import agree, declared
from accuracy.inputs.checkpoints import Checkpoint
from accuracy.inputs.grid_pairs import GridPair
from accuracy.units import LengthUnit, from_metres, to_metres

Floats = NDArray[np.float64]
M, FT, FTUS = LengthUnit.METRE, LengthUnit.FOOT, LengthUnit.US_SURVEY_FOOT
UTM = declared("EPSG:6341+5703", geoid="GEOID18")  # NAD83(2011) / UTM 12N + NAVD88, metres
STATE_PLANE = declared("EPSG:6430+6360")  # Colorado North and NAVD88, both in US survey feet
SIDES = Sides("Hessoway yard grid", UTM, M, M)
E0, N0, H0 = 412_345.678, 5_000_123.456, 1300.0


def one(*values: float) -> tuple[Floats, ...]:
    """Make arrays of one value each."""
    return tuple(np.array([value]) for value in values)


def codes(findings: tuple[Finding, ...]) -> list[tuple[str, Severity]]:
    return [(finding.code, finding.severity) for finding in findings]


def pairs_of(
    local: LocalGrid,
    east_m: Floats,
    north_m: Floats,
    up_m: Floats | None = None,
    noise: tuple[Floats, Floats, Floats] | None = None,
) -> list[GridPair]:
    """Make pairs that fit a local grid exactly, or with noise (metres) on the local side."""
    sides = local.sides
    easting = local.origin_easting + from_metres(east_m, sides.grid_unit)
    northing = local.origin_northing + from_metres(north_m, sides.grid_unit)
    height = None if up_m is None else from_metres(up_m, sides.grid.vertical_unit or M)
    e, n, h = local.to_local(easting, northing, height)
    if noise is not None:
        e, n = (
            e + from_metres(noise[0], sides.local_unit),
            n + from_metres(noise[1], sides.local_unit),
        )
        h = None if h is None else h + from_metres(noise[2], sides.local_height_unit)
    return [
        GridPair(
            f"P{i + 1}",
            float(e[i]),
            float(n[i]),
            float(easting[i]),
            float(northing[i]),
            None if h is None else float(h[i]),
            None if height is None else float(height[i]),
        )
        for i in range(len(e))
    ]


TRUE = stated(
    SIDES,
    Parameters(
        "grid-to-local", 1.0003, 12.5, E0, N0, -E0 + 1000.0, -N0 + 5000.0, -21.37, 4e-5, -2.5e-5
    ),
)
EAST = np.array([-310.0, 280.0, 415.0, -205.0, 33.0, 120.0])
NORTH = np.array([-220.0, -305.0, 250.0, 330.0, 15.0, -90.0])
UP = np.array([1296.0, 1301.5, 1310.0, 1299.0, 1303.0, 1305.5])


# ------------------------------------------------------------------------------------------- by hand


@pytest.mark.parametrize(
    ("clockwise_deg", "north_goes_to", "east_goes_to"),
    [(90.0, (1, 0), (0, -1)), (-90.0, (-1, 0), (0, 1)), (180.0, (0, -1), (-1, 0))],
)
def test_sense_of_rotation(
    clockwise_deg: float, north_goes_to: tuple[int, int], east_goes_to: tuple[int, int]
) -> None:
    """Clockwise by 90 degrees takes a point north of the origin to the east of it (by hand)."""
    local = stated(SIDES, Parameters("grid-to-local", 1.0, clockwise_deg, E0, N0))
    for (east, north), goes_to in (((0, 100), north_goes_to), ((100, 0), east_goes_to)):
        e, n, _ = local.to_local(*one(E0 + east, N0 + north))
        assert_metres([e[0] - E0, n[0] - N0], 100.0 * np.array(goes_to), within_m=2e-9)


def test_scale_translation_and_tilt_by_hand() -> None:
    """Twice as large about the origin, moved by (+10, -20), 3 m up and 1 % up to the north (by hand)."""
    given = Parameters("grid-to-local", 2.0, 0.0, 1000.0, 2000.0, 10.0, -20.0, 3.0, 0.01, -0.02)
    local = stated(SIDES, given)
    e, n, h = local.to_local(*one(1100.0, 2300.0, 50.0))
    assert h is not None
    assert_metres(np.concatenate([e, n, h]), [1210.0, 2580.0, 50 + 3 + 3 - 2], within_m=1e-9)
    # The same numbers the other way: the origin, the metres of the tilt and the target change sides.
    back = stated(SIDES, replace(given, direction="local-to-grid"))
    e, n, h = back.to_grid(*one(1100.0, 2300.0, 50.0))
    assert h is not None
    assert_metres(np.concatenate([e, n, h]), [1210.0, 2580.0, 54.0], within_m=1e-9)


def test_feet_by_hand() -> None:
    """A local grid in US survey feet beside metres: the scale is of lengths, the unit comes on top."""
    sides = Sides("feet", UTM, FTUS, FT)
    given = Parameters("grid-to-local", 1.0, 0.0, E0, N0, -E0, -N0, 0.0)
    e, n, h = stated(sides, given).to_local(*one(E0 + 1200.0, N0 - 2400.0, 304.8))
    assert (
        h is not None
    )  # 1200 m = 3937 US survey feet, 304.8 m = 1000 international feet: definitions
    assert_metres(np.concatenate([e, n, h]), [3937.0, -7874.0, 1000.0], within_m=1e-8)


def test_the_origin_is_in_the_unit_of_the_side_it_starts_from() -> None:
    """State plane feet to a local grid in metres: the origin in feet, the translation in metres."""
    sides = Sides("yard", STATE_PLANE, M, M)
    given = Parameters(
        "grid-to-local", 1.0, 0.0, 3_937_000.0, 393_700.0, -1_200_000.0, -120_000.0, 0.0
    )
    e, n, h = stated(sides, given).to_local(*one(3_937_000.0 + 39.37, 393_700.0, 3937.0))
    assert h is not None
    assert_metres(np.concatenate([e, n, h]), [12.0, 0.0, 1200.0], within_m=1e-9)


# ------------------------------------------------------------------------------------------- round trip

units = st.sampled_from([M, FT, FTUS])


@given(
    direction=st.sampled_from(["grid-to-local", "local-to-grid"]),
    scale=st.floats(0.999, 1.001),
    turn=st.floats(-360.0, 360.0),
    translation=st.sampled_from([(0.0, 0.0), (-400_000.0, -4_995_000.0), (12.34, -56.78)]),
    tilt=st.tuples(st.floats(-1e-3, 1e-3), st.floats(-1e-3, 1e-3)),
    place=st.tuples(
        st.floats(-5000.0, 5000.0), st.floats(-5000.0, 5000.0), st.floats(-100.0, 4000.0)
    ),
    sides=st.builds(
        lambda grid, h, v: Sides("g", grid, h, v), st.sampled_from([UTM, STATE_PLANE]), units, units
    ),
)
def test_both_ways_are_inverse(
    direction: Any,
    scale: float,
    turn: float,
    translation: tuple[float, float],
    tilt: tuple[float, float],
    place: tuple[float, float, float],
    sides: Sides,
) -> None:
    """To the local grid and back gives the same point within 1e-9 m, at northings of 5 000 km, in any unit."""
    first, second = (
        (sides.grid_unit, sides.local_unit)
        if direction == "grid-to-local"
        else (sides.local_unit, sides.grid_unit)
    )
    origin = from_metres(412_345.678, first), from_metres(5_000_123.456, first)
    local = stated(sides, Parameters(direction, scale, turn, *origin, *translation, -21.37, *tilt))
    easting = local.origin_easting + from_metres(place[0], sides.grid_unit)
    northing = local.origin_northing + from_metres(place[1], sides.grid_unit)
    height = from_metres(place[2], sides.grid_height_unit)
    e, n, h = local.to_grid(*local.to_local(*one(easting, northing, height)))
    assert h is not None
    assert_metres(to_metres(e - easting, sides.grid_unit), 0.0, within_m=1e-9)
    assert_metres(to_metres(n - northing, sides.grid_unit), 0.0, within_m=1e-9)
    assert_metres(to_metres(h - height, sides.grid_height_unit), 0.0, within_m=1e-9)
    assert second in (sides.grid_unit, sides.local_unit)


@given(
    scale=st.floats(0.999, 1.001),
    turn=st.floats(-180.0, 180.0),
    tilt=st.tuples(st.floats(-1e-3, 1e-3), st.floats(-1e-3, 1e-3)),
    place=st.tuples(st.floats(-5e3, 5e3), st.floats(-5e3, 5e3), st.floats(0, 3e3)),
)
def test_parameters_from_local_mean_what_they_say(
    scale: float, turn: float, tilt: tuple[float, float], place: tuple[float, float, float]
) -> None:
    """Stated from local to grid, `to_grid` is the stated formula itself, written here a second time."""
    given_ = Parameters("local-to-grid", scale, turn, 1000.0, 5000.0, E0, N0, 21.37, *tilt)
    local = stated(SIDES, given_)
    e, n, h = local.to_grid(*one(1000.0 + place[0], 5000.0 + place[1], place[2]))
    assert h is not None
    turned = complex(place[0], place[1]) * scale * np.exp(-1j * np.radians(turn))
    rise = 21.37 + tilt[0] * place[1] + tilt[1] * place[0]
    expected = [1000.0 + E0 + turned.real, 5000.0 + N0 + turned.imag, place[2] + rise]
    assert_metres(np.concatenate([e, n, h]), expected, within_m=2e-9)


# ------------------------------------------------------------------------------------------- the fit


@pytest.mark.parametrize("sides", [SIDES, Sides("feet", STATE_PLANE, FT, FTUS)])
def test_known_parameters_come_back_exactly(sides: Sides) -> None:
    """Pairs without noise give the parameters they were made with, and no residuals, in any unit."""
    origin = from_metres(E0, sides.grid_unit), from_metres(N0, sides.grid_unit)
    true = stated(
        sides, Parameters("grid-to-local", 0.99934, -33.3, *origin, -E0, -N0, -21.37, 4e-5, -2.5e-5)
    )
    local = fitted(sides, pairs_of(true, EAST, NORTH, UP))
    assert local.fit is not None
    assert local.scale == pytest.approx(true.scale, rel=0, abs=1e-12)
    assert local.rotation_clockwise_deg == pytest.approx(-33.3, rel=0, abs=1e-10)
    assert local.tilt_north_m_per_m == pytest.approx(4e-5, rel=0, abs=1e-12)
    assert local.tilt_east_m_per_m == pytest.approx(-2.5e-5, rel=0, abs=1e-12)
    assert local.fit.worst_horizontal.horizontal_m < 3e-9
    assert (local.fit.redundancy_h, local.fit.redundancy_v) == (8, 3)
    # Another place, far away from the pairs, in both.
    place = one(origin[0] + 9000.0, origin[1] - 7000.0, 4321.0)
    for mine, its in zip(local.to_local(*place), true.to_local(*place), strict=True):
        assert mine is not None
        assert its is not None
        assert_metres(mine, its, within_m=1e-7)


def noisy(seed: int, sigma_h: float = 0.02, sigma_v: float = 0.03) -> list[GridPair]:
    rng = np.random.default_rng(seed)
    noise = (
        rng.normal(0, sigma_h, EAST.size),
        rng.normal(0, sigma_h, EAST.size),
        rng.normal(0, sigma_v, EAST.size),
    )
    return pairs_of(TRUE, EAST, NORTH, UP, noise)


def textbook(pairs: list[GridPair]) -> tuple[Floats, Floats, float]:
    """Solve x' = a x - b y + c, y' = b x + a y + d by a design matrix: (parameters, covariance, sigma).

    The observation equations of the two-dimensional conformal transformation and the covariance
    sigma0^2 (A'A)^-1 as in textbooks of adjustment (Ghilani, Adjustment Computations; from memory).
    """
    x = np.array([p.easting - E0 for p in pairs])
    y = np.array([p.northing - N0 for p in pairs])
    xy = np.ravel([[p.local_easting - 1000.0, p.local_northing - 5000.0] for p in pairs])
    rows = []
    for east, north in zip(x, y, strict=True):
        rows += [[east, -north, 1.0, 0.0], [north, east, 0.0, 1.0]]
    design = np.array(rows)
    solved = np.linalg.lstsq(design, xy, rcond=None)[0]
    left = design @ solved - xy
    sigma = math.sqrt(left @ left / (len(xy) - 4))
    return solved, sigma**2 * np.linalg.inv(design.T @ design), sigma


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_fit_is_that_of_the_textbook(seed: int) -> None:
    """Parameters, residuals and standard errors agree with the design matrix written out."""
    pairs = noisy(seed)
    local = fitted(SIDES, pairs)
    fit = local.fit
    assert fit is not None
    (a, b, c, d), covariance, sigma = textbook(pairs)
    assert local.scale == pytest.approx(math.hypot(a, b), rel=0, abs=1e-12)
    assert math.radians(local.rotation_clockwise_deg) == pytest.approx(-math.atan2(b, a), abs=1e-12)
    e, n, _ = local.to_local(*one(E0, N0))
    assert_metres([e[0] - 1000.0, n[0] - 5000.0], [c, d], within_m=2e-9)
    assert fit.sigma_h_m == pytest.approx(sigma, rel=0, abs=1e-9)
    assert fit.se_scale_ppm is not None
    assert fit.se_rotation_deg is not None
    # Error propagation to scale and rotation (closed form, first order).
    to_scale = np.array([a, b]) / math.hypot(a, b)
    to_turn = np.array([-b, a]) / (a * a + b * b)
    block = covariance[:2, :2]
    assert fit.se_scale_ppm == pytest.approx(1e6 * math.sqrt(to_scale @ block @ to_scale), abs=1e-4)
    assert math.radians(fit.se_rotation_deg) == pytest.approx(
        math.sqrt(to_turn @ block @ to_turn), abs=1e-10
    )
    for pair, residual in zip(pairs, fit.residuals, strict=True):
        at = a * (pair.easting - E0) - b * (pair.northing - N0) + c + 1000.0
        assert_metres(residual.east_m, at - pair.local_easting, within_m=1e-8)
    # The standard error at any place: the textbook's covariance carried to it.
    for east, north in ((0.0, 0.0), (900.0, -1200.0)):
        row = np.array([[east, -north, 1.0, 0.0], [north, east, 0.0, 1.0]])
        radial = math.sqrt(np.trace(row @ covariance @ row.T))
        found = fit.horizontal_se_m(*local.from_origin_m(*one(E0 + east, N0 + north)))
        assert found is not None
        assert_metres(found, radial, within_m=1e-7)


def test_the_fit_is_that_of_a_general_solver() -> None:
    """A general minimiser of scipy on scale, angle and position finds the same minimum."""
    pairs = noisy(7)
    z = np.array([complex(p.easting - E0, p.northing - N0) for p in pairs])
    w = np.array([complex(p.local_easting - 1000.0, p.local_northing - 5000.0) for p in pairs])

    def left(x: Floats) -> Floats:
        v = x[0] * np.exp(-1j * x[1]) * z + complex(x[2], x[3]) - w
        return np.concatenate([v.real, v.imag])

    found = least_squares(left, [1.0, 0.2, 0.0, 0.0], x_scale=[1e-3, 1e-3, 1, 1], xtol=1e-15)
    local = fitted(SIDES, pairs)
    assert local.scale == pytest.approx(found.x[0], rel=0, abs=1e-8)
    assert math.radians(local.rotation_clockwise_deg) == pytest.approx(found.x[1], abs=1e-8)


def test_the_vertical_plane_is_that_of_a_design_matrix() -> None:
    """Shift, tilts and their standard errors agree with the normal equations written out."""
    pairs = noisy(4)
    local = fitted(SIDES, pairs)
    fit = local.fit
    assert fit is not None
    east, north = EAST - (local.origin_easting - E0), NORTH - (local.origin_northing - N0)
    design = np.column_stack([np.ones(6), north, east])
    difference = np.array([(p.local_height or 0.0) - (p.height or 0.0) for p in pairs])
    normal = np.linalg.inv(design.T @ design)
    solved = normal @ design.T @ difference
    left = design @ solved - difference
    errors = np.sqrt(np.diag(normal) * (left @ left) / 3)
    assert local.shift_m == pytest.approx(solved[0], rel=0, abs=1e-9)
    assert [local.tilt_north_m_per_m, local.tilt_east_m_per_m] == pytest.approx(
        list(solved[1:]), rel=0, abs=1e-12
    )
    assert [fit.se_shift_m, fit.se_tilt_north_m_per_m, fit.se_tilt_east_m_per_m] == pytest.approx(
        list(errors), rel=0, abs=1e-10
    )
    ups = [pair.up_m for pair in fit.residuals]
    assert ups == pytest.approx(list(left), rel=0, abs=1e-9)


def test_standard_errors_against_monte_carlo() -> None:
    """Over 1500 noisy sets the parameters scatter as the mean standard errors say, within 6 percent.

    With 1500 sets a standard deviation is known to 1.8 percent (1 / sqrt(2 n)), so 6 is over three of them.
    """
    rows, told = [], []
    for seed in range(1500):
        local = fitted(SIDES, noisy(seed))
        fit = local.fit
        assert fit is not None
        e, n, h = local.to_local(*one(E0 + 700.0, N0 - 500.0, H0))
        assert h is not None
        rows.append(
            [
                local.scale_ppm,
                local.rotation_clockwise_deg,
                local.local_easting,
                local.shift_m,
                local.tilt_north_m_per_m,
                local.tilt_east_m_per_m,
                e[0],
                n[0],
                h[0],
            ]
        )
        place = local.from_origin_m(*one(E0 + 700.0, N0 - 500.0))
        at_place, high = fit.horizontal_se_m(*place), fit.vertical_se_m(*place)
        assert at_place is not None
        assert high is not None
        each = float(at_place[0]) / math.sqrt(2.0)
        told.append(
            [
                fit.se_scale_ppm,
                fit.se_rotation_deg,
                fit.se_origin_m,
                fit.se_shift_m,
                fit.se_tilt_north_m_per_m,
                fit.se_tilt_east_m_per_m,
                each,
                each,
                float(high[0]),
            ]
        )
    scatter = np.std(np.array(rows), axis=0, ddof=1)
    mean_told = np.sqrt(np.mean(np.array(told) ** 2, axis=0))
    np.testing.assert_allclose(scatter / mean_told, 1.0, rtol=0, atol=0.06)
    # And without bias: the mean of each lies within 4 standard errors of the truth.
    bias = (np.mean(rows, axis=0)[:2] - [300.0, 12.5]) / (scatter[:2] / math.sqrt(1500))
    assert np.all(np.abs(bias) < 4.0)


@given(seed=st.integers(0, 10_000), order=st.permutations(range(6)))
def test_the_order_of_pairs_does_not_matter(seed: int, order: list[int]) -> None:
    """The same pairs in another order carry a point to the same place."""
    pairs = noisy(seed)
    place = one(E0 + 100.0, N0 + 50.0, H0)
    one_way = fitted(SIDES, pairs).to_local(*place)
    other = fitted(SIDES, [pairs[i] for i in order]).to_local(*place)
    for a, b in zip(one_way, other, strict=True):
        assert a is not None
        assert b is not None
        assert_metres(a, b, within_m=5e-9)


# ------------------------------------------------------------------------------------------- redundancy


def test_two_pairs_fit_exactly_and_are_not_checked() -> None:
    """Two pairs: no residuals, no standard errors, and a finding that says so."""
    local = fitted(SIDES, noisy(1)[:2])
    fit = local.fit
    assert fit is not None
    assert (fit.redundancy_h, fit.sigma_h_m, fit.se_scale_ppm, fit.se_rotation_deg) == (
        0,
        None,
        None,
        None,
    )
    assert fit.se_origin_m is None
    assert fit.horizontal_se_m(*one(0.0, 0.0)) is None
    assert fit.worst_horizontal.horizontal_m < 1e-9
    assert ("local-grid-redundancy", Severity.WARNING) in codes(local.findings)
    assert "local-grid-redundancy" not in dict(codes(fitted(SIDES, noisy(1)).findings))


@pytest.mark.parametrize(
    ("count", "asked", "model", "redundancy"),
    [
        (0, None, "none", 0),
        (1, None, "shift", 0),
        (2, None, "shift", 1),
        (3, None, "shift", 2),
        (3, "plane", "plane", 0),
        (4, None, "plane", 1),
        (6, None, "plane", 3),
        (6, "shift", "shift", 5),
    ],
)
def test_vertical_model(count: int, asked: Any, model: str, redundancy: int) -> None:
    """One to three heights give a shift, four a plane, unless the job asks otherwise."""
    pairs = [
        p if i < count else replace(p, height=None, local_height=None)
        for i, p in enumerate(noisy(5))
    ]
    local = fitted(SIDES, pairs, vertical_model=asked)
    fit = local.fit
    assert fit is not None
    assert (fit.vertical_model, fit.redundancy_v) == (model, redundancy)
    assert (fit.sigma_v_m is None) == (redundancy == 0)
    assert (fit.se_tilt_north_m_per_m is not None) == (model == "plane" and redundancy > 0)
    unchecked = [f for f in local.findings if f.code == "local-grid-redundancy"]
    assert [f.component for f in unchecked] == (
        ["vertical"] if redundancy == 0 and model != "none" else []
    )
    if model == "shift":
        differences = [
            (p.local_height or 0) - (p.height or 0) for p in pairs if p.height is not None
        ]
        assert local.shift_m == pytest.approx(sum(differences) / count, abs=1e-9)
        if count > 1:  # standard error of a mean: closed form
            assert fit.se_shift_m == pytest.approx(
                np.std(differences, ddof=1) / math.sqrt(count), abs=1e-9
            )


# ------------------------------------------------------------------------------------------- refusals


def refused(pairs: list[GridPair], **more: Any) -> str:
    with pytest.raises(InputError) as caught:
        fitted(SIDES, pairs, source="pairs.csv", **more)
    assert caught.value.where == "pairs.csv"
    assert caught.value.remedy
    return str(caught.value)


@pytest.mark.parametrize("count", [0, 1])
def test_fewer_than_two_pairs_are_refused(count: int) -> None:
    """A local grid needs two pairs."""
    assert "at least two" in refused(noisy(1)[:count])


def test_coincident_pairs_are_refused() -> None:
    """Two ids at one place, on either side, and pairs that all lie close together."""
    pairs = noisy(1)
    twice = replace(pairs[1], easting=pairs[0].easting, northing=pairs[0].northing + 0.05)
    text = refused([pairs[0], twice, *pairs[2:]])
    assert "P1 and P2 stand 0.050 m apart in the projected grid" in text
    twice = replace(
        pairs[1], local_easting=pairs[0].local_easting, local_northing=pairs[0].local_northing
    )
    assert "in the local grid" in refused([pairs[0], twice])
    near = pairs_of(TRUE, np.array([0.0, 6.0, 3.0]), np.array([0.0, 0.0, 5.0]))
    assert "too near to one another" in refused(near)


def test_heights_on_a_line_carry_no_plane() -> None:
    """Pairs along a road: refused as a plane, accepted as a shift; the horizontal fit does not mind."""
    along = np.linspace(-900.0, 900.0, 5)
    pairs = pairs_of(TRUE, along, along * 0.5 + np.array([0, 2, 0, -2, 0]), np.full(5, 1300.0))
    text = refused(pairs)
    assert "lie on one line" in text
    assert 'vertical_model = "shift"' in text
    local = fitted(SIDES, pairs, vertical_model="shift")
    assert local.tilt_north_m_per_m == 0.0
    assert local.scale == pytest.approx(TRUE.scale, abs=1e-12)
    assert "a plane needs three" in refused(pairs[:2], vertical_model="plane")


@pytest.mark.parametrize("model", ["shift", "plane"])
def test_a_vertical_model_needs_heights(model: Any) -> None:
    """What the job asks to be fitted to heights is not passed over where there are none."""
    text = refused(pairs_of(TRUE, EAST, NORTH), vertical_model=model)
    assert f"asks for a {model}, and no pair has heights" in text


def test_wrong_units_show_in_the_scale() -> None:
    """Local feet declared as metres give a scale of 3.28: refused, with the foot named."""
    true = replace(TRUE, sides=replace(SIDES, local_unit=FT))
    assert "a foot in metres" in refused(pairs_of(true, EAST, NORTH, UP))
    far = [replace(p, local_easting=p.local_easting * 9.0) for p in noisy(1)]
    assert "other points under the same ids" in refused(far)


def test_exchanged_axes_are_told() -> None:
    """Northing in the column of easting, on one side: a mirror image, not a bad fit."""
    pairs = [
        replace(p, local_easting=p.local_northing, local_northing=p.local_easting) for p in noisy(3)
    ]
    assert "easting and northing are exchanged on one side" in refused(pairs)


@pytest.mark.parametrize("crs", ["EPSG:6318", "EPSG:4978", "EPSG:5703", "EPSG:2314"])
def test_the_grid_side_must_be_a_plane(crs: str) -> None:
    """Degrees, geocentric coordinates, heights alone, and Clarke's foot carry no local grid."""
    sides = replace(SIDES, grid=declared(crs))
    with pytest.raises(ReferenceSystemError, match=r"local_grid\.crs"):
        stated(sides, Parameters("grid-to-local"))
    with pytest.raises(ReferenceSystemError, match="plane"):
        fitted(sides, noisy(1))


def test_heights_need_a_vertical_system() -> None:
    """Heights tied to a system without a vertical part are refused; without heights it stands."""
    sides = replace(SIDES, grid=declared("EPSG:6341"))
    with pytest.raises(ReferenceSystemError, match="does not say what its heights refer to"):
        stated(sides, Parameters("grid-to-local", vertical_shift_m=0.0))
    with pytest.raises(ReferenceSystemError, match="leave the heights away"):
        fitted(sides, noisy(1))
    assert stated(sides, Parameters("grid-to-local")).shift_m is None


def test_findings_of_the_reference_are_handed_on_once() -> None:
    """What reading the grid side's code brought up is told by the local grid, and not by what it carries to."""
    told = replace(UTM, findings=(Finding("crs-deprecated", Severity.NOTE, "an old code"),))
    sides = replace(SIDES, grid=told)
    for local in (stated(sides, Parameters("grid-to-local")), fitted(sides, noisy(1))):
        assert ("crs-deprecated", Severity.NOTE) in codes(local.findings)
        assert carry(local, *one(E0, N0, H0), "local-to-grid").reference.findings == ()


# ------------------------------------------------------------------------------------------- tolerance


def test_residuals_beyond_the_tolerance_block() -> None:
    """A pair 0.30 m off in height blocks heights, one off in position blocks all; in time none does."""
    pairs = noisy(2, 0.002, 0.002)
    calm = fitted(SIDES, pairs, tolerance_m=0.02)
    assert "local-grid-tolerance" not in dict(codes(calm.findings))
    high = [replace(pairs[0], local_height=(pairs[0].local_height or 0) + 0.3), *pairs[1:]]
    (finding,) = [
        f
        for f in fitted(SIDES, high, tolerance_m=0.05).findings
        if f.code == "local-grid-tolerance"
    ]
    assert (finding.severity, finding.component) == (Severity.BLOCKING, "vertical")
    assert "P1" in finding.message
    aside = [*pairs[:5], replace(pairs[5], local_easting=pairs[5].local_easting + 0.5)]
    (finding,) = [
        f
        for f in fitted(SIDES, aside, tolerance_m=0.05).findings
        if f.code == "local-grid-tolerance"
    ]
    assert (finding.severity, finding.component) == (Severity.BLOCKING, "all")
    assert "P6" in finding.message


def test_large_residuals_are_a_warning_where_nothing_is_stated() -> None:
    """Two ids exchanged: metres of residuals are not passed over in silence."""
    pairs = noisy(2)
    swapped = [replace(pairs[0], id="P2"), replace(pairs[1], id="P1"), *pairs[2:]]
    assert ("local-grid-fitted", Severity.NOTE) in codes(fitted(SIDES, swapped).findings)
    pairs[4] = replace(pairs[4], local_northing=pairs[4].local_northing + 1.0)
    (finding,) = [f for f in fitted(SIDES, pairs).findings if f.code == "local-grid-fitted"]
    assert finding.severity is Severity.WARNING
    assert "P5" in finding.message
    assert finding.remedy


# ------------------------------------------------------------------------------------------- ground


@pytest.mark.parametrize(
    ("longitude", "height_m", "ppm"),
    [
        # UTM at 40 N: central meridian 0.9996, one degree off 0.99968970, 2.9 degrees 1.00035455 (PROJ,
        # own runs); with R = 6 371 km: 500 m -78.5 ppm, 1600 m -251 ppm, together -651 at 1600 m
        (-111.0, 0.0, -400.0),
        (-110.0, 0.0, -310.30),
        (-108.1, 0.0, 354.55),
        (-111.0, 500.0, -400.0 - 78.5),
        (-111.0, 1600.0, -651.0),
    ],
)
def test_combined_factor_at_known_places(longitude: float, height_m: float, ppm: float) -> None:
    """Point scale and elevation factor, as measured and as the formulas say."""
    from pyproj import Proj

    easting, northing = Proj("EPSG:6341")(longitude, 40.0)
    factor = ground_factor(UTM, easting, northing, height_m)
    assert factor is not None
    assert (factor.combined - 1.0) * 1e6 == pytest.approx(ppm, rel=0, abs=0.1)
    if longitude == -111.0:
        assert factor.combined == pytest.approx(0.9996 * 6371e3 / (6371e3 + height_m), abs=1e-10)


def test_point_scale_of_a_state_plane_in_feet() -> None:
    """Colorado Central at 39.5 N: 0.99996010 (PROJ, own run, at longitude -105), from coordinates in feet."""
    from pyproj import Proj

    side = declared("EPSG:6428+6360")
    easting, northing = Proj("EPSG:6428")(-105.0, 39.5)
    factor = ground_factor(side, easting, northing, 0.0)
    assert factor is not None
    assert factor.point_scale == pytest.approx(0.99996010, rel=0, abs=1e-8)


@pytest.mark.parametrize(
    ("crs", "longitude", "latitude"),
    [
        ("EPSG:6341", -109.7, 45.1),  # transverse Mercator
        ("EPSG:6430", -104.9, 40.4),  # Lambert, two parallels, US survey feet
        ("EPSG:2193", 175.3, -40.1),  # south of the equator
        ("EPSG:5514", 16.2, 49.7),  # oblique Lambert
    ],
)
def test_point_scale_is_that_of_geodesics(crs: str, longitude: float, latitude: float) -> None:
    """The factor is grid distance over geodesic distance (Geod, an independent algorithm), in any direction."""
    from pyproj import CRS, Geod, Proj

    proj, side = Proj(crs), declared(crs)
    assert side.horizontal_unit is not None
    easting, northing = proj(longitude, latitude)
    factor = ground_factor(side, easting, northing, 0.0)
    assert factor is not None
    half = from_metres(500.0, side.horizontal_unit)
    geod = CRS(crs).get_geod()
    assert isinstance(geod, Geod)
    for angle in (0.0, 0.7, 1.6, 2.5):
        step = half * math.cos(angle), half * math.sin(angle)
        ends = [
            proj(easting + sign * step[0], northing + sign * step[1], inverse=True)
            for sign in (-1.0, 1.0)
        ]
        distance_m = geod.inv(*ends[0], *ends[1])[2]
        assert factor.combined == pytest.approx(1000.0 / distance_m, rel=0, abs=1e-8)


@pytest.mark.parametrize("crs", ["EPSG:6318", "EPSG:3857", "EPSG:2163", "EPSG:5514", "EPSG:5513"])
def test_no_factor_where_the_scale_depends_on_direction(crs: str) -> None:
    """Degrees have none; nor have projections that are not conformal, and axes that point elsewhere."""
    side = declared(crs)
    east, north = (550_000.0, 1_050_000.0) if crs == "EPSG:5513" else (-550_000.0, -1_050_000.0)
    factor = ground_factor(side, east, north, 0.0)
    assert (factor is None) == (crs != "EPSG:5514")  # Krovak, east and north: conformal


def ground_grid(scale: float) -> tuple[Finding, ...]:
    return scale_findings("yard", scale, UTM, 500_000.0, 4_427_757.0, 1600.0)


def test_a_scale_from_grid_to_ground_is_recognised() -> None:
    """UTM's central meridian at 1600 m: a kilometre of the grid is 651 mm longer on the ground; it fits."""
    (finding,) = ground_grid(1.0 / (0.9996 * 6371.0 / 6372.6))
    assert codes((finding,)) == [("local-grid-scale", Severity.NOTE)]
    assert "it fits" in finding.message
    assert "+651.4 ppm" in finding.message  # 1 / (1 - 651.0e-6), in ppm
    evidence = finding.evidence["grid_to_ground_ppm"]
    assert isinstance(evidence, float)
    assert evidence == pytest.approx(651.40, abs=0.05)


@pytest.mark.parametrize(
    ("scale_ppm", "severity", "said"),
    [
        (-651.0, Severity.WARNING, "the wrong way round"),
        (661.0, Severity.NOTE, "it fits"),
        (662.0, Severity.WARNING, "does not fit, by +10.6 ppm"),
        (400.2, Severity.WARNING, "does not fit"),
        (21.0, Severity.WARNING, "does not fit"),
    ],
)
def test_other_scales_are_asked_about(scale_ppm: float, severity: Severity, said: str) -> None:
    """The factor the wrong way round, without the height, or nothing of the kind."""
    (finding,) = ground_grid(1.0 + scale_ppm * 1e-6)
    assert finding.severity is severity
    assert said in finding.message


def test_a_scale_that_is_poorly_known_may_fit() -> None:
    """18 ppm off with a standard error of 10 is no evidence against the factor; with 8 it is."""
    place = (UTM, 500_000.0, 4_427_757.0, 1600.0)
    scale = 1.0 + 669.4e-6  # the factor from grid to ground is +651.4 ppm there
    (finding,) = scale_findings("yard", scale, *place, 10.0)
    assert finding.severity is Severity.NOTE
    assert "it may fit; the difference of +18.0 ppm" in finding.message
    (finding,) = scale_findings("yard", scale, *place, 8.0)
    assert finding.severity is Severity.WARNING


def test_small_scales_are_no_finding_and_unknown_heights_are_said() -> None:
    """Within 20 ppm nothing is said; beyond, without a height, that it could not be checked."""
    assert ground_grid(1.0 + 19.9e-6) == ()
    assert ground_grid(1.0 - 19.9e-6) == ()
    (finding,) = scale_findings("yard", 1.0005, UTM, 500_000.0, 4_427_757.0, None)
    assert finding.severity is Severity.WARNING
    assert "height of the site is not known" in finding.message
    (finding,) = scale_findings("yard", 1.0005, declared("EPSG:3857"), -1.2e7, 4.8e6, 0.0)
    assert "no factor can be computed" in finding.message


def test_fits_and_stated_grids_are_both_asked() -> None:
    """A fit is asked at its pairs, stated parameters where the points are that they carry."""
    factor = 1.0 / (0.9996 * 6371.0 / 6372.6)
    true = stated(
        SIDES,
        Parameters("grid-to-local", factor, 0.0, 500_000.0, 4_427_757.0, vertical_shift_m=-900.0),
    )
    local = fitted(SIDES, pairs_of(true, EAST, NORTH, np.full(6, 1600.0)))
    assert ("local-grid-scale", Severity.NOTE) in codes(local.findings)
    there = true.to_local(*one(500_100.0, 4_427_700.0, 1600.0))
    assert there[2] is not None
    assert there[2][0] == pytest.approx(700.0, abs=1e-9)
    for done in (
        carry(true, there[0], there[1], there[2], "local-to-grid"),
        carry(true, *one(500_100.0, 4_427_700.0, 1600.0), "grid-to-local"),
    ):
        assert codes(done.findings) == [("local-grid-scale", Severity.NOTE)]
        assert done.findings[0].evidence["height_m"] == pytest.approx(1600.0, abs=1e-6)


# ------------------------------------------------------------------------------------------- carrying


def test_carried_points_agree_with_the_other_side() -> None:
    """Checkpoints of the local grid arrive in the grid's reference system, heights and geoid with them."""
    local = fitted(SIDES, noisy(1))
    e, n, h = local.to_local(E0 + EAST, N0 + NORTH, UP)
    assert h is not None
    done = carry(local, e, n, h, "local-to-grid")
    assert_metres(done.easting, E0 + EAST, within_m=1e-9)
    assert_metres(done.northing, N0 + NORTH, within_m=1e-9)
    assert_metres(done.height, UP, within_m=1e-9)
    same = agree(done.reference, UTM, "cloud")
    assert (same.horizontal, same.vertical, same.findings) == ("identity", "identity", ())
    assert done.reference.geoid == "GEOID18"
    assert done.findings == ()
    back = carry(local, done.easting, done.northing, done.height, "grid-to-local")
    assert_metres(back.easting, e, within_m=1e-9)
    here = agree(back.reference, local_reference(local), "cloud")
    assert (here.horizontal, here.vertical, here.findings) == ("identity", "identity", ())
    apart = agree(local_reference(local), UTM, "cloud")
    assert (apart.horizontal, apart.vertical) == ("differs", "differs")


def test_the_local_reference() -> None:
    """An engineering system of its own datum and units, whatever its name holds."""
    sides = Sides('Yard "B", north', UTM, FTUS, M)
    reference = local_reference(stated(sides, Parameters("grid-to-local")))
    assert (reference.name, reference.frame) == ('Yard "B", north', 'Yard "B", north')
    assert (reference.horizontal_kind, reference.horizontal_unit, reference.vertical_unit) == (
        "engineering",
        FTUS,
        M,
    )
    assert reference.horizontal_known
    assert reference.vertical_known
    assert not reference.dynamic
    assert reference.findings == ()


@pytest.mark.parametrize("direction", ["local-to-grid", "grid-to-local"])
def test_heights_that_are_not_tied_block_heights_only(direction: Any) -> None:
    """Without a vertical part the position is carried, heights change but their unit and refer to nothing."""
    local = fitted(replace(SIDES, local_height_unit=FT), pairs_of(TRUE, EAST, NORTH))
    done = carry(local, *one(E0, N0, 1000.0), direction)
    to_grid = direction == "local-to-grid"
    assert done.reference.vertical_unit is (M if to_grid else FT)
    assert_metres(done.height, 304.8 if to_grid else 1000.0 / 0.3048, within_m=1e-9)
    (finding,) = done.findings if direction == "grid-to-local" else done.findings[:1]
    assert codes((finding,)) == [("local-grid-no-heights", Severity.BLOCKING)]
    assert finding.component == "vertical"
    other = UTM if direction == "local-to-grid" else local_reference(local)
    found = agree(done.reference, other, "cloud")
    assert (found.horizontal, found.vertical) == ("identity", "unknown")
    assert any("heights are not tied" in step for step in done.steps)


def test_points_far_outside_the_pairs_are_told() -> None:
    """Beyond 1.5 times the farthest pair there is a warning, and the standard error grows with distance."""
    local = fitted(SIDES, noisy(1))
    fit = local.fit
    assert fit is not None
    distance = np.array([0.0, 1.0, 1.49, 1.51, 4.0]) * fit.radius_m
    east, north = fit.middle_m
    points = (
        local.origin_easting + east + distance,
        np.full(5, local.origin_northing + north),
        np.full(5, H0),
    )
    done = carry(local, *points, "grid-to-local")
    assert codes(done.findings) == [("local-grid-outside", Severity.WARNING)]
    assert done.findings[0].evidence["points"] == 2
    assert done.horizontal_se_m is not None
    assert all(a < b for a, b in pairwise(done.horizontal_se_m))
    assert done.vertical_se_m is not None
    assert done.accuracy_m == max(done.horizontal_se_m.max(), done.vertical_se_m.max())
    assert carry(local, *(p[:3] for p in points), "grid-to-local").findings == ()


def test_the_accuracy_of_what_is_not_checked_is_unknown() -> None:
    """Stated parameters, two pairs, and a single tied height have no standard error."""
    pairs = noisy(1)
    bare = [replace(p, height=None, local_height=None) for p in pairs]
    for local in (TRUE, fitted(SIDES, pairs[:2]), fitted(SIDES, [pairs[0], *bare[1:]])):
        assert carry(local, *one(E0, N0, H0), "grid-to-local").accuracy_m is None
    flat = carry(fitted(SIDES, bare), *one(E0, N0, H0), "grid-to-local")
    assert flat.horizontal_se_m is not None
    assert flat.accuracy_m == flat.horizontal_se_m[0]


def test_heights_of_a_grid_without_vertical_part_stay_as_they_are() -> None:
    """Where neither side ties heights to anything, the number is kept, with the unit of the local side."""
    sides = replace(SIDES, grid=declared("EPSG:6341"), local_height_unit=FT)
    done = carry(stated(sides, Parameters("grid-to-local")), *one(E0, N0, 77.0), "local-to-grid")
    assert (done.height.tolist(), done.reference.vertical_unit) == ([77.0], FT)
    assert codes(done.findings) == [("local-grid-no-heights", Severity.BLOCKING)]


def test_nothing_to_carry() -> None:
    """No points give no points, for both kinds of local grid."""
    empty = np.array([], dtype=np.float64)
    for local in (TRUE, fitted(SIDES, noisy(1))):
        done = carry(local, empty, empty, empty, "local-to-grid")
        assert (done.easting.size, done.findings, done.accuracy_m) == (0, (), None)


# ------------------------------------------------------------------------------------------- the record


@pytest.mark.parametrize("direction", ["grid-to-local", "local-to-grid"])
def test_steps_can_be_followed_by_hand(direction: Any) -> None:
    """Recomputing with the numbers printed in the steps gives the carried coordinates to 0.1 mm."""
    import re

    start = (E0 + 300.0, N0 - 400.0, H0)
    done = carry(TRUE, *one(*start), "grid-to-local")
    if direction == "local-to-grid":
        start = (done.easting[0], done.northing[0], done.height[0])
        done = carry(TRUE, *one(*start), direction)
    text, heights, source = done.steps
    grid_e, grid_n = (float(v) for v in re.findall(r"[EN]0 (-?[\d.]+)", text)[:2])
    local_e, local_n = (float(v) for v in re.findall(r"[en]0 (-?[\d.]+) ?[,(]", text)[:2])
    number = r"[-+]?\d+\.\d{12}"
    p, q, p2, q2 = (float(v) for v in re.findall(number, text.split("in metres")[1]))
    here, there = ((grid_e, grid_n), (local_e, local_n))
    if direction == "local-to-grid":
        here, there = there, here
    x, y = start[0] - here[0], start[1] - here[1]
    assert_metres(done.easting, there[0] + p * x + q * y, within_m=1e-4)
    assert_metres(done.northing, there[1] + p2 * y + q2 * x, within_m=1e-4)
    shift, north, east = (float(v) for v in re.findall(r"[-+]\d+\.\d+", heights))
    from_origin = TRUE.from_origin_m(*one(E0 + 300.0, N0 - 400.0))
    rise = shift + north * from_origin[1][0] + east * from_origin[0][0]
    sign = 1.0 if direction == "grid-to-local" else -1.0
    assert_metres(done.height, start[2] + sign * rise, within_m=1e-4)
    assert "counter-clockwise" in text if direction == "local-to-grid" else "counter" not in text
    assert "stated" in source


def test_the_record_is_json_and_complete() -> None:
    """Parameters, units, residuals per pair, standard errors and redundancy survive JSON."""
    pairs = noisy(1)
    local = fitted(SIDES, pairs, source="pairs.csv")
    done = carry(local, *one(1000.0, 5000.0, H0), "local-to-grid")
    record = json.loads(json.dumps(dict(done.record), allow_nan=False))
    assert record["direction"] == "local-to-grid"
    assert record["parameters_direction"] == "grid-to-local"
    assert record["scale_ppm"] == pytest.approx(300.0, abs=100.0)
    fit = record["fit"]
    assert [r["id"] for r in fit["residuals"]] == [p.id for p in pairs]
    assert (fit["pairs"], fit["redundancy_horizontal"], fit["redundancy_vertical"]) == (6, 8, 3)
    assert all(value > 0 for value in fit["standard_errors"].values())
    largest = max(fit["residuals"], key=lambda r: r["horizontal_m"])
    assert fit["largest_horizontal"] == {
        "id": largest["id"],
        "residual_m": largest["horizontal_m"],
    }
    assert "pairs.csv: P1, P2" in local.source
    assert json.loads(json.dumps(TRUE.as_record()))["fit"] is None


# ------------------------------------------------------------------------------------------- independence


def checkpoint(name: str, easting: float, northing: float) -> Checkpoint:
    return Checkpoint(name, easting, northing, H0)


def test_pairs_that_are_checkpoints_block() -> None:
    """The same id, or another id at the same mark, is control and cannot be judged."""
    pairs = noisy(1)
    apart = checkpoint("CP1", 1000.0, 5000.0)
    assert shared_ids(pairs, [apart]) == ()
    assert shared_ids([], [apart], side="local", unit=M) == ()
    named = checkpoint("P3", 0.0, 0.0)
    (finding,) = shared_ids(pairs, [apart, named])
    assert codes((finding,)) == [("local-grid-shared-points", Severity.BLOCKING)]
    assert finding.component == "all"
    assert "P3" in finding.message
    assert "CP1" not in finding.message
    assert "control" in finding.remedy
    there = checkpoint("CP2", pairs[1].local_easting + 0.01, pairs[1].local_northing)
    assert shared_ids(pairs, [there]) == ()
    (finding,) = shared_ids(pairs, [apart, there], side="local", unit=M)
    assert "CP2 (stands at pair P2)" in finding.message
    in_grid = checkpoint("CP3", pairs[0].easting, pairs[0].northing - 0.015)
    assert shared_ids(pairs, [in_grid], side="local", unit=M) == ()
    assert shared_ids(pairs, [in_grid], side="grid", unit=M) != ()
    near = checkpoint("CP4", pairs[0].easting, pairs[0].northing - 0.05)
    assert shared_ids(pairs, [near], side="grid", unit=M) == ()
    assert shared_ids(pairs, [near], side="grid", unit=FT) != ()  # 0.05 ft are 1.5 cm
