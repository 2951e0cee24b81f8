"""The record of a local site grid: how it is tied to a projected reference system, both ways.

Local = local origin + scale * turned(grid - grid origin); heights get a shift and, where known, a tilt.
Everything is computed from differences to the origins in stored units, so that nothing is lost at northings
of thousands of kilometres.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from accuracy.errors import ReferenceSystemError
from accuracy.findings import Finding
from accuracy.georeferencing.local_grid_fit import Fit
from accuracy.georeferencing.record import Reference
from accuracy.units import LengthUnit, from_metres, to_metres

Floats = NDArray[np.float64]
Direction = Literal["grid-to-local", "local-to-grid"]


@dataclass(frozen=True)
class Sides:
    """The two sides of a local grid.

    Attributes
    ----------
    name : str
        Of the local grid.
    grid : Reference
        Of the projected grid; heights are tied to its vertical part.
    local_unit, local_height_unit : LengthUnit
        Of local coordinates.
    """

    name: str
    grid: Reference
    local_unit: LengthUnit
    local_height_unit: LengthUnit

    @property
    def grid_unit(self) -> LengthUnit:
        """Unit of the projected grid."""
        plane = self.grid.horizontal_kind in ("projected", "engineering")
        if self.grid.horizontal_unit is None or not plane:
            raise ReferenceSystemError(
                f"{self.grid.name} is {self.grid.horizontal_kind}, and a local grid is tied to a plane with a "
                "known unit",
                where="local_grid.crs",
                remedy='write the code of a projected system, such as "EPSG:6345+5703"',
            )
        return self.grid.horizontal_unit

    @property
    def grid_height_unit(self) -> LengthUnit:
        """Unit of heights in the projected grid's system."""
        if self.grid.vertical_unit is None or not self.grid.vertical_known:
            raise ReferenceSystemError(
                f"heights are tied, but {self.grid.name} does not say what its heights refer to",
                where="local_grid.crs",
                remedy='add the vertical part, such as "EPSG:6345+5703", or leave the heights away',
            )
        return self.grid.vertical_unit


@dataclass(frozen=True)
class Parameters:
    """A local grid as a person states it: target = origin + translation + scale * turned(source - origin).

    Attributes
    ----------
    direction : {"grid-to-local", "local-to-grid"}
        From which side (the source) to which.
    scale : float
        Metres of the target for each metre of the source.
    rotation_clockwise_deg : float
        By which points are turned clockwise about the origin; the axes stay.
    origin_easting, origin_northing : float
        In coordinates and unit of the source.
    translation_east_m, translation_north_m : float
        Metres.
    vertical_shift_m : float or None
        Added to heights, metres. None: heights are not tied.
    tilt_north_m_per_m, tilt_east_m_per_m : float
        Added to heights for each metre of the source north and east of the origin.
    """

    direction: Direction
    scale: float = 1.0
    rotation_clockwise_deg: float = 0.0
    origin_easting: float = 0.0
    origin_northing: float = 0.0
    translation_east_m: float = 0.0
    translation_north_m: float = 0.0
    vertical_shift_m: float | None = None
    tilt_north_m_per_m: float = 0.0
    tilt_east_m_per_m: float = 0.0


