"""From stretches to flight lines: by point source id where ids tell lines, else by time and turning."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from accuracy.flightlines.collecting import (
    S_COL,
    S_FIRST,
    S_KEPT,
    S_NOISE,
    S_POINTS,
    S_ROW,
    S_WITHHELD,
    STRETCH_S,
    UNTIMED,
    source_of,
    stretch_of,
)
from accuracy.flightlines.records import How, Span, Stray, TimeGap
from accuracy.flightlines.tables import Rows

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

# What makes a pass; common practice, no source.
#: A pause this long ends a pass, unless what follows lies where the aircraft was heading.
PAUSE_S = 6.0
TURN_DEG, BACK_DEG = 35.0, 120.0
LEAST_STRETCHES, LEAST_SHARE = 3, 0.2
#: Ids with fewer points than this share of the median line, or than this number, are stray.
STRAY_SHARE, STRAY_POINTS = 0.001, 20
#: So many ids at a time, on average, are no lines.
MANY_AT_ONCE = 4.0


@dataclass(frozen=True, eq=False)
class Stretches:
    """All stretches of the cloud, arrays of shape (n,), ascending by `segment`."""

    segment: Ints
    source: Ints
    stretch: Ints
    sums: Ints
    start_s: Array
    end_s: Array
    x: Array  # centroid, in cells
    y: Array

    @property
    def timed(self) -> NDArray[np.bool_]:
        """Which have a time."""
        return np.asarray(self.stretch != UNTIMED)


@dataclass(frozen=True)
class Pass:
    """One flight line: its stretches, by index."""

    number: int
    source: int
    how: How
    stretches: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Told:
    """Which stretch belongs to which line.

    Attributes
    ----------
    line : ndarray of int64, shape (n,)
        Index into `passes` for each stretch; -1 for none.
    passes : tuple of Pass
        In order of time, then number.
    how : str
        What told most of them.
    split : tuple of int
        Ids that hold several passes.
    together : bool
        Whether ids were left aside altogether.
    """

    line: Ints
    passes: tuple[Pass, ...]
    stray: tuple[Stray, ...]
    gaps: tuple[TimeGap, ...]
    how: How
    split: tuple[int, ...] = ()
    together: bool = False


@dataclass
class _Found:
    passes: list[Pass] = field(default_factory=list)
    stray: list[Stray] = field(default_factory=list)


def stretches_of(rows: Rows) -> Stretches:
    """Understand the table of stretches."""
    segment = rows.keys[:, 1]
    kept = np.maximum(rows.sums[:, S_KEPT], 1)
    return Stretches(
        segment,
        source_of(segment),
        stretch_of(segment),
        rows.sums,
        np.asarray(rows.lows[:, 0] * 1e-6, np.float64),
        np.asarray(rows.highs[:, 0] * 1e-6, np.float64),
        rows.sums[:, S_COL] / kept,
        rows.sums[:, S_ROW] / kept,
    )


def tell_lines(all_: Stretches, spans: Sequence[Span], cell_m: float) -> Told:
    """Say which stretches make which line."""
    ids = np.unique(all_.source).tolist()
    mine = {i: np.flatnonzero(all_.source == i) for i in ids}
    points = {i: int(all_.sums[mine[i], S_POINTS].sum()) for i in ids}
    several = [i for i in ids if _returns(all_, mine[i], cell_m)]
    together = _many_at_once(all_) or 2 * sum(points[i] for i in several) > sum(points.values())
    found = _Found()
    if together and spans:
        _by_spans(all_, np.flatnonzero(all_.timed), spans, found)
        _rest(all_, found)
    elif together:
        _by_time(all_, np.flatnonzero(all_.timed), cell_m, 1, found)
        _rest(all_, found)
    else:
        usual = float(np.median(list(points.values())))
        following = max(ids, default=0) + 1
        for i in ids:
            few = points[i] < max(STRAY_POINTS, STRAY_SHARE * usual)
            if few and len(ids) > 1:
                found.stray.append(Stray(source_id=i, points=points[i], reason="few points"))
            elif i in several:
                before = len(found.passes)
                _by_time(all_, mine[i], cell_m, following, found)
                following += len(found.passes) - before
            else:
                only = i == 0 and len(ids) == 1
                how: How = "all-points" if only else "source-id"
                found.passes.append(Pass(i, i, how, tuple(mine[i].tolist())))
    return _told(all_, found, several, together=together)


def _told(all_: Stretches, found: _Found, several: list[int], *, together: bool) -> Told:
    start = {p.number: _start(all_, p) for p in found.passes}
    passes = tuple(sorted(found.passes, key=lambda p: (start[p.number], p.number)))
    line = np.full(len(all_.segment), -1)
    for at, one in enumerate(passes):
        line[list(one.stretches)] = at
    counts = {how: sum(p.how == how for p in passes) for how in {p.how for p in passes}}
    how: How = max(sorted(counts), key=lambda h: counts[h]) if counts else "all-points"
    gaps = tuple(gap for one in passes for gap in _gaps(all_, one))
    stray = tuple(found.stray)
    return Told(line, passes, stray, gaps, how, tuple(several), together)


def _start(all_: Stretches, one: Pass) -> float:
    index = np.array(one.stretches)
    timed = index[all_.timed[index]]
    return float(all_.start_s[timed].min()) if timed.size else np.inf


def _gaps(all_: Stretches, one: Pass) -> list[TimeGap]:
    index = np.array(one.stretches)
    index = index[all_.timed[index]]
    index = index[np.lexsort((all_.start_s[index],))]
    if index.size < 2:
        return []
    until = np.maximum.accumulate(all_.end_s[index])[:-1]
    after = all_.start_s[index][1:]
    return [
        TimeGap(line=one.number, start_s=float(a), end_s=float(b))
        for a, b in zip(until, after, strict=True)
        if b - a > STRETCH_S
    ]


def _many_at_once(all_: Stretches) -> bool:
    timed = all_.stretch[all_.timed]
    if not timed.size:
        return False
    _, counts = np.unique(timed, return_counts=True)
    return bool(counts.mean() >= MANY_AT_ONCE)


def _returns(all_: Stretches, index: NDArray[np.intp], cell_m: float) -> bool:
    """Tell whether one id holds several passes: a pause and then another way, or a turn back."""
    way = _Way(all_, index[all_.timed[index]], cell_m)
    groups = way.groups()
    total = way.points.sum()
    if sum(way.points[g].sum() > 0.05 * total for g in groups) > 1:
        return True
    courses = [way.course(run) for group in groups for run in way.straight(group)]
    return any(abs(_turned(a, b)) > BACK_DEG for a in courses for b in courses)


def _by_time(
    all_: Stretches, index: NDArray[np.intp], cell_m: float, first: int, found: _Found
) -> None:
    way = _Way(all_, index, cell_m)
    used: list[NDArray[np.intp]] = []
    for group in way.groups():
        runs = way.straight(group)
        for run in runs or [group]:
            members = way.members(run)
            number = first + len(used)
            source = int(np.bincount(all_.source[members], all_.sums[members, S_POINTS]).argmax())
            found.passes.append(Pass(number, source, "time", tuple(members.tolist())))
            used.append(members)
    left = np.setdiff1d(index, np.concatenate(used) if used else index[:0])
    _stray(all_, left, "turns and short stretches between lines", found)


def _by_spans(
    all_: Stretches, index: NDArray[np.intp], spans: Sequence[Span], found: _Found
) -> None:
    middle = (all_.start_s[index] + all_.end_s[index]) / 2.0
    left = np.ones(len(index), np.bool_)
    for span in spans:
        inside = (middle >= span.start_s) & (middle <= span.end_s) & left
        if inside.any():
            members = index[inside]
            source = int(np.bincount(all_.source[members], all_.sums[members, S_POINTS]).argmax())
            found.passes.append(Pass(span.number, source, "trajectory", tuple(members.tolist())))
            left &= ~inside
    _stray(all_, index[left], "outside the lines of the trajectory", found)


def _rest(all_: Stretches, found: _Found) -> None:
    """Points without a time, where time tells the lines."""
    _stray(all_, np.flatnonzero(~all_.timed), "no time", found)


def _stray(all_: Stretches, index: NDArray[np.intp], reason: str, found: _Found) -> None:
    for source in np.unique(all_.source[index]).tolist():
        members = index[all_.source[index] == source]
        count = int(all_.sums[members, S_POINTS].sum())
        found.stray.append(Stray(source_id=source, points=count, reason=reason))


class _Way:
    """The way that the middle of what is recorded takes, one place per stretch of time."""

    def __init__(self, all_: Stretches, index: NDArray[np.intp], cell_m: float) -> None:
        self._index = index[np.argsort(all_.stretch[index], kind="stable")]
        ordered = self._index
        self.stretch, self._which = np.unique(all_.stretch[ordered], return_inverse=True)
        n = len(self.stretch)
        weight = all_.sums[ordered, S_KEPT].astype(np.float64) + 1e-9
        total = np.bincount(self._which, weight, n)
        self.x = np.bincount(self._which, weight * all_.x[ordered], n) / total * cell_m
        self.y = np.bincount(self._which, weight * all_.y[ordered], n) / total * cell_m
        self.points = np.bincount(self._which, all_.sums[ordered, S_POINTS], n)
        self.start = np.full(n, np.inf)
        self.end = np.full(n, -np.inf)
        np.minimum.at(self.start, self._which, all_.start_s[ordered])
        np.maximum.at(self.end, self._which, all_.end_s[ordered])

    def members(self, run: NDArray[np.intp]) -> NDArray[np.intp]:
        """Give the stretches of the cloud behind places of the way."""
        return np.sort(self._index[np.isin(self._which, run)])

    def groups(self) -> list[NDArray[np.intp]]:
        """Split at pauses after which the aircraft is not where it was heading."""
        n = len(self.stretch)
        if not n:
            return []
        cuts = [0]
        middle = (self.start + self.end) / 2.0
        for i in range(1, n):
            pause = self.start[i] - self.end[i - 1]
            if pause > PAUSE_S and not self._goes_on(cuts[-1], i, middle):
                cuts.append(i)
        return [np.arange(a, b) for a, b in zip(cuts, [*cuts[1:], n], strict=True)]

    def _goes_on(self, first: int, i: int, time: Array) -> bool:
        back = max(first, i - 5)
        elapsed = time[i - 1] - time[back]
        if elapsed <= 0.0:
            return False
        ahead = (time[i] - time[i - 1]) / elapsed
        moved_x, moved_y = self.x[i - 1] - self.x[back], self.y[i - 1] - self.y[back]
        off = np.hypot(
            self.x[i] - self.x[i - 1] - ahead * moved_x, self.y[i] - self.y[i - 1] - ahead * moved_y
        )
        return bool(off < 0.35 * ahead * np.hypot(moved_x, moved_y) + 10.0)

    def straight(self, group: NDArray[np.intp]) -> list[NDArray[np.intp]]:
        """Give the long straight runs of a group."""
        if len(group) < LEAST_STRETCHES:
            return []
        dx, dy = np.diff(self.x[group]), np.diff(self.y[group])
        length = np.hypot(dx, dy)
        runs: list[list[int]] = [[0]]
        east = north = 0.0
        for i in range(len(dx)):
            course = np.degrees(np.arctan2(east, north))
            turned = abs(_turned(float(course), float(np.degrees(np.arctan2(dx[i], dy[i])))))
            if (east or north) and length[i] > 1.0 and turned > TURN_DEG:
                runs.append([i + 1])
                east = north = 0.0
                continue
            runs[-1].append(i + 1)
            east, north = east + dx[i], north + dy[i]
        longest = max(len(run) for run in runs)
        least = max(LEAST_STRETCHES, LEAST_SHARE * longest)
        return [group[run] for run in runs if len(run) >= least]

    def course(self, run: NDArray[np.intp]) -> float:
        """Give the course of a run in degrees."""
        return float(
            np.degrees(
                np.arctan2(self.x[run[-1]] - self.x[run[0]], self.y[run[-1]] - self.y[run[0]])
            )
        )


def _turned(before: float, after: float) -> float:
    return (after - before + 180.0) % 360.0 - 180.0


def counts_of(all_: Stretches, one: Pass) -> tuple[int, int, int, int]:
    """Give points, first returns, withheld points and noise of a line."""
    sums = all_.sums[list(one.stretches)].sum(axis=0)
    return tuple(int(sums[at]) for at in (S_POINTS, S_FIRST, S_WITHHELD, S_NOISE))  # type: ignore[return-value]  # four of them
