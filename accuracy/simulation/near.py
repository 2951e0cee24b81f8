"""The points of one pass near the checkpoints, made without the rest of the cloud."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from accuracy.simulation.fault_record import Where
from accuracy.simulation.faults import map_shift_m, predicted_m
from accuracy.simulation.motion import Motion, Track
from accuracy.simulation.returns import Returns, observe
from accuracy.simulation.scenario_record import Scenario
from accuracy.simulation.sensing import (
    Mounting,
    Pulses,
    abeam,
    beams,
    process,
    pulses_in_sight,
    pulses_of,
)
from accuracy.simulation.survey import Survey

Array = NDArray[np.float64]
FAR_M = 0.3  # where the cloud lies off by more, targets are looked for where they truly are, too


@dataclass(frozen=True, eq=False)
class Flight:
    """One flight of a scenario with its faults: what all passes share."""

    scenario: Scenario
    faults: Mapping[str, float]
    seed: int
    motion: Motion
    mount: Mounting
    survey: Survey

    def origin_m(self) -> Array:
        """Origin of the terrain as a place, shape (3,)."""
        return np.array([*self.scenario.site.origin_m, 0.0])

    def delivered_m(self, pulses: Pulses, returns: Returns, *, noisy: bool = True) -> Array:
        """Coordinates of returns as delivered, absolute; without noise: as they would be."""
        shot = pulses_at(pulses, returns.pulse)
        if noisy:
            angle_deg, range_m = returns.angle_deg, returns.range_m
        else:
            angle_deg, range_m = shot.angle_deg, returns.true_range_m
        made_m = process(self.motion, shot, self.mount, angle_deg, range_m, noisy)
        made_m = made_m + self.origin_m()
        east_m, north_m, up_m = made_m.T
        where = Where(site=self.scenario.site, east_m=east_m, north_m=north_m, up_m=up_m)
        return np.asarray(made_m + map_shift_m(self.faults, where))

    def where(self, track: Track, time_s: Array, places_m: Array, rows: NDArray[np.int64]) -> Where:
        """Describe how a pass sees places (absolute) at times; `rows` of the survey."""
        pulses = Pulses(
            track,
            np.zeros(len(time_s), dtype=np.int64),
            time_s,
            np.zeros_like(time_s),
            *track_state(self.motion, track, time_s),
        )
        start_m, _ = beams(pulses, self.scenario.payload)
        away_m = places_m - self.origin_m() - start_m
        heading = np.radians(pulses.attitude_deg[:, 2])
        east_m, north_m, up_m = places_m.T
        return Where(
            site=self.scenario.site,
            east_m=east_m,
            north_m=north_m,
            up_m=up_m,
            heading_deg=pulses.attitude_deg[:, 2] % 360.0,
            track_deg=np.full_like(time_s, track.azimuth_deg),
            across_m=away_m[:, 0] * np.cos(heading) - away_m[:, 1] * np.sin(heading),
            height_m=-away_m[:, 2],
            speed_m_s=np.full_like(time_s, track.plan.speed_m_s),
            climb_m_s=pulses.climb_m_s,
            session=self.survey.session[rows],
            blunder=np.array(
                [self.survey.marks[row].id == self.scenario.blunder for row in rows], dtype=np.bool_
            ),
            cell_m=self.scenario.cell_m,
        )


def track_state(motion: Motion, track: Track, time_s: Array) -> tuple[Array, Array, Array]:
    """Give position, attitude and climb of a track at times."""
    position_m, climb = track.position_m(time_s)
    return position_m, motion.attitude_deg(track, time_s), climb


def pulses_at(pulses: Pulses, index: NDArray[np.int64]) -> Pulses:
    """Pick pulses by index."""
    return Pulses(
        pulses.track,
        *(value[index] for name, value in vars(pulses).items() if name != "track"),
    )


@dataclass(frozen=True, eq=False)
class LinePoints:
    """The points of one pass near checkpoints; arrays over the points, and over the checkpoints (`where`).

    Attributes
    ----------
    checkpoint : ndarray of int
        Row of the survey.
    place_m, true_m, exact_m : ndarray, shape (k, 3)
        As delivered; where the beam ended; as delivered minus where it ended, noise-free.
    in_cloud, at_target : ndarray of bool
        Near the surveyed position as delivered; truly on the target (whatever was delivered).
    """

    track: Track
    where: Where
    checkpoint: NDArray[np.int64]
    place_m: Array
    true_m: Array
    exact_m: Array
    time_s: Array
    scan_angle_deg: Array
    returns: Returns
    in_cloud: NDArray[np.bool_]
    at_target: NDArray[np.bool_]


def line_points(
    flight: Flight, track: Track, rows: NDArray[np.int64], radius_m: float
) -> LinePoints:
    """Make the points of a pass within a radius of the marks `rows` of the survey, and on their targets."""
    scenario, survey = flight.scenario, flight.survey
    landscape, origin_m = scenario.landscape, flight.origin_m()
    true_m = survey.true_m[rows]
    time_s, _ = abeam(flight.motion, track, scenario.payload, true_m - origin_m)
    where = flight.where(track, time_s, true_m, rows)
    deliverable = {
        name: size for name, size in flight.faults.items() if not name.startswith("survey-")
    }
    shift_m = predicted_m(deliverable, where)
    off = np.hypot(shift_m[:, 0], shift_m[:, 1]) > FAR_M
    target = np.array([bool(survey.marks[row].target) for row in rows])

    # where on the ground the points come from that are delivered at the surveyed position
    asked_m = np.concatenate([survey.surveyed_m[rows] - shift_m, true_m[off & target]])
    whose = np.concatenate([np.arange(len(rows)), np.flatnonzero(off & target)])
    terrain = landscape.terrain
    on_site = terrain.contains(asked_m[:, 0], asked_m[:, 1])
    asked_m, whose = asked_m[on_site] - origin_m, whose[on_site]
    asked_m[:, 2] = landscape.field(asked_m[:, 0], asked_m[:, 1])[0]
    at_s, angle_deg = abeam(flight.motion, track, scenario.payload, asked_m)
    position_m, _ = track.position_m(at_s)
    number, place = pulses_in_sight(
        track, scenario.payload, at_s, angle_deg, position_m[:, 2] - asked_m[:, 2], radius_m
    )
    # each pulse once for each checkpoint, though it may have been asked for twice
    both = np.unique(np.column_stack([whose[place], number]), axis=0)
    owner, number = both[:, 0], both[:, 1]
    pulses = pulses_of(flight.motion, track, scenario.payload, number)
    offset_m = (flight.faults.get("colour-east", 0.0), flight.faults.get("colour-north", 0.0))
    returns = observe(scenario, flight.seed, pulses, offset_m)
    owner = owner[returns.pulse]

    place_m = flight.delivered_m(pulses, returns)
    hit_m = returns.true_m + origin_m
    own_m, own_true_m = survey.surveyed_m[rows][owner], true_m[owner]
    in_cloud = np.hypot(*(place_m - own_m)[:, :2].T) <= radius_m
    at_target = np.hypot(*(hit_m - own_true_m)[:, :2].T) <= radius_m
    at_target &= target[owner]
    keep = np.flatnonzero((in_cloud | at_target) & terrain.contains(hit_m[:, 0], hit_m[:, 1]))
    returns = returns.take(keep)
    exact_m = flight.delivered_m(pulses, returns, noisy=False) - hit_m[keep]
    shot = pulses_at(pulses, returns.pulse)
    return LinePoints(
        track=track,
        where=where,
        checkpoint=owner[keep],
        place_m=place_m[keep],
        true_m=hit_m[keep],
        exact_m=exact_m,
        time_s=shot.time_s + flight.faults.get("time-tags", 0.0),
        scan_angle_deg=from_vertical_deg(shot, returns, scenario),
        returns=returns,
        in_cloud=in_cloud[keep],
        at_target=at_target[keep],
    )


def from_vertical_deg(shot: Pulses, returns: Returns, scenario: Scenario) -> Array:
    """Angle of beams from the vertical, across the heading, right positive: as LAS 1.4 wants it."""
    _, direction = beams(shot, scenario.payload)
    heading = np.radians(shot.attitude_deg[:, 2])
    right = direction[:, 0] * np.cos(heading) - direction[:, 1] * np.sin(heading)
    return np.asarray(np.degrees(np.arctan2(right, -direction[:, 2])))


def las_light(returns: Returns) -> tuple[NDArray[Any], NDArray[Any]]:
    """Intensity, shape (n,), and colours, shape (n, 3), as 16-bit numbers."""
    bits = np.round(returns.brightness * np.array([60_000.0, 65_280.0, 65_280.0, 65_280.0]))
    return bits[:, 0].astype(np.uint16), bits[:, 1:].astype(np.uint16)
