"""One point on its way from the checkpoints to a deliverable: coordinates after every step, to check by hand.

The walk takes the plan's own steps one at a time; where it ends is held against the plan carried out in one
go. How large the usual mistakes would be at the place stands in `usual_mistakes`.
"""

from __future__ import annotations

import os
from collections.abc import Generator, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from accuracy.errors import UsageError
from accuracy.findings import Component
from accuracy.formats.raster import foreign_proj_environment
from accuracy.georeferencing.carrying import Hop, Lift, Moves, Plan, Step
from accuracy.georeferencing.frames import ellipsoid_of_frame, operation_step
from accuracy.georeferencing.geodetic import (
    Points,
    carried,
    ellipsoid_of,
    from_points,
    offsets_m,
    to_points,
    why_unsupported,
)
from accuracy.georeferencing.local_grid import carry as through_local_grid
from accuracy.georeferencing.operations import FRAMES, Operation
from accuracy.georeferencing.record import Reference
from accuracy.georeferencing.shown_coordinates import (
    ELLIPSOIDAL,
    Coordinates,
    geocentric,
    geographic,
    height_name,
    stored,
    vector_m,
)
from accuracy.georeferencing.site_plan import SitePlan
from accuracy.georeferencing.transform import Places
from accuracy.units import LengthUnit, from_metres, to_metres

#: Variables by which other programs point geodesy libraries to data of their own.
FOREIGN = ("PROJ_DATA", "PROJ_LIB", "GDAL_DATA")


@dataclass(frozen=True)
class Given:
    """One surveyed point in the stored units of its table."""

    id: str
    easting: float
    northing: float
    height: float


@dataclass(frozen=True)
class Stage:
    """A step and what it made of the point.

    Attributes
    ----------
    step : Step
        As in the record of the plan.
    after : tuple of Coordinates
        The last one is what the next step starts from. A step between geocentric coordinates shows them
        before and after it.
    part : {"all", "horizontal", "vertical"}
        Where position and height go separate ways, to which of them the stage belongs.
    moved_m : tuple of float or None
        East, north, up by which a change of frame moves the point.
    n_m : float or None
        Height of the geoid that a grid gave.
    """

    step: Step
    after: tuple[Coordinates, ...]
    part: Component = "all"
    moved_m: tuple[float, float, float] | None = None
    n_m: float | None = None


@dataclass(frozen=True)
class Walk:
    """The whole way of one point.

    Attributes
    ----------
    point : str
        Its id.
    given : Coordinates
        As in the table.
    stages : tuple of Stage
        In order; up to the refusal where the plan refuses.
    result : Coordinates or None
        As compared with the deliverable, from the plan carried out in one go. None where refused.
    closure_m : float or None
        Largest difference between the end of the walk and `result`.
    """

    point: str
    given: Coordinates
    stages: tuple[Stage, ...]
    result: Coordinates | None
    closure_m: float | None


@dataclass(frozen=True)
class _Leg:
    """A change of frame by one operation, or a grid."""

    operation: Operation | None = None
    epoch_year: float | None = None
    start: tuple[float, float] = (0.0, 0.0)
    end: tuple[float, float] = (0.0, 0.0)
    lift: Lift | None = None
    up: bool = False


def choose(places: Places, point_id: str | None) -> Given:
    """Take the point of this id; the first judged one where none is named.

    Raises
    ------
    UsageError
        There is no such point.
    """
    if point_id is None:
        index = next(iter(np.flatnonzero(places.judged)), 0)
    elif point_id in places.ids:
        index = places.ids.index(point_id)
    else:
        few = ", ".join(places.ids[:8]) + (", ..." if len(places.ids) > 8 else "")
        raise UsageError(
            f"there is no checkpoint {point_id!r}", remedy=f"name one of {few}, letter for letter"
        )
    return Given(
        places.ids[index],
        float(places.easting[index]),
        float(places.northing[index]),
        float(places.height[index]),
    )


def foreign_environment() -> dict[str, str]:
    """Give variables of the environment that point to other programs' data, used by nothing here."""
    return foreign_proj_environment() | {n: os.environ[n] for n in FOREIGN if n in os.environ}


def position(side: Reference, easting: float, northing: float, height: float) -> Points | None:
    """Give where stored coordinates lie on their own datum; None where that is not known.

    The height is what the table holds, in metres, whatever its kind.
    """
    if not side.horizontal_known or why_unsupported(side) is not None:
        return None
    unit = side.vertical_unit or LengthUnit.METRE
    if side.horizontal_kind == "geocentric":
        unit = side.horizontal_unit or LengthUnit.METRE
    height_m = to_metres(np.array([height]), unit)
    points = to_points(side, np.array([easting]), np.array([northing]), height_m)
    there = np.isfinite(points.lon_deg) & np.isfinite(points.lat_deg)
    return points if bool(there.all()) else None


