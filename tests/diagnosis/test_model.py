"""Weighted least squares with shared errors, against the plain formula with a full covariance matrix."""

from __future__ import annotations

import numpy as np
from diagnosis_flights import Setting, fly
from numpy.testing import assert_allclose

from accuracy.diagnosis.model import Observations, solve, whitener
from accuracy.diagnosis.records import Errors

ERRORS = Errors(0.012, 0.010, 0.008, 0.011, 0.009, 0.013, 0.004, 0.005, 0.007)


def _covariance(observations: Observations, errors: Errors, weights: np.ndarray) -> np.ndarray:
    """Write the covariance matrix out: noise, point, and shared columns times their variances."""
    vertical = observations.vertical > 0
    noise = np.where(vertical, errors.noise_v_m, errors.noise_h_m) * observations.relative_noise
    point = np.where(vertical, errors.point_v_m, errors.point_h_m)
    same = observations.block[:, None] == observations.block[None, :]
    whole = np.diag(noise**2) + same * point[:, None] ** 2
    whole = whole / np.sqrt(np.outer(weights, weights)[observations.block][:, observations.block])
    for name, column in observations.shared_columns:
        whole += np.outer(column, column) * getattr(errors, name) ** 2
    return np.asarray(whole)


def test_whitened_fit_is_generalised_least_squares() -> None:
    """Amounts, covariance and sum of squares are those of (A' V^-1 A)^-1 A' V^-1 y with V written out."""
    observations = Observations(fly(5, Setting(points=8)))
    rng = np.random.default_rng(1)
    weights = rng.uniform(0.2, 1.0, observations.blocks)
    design = rng.normal(size=(observations.count, 3))
    white = whitener(observations, ERRORS, weights)
    amounts, covariance, chi_square = solve(white(design), white(observations.values))

    inverse = np.linalg.inv(_covariance(observations, ERRORS, weights))
    normal = np.linalg.inv(design.T @ inverse @ design)
    expected = normal @ design.T @ inverse @ observations.values
    left = observations.values - design @ expected
    assert_allclose(amounts, expected, rtol=1e-7)
    assert_allclose(covariance, normal, rtol=1e-6)
    assert_allclose(chi_square, left @ inverse @ left, rtol=1e-8)


def test_log_determinant_is_that_of_the_covariance() -> None:
    """The likelihood's determinant agrees with the one of the written-out matrix."""
    observations = Observations(fly(6, Setting(points=7)))
    weights = np.ones(observations.blocks)
    _, expected = np.linalg.slogdet(_covariance(observations, ERRORS, weights))
    assert_allclose(whitener(observations, ERRORS, weights).log_determinant, expected, rtol=1e-9)


def test_horizontal_displacement_shows_through_slopes() -> None:
    """Moving the surface changes heights by dU - dE dz/dE - dN dz/dN, positions by themselves."""
    sightings = fly(7, Setting(points=6))
    observations = Observations(sightings)
    field = np.tile([1.42, -0.3, 0.1], (sightings.count, 1))
    seen = observations.seen(field)
    for value, row, axis in zip(seen, observations.row, observations.axis, strict=True):
        east, north = sightings.gradient[row]
        expected = (1.42, -0.3, 0.1 - 1.42 * east + 0.3 * north)[axis]
        assert abs(value - expected) < 1e-12
