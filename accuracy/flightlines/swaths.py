"""Where a line lies: its direction, the two sides of its swath, and the usable centre."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from accuracy.flightlines.collecting import N, T
from accuracy.flightlines.records import Place
from accuracy.flightlines.tables import Rows

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: Cells along and across that one bin of the outline covers, and cells left out inside it.
BIN_CELLS, EDGE_CELLS = 2, 2
#: How well times must follow the way for the heading to be told by them.
LEAST_FIT = 0.5
MOST_STATIONS = 60


class Moments:
    """Sums over the cells of one line, for its direction; cells in order."""

    def __init__(self) -> None:
        self.sums = np.zeros(10)
        self.box = np.array([np.inf, np.inf, -np.inf, -np.inf])

    def see(self, x: Array, y: Array, time_s: Array, known: Bools) -> None:
        """Take note of cells: places in metres, mean times, and whether there is a time."""
        low, high = self.box[:2], self.box[2:]
        self.box = np.concatenate(
            [np.minimum(low, (x.min(), y.min())), np.maximum(high, (x.max(), y.max()))]
        )
        x, y, time_s = x[known], y[known], time_s[known]
        one = np.ones(len(x))
        pairs = (one, x, y, time_s, x * x, x * y, y * y, x * time_s, y * time_s, time_s * time_s)
        self.sums += np.array([values.sum() for values in pairs])


@dataclass(eq=False)
class Swath:
    """One line on the ground; metres from the corner of the site.

    Attributes
    ----------
    middle : tuple of float
        Mean place of its cells.
    ahead : tuple of float
        Unit vector of flight, east and north; of the longer axis where times do not tell.
    heading_deg, speed_m_s : float or None
        Over ground; None where times do not tell.
    cell_m : float
        Side of a cell.
    """

    middle: Place
    ahead: Place
    heading_deg: float | None
    speed_m_s: float | None
    cell_m: float
    usable_share: float
    box: tuple[float, float, float, float]
    first: tuple[int, int] = (0, 0)
    across: Array = field(default_factory=lambda: np.zeros((2, 0)))
    along: Array = field(default_factory=lambda: np.zeros((2, 0)))

    def __post_init__(self) -> None:
        west, south, east, north = self.box
        u, v = self.place(np.array([west, west, east, east]), np.array([south, north] * 2))
        step = self.bin_m
        self.first = (math.floor(u.min() / step) - 1, math.floor(v.min() / step) - 1)
        counts = [
            math.floor(w.max() / step) + 2 - f for w, f in zip((u, v), self.first, strict=True)
        ]
        self.across, self.along = (np.tile([[np.inf], [-np.inf]], n) for n in counts)

    @property
    def bin_m(self) -> float:
        """Width of a bin of the outline."""
        return BIN_CELLS * self.cell_m

    def place(self, x: Array, y: Array) -> tuple[Array, Array]:
        """Give metres ahead and to the right of the middle."""
        dx, dy = x - self.middle[0], y - self.middle[1]
        east, north = self.ahead
        return dx * east + dy * north, dx * north - dy * east

    def back(self, u: float, v: float) -> Place:
        """Give the place so far ahead and to the right."""
        east, north = self.ahead
        return (self.middle[0] + u * east + v * north, self.middle[1] + u * north - v * east)

    def bins(self, u: Array, v: Array) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Give the bins along and across."""
        one, two = (
            np.clip(np.floor(w / self.bin_m).astype(np.int64) - f, 0, n - 1)
            for w, f, n in (
                (u, self.first[0], self.across.shape[1]),
                (v, self.first[1], self.along.shape[1]),
            )
        )
        return one, two

    def see(self, x: Array, y: Array) -> None:
        """Take note of cells with points."""
        u, v = self.place(x, y)
        at_u, at_v = self.bins(u, v)
        np.minimum.at(self.across[0], at_u, v)
        np.maximum.at(self.across[1], at_u, v)
        np.minimum.at(self.along[0], at_v, u)
        np.maximum.at(self.along[1], at_v, u)

    def usable(self, x: Array, y: Array) -> Bools:
        """Tell which cell centres lie in the usable centre."""
        u, v = self.place(x, y)
        at_u, at_v = self.bins(u, v)
        low, high = self.across[:, at_u]
        with np.errstate(invalid="ignore"):  # bins without cells
            half = (high - low + self.cell_m) / 2.0
            room = np.minimum(self.usable_share * half, half - EDGE_CELLS * self.cell_m)
            inside = np.abs(v - (low + high) / 2.0) <= room
        near, far = self.along[:, at_v]
        edge = (EDGE_CELLS - 0.5) * self.cell_m
        return np.asarray(inside & (u >= near + edge) & (u <= far - edge))

    def third(self, x: Array, y: Array) -> NDArray[np.int64]:
        """Give 0, 1, 2 for the left, centre, right third of the swath."""
        u, v = self.place(x, y)
        low, high = self.across[:, self.bins(u, v)[0]]
        share = (v - low + self.cell_m / 2.0) / (high - low + self.cell_m)
        part: NDArray[np.int64] = np.clip(np.floor(3.0 * share), 0, 2).astype(np.int64)
        return part

    @property
    def filled(self) -> NDArray[np.intp]:
        """Bins along that hold cells."""
        return np.flatnonzero(np.isfinite(self.across[0]))

    @property
    def width_m(self) -> float:
        """Median width."""
        at = self.filled
        inner = at[1:-1] if len(at) > 4 else at
        return float(np.median(self.across[1, inner] - self.across[0, inner])) + self.cell_m

    @property
    def length_m(self) -> float:
        """Length along the flight."""
        return float(self.along[1].max() - self.along[0].min()) + self.cell_m

    def outline(self) -> tuple[tuple[Place, ...], tuple[Place, ...]]:
        """Give the middle line and the closed outline, in metres from the corner of the site."""
        half = self.cell_m / 2.0
        stations = [
            (
                (group.mean() + self.first[0] + 0.5) * self.bin_m,
                float(self.across[0, group].min()) - half,
                float(self.across[1, group].max()) + half,
            )
            for group in _grouped(self.filled)
        ]
        return _ring(self, stations)


