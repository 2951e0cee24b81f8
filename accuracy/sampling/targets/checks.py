"""What a fit must show before its centre is believed, and how far its values can be trusted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from accuracy.sampling.targets import Refused, TargetSpec
from accuracy.sampling.targets.likelihood import Values, residuals
from accuracy.sampling.targets.patterns import EAST, NORTH, Array, columns, on_target, two_parts
from accuracy.sampling.targets.search import Candidate

#: Fewest returns on a target. No source; below, chance draws patterns.
FEWEST = 12
#: Share of the variance that the pattern must explain, and least contrast in standard deviations.
LEAST_EXPLAINED = 0.75
LEAST_CONTRAST = 4.0
#: With this share explained something lies there, even if its fields do not differ as they should.
STANDS_OUT = 0.5
#: A second place is none if the best one is this much better (natural logarithm of the odds).
CLEAR = 4.0
#: Returns lie aside of where they are said to be by about this, each axis; known as if from so many edges.
#: Invented.
SLIP_M, SLIP_KNOWN = 0.0045, 8.0
#: Residuals of neighbours on a target are not alike; beyond this correlation there is another pattern.
MOST_ALIKE, ALIKE_BY_CHANCE = 0.3, 2.5
#: Share of the light part that may be at the end of the scale.
MOST_SATURATED = 0.25


@dataclass(frozen=True, eq=False)
class Weighed:
    """Values with their weights, and the contrast of the pattern in standard deviations."""

    values: Values
    contrast: float


def weigh(spec: TargetSpec, values: Values, placement: Array, slip_m: float = SLIP_M) -> Weighed:
    """Weigh the values by what they scatter, and give the contrast in standard deviations.

    Ground may be rougher than the target. On a blurred edge a return that is a few millimetres aside of where
    it is said to be has another value, so that edges scatter more.
    """
    left, levels = residuals(spec, values, placement[None, :])
    on = on_target(spec, values.at, placement)
    freedom = max(int(on.sum()) - 4, 1)
    steep = _steepness(spec, values, placement, levels[0])
    floor = 1e-6 * float(np.ptp(values.value)) + 1e-12
    squares = left[0] ** 2
    noise = max(float(np.sqrt(squares[on].sum() / freedom)), floor)
    slip = slip_m
    for _ in range(3 if slip_m else 0):
        share = (steep * slip) ** 2 / ((steep * slip) ** 2 + noise**2)
        flat = np.where(on, 1.0 - share, 0.0)
        noise = max(
            float(np.sqrt((flat**2 * squares).sum() / max((flat**2).sum() - 3.0, 1.0))), floor
        )
        edge = np.where(share > 0.2, share, 0.0) ** 2
        excess = (edge * (squares - noise**2) / np.maximum(steep, 1e-12) ** 2).sum()
        slip = float(
            np.sqrt(
                np.clip(
                    (SLIP_KNOWN * slip_m**2 + excess) / (SLIP_KNOWN + edge.sum()),
                    (slip_m / 4.0) ** 2,
                    (slip_m * 4.0) ** 2,
                )
            )
        )
    outside = squares[~on]
    ground = max(noise, float(np.sqrt(outside.mean()))) if outside.size > 3 else noise
    variance = np.where(on, noise, ground) ** 2 + (steep * slip) ** 2
    shape = columns(spec, values.at, placement[None, :])[0, -1]
    difference = float(abs(levels[0, -1]) * np.ptp(shape))
    if spec.pattern == "ring":  # without this, a disc would do
        difference = min(difference, float(abs(levels[0, 2] - levels[0, 1])))
    return Weighed(replace(values, weight=noise**2 / variance), difference / noise)


def _steepness(spec: TargetSpec, values: Values, placement: Array, levels: Array) -> Array:
    """How fast the fitted pattern changes from place to place, per metre along either axis."""
    step_m = 1e-4
    moved = np.repeat(placement[None, :], 4, axis=0)
    for row, (axis, sign) in enumerate(((EAST, 1), (EAST, -1), (NORTH, 1), (NORTH, -1))):
        moved[row, axis] += sign * step_m
    model = np.einsum("k,mkn->mn", levels, columns(spec, values.at, moved))
    return np.asarray(np.hypot(model[0] - model[1], model[2] - model[3]) / (2.0 * step_m))


def refusal(
    spec: TargetSpec,
    found: Sequence[Candidate],
    lines: Sequence[Values],
    contrast: float,
    alike: bool,
    full_scales: Sequence[float],
) -> Refused | None:
    """Give the reason against the best candidate, if there is one."""
    best = found[0]
    points = int(sum(on_target(spec, v.at, best.placement).sum() for v in lines))
    told = f"the pattern explains {best.explained:.0%} of the variance, with a contrast of {contrast:.1f}"
    if contrast < LEAST_CONTRAST and best.explained < STANDS_OUT:
        return Refused("low-contrast", f"{told} standard deviations", points)
    if contrast < LEAST_CONTRAST or best.explained < LEAST_EXPLAINED:
        return Refused("wrong-pattern", f"{told} standard deviations", points)
    if alike:
        why = f"{told}, but neighbours on it differ from it in the same way"
        return Refused("wrong-pattern", why, points)
    share = max(saturated(spec, values, best.placement, full_scales) for values in lines)
    if share > MOST_SATURATED:
        return Refused(
            "saturated", f"{share:.0%} of its light part is at the end of the scale", points
        )
    if len(found) > 1:
        second = found[1]
        if second.explained >= LEAST_EXPLAINED or best.score - second.score < CLEAR:
            apart = float(np.hypot(*(best.placement - second.placement)[:2]))
            return Refused("two-candidates", f"it fits {apart:.2f} m away as well", points)
    return None


def saturated(
    spec: TargetSpec, values: Values, placement: Array, full_scales: Sequence[float]
) -> float:
    """Give the share of the lighter part that stands at the very end of the scale.

    That is a value in `full_scales`; or the largest of all, if it stands there again and again while the
    darker part scatters.
    """
    parts = [values.value[which] for which in two_parts(spec, values.at, placement)]
    if any(one.size < 4 for one in parts):
        return 0.0
    lighter, darker = sorted(parts, key=lambda one: -float(np.median(one)))
    top = float(values.value.max())
    share = float((lighter == top).mean())
    scatters = len(np.unique(darker)) > 0.5 * darker.size
    if top in full_scales or (scatters and share > 0.5):
        return share
    return 0.0


def neighbours(spec: TargetSpec, lines: Sequence[Values], placement: Array) -> tuple[float, bool]:
    """Say how many residuals are worth one (1: independent), and whether they are too alike for noise."""
    from scipy.spatial import cKDTree

    worth, too_alike = 1.0, False
    for values in lines:
        left, _ = residuals(spec, values, placement[None, :])
        on = on_target(spec, values.at, placement)
        if on.sum() < FEWEST:
            continue
        at, off = values.at[on], (left[0] * np.sqrt(values.weight))[on]
        off = off - off.mean()
        tree = cKDTree(at)
        nearest = np.asarray(tree.query(at, k=2)[0])[:, 1]
        pairs = tree.query_pairs(1.6 * float(np.median(nearest)), output_type="ndarray")
        if len(pairs) < FEWEST:
            continue
        product = float((off[pairs[:, 0]] * off[pairs[:, 1]]).mean())
        alike = product / max(float((off**2).mean()), 1e-300)
        if alike > 2.0 / np.sqrt(len(pairs)):
            worth = max(worth, 1.0 + alike * 2.0 * len(pairs) / len(at))
        too_alike |= alike > max(MOST_ALIKE, ALIKE_BY_CHANCE / np.sqrt(len(pairs)))
    return worth, too_alike


def with_blotches(spec: TargetSpec, values: Values, placement: Array) -> Values:
    """Give pixels of ground less weight where it is blotchy: a blotch is worth one value, not its many pixels.

    How many residuals are worth one follows from their correlation in widening rings, until it is gone.
    """
    from scipy.spatial import cKDTree

    left, _ = residuals(spec, values, placement[None, :])
    off_it = ~on_target(spec, values.at, placement)
    if off_it.sum() < FEWEST:
        return values
    at, off = values.at[off_it], left[0][off_it]
    off = off - off.mean()
    tree = cKDTree(at)
    step = float(np.median(np.asarray(tree.query(at, k=2)[0])[:, 1]))
    variance = max(float((off**2).mean()), 1e-300)
    worth, inner = 1.0, 0.0
    for outer in (1.6, 3.1, 5.1, 8.1, 12.1):
        pairs = tree.query_pairs(outer * step, output_type="ndarray")
        apart = np.hypot(*(at[pairs[:, 0]] - at[pairs[:, 1]]).T)
        ring = pairs[apart > inner * step]
        if not len(ring):
            break
        alike = float((off[ring[:, 0]] * off[ring[:, 1]]).mean()) / variance
        if alike < 0.05:
            break
        worth += alike * 2.0 * len(ring) / len(at)
        inner = outer
    return replace(
        values,
        weight=np.where(off_it, values.weight / worth, values.weight),
        worth=float((~off_it).sum() + off_it.sum() / worth),
    )
