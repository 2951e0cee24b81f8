"""Shift, tilt, scale, rotation and errors of the aircraft, fitted together; and what cannot be seen."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from accuracy.diagnosis import fields
from accuracy.diagnosis.model import Observations, Whitener, solve
from accuracy.diagnosis.records import Array, Errors, LineShift, Parameter, Sightings

#: Above this correlation two parameters are not told apart.
MOST_CORRELATED = 0.95
#: Singular values of the scaled design below this share of the largest leave a combination undetermined.
LEAST_SHARE = 0.04
#: Sizes that must show, or the data are called blind to them: a tenth of what is plausible at most.
SHOWS = 0.1
#: A share of a combination smaller than this does not count.
PART = 0.25


def design(observations: Observations) -> tuple[tuple[str, ...], Array]:
    """Give names and columns, shape (m, k), of all parameters."""
    found = fields.general(observations.sightings)
    columns = [observations.seen(field) for field in found.values()]
    return tuple(found), np.column_stack(columns)


def plausible(observations: Observations) -> Array:
    """Give the columns of `design` at a tenth of the largest plausible size, in metres."""
    names, columns = design(observations)
    largest = np.array([SHOWS * fields.ELEMENTARY[name].largest for name in names])
    return np.asarray(columns * largest)


def showing(columns: Array, most: int) -> Array:
    """Give a basis of what shows: combinations whose plausible size exceeds three standard deviations.

    Parameters
    ----------
    columns : ndarray
        From `plausible`, in units of the standard deviation.
    most : int
        No more dimensions than this, the strongest first.
    """
    if not columns.shape[1]:
        return columns
    u, s, _ = np.linalg.svd(columns, full_matrices=False)
    return np.asarray(u[:, : min(most, int((s > 3.0).sum()))])


def parameters(observations: Observations, white: Whitener, values: Array) -> tuple[Parameter, ...]:
    """Fit all parameters that can be told apart, and say of the others why not.

    Parameters
    ----------
    values : ndarray, shape (m + r,)
        Whitened observations.
    """
    names, columns = design(observations)
    whitened = white(columns)
    norm = np.linalg.norm(whitened, axis=0)
    with np.errstate(divide="ignore"):
        alone = np.where(norm > 1e-12, 1.0 / np.maximum(norm, 1e-300), np.inf)
    largest = np.array([fields.ELEMENTARY[name].largest for name in names])
    blind = 3.0 * alone > SHOWS * largest
    visible = [i for i in range(len(names)) if not blind[i]]
    groups = _look_alikes(whitened[:, visible]) if visible else []
    like = {visible[i]: tuple(names[visible[j]] for j in its) for i, its in enumerate(groups)}
    amounts, covariance, _ = solve(whitened[:, visible], values)
    for at, its in enumerate(_beyond_what_is_plausible(covariance, largest[visible])):
        like[visible[at]] = like[visible[at]] or tuple(names[visible[j]] for j in its)
    fitted = [i for i in visible if not like[i]]
    made = []
    for i, name in enumerate(names):
        unit = fields.ELEMENTARY[name].unit
        if blind[i]:
            floor = float(3.0 * alone[i]) if np.isfinite(alone[i]) else None
            made.append(Parameter(name, unit, None, None, floor, "blind"))
        elif i in fitted:
            at = visible.index(i)
            sigma = float(np.sqrt(covariance[at, at]))
            made.append(Parameter(name, unit, float(amounts[at]), sigma, 3.0 * sigma, "separable"))
        else:
            made.append(
                Parameter(name, unit, None, None, float(3.0 * alone[i]), "inseparable", like[i])
            )
    return tuple(made)


def _beyond_what_is_plausible(covariance: Array, largest: Array) -> list[tuple[int, ...]]:
    """Give, for each parameter that is surer by common sense than by the data, the one it goes with most."""
    deviation = np.sqrt(np.diag(covariance))
    undecided = 3.0 * deviation > largest
    if len(largest) < 2 or not undecided.any():
        return [()] * len(largest)
    together = np.abs(covariance / np.outer(deviation, deviation))
    np.fill_diagonal(together, 0.0)
    return [(int(together[i].argmax()),) if undecided[i] else () for i in range(len(largest))]


def _look_alikes(white: Array) -> list[tuple[int, ...]]:
    """Give for each column those that it cannot be told from: correlated, or undetermined together."""
    count = white.shape[1]
    scaled = white / np.linalg.norm(white, axis=0)
    _, s, vt = np.linalg.svd(scaled, full_matrices=False)
    like: list[set[int]] = [set() for _ in range(count)]
    weak = [vt[k] for k in range(len(s)) if s[k] < LEAST_SHARE * s[0]]
    for direction in weak:
        members = np.flatnonzero(np.abs(direction) > PART)
        for i in members:
            like[i] |= {int(j) for j in members if j != i}
    if not weak:
        inverse = (vt.T / s**2) @ vt
        deviation = np.sqrt(np.diag(inverse))
        correlation = inverse / np.outer(deviation, deviation)
        for i, j in zip(*np.nonzero(np.abs(correlation) > MOST_CORRELATED), strict=True):
            if i != j:
                like[i].add(int(j))
    return [tuple(sorted(its)) for its in like]


def blindness(found: tuple[Parameter, ...], sightings: Sightings) -> tuple[str, ...]:
    """Say in words what the data cannot see."""
    return tuple(_blindness(found, sightings))


def _blindness(found: tuple[Parameter, ...], sightings: Sightings) -> Iterator[str]:
    blind = {p.name for p in found if p.state == "blind"}
    horizontal = sightings.has(0) or sightings.has(1)
    shift = {"shift-east", "shift-north"} & blind
    geometry = bool(sightings.geometry_known.any())
    if shift and not horizontal:
        seen = "on ground this flat" if sightings.gradient_known else "without the aspect of slopes"
        unseen = "horizontal shifts"
        if geometry:
            unseen = "pitch, heading, timing, horizontal lever arm and horizontal shifts"
        yield f"heights alone, {seen}, are blind to {unseen}"
    elif not horizontal:
        yield (
            "horizontal errors show only through the slopes of the ground: a target with a horizontal "
            "definition would say more"
        )
    if not sightings.has(2):
        yield "no heights are compared: errors in height are not seen"
    if not geometry:
        yield (
            "flight lines are not told apart, or their headings are not known: errors that turn with the "
            "aircraft (boresight, lever arm, timing) cannot be told from those of the map"
        )
    elif not opposite(sightings):
        yield (
            "no point is seen from opposite or crossing directions: errors that turn with the aircraft look "
            "like a shift of the map"
        )
    said = {"shift-east", "shift-north"} | (blind if shift and not horizontal else set())
    others = sorted(name for name in blind - said if geometry and fields.ELEMENTARY[name].body)
    if others:
        yield f"too weakly determined here to be seen: {', '.join(others)}"


def opposite(sightings: Sightings) -> bool:
    """Whether lines of clearly different headings are among the sightings."""
    psi = np.radians(sightings.heading_deg[sightings.geometry_known])
    return bool(psi.size) and float(np.cos(psi[:, None] - psi[None, :]).min()) < 0.5


def line_shifts(
    sightings: Sightings, errors: Errors, weights: Array, observations: Observations
) -> tuple[LineShift, ...]:
    """Give the mean residual of each flight line by itself, robustly weighted."""
    shifts = []
    row_weight = np.zeros((sightings.count, 3))
    row_weight[observations.row, observations.axis] = weights[observations.block]
    for line in sightings.lines:
        its = sightings.line == line
        values: list[float | None] = []
        sigmas: list[float | None] = []
        for axis in range(3):
            here = its & (row_weight[:, axis] > 0.0)
            if not here.any():
                values.append(None)
                sigmas.append(None)
                continue
            w = row_weight[here, axis]
            values.append(float(np.average(sightings.residual_m[here, axis], weights=w)))
            noise, point = (
                (errors.noise_v_m, errors.point_v_m)
                if axis == 2
                else (errors.noise_h_m, errors.point_h_m)
            )
            sigmas.append(float(np.hypot(noise, point) / np.sqrt(w.sum())))
        shifts.append(
            LineShift(
                line,
                int(np.unique(sightings.place[its]).size),
                values[0],
                values[1],
                values[2],
                sigmas[0],
                sigmas[2],
                _mean(sightings.heading_deg[its]),
                _mean(sightings.speed_m_s[its]),
                _mean(sightings.height_m[its]),
            )
        )
    return tuple(shifts)


def _mean(values: Array) -> float | None:
    known = values[np.isfinite(values)]
    return (
        float(known[0])
        if known.size and np.ptp(known) == 0.0
        else (float(known.mean()) if known.size else None)
    )
