"""Records of the diagnosis: what was seen of each point, what a cause predicts, and what came of it.

Residual = measured - surveyed, metres, east north up. Body axes: forward, right; headings clockwise from grid
north; scan angles positive to the right of flight.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

Conclusion = Literal["no-residuals", "nothing-to-explain", "named", "consistent", "unexplained"]
Standing = Literal["named", "consistent", "rejected", "below-floor"]


@dataclass(frozen=True, eq=False)
class Sightings:
    """Every point as every flight line shows it; one row per point where lines are not told apart.

    Attributes
    ----------
    ids : tuple of str, length p
        The points.
    place : ndarray of int, shape (n,)
        Which point each row is of.
    residual_m : ndarray, shape (n, 3)
        East, north, up; NaN where there is none.
    position_m : ndarray, shape (n, 3)
        Surveyed position in the plane of the deliverable; NaN where not known in metres.
    gradient : ndarray, shape (n, 2)
        Rise of the ground per metre east and north, where heights come from a surface: there every horizontal
        error shows in height. 0 elsewhere, and where it is not known.
    gradient_known : bool
        Whether `gradient` was known wherever it counts.
    line : ndarray of int, shape (n,)
        Flight line; -1 where lines are not told apart.
    heading_deg, across_m, height_m, speed_m_s : ndarray, shape (n,)
        Of the line at the point: heading of the aircraft, distance of the point right of the track, height
        of flight above it, speed; NaN where not known.
    returns : ndarray, shape (n,)
        Points of the cloud behind each row, at least 1.
    order : ndarray of int, shape (p,)
        Line in the table of checkpoints, 0 where not known.
    survey_h_m, survey_v_m : float or None
        What the survey says of its own accuracy, horizontal radial and vertical: the median over the points.
    cell_m : float or None
        Side of a raster cell.
    groups : tuple of (str, tuple of str)
        Points that the table describes alike, by that description.
    crab_deg : float
        Heading of the aircraft minus direction of flight, clockwise.
    left_out : int
        Points that were not looked at because there are so many.
    centre_sigma_m : ndarray or None, shape (n,)
        Standard deviation per axis of the centre of a target, by which centres are weighted among each other;
        NaN where there is none, and then `returns` count.
    """

    ids: tuple[str, ...]
    place: Indices
    residual_m: Array
    position_m: Array
    gradient: Array
    line: Indices
    heading_deg: Array
    across_m: Array
    height_m: Array
    speed_m_s: Array
    returns: Array
    order: Indices
    gradient_known: bool = True
    survey_h_m: float | None = None
    survey_v_m: float | None = None
    cell_m: float | None = None
    groups: tuple[tuple[str, tuple[str, ...]], ...] = ()
    left_out: int = 0
    crab_deg: float = 0.0
    centre_sigma_m: Array | None = None

    @property
    def count(self) -> int:
        """Number of rows."""
        return len(self.place)

    @property
    def lines(self) -> tuple[int, ...]:
        """The flight lines, in order of their ids."""
        return tuple(int(line) for line in np.unique(self.line) if line >= 0)

    def has(self, axis: int) -> bool:
        """Whether some row has a residual on an axis (0 east, 1 north, 2 up)."""
        return bool(np.isfinite(self.residual_m[:, axis]).any())

    @property
    def geometry_known(self) -> NDArray[np.bool_]:
        """Rows whose line's heading is known."""
        return np.asarray(np.isfinite(self.heading_deg))

    def centred_m(self) -> Array:
        """East and north from the mean of the points; shape (n, 2), 0 where positions are not known."""
        here = self.position_m[:, :2]
        known = np.asarray(np.isfinite(here).all(axis=1))
        centre = here[known].mean(axis=0) if known.any() else np.zeros(2)
        return np.where(known[:, None], here - centre, 0.0)


#: Heading is known so many times worse than roll and pitch (common practice, no source).
HEADING = 2.5


@dataclass(frozen=True)
class Errors:
    """Standard deviations in metres, per axis: horizontal (h) and vertical (v); of angles in degrees.

    Attributes
    ----------
    noise_h_m, noise_v_m : float
        Of one row alone.
    point_h_m, point_v_m : float
        Shared by all rows of a point: its survey.
    line_h_m, line_v_m : float
        Shared by all rows of a flight line: how the trajectory wanders.
    line_roll_deg : float
        How the roll of a flight line wanders; its heading wanders `HEADING` times as much.
    shared_h_m, shared_v_m : float
        Shared by everything: flight, base and survey session. No residual shows it; it is assumed.
    """

    noise_h_m: float = 0.015
    noise_v_m: float = 0.015
    point_h_m: float = 0.0
    point_v_m: float = 0.0
    line_h_m: float = 0.0
    line_v_m: float = 0.0
    line_roll_deg: float = 0.0
    shared_h_m: float = 0.0
    shared_v_m: float = 0.0


