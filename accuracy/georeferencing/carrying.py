"""The record of a planned transformation, and how it is carried out. Planning stands in `transform`."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from accuracy.findings import Finding
from accuracy.georeferencing.geodetic import Points, carried, from_points, to_points, to_xyz
from accuracy.georeferencing.heights import undulations
from accuracy.georeferencing.operations import Operation
from accuracy.georeferencing.record import Reference
from accuracy.units import LengthUnit, from_metres, to_metres

Array = NDArray[np.float64]
State = Literal["identity", "transformed", "unknown", "differs"]


@dataclass(frozen=True)
class Step:
    """One step of a transformation, for the record.

    Attributes
    ----------
    what : str
        In words.
    operation, code : str or None
        Name and code of the registry, where the step is one of its operations.
    parameters : str or None
        PROJ text of the operation in its own direction.
    grid, sha256 : str or None
        Name and hash of the grid file.
    accuracy_m : float or None
        As stated; 0 for conversions, which are exact by definition; None: unknown.
    epoch_year : float or None
        At which an operation that depends on time was evaluated.
    units : str or None
        Of the coordinates after the step.
    """

    what: str
    operation: str | None = None
    code: str | None = None
    parameters: str | None = None
    grid: str | None = None
    sha256: str | None = None
    accuracy_m: float | None = 0.0
    epoch_year: float | None = None
    units: str | None = None


@dataclass(frozen=True)
class Hop:
    """A move between frames: operations, epoch and the ellipsoids of both ends."""

    operations: tuple[Operation, ...]
    epoch_year: float | None
    start: tuple[float, float]
    end: tuple[float, float]

    def __call__(self, points: Points) -> Points:
        """Carry points."""
        return carried(points, self.operations, self.epoch_year, self.start, self.end)


@dataclass(frozen=True)
class Lift:
    """Orthometric to ellipsoidal heights (or back) by one grid, in the grid's frame."""

    grid: Path
    hop: Hop

    def n_m(self, points: Points) -> Array:
        """Give the height of the geoid at points in the grid's frame; NaN where there is none."""
        return undulations(self.grid, points.lon_deg, points.lat_deg).n_m


@dataclass(frozen=True)
class Moves:
    """How coordinates are carried.

    Attributes
    ----------
    hop : Hop
        From the frame of the source to that of the target; empty within one frame.
    rise : Lift or None
        H to h on the side of the source: its hop leads from the source's frame to the grid's.
    sink : Lift or None
        h to H on the side of the target: its hop leads from the frame reached so far to the grid's.
    middle : Hop or None
        From the frame of the rising grid to that of the target.
    heights : {"pass", "carry", "none"}
        ``pass``: heights keep their zero, units change. ``carry``: through ellipsoidal heights.
        ``none``: not compared.
    same_plane : bool
        Horizontal coordinates stay as they are, to the bit.
    """

    hop: Hop
    heights: Literal["pass", "carry", "none"]
    rise: Lift | None = None
    middle: Hop | None = None
    sink: Lift | None = None
    same_plane: bool = False


@dataclass(frozen=True)
class Plan:
    """How checkpoints are carried to the frame and stored units of a deliverable.

    Attributes
    ----------
    source, target : Reference
        Both sides.
    horizontal, vertical : {"identity", "transformed", "unknown", "differs"}
        ``identity``: same system, the same numbers. ``unknown``: not declared on a side, numbers may be
        looked at, no statement. ``differs``: refused, not compared at all.
    steps : tuple of Step
        In order.
    accuracy_m : float or None
        Sum of the steps' stated accuracies; None where one of them is unknown or a part is refused.
    epoch_year : float or None
        Epoch of the coordinates as compared.
    not_applied : tuple of str
        What was left out, with its size here where that is known.
    findings : tuple of Finding
        Blocking ones name both sides and the remedy.
    moves : Moves or None
        None where nothing is carried: identity, unknown or refused.
    """

    source: Reference
    target: Reference
    horizontal: State
    vertical: State
    steps: tuple[Step, ...] = ()
    accuracy_m: float | None = None
    epoch_year: float | None = None
    not_applied: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    moves: Moves | None = field(default=None, repr=False)

    def apply(self, easting: Array, northing: Array, height: Array) -> tuple[Array, Array, Array]:
        """Carry coordinates in stored units of the source to stored units of the target.

        Parameters
        ----------
        easting, northing, height : ndarray of float64, shape (n,)
            Longitude and latitude, or X, Y, Z, where the source is geographic or geocentric.

        Returns
        -------
        easting, northing, height : ndarray of float64, shape (n,)
            The same bits where nothing is transformed. NaN where a point cannot be carried.
        """
        if self.horizontal == "differs":
            nothing = np.full(easting.shape, np.nan)
            return nothing, nothing.copy(), nothing.copy()
        if self.moves is None:
            return easting, northing, np.full_like(height, np.nan) if self.blocked else height
        return carry(self.source, self.target, self.moves, easting, northing, height)

    @property
    def carries(self) -> bool:
        """Whether `apply` gives other numbers than it gets."""
        return self.moves is not None or "differs" in (self.horizontal, self.vertical)

    @property
    def blocked(self) -> bool:
        """Whether the heights are not compared."""
        return self.vertical == "differs"


def carry(
    source: Reference,
    target: Reference,
    moves: Moves,
    easting: Array,
    northing: Array,
    height: Array,
) -> tuple[Array, Array, Array]:
    """Carry out the moves; see `Plan.apply`."""
    unit = source.vertical_unit or LengthUnit.METRE
    geocentric = source.horizontal_kind == "geocentric"
    same_heights = (
        moves.heights == "pass" and source.vertical_unit is target.vertical_unit and not geocentric
    )
    if moves.same_plane and (same_heights or (geocentric and moves.heights == "pass")):
        return easting, northing, height
    if geocentric:
        unit = source.horizontal_unit or LengthUnit.METRE
    given = to_points(source, easting, northing, to_metres(height, unit))
    # The horizontal part does not wait for heights: an error of 100 m in height moves it by 0.02 mm.
    placed = moves.hop(given)
    height_m = placed.h_m
    if moves.heights == "pass":
        height_m = given.h_m
    elif moves.heights == "carry":
        height_m = _height_m(moves, given)
    if target.horizontal_kind == "geocentric":
        x, y, z = to_xyz(target, Points(placed.lon_deg, placed.lat_deg, height_m))
        return _finite(x), _finite(y), _finite(z)
    east, north = (
        (easting, northing)
        if moves.same_plane
        else tuple(map(_finite, from_points(target, placed)))
    )
    if moves.heights == "none":
        return east, north, np.full_like(height, np.nan)
    if same_heights:
        return east, north, height
    return east, north, _finite(from_metres(height_m, target.vertical_unit or LengthUnit.METRE))


def _height_m(moves: Moves, points: Points) -> Array:
    """Carry heights through ellipsoidal ones."""
    onward = moves.hop
    if moves.rise is not None:
        at_grid = moves.rise.hop(points)
        points = Points(at_grid.lon_deg, at_grid.lat_deg, points.h_m + moves.rise.n_m(at_grid))
        onward = moves.middle or moves.hop
    if moves.sink is not None:
        at_grid = moves.sink.hop(points)
        return at_grid.h_m - moves.sink.n_m(at_grid)
    return onward(points).h_m


def _finite(values: Array) -> Array:
    return np.where(np.isfinite(values), values, np.nan)
