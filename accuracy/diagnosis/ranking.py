"""Which cause explains the residuals, and whether it may be named.

A cause is named only if (i) what is fitted of it exceeds its detection floor, three standard errors that
include what all points share; (ii) the whole vector agrees with it: what it leaves to a general fit is within
the 99 % bound of Mahalanobis' distance; (iii) every other cause, and every pair of causes, is worse by at
least 9 in chi-square. Otherwise everything within those 9 is listed.

A size that a cause leaves open costs: by what share its standard error s is of the sizes up to the one found,
L, 2 ln(2 L / (s sqrt(2 pi))), which is what the integral over the size amounts to (Laplace's approximation;
MacKay, Information Theory, Inference, and Learning Algorithms, 2003, chapter 28, from memory). So a cause
that predicts the size itself beats one that could give any size only where the match could hardly be chance.
A mistake that files of the job show by themselves is worth twice the margin: they show it without the
residuals.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from accuracy.diagnosis.model import Observations, Whitener, solve, span
from accuracy.diagnosis.records import (
    Amount,
    Array,
    Candidate,
    Conclusion,
    Fitted,
    Scored,
    Standing,
)

MARGIN = 9.0
EVIDENCE = 2.0 * MARGIN
FLOOR_SIGMAS = 3.0
#: A combination of the general fit that differs from the cause by less than this (sine of the angle between
#: them) is the cause itself: what is left of it is rounding.
SAME = 0.01
#: Chance of asking for a cause where there is none, over everything that is tried.
FALSE_ALARM = 0.005
BOUND = 0.99
#: Pairs are made of so many single causes at most.
MOST_IN_PAIRS = 14


@dataclass(frozen=True, eq=False)
class Problem:
    """Whitened observations, and an orthonormal basis of the general fit; degrees of freedom of the variances.

    `freedom` is that of points, `line_freedom` that of what lines share.
    """

    observations: Observations
    white: Whitener
    general_basis: Array
    values: Array
    freedom: int
    line_freedom: int


def _cost(amount: Amount, value: float, sigma: float) -> float:
    """Give what a free size costs in chi-square: any size up to the one found would have been believed."""
    if not math.isfinite(sigma) or sigma <= 0.0:
        return 0.0
    reach = min(amount.largest, max(abs(value), FLOOR_SIGMAS * sigma))
    return max(0.0, 2.0 * math.log(2.0 * reach / (sigma * math.sqrt(2.0 * math.pi))))


@dataclass(frozen=True, eq=False)
class _Prepared:
    """A candidate in whitened observations."""

    candidate: Candidate
    fixed: Array
    free: Array
    blur: Array


def _prepare(problem: Problem, candidate: Candidate) -> _Prepared:
    observations, white = problem.observations, problem.white
    size = len(problem.values)
    fixed = np.zeros(size) if candidate.fixed is None else white(observations.seen(candidate.fixed))
    free = [white(observations.seen(amount.field)) for amount in candidate.free]
    blur = []
    for axis in range(3):
        sigma_m = candidate.sigma_m[1 if axis == 2 else 0]
        if sigma_m > 0.0:
            field = np.zeros((observations.sightings.count, 3))
            field[:, axis] = sigma_m
            column = white(observations.seen(field))
            if np.linalg.norm(column) > 1e-9:
                blur.append(column)

    def stacked(columns: list[Array]) -> Array:
        return np.column_stack(columns) if columns else np.zeros((size, 0))

    return _Prepared(candidate, fixed, stacked(free), stacked(blur))


def _score(problem: Problem, parts: Sequence[_Prepared]) -> Scored:
    """Fit one cause, or two at once."""
    values, basis = problem.values, problem.general_basis
    fixed = sum((p.fixed for p in parts), np.zeros(len(values)))
    free = np.column_stack([p.free for p in parts])
    blur = np.column_stack([p.blur for p in parts])
    k, b = free.shape[1], blur.shape[1]
    target = np.concatenate([values - fixed, np.zeros(b)])
    design = np.vstack([np.column_stack([free, blur]), np.eye(b, k + b, k)])
    amounts, covariance, chi_square = solve(design, target)
    # What the general fit makes of what is left.
    wide = np.vstack([basis, np.zeros((b, basis.shape[1]))])
    both = span(np.column_stack([design, wide]))
    own = span(design)
    left = target - own @ (own.T @ target)
    extra = both - own @ (own.T @ both)
    # Not scaled anew: what is left of a combination that is the cause itself must stay as small as it is.
    directions, sines, _ = np.linalg.svd(extra, full_matrices=False)
    more = directions[:, sines > SAME]
    leftover = float(((more.T @ left) ** 2).sum())
    freedom = more.shape[1]
    open_sizes = [amount for p in parts for amount in p.candidate.free]
    deviation = np.sqrt(np.maximum(np.diag(covariance)[:k], 0.0)) if k else np.zeros(0)
    score = chi_square + sum(
        _cost(amount, float(value), float(sigma))
        for amount, value, sigma in zip(open_sizes, amounts[:k], deviation, strict=True)
    )
    score -= sum(EVIDENCE for p in parts if p.candidate.evidenced)
    fitted = [
        Fitted(amount.name, amount.unit, float(value), float(sigma), FLOOR_SIGMAS * float(sigma))
        for amount, value, sigma in zip(open_sizes, amounts[:k], deviation, strict=True)
        if not amount.nuisance
    ]
    shares = _shares(problem, parts)
    plausible = all(
        abs(value) <= amount.largest + 3.0 * sigma
        for amount, value, sigma in zip(open_sizes, amounts[:k], deviation, strict=True)
    )
    return Scored(
        causes=tuple(p.candidate for p in parts),
        amounts=(*shares, *fitted),
        chi_square=chi_square,
        score=score,
        leftover=leftover,
        bound=_bound(freedom, problem.freedom),
        predicted=_predicted(problem, parts, amounts[:k]),
        above_floor=all(_above(problem, parts, i, amounts, covariance) for i in range(len(parts))),
        plausible=plausible,
    )


def _shares(problem: Problem, parts: Sequence[_Prepared]) -> list[Fitted]:
    """For causes of known size: what share of it the residuals show, each beside the others."""
    known = [p for p in parts if p.candidate.fixed is not None]
    if not known:
        return []
    columns = np.column_stack([*(p.fixed for p in known), *(p.free for p in parts)])
    amounts, covariance, _ = solve(columns, problem.values)
    found = []
    for i, _ in enumerate(known):
        sigma = float(np.sqrt(covariance[i, i]))
        found.append(Fitted("share", "of 1", float(amounts[i]), sigma, FLOOR_SIGMAS * sigma))
    return found


def _above(
    problem: Problem, parts: Sequence[_Prepared], which: int, amounts: Array, covariance: Array
) -> bool:
    """Whether a cause exceeds its floor: by known size, or by the sizes fitted, beside the other cause."""
    part = parts[which]
    if part.candidate.fixed is not None:
        others = [p.free for i, p in enumerate(parts) if i != which]
        columns = np.column_stack([part.fixed, part.free, *others])
        size, its, _ = solve(
            columns,
            problem.values
            - sum(
                (p.fixed for i, p in enumerate(parts) if i != which), np.zeros(len(problem.values))
            ),
        )
        sigma = math.sqrt(max(float(its[0, 0]), 0.0))
        return FLOOR_SIGMAS * sigma < 1.0 and float(size[0]) > FLOOR_SIGMAS * sigma
    start = sum(p.free.shape[1] for p in parts[:which])
    chosen = [start + i for i, amount in enumerate(part.candidate.free) if not amount.nuisance]
    value, its = amounts[chosen], covariance[np.ix_(chosen, chosen)]
    distance = float(value @ np.linalg.pinv(its) @ value)
    return distance > _chi2(len(chosen), 0.9973)


def _predicted(problem: Problem, parts: Sequence[_Prepared], amounts: Array) -> Array:
    total = np.zeros((problem.observations.sightings.count, 3))
    at = 0
    for part in parts:
        if part.candidate.fixed is not None:
            total += part.candidate.fixed
        for amount in part.candidate.free:
            total += amount.field * float(amounts[at])
            at += 1
    return total


def _chi2(freedom: int, level: float) -> float:
    from scipy.special import chdtri

    return float(chdtri(freedom, 1.0 - level)) if freedom else 0.0


def _bound(freedom: int, within: int) -> float:
    """Give the 99 % bound; variances that are themselves estimated make it F, not chi-square."""
    if not freedom:
        return 1e-6
    from scipy.special import fdtri

    return float(freedom * fdtri(freedom, max(within, 4), BOUND))


def anything_to_explain(problem: Problem, candidates: Sequence[Scored], null: float) -> bool:
    """Whether some cause is better than none by more than chance makes over all that is tried."""
    from scipy.special import stdtrit

    tried = max(problem.general_basis.shape[1], 1)
    level = FALSE_ALARM / tried
    one = float(stdtrit(max(problem.line_freedom, 4), 1.0 - level / 2.0)) ** 2
    for scored in candidates:
        gain = null - scored.chi_square
        if (
            any(c.evidenced for c in scored.causes)
            and gain > FLOOR_SIGMAS**2
            and scored.above_floor
        ):
            return True  # asked for before the residuals were seen: nothing else was tried
        sizes = max(1, _sizes(scored))
        bound = one * _chi2(sizes, 1.0 - level) / _chi2(1, 1.0 - level)
        if gain > bound:
            return True
    return False


def rank(
    problem: Problem, candidates: Sequence[Candidate]
) -> tuple[Conclusion, tuple[Scored, ...]]:
    """Score all causes and pairs, and decide.

    Returns
    -------
    conclusion : str
        ``nothing-to-explain``, ``named``, ``consistent`` or ``unexplained``.
    scored : tuple of Scored
        Best first, the best variant of each cause; with the pairs where those are needed.
    """
    null = float(problem.values @ problem.values)
    prepared = [_prepare(problem, candidate) for candidate in candidates]
    prepared = [p for p in prepared if np.linalg.norm(p.fixed) + np.linalg.norm(p.free) > 1e-9]
    singles = [_score(problem, [p]) for p in prepared]
    if not anything_to_explain(problem, singles, null):
        best = sorted(_best_of_each(singles), key=lambda s: s.score)
        return "nothing-to-explain", tuple(replace(s, standing="below-floor") for s in best[:5])
    pairs = _pairs(problem, prepared, singles, null)
    singles = _best_of_each(singles)
    pairs = _best_of_each(pairs)
    possible = [s for s in singles if s.fits and s.above_floor and s.plausible]
    possible_pairs = [s for s in pairs if s.fits and s.above_floor and s.plausible]
    return _decide(possible, possible_pairs, singles, pairs)


def _decide(
    possible: Sequence[Scored],
    possible_pairs: Sequence[Scored],
    singles: Sequence[Scored],
    pairs: Sequence[Scored],
) -> tuple[Conclusion, tuple[Scored, ...]]:
    possible = [s for s in possible if not _needless(s, possible)]
    if possible:
        first = min(possible, key=lambda s: s.score)
        stronger = [
            s
            for s in possible_pairs
            if s.score < first.score - MARGIN and s.chi_square < first.chi_square - 2.0 * MARGIN
        ]
        if not stronger:
            return _listed(_with_rivals(possible, first), singles)
    if possible_pairs:
        first = min(possible_pairs, key=lambda s: s.score)
        return _listed(_with_rivals(possible_pairs, first), singles)
    order = sorted([*singles, *pairs[:5]], key=lambda s: s.score)
    return "unexplained", tuple(order)


def _needless(scored: Scored, possible: Sequence[Scored]) -> bool:
    """Whether a cause has the open sizes of another and more, and fits no better than chance lets it."""
    mine = {amount.name for cause in scored.causes for amount in cause.free}
    for other in possible:
        its = {amount.name for cause in other.causes for amount in cause.free}
        known = any(cause.fixed is not None for cause in (*scored.causes, *other.causes))
        if known or not its or not its < mine:
            continue
        if other.chi_square - scored.chi_square < _chi2(len(mine - its), BOUND):
            return True
    return False


def _with_rivals(possible: Sequence[Scored], first: Scored) -> list[Scored]:
    """Give the first with all that the rule does not set it apart from.

    The price of a free size may set a cause apart from all others. Where some remain beside it, the price keeps
    nobody off the list who fits as well.
    """
    rivals = [s for s in possible if _rivals(s, first)]
    if len(rivals) > 1:
        most = max(map(_sizes, rivals))
        rivals = [
            s
            for s in possible
            if s in rivals or (s.chi_square - first.chi_square < MARGIN and _sizes(s) <= most)
        ]
    return rivals


def _rivals(scored: Scored, first: Scored) -> bool:
    """Whether a cause is within the margin of the first, or fits better than by its additional sizes."""
    if scored.score - first.score < MARGIN:
        return True
    more = max(1, _sizes(scored) - _sizes(first))
    return first.chi_square - scored.chi_square > _chi2(more, BOUND)


def _sizes(scored: Scored) -> int:
    return sum(len(cause.free) for cause in scored.causes)


def _listed(
    listed: Sequence[Scored], singles: Sequence[Scored]
) -> tuple[Conclusion, tuple[Scored, ...]]:
    order = sorted(listed, key=lambda s: s.score)
    chosen = {s.names for s in order}
    # What only says that something is off by so much, or was picked by the residuals themselves, is no name,
    # even where it stands alone.
    alone = len(order) == 1 and not any(
        cause.cause.endswith("-unexplained") or cause.sought for cause in order[0].causes
    )
    standing: Standing = "named" if alone else "consistent"
    rest = sorted((s for s in singles if s.names not in chosen), key=lambda s: s.score)
    conclusion: Conclusion = "named" if alone else "consistent"
    return conclusion, (
        *(replace(s, standing=standing) for s in order),
        *rest,
    )


def _best_of_each(scored: Sequence[Scored]) -> list[Scored]:
    """Keep the best variant of each cause (or pair): what fits, then what was not sought out, then by score."""
    best: dict[tuple[str, ...], Scored] = {}
    for s in sorted(
        scored,
        key=lambda s: (
            not (s.fits and s.above_floor and s.plausible),
            any(cause.sought for cause in s.causes),
            s.score,
        ),
    ):
        best.setdefault(tuple(sorted(s.names)), s)
    return list(best.values())


def _pairs(
    problem: Problem, prepared: Sequence[_Prepared], singles: Sequence[Scored], null: float
) -> list[Scored]:
    """Score pairs of causes that each do something, unless one alone leaves nothing to explain."""
    order = sorted(range(len(singles)), key=lambda i: singles[i].chi_square)
    helping = [i for i in order if null - singles[i].chi_square > MARGIN][: 4 * MOST_IN_PAIRS]
    # One variant of each cause, the best; catch-alls of many sizes explain anything and pair with nothing.
    seen: set[str] = set()
    chosen = []
    for i in helping:
        cause = singles[i].causes[0]
        if cause.cause not in seen and len(cause.free) < 4:
            seen.add(cause.cause)
            chosen.append(i)
    second = [i for i in order if i not in chosen and len(singles[i].causes[0].free) < 4]
    tried = [*combinations(chosen[:MOST_IN_PAIRS], 2)]
    tried += [(i, j) for i in chosen[:4] for j in second]
    return [
        _score(problem, [prepared[i], prepared[j]])
        for i, j in tried
        if not _one_mistake(prepared[i].candidate, prepared[j].candidate)
    ]


def _one_mistake(one: Candidate, other: Candidate) -> bool:
    """Whether two causes are mistakes with the same thing: nobody takes two wrong frames at once."""
    return one.family == other.family and one.family in ("datum", "height", "unit")