def walk(plan: Plan, given: Given) -> Walk:
    """Walk one point through a plan."""
    start = stored(plan.source, given.easting, given.northing, given.height)
    if isinstance(plan, SitePlan):
        return _walk_on_site(plan, given, start)
    if plan.horizontal == "differs":
        points = position(plan.source, given.easting, given.northing, given.height)
        reached = () if points is None else (_own_position(plan.source, points),)
        return Walk(given.id, start, reached, None, None)
    columns = (np.array([value]) for value in (given.easting, given.northing, given.height))
    east, north, height = (float(values[0]) for values in plan.apply(*columns))
    result = stored(plan.target, east, north, height)
    if plan.moves is None:
        stages = tuple(Stage(step, (start,)) for step in plan.steps)
        return Walk(given.id, start, stages, result, 0.0)
    stages = tuple(_Walker(plan, plan.moves, given).stages())
    return Walk(given.id, start, stages, result, _closure_m(plan.target, stages, result))


def in_the_middle(plan: SitePlan, given: Given) -> Given:
    """Give the point where the inner part of a plan through a local grid starts."""
    if plan.direction == "grid-to-local":
        return given
    east, north, height = (np.array([v]) for v in (given.easting, given.northing, given.height))
    there = through_local_grid(plan.local, east, north, height, plan.direction)
    values = (float(v[0]) for v in (there.easting, there.northing, there.height))
    return Given(given.id, *values)


def _walk_on_site(plan: SitePlan, given: Given, start: Coordinates) -> Walk:
    """Walk through the local grid, and through the rest before or after it."""
    own = [step for step in plan.steps if step not in plan.inner.steps]
    inner = walk(plan.inner, in_the_middle(plan, given))
    result = None
    if inner.result is not None:
        columns = (np.array([value]) for value in (given.easting, given.northing, given.height))
        east, north, height = (float(values[0]) for values in plan.apply(*columns))
        result = stored(plan.target, east, north, height)
    stages = inner.stages
    if plan.direction == "local-to-grid":
        stages = (*(Stage(step, (inner.given,)) for step in own), *stages)
    elif result is not None:
        stages = (*stages, *(Stage(step, (result,)) for step in own))
    return Walk(given.id, start, stages, result, inner.closure_m)


class _Walker:
    """Takes the legs of a plan one by one."""

    def __init__(self, plan: Plan, moves: Moves, given: Given) -> None:
        self.plan, self.moves, self.given = plan, moves, given
        self.source, self.target = plan.source, plan.target
        plain = [step for step in plan.steps if step.parameters is None and step.grid is None]
        self.grids = [step for step in plan.steps if step.grid is not None]
        self.unproject = self._take(plain, self.source)
        self.project = self._take(plain, self.target)
        self.height_steps = plain

    def _take(self, plain: list[Step], side: Reference) -> Step | None:
        if self.moves.same_plane or side.horizontal_kind == "geographic" or not plain:
            return None
        return plain.pop(0)

    def stages(self) -> Iterator[Stage]:
        horizontal, vertical = _legs(self.moves)
        points = to_points(
            self.source,
            np.array([self.given.easting]),
            np.array([self.given.northing]),
            self._height_m(),
        )
        kind = height_name(self.source)
        frame = self.source.frame or ""
        if self.unproject is not None:
            yield Stage(self.unproject, (geographic(frame, points, kind),))
        elif self.moves.same_plane and vertical:
            yield _own_position(self.source, points)
        if self.moves.heights != "carry":
            # Heights that only wait, or that are refused later, stay what they are.
            kept = self.moves.heights == "pass" or self.source.vertical_kind != "ellipsoidal"
            placed = yield from self._legs(horizontal, points, "all", keep_height=kept)
            yield from self._end(placed, placed.h_m, "all")
        elif [leg.operation for leg in vertical if leg.operation] == [
            leg.operation for leg in horizontal
        ]:
            placed = yield from self._legs(vertical, points, "all")
            yield from self._end(placed, placed.h_m, "all")
        else:
            risen = yield from self._legs(vertical, points, "vertical")
            placed = yield from self._legs(horizontal, points, "horizontal")
            yield from self._end(placed, risen.h_m, "all")

    def _height_m(self) -> Any:
        side = self.source
        unit = side.horizontal_unit if side.horizontal_kind == "geocentric" else side.vertical_unit
        return to_metres(np.array([self.given.height]), unit or LengthUnit.METRE)

    def _legs(
        self, legs: list[_Leg], points: Points, part: Component, *, keep_height: bool = False
    ) -> Generator[Stage, None, Points]:
        """Yield the stages of legs; give the points after them."""
        kind = height_name(self.source)
        frame = self.source.frame or ""
        rising = any(leg.lift is not None and leg.up for leg in legs)
        for leg in legs:
            if leg.lift is not None:
                points, stage = self._lifted(leg.lift, leg.up, frame, points, part)
                kind = ELLIPSOIDAL if leg.up else height_name(self.target)
                rising = False
                yield stage
                continue
            assert leg.operation is not None
            moved = carried(points, (leg.operation,), leg.epoch_year, leg.start, leg.end)
            frame = FRAMES[leg.operation.target]
            vector = vector_m(points, moved, leg.end)
            before = geocentric(FRAMES[leg.operation.source], points, leg.start)
            after = geocentric(frame, moved, leg.end)
            # Orthometric heights only wait for their grid: the change of frame is for the position.
            kept = keep_height or rising
            points = replace(moved, h_m=points.h_m) if kept else moved
            yield Stage(
                operation_step(leg.operation, leg.epoch_year),
                (before, after, geographic(frame, points, kind)),
                part,
                vector,
            )
        return points

    def _lifted(
        self, lift: Lift, up: bool, frame: str, points: Points, part: Component
    ) -> tuple[Points, Stage]:
        n_m = lift.n_m(points)
        points = replace(points, h_m=points.h_m + n_m if up else points.h_m - n_m)
        kind = ELLIPSOIDAL if up else height_name(self.target)
        step = self.grids[0] if up else self.grids[-1]
        return points, Stage(step, (geographic(frame, points, kind),), part, n_m=float(n_m[0]))

    def _end(self, placed: Points, height_m: Any, part: Component) -> Iterator[Stage]:
        """Project, and put heights into their unit."""
        side, target = self.target, self.target
        if target.horizontal_kind == "geocentric":
            if self.project is not None:
                points = replace(placed, h_m=height_m)
                xyz = geocentric(target.frame or "", points, ellipsoid_of(target))
                yield Stage(self.project, (xyz,), part)
                yield from (Stage(step, (xyz,), "vertical") for step in self.height_steps)
            return
        if self.moves.same_plane:
            east, north = self.given.easting, self.given.northing
        else:
            columns = from_points(side, placed)
            east, north = float(columns[0][0]), float(columns[1][0])
        height = None if self.moves.heights == "none" else float(height_m[0])
        in_metres = replace(target, vertical_unit=LengthUnit.METRE)
        if self.project is not None:
            yield Stage(self.project, (stored(in_metres, east, north, height),), part)
        if height is not None:
            height = float(from_metres(height, target.vertical_unit or LengthUnit.METRE))
        for step in self.height_steps:
            yield Stage(step, (stored(target, east, north, height),), "vertical")


