"""What looks wrong in a point cloud, and what it would do to a comparison."""

from __future__ import annotations

import math
from collections.abc import Iterator

from accuracy.findings import Severity
from accuracy.georeferencing.reference import Reference
from accuracy.inspection.concerns import concern
from accuracy.inspection.place import METRES_PER_DEGREE, geocentric, of_reference
from accuracy.inspection.record import CloudFacts, Concern, PointCounts
from accuracy.units import LengthUnit

#: Heights of ground on earth in metres, with room for any vertical datum: the Dead Sea's shore is near
#: -430 m, the highest summit near 8849 m (common knowledge).
HEIGHTS_M = (-600.0, 9000.0)
SECONDS_OF_WEEK = 604_800.0
#: Steps of storage beyond which rounding (step / sqrt(12)) weighs against errors of centimetres.
COARSE_HEIGHT_M, COARSE_PLANE_M = 0.02, 0.05
#: Ground of a normalised cloud: median and 5th to 95th percentile this near to zero, in metres, while the
#: highest points are this far above (common practice, no source).
GROUND_MEDIAN_M, GROUND_REACH_M, PLANTS_M = 0.25, 0.5, 2.0


def of_cloud(name: str, facts: CloudFacts, reference: Reference) -> Iterator[Concern]:
    """Look at header and counts; nothing here changes them."""
    about, counts = facts.about, facts.counts
    low, high = about.minimum, about.maximum
    if counts is not None and counts.minimum is not None and counts.maximum is not None:
        low, high = counts.minimum, counts.maximum
    if facts.points:
        yield from of_reference(name, reference, (*low[:2], *high[:2]), "cloud")
        if reference.horizontal_kind == "geocentric":
            x, y, z = ((a + b) / 2 for a, b in zip(low, high, strict=True))
            yield from geocentric(name, (x, y, z))
        else:
            yield from _heights(name, low[2], high[2], reference)
        yield from _storage(name, facts, reference)
    else:
        yield from of_reference(name, reference, None, "cloud")
        yield concern(
            "inspect-empty",
            Severity.BLOCKING,
            f"{name}: the file holds no points",
            "no checkpoint gets a height from it",
            remedy="leave it out, or export it again",
        )
    if facts.not_counted is not None and facts.not_counted.startswith("the points cannot be read"):
        yield concern(
            "inspect-unreadable",
            Severity.BLOCKING,
            f"{name}: {facts.not_counted}",
            "nothing can be compared with it",
            remedy="copy or export the file again",
        )
    if counts is None or not counts.points:
        return
    yield from _against_header(name, facts, counts)
    yield from _ground(name, counts, reference)
    yield from _lines_and_times(name, facts, counts)
    yield from _stray(name, counts)


def _metres_up(reference: Reference) -> float | None:
    unit = reference.vertical_unit or reference.horizontal_unit
    return None if unit is None else float(unit.metres)


def _heights(name: str, low: float, high: float, reference: Reference) -> Iterator[Concern]:
    metres = _metres_up(reference)
    factor = float(LengthUnit.FOOT.metres) if metres is None else metres  # unknown: the milder
    wild = not (math.isfinite(low) and math.isfinite(high))
    if wild or low * factor < HEIGHTS_M[0] or high * factor > HEIGHTS_M[1]:
        yield concern(
            "inspect-heights",
            Severity.WARNING,
            f"{name}: heights from {low:.6g} to {high:.6g}, which no ground on earth has",
            "heights near such points are spoilt; if all are like this, unit, scale or axes are wrong",
            remedy="classify or withhold stray points; check scale, offset and unit",
            component="vertical",
        )
    elif low == high == 0.0:
        yield concern(
            "inspect-heights",
            Severity.WARNING,
            f"{name}: all heights are zero",
            "every residual is the height of the checkpoint",
            remedy="export the heights",
            component="vertical",
        )


def _storage(name: str, facts: CloudFacts, reference: Reference) -> Iterator[Concern]:
    metres_up = _metres_up(reference) or 1.0
    metres = 1.0 if reference.horizontal_unit is None else float(reference.horizontal_unit.metres)
    if reference.horizontal_kind == "geographic":
        metres = METRES_PER_DEGREE
    x, y, z = facts.about.scale
    plane_m, height_m = max(x, y) * metres, z * metres_up
    if height_m > COARSE_HEIGHT_M or plane_m > COARSE_PLANE_M:
        yield concern(
            "inspect-coarse",
            Severity.WARNING,
            f"{name}: coordinates are stored in steps of {max(x, y):g} (plane) and {z:g} (height)",
            f"rounding alone adds {height_m / math.sqrt(12):.3f} m to the standard deviation of heights and "
            f"{plane_m / math.sqrt(12):.3f} m per axis of the plane",
            remedy="export it again with a scale of 0.001",
        )


