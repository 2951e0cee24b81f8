"""Faults: their closed forms against worked numbers and against the rigorous simulation; sizes as typed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pyproj
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import assert_metres

from accuracy.errors import UsageError
from accuracy.simulation.faults import FAULTS, Where, checked, parse_fault, predicted_m
from accuracy.simulation.memory import simulate
from accuracy.simulation.scenarios import SILENT, Scenario, scenario
from accuracy.simulation.sites import CUMBERLAND, UTAH

X_35 = 50.0 * np.tan(np.radians(35.0))


def where(across_m: float = 0.0, heading_deg: float = 0.0) -> Where:
    east, north = UTAH.origin_m
    return Where(
        site=UTAH,
        east_m=np.array([east + 100.0]),
        north_m=np.array([north + 50.0]),
        up_m=np.array([1310.0]),
        heading_deg=np.array([heading_deg]),
        track_deg=np.array([heading_deg]),
        across_m=np.array([across_m]),
        height_m=np.array([50.0]),
        speed_m_s=np.array([5.0]),
        climb_m_s=np.array([0.5]),
    )


@pytest.mark.parametrize(
    ("name", "size", "across_m", "along_right_up_mm"),
    [
        # worked numbers for 50 m, 5 m/s, 35 degrees: derived with an exact rotation, rounded to 0.1 mm
        ("boresight-roll", 0.1, 0.0, (0, -87.3, 0)),
        ("boresight-roll", 0.1, X_35, (0, -87.3, -61.1)),
        ("boresight-roll", 0.01, -X_35, (0, -8.7, 6.1)),
        ("boresight-pitch", 0.1, X_35, (87.3, 0, 0)),
        ("boresight-heading", 0.1, X_35, (-61.1, 0, 0)),
        ("boresight-heading", 0.1, -X_35, (61.1, 0, 0)),
        ("lever-forward", 0.05, X_35, (50, 0, 0)),
        ("lever-right", 0.05, X_35, (0, 50, 0)),
        ("lever-down", 0.05, X_35, (0, 0, -50)),
        ("range-offset", 0.03, 0.0, (0, 0, -30)),
        ("range-offset", 0.03, X_35, (0, 17.2, -24.6)),
        ("scan-scale", 0.001, X_35, (0, 30.5, 21.4)),
        ("scan-scale", 0.001, -X_35, (0, -30.5, 21.4)),
        ("clock-offset", 0.01, 0.0, (50, 0, 5)),
        ("clock-offset", 18.0, 0.0, (90_000, 0, 9000)),
    ],
)
def test_vectors_in_the_aircraft_are_the_worked_ones(
    name: str, size: float, across_m: float, along_right_up_mm: tuple[float, float, float]
) -> None:
    """Heading north, forward is north and right is east; heading south, both turn round."""
    along, right, up = np.array(along_right_up_mm) / 1000.0
    north = predicted_m({name: size}, where(across_m))[0]
    assert_metres(north, (right, along, up), within_m=6e-5)
    south = predicted_m({name: size}, where(across_m, 180.0))[0]
    assert_metres(south, (-right, -along, up), within_m=6e-5)


def test_vectors_on_the_map_are_the_worked_ones() -> None:
    """Each from the numbers of its cause, written out again."""
    east, north = UTAH.origin_m
    at = where()
    e, n, up = float(at.east_m[0]), float(at.north_m[0]), 1310.0
    height = UTAH.antenna.height_m
    feet = 2.000004e-6
    undulation = -16.92 + 1.1e-5 * 100 - 1.6e-5 * 50
    turn = np.radians(0.05)
    worked: dict[tuple[str, float], tuple[float, float, float]] = {
        ("base-slant", 0.044): (0, 0, 0.044),
        ("antenna-height", -1): (0, 0, -height),
        ("antenna-height", 1): (0, 0, height),
        ("antenna-feet", 1): (0, 0, 2.280840 * height),
        ("phase-centre", -1): (0, 0, -0.09135),
        ("antenna-model", 0.018): (0, 0, 0.018),
        ("base-east", 0.12): (0.12, 0, 0),
        ("base-north", 0.12): (0, 0.12, 0),
        ("base-up", 0.12): (0, 0, 0.12),
        ("base-autonomous", 1): UTAH.autonomous_m,
        ("geoid-omitted", 1): (0, 0, undulation),
        ("geoid-omitted", -1): (0, 0, -undulation),
        ("geoid-model", 0.1): (0, 0, 0.101),
        ("feet", 1): (feet * e, feet * n, feet * up),
        ("feet-heights", 1): (0, 0, 2.280840 * up),
        ("feet-heights", -1): (0, 0, -0.6952 * up),
        ("grid-ground", 350): (0.035, 0.0175, 0),
        ("grid-ground-origin", 1): (1e-6 * e, 1e-6 * n, 0),
        # clockwise: what lies east of the corner moves south
        ("convergence", 0.05): (50 * turn, -100 * turn, 0),
        ("swapped-axes", 1): (n - e, e - n, 0),
    }
    for (name, size), vector in worked.items():
        # the feet's factor and the antenna's ratio are written with seven figures
        assert_metres(predicted_m({name: size}, at)[0], vector, within_m=6e-4)
    assert (east, north) == (412_300.0, 4_541_200.0)


def test_a_wrong_zone_is_what_proj_says() -> None:
    """The vector of the zone is the difference of two projections by PROJ."""
    at = where()
    right, wrong = pyproj.CRS.from_epsg(6341), pyproj.CRS.from_epsg(6342)
    there = pyproj.Transformer.from_crs(right, wrong, always_xy=True)
    e, n = there.transform(at.east_m[0], at.north_m[0])
    vector = predicted_m({"zone": 1.0}, at)[0]
    assert_metres(vector, (e - at.east_m[0], n - at.north_m[0], 0.0), within_m=2e-4)


def test_frames_and_plates_are_what_proj_says() -> None:
    """GDA94 minus GDA2020 and the plate's motion at the Australian site, through PROJ's own operations."""
    east, north = CUMBERLAND.origin_m
    at = Where(
        site=CUMBERLAND, east_m=np.array([east]), north_m=np.array([north]), up_m=np.array([84.0])
    )
    here = CUMBERLAND.geocentric_m(east, north, 84.0)
    to_new = pyproj.Transformer.from_pipeline(
        "+proj=helmert +x=0.06155 +y=-0.01087 +z=-0.04019 +rx=-0.0394924 +ry=-0.0327221 "
        "+rz=-0.0328979 +s=-0.009994 +convention=coordinate_frame"
    )
    to_map = pyproj.Transformer.from_pipeline(
        "+proj=pipeline +step +inv +proj=cart +ellps=GRS80 +step +proj=utm +zone=56 +south +ellps=GRS80"
    )
    # a place whose GDA2020 coordinates these are, told in GDA94
    older = to_new.transform(*here, direction="INVERSE")
    vector = np.subtract(to_map.transform(*older), to_map.transform(*here))
    assert_metres(predicted_m({"frame-older": 1.0}, at)[0], vector, within_m=2e-3)
    six = predicted_m({"epoch": 6.0}, at)[0]
    assert_metres(np.hypot(*six[:2]), 6 * 0.0574, within_m=0.002)


def level(name: str) -> Scenario:
    """Give a scenario flown level by a scanner in line with the axes, without noise."""
    whole = scenario(name).with_noise(SILENT)
    straight = replace(whole.payload, boresight_deg=(0.0, 0.0, 0.0))
    return replace(whole, sway=0.0, payload=straight)


@pytest.mark.parametrize("name", sorted(FAULTS))
def test_the_rigorous_flight_shows_the_closed_vector(name: str) -> None:
    """Level flight: what a fault does to the points is what its formula says.

    Within 0.3 mm: the formula is evaluated at the checkpoint, the points lie up to 0.5 m around it, and terms
    of second order are left out. Vectors that change from point to point by more are excused below.
    """
    fault = FAULTS[name]
    flown = level("corridor" if name == "frame-older" else "flat")
    size = parse_fault(f"{name}={fault.example}")[1]
    if fault.unit == "deg" and fault.family == "body":
        size *= 0.01 / abs(size)
    made = simulate(flown, {name: size}, 1)
    seen = made.seen
    assert len(seen.line) > 10
    within_m = {"convergence": 8e-4, "feet-heights": 0.3, "zone": 0.02, "swapped-axes": 1.5}
    predicted = np.zeros_like(seen.exact_m) if fault.family == "survey" else seen.predicted_m
    assert_metres(seen.exact_m, predicted, within_m=within_m.get(name, 3e-4))
    targets = np.isfinite(made.measured_m[:, 0])
    assert np.count_nonzero(targets) >= 6
    if fault.family == "survey":
        moved = made.checkpoints.true_m - made.checkpoints.surveyed_m
        assert_metres(moved, made.predicted_m, within_m=1e-9)


def test_a_turn_of_the_heading_turns_body_errors_only() -> None:
    """Over opposite lines the mean of a body-fixed vector is near zero; a map-fixed one stays."""
    made = simulate(level("flat"), {"boresight-pitch": 0.05}, 1)
    along = {}
    for line in (11, 12):
        mine = made.seen.line == line
        along[line] = made.seen.exact_m[mine, 0].mean()  # both fly along the east axis
    size = 50.0 * np.radians(0.05)
    assert_metres(along[11], size, within_m=3e-3)
    assert_metres(along[12], -size, within_m=3e-3)


def test_horizontal_shifts_show_in_heights_through_slopes() -> None:
    """On a slope the residual in height is up minus slope times the horizontal vector, whatever the cause."""
    made = simulate(level("hills"), {"base-east": 0.12, "base-north": -0.05}, 1)
    open_ground = np.array(made.checkpoints.cover) == "non-vegetated"
    expected = -(made.checkpoints.slope * np.array([0.12, -0.05])).sum(axis=1)
    # the ground bends and is triangulated: a few millimetres
    assert_metres(made.up_m[open_ground], expected[open_ground], within_m=0.006)
    assert np.abs(expected).max() > 0.02


@given(
    st.dictionaries(
        st.sampled_from(["base-up", "boresight-roll", "epoch", "clock-offset", "range-offset"]),
        st.floats(-0.05, 0.05),
        max_size=4,
    )
)
def test_vectors_add(faults: dict[str, float]) -> None:
    """The vector of several faults is the sum of theirs."""
    at = where(12.0, 77.0)
    total = sum((predicted_m({name: size}, at) for name, size in faults.items()), np.zeros((1, 3)))
    assert_metres(predicted_m(faults, at), total, within_m=1e-12)


@pytest.mark.parametrize(
    ("text", "name", "size"),
    [
        ("base-slant=44mm", "base-slant", 0.044),
        ("base-slant=4.4 cm", "base-slant", 0.044),
        ("boresight-roll=-0.02deg", "boresight-roll", -0.02),
        ("boresight-roll=20mdeg", "boresight-roll", 0.02),
        ("clock-offset=10ms", "clock-offset", 0.01),
        ("scan-scale=0.1%", "scan-scale", 0.001),
        ("scan-scale=1000ppm", "scan-scale", 0.001),
        ("grid-ground=350ppm", "grid-ground", 350.0),
        ("epoch=6yr", "epoch", 6.0),
        ("antenna-height=-1", "antenna-height", -1.0),
        ("antenna-height=-1x", "antenna-height", -1.0),
        ("half-cell=.5", "half-cell", 0.5),
        (" base-up = 6e1mm ", "base-up", 0.06),
    ],
)
def test_sizes_are_read_with_their_units(text: str, name: str, size: float) -> None:
    """Units are converted to the last bit of the decimal number."""
    assert parse_fault(text) == (name, size)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("boresight-rol=0.02deg", "did you mean boresight-roll?"),
        ("BASE-SLANT=44mm", "did you mean base-slant?"),
        ("", "there is no fault ''"),
        ("xyz=1", "there is no fault 'xyz'"),
        ("base-slant", "has no size"),
        ("base-slant=", "has no size"),
        ("base-slant=44", "has no unit"),
        ("base-slant=44 deg", "has the unit 'deg'"),
        ("base-slant=nan", "not a number with a unit"),
        ("base-slant=nanm", "not a number with a unit"),
        ("base-slant=infm", "not a number with a unit"),
        ("base-slant=1e999m", "beyond"),
        ("base-slant=44mm=2", "not a number with a unit"),
        ("base-slant=1,5m", "not a number with a unit"),
        ("base-slant=\u0664mm", "not a number with a unit"),
        ("boresight-roll=20deg", "beyond 2 deg"),
        ("antenna-height=0.5", "no whole number"),
        ("zone=2", "beyond 1"),
    ],
)
def test_what_cannot_be_a_fault_is_refused_in_words(text: str, told: str) -> None:
    """One error with what is wrong and what to type."""
    with pytest.raises(UsageError) as caught:
        parse_fault(text)
    assert told in caught.value.message
    assert caught.value.remedy


@pytest.mark.parametrize("size", [float("nan"), float("inf"), -1e9])
def test_sizes_given_as_numbers_are_checked_too(size: float) -> None:
    """The library refuses what the command line refuses."""
    with pytest.raises(UsageError):
        checked({"base-up": size})
    with pytest.raises(UsageError):
        simulate("flat", {"base-up": size})


def test_every_fault_explains_itself() -> None:
    """Texts are there, the example can be typed, and a size of nothing does nothing."""
    for name, fault in FAULTS.items():
        assert parse_fault(f"{name}={fault.example}")[0] == name
        for text in (fault.what, fault.sign, fault.vector, fault.seen, fault.alike):
            assert len(text) > 2
        assert checked({name: 0.0}) == {}
        at = where(5.0)
        if name == "frame-older":
            continue
        vector = predicted_m(
            {name: 1.0 if fault.whole else 1e-3}, replace(at, session=2, blunder=True)
        )
        moves = "cloud" in fault.reaches
        assert (np.abs(vector).max() > 0) == moves, name