@dataclass(frozen=True, eq=False)
class Amount:
    """A size that a cause leaves open: displacement of every row per unit of it, shape (n, 3).

    `largest` is the largest plausible size (common practice, no source): what is searched, and what a free
    size costs when causes are compared. `nuisance` sizes are fitted, and not what is told of the cause.
    """

    name: str
    unit: str
    field: Array
    largest: float
    nuisance: bool = False


@dataclass(frozen=True, eq=False)
class Candidate:
    """A cause and what it predicts at this site.

    Attributes
    ----------
    cause : str
        Name for programs, kebab case.
    family : str
        ``datum``, ``height``, ``unit``, ``base``, ``grid``, ``survey``, ``body``, ``constant``.
    what : str
        In words, of the deliverable or of the checkpoints.
    fixed : ndarray or None
        Displacement of every row, shape (n, 3), where the size is known beforehand.
    free : tuple of Amount
        Sizes that are fitted.
    sigma_m : tuple of float
        One sigma of the prediction itself, horizontal and vertical, shared by all rows.
    evidenced : bool
        A file of the job itself shows the mistake, whatever the residuals say.
    sought : bool
        It was picked among many by the residuals that it is to explain, so it is never named alone.
    how : str
        How it was predicted.
    remedy : str
        What to look at or to do.
    """

    cause: str
    family: str
    what: str
    fixed: Array | None = None
    free: tuple[Amount, ...] = ()
    sigma_m: tuple[float, float] = (0.0, 0.0)
    evidenced: bool = False
    sought: bool = False
    how: str = ""
    remedy: str = ""


@dataclass(frozen=True)
class Fitted:
    """An amount with its standard error; `floor` is what it must exceed to be told from nothing."""

    name: str
    unit: str
    value: float
    sigma: float
    floor: float


@dataclass(frozen=True, eq=False)
class Scored:
    """What came of one candidate.

    Attributes
    ----------
    causes : tuple of Candidate
        One, or two at once.
    amounts : tuple of Fitted
        Fitted sizes; for a cause of known size the share of it that the residuals show (1 is all of it).
    chi_square, score : float
        Weighted sum of squares; the same with the price of free sizes, less what the job's own files show.
    leftover, bound : float
        Mahalanobis distance squared of what the cause leaves to the general fit, and the 99 % bound for it.
    predicted : ndarray, shape (n, 3)
        Displacement of every row by the fitted cause.
    """

    causes: tuple[Candidate, ...]
    amounts: tuple[Fitted, ...]
    chi_square: float
    score: float
    leftover: float
    bound: float
    predicted: Array
    above_floor: bool
    plausible: bool
    standing: Standing = "rejected"

    @property
    def names(self) -> tuple[str, ...]:
        """The names of its causes."""
        return tuple(cause.cause for cause in self.causes)

    @property
    def fits(self) -> bool:
        """Whether the whole vector agrees with it."""
        return self.leftover <= self.bound


@dataclass(frozen=True, eq=False)
class Parameter:
    """One parameter of the general fit and whether the data can see it.

    Attributes
    ----------
    state : {"separable", "inseparable", "blind"}
        ``blind``: nothing of plausible size would show. ``inseparable``: it shows, but another does the same.
    look_alikes : tuple of str
        Parameters that it cannot be told from.
    """

    name: str
    unit: str
    value: float | None
    sigma: float | None
    floor: float | None
    state: Literal["separable", "inseparable", "blind"]
    look_alikes: tuple[str, ...] = ()


@dataclass(frozen=True)
class LineShift:
    """What one flight line shows, with its standard error; metres, None where it shows nothing."""

    line: int
    points: int
    east_m: float | None
    north_m: float | None
    up_m: float | None
    sigma_h_m: float | None
    sigma_v_m: float | None
    heading_deg: float | None
    speed_m_s: float | None
    height_m: float | None


@dataclass(frozen=True)
class Blunder:
    """A point, or a group of points, that the others contradict.

    Attributes
    ----------
    ids : tuple of str
        The points.
    component : {"horizontal", "east", "north", "up"}
        Where.
    value_m : float
        By how much they differ from the rest, after the fit.
    statistic, critical : float
        Of the test, and what it may be at most by chance.
    how : str
        Which test.
    """

    ids: tuple[str, ...]
    component: str
    value_m: float
    statistic: float
    critical: float
    how: str


@dataclass(frozen=True, eq=False)
class Diagnosis:
    """Everything found about one dataset. `what_if` is None where no cause is named."""

    conclusion: Conclusion
    text: str
    sightings: Sightings | None = None
    errors: Errors = field(default_factory=Errors)
    parameters: tuple[Parameter, ...] = ()
    lines: tuple[LineShift, ...] = ()
    blind: tuple[str, ...] = ()
    scored: tuple[Scored, ...] = ()
    tell_apart: tuple[str, ...] = ()
    blunders: tuple[Blunder, ...] = ()
    notes: tuple[str, ...] = ()
    what_if: Mapping[str, Any] | None = None
    without_blunders: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def listed(self) -> tuple[Scored, ...]:
        """Causes that were named, or that the residuals are consistent with."""
        return tuple(s for s in self.scored if s.standing in ("named", "consistent"))