def _against_header(name: str, facts: CloudFacts, counts: PointCounts) -> Iterator[Concern]:
    about = facts.about
    header = about.by_return
    found = tuple(counts.by_return.get(number, 0) for number in range(1, len(header) + 1))
    if any(header) and header != found:
        yield concern(
            "file-count-differs",
            Severity.NOTE,
            f"{name}: the header counts {_listed(header)} points by return, the file holds {_listed(found)}",
            "none for heights; the file was edited after its header was written, or its returns are wrong",
            remedy="export the file again from the software that made it",
        )
    assert counts.minimum is not None
    assert counts.maximum is not None
    for axis in (0, 1, 2):
        told = "xyz"[axis]
        for ours, theirs, which in (
            (counts.minimum[axis], about.minimum[axis], "least"),
            (counts.maximum[axis], about.maximum[axis], "greatest"),
        ):
            step = about.scale[axis]
            # points outside the box in the plane are told by the reader already
            outside = ours < theirs - 1.5 * step if which == "least" else ours > theirs + 1.5 * step
            wide = abs(ours - theirs) > max(
                1.5 * step, 0.001 * abs(about.maximum[axis] - about.minimum[axis])
            )
            if (axis == 2 and outside) or (wide and not outside) or not math.isfinite(theirs):
                yield concern(
                    "file-bounds-differ",
                    Severity.WARNING if outside or not math.isfinite(theirs) else Severity.NOTE,
                    f"{name}: the header's {which} {told} is {theirs:.10g}, that of the points {ours:.10g}",
                    "none here; software that trusts the box may miss points, or look where none are",
                    remedy="export the file again from the software that made it",
                )


def _listed(numbers: tuple[int, ...]) -> str:
    last = max((at for at, value in enumerate(numbers) if value), default=0)
    return " ".join(map(str, numbers[: last + 1]))


def _ground(name: str, counts: PointCounts, reference: Reference) -> Iterator[Concern]:
    if 2 not in counts.classes:
        yield concern(
            "inspect-no-ground",
            Severity.WARNING,
            f"{name}: no point is of class 2, ground (classes: {', '.join(map(str, counts.classes))})"
            if len(counts.classes) <= 12
            else f"{name}: no point is of class 2, ground",
            "no checkpoint gets a height, unless ground_classes in the job names other classes",
            remedy="classify the ground, or name the classes to take in ground_classes",
            component="vertical",
        )
    metres = _metres_up(reference) or 1.0
    if counts.ground_z is not None and counts.maximum is not None:
        low, middle, high = (value * metres for value in counts.ground_z)
        flat = abs(middle) <= GROUND_MEDIAN_M and max(abs(low), abs(high)) <= GROUND_REACH_M
        if flat and counts.maximum[2] * metres >= PLANTS_M:
            yield concern(
                "inspect-normalised",
                Severity.WARNING,
                f"{name}: 90 % of the ground lies from {low:.2f} to {high:.2f} m, all else above: these look "
                "like heights above ground, not heights (a suspicion only: a shore looks like this, too)",
                "every residual would be the whole height of the checkpoint",
                remedy="deliver the cloud with its heights as measured",
                component="vertical",
            )


def _lines_and_times(name: str, facts: CloudFacts, counts: PointCounts) -> Iterator[Concern]:
    if set(counts.lines) == {0}:
        yield concern(
            "inspect-no-lines",
            Severity.WARNING,
            f"{name}: all point source ids are 0, so flight lines are not told apart",
            "heights can be compared; one flight line cannot be held against another",
            remedy="export the cloud with the flight line as point source id",
        )
    about = facts.about
    low, high = counts.time_minimum, counts.time_maximum
    told = None
    if counts.time_missing:
        told = f"{counts.time_missing} of {counts.points} points have a GPS time that is no number"
    elif about.time_kind != "none" and counts.time_zero == counts.points:
        told = "all GPS times are zero"
    elif low is not None and high is not None:
        in_week = low >= 0.0 and high <= SECONDS_OF_WEEK
        if about.time_kind == "gps-week" and not in_week:
            told = f"the header says seconds of the GPS week, but times run from {low:.10g} to {high:.10g}"
        elif about.time_kind == "adjusted-standard" and in_week:
            told = (
                "the header says adjusted standard GPS time, but times from "
                f"{low:.10g} to {high:.10g} look like seconds of the GPS week"
            )
    if told is not None:
        yield concern(
            "inspect-time",
            Severity.WARNING if counts.time_missing else Severity.NOTE,
            f"{name}: {told}",
            "none for heights; points cannot be matched with a trajectory by time, and drift over time "
            "cannot be seen",
            remedy="export the cloud with its times, and the header bit that fits them",
        )


def _stray(name: str, counts: PointCounts) -> Iterator[Concern]:
    for number, what in ((counts.stray, "in the plane"), (counts.stray_vertical, "in height")):
        if number:
            yield concern(
                "inspect-stray",
                Severity.WARNING,
                f"{name}: {number} of {counts.points} points, neither withheld nor noise, lie far from all "
                f"others {what}",
                "stretches the box of the file"
                if what == "in the plane"
                else "if they are ground, heights near them are spoilt; else none",
                remedy="classify them as noise or withhold them",
            )
