"""The site plan of the page: where marks, arrows and scales are drawn. Lengths on paper are plan units."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from accuracy.reports.pictures import Relief
from accuracy.reports.words import length, printable
from accuracy.residuals import Position, ResidualRow
from accuracy.units import LengthUnit, from_metres, to_metres

#: Width of the plan, free border around the outermost points, least and largest height: plan units.
WIDTH, BORDER, LOW, HIGH = 520.0, 44.0, 200.0, 640.0

#: Side of the triangle of a residual of nothing, and what the largest residual adds: plan units.
LEAST, SPAN = 6.0, 16.0

#: Above so many points marks are drawn smaller, down to a share of their size.
ROOMY, SMALLEST = 400, 0.25

#: Names are written beside so many of the largest residuals, and beside points that are not judged while
#: these are few.
NAMED, FEW = 5, 12

#: Longest name written on the plan, and the width of a letter in plan units.
LETTERS, LETTER = 24, 6.4

#: Where a name may stand beside its mark, best first: offset of its foot, and which end that is.
_BESIDE = ((9.0, -7.0, "start"), (-9.0, -7.0, "end"), (9.0, 15.0, "start"), (-9.0, 15.0, "end"))

Box = tuple[float, float, float, float]

_NOTHING = Position()


@dataclass(frozen=True)
class Mark:
    """One surveyed point on the plan: `shape` and `tone` are class names of the style sheet."""

    key: str
    x: str
    y: str
    shape: str
    tone: str
    outline: str
    arrow: str
    title: str
    name: str = ""
    name_x: str = ""
    name_y: str = ""
    name_anchor: str = "start"


@dataclass(frozen=True)
class Sample:
    """A drawn size in the legend with its length in words."""

    size: str
    outline: str
    text: str


@dataclass(frozen=True)
class Plan:
    """What the template draws.

    Attributes
    ----------
    scale_bar : Sample or None
        A length on the ground; None where the frame is in degrees.
    triangles : tuple of Sample
        Sizes of height differences; empty without any.
    arrow : Sample or None
        A horizontal difference; None without any.
    factor : str
        How many times longer than the ground arrows are drawn.
    shapes : frozenset of str
        Which kinds of marks occur.
    files : tuple of str
        Paths of the outlines of the dataset's files.
    crowded : bool
        Marks are drawn smaller, because there are many.
    ground : str
        Where the picture of the ground lies, as a transformation of the unit square; empty without one.
    told : str
        What the ground is, or why there is none.
    """

    width: str
    height: str
    marks: tuple[Mark, ...]
    scale_bar: Sample | None
    triangles: tuple[Sample, ...]
    arrow: Sample | None
    factor: str
    shapes: frozenset[str]
    files: tuple[str, ...] = ()
    crowded: bool = False
    ground: str = ""
    told: str = ""


def nice(value: float) -> float:
    """Give the largest of 1, 2, 5 times a power of ten that is not above `value` (which is positive).

    Examples
    --------
    >>> nice(0.192), nice(7.0), nice(20.0)
    (0.1, 5.0, 20.0)
    """
    power = 10.0 ** math.floor(math.log10(value) + 1e-12)
    return next(step * power for step in (5.0, 2.0, 1.0) if step * power <= value * (1 + 1e-9))


def short(value: float) -> str:
    """Print a round number without needless zeros and never as a power of ten."""
    return f"{value:.6f}".rstrip("0").rstrip(".")


def _at(value: float) -> str:
    return f"{value:.1f}"


def _triangle(side: float, *, upward: bool) -> str:
    """Give the corners of an equilateral triangle around its own centre."""
    half, tip, foot = side / 2, side / math.sqrt(3), side / (2 * math.sqrt(3))
    flip = 1 if upward else -1
    corners = ((0.0, -tip * flip), (half, foot * flip), (-half, foot * flip))
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in corners)


def arrow_path(dx: float, dy: float) -> str:
    """Give the path of an arrow from the origin, head included."""
    size = math.hypot(dx, dy)
    if size < 0.05:
        return ""
    head = min(7.0, 0.6 * size)
    ux, uy = dx / size, dy / size
    sides = [
        (dx - head * (ux + turn * 0.45 * -uy), dy - head * (uy + turn * 0.45 * ux))
        for turn in (1, -1)
    ]
    (ax, ay), (bx, by) = sides
    return f"M0 0L{dx:.1f} {dy:.1f}M{ax:.1f} {ay:.1f}L{dx:.1f} {dy:.1f}L{bx:.1f} {by:.1f}"


def _places(rows: Sequence[ResidualRow]) -> tuple[list[tuple[float, float] | None], bool]:
    """Give positions in metres; in degrees, shrunk to look right, where the frame has no metres."""
    metres = [(row.surveyed.east_m, row.surveyed.north_m) for row in rows]
    in_metres = any(None not in place for place in metres)
    given = (
        metres
        if in_metres
        else [(row.native.get("easting"), row.native.get("northing")) for row in rows]
    )
    known = [(x, y) for x, y in given if x is not None and y is not None]
    shrink = 1.0
    if known and not in_metres:
        shrink = max(math.cos(math.radians(sum(y for _, y in known) / len(known))), 0.01)
    places = [None if x is None or y is None else (x * shrink, y) for x, y in given]
    return places, in_metres


def sizes(row: ResidualRow) -> tuple[float | None, float | None]:
    """Give how far off a row is in plan and in height, for drawing and ordering only; metres."""
    residual = row.residual or _NOTHING
    plan = None
    if residual.east_m is not None and residual.north_m is not None:
        plan = math.hypot(residual.east_m, residual.north_m)
    return plan, None if residual.up_m is None else abs(residual.up_m)


def title_of(row: ResidualRow, unit: LengthUnit) -> str:
    """Say in one line what a mark stands for."""
    residual = row.residual or _NOTHING
    parts = [
        f"{axis} {length(value, unit, sign=True)}"
        for axis, value in (
            ("east", residual.east_m),
            ("north", residual.north_m),
            ("up", residual.up_m),
        )
        if value is not None
    ]
    told = f"{', '.join(parts)} {unit.symbol}" if parts else "no value"
    role = "" if row.role == "checkpoint" else f", {row.role}, not judged"
    return printable(f"{row.id}: {told}; {row.cover}{role}")


def draw(
    rows: Sequence[ResidualRow],
    unit: LengthUnit,
    boxes_m: Sequence[Sequence[float]] = (),
    relief: Relief | None = None,
) -> Plan | None:
    """Lay the plan out; None where no point has a known place.

    Parameters
    ----------
    rows : sequence of ResidualRow
        Of one dataset. Marks carry the keys ``0``, ``1``, ... in this order.
    unit : LengthUnit
        Of the lengths in words.
    boxes_m : sequence of (min east, min north, max east, max north)
        Outlines of the dataset's files in metres; what lies beyond the plan is cut off.
    relief : Relief or None
        The ground under the plan.
    """
    places, in_metres = _places(rows)
    known = [place for place in places if place is not None]
    if not known:
        return None
    west, south = min(x for x, _ in known), min(y for _, y in known)
    across = max(x for x, _ in known) - west
    along = max(y for _, y in known) - south
    room = WIDTH - 2 * BORDER
    fits = [
        space / extent
        for space, extent in ((room, across), (HIGH - 2 * BORDER - 14, along))
        if extent
    ]
    scale = min(fits, default=1.0)
    height = max(along * scale + 2 * BORDER + 14, LOW)
    left = (WIDTH - across * scale) / 2
    foot = (height - 14 + along * scale) / 2

    small = min(max(math.sqrt(ROOMY / len(known)), SMALLEST), 1.0)
    all_sizes = [sizes(row) for row in rows]
    longest = max((plan for plan, _ in all_sizes if plan is not None), default=0.0)
    tallest = max((up for _, up in all_sizes if up is not None), default=0.0)
    per_metre = _per_metre(longest, scale, in_metres=in_metres)
    spots = {
        i: (left + (place[0] - west) * scale, foot - (place[1] - south) * scale)
        for i, place in enumerate(places)
        if place is not None
    }
    ground = ""
    if relief is not None and relief.picture is not None and in_metres:
        box = relief.box_m
        ground = (
            f"translate({left + (box[0] - west) * scale:.2f} {foot - (box[3] - south) * scale:.2f}) "
            f"scale({(box[2] - box[0]) * scale:.3f} {(box[3] - box[1]) * scale:.3f})"
        )
    names = _names(rows, all_sizes, spots, height)
    marks = [
        replace(_mark(str(i), rows[i], spot, (tallest, small), per_metre, unit), **names.get(i, {}))
        for i, spot in spots.items()
    ]
    return Plan(
        width=_at(WIDTH),
        height=_at(height),
        marks=tuple(marks),
        scale_bar=_scale_bar(scale, unit) if in_metres and fits else None,
        triangles=_triangle_samples(tallest, small, unit),
        arrow=_arrow_sample(longest, per_metre, unit),
        factor=short(per_metre / scale) if in_metres and scale else "",
        shapes=frozenset(mark.shape for mark in marks),
        files=tuple(
            f"M{left + (box[0] - west) * scale:.1f} {foot - (box[1] - south) * scale:.1f}"
            f"H{left + (box[2] - west) * scale:.1f}V{foot - (box[3] - south) * scale:.1f}"
            f"H{left + (box[0] - west) * scale:.1f}Z"
            for box in (boxes_m if in_metres else ())
        ),
        crowded=small < 1.0,
        ground=ground,
        told="" if relief is None else relief.told,
    )


def _per_metre(longest_m: float, scale: float, *, in_metres: bool) -> float:
    """Give the plan units per metre of residual: a round multiple of the plan's own scale."""
    if longest_m <= 0.0:
        return 0.0
    fitting = (BORDER - 2.0) / longest_m
    return nice(fitting / scale) * scale if in_metres and fitting >= scale else fitting


