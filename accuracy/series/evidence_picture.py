"""One checkpoint as a drawing: two profiles that cross in it, and a plan of what lies around it.

SVG of our own making: a few kilobytes, the same bytes for the same points, readable on light and dark paper.
What is drawn where is said in the drawing, the exaggeration of heights above all. Lengths in metres.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from accuracy.residuals import ResidualRow
from accuracy.sampling.seen import Corner, Floats, Seen

WIDTH, HEIGHT = 760, 492
_LEFT, _ACROSS, _DEEP = 52, 380, 150  # a profile: left edge, width, height
_TOPS = (56, 260)
_PLAN_LEFT, _PLAN_TOP, _PLAN_SIDE = 476, 56, 272
_PX = 8.0  # room above and below within a profile

#: Exaggerations that are used: the largest that fits.
EXAGGERATIONS = (1, 2, 5, 10, 20, 50, 100)

#: Nine steps from low to high, told apart in grey, too; then nine for dark paper.
#: (Cividis of Nunez, Anderton and Renslow 2018, nine of its steps, from memory; the lighter ones are ours.)
_STEPS = (
    *("#00224e", "#123570", "#3b496c", "#575d6d", "#707173"),
    *("#8a8678", "#a59c74", "#c3b369", "#fee838"),
)
_STEPS_ON_DARK = (
    *("#4f7fd9", "#6d8fd0", "#8a9bc4", "#9ea6b5", "#adadad"),
    *("#bdb798", "#cfc27f", "#e3d05c", "#ffe838"),
)

#: Signs of classes that are not ground, in the order of how often they occur.
_OTHERS = ("cross", "plus", "ring")


def _colours(steps: Sequence[str]) -> str:
    return "".join(f".k{i}{{stroke:{c}}}.l{i}{{fill:{c}}}" for i, c in enumerate(steps))


_STYLE = f"""text{{font:11px "DejaVu Sans",Verdana,sans-serif;fill:#1d2126}}
.q{{fill:#596067}}.b{{font-weight:bold;font-size:13px}}.bar{{stroke:#1d2126;stroke-width:2}}
.paper{{fill:#fff}}.frame{{fill:none;stroke:#8a9096}}.ref{{stroke:#8a9096;stroke-dasharray:3 3}}
.g{{stroke:#8a5a00;stroke-width:4;stroke-linecap:round}}.o{{fill:none;stroke:#00734f;stroke-width:1}}
.t{{fill:none;stroke:#0a5ba8;stroke-width:2.2}}.s{{fill:none;stroke:#b3003c;stroke-width:1.8}}
.h{{fill:none;stroke:#fff;stroke-width:4.4}}.p{{fill:none;stroke-linecap:round;stroke-width:5}}
.f{{opacity:.5}}{_colours(_STEPS)}
@media (prefers-color-scheme:dark){{text{{fill:#e7e4dd}}.q{{fill:#a2a8ae}}.paper{{fill:#1b1f24}}
.frame,.ref{{stroke:#6d747b}}.bar{{stroke:#e7e4dd}}.g{{stroke:#e0a83a}}.o{{stroke:#5fd0a5}}.t{{stroke:#78b6f2}}
.s{{stroke:#ff7d9c}}.h{{stroke:#1b1f24}}{_colours(_STEPS_ON_DARK)}}}"""


def draw(row: ResidualRow, seen: Seen) -> bytes:
    """Draw one checkpoint.

    Parameters
    ----------
    row : ResidualRow
        Its surveyed height, the survey's accuracy, its residual.
    seen : Seen
        What lies around it.

    Returns
    -------
    bytes
        SVG, UTF-8.
    """
    surveyed_up_m = None if row.surveyed.up_m is None else row.surveyed.up_m - seen.zero_m
    others = _other_classes(seen)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" '
        f'height="{HEIGHT}" role="img">',
        f"<style>{_STYLE}</style>",
        f'<rect class="paper" width="{WIDTH}" height="{HEIGHT}"/>',
        _text(12, 20, _plain(row.id), "b"),
        _text(12, 37, _told(row, seen), "q"),
    ]
    profiles = (
        ("W", "E", seen.east_m, seen.north_m, 0),
        ("S", "N", seen.north_m, seen.east_m, 1),
    )
    heights = _Heights.of(seen, row, surveyed_up_m)
    for top, (first, last, along_m, across_m, axis) in zip(_TOPS, profiles, strict=True):
        frame = _Frame(top, heights, seen.reach_m)
        parts += _profile(seen, row, frame, along_m, across_m, axis, surveyed_up_m, others)
        parts += [_text(_LEFT, top - 5, first), _text(_LEFT + _ACROSS, top - 5, last, "", "end")]
    parts += _plan(seen, row, others)
    parts += _legend(seen, row, heights, others)
    return ("\n".join(parts) + "\n</svg>\n").encode("utf-8")


@dataclass(frozen=True)
class _Heights:
    """The span of heights that both profiles show, and how much they are exaggerated."""

    low_m: float
    high_m: float
    exaggeration: int

    @classmethod
    def of(cls, seen: Seen, row: ResidualRow, surveyed_up_m: float | None) -> _Heights:
        """Choose the largest exaggeration at which ground, triangle and surveyed point are seen."""
        narrow = np.minimum(np.abs(seen.east_m), np.abs(seen.north_m)) <= seen.width_m
        ground = seen.accepted & narrow
        basis = seen.up_m[ground] if ground.any() else seen.up_m
        wanted = [float(basis.min()), float(basis.max()), *(corner[2] for corner in seen.used_m)]
        if surveyed_up_m is not None:
            sigma_m = row.survey_rmse_v_m or 0.0
            wanted += [surveyed_up_m - sigma_m, surveyed_up_m + sigma_m]
        low, high = min(wanted), max(wanted)
        per_m = _ACROSS / (2 * seen.reach_m)
        room = _DEEP - 2 * _PX
        fits = [e for e in EXAGGERATIONS if (high - low) * per_m * e <= room]
        exaggeration = fits[-1] if fits else 1
        half = _DEEP / (per_m * exaggeration) / 2
        # what does not fit even so is cut where it is farthest from the place itself
        middle = (low + high) / 2 if fits else 0.0
        return cls(middle - half, middle + half, exaggeration)


@dataclass(frozen=True)
class _Frame:
    """Where a profile stands on the drawing."""

    top: int
    heights: _Heights
    reach_m: float

    def x(self, along_m: float) -> float:
        return _LEFT + _ACROSS * (along_m + self.reach_m) / (2 * self.reach_m)

    def y(self, up_m: float) -> float:
        span = self.heights.high_m - self.heights.low_m
        return self.top + _DEEP * (self.heights.high_m - up_m) / span

    def inside(self, up_m: Floats) -> NDArray[np.bool_]:
        return np.asarray((up_m >= self.heights.low_m) & (up_m <= self.heights.high_m))


def _profile(
    seen: Seen,
    row: ResidualRow,
    frame: _Frame,
    along_m: Floats,
    across_m: Floats,
    axis: int,
    surveyed_up_m: float | None,
    others: Sequence[int],
) -> Iterator[str]:
    top = frame.top
    yield f'<rect class="frame" x="{_LEFT}" y="{top}" width="{_ACROSS}" height="{_DEEP}"/>'
    for up_m in _ticks(frame.heights.low_m, frame.heights.high_m):
        y = frame.y(up_m)
        if top + 6 < y < top + _DEEP - 2:
            yield f'<path class="ref" d="M{_LEFT} {y:.1f}h{_ACROSS}"/>'
            yield _text(_LEFT - 4, y + 4, _signed(up_m, _digits(frame.heights)), "q", "end")
    width = (np.abs(across_m) <= seen.width_m) & (np.abs(along_m) <= seen.reach_m)
    shown = width & frame.inside(seen.up_m)
    for sign, mask in _signs(seen, others):
        at = np.flatnonzero(shown & mask)
        xs = [frame.x(v) for v in along_m[at].tolist()]
        ys = [frame.y(v) for v in seen.up_m[at].tolist()]
        yield from _marks(sign, xs, ys)
    cut = _cut(seen.used_m, axis)
    if cut is not None:
        (a, up_a), (b, up_b) = cut
        d = f"M{frame.x(a):.1f} {frame.y(up_a):.1f}L{frame.x(b):.1f} {frame.y(up_b):.1f}"
        yield f'<path class="h" d="{d}"/><path class="t" d="{d}"/>'
    if surveyed_up_m is not None:
        x = frame.x(0.0)
        y = min(max(frame.y(surveyed_up_m), top + 2.0), top + _DEEP - 2.0)
        d = f"M{x - 6:.1f} {y - 6:.1f}l12 12m0 -12l-12 12"
        sigma_m = row.survey_rmse_v_m
        if sigma_m:
            low = min(frame.y(surveyed_up_m - sigma_m), top + _DEEP)
            high = max(frame.y(surveyed_up_m + sigma_m), top)
            d += f"M{x:.1f} {high:.1f}V{low:.1f}M{x - 4:.1f} {high:.1f}h8M{x - 4:.1f} {low:.1f}h8"
        yield f'<path class="s" d="{d}"/>'
    told = f"{2 * seen.width_m:.2f} m wide, {int(shown.sum())} {seen.kind}"
    hidden = int(width.sum() - shown.sum())
    if hidden:
        told += f"; {hidden} above or below not shown"
    yield _text(_LEFT, top + _DEEP + 14, told, "q")
    yield _text(
        _LEFT + _ACROSS, top + _DEEP + 14, f"heights {frame.heights.exaggeration} ×", "", "end"
    )


def _plan(seen: Seen, row: ResidualRow, others: Sequence[int]) -> Iterator[str]:
    left, top, side = _PLAN_LEFT, _PLAN_TOP, _PLAN_SIDE
    reach_m = seen.reach_m
    yield f'<rect class="frame" x="{left}" y="{top}" width="{side}" height="{side}"/>'

    def x(east_m: float) -> float:
        return left + side * (east_m + reach_m) / (2 * reach_m)

    def y(north_m: float) -> float:
        return top + side * (reach_m - north_m) / (2 * reach_m)

    inside = (np.abs(seen.east_m) <= reach_m) & (np.abs(seen.north_m) <= reach_m)
    ground = np.flatnonzero(inside & seen.accepted)
    low, high = _relief(seen)
    step = np.zeros(len(ground), np.int64)
    if high > low:
        share = (seen.up_m[ground] - low) / (high - low)
        step = np.clip((share * len(_STEPS)).astype(np.int64), 0, len(_STEPS) - 1)
    size = side / (2 * reach_m) * seen.step_m
    cells = seen.kind == "cells"
    yield f'<svg x="{left}" y="{top}" width="{side}" height="{side}" viewBox="{left} {top} {side} {side}">'
    for sign, mask in _signs(seen, others):
        if sign != "ground":
            at = np.flatnonzero(inside & mask)
            yield '<g class="f">'
            yield from _marks(
                sign,
                [x(v) for v in seen.east_m[at].tolist()],
                [y(v) for v in seen.north_m[at].tolist()],
            )
            yield "</g>"
    for number in range(len(_STEPS)):
        of_step = ground[step == number]
        d = "".join(
            _dot(x(e), y(n), size, square=cells)
            for e, n in zip(
                seen.east_m[of_step].tolist(), seen.north_m[of_step].tolist(), strict=True
            )
        )
        if d:
            how = f'stroke-width="{size:.2f}" fill="none"' if cells else ""
            yield f'<path class="{"" if cells else "p "}k{number}" {how} d="{d}"/>'
    if len(seen.used_m) >= 3:
        corners = _around(seen.used_m)
        d = "M" + "L".join(f"{x(e):.1f} {y(n):.1f}" for e, n, _ in corners) + "Z"
        yield f'<path class="h" d="{d}"/><path class="t" d="{d}"/>'
    cx, cy = x(0.0), y(0.0)
    d = f"M{cx - 7:.1f} {cy - 7:.1f}l14 14m0 -14l-14 14"
    yield f'<path class="h" d="{d}"/><path class="s" d="{d}"/>'
    if row.survey_rmse_h_m:
        radius = side / (2 * reach_m) * row.survey_rmse_h_m
        yield f'<circle class="s" cx="{cx:.1f}" cy="{cy:.1f}" r="{radius:.2f}"/>'
    yield "</svg>"
    length_m = _nice(reach_m / 2)
    wide = side / (2 * reach_m) * length_m
    yield _text(left, top - 5, "plan, north up")
    yield (f'<path class="bar" d="M{left + side - wide:.1f} {top - 8}h{wide:.1f}"/>')
    yield _text(left + side - wide - 6, top - 5, f"{length_m:g} m", "q", "end")
    yield from _scale(low, high)


def _scale(low: float, high: float) -> Iterator[str]:
    """Say which colour is which height."""
    left, top = _PLAN_LEFT, _PLAN_TOP + _PLAN_SIDE + 8
    each = _PLAN_SIDE / len(_STEPS)
    for number in range(len(_STEPS)):
        yield (
            f'<rect class="l{number}" x="{left + number * each:.1f}" y="{top}" '
            f'width="{each + 0.3:.1f}" height="9"/>'
        )
    digits = 3 if high - low < 0.1 else 2
    yield _text(left, top + 22, f"{_signed(low, digits)} m", "q")
    yield _text(left + _PLAN_SIDE / 2, top + 22, "height against zero", "q", "middle")
    yield _text(left + _PLAN_SIDE, top + 22, f"{_signed(high, digits)} m", "q", "end")


def _legend(
    seen: Seen, row: ResidualRow, heights: _Heights, others: Sequence[int]
) -> Iterator[str]:
    left, y = _PLAN_LEFT, _PLAN_TOP + _PLAN_SIDE + 50

    def entry(sign: str, told: str) -> Iterator[str]:
        nonlocal y
        yield from _marks(sign, [left + 7.0], [y - 4.0])
        yield _text(left + 20, y, told)
        y += 17

    ground = "cells" if seen.kind == "cells" else "accepted ground"
    yield from entry("ground", f"{ground} (in the plan by height)")
    counts = {
        klass: int((~seen.accepted & (seen.classification == klass)).sum()) for klass in others
    }
    for sign, klass in zip(_OTHERS, others, strict=False):
        yield from entry(sign, f"not accepted: class {klass} ({counts[klass]})")
    rest = int((~seen.accepted).sum()) - sum(counts.values())
    if rest:
        yield _text(left + 20, y, f"{rest} of other classes not shown", "q")
        y += 17
    if seen.used_m:
        shape = "triangle" if seen.kind == "points" else "cells"
        yield f'<path class="t" d="M{left} {y - 4}h14"/>'
        yield _text(left + 20, y, f"{shape} that the height was taken from")
        y += 17
    yield f'<path class="s" d="M{left + 2} {y - 9}l10 10m0 -10l-10 10"/>'
    sigma = (
        "survey accuracy not stated"
        if row.survey_rmse_v_m is None
        else f"bar ± {row.survey_rmse_v_m:.3f} m as stated"
    )
    yield _text(left + 20, y, f"surveyed; {sigma}")
    bottom = HEIGHT - 14
    yield _text(
        12,
        bottom,
        f"Zero is a height of {seen.zero_m:.3f} m. Heights are exaggerated {heights.exaggeration} times. "
        "Lengths in metres."
        + (f" {seen.left_out} points farther off not drawn." if seen.left_out else ""),
        "q",
    )


def _told(row: ResidualRow, seen: Seen) -> str:
    """Say the difference, or why there is none."""
    up_m = row.residual.up_m if row.residual else None
    if up_m is not None:
        told = f"measured − surveyed: up {_signed(up_m, 3)} m"
    else:
        why = _plain(row.detail or row.reason or "not compared")
        told = f"no height: {why if len(why) <= 96 else why[:95] + '…'}"
    return f"{told}; {row.cover}" + (f"; {row.role}" if row.role != "checkpoint" else "")


def _other_classes(seen: Seen) -> list[int]:
    """Give the classes of points that are not accepted, the most frequent first, as many as have a sign."""
    classes, counts = np.unique(seen.classification[~seen.accepted], return_counts=True)
    order = sorted(zip(counts.tolist(), classes.tolist(), strict=True), key=lambda c: (-c[0], c[1]))
    return [klass for _, klass in order[: len(_OTHERS)]]


def _signs(seen: Seen, others: Sequence[int]) -> Iterator[tuple[str, NDArray[np.bool_]]]:
    for sign, klass in zip(_OTHERS, others, strict=False):
        yield sign, ~seen.accepted & (seen.classification == klass)
    yield "ground", seen.accepted


def _marks(sign: str, xs: Sequence[float], ys: Sequence[float]) -> Iterator[str]:
    """Draw all marks of one kind as a single path."""
    d = ""
    for x, y in zip(xs, ys, strict=True):
        if sign == "ground":
            d += f"M{x:.1f} {y:.1f}h.01"  # without a length, some drop it
        elif sign == "cross":
            d += f"M{x - 2.2:.1f} {y - 2.2:.1f}l4.4 4.4m0-4.4l-4.4 4.4"
        elif sign == "plus":
            d += f"M{x - 2.8:.1f} {y:.1f}h5.6M{x:.1f} {y - 2.8:.1f}v5.6"
        else:
            d += f"M{x - 2.4:.1f} {y:.1f}a2.4 2.4 0 1 0 4.8 0a2.4 2.4 0 1 0-4.8 0"
    if d:
        yield f'<path class="{"g" if sign == "ground" else "o"}" d="{d}"/>'


def _dot(x: float, y: float, size: float, *, square: bool) -> str:
    return f"M{x - size / 2:.1f} {y:.1f}h{size:.1f}" if square else f"M{x:.1f} {y:.1f}h.01"


def _around(corners: Sequence[Corner]) -> list[Corner]:
    """Put corners in order around their middle."""
    middle = [sum(c[i] for c in corners) / len(corners) for i in (0, 1)]
    return sorted(corners, key=lambda c: math.atan2(c[1] - middle[1], c[0] - middle[0]))


def _cut(
    corners: Sequence[Corner], axis: int
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Cut the used triangle or cells with the plane of a profile: two ends as (along, up)."""
    if len(corners) < 3:
        return None
    around = _around(corners)
    ends = []
    for one, other in zip(around, [*around[1:], around[0]], strict=True):
        a, b = one[1 - axis], other[1 - axis]
        if (a <= 0.0 < b) or (b <= 0.0 < a):
            share = a / (a - b)
            ends.append(
                (
                    one[axis] + share * (other[axis] - one[axis]),
                    one[2] + share * (other[2] - one[2]),
                )
            )
    return (ends[0], ends[1]) if len(ends) == 2 else None


def _relief(seen: Seen) -> tuple[float, float]:
    """Give the heights between which colours change: those of the middle 96 % of the ground."""
    up_m = seen.up_m[seen.accepted] if seen.accepted.any() else seen.up_m
    low, high = np.percentile(up_m, [2.0, 98.0])
    return float(low), float(max(high, low + 0.01))


def _ticks(low: float, high: float) -> list[float]:
    step = _nice((high - low) / 3)
    first = math.ceil(low / step)
    return [k * step for k in range(first, math.floor(high / step) + 1)]


def _digits(heights: _Heights) -> int:
    step = _nice((heights.high_m - heights.low_m) / 3)
    return max(0, min(4, -math.floor(math.log10(step) + 1e-9)))


def _signed(value: float, digits: int) -> str:
    """Write a number with its sign, a true minus, and no sign at nothing."""
    text = f"{value:+.{digits}f}"
    return text[1:] if not float(text) else text.replace("-", "\u2212")


def _nice(value: float) -> float:
    """Give the largest of 1, 2, 5 times a power of ten that is not above a value."""
    power = 10.0 ** math.floor(math.log10(value))
    return max(k * power for k in (1, 2, 5) if k * power <= value * (1 + 1e-9))


def _plain(text: str) -> str:
    """Make text from files harmless: no control or formatting characters, not too long."""
    import unicodedata

    kept = "".join(
        c if unicodedata.category(c)[0] not in "CZ" or c == " " else "\ufffd" for c in text
    )
    return kept if len(kept) <= 120 else kept[:119] + "…"


def _text(x: float, y: float, text: str, klass: str = "", anchor: str = "") -> str:
    more = (f' class="{klass}"' if klass else "") + (f' text-anchor="{anchor}"' if anchor else "")
    return f'<text x="{x:.1f}" y="{y:.1f}"{more}>{escape(text)}</text>'
