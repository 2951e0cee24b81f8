"""Mistakes of the plane: distances on the ground for those of the grid, the other north, half a cell."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from accuracy.diagnosis.candidates.context import Context
from accuracy.diagnosis.fields import ELEMENTARY, constant, linear
from accuracy.diagnosis.records import Amount, Candidate, Sightings
from accuracy.georeferencing.geodetic import ellipsoid_of, offsets_m, to_points
from accuracy.georeferencing.local_grid_checks import ground_factor
from accuracy.georeferencing.record import Reference
from accuracy.units import LengthUnit, from_metres, to_metres


def candidates(s: Sightings, context: Context) -> Iterator[Candidate]:
    """Give scale and rotation of the site, about its own middle and about the false origin; half a cell."""
    if context.kind == "raster" and s.cell_m is not None and s.gradient.any():
        yield from _half_cell(s, s.cell_m)
    reference = context.reference
    if reference is None or context.at is None or reference.horizontal_kind != "projected":
        return
    if reference.horizontal_unit is None or not (s.has(0) or s.gradient.any()):
        return
    yield from _ground(s, context, reference)
    yield from _convergence(s, context, reference)


def _half_cell(s: Sightings, cell_m: float) -> Iterator[Candidate]:
    half = cell_m / 2.0
    for east in (-half, half):
        for north in (-half, half):
            yield Candidate(
                "half-cell",
                "grid",
                f"the raster lies half a cell off ({east:+.3f} m east, {north:+.3f} m north): its corners "
                "were taken for centres, or the other way round",
                fixed=constant(s, east, north, 0.0),
                how="half the cell size, seen through the slopes",
                remedy="state whether coordinates are of the corner or of the centre of a cell",
            )


def _shifts(s: Sightings, reach_m: float) -> tuple[Amount, ...]:
    """Where the point lies that stays: unknown, on the site."""
    return tuple(
        Amount(name, "m", ELEMENTARY[name].field(s), reach_m, nuisance=True)
        for name in ("shift-east", "shift-north")
    )


def _ground(s: Sightings, context: Context, reference: Reference) -> Iterator[Candidate]:
    assert context.at is not None
    height_m = to_metres(context.at[2], reference.vertical_unit or LengthUnit.METRE)
    factor = ground_factor(reference, context.at[0], context.at[1], height_m)
    if factor is None or not math.isfinite(factor.combined):
        return
    how = f"combined factor {factor.combined:.8f} here"
    remedy = "bring the side that is in ground coordinates to the grid, with its point of origin"
    for part, words in (
        (1.0 / factor.combined - 1.0, "deliverable"),
        (factor.combined - 1.0, "checkpoints"),
    ):
        per_metre = part
        what = f"the {words} {'is' if words == 'deliverable' else 'are'} scaled to distances on the ground"
        reach_m = 2.0 * abs(part) * max(context.reach_m, 100.0)
        yield Candidate(
            "grid-ground",
            "grid",
            f"{what}, about a point near the site",
            fixed=linear(s, (per_metre, 0, 0), (0, per_metre, 0)),
            free=_shifts(s, reach_m),
            how=how,
            remedy=remedy,
        )
        if np.isfinite(s.position_m[:, :2]).all():
            yield Candidate(
                "grid-ground-origin",
                "grid",
                f"{what}, about the false origin",
                fixed=s.position_m * np.array([per_metre, per_metre, 0.0]),
                sigma_m=(
                    2e-6 * float(np.hypot(*s.position_m[0, :2])),
                    0.0,
                ),  # 2 ppm: heights differ
                how=how,
                remedy=remedy,
            )


def _convergence(s: Sightings, context: Context, reference: Reference) -> Iterator[Candidate]:
    gamma = convergence_rad(reference, context.at[0], context.at[1]) if context.at else None
    if gamma is None or abs(gamma) < 1e-6:
        return
    for turn, words in (
        (gamma, "true north taken for grid north"),
        (-gamma, "convergence applied twice"),
    ):
        reach_m = 2.0 * abs(turn) * max(context.reach_m, 100.0)
        yield Candidate(
            "convergence",
            "grid",
            f"one side is turned by the convergence of the meridians ({words})",
            fixed=linear(s, (0, -turn, 0), (turn, 0, 0)),
            free=_shifts(s, reach_m),
            how=f"convergence {math.degrees(gamma):+.4f} degrees here",
            remedy="find out which north the azimuths of survey and processing refer to",
        )


def convergence_rad(reference: Reference, easting: float, northing: float) -> float | None:
    """Give the angle from true north to grid north, clockwise, at a place; radians."""
    unit = reference.horizontal_unit
    if unit is None:
        return None
    step = from_metres(100.0, unit)
    x, y = np.array([easting, easting]), np.array([northing, northing + step])
    points = to_points(reference, x, y, np.zeros(2))
    if not np.isfinite(points.lon_deg).all():
        return None
    east, north = offsets_m(
        ellipsoid_of(reference),
        points.lon_deg[:1],
        points.lat_deg[:1],
        points.lon_deg[1:],
        points.lat_deg[1:],
    )
    return float(math.atan2(east[0], north[0]))