@dataclass(frozen=True)
class LocalGrid:
    """A local grid, always kept from the projected grid to the local one; lengths in metres unless said.

    Attributes
    ----------
    sides : Sides
        Names, reference and units.
    origin_easting, origin_northing : float
        Origin in the projected grid, in its unit.
    local_easting, local_northing : float
        The same point in the local grid, in its unit.
    scale : float
        Local metres for each grid metre.
    rotation_clockwise_deg : float
        By which points are turned clockwise on the way to the local grid.
    shift_m : float or None
        Local height minus grid height at the origin; None where heights are not tied.
    tilt_north_m_per_m, tilt_east_m_per_m : float
        What is added to that for each grid metre north and east of the origin.
    source : str
        Where this comes from, for people.
    fit : Fit or None
        How well it fits its pairs; None where parameters are stated.
    findings : tuple of Finding
        What came up, those of the reference included.
    """

    sides: Sides
    origin_easting: float
    origin_northing: float
    local_easting: float
    local_northing: float
    scale: float
    rotation_clockwise_deg: float
    shift_m: float | None
    tilt_north_m_per_m: float
    tilt_east_m_per_m: float
    source: str
    fit: Fit | None = None
    findings: tuple[Finding, ...] = ()

    @property
    def scale_ppm(self) -> float:
        """Scale from the projected to the local grid, as parts per million above 1."""
        return (self.scale - 1.0) * 1e6

    @property
    def _turn(self) -> tuple[float, float]:
        """Give (p, q): local east = p east + q north, local north = p north - q east."""
        angle = math.radians(self.rotation_clockwise_deg)
        return self.scale * math.cos(angle), self.scale * math.sin(angle)

    def from_origin_m(self, easting: Floats, northing: Floats) -> tuple[Floats, Floats]:
        """Give the way from the origin to places in the projected grid, in grid metres, east and north."""
        unit = self.sides.grid_unit
        return (
            to_metres(easting - self.origin_easting, unit),
            to_metres(northing - self.origin_northing, unit),
        )

    def to_local(
        self, easting: Floats, northing: Floats, height: Floats | None = None
    ) -> tuple[Floats, Floats, Floats | None]:
        """Carry points from the projected to the local grid, in their units.

        Heights come out as None where they are not tied.
        """
        sides, (p, q) = self.sides, self._turn
        east, north = self.from_origin_m(easting, northing)
        up = None
        if height is not None and self.shift_m is not None:
            step = self._rise_m(east, north)
            up = from_metres(
                to_metres(height, sides.grid_height_unit) + step, sides.local_height_unit
            )
        return (
            self.local_easting + from_metres(p * east + q * north, sides.local_unit),
            self.local_northing + from_metres(p * north - q * east, sides.local_unit),
            up,
        )

    def to_grid(
        self, easting: Floats, northing: Floats, height: Floats | None = None
    ) -> tuple[Floats, Floats, Floats | None]:
        """Carry points from the local to the projected grid: the exact inverse of `to_local`."""
        sides, (p, q) = self.sides, self._turn
        local_east = to_metres(easting - self.local_easting, sides.local_unit)
        local_north = to_metres(northing - self.local_northing, sides.local_unit)
        square = p * p + q * q
        east = (p * local_east - q * local_north) / square
        north = (q * local_east + p * local_north) / square
        up = None
        if height is not None and self.shift_m is not None:
            step = self._rise_m(east, north)
            up = from_metres(
                to_metres(height, sides.local_height_unit) - step, sides.grid_height_unit
            )
        return (
            self.origin_easting + from_metres(east, sides.grid_unit),
            self.origin_northing + from_metres(north, sides.grid_unit),
            up,
        )

    def _rise_m(self, east_m: Floats, north_m: Floats) -> Floats:
        """Local height minus grid height at places given from the origin in grid metres."""
        assert self.shift_m is not None
        tilt = self.tilt_north_m_per_m * north_m + self.tilt_east_m_per_m * east_m
        return np.asarray(self.shift_m + tilt, dtype=np.float64)

    def steps(self, direction: Direction) -> tuple[str, ...]:
        """Say what is done, step by step, with every number, so that it can be followed by hand."""
        sides, (p, q) = self.sides, self._turn
        grid = (
            f"E0 {self.origin_easting:.4f}, N0 {self.origin_northing:.4f} ({sides.grid_unit.symbol}) in "
            f"{sides.grid.name}"
        )
        local = (
            f"e0 {self.local_easting:.4f}, n0 {self.local_northing:.4f} ({sides.local_unit.symbol}) in "
            f"{sides.name}"
        )
        scale, turn = self.scale, self.rotation_clockwise_deg
        rise = (
            f"{self.shift_m or 0.0:+.6f} m {self.tilt_north_m_per_m:+.9f} * north "
            f"{self.tilt_east_m_per_m:+.9f} * east, metres in the projected grid from the origin"
        )
        if direction == "grid-to-local":
            way = f"{sides.grid.name} to {sides.name}"
            formula = (
                f"e - e0 = {p:.12f} (E - E0) {q:+.12f} (N - N0), "
                f"n - n0 = {p:.12f} (N - N0) {-q:+.12f} (E - E0)"
            )
            heights = f"local height = grid height {rise}"
        else:
            way = f"{sides.name} to {sides.grid.name}"
            scale, turn, square = 1.0 / scale, -turn, p * p + q * q
            formula = (
                f"E - E0 = {p / square:.12f} (e - e0) {-q / square:+.12f} (n - n0), "
                f"N - N0 = {p / square:.12f} (n - n0) {q / square:+.12f} (e - e0)"
            )
            heights = f"grid height = local height - ({rise})"
        if self.shift_m is None:
            heights = "heights are not tied and stay as they are, but for their unit"
        return (
            f"{way}, 2D conformal about {grid} = {local}: scale {scale:.12f} ({(scale - 1) * 1e6:+.3f} ppm), "
            f"points turned {abs(turn):.10f} degrees {'' if turn >= 0 else 'counter-'}clockwise; in metres "
            f"{formula}",
            heights,
            f"source: {self.source}",
        )

    def as_record(self) -> dict[str, Any]:
        """Give the local grid as plain values for JSON, without findings."""
        sides = self.sides
        return {
            "name": sides.name,
            "crs": sides.grid.name,
            "grid_unit": sides.grid_unit.value,
            "local_unit": sides.local_unit.value,
            "local_height_unit": sides.local_height_unit.value,
            "source": self.source,
            "direction": "grid-to-local",
            "origin": {"easting": self.origin_easting, "northing": self.origin_northing},
            "origin_local": {"easting": self.local_easting, "northing": self.local_northing},
            "scale": self.scale,
            "scale_ppm": self.scale_ppm,
            "rotation_clockwise_deg": self.rotation_clockwise_deg,
            "vertical_shift_m": self.shift_m,
            "tilt_north_m_per_m": self.tilt_north_m_per_m,
            "tilt_east_m_per_m": self.tilt_east_m_per_m,
            "fit": None if self.fit is None else self.fit.as_record(),
        }


