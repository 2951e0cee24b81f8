"""Two lines that overlap: differences, trends, and where one lies against the other."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from accuracy.flightlines.lattice import Lattice
from accuracy.flightlines.planes import Planes
from accuracy.flightlines.profiles import ProfileSums
from accuracy.flightlines.records import (
    LEFT_OUT,
    Estimate,
    LinesSettings,
    Offset,
    PairKind,
    PairRecord,
    Place,
    SiteTrends,
    Trends,
)
from accuracy.flightlines.regression import FEWEST_BLOCKS, Products
from accuracy.flightlines.spread import Spread
from accuracy.flightlines.swaths import Swath, ring_of

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

ASSESSED_FEWEST = 30
#: Directions within so many degrees of parallel are parallel.
PARALLEL_DEG = 30.0
#: A horizontal offset with a larger standard error is not known.
OFFSET_ERROR_M = 0.10
#: Real slopes must outweigh what noise makes of flat ground by so much.
SLOPE_SIGNAL = 3.0
_REASONS = tuple(LEFT_OUT)


class Shared:
    """Cells that two lines share, in one block; arrays of shape (n,), later minus earlier."""

    def __init__(
        self,
        one: NDArray[np.intp],
        two: NDArray[np.intp],
        planes: Planes,
        single: Bools,
        hard: Bools,
        smooth: Bools,
        settings: LinesSettings,
    ) -> None:
        self.difference = planes.height_m[two] - planes.height_m[one]
        self.plain = planes.mean_m[two] - planes.mean_m[one]
        self.east = (planes.east[one] + planes.east[two]) / 2.0
        self.north = (planes.north[one] + planes.north[two]) / 2.0
        variance = planes.sigma_m**2
        self.variance = variance[one] * planes.leverage[one] + variance[two] * planes.leverage[two]
        self.slope_errors = tuple(
            (variance[one] * cov[one] + variance[two] * cov[two]) / 4.0
            for cov in (planes.slope_xx, planes.slope_xy, planes.slope_yy)
        )
        with np.errstate(invalid="ignore"):
            slope = np.hypot(self.east, self.north)
            gentle = slope <= math.tan(math.radians(settings.slope_limit_deg))
            self.sloping = slope <= math.tan(math.radians(settings.offset_slope_deg))
        passed = (
            planes.fitted[one] & planes.fitted[two],
            single[one] & single[two],
            hard[one] & hard[two],
            smooth[one] & smooth[two],
        )
        self.reason = np.full(len(one), -1)
        for at, good in reversed(list(enumerate((*passed, gentle)))):
            self.reason[~good] = at
        self.assessed = self.reason < 0
        self.sloping &= np.logical_and.reduce(passed)


class PairSums:
    """What is summed up of one pair, block by block."""

    def __init__(self, earlier: Swath, settings: LinesSettings) -> None:
        self._swath = earlier
        self._settings = settings
        self.spread, self.plain = Spread(), Spread()
        self.expected = 0.0
        self.left_out = np.zeros(len(_REASONS), np.int64)
        self.trends = Products(6)  # across, along, -east slope, -north slope, time, difference
        self.offsets = Products(5)  # across, along, -east slope, -north slope, difference
        self.slope_noise = np.zeros((2, 2))
        self.profiles = (ProfileSums("across"), ProfileSums("along"), ProfileSums("time"))
        bins = earlier.across.shape[1]
        self.counts = np.zeros(bins, np.int64)
        self.low, self.high = np.full(bins, np.inf), np.full(bins, -np.inf)

    def see(self, shared: Shared, x: Array, y: Array, time_s: Array) -> Ints:
        """Take note of the shared cells of a block; give the stretch along the track of each."""
        u, v = self._swath.place(x, y)
        at = self._swath.bins(u, v)[0]
        np.add.at(self.counts, at, 1)
        np.minimum.at(self.low, at, v)
        np.maximum.at(self.high, at, v)
        stretch = np.floor(u / self._settings.block_m).astype(np.int64)
        known = np.flatnonzero(np.isfinite(shared.plain))
        self.plain.see(shared.plain[known], x[known], y[known])
        self.left_out += np.bincount(shared.reason[~shared.assessed], minlength=len(_REASONS))
        good = np.flatnonzero(shared.assessed)
        self.spread.see(shared.difference[good], x[good], y[good])
        self.expected += float(shared.variance[good].sum())
        for sums, axis in zip(self.profiles, (v, u, time_s), strict=True):
            sums.see(axis[good], shared.difference[good])
        columns = (v, u, -shared.east, -shared.north)
        less = np.zeros((len(x), 7, 7))
        xx, xy, yy = shared.slope_errors
        less[:, 3, 3], less[:, 4, 4] = xx, yy
        less[:, 3, 4] = less[:, 4, 3] = xy
        self.trends.see(
            stretch[good],
            [values[good] for values in (*columns, time_s, shared.difference)],
            less[good],
        )
        good = np.flatnonzero(shared.sloping)
        self.slope_noise += less[good].sum(axis=0)[3:5, 3:5]
        self.offsets.see(
            stretch[good],
            [values[good] for values in (*columns, shared.difference)],
            less[good, :6, :6],
        )
        return stretch

    def record(
        self,
        numbers: tuple[int, int],
        later: Swath,
        lattice: Lattice,
        origin: Place,
        *,
        timed: bool,
    ) -> PairRecord:
        """Give the record; `origin` is the corner of the site, in metres."""
        kind = kind_of(self._swath.heading_deg, later.heading_deg)
        filled = np.flatnonzero(self.counts)
        inner = filled[1:-1] if len(filled) > 4 else filled
        widths = self.counts[inner] * lattice.cell_m**2 / self._swath.bin_m
        across = kind == "crossing" or not len(inner)
        narrow = min(self._swath.width_m, later.width_m)
        scale = lattice.horizontal_m

        def stored(place: Place) -> Place:
            return ((place[0] + origin[0]) / scale, (place[1] + origin[1]) / scale)

        n, offset = self.spread.n, self._offset()
        return PairRecord(
            earlier=numbers[0],
            later=numbers[1],
            kind=kind,
            differences=self.spread.differences(),
            expected_rmsd_m=math.sqrt(self.expected / n) if n else None,
            plain=self.plain.differences(),
            trends=self._trends(offset, timed=timed),
            offset=offset,
            left_out={
                name: int(count) for name, count in zip(_REASONS, self.left_out, strict=True)
            },
            overlap_m2=float(self.counts.sum()) * lattice.cell_m**2,
            overlap_width_m=None if across else float(np.median(widths)),
            overlap_least_width_m=None if across else float(widths.min()),
            overlap_share=None if across else float(np.median(widths)) / narrow,
            place_of_max=None if self.spread.place is None else stored(self.spread.place),
            outline=tuple(
                stored(p) for p in ring_of(self._swath, filled, self.low[filled], self.high[filled])
            ),
            profiles=tuple(
                profile
                for sums in (self.profiles if timed else self.profiles[:2])
                if (profile := sums.profile()) is not None
            ),
        )

    def _trends(self, offset: Offset | None, *, timed: bool) -> Trends | None:
        """Fit tilts; where a horizontal offset is known, it is held apart from them by the slopes."""
        combined: list[tuple[float, ...]] = []
        if offset is not None and offset.identified == "both":
            combined = [(0, 0, 0, 1, 0, 0, 0), (0, 0, 0, 0, 1, 0, 0)]
        elif offset is not None and offset.best_direction_deg is not None:
            best = math.radians(offset.best_direction_deg)
            combined = [(0, 0, 0, math.sin(best), math.cos(best), 0, 0)]
        fit = None
        if self.trends.cells >= ASSESSED_FEWEST:
            fit = self.trends.fit((1, 2), 6, combined=combined)
            if fit is None:
                combined = []
                fit = self.trends.fit((1, 2), 6)
        if fit is None:
            return None
        total = self.trends.total()
        mean = total[0] / total[0, 0]
        by_time = self.trends.fit((1, 5), 6, combined=combined) if timed else None
        cov = total / total[0, 0] - np.outer(mean, mean)
        size = math.sqrt(max(cov[2, 2] * cov[5, 5], 0.0))
        return Trends(
            cells=fit.cells,
            blocks=fit.blocks,
            shift_m=fit.estimate((1.0, mean[1], mean[2], *([0.0] * len(combined)))),
            across=fit.each(1),
            along=fit.each(2),
            time_m_s=None if by_time is None else by_time.each(2),
            time_along_correlation=float(cov[2, 5]) / size if timed and size > 0.0 else None,
            offset_held=bool(combined),
        )

    def _offset(self) -> Offset | None:
        """Fit the offset in the directions in which slopes outweigh what noise makes of flat ground."""
        cells, blocks = self.offsets.cells, self.offsets.blocks
        if cells < ASSESSED_FEWEST:
            return None
        flat = Offset(identified="none", reason="flat: cannot be seen", cells=cells, blocks=blocks)
        if blocks < FEWEST_BLOCKS:
            few = f"too few independent stretches ({blocks})"
            return replace(flat, reason=few)
        total = self.offsets.total()
        rest, slopes = total[:3, :3], total[3:5, 3:5]
        known = slopes - total[3:5, :3] @ np.linalg.pinv(rest, hermitian=True) @ total[:3, 3:5]
        axes = np.linalg.eigh(known)[1].T[::-1]  # the better known direction first
        seen = [
            axis
            for axis in axes
            if axis @ known @ axis > SLOPE_SIGNAL * axis @ self.slope_noise @ axis
        ]
        fit = self.offsets.fit((1, 2), 5, combined=[(0, 0, 0, *axis, 0) for axis in seen])
        if not seen or fit is None or fit.covariance is None:
            return flat
        variances, turned = np.linalg.eigh(fit.covariance[3:, 3:])
        errors = np.sqrt(np.maximum(variances, 0.0))
        if errors[0] > OFFSET_ERROR_M:
            weak = f"slopes too gentle: standard error {errors[0]:.2f} m at best"
            return replace(flat, reason=weak)
        weights = turned[:, 0]
        best = weights @ np.array(seen)
        if best[0] < 0.0:
            weights, best = -weights, -best
        both = len(seen) == 2 and bool(errors[1] <= OFFSET_ERROR_M)
        middle = total[0, 1:3] / total[0, 0]
        east, north = np.array(seen).T

        def plane(at: Array) -> Estimate:
            return fit.estimate((0.0, 0.0, 0.0, *at))

        return Offset(
            identified="both" if both else "one-direction",
            reason="slopes of several aspects" if both else "slopes face one way only",
            cells=cells,
            blocks=blocks,
            east_m=plane(east) if both else None,
            north_m=plane(north) if both else None,
            up_m=fit.estimate((1.0, *middle, *([0.0] * len(seen)))),
            best_direction_deg=float(np.degrees(np.arctan2(best[0], best[1]))) % 180.0,
            best_m=plane(weights),
            worst_error_m=float(errors[1]) if len(seen) == 2 else None,
        )


class SiteSums:
    """What all pairs say together."""

    def __init__(self) -> None:
        # time apart, places across apart, slopes along what turns with the aircraft (2), difference
        self._products = Products(5)
        self._noise = np.zeros((2, 2))

    def see(
        self,
        key: int,
        lines: tuple[Swath, Swath],
        shared: Shared,
        stretch: Ints,
        apart_s: Array,
        across_m: Array,
    ) -> None:
        """Take note of the shared cells of a pair of lines, earlier and later; later minus earlier.

        An offset that every line has forward, and to the right, displaces two lines against each other by its
        difference in both directions of flight, and shows in height through the slope.
        """
        good = np.flatnonzero(shared.assessed)
        (e1, n1), (e2, n2) = (line.ahead for line in lines)
        turned = np.array(
            [[e2 - e1, n2 - n1], [n2 - n1, e1 - e2]]
        )  # forward, right: east and north
        slopes = -np.stack([shared.east[good], shared.north[good]], axis=1) @ turned.T
        xx, xy, yy = (errors[good] for errors in shared.slope_errors)
        errors = turned @ np.array([[xx, xy], [xy, yy]]).transpose(2, 0, 1) @ turned.T
        less = np.zeros((len(good), 6, 6))
        less[:, 3:5, 3:5] = errors
        self._noise += errors.sum(axis=0)
        columns = (apart_s[good], across_m[good], *slopes.T, shared.difference[good])
        self._products.see((key << 24) + stretch[good] + (1 << 23), columns, less)

    def trends(self) -> SiteTrends:
        """Fit drift and roll together, or what of them can be told.

        Without a constant: lines flown one after the other, at one interval, cannot tell it from a drift.
        """
        products = self._products
        cells, blocks = products.cells, products.blocks
        if not blocks:
            return SiteTrends(cells=cells, blocks=blocks)
        known = products.total()[3:5, 3:5]
        beside: tuple[int, ...] = ()
        if np.linalg.eigvalsh(known - SLOPE_SIGNAL * self._noise)[0] > 0.0:
            beside = (3, 4)
        for use in ((1, 2), (2,), (1,)):
            fit = products.fit((*use, *beside), 5, constant=False)
            if fit is None or fit.covariance is None:
                continue
            correlation = None
            if len(use) == 2:
                inverse = np.linalg.inv(fit.normal)
                correlation = float(inverse[0, 1] / math.sqrt(inverse[0, 0] * inverse[1, 1]))
            with_shift = products.fit((*use, *beside), 5)
            return SiteTrends(
                cells=cells,
                blocks=blocks,
                drift_m_s=fit.each(0) if 1 in use else None,
                roll_rad=fit.each(use.index(2)) if 2 in use else None,
                shift_m=None if with_shift is None else with_shift.each(0),
                correlation=correlation,
            )
        return SiteTrends(cells=cells, blocks=blocks)


def kind_of(one: float | None, two: float | None) -> PairKind:
    """Tell how two headings stand to each other."""
    if one is None or two is None:
        return "unknown"
    apart = abs((two - one + 180.0) % 360.0 - 180.0)
    if apart <= PARALLEL_DEG:
        return "same-direction"
    return "opposite" if apart >= 180.0 - PARALLEL_DEG else "crossing"


def pairs_in(key: Ints, line: Ints) -> Sequence[tuple[NDArray[np.intp], NDArray[np.intp]]]:
    """Give rows of the same cell two by two: rows sorted by cell, then line."""
    found = []
    for apart in range(1, 1 + (int(line.max()) if len(line) else 0)):
        one = (
            np.flatnonzero(key[:-apart] == key[apart:])
            if apart < len(key)
            else np.zeros(0, np.intp)
        )
        if not one.size:
            break
        found.append((one, one + apart))
    return found
