"""What a comparison makes of the points near the checkpoints: heights, targets, and their predictions."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from accuracy.simulation.faults import predicted_m
from accuracy.simulation.heights import plane_through, raster_up_m, triangle_height_m
from accuracy.simulation.landscape import Target
from accuracy.simulation.memory_record import Checkpoints, Points, Seen, Simulated
from accuracy.simulation.near import Flight, LinePoints, las_light
from accuracy.simulation.returns import GROUND_CLASS, NOISE_CLASS
from accuracy.simulation.sensing import GROUND, PLATE

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]

#: Plane and heights of lines: ground points within this, as `accuracy.sampling` takes them.
PLANE_M = 0.5
TRIANGLES_M = 0.8
FEWEST = 4  # points on a target


@dataclass(frozen=True, eq=False)
class _Around:
    """The points around one checkpoint.

    Attributes
    ----------
    surveyed_m, true_m : ndarray, shape (3,)
    place_m, hit_m, exact_m : ndarray, shape (k, 3)
        As delivered; where beams ended; what the faults do, noise-free.
    ground : ndarray of bool
        Whether a point counts for heights.
    painted : ndarray of bool
        Whether a point is on the target.
    """

    surveyed_m: Array
    true_m: Array
    place_m: Array
    hit_m: Array
    exact_m: Array
    line: Whole
    time_s: Array
    angle_deg: Array
    ground: Flags
    painted: Flags
    target: Target | None

    @cached_property
    def xyz(self) -> Array:
        """Points relative to the surveyed position."""
        return self.place_m - self.surveyed_m

    @cached_property
    def near(self) -> Flags:
        """Ground points that plane and heights of lines rest on."""
        return np.asarray(self.ground & (np.hypot(self.xyz[:, 0], self.xyz[:, 1]) <= PLANE_M))

    @cached_property
    def plane(self) -> Array | None:
        """The plane through them."""
        return plane_through(self.xyz[self.near])

    def height_m(self) -> float:
        """Height of the triangulated ground."""
        wide = self.ground & (np.hypot(self.xyz[:, 0], self.xyz[:, 1]) <= TRIANGLES_M)
        return float(self.surveyed_m[2]) + triangle_height_m(self.xyz[wide])

    def line_height_m(self, mine: Flags) -> float:
        """Height of one line: the plane of all, plus the mean distance of these points from it."""
        if self.plane is None or not mine.any():
            return float("nan")
        residual_m = self.xyz[mine, 2] - (self.plane[0] + self.xyz[mine, :2] @ self.plane[1:])
        return float(self.surveyed_m[2] + self.plane[0] + residual_m.mean())

    def centre(self, mine: Flags, picking: Array, share: float) -> tuple[Array, float] | None:
        """Centre of the target as these points show it, shape (3,), and the sigma of picking it; or None."""
        if self.target is None or np.count_nonzero(mine) < FEWEST:
            return None
        spacing_m = float((np.pi * self.target.size_m**2 / 4 / np.count_nonzero(mine)) ** 0.5)
        centre_m = self.true_m + (self.place_m - self.hit_m)[mine].mean(axis=0)
        centre_m[:2] += picking * (share * spacing_m)
        return centre_m, share * spacing_m

    def row(self, number: int, picking: Array, share: float) -> dict[str, float | Array] | None:
        """Give what one line shows, under the names of `Seen`; None where it shows nothing."""
        of_line = self.line == number
        near, painted = self.near & of_line, self.painted & of_line
        height_m, centre = self.line_height_m(near), self.centre(painted, picking, share)
        if np.isnan(height_m) and centre is None:
            return None
        some = near if near.any() else painted
        nothing = np.full(3, np.nan)
        centre_m, sigma_m = centre if centre is not None else (nothing, float("nan"))
        return {
            "line": number,
            "points": np.count_nonzero(near),
            "height_m": height_m,
            "gps_time_s": float(np.median(self.time_s[some])),
            "scan_angle_deg": float(self.angle_deg[some].mean()),
            "east_m": centre_m[0],
            "north_m": centre_m[1],
            "target_up_m": centre_m[2],
            "target_sigma_m": sigma_m,
            "exact": self.exact_m[some].mean(axis=0),
        }


def compare(flight: Flight, rows: Whole, passes: Sequence[LinePoints]) -> Simulated:
    """Compare the points of all passes with the marks `rows` of the survey."""
    points, survey = _points(passes), flight.survey
    targets = {target.id: target for target in flight.scenario.landscape.targets}
    share = flight.scenario.noise.target_share
    random = np.random.Generator(np.random.PCG64([flight.seed, 130]))
    picking = random.normal(size=(len(rows), len(passes) + 1, 2))  # the last for all lines together
    lines = {each.track.plan.number: number for number, each in enumerate(passes)}

    height_m, measured_m = np.full(len(rows), np.nan), np.full((len(rows), 3), np.nan)
    table: list[dict[str, float | Array]] = []
    for at, around in enumerate(_arounds(flight, rows, passes, points, targets)):
        height_m[at] = around.height_m()
        centre = around.centre(around.painted, picking[at, -1], share)
        if centre is not None:
            measured_m[at] = centre[0]
        for number in np.unique(around.line).tolist():
            row = around.row(number, picking[at, lines[number]], share)
            if row is not None:
                table.append({"checkpoint": at, **row})

    seen = _seen(flight, rows, passes, lines, table)
    mean_m = np.full((len(rows), 3), np.nan)
    for at in np.unique(seen.checkpoint).tolist():
        mean_m[at] = seen.predicted_m[seen.checkpoint == at].mean(axis=0)
    marks = [survey.marks[row] for row in rows]
    return Simulated(
        scenario=flight.scenario,
        faults=flight.faults,
        seed=flight.seed,
        checkpoints=Checkpoints(
            id=tuple(mark.id for mark in marks),
            cover=tuple(mark.cover for mark in marks),
            target=tuple(targets[mark.target].kind if mark.target else "" for mark in marks),
            true_m=survey.true_m[rows],
            surveyed_m=survey.surveyed_m[rows],
            session=survey.session[rows],
            slope=survey.slope[rows],
        ),
        seen=seen,
        points=points,
        height_m=height_m,
        up_m=height_m - survey.surveyed_m[rows, 2],
        measured_m=measured_m,
        raster_up_m=raster_up_m(flight, rows),
        predicted_m=mean_m,
    )


def _arounds(
    flight: Flight,
    rows: Whole,
    passes: Sequence[LinePoints],
    points: Points,
    targets: Mapping[str, Target],
) -> Iterator[_Around]:
    """Give the points around each checkpoint, in the order of `rows`."""
    survey = flight.survey
    in_cloud, at_target, exact_m, kind = (
        np.concatenate(each)
        for each in zip(
            *((p.in_cloud, p.at_target, p.exact_m, p.returns.kind) for p in passes), strict=True
        )
    )
    good = ~points.withheld & (points.classification != NOISE_CLASS)
    order = np.argsort(points.checkpoint, kind="stable")
    bounds = np.searchsorted(points.checkpoint[order], np.arange(len(rows) + 1))
    for at, row in enumerate(rows.tolist()):
        mine = order[bounds[at] : bounds[at + 1]]
        target = targets.get(survey.marks[row].target)
        hit_m = points.true_m[mine]
        # under a plate there is no ground to be tested
        ground = good[mine] & in_cloud[mine] & (points.classification[mine] == GROUND_CLASS)
        ground &= target is None or not target.raised_m
        painted = np.zeros(len(mine), dtype=np.bool_)
        if target is not None:
            away_m = np.hypot(*(hit_m - survey.true_m[row])[:, :2].T)
            painted = good[mine] & at_target[mine] & (away_m <= target.size_m / 2)
            painted &= kind[mine] == (PLATE if target.raised_m else GROUND)
        yield _Around(
            surveyed_m=survey.surveyed_m[row],
            true_m=survey.true_m[row],
            place_m=np.column_stack([points.x_m[mine], points.y_m[mine], points.z_m[mine]]),
            hit_m=hit_m,
            exact_m=exact_m[mine],
            line=points.line[mine],
            time_s=points.gps_time_s[mine],
            angle_deg=points.scan_angle_deg[mine],
            ground=ground,
            painted=painted,
            target=target,
        )


def _points(passes: Sequence[LinePoints]) -> Points:
    light = [las_light(each.returns) for each in passes]
    place_m = np.concatenate([each.place_m for each in passes])
    return Points(
        checkpoint=np.concatenate([each.checkpoint for each in passes]),
        line=np.concatenate(
            [np.full(len(each.time_s), each.track.plan.number, dtype=np.int64) for each in passes]
        ),
        classification=np.concatenate(
            [each.returns.classification.astype(np.int64) for each in passes]
        ),
        withheld=np.concatenate([each.returns.withheld for each in passes]),
        x_m=place_m[:, 0],
        y_m=place_m[:, 1],
        z_m=place_m[:, 2],
        true_m=np.concatenate([each.true_m for each in passes]),
        gps_time_s=np.concatenate([each.time_s for each in passes]),
        scan_angle_deg=np.concatenate([each.scan_angle_deg for each in passes]),
        intensity=np.concatenate([each[0] for each in light]),
        colour=np.concatenate([each[1] for each in light]),
    )


def _seen(
    flight: Flight,
    rows: Whole,
    passes: Sequence[LinePoints],
    lines: dict[int, int],
    table: list[dict[str, float | Array]],
) -> Seen:
    """Lay the table out as arrays, with how each pass saw each checkpoint."""
    n = len(table)
    at = np.array([line["checkpoint"] for line in table], dtype=np.int64)
    number = np.array([line["line"] for line in table], dtype=np.int64)
    which = np.array([lines[k] for k in number.tolist()], dtype=np.int64)
    names = ("heading_deg", "track_deg", "across_m", "height_m", "speed_m_s", "climb_m_s")
    state = {name: np.empty(n) for name in names}
    predicted = np.empty((n, 3))
    for k, each in enumerate(passes):
        mine = which == k
        vector_m = predicted_m(flight.faults, each.where)
        predicted[mine] = vector_m[at[mine]]
        for name in names:
            state[name][mine] = np.asarray(getattr(each.where, name))[at[mine]]

    def column(name: str) -> Array:
        return np.array([line[name] for line in table], dtype=np.float64)

    height_m = column("height_m")
    return Seen(
        checkpoint=at,
        line=number,
        points=np.array([line["points"] for line in table], dtype=np.int64),
        height_m=height_m,
        up_m=height_m - flight.survey.surveyed_m[rows[at], 2],
        flying_height_m=state.pop("height_m"),
        **state,
        **{
            name: column(name)
            for name in (
                "gps_time_s",
                "scan_angle_deg",
                "east_m",
                "north_m",
                "target_up_m",
                "target_sigma_m",
            )
        },
        predicted_m=predicted,
        exact_m=np.array([line["exact"] for line in table]).reshape(n, 3),
    )
