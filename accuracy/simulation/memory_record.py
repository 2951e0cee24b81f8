"""What a simulated flight in memory consists of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from accuracy.simulation.scenario_record import Scenario

Array = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, eq=False, kw_only=True)
class Checkpoints:
    """Surveyed points, one row each; control is not among them.

    Attributes
    ----------
    id, cover, target : tuple of str
        ``target``: kind of the painted target (checkerboard, disc, ring, plate), empty where there is none.
    true_m, surveyed_m : ndarray, shape (n, 3)
        East, north, up in the site's systems: truth, and what the survey's table says (rounded to mm).
    session : ndarray of int, shape (n,)
        1 or 2.
    slope : ndarray, shape (n, 2)
        True rise of the ground per metre to the east and to the north.
    """

    id: tuple[str, ...]
    cover: tuple[str, ...]
    target: tuple[str, ...]
    true_m: Array
    surveyed_m: Array
    session: Whole
    slope: Array


@dataclass(frozen=True, eq=False, kw_only=True)
class Seen:
    """What each flight line saw of each checkpoint: one row for each pair with points; arrays of shape (m,).

    Attributes
    ----------
    checkpoint : ndarray of int
        Row of `Checkpoints`.
    line : ndarray of int
        LAS point source id.
    points : ndarray of int
        Ground points of the line within the radius.
    height_m : ndarray
        Height of the line at the surveyed position, as `support.lines` of a result has it: the plane through
        all lines' ground points there, plus the mean distance of this line's points from it.
    up_m : ndarray
        `height_m` minus the surveyed height.
    gps_time_s, scan_angle_deg : ndarray
        Median and mean of those points, as written in the cloud. GPS seconds of the week.
    heading_deg, track_deg, across_m, flying_height_m, speed_m_s, climb_m_s : ndarray
        Of the true flight at that moment: see `accuracy.simulation.fault_record.Where`.
    east_m, north_m, target_up_m : ndarray
        Targets only, else NaN: centre of the target as this line alone shows it, and height of that centre.
    target_sigma_m : ndarray
        Standard deviation per axis of that centre by picking (not of what the flight does to it).
    predicted_m : ndarray, shape (m, 3)
        Sum of the closed forms of all faults: deliverable minus checkpoint, of the physical point. On slopes
        the residual in height is ``up - slope . (east, north)`` of it.
    exact_m : ndarray, shape (m, 3)
        The same by simulation, noise-free: mean over the points.
    """

    checkpoint: Whole
    line: Whole
    points: Whole
    height_m: Array
    up_m: Array
    gps_time_s: Array
    scan_angle_deg: Array
    heading_deg: Array
    track_deg: Array
    across_m: Array
    flying_height_m: Array
    speed_m_s: Array
    climb_m_s: Array
    east_m: Array
    north_m: Array
    target_up_m: Array
    target_sigma_m: Array
    predicted_m: Array
    exact_m: Array


@dataclass(frozen=True, eq=False, kw_only=True)
class Points:
    """The cloud near the checkpoints; arrays of shape (k,).

    Attributes
    ----------
    checkpoint : ndarray of int
        Row of `Checkpoints` that the point is near (a point near two stands twice).
    line, classification : ndarray of int
    withheld : ndarray of bool
    x_m, y_m, z_m : ndarray
        As delivered, before rounding to the file's millimetre.
    true_m : ndarray, shape (k, 3)
        Where the beam really ended.
    gps_time_s, scan_angle_deg : ndarray
    intensity : ndarray of uint16
    colour : ndarray of uint16, shape (k, 3)
    """

    checkpoint: Whole
    line: Whole
    classification: Whole
    withheld: NDArray[np.bool_]
    x_m: Array
    y_m: Array
    z_m: Array
    true_m: Array
    gps_time_s: Array
    scan_angle_deg: Array
    intensity: NDArray[np.uint16]
    colour: NDArray[np.uint16]


@dataclass(frozen=True, eq=False, kw_only=True)
class Simulated:
    """One flight of a scenario, in memory.

    Attributes
    ----------
    scenario : Scenario
    faults : mapping of str to float
        In the faults' own units.
    seed : int
    checkpoints : Checkpoints
    seen : Seen
    points : Points
    height_m, up_m : ndarray, shape (n,)
        Height of the triangulated ground of all lines at each checkpoint, and minus the surveyed; NaN where
        there is none.
    measured_m : ndarray, shape (n, 3)
        Centres of targets measured in the cloud of all lines together; NaN where there is no target.
    raster_up_m : ndarray, shape (n,)
        Elevation raster minus surveyed height.
    predicted_m : ndarray, shape (n, 3)
        Mean of `seen.predicted_m` over the lines that saw the checkpoint.
    """

    scenario: Scenario
    faults: Mapping[str, float]
    seed: int
    checkpoints: Checkpoints
    seen: Seen
    points: Points
    height_m: Array
    up_m: Array
    measured_m: Array
    raster_up_m: Array
    predicted_m: Array
