"""How large the errors are that are no bias: estimated from the residuals, robustly.

Noise, point and line parts by restricted maximum likelihood with weak priors (Patterson and Thompson 1971;
from memory), after what any systematic cause could do is taken out. Points that the others contradict get
less weight (Huber's weights on whole points).
"""

from __future__ import annotations

import math
from dataclasses import fields, replace

import numpy as np

from accuracy.diagnosis.model import Observations, whitener
from accuracy.diagnosis.records import Array, Errors

#: Usual sizes in metres, and how far from them an estimate may be taken with few data (sigma of the logarithm).
#: drone practice from memory: positions within a flight wander by a centimetre or two.
USUAL = Errors(
    noise_h_m=0.015,
    noise_v_m=0.012,
    point_h_m=0.010,
    point_v_m=0.012,
    line_h_m=0.008,
    line_v_m=0.012,
    line_roll_deg=0.006,
)
_WIDTH = 0.7
_LEAST_M, _MOST_M = 0.0005, 50.0
#: A few lines may agree by chance: no trajectory is taken to wander by less than this share of what is usual.
LEAST_OF_LINE = 0.75
#: A point that is off by more standard deviations than this loses weight.
HUBER = 2.5
_ROUNDS = 3


def estimate(
    observations: Observations, basis: Array, shared: tuple[float, float]
) -> tuple[Errors, Array]:
    """Estimate the errors.

    Parameters
    ----------
    basis : ndarray, shape (m, k)
        Orthonormal columns of what systematic causes do; taken out.
    shared : tuple of float
        Horizontal and vertical standard deviation that everything shares, metres.

    Returns
    -------
    Errors
        All parts.
    ndarray, shape (blocks,)
        Weight of each point on each axis.
    """
    sightings = observations.sightings
    prior = replace(
        USUAL,
        shared_h_m=shared[0],
        shared_v_m=shared[1],
        point_h_m=USUAL.point_h_m
        if sightings.survey_h_m is None
        else max(sightings.survey_h_m / math.sqrt(2.0), 0.002),
        point_v_m=USUAL.point_v_m
        if sightings.survey_v_m is None
        else max(sightings.survey_v_m, 0.002),
    )
    free = _free(observations)
    errors = replace(
        prior,
        **{f.name: 0.0 for f in fields(Errors) if f.name not in free and "shared" not in f.name},
    )
    weights = _start(observations, basis)
    errors = _first(observations, basis, weights, errors, free)
    for _ in range(_ROUNDS):
        errors = _likely(observations, basis, weights, errors, prior, free)
        new = _weights(observations, basis, weights, errors)
        if np.allclose(new, weights, atol=0.02):
            break
        weights = new
    return _rounded(errors, free), weights


def _rounded(errors: Errors, free: tuple[str, ...]) -> Errors:
    """Round what was estimated to three digits, more than it is good for.

    Where the search stops depends on the last bits of the processor's linear algebra; what follows must not.
    """
    return replace(errors, **{name: float(f"{getattr(errors, name):.3g}") for name in free})


def _free(observations: Observations) -> tuple[str, ...]:
    """Which parts can be told apart: points need several rows each, lines need to be several."""
    found = []
    several_lines = len(observations.sightings.lines) > 1
    rows = np.bincount(observations.block, minlength=observations.blocks)
    for letter, axes in (("h", (0, 1)), ("v", (2,))):
        here = np.isin(observations.axis, axes)
        if not here.any():
            continue
        found.append(f"noise_{letter}_m")
        if (rows[observations.block[here]] > 1).mean() > 0.2:
            found.append(f"point_{letter}_m")
        if several_lines:
            found.append(f"line_{letter}_m")
    if several_lines and observations.sightings.geometry_known.any():
        found.append("line_roll_deg")
    return tuple(found)


def _start(observations: Observations, basis: Array) -> Array:
    """Begin with weights from a robust fit without any shared parts."""
    weights = np.ones(observations.count)
    for _ in range(15):
        root = np.sqrt(weights)[:, None]
        solution, *_ = np.linalg.lstsq(basis * root, observations.values * root[:, 0], rcond=1e-9)
        left = observations.values - basis @ solution
        weights = _huber(left, observations)
    of_block = np.full(observations.blocks, 1.0)
    np.minimum.at(of_block, observations.block, weights)
    return of_block


