"""Centres of targets: against simulated targets whose centre is known.

The truth is that of `accuracy.simulation.targets`: rays at exact geometry. Long runs over many seeds, with the
coverage of the intervals, are in tests/benchmarks/targets.py.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from accuracy.sampling.targets import Centre, Refused, TargetSpec
from accuracy.sampling.targets.cloud import FULL_SCALES, USUAL_BLUR_M
from accuracy.sampling.targets.fit import Setting, fit_target
from accuracy.sampling.targets.image import measure_in_photo
from accuracy.sampling.targets.likelihood import Values
from accuracy.sampling.targets.patterns import columns
from accuracy.simulation.photographs import Camera, Photograph, photograph
from accuracy.simulation.targets import Beam, PaintedTarget, TargetReturns, Texture, scan_target

SETTING = Setting(math.log(USUAL_BLUR_M), full_scales=FULL_SCALES, draws=300)
DENSITY_M2 = 150.0


def values_of(returns: TargetReturns, *, height: bool = False) -> list[Values]:
    """Give returns as the fit takes them, by line."""
    looks = returns.up_m if height else returns.intensity.astype(float)
    at = np.column_stack([returns.east_m, returns.north_m])
    return [
        Values(at[own], looks[own], np.ones(int(own.sum())), int(line))
        for line in np.unique(returns.line)
        if (own := returns.line == line).any()
    ]


def spec_of(kind: Any, search_m: float = 0.4) -> TargetSpec:
    """Give what is looked for: half a metre."""
    return TargetSpec(
        kind,
        0.5,
        0.3 if kind == "ring" else None,
        "height" if kind == "plate" else "intensity",
        search_m,
    )


def scanned(target: PaintedTarget, seed: int, **more: Any) -> TargetReturns:
    """Scan the surroundings of a target."""
    beam = Beam(density_m2=more.pop("density_m2", DENSITY_M2))
    return scan_target(target, beam, np.random.default_rng(seed), half_width_m=1.0, **more)


@pytest.mark.parametrize("kind", ["checkerboard", "disc", "ring", "plate"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_centre_and_its_error(kind: Any, seed: int) -> None:
    """Centres are within a quarter of the point spacing of the truth, and within four standard errors."""
    random = np.random.default_rng(seed)
    east_m, north_m = random.uniform(-0.2, 0.2, 2).tolist()
    turn_deg = float(random.uniform(0.0, 360.0))
    raised_m = 0.25 if kind == "plate" else 0.0
    target = PaintedTarget(kind, 0.5, 0.3, east_m, north_m, turn_deg, raised_m=raised_m)
    found = fit_target(
        spec_of(kind), values_of(scanned(target, seed), height=kind == "plate"), SETTING
    )
    assert isinstance(found, Centre)
    for error_m, sigma_m in (
        (found.east_m - east_m, found.sigma_east_m),
        (found.north_m - north_m, found.sigma_north_m),
    ):
        assert abs(error_m) < 0.25 / math.sqrt(DENSITY_M2)
        assert abs(error_m) < 4.0 * sigma_m
        assert 0.0002 < sigma_m < 0.01
    if kind == "checkerboard":  # a quarter turn gives the same pattern with its levels swapped
        away_deg = (found.rotation_deg or 0.0) - turn_deg
        assert abs((away_deg + 45.0) % 90.0 - 45.0) < 5.0


def test_a_quarter_turn_leaves_the_centre() -> None:
    """A quarter turn of a checkerboard, which swaps light and dark, leaves the centre where it is."""
    for turn_deg in (20.0, 110.0, 200.0):
        target = PaintedTarget("checkerboard", east_m=0.05, north_m=-0.1, rotation_deg=turn_deg)
        found = fit_target(spec_of("checkerboard"), values_of(scanned(target, 5)), SETTING)
        assert isinstance(found, Centre)
        assert math.hypot(found.east_m - 0.05, found.north_m + 0.1) < 0.01


def test_lines_of_other_gain_are_fitted_together() -> None:
    """Flight lines that record the same paint at other intensities share one centre, better than each alone."""
    target = PaintedTarget("checkerboard", rotation_deg=33.0)
    lines = values_of(scanned(target, 8, lines=2))
    lines[1] = Values(lines[1].at, lines[1].value * 0.4 + 900.0, lines[1].weight, 2)
    both = fit_target(spec_of("checkerboard"), lines, SETTING)
    assert isinstance(both, Centre)
    assert both.lines == 2
    alone = [fit_target(spec_of("checkerboard"), [line], SETTING, both) for line in lines]
    for one in alone:
        assert isinstance(one, Centre)
        assert both.sigma_east_m < one.sigma_east_m * 1.05
    assert math.hypot(both.east_m, both.north_m) < 0.008


def refused(spec: TargetSpec, returns: TargetReturns) -> str:
    """Fit, and give the reason of the refusal."""
    found = fit_target(spec, values_of(returns), SETTING)
    assert isinstance(found, Refused), found
    assert found.detail
    return found.reason


def test_refused_too_few_returns() -> None:
    """A handful of returns on the target gives no centre."""
    target = PaintedTarget("checkerboard")
    assert (
        refused(spec_of("checkerboard"), scanned(target, 1, density_m2=25.0)) == "too-few-returns"
    )


def test_refused_low_contrast() -> None:
    """Paint hardly lighter than the dark fields gives no centre."""
    target = PaintedTarget("checkerboard", light=0.27, dark=0.23)
    assert refused(spec_of("checkerboard"), scanned(target, 1)) == "low-contrast"


def test_refused_saturated() -> None:
    """Reflective paint that drives the receiver to its end gives no centre."""
    target = PaintedTarget("checkerboard", light=3.0, dark=0.3, ground=0.5)
    assert refused(spec_of("checkerboard"), scanned(target, 1)) == "saturated"


@pytest.mark.parametrize(
    ("stated", "there"), [("checkerboard", "disc"), ("disc", "checkerboard"), ("ring", "disc")]
)
def test_refused_wrong_pattern(stated: Any, there: Any) -> None:
    """Another pattern than the stated one gives no centre."""
    reason = refused(spec_of(stated), scanned(PaintedTarget(there, rotation_deg=12.0), 3))
    assert reason in ("wrong-pattern", "low-contrast", "two-candidates")


def test_refused_two_candidates() -> None:
    """Two discs within reach are not told apart by guessing."""
    one = scanned(PaintedTarget("disc", east_m=-0.35), 1)
    two = scanned(PaintedTarget("disc", east_m=0.35), 2)
    west, east = one.east_m < 0.0, two.east_m >= 0.0
    both = TargetReturns(
        *(
            np.concatenate([getattr(one, name)[west], getattr(two, name)[east]])
            for name in ("east_m", "north_m", "up_m", "intensity", "line", "colour")
        )
    )
    assert refused(spec_of("disc", search_m=0.6), both) == "two-candidates"


@pytest.mark.parametrize("kind", ["checkerboard", "disc", "ring"])
@pytest.mark.parametrize("texture", [Texture(), Texture(0.5, 0.3)])
def test_bare_ground_gives_no_centre(kind: Any, texture: Texture) -> None:
    """Ground without a target gives none, even and blotchy."""
    for seed in (1, 2):
        returns = scanned(PaintedTarget("none"), seed, texture=texture)
        assert isinstance(fit_target(spec_of(kind), values_of(returns), SETTING), Refused)


def test_columns_are_the_blurred_pattern() -> None:
    """The columns of a checkerboard equal the average of the exact pattern over a Gaussian beam."""
    spec, blur_m = spec_of("checkerboard"), 0.03
    random = np.random.default_rng(4)
    rays = random.normal(0.0, blur_m, (400_000, 2))
    exact = PaintedTarget("checkerboard", light=1.0, dark=-1.0, ground=0.0)
    for east, north in ((0.0, 0.0), (0.02, 0.1), (0.24, -0.26), (-0.1, 0.26), (0.5, 0.5)):
        mean = exact.reflectance(east + rays[:, 0], north + rays[:, 1])[0].mean()
        placed = np.array([[0.0, 0.0, 0.0, math.log(blur_m)]])
        (model,) = columns(spec, np.array([[east, north]]), placed)
        assert abs(model[-1, 0] - mean) < 0.006  # four standard errors of the sampling


class Shown:
    """A simulated picture with the interface of a file."""

    full_scale: float | None = 255.0

    def __init__(self, picture: Photograph) -> None:
        self.transform, self.shape = picture.transform, picture.values.shape
        self._values = picture.values

    def patch(self, row0: int, col0: int, rows: int, cols: int) -> Any:
        """Cut a window; NaN outside."""
        from accuracy.formats import CellPatch

        padded = np.pad(self._values, 400, constant_values=np.nan)
        return CellPatch(
            padded[row0 + 400 : row0 + 400 + rows, col0 + 400 : col0 + 400 + cols], row0, col0
        )


@pytest.mark.parametrize("pixel_m", [0.02, 0.03])
@pytest.mark.parametrize("kind", ["checkerboard", "disc"])
def test_orthophoto_centre(kind: Any, pixel_m: float) -> None:
    """In pictures on turned grids, blurred and noisy, the centre is found to 0.15 pixels."""
    for seed in (1, 2):
        random = np.random.default_rng(seed)
        target = PaintedTarget(kind, east_m=0.11, north_m=-0.07, rotation_deg=25.0 + 60.0 * seed)
        camera = Camera(pixel_m, 1.0, 0.04, grid_rotation_deg=70.0 * seed, resampled=True)
        found = measure_in_photo(
            [Shown(photograph(target, camera, random))], 0.0, 0.0, spec_of(kind, 0.3), 1.0
        )
        assert isinstance(found, Centre)
        assert abs(found.east_m - 0.11) < 0.15 * pixel_m
        assert abs(found.north_m + 0.07) < 0.15 * pixel_m


def test_orthophoto_refusals() -> None:
    """Nothing there, coarse pixels, a burnt-out white, and a plate: each refused with its reason."""
    random = np.random.default_rng(1)
    target = PaintedTarget("checkerboard", rotation_deg=10.0)
    good = Shown(photograph(target, Camera(0.03), random))
    spec = spec_of("checkerboard", 0.3)
    for photos, place, what, reason in (
        ([good], (500.0, 0.0), spec, "no-values"),
        ([Shown(photograph(target, Camera(0.15), random))], (0.0, 0.0), spec, "too-few-returns"),
        ([good], (0.0, 0.0), spec_of("plate"), "wrong-pattern"),
        (
            [Shown(photograph(PaintedTarget("checkerboard", light=2.0), Camera(0.03), random))],
            (0.0, 0.0),
            spec,
            "saturated",
        ),
    ):
        found = measure_in_photo(photos, *place, what, 1.0)
        assert isinstance(found, Refused)
        assert found.reason == reason
