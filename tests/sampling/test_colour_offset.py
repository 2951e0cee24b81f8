"""Colours against intensities: simulated patches whose colours lie aside by known amounts."""

from __future__ import annotations

import math

import numpy as np
import pytest

from accuracy.sampling.colour_offset import Patch, PatchOffset, colour_offset, mean_offset
from accuracy.simulation.targets import Beam, PaintedTarget, Texture, scan_target


def patches(shift_m: tuple[float, float], count: int = 12) -> list[Patch]:
    """Scan patches with a target each, colours aside by `shift_m`."""
    some = []
    for number in range(count):
        random = np.random.default_rng([9, number])
        target = PaintedTarget("checkerboard", rotation_deg=float(random.uniform(0.0, 90.0)))
        returns = scan_target(
            target,
            Beam(density_m2=150.0),
            random,
            texture=Texture(0.35, 0.4),
            colour_shift_m=shift_m,
        )
        at = np.column_stack([returns.east_m, returns.north_m])
        some.append(Patch(at, returns.intensity.astype(float), returns.colour.astype(float)))
    return some


@pytest.mark.parametrize("shift_m", [(0.03, 0.0), (-0.06, 0.08)])
def test_offsets_are_recovered(shift_m: tuple[float, float]) -> None:
    """An offset of 3 or 10 cm is found within three standard errors, and reported."""
    found = colour_offset(patches(shift_m))
    assert found is not None
    assert abs(found.east_m - shift_m[0]) <= 3.0 * found.sigma_east_m
    assert abs(found.north_m - shift_m[1]) <= 3.0 * found.sigma_north_m
    assert max(found.sigma_east_m, found.sigma_north_m) < 0.01
    assert found.chance < 0.003


def test_no_offset_is_not_told() -> None:
    """Colours in step give an offset that chance explains."""
    found = colour_offset(patches((0.0, 0.0)))
    assert found is not None
    assert found.chance > 0.003


def test_colour_that_is_noise_tells_nothing() -> None:
    """Where colours have nothing to do with the intensities there is no offset, instead of a wrong one."""
    random = np.random.default_rng(2)
    noisy = [
        Patch(p.at, p.intensity, random.normal(size=len(p.at))) for p in patches((0.0, 0.0), 5)
    ]
    assert colour_offset(noisy) is None
    even = [Patch(p.at, p.intensity, np.full(len(p.at), 7.0)) for p in patches((0.0, 0.0), 5)]
    assert colour_offset(even) is None


def test_chance_is_that_of_hotelling() -> None:
    """The probability is the upper tail of Hotelling's T squared, by way of scipy.stats' F distribution."""
    from scipy import stats

    random = np.random.default_rng(3)
    offsets = random.normal((0.01, 0.0), (0.02, 0.01), (9, 2))
    found = mean_offset([PatchOffset(float(e), float(n), 0.5) for e, n in offsets], 9)
    assert found is not None
    mean = offsets.mean(axis=0)
    squared = len(offsets) * mean @ np.linalg.inv(np.cov(offsets.T)) @ mean
    n = len(offsets)
    expected = stats.f.sf(squared * (n - 2) / (2.0 * (n - 1)), 2, n - 2)
    assert found.patches == n
    assert math.isclose(found.chance, expected, rel_tol=1e-6)


def test_under_no_offset_few_are_told() -> None:
    """Of 2000 sets of 12 patches that scatter about zero, no more than 1 % pass for an offset."""
    random = np.random.default_rng(4)
    told = 0
    for _ in range(2000):
        drawn = random.normal(0.0, 0.015, (12, 2))
        found = mean_offset([PatchOffset(float(e), float(n), 0.5) for e, n in drawn], 12)
        assert found is not None
        told += found.chance < 0.003
    assert told / 2000 <= 0.01