def _huber(left: Array, observations: Observations) -> Array:
    weights = np.ones(len(left))
    for vertical in (0.0, 1.0):
        here = observations.vertical == vertical
        if here.any():
            scale = max(1.4826 * float(np.median(np.abs(left[here]))), _LEAST_M)
            size = np.abs(left[here]) / scale
            weights[here] = np.minimum(1.0, HUBER / np.maximum(size, 1e-9)) ** 2
    return weights


def _first(
    observations: Observations,
    basis: Array,
    weights: Array,
    errors: Errors,
    free: tuple[str, ...],
) -> Errors:
    """Begin with the spread around the robust fit."""
    root = np.sqrt(weights)[observations.block]
    solution, *_ = np.linalg.lstsq(basis * root[:, None], observations.values * root, rcond=1e-9)
    left = np.abs(observations.values - basis @ solution)
    changes = {}
    for letter, vertical in (("h", 0.0), ("v", 1.0)):
        here = observations.vertical == vertical
        if here.any():
            spread = max(1.4826 * float(np.median(left[here])), 2.0 * _LEAST_M)
            changes[f"noise_{letter}_m"] = spread
    return replace(errors, **changes)


def _likely(
    observations: Observations,
    basis: Array,
    weights: Array,
    errors: Errors,
    prior: Errors,
    free: tuple[str, ...],
) -> Errors:
    """Maximise the restricted likelihood over the free parts."""
    from scipy.optimize import minimize

    if not free:
        return errors
    centre = np.log([getattr(prior, name) for name in free])
    # Noise is well determined and may be anything; points and lines are few.
    width = np.array([3.0 if name.startswith("noise") else _WIDTH for name in free])
    columns = np.column_stack([basis, observations.values])

    def cost(logs: Array) -> float:
        tried = replace(errors, **dict(zip(free, np.exp(logs).tolist(), strict=True)))
        white = whitener(observations, tried, weights)
        triangle = np.linalg.qr(white(columns), mode="r")
        diagonal = np.abs(np.diag(triangle))
        fixed = 2.0 * np.log(np.maximum(diagonal[:-1], 1e-300)).sum()
        return float(
            white.log_determinant
            + fixed
            + diagonal[-1] ** 2
            + (((logs - centre) / width) ** 2).sum()
        )

    start = np.log([getattr(errors, name) or getattr(prior, name) for name in free])
    bounds = [
        (
            math.log(LEAST_OF_LINE * getattr(USUAL, name) if "line" in name else _LEAST_M),
            math.log(_MOST_M),
        )
        for name in free
    ]
    start = np.maximum(start, [low for low, _ in bounds])
    found = minimize(cost, start, method="L-BFGS-B", bounds=bounds, options={"maxiter": 40})
    return replace(errors, **dict(zip(free, np.exp(found.x).tolist(), strict=True)))


def _weights(observations: Observations, basis: Array, weights: Array, errors: Errors) -> Array:
    """Give less weight to points that the fit contradicts."""
    size = standardised(observations, basis, weights, errors)
    return np.asarray(np.minimum(1.0, HUBER / np.maximum(size, 1e-9)) ** 2)


def remainders(
    observations: Observations, basis: Array, weights: Array, errors: Errors
) -> tuple[Array, Array]:
    """Give the mean remainder of each point and axis after fit and shared parts, and its deviation, metres."""
    white = whitener(observations, errors, weights)
    columns = np.column_stack([basis, white.shared])
    stacked = np.vstack(
        [
            white.point_white(columns),
            np.column_stack(
                [np.zeros((white.shared.shape[1], basis.shape[1])), np.eye(white.shared.shape[1])]
            ),
        ]
    )
    values = np.concatenate(
        [white.point_white(observations.values[:, None])[:, 0], np.zeros(white.shared.shape[1])]
    )
    solution, *_ = np.linalg.lstsq(stacked, values, rcond=1e-9)
    left = observations.values - columns @ solution
    each = observations.relative_noise**-2
    rows = np.bincount(observations.block, each, observations.blocks)
    mean = np.bincount(observations.block, left * each, observations.blocks) / rows
    vertical = np.zeros(observations.blocks)
    vertical[observations.block] = observations.vertical
    noise = np.where(vertical > 0, errors.noise_v_m, errors.noise_h_m)
    point = np.where(vertical > 0, errors.point_v_m, errors.point_h_m)
    return mean, np.sqrt(point**2 + noise**2 / rows)


def standardised(observations: Observations, basis: Array, weights: Array, errors: Errors) -> Array:
    """Give the remainder of each point and axis in standard deviations, shape (blocks,)."""
    mean, deviation = remainders(observations, basis, weights, errors)
    return np.asarray(np.abs(mean) / deviation)
