"""The centre of a target, or the reason why there is none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from accuracy.sampling.targets import Centre, Outcome, Refused, TargetSpec
from accuracy.sampling.targets.checks import (
    FEWEST,
    SLIP_M,
    neighbours,
    refusal,
    weigh,
    with_blotches,
)
from accuracy.sampling.targets.likelihood import Values, log_likelihood
from accuracy.sampling.targets.patterns import (
    EAST,
    LOG_BLUR,
    NORTH,
    ROTATION,
    Array,
    on_target,
    rotates,
)
from accuracy.sampling.targets.posterior import integrate
from accuracy.sampling.targets.search import (
    LARGEST_BLUR,
    LOG_BLUR_KNOWN,
    Candidate,
    candidates,
    free_of,
    margin_m,
    nearby,
    window_of,
)

#: Largest standard error of a centre, as a share of the size.
LARGEST_SIGMA = 1.0 / 6.0


@dataclass(frozen=True)
class Setting:
    """How the values were taken.

    Attributes
    ----------
    log_blur : float
        Logarithm of the usual blur (standard deviation, metres); known to a factor of about two.
    slip_m : float
        How far values lie aside of where they are said to be, each axis, metres; 0 for pixels.
    separate : bool
        Whether each value has noise of its own. Pixels share some, from resampling.
    full_scales : tuple of float
        Values at which the sensor is at its end.
    draws : int
        Fineness of the integration.
    """

    log_blur: float
    slip_m: float = SLIP_M
    separate: bool = True
    full_scales: tuple[float, ...] = ()
    draws: int = 600


def fit_target(
    spec: TargetSpec, lines: Sequence[Values], setting: Setting, near: Centre | None = None
) -> Outcome:
    """Fit a target to the values around a place.

    Parameters
    ----------
    lines : sequence of Values
        Around the place, by flight line; they share the geometry, not levels and noise.
    near : Centre, optional
        Where it is known to lie: one line alone need not be searched again.
    """
    lines = [values for values in lines if len(values.value)]
    total = sum(len(values.value) for values in lines)
    if total < FEWEST:
        return Refused("too-few-returns", f"{total} values within reach of it", total)
    spacing_m = _spacing(lines, spec)
    lines = [_within(values, spec, spacing_m) for values in lines]
    found = (
        candidates(spec, lines, setting.log_blur, spacing_m)
        if near is None
        else nearby(spec, lines, setting.log_blur, spacing_m, near)
    )
    if not found:
        return Refused("wrong-pattern", "the pattern fits nowhere within reach", total)
    best = found[0]
    points = int(sum(on_target(spec, v.at, best.placement).sum() for v in lines))
    if points < FEWEST:
        return Refused("too-few-returns", f"{points} on it, fewer than {FEWEST}", points)
    used = [v for v in window_of(spec, lines, best.placement, spacing_m) if len(v.value) > 6]
    weighed = [weigh(spec, values, best.placement, setting.slip_m) for values in used]
    contrast = max(one.contrast for one in weighed)
    window = [one.values for one in weighed]
    if not setting.separate:
        window = [with_blotches(spec, values, best.placement) for values in window]
    dependence, too_alike = neighbours(spec, window, best.placement)
    alike = setting.separate and too_alike
    if refused := refusal(spec, found, window, contrast, alike, setting.full_scales):
        return refused
    return _centre(spec, window, best, setting, spacing_m, contrast, dependence)


def _within(values: Values, spec: TargetSpec, spacing_m: float) -> Values:
    reach = spec.search_m + spec.reach_m + 2.0 * margin_m(spec, spacing_m)
    return values.pick(np.hypot(*values.at.T) <= reach)


def _spacing(lines: Sequence[Values], spec: TargetSpec) -> float:
    reach = spec.search_m + spec.reach_m
    within = sum(int((np.hypot(*values.at.T) <= reach).sum()) for values in lines)
    return float(np.sqrt(np.pi * reach**2 / max(within, 1)))


def _centre(
    spec: TargetSpec,
    lines: Sequence[Values],
    best: Candidate,
    setting: Setting,
    spacing_m: float,
    contrast: float,
    dependence: float,
) -> Outcome:
    points = int(sum(on_target(spec, v.at, best.placement).sum() for v in lines))
    free = free_of(spec)
    slack = np.array([spacing_m / 6.0, spacing_m / 6.0, spacing_m / 2.0 / spec.size_m, 0.3])[free]

    def log_density(parameters: Array) -> Array:
        placements = np.repeat(best.placement[None, :], len(parameters), axis=0)
        placements[:, free] = parameters
        density = log_likelihood(spec, lines, placements) / dependence
        density -= 0.5 * ((placements[:, LOG_BLUR] - setting.log_blur) / LOG_BLUR_KNOWN) ** 2
        turned = np.abs(placements[:, ROTATION] - best.placement[ROTATION]) > np.pi / 4.0
        smeared = placements[:, LOG_BLUR] > np.log(LARGEST_BLUR * spec.size_m)
        return np.where(turned | smeared, -1e30, density)

    moments = integrate(log_density, best.placement[free], np.diag(slack**2), setting.draws)
    sigma = np.sqrt(np.diag(moments.covariance)[:2])
    if not np.isfinite(sigma).all() or sigma.max() > LARGEST_SIGMA * spec.size_m:
        return Refused("uncertain", f"standard error {sigma.max():.3f} m", points)
    placement = best.placement.copy()
    placement[free] = moments.mean
    return Centre(
        east_m=float(moments.mean[EAST]),
        north_m=float(moments.mean[NORTH]),
        sigma_east_m=float(sigma[0]),
        sigma_north_m=float(sigma[1]),
        correlation=float(moments.covariance[0, 1] / (sigma[0] * sigma[1])),
        rotation_deg=float(np.degrees(placement[ROTATION]) % 90.0) if rotates(spec) else None,
        blur_m=float(np.exp(placement[LOG_BLUR])),
        contrast=contrast,
        explained=best.explained,
        points=points,
        lines=len(lines),
    )
