"""Flights of the simulator as the diagnosis would get them, and which answer would be right.

Geometry of the lines comes from the times, scan angles and headings that a record of a trajectory has, never
from the simulator's own truth; predictions of the catalogue never come from the simulator.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from accuracy.diagnosis.candidates import Context
from accuracy.diagnosis.lines import crossings
from accuracy.diagnosis.records import Sightings
from accuracy.georeferencing.declaration import declared
from accuracy.georeferencing.grids import GridShelf
from accuracy.simulation.fault_record import Where
from accuracy.simulation.memory import Simulated
from accuracy.simulation.scenario_record import Scenario
from accuracy.simulation.sites import Site

Array = NDArray[np.float64]


def sightings_of(sim: Simulated, *, targets: bool = True, lines: bool = True) -> Sightings:
    """Give the sightings: heights of every line at every point, centres of targets by every line.

    Parameters
    ----------
    targets : bool
        With the horizontal part of targets.
    lines : bool
        Line by line; else the height of the whole cloud, and the centres measured in it.
    """
    points = sim.checkpoints
    if not lines:
        flat = sim.measured_m[:, :2] - points.surveyed_m[:, :2]
        flat = flat if targets else np.full_like(flat, np.nan)
        residual = np.column_stack([flat, sim.up_m])
        residual[np.array(points.cover) == "vegetated", 2] = np.nan
        return _whole(sim, residual, kind_gradient=points.slope)
    seen = sim.seen
    at = seen.checkpoint
    flat = np.column_stack([seen.east_m, seen.north_m]) - points.surveyed_m[at, :2]
    flat = flat if targets else np.full_like(flat, np.nan)
    up = np.where(np.array(points.cover)[at] == "vegetated", np.nan, seen.up_m)
    found = crossings(
        line=seen.line.astype(np.intp),
        position_m=points.surveyed_m[at],
        scan_angle_deg=seen.scan_angle_deg,
        gps_time=seen.gps_time_s,
        trajectory={"lines": _lines_of(sim), "attitude": {"heading_minus_course_deg": _crab(sim)}},
    )
    count = len(points.id)
    return Sightings(
        ids=points.id,
        place=at.astype(np.intp),
        residual_m=np.column_stack([flat, up]),
        position_m=points.surveyed_m[at],
        gradient=points.slope[at],
        line=seen.line.astype(np.intp),
        heading_deg=found.heading_deg,
        across_m=found.across_m,
        height_m=found.height_m,
        speed_m_s=found.speed_m_s,
        returns=seen.points.astype(np.float64),
        order=np.arange(1, count + 1, dtype=np.intp),
        groups=_sessions(sim),
        crab_deg=found.crab_deg,
    )


def _crab(sim: Simulated) -> float:
    """Give heading minus direction of flight, as the record of a trajectory has it: the median."""
    turned = (sim.seen.heading_deg - sim.seen.track_deg + 180.0) % 360.0 - 180.0
    return float(np.median(turned))


def _whole(sim: Simulated, residual: Array, kind_gradient: Array) -> Sightings:
    count = len(sim.checkpoints.id)
    nothing = np.full(count, np.nan)
    return Sightings(
        ids=sim.checkpoints.id,
        place=np.arange(count, dtype=np.intp),
        residual_m=residual,
        position_m=sim.checkpoints.surveyed_m,
        gradient=kind_gradient,
        line=np.full(count, -1, dtype=np.intp),
        heading_deg=nothing,
        across_m=nothing,
        height_m=nothing,
        speed_m_s=nothing,
        returns=np.ones(count),
        order=np.arange(1, count + 1, dtype=np.intp),
        groups=_sessions(sim),
        cell_m=sim.scenario.cell_m,
    )


def raster_sightings(sim: Simulated) -> Sightings:
    """Give the sightings of the elevation raster."""
    count = len(sim.checkpoints.id)
    up = np.where(np.array(sim.checkpoints.cover) == "vegetated", np.nan, sim.raster_up_m)
    residual = np.column_stack([np.full((count, 2), np.nan), up])
    return _whole(sim, residual, kind_gradient=sim.checkpoints.slope)


def _sessions(sim: Simulated) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Say which session a point belongs to, as the survey's table does."""
    points = sim.checkpoints
    return tuple(
        (f"session {k}", tuple(i for i, s in zip(points.id, points.session, strict=True) if s == k))
        for k in (1, 2)
    )


def _lines_of(sim: Simulated) -> list[dict[str, Any]]:
    """Lines as a record of the trajectory has them: from the passes as planned."""
    from accuracy.simulation.motion import tracks_of

    return [
        {
            "start_s": track.start_s,
            "end_s": track.end_s,
            "heading_deg": track.azimuth_deg,
            "speed_m_s": track.plan.speed_m_s,
            "height_above_ground_m": track.plan.above_m,
        }
        for track in tracks_of(sim.scenario)
    ]


@lru_cache(maxsize=8)
def _grid(site: Site, folder: Path) -> str:
    """Write the site's geoid as a GTX grid: south-west corner, steps, rows, columns, values; big-endian."""
    lon, lat = site.place_deg
    step, rows = 0.02, 21
    lats = round(lat, 2) - 0.2 + step * np.arange(rows)
    lons = round(lon, 2) - 0.2 + step * np.arange(rows)
    values = np.empty((rows, rows))
    for i, phi in enumerate(lats):
        for j, lam in enumerate(lons):
            east, north = site.zone.forward(lam, phi)
            values[i, j] = float(site.undulation(np.array(float(east)), np.array(float(north))))
    name = f"{site.name.split()[0].lower()}.gtx"
    head = struct.pack(">ddddii", lats[0], lons[0], step, step, rows, rows)
    (folder / name).write_bytes(head + values.astype(">f4").tobytes())
    return name


