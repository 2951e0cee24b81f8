"""Spreading points over an area, the same for the same seed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from accuracy.layout.distribution import Spread, nearest_m, poor_quadrants, spread
from accuracy.layout.footprint import Floats, Footprint
from accuracy.planning.ground import Ground

#: Rounds in which points settle, and are pushed apart; starts that are tried; candidates asked for flat ground.
ROUNDS, PUSHES, STARTS, ASKED = 40, 30, 20, 40

#: Candidates around a place, of which those are taken.
AROUND = 400

#: Distance from the edge of the area. Common practice, no source.
FROM_EDGE_M = 3.0

Look = Callable[[float, float], Ground | None]


@dataclass(frozen=True)
class Spot:
    """A chosen place in metres, and the ground there."""

    east_m: float
    north_m: float
    ground: Ground | None


def candidates(area: Footprint, avoid_m: Floats, distance_m: float) -> Floats:
    """Give places in the area, away from its edge and from some points; shape (n, 2).

    Where the area is too narrow to keep away from its edge, its own cells are taken.
    """
    filled = area.filled
    inner = filled.copy()
    for _ in range(max(1, int(np.ceil(FROM_EDGE_M / area.cell_m)))):
        inner = _eroded(inner)
    rows, columns = np.nonzero(inner if inner.any() else filled)
    places: Floats = np.column_stack(
        [
            area.west_m + (columns + 0.5) * area.cell_m,
            area.south_m + (rows + 0.5) * area.cell_m,
        ]
    )
    if len(avoid_m):
        from scipy.spatial import cKDTree

        away = np.asarray(cKDTree(avoid_m).query(places)[0]) >= distance_m
        places = places[away] if away.any() else places
    return places


def _eroded(filled: NDArray[np.bool_]) -> NDArray[np.bool_]:
    wide = np.pad(filled, 1)
    return np.asarray(filled & wide[:-2, 1:-1] & wide[2:, 1:-1] & wide[1:-1, :-2] & wide[1:-1, 2:])


def choose(
    area: Footprint,
    places_m: Floats,
    n: int,
    seed: int,
    look: Look | None,
    steepest_deg: float,
    share: float,
    spacing_m: float,
) -> list[Spot]:
    """Choose places that are spread evenly and lie on flat ground.

    Points settle in the middle of the part of the area that is nearest to each; then each goes to the nearest
    flat candidate. Of several starts the one is taken that keeps quadrants and spacing best.

    Parameters
    ----------
    places_m : ndarray, shape (m, 2)
        Candidates.
    look : callable or None
        Gives the ground at a place; None where no surface is known.
    share, spacing_m : float
        Wanted share of each quadrant and distance between points.
    """
    n = min(n, len(places_m))
    if n == 0:
        return []
    random = np.random.default_rng(seed)
    if look is not None:
        look = cache(look)
    best: tuple[tuple[int, int, float], list[Spot]] | None = None
    for _ in range(STARTS):
        spots = _settled(places_m, n, random, look, steepest_deg, spacing_m)
        found: Spread = spread(area, np.array([(s.east_m, s.north_m) for s in spots]))
        nearest = found.nearest_m
        score = (
            len(poor_quadrants(found, share)),
            int((nearest < spacing_m).sum()),
            -float(nearest.min()),
        )
        if best is None or score < best[0]:
            best = (score, spots)
        if score[:2] == (0, 0):
            break
    assert best is not None
    return sorted(best[1], key=lambda spot: (-round(spot.north_m, 3), spot.east_m))


def _settled(
    places_m: Floats,
    n: int,
    random: np.random.Generator,
    look: Look | None,
    steepest_deg: float,
    spacing_m: float,
) -> list[Spot]:
    from scipy.spatial import cKDTree

    centres = places_m[random.choice(len(places_m), n, replace=False)]
    for _ in range(ROUNDS):
        nearest = np.asarray(cKDTree(centres).query(places_m)[1])
        sums = np.column_stack([np.bincount(nearest, places_m[:, axis], n) for axis in (0, 1)])
        counts = np.bincount(nearest, minlength=n)[:, None]
        moved = np.where(counts > 0, sums / np.maximum(counts, 1), centres)
        if np.allclose(moved, centres, rtol=0.0, atol=1e-6):
            break
        centres = moved
    tree = cKDTree(places_m)
    centres = _pushed(centres, places_m, tree, spacing_m)
    taken: set[int] = set()
    spots = []
    held = centres.copy()  # where the others are, or will be
    for number, centre in enumerate(centres):
        near = np.atleast_1d(tree.query(centre, k=min(AROUND, len(places_m)))[1])
        near = near[:: max(1, len(near) // ASKED)]
        order = [int(i) for i in near if int(i) not in taken]
        order = order or [i for i in range(len(places_m)) if i not in taken]
        others = np.delete(held, number, axis=0)
        if len(others):
            apart_m = np.asarray(cKDTree(others).query(places_m[order])[0]).tolist()
            far = [at for at, m in zip(order, apart_m, strict=True) if m >= spacing_m]
            order = far or [order[apart_m.index(max(apart_m))]]
        at, ground = _flattest(places_m, order, look, steepest_deg)
        taken.add(at)
        held[number] = places_m[at]
        spots.append(Spot(float(places_m[at, 0]), float(places_m[at, 1]), ground))
    return spots


def _pushed(centres: Floats, places_m: Floats, tree: Any, spacing_m: float) -> Floats:
    """Move points that are too near to another away from all others, as far as that helps."""
    from scipy.spatial import cKDTree

    centres = centres.copy()
    for _ in range(PUSHES):
        near = np.flatnonzero(nearest_m(centres) < spacing_m)
        if not near.size:
            break
        moved = False
        for number in near.tolist():
            others = cKDTree(np.delete(centres, number, axis=0))
            around = np.atleast_1d(tree.query(centres[number], k=min(AROUND, len(places_m)))[1])
            apart_m = np.asarray(others.query(places_m[around])[0])
            best = int(apart_m.argmax())
            if apart_m[best] > float(others.query(centres[number])[0]) + 1e-9:
                centres[number] = places_m[around[best]]
                moved = True
        if not moved:
            break
    return centres


def _flattest(
    places_m: Floats, order: list[int], look: Look | None, steepest_deg: float
) -> tuple[int, Ground | None]:
    """Take the nearest candidate on flat ground, else the flattest of those asked."""
    if look is None:
        return order[0], None
    seen: list[tuple[float, int, Ground]] = []
    for at in order:
        ground = look(float(places_m[at, 0]), float(places_m[at, 1]))
        if ground is None:
            continue
        if ground.slope_deg < steepest_deg and ground.deviation_m <= FLAT_M:
            return at, ground
        seen.append((ground.slope_deg + 100.0 * ground.deviation_m, at, ground))
    if not seen:
        return order[0], None
    _, at, ground = min(seen, key=lambda item: item[:2])
    return at, ground


#: Deviation from a plane within a few metres that still counts as flat. No source.
FLAT_M = 0.10