def _names(
    rows: Sequence[ResidualRow],
    all_sizes: Sequence[tuple[float | None, float | None]],
    spots: Mapping[int, tuple[float, float]],
    height: float,
) -> dict[int, dict[str, str]]:
    """Choose who is named on the plan, and a place for each name that hides as little as possible."""
    judged = [i for i in spots if rows[i].used]
    apart = [i for i in spots if rows[i].role != "checkpoint"]
    named = sorted(judged, key=lambda i: max(all_sizes[i][0] or 0.0, all_sizes[i][1] or 0.0))
    taken = [(x - 7, y - 7, x + 7, y + 7) for x, y in spots.values()]
    found: dict[int, dict[str, str]] = {}
    for i in [*reversed(named[-NAMED:]), *(apart if len(apart) <= FEW else [])]:
        id_ = rows[i].id
        text = id_ if len(id_) <= LETTERS else f"{id_[: LETTERS - 1]}…"
        x, y = spots[i]

        choices: list[tuple[float, int, Box, str, str, str]] = []
        for right, down, anchor in _BESIDE:
            begin = x + right
            end = begin + LETTER * len(text) * (1 if anchor == "start" else -1)
            box = (min(begin, end), y + down - 9, max(begin, end), y + down + 2)
            outside = box[0] < 2 or box[2] > WIDTH - 2 or box[1] < 2 or box[3] > height - 2
            hides = sum(_overlap(box, other) for other in taken) + (1e4 if outside else 0.0)
            choices.append((hides, len(choices), box, f"{right:.0f}", f"{down:.0f}", anchor))
        _, _, box, right_text, down_text, anchor = min(choices)
        taken.append(box)
        found[i] = {
            "name": text,
            "name_x": right_text,
            "name_y": down_text,
            "name_anchor": anchor,
        }
    return found


