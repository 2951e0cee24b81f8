"""Where a pattern may lie: every place and rotation tried, the best ones refined by least squares."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from accuracy.sampling.targets import Centre, TargetSpec
from accuracy.sampling.targets.likelihood import Values, explain, residuals
from accuracy.sampling.targets.patterns import (
    EAST,
    LOG_BLUR,
    NORTH,
    ROTATION,
    Array,
    normal_integral,
    on_target,
    on_targets,
    ramp,
    rotates,
)

#: Steps of the search: this share of the size, and these angles. A quarter turn is all there is.
STEP = 1.0 / 8.0
ANGLES = 8
QUARTER = np.pi / 2.0
#: So many of the best are refined, no two nearer than this share of the size before or after.
REFINED = 4
APART_BEFORE, APART_AFTER = 1.0 / 4.0, 1.0 / 5.0
#: Around the target this much ground belongs to the fit: share of the size, and in mean spacings, at least.
MARGIN, MARGIN_SPACINGS = 0.2, 1.0
ITERATIONS = 25
#: With more values on a target than this, the first search looks at some of them only.
ENOUGH_ON_IT = 150.0
#: Edges more blurred than this share of the size belong to no target: a blotch fits otherwise.
LARGEST_BLUR = 1.0 / 8.0


@dataclass(frozen=True, eq=False)
class Candidate:
    """A placement that may be it.

    Attributes
    ----------
    score : float
        Logarithm of how much better the pattern explains the window around it than bare ground.
    explained : float
        Share of the variance in the window that it explains.
    """

    placement: Array
    score: float
    explained: float


def free_of(spec: TargetSpec) -> list[int]:
    """Which parameters of a placement can be told from the values."""
    return [EAST, NORTH, ROTATION, LOG_BLUR] if rotates(spec) else [EAST, NORTH, LOG_BLUR]


def margin_m(spec: TargetSpec, spacing_m: float) -> float:
    """Give the width of ground that is fitted around the target."""
    return max(MARGIN * spec.size_m, MARGIN_SPACINGS * spacing_m)


def window_of(
    spec: TargetSpec, lines: Sequence[Values], placement: Array, spacing_m: float
) -> list[Values]:
    """Keep what lies on the target or on the ground just around it."""
    width = margin_m(spec, spacing_m)
    return [values.pick(on_target(spec, values.at, placement, width)) for values in lines]


def scores(
    spec: TargetSpec,
    lines: Sequence[Values],
    placements: Array,
    spacing_m: float,
    *,
    exact: bool = False,
) -> tuple[Array, Array]:
    """Score placements, each in its own window: (score, explained share), shape (m,)."""
    score, left, base = (np.zeros(len(placements)) for _ in range(3))
    width = margin_m(spec, spacing_m)
    for values in lines:
        window = on_targets(spec, values.at, placements, width)
        fit = explain(spec, values, placements, window, normal_integral if exact else ramp)
        freedom = np.maximum(fit.count - fit.columns - 3, 1.0)
        ratio = np.where(fit.count > fit.columns + 3, fit.squares / fit.base_squares, 1.0)
        score -= 0.5 * freedom * np.log(np.maximum(ratio, 1e-12))
        spread = np.maximum(fit.base_squares, 1e-30)
        # lines differ in gain: shares of variance are weighed by the number of values
        left += fit.count * np.minimum(fit.squares / spread, 1.0)
        base += fit.count
    return score, 1.0 - left / np.maximum(base, 1.0)


def candidates(
    spec: TargetSpec, lines: Sequence[Values], log_blur: float, spacing_m: float
) -> list[Candidate]:
    """Try every place and rotation within reach and refine the best; best first."""
    step = min(STEP * spec.size_m, spec.search_m / 2.0)
    along = np.arange(-spec.search_m, spec.search_m + step / 2.0, step)
    east, north = (axis.ravel() for axis in np.meshgrid(along, along))
    near = np.hypot(east, north) <= spec.search_m + step / 2.0
    turns = np.arange(ANGLES) * QUARTER / ANGLES if rotates(spec) else np.zeros(1)
    log_blur = min(log_blur, np.log(LARGEST_BLUR * spec.size_m))
    blur = max(np.exp(log_blur), step / 3.0)
    grid = np.array(
        [
            (e, n, turn, np.log(blur))
            for turn in turns.tolist()
            for e, n in zip(east[near].tolist(), north[near].tolist(), strict=True)
        ]
    )
    score, _ = scores(
        spec, [_thinned(values, spec, spacing_m) for values in lines], grid, spacing_m
    )
    chosen: list[Array] = []
    for index in np.argsort(-score, kind="stable").tolist():
        place = grid[index]
        if all(np.hypot(*(place - other)[:2]) > APART_BEFORE * spec.size_m for other in chosen):
            chosen.append(place)
        if len(chosen) == REFINED:
            break
    refined: list[Candidate] = []
    for start in chosen:
        start[LOG_BLUR] = log_blur
        placement = start
        for _ in range(2):  # the window moves with the centre
            placement = refine(
                spec, window_of(spec, lines, placement, spacing_m), placement, log_blur
            )
        if np.hypot(placement[EAST], placement[NORTH]) > spec.search_m + spec.size_m:
            continue
        value, share = scores(spec, lines, placement[None, :], spacing_m, exact=True)
        refined.append(Candidate(placement, float(value[0]), float(share[0])))
    refined.sort(key=lambda candidate: -candidate.score)
    kept: list[Candidate] = []
    for one in refined:
        if all(
            np.hypot(*(one.placement - other.placement)[:2]) > APART_AFTER * spec.size_m
            for other in kept
        ):
            kept.append(one)
    return kept


def nearby(
    spec: TargetSpec, lines: Sequence[Values], log_blur: float, spacing_m: float, near: Centre
) -> list[Candidate]:
    """Give the one candidate near a centre that is known already."""
    start = np.array(
        [near.east_m, near.north_m, np.radians(near.rotation_deg or 0.0), np.log(near.blur_m)]
    )
    placement = refine(spec, window_of(spec, lines, start, spacing_m), start, log_blur)
    value, share = scores(spec, lines, placement[None, :], spacing_m, exact=True)
    return [Candidate(placement, float(value[0]), float(share[0]))]


def _thinned(values: Values, spec: TargetSpec, spacing_m: float) -> Values:
    """Keep enough for a first search, chosen by chance but the same in every run."""
    share = ENOUGH_ON_IT / max((spec.size_m / spacing_m) ** 2, 1.0)
    if share >= 1.0:
        return values
    return values.pick(np.random.default_rng(11).random(len(values.value)) < share)


#: How sharp edges are is known beforehand to about this factor (logarithm), around the usual.
LOG_BLUR_KNOWN = 0.6


def refine(spec: TargetSpec, lines: Sequence[Values], start: Array, log_blur: float) -> Array:
    """Move a placement to the least sum of squares nearby (Levenberg-Marquardt, levels eliminated)."""
    lines = [values for values in lines if len(values.value) > 4]
    if not lines:
        return start
    free = free_of(spec)
    steps = np.array([1e-4, 1e-4, 1e-3, 1e-3])[free]
    placement, damping = start.copy(), 1e-2

    def weighted(places: Array) -> Array:
        parts = []
        for values in lines:
            left, _ = residuals(spec, values, places)
            left = left * np.sqrt(values.weight)
            parts.append(left / max(float(left[0].std()), 1e-12))
        prior = (places[:, LOG_BLUR, None] - log_blur) / LOG_BLUR_KNOWN
        return np.concatenate([*parts, prior], axis=1)

    for _ in range(ITERATIONS):
        around = np.repeat(placement[None, :], 1 + len(free), axis=0)
        around[1 + np.arange(len(free)), free] += steps
        left = weighted(around)
        jacobian = (left[1:] - left[0]).T / steps
        normal, right = jacobian.T @ jacobian, jacobian.T @ left[0]
        trial = placement.copy()
        trial[free] -= np.linalg.solve(normal + damping * np.diag(np.diag(normal) + 1e-9), right)
        largest = np.log(LARGEST_BLUR * spec.size_m)
        trial[LOG_BLUR] = np.clip(trial[LOG_BLUR], min(log_blur, largest) - 2.5, largest)
        if np.hypot(*(trial - start)[:2]) > spec.size_m / 2.0:
            break
        both = _squares(lines, spec, np.stack([placement, trial]), log_blur)
        if both[1] <= both[0]:
            moved = np.abs(trial - placement)[free]
            placement, damping = trial, max(damping / 5.0, 1e-6)
            if (moved < 1e-5).all():
                break
        else:
            damping *= 6.0
            if damping > 1e6:
                break
    return placement


def _squares(
    lines: Sequence[Values], spec: TargetSpec, placements: Array, log_blur: float
) -> Array:
    total = ((placements[:, LOG_BLUR] - log_blur) / LOG_BLUR_KNOWN) ** 2
    for values in lines:
        total = total + len(values.value) * np.log(explain(spec, values, placements).squares)
    return np.asarray(total)