def context_of(
    scenario: Scenario,
    folder: Path,
    *,
    kind: str = "point-cloud",
    slant_m: float | None = None,
    autonomous: bool = False,
) -> Context:
    """Give what is known besides the residuals.

    Parameters
    ----------
    folder : Path
        For the grid of the geoid.
    slant_m : float, optional
        The base's log shows that a slant height was typed, by so much too large.
    autonomous : bool
        The base's log shows that the receiver's own position was held.
    """
    site = scenario.site
    reference = replace(declared(site.crs, geoid=site.geoid), epoch_year=round(site.epoch_year, 2))
    at = (site.origin_m[0] + 80.0, site.origin_m[1] + 80.0, site.height_m)
    height, phase = site.antenna.height_m, site.antenna.phase_centre_up_m
    slant = (height**2 + site.antenna.rim_radius_m**2) ** 0.5 - height

    def up(cause: str, value: float) -> dict[str, Any]:
        return {
            "cause": cause,
            "what": cause,
            "effect": {"east_m": 0.0, "north_m": 0.0, "up_m": value},
        }

    checks: list[Mapping[str, Any]] = []
    if slant_m is not None:
        checks.append(
            up("slant-as-vertical", slant_m) | {"severity": "blocking", "consistent_with": []}
        )
    if autonomous:
        effect = dict(zip(("east_m", "north_m", "up_m"), site.autonomous_m, strict=True))
        checks.append(
            {
                "cause": "autonomous-position",
                "what": "autonomous",
                "severity": "blocking",
                "effect": effect,
                "consistent_with": [],
            }
        )
    candidates = [
        up("height-omitted", -height),
        up("height-doubled", height),
        up("feet-as-metres", height / 0.3048 - height),
        up("metres-as-feet", height * 0.3048 - height),
        up("slant-as-vertical", slant),
        up("phase-centre-counted-twice", phase),
    ]
    return Context(
        kind=kind,
        reference=reference,
        surveyed=reference,
        at=at,
        given_at=at,
        reach_m=150.0,
        shelf=GridShelf((folder,), {site.geoid: _grid(site, folder)}),
        base={"checks": checks, "candidates": candidates},
    )


def where_of(sim: Simulated, *, raster: bool = False) -> Where:
    """Give the places of the sightings for the simulator's closed forms."""
    points, seen = sim.checkpoints, sim.seen
    at = np.arange(len(points.id)) if raster else seen.checkpoint
    east, north, up = points.true_m[at].T
    if raster:
        return Where(
            site=sim.scenario.site,
            east_m=east,
            north_m=north,
            up_m=up,
            session=points.session,
            cell_m=sim.scenario.cell_m,
        )
    return Where(
        site=sim.scenario.site,
        east_m=east,
        north_m=north,
        up_m=up,
        heading_deg=seen.heading_deg,
        track_deg=seen.track_deg,
        across_m=seen.across_m,
        height_m=seen.flying_height_m,
        speed_m_s=seen.speed_m_s,
        climb_m_s=seen.climb_m_s,
        session=points.session[at],
        cell_m=sim.scenario.cell_m,
    )


#: For each fault the names that are right, the best first; a name later in the tuple is right but says less.
#: Faults whose vector is a constant in height are inseparable from one another by residuals alone.
RIGHT: Mapping[str, tuple[str, ...]] = {
    "base-slant": ("slant-as-vertical", "base-height-unexplained"),
    "antenna-height-": ("height-omitted", "base-height-unexplained"),
    "antenna-height+": ("height-doubled", "base-height-unexplained"),
    "antenna-feet": ("feet-as-metres", "base-height-unexplained"),
    "phase-centre": ("phase-centre-counted-twice", "base-height-unexplained"),
    "antenna-model": ("base-height-unexplained",),
    "base-east": ("base-position-unexplained",),
    "base-north": ("base-position-unexplained",),
    "base-up": ("base-height-unexplained",),
    "base-autonomous": ("autonomous-position", "base-position-unexplained"),
    "frame": ("frame-global",),
    "frame-older": ("frame-gda94",),
    "epoch": ("epoch",),
    "geoid-omitted": ("height-kind",),
    "geoid-model": ("height-reference-unexplained", "height-tilt-geoid"),
    "feet": ("foot-kind",),
    "feet-heights": ("height-unit",),
    "grid-ground": ("grid-ground", "scale-unexplained", "site-adjustment"),
    "convergence": ("convergence", "rotation-unexplained", "site-adjustment"),
    "boresight-roll": ("boresight-roll",),
    "boresight-pitch": ("boresight-pitch",),
    "boresight-heading": ("boresight-heading",),
    "lever-forward": ("lever-arm-forward",),
    "lever-right": ("lever-arm-right",),
    "lever-down": ("lever-arm-down",),
    "range-offset": ("range-offset",),
    "scan-scale": ("scan-angle-scale",),
    "clock-offset": ("timing",),
    "survey-session": ("survey-session",),
    "half-cell": ("half-cell",),
}

#: Units of the diagnosis per unit of the simulator's fault.
FACTOR: Mapping[str, float] = {
    "clock-offset": 1000.0,
    "scan-scale": 100.0,
    "convergence": math.radians(1.0) * 1e5,  # millimetres in 100 m
    "survey-session": -1.0,  # of the survey's heights, not of the residuals
}