def stated(sides: Sides, parameters: Parameters) -> LocalGrid:
    """Make a local grid of stated parameters.

    Raises
    ------
    ReferenceSystemError
        The grid side is not a plane, or heights are tied to a system without a vertical part.
    """
    sides, findings = without_findings(sides)
    given = parameters
    forward = given.direction == "grid-to-local"
    source, target = sides.grid_unit, sides.local_unit
    if given.vertical_shift_m is not None:
        _ = sides.grid_height_unit  # refuses where there is none
    if not forward:
        source, target = target, source
    moved_e, moved_n = (
        from_metres(to_metres(origin, source) + shift_m, target)
        for origin, shift_m in (
            (given.origin_easting, given.translation_east_m),
            (given.origin_northing, given.translation_north_m),
        )
    )
    origin = (given.origin_easting, given.origin_northing)
    grid_origin, local_origin = (
        (origin, (moved_e, moved_n)) if forward else ((moved_e, moved_n), origin)
    )
    scale = given.scale if forward else 1.0 / given.scale
    turn = given.rotation_clockwise_deg if forward else -given.rotation_clockwise_deg
    shift, north, east = given.vertical_shift_m, given.tilt_north_m_per_m, given.tilt_east_m_per_m
    if not forward:
        # The same plane seen from the other side: slopes of the local grid in metres of the projected one.
        angle = math.radians(turn)
        p, q = scale * math.cos(angle), scale * math.sin(angle)
        north, east = -(north * p + east * q), -(east * p - north * q)
        shift = None if shift is None else -shift
    return LocalGrid(
        sides,
        *grid_origin,
        *local_origin,
        scale,
        turn,
        shift,
        north,
        east,
        source=f"parameters stated in the job, {given.direction}",
        findings=findings,
    )


def without_findings(sides: Sides) -> tuple[Sides, tuple[Finding, ...]]:
    """Take off the findings of the reference, to be handed on once."""
    _ = sides.grid_unit  # refuses where there is none
    return replace(sides, grid=replace(sides.grid, findings=())), sides.grid.findings