def _legs(moves: Moves) -> tuple[list[_Leg], list[_Leg]]:
    """Give the legs of the position and those of the height."""
    vertical: list[_Leg] = []
    if moves.heights == "carry":
        onward = moves.hop
        if moves.rise is not None:
            vertical += [*_operations(moves.rise.hop), _Leg(lift=moves.rise, up=True)]
            onward = moves.middle or moves.hop
        if moves.sink is not None:
            vertical += [*_operations(moves.sink.hop), _Leg(lift=moves.sink)]
        else:
            vertical += _operations(onward)
    return _operations(moves.hop), vertical


def _operations(hop: Hop) -> list[_Leg]:
    ends = [ellipsoid_of_frame(FRAMES[operation.target]) for operation in hop.operations]
    ends[-1:] = [hop.end] if ends else []
    starts = [hop.start, *ends]
    return [
        _Leg(operation, hop.epoch_year, start, end)
        for operation, start, end in zip(hop.operations, starts, ends, strict=False)
    ]


def _own_position(side: Reference, points: Points) -> Stage:
    step = Step(f"longitude and latitude of the point on its own datum ({side.frame})")
    return Stage(step, (geographic(side.frame or "", points, height_name(side)),))


def _closure_m(side: Reference, stages: tuple[Stage, ...], result: Coordinates) -> float | None:
    """Hold the end of the walk against the result; None where a part has no number."""
    if not stages:
        return None
    units = [_METRES.get(axis.unit or "", 1.0) for axis in result.axes]
    end = stages[-1].after[-1]
    values = [axis.value for axis in result.axes[:2]]
    walked = [axis.value for axis in end.axes[:2]]
    if None in values or None in walked:
        return None
    (x, y), (to_x, to_y) = np.array(walked, dtype=float), np.array(values, dtype=float)
    offsets = [0.0]
    if end.axes[0].name != result.axes[0].name:
        pass  # only heights changed; the plane is the same to the bit and was never left
    elif side.horizontal_kind == "geographic":
        arrays = map(np.atleast_1d, (x, y, to_x, to_y))
        offsets += [float(offset[0]) for offset in offsets_m(ellipsoid_of(side), *arrays)]
    else:
        offsets += [float(to_x - x) * units[0], float(to_y - y) * units[1]]
    one, other = end.axes[2], result.axes[2]
    if one.value is not None and other.value is not None:
        one_m = one.value * _METRES.get(one.unit or "", 1.0)
        offsets.append(other.value * _METRES.get(other.unit or "", 1.0) - one_m)
    return max(map(abs, offsets))


_METRES = {unit.value: float(unit.metres) for unit in LengthUnit}