def _overlap(a: Box, b: Box) -> float:
    across, along = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
    return across * along if across > 0 and along > 0 else 0.0


def _mark(
    key: str,
    row: ResidualRow,
    spot: tuple[float, float],
    sizing: tuple[float, float],
    per_metre: float,
    unit: LengthUnit,
) -> Mark:
    tallest_m, small = sizing
    residual = row.residual or _NOTHING
    shape, outline = "dot", ""
    if row.role != "checkpoint":
        shape = row.role
    elif row.residual is None:
        shape = "none"
    elif residual.up_m is not None:
        shape = "high" if residual.up_m >= 0 else "low"
        side = small * (LEAST + (SPAN * abs(residual.up_m) / tallest_m if tallest_m else 0.0))
        outline = _triangle(side, upward=residual.up_m >= 0)
    arrow = ""
    if residual.east_m is not None and residual.north_m is not None:
        arrow = arrow_path(residual.east_m * per_metre, -residual.north_m * per_metre)
    return Mark(
        key=key,
        x=_at(spot[0]),
        y=_at(spot[1]),
        shape=shape,
        tone="vegetated" if row.cover == "vegetated" else "open",
        outline=outline,
        arrow=arrow,
        title=title_of(row, unit),
    )


def _scale_bar(scale: float, unit: LengthUnit) -> Sample:
    value = nice(from_metres(WIDTH / 4 / scale, unit))
    return Sample(_at(to_metres(value, unit) * scale), "", f"{short(value)} {unit.symbol}")


def _triangle_samples(tallest_m: float, small: float, unit: LengthUnit) -> tuple[Sample, ...]:
    if tallest_m <= 0.0:
        return ()
    samples = []
    for share in (0.2, 1.0):
        value = nice(from_metres(tallest_m, unit) * share)
        side = small * (LEAST + SPAN * to_metres(value, unit) / tallest_m)
        samples.append(
            Sample(_at(side), _triangle(side, upward=True), f"{short(value)} {unit.symbol}")
        )
    return tuple(samples)


def _arrow_sample(longest_m: float, per_metre: float, unit: LengthUnit) -> Sample | None:
    if longest_m <= 0.0:
        return None
    value = nice(from_metres(longest_m, unit))
    size = to_metres(value, unit) * per_metre
    return Sample(_at(size), arrow_path(size, 0.0), f"{short(value)} {unit.symbol}")