def _grouped(filled: NDArray[np.intp]) -> list[NDArray[np.intp]]:
    count = max(1, min(MOST_STATIONS, len(filled)))
    return [group for group in np.array_split(filled, count) if group.size]


def _ring(
    swath: Swath, stations: list[tuple[float, float, float]]
) -> tuple[tuple[Place, ...], tuple[Place, ...]]:
    if not stations:
        return (), ()
    step = swath.bin_m / 2.0
    first, last = stations[0], stations[-1]
    ends = [(first[0] - step, *first[1:]), *stations, (last[0] + step, *last[1:])]
    middle = tuple(swath.back(u, (low + high) / 2.0) for u, low, high in ends)
    left = [swath.back(u, low) for u, low, _ in ends]
    right = [swath.back(u, high) for u, _, high in ends]
    ring = (*left, *reversed(right), left[0])
    return middle, ring


def ring_of(swath: Swath, bins: NDArray[np.intp], low: Array, high: Array) -> tuple[Place, ...]:
    """Give a closed outline from least and largest places across, by bins along a swath."""
    half = swath.cell_m / 2.0
    stations = []
    for group in _grouped(bins):
        at = np.isin(bins, group)
        stations.append(
            (
                float((group.mean() + swath.first[0] + 0.5) * swath.bin_m),
                float(low[at].min()) - half,
                float(high[at].max()) + half,
            )
        )
    return _ring(swath, stations)[1]


def swath_of(moments: Moments, cell_m: float, usable_share: float, *, timed: bool) -> Swath:
    """Tell the direction of a line from its cells: by their times, else the longer axis."""
    count, sx, sy, st, xx, xy, yy, xt, yt, tt = moments.sums.tolist()
    n = max(count, 1.0)
    mx, my, mt = sx / n, sy / n, st / n
    cov = np.array([[xx / n - mx * mx, xy / n - mx * my], [xy / n - mx * my, yy / n - my * my]])
    with_time = np.array([xt / n - mx * mt, yt / n - my * mt])
    var_t = tt / n - mt * mt
    heading = speed = None
    ahead = (0.0, 1.0)
    if np.linalg.matrix_rank(cov, tol=1e-9) == 2:
        by_place = np.linalg.solve(cov, with_time)
        steep = float(np.hypot(*by_place))
        explained = float(by_place @ with_time)
        if timed and steep > 0.0 and var_t > 0.0 and explained > LEAST_FIT * var_t:
            ahead = (float(by_place[0] / steep), float(by_place[1] / steep))
            heading, speed = math.degrees(math.atan2(*ahead)) % 360.0, 1.0 / steep
        else:
            axis = np.linalg.eigh(cov)[1][:, 1]
            axis = axis if axis[1] > 0.0 or (axis[1] == 0.0 and axis[0] > 0.0) else -axis
            ahead = (float(axis[0]), float(axis[1]))
    west, south, east, north = (float(value) for value in moments.box)
    return Swath(
        (float(mx), float(my)),
        ahead,
        heading,
        speed,
        cell_m,
        usable_share,
        (west, south, east, north),
    )


def mean_time_s(rows: Rows) -> Array:
    """Give the mean time of the last returns of cells, seconds of their line; 0 where there are none."""
    return np.asarray(rows.sums[:, T] / np.maximum(rows.sums[:, N], 1) * 1e-6)
