"""What an analysis of flight lines finds, for the result, for claims and for people.

Signs: the difference of a pair is the later line minus the earlier one, by the time each was flown (by number
where there is no time). Heights, lengths and areas are in metres. Places (`track`, `outline`, `place`, `box`)
are easting and northing in the stored unit of the files' CRS, so that they can go into its exports as they
are. Times are seconds as stored.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from accuracy.findings import Finding

Place = tuple[float, float]
Part = Literal["all", "left", "centre", "right"]
How = Literal["source-id", "time", "trajectory", "all-points"]
Axis = Literal["across", "along", "time"]
PairKind = Literal["same-direction", "opposite", "crossing", "unknown"]
Identified = Literal["both", "one-direction", "none"]

#: Why a cell that two lines share is not assessed. Key: stable reason; value: what it means.
LEFT_OUT: Mapping[str, str] = MappingProxyType(
    {
        "few-points": "too few last returns of one line, or all to one side of the cell's centre",
        "multiple-returns": "pulses with several returns: plants, edges, wires",
        "class": "plants, water, snow, wires by class",
        "rough": "points stray from a plane more than the limit of smoothness",
        "steep": "steeper than the limit of slope",
    }
)

#: Values of `Grids.state`.
NO_DATA, ONE_LINE, SHOWN, ASSESSED = 0, 1, 2, 3


@dataclass(frozen=True, kw_only=True)
class Span:
    """One flight line as a trajectory has it, in the time that points are stored with."""

    number: int
    start_s: float
    end_s: float


@dataclass(frozen=True, kw_only=True)
class LinesSettings:
    """How lines are compared.

    Attributes
    ----------
    horizontal_unit_m, vertical_unit_m : float
        Metres per stored unit.
    cell_m : float or None
        Side of the cells in which planes are fitted; None: 1 m (in feet 2 ft or 4 ft), such that the literal
        cell of the Lidar Base Specification is made of whole cells.
    design_anps_m : float or None
        Spacing of pulses that was ordered; None: what is measured is used in its place, and said so.
    slope_limit_deg : float
        Steeper cells are not assessed (LBS 2025 rev. A: 10 degrees).
    offset_slope_deg : float
        Cells up to here tell horizontal offsets. Common practice, no source.
    smooth_limit_m : float
        Largest root mean square distance of a line's points from their plane in an assessed cell. Common
        practice, no source.
    multiple_share : float
        Largest share of points of pulses with several returns, and of points of `left_out_classes`, in an
        assessed cell. Common practice, no source.
    least_points : int
        Fewest last returns of a line for a plane.
    noise_classes : tuple of int
        Never used; nor are points flagged withheld or synthetic.
    left_out_classes : tuple of int
        Plants, water, wires and snow: not a hard surface.
    usable_share : float
        Middle share of a swath's width in which density, voids and distribution are judged (LBS: about 95 %).
    block_m : float
        Cells within so many metres along the track are treated as one in standard errors.
    spans : tuple of Span
        Lines of the trajectory, if there is one: used where point source ids do not tell lines.
    folder : str or None
        Where intermediate tables go that do not fit in memory; None: the system's folder of temporary files.
        Workers on other machines must see it under the same path.
    """

    horizontal_unit_m: float = 1.0
    vertical_unit_m: float = 1.0
    cell_m: float | None = None
    design_anps_m: float | None = None
    slope_limit_deg: float = 10.0
    offset_slope_deg: float = 55.0
    smooth_limit_m: float = 0.08
    multiple_share: float = 0.05
    least_points: int = 8
    noise_classes: tuple[int, ...] = (7, 18)
    left_out_classes: tuple[int, ...] = (3, 4, 5, 9, 13, 14, 15, 16, 20, 21)
    usable_share: float = 0.95
    block_m: float = 20.0
    spans: tuple[Span, ...] = ()
    folder: str | None = None


@dataclass(frozen=True, kw_only=True)
class Differences:
    """Statistics of differences, signed as the module says, unrounded; None where there are none.

    Attributes
    ----------
    n : int
        Cells.
    mean_m, std_m, rmsd_m : float or None
        Mean; standard deviation (n - 1); root mean square (n).
    p95_abs_m : float or None
        95th percentile of absolute differences, linear rank (P/100)(N-1)+1, to 0.01 mm.
    accuracy_95_m : float or None
        1.96 times the root mean square, as documents of one confidence level print it.
    max_abs_m : float or None
        Largest absolute difference.
    """

    n: int
    mean_m: float | None = None
    std_m: float | None = None
    rmsd_m: float | None = None
    p95_abs_m: float | None = None
    accuracy_95_m: float | None = None
    max_abs_m: float | None = None


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """An estimated value; the unit stands where it is used.

    `standard_error` comes from the scatter between blocks along the track, widened for their number such that
    three of them hold 99.73 % (Student); None where fewer than five blocks carry it: then nothing is known of
    its scatter. What all blocks share, such as a slow wander of the trajectory, is not in it.
    """

    value: float
    standard_error: float | None = None

    @property
    def significant(self) -> bool:
        """Whether it exceeds three standard errors."""
        return self.standard_error is not None and abs(self.value) > 3.0 * self.standard_error


@dataclass(frozen=True, kw_only=True)
class Trends:
    """How the difference of a pair changes: tilt, shift and drift, from one regression of assessed cells.

    Attributes
    ----------
    cells, blocks : int
        Cells, and stretches of `LinesSettings.block_m` along the track that count as independent.
    shift_m : Estimate
        Difference (m) in the middle of the overlap, tilts taken out.
    across : Estimate
        Metres per metre to the right of the earlier line's flight, along held fixed.
    along : Estimate
        Metres per metre forward on the earlier line, across held fixed.
    time_m_s : Estimate or None
        Metres per second of the later line's time, across held fixed: a regression of its own in place of
        `along`. Within one pair of straight lines time and way are the same thing; only `SiteTrends` tells a
        drift in time from a tilt.
    time_along_correlation : float or None
        Of the later line's time with the way along; near 1 or -1: not to be told apart.
    offset_held : bool
        Whether the horizontal offset was estimated beside, so that slopes do not pass for tilt or shift.
    """

    cells: int
    blocks: int
    shift_m: Estimate
    across: Estimate
    along: Estimate
    time_m_s: Estimate | None = None
    time_along_correlation: float | None = None
    offset_held: bool = False


@dataclass(frozen=True, kw_only=True)
class Offset:
    """Where the later line lies against the earlier one, from slopes and roofs.

    dz = up - (gx east + gy north) + tilts, by least squares over smooth cells of any slope up to the limit,
    with tilts across and along estimated beside.

    Attributes
    ----------
    east_m, north_m : Estimate or None
        Later minus earlier, in grid directions; only where `identified` is ``both``.
    up_m : Estimate or None
        The same in height, in the middle of the overlap; None where `identified` is ``none``.
    identified : {"both", "one-direction", "none"}
        What the slopes there can show at all: a standard error of 0.10 m or less in both directions of the
        plane, in the best one only, or in none.
    reason : str
        Why, for people: ``flat: cannot be seen``.
    best_direction_deg : float or None
        Azimuth (0 to 180) of the best known direction.
    best_m : Estimate or None
        Offset in that direction.
    worst_error_m : float or None
        Standard error at right angles to it; None where slopes show nothing there.
    cells, blocks : int
        Cells, and independent stretches.
    """

    identified: Identified
    reason: str
    cells: int
    blocks: int = 0
    east_m: Estimate | None = None
    north_m: Estimate | None = None
    up_m: Estimate | None = None
    best_direction_deg: float | None = None
    best_m: Estimate | None = None
    worst_error_m: float | None = None


@dataclass(frozen=True, kw_only=True)
class Profile:
    """Means of the difference of a pair in bins along one axis, assessed cells; tuples of one length.

    Attributes
    ----------
    axis : {"across", "along", "time"}
        Metres to the right of the earlier line, metres forward on it, or seconds since the later line began.
    at : tuple of float
        Middles of bins that hold cells, rising; metres or seconds.
    mean_m, std_m : tuple of float
        Mean and standard deviation (0 for one cell).
    n : tuple of int
        Cells.
    """

    axis: Axis
    at: tuple[float, ...]
    mean_m: tuple[float, ...]
    std_m: tuple[float, ...]
    n: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class PairRecord:
    """Two lines that overlap.

    Attributes
    ----------
    earlier, later : int
        Numbers of the lines (`LineRecord.number`).
    kind : str
        How their directions stand to each other.
    differences : Differences
        Of planes, at the centres of assessed cells.
    expected_rmsd_m : float or None
        What the noise of both lines alone makes of `rmsd_m`: the noise seen in each cell, propagated through
        both planes.
    plain : Differences
        Of mean heights of last returns over all cells with points enough, smooth or not: what slopes and
        plants make of the same lines.
    trends, offset
        None where too few cells are assessed.
    left_out : mapping of str to int
        Reason (`LEFT_OUT`) -> shared cells not assessed.
    overlap_m2, overlap_width_m, overlap_least_width_m, overlap_share : float
        Shared area; median and least width at right angles to the earlier line, and the median as a share of
        the narrower swath. Widths are None for crossing lines.
    place_of_max : Place or None
        Centre of the cell of the largest absolute difference.
    outline : tuple of Place
        Closed outline around the shared cells.
    profiles : tuple of Profile
        Across, along and with time, as far as these are known.
    """

    earlier: int
    later: int
    kind: PairKind
    differences: Differences
    expected_rmsd_m: float | None
    plain: Differences
    trends: Trends | None
    offset: Offset | None
    left_out: Mapping[str, int]
    overlap_m2: float
    overlap_width_m: float | None = None
    overlap_least_width_m: float | None = None
    overlap_share: float | None = None
    place_of_max: Place | None = None
    outline: tuple[Place, ...] = ()
    profiles: tuple[Profile, ...] = ()


@dataclass(frozen=True, kw_only=True)
class SiteTrends:
    """What all pairs say together: errors that turn with the aircraft or change with time.

    dz = drift (t_later - t_earlier) + roll (x_later - x_earlier), by least squares over the assessed cells of
    all pairs; x is metres to the right of each line's own flight. An offset forward and to the right that all
    lines have is estimated beside where slopes show it. None where fewer than five blocks carry them. An
    error of one line alone shows in its pairs, not here.

    Attributes
    ----------
    drift_m_s : Estimate or None
        Metres of height per second.
    roll_rad : Estimate or None
        Metres up per metre to the right of flight, of every line alike (a roll of +e lowers the right: -e).
    shift_m : Estimate or None
        A constant, later minus earlier, where it is estimated beside the two; lines at equal intervals of time
        hardly tell it from a drift, which its standard error then shows.
    correlation : float or None
        Between drift and roll; beyond 0.95 they cannot be told apart.
    cells, blocks : int
        Cells and independent stretches.
    """

    cells: int
    blocks: int
    drift_m_s: Estimate | None = None
    roll_rad: Estimate | None = None
    shift_m: Estimate | None = None
    correlation: float | None = None


@dataclass(frozen=True, kw_only=True)
class WithinPart:
    """Smooth-surface precision inside one swath, or one third of its width.

    Attributes
    ----------
    part : {"all", "left", "centre", "right"}
        Seen in the direction of flight.
    literal_cells : int
        Cells of ``CEILING(ANPS) x 2`` that are smooth, gentle and hard with all eight neighbours, as areas to
        be sampled are; the literal slope within the limit too.
    literal_rmsd_m, literal_mean_m, literal_min_m, literal_max_m : float or None
        Of range - (slope x cell x 1.414), signed, single returns (LBS 2025 rev. A). Range is largest minus
        smallest height: it grows with the number of points and is no standard deviation.
    slope_min, slope_max : float or None
        Smallest and largest literal slope (m per m) of these cells.
    range_max_m : float or None
        Largest range, slope not taken off.
    plane_cells : int
        Assessed cells.
    plane_rms_m, plane_p95_m : float or None
        Thickness about fitted planes: pooled standard deviation (n - 3 a cell), and 95th percentile of that of
        the cells.
    """

    part: Part
    literal_cells: int
    plane_cells: int
    literal_rmsd_m: float | None = None
    literal_mean_m: float | None = None
    literal_min_m: float | None = None
    literal_max_m: float | None = None
    slope_min: float | None = None
    slope_max: float | None = None
    range_max_m: float | None = None
    plane_rms_m: float | None = None
    plane_p95_m: float | None = None


@dataclass(frozen=True, kw_only=True)
class TimeGap:
    """A stretch without points inside a line, longer than two seconds."""

    line: int
    start_s: float
    end_s: float


@dataclass(frozen=True, kw_only=True)
class LineRecord:
    """One flight line.

    Attributes
    ----------
    number : int
        The point source id where `how` is ``source-id`` and the id is one pass; else counted on from the
        largest id.
    source_id : int
        Stored point source id of its points (the commonest).
    how : str
        What told the line from others.
    points, first_returns, withheld, noise : int
        Points of the line, all returns; first returns neither withheld nor noise.
    start_s, end_s : float or None
        First and last time.
    heading_deg, length_m, speed_m_s, width_m : float or None
        Course over ground, length of the track below which points lie, speed, median width of the swath.
    density_per_m2, spacing_m, usable_m2 : float or None
        First returns of this line per square metre in the usable centre (ANPD), 1/sqrt of it (ANPS), and the
        area of that centre.
    distribution : float or None
        Share of cells of 2 x ANPS in the usable centre with a first return, voids left out.
    distribution_cells : int
        Number of these cells.
    voids, voids_m2 : int, float
        Voids of this line and their area.
    within : tuple of WithinPart
        All, left, centre, right.
    track : tuple of Place
        Middle of the swath in order of flight.
    outline : tuple of Place
        Closed outline of the swath.
    """

    number: int
    source_id: int
    how: How
    points: int
    first_returns: int
    withheld: int = 0
    noise: int = 0
    start_s: float | None = None
    end_s: float | None = None
    heading_deg: float | None = None
    length_m: float | None = None
    speed_m_s: float | None = None
    width_m: float | None = None
    density_per_m2: float | None = None
    spacing_m: float | None = None
    usable_m2: float | None = None
    distribution: float | None = None
    distribution_cells: int = 0
    voids: int = 0
    voids_m2: float = 0.0
    within: tuple[WithinPart, ...] = ()
    track: tuple[Place, ...] = ()
    outline: tuple[Place, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Stray:
    """A point source id, or stretch of time, that is no flight line."""

    source_id: int
    points: int
    reason: str


@dataclass(frozen=True, kw_only=True)
class Void:
    """A gap in the first returns of one line, inside its usable centre.

    Attributes
    ----------
    area_m2 : float
        Empty cells of one ANPS, with half a cell all around, where points begin on average.
    place : Place
        Middle.
    box : tuple of float
        Least and largest easting and northing: (west, south, east, north), stored unit.
    filled : bool
        Whether first returns of other lines lie there.
    cause : str
        Always ``to be confirmed``: water, dark surfaces and shadow cannot be told from the points.
    """

    line: int
    area_m2: float
    place: Place
    box: tuple[float, float, float, float]
    filled: bool = False
    cause: str = "to be confirmed"


@dataclass(frozen=True, kw_only=True)
class Coverage:
    """Density, gaps and distribution over all lines.

    Attributes
    ----------
    anps_m : float or None
        Spacing that voids and distribution were judged with.
    anps_designed : bool
        Whether that was ordered; False: measured (median of the lines).
    density_per_m2 : float or None
        First returns of all lines per square metre of the covered area (aggregate).
    covered_m2 : float
        Area of cells with points.
    line_density_per_m2, line_spacing_m : float or None
        All lines' usable centres together, single swath.
    void_limit_m2 : float or None
        (4 x ANPS) squared; a void is at least that large.
    voids : tuple of Void
        The largest, at most 1000, largest first.
    voids_found, voids_unfilled : int
        All voids, and those that no other line fills.
    distribution : float or None
        Share over all lines.
    distribution_cells : int
        Cells of all lines.
    """

    anps_m: float | None = None
    anps_designed: bool = False
    density_per_m2: float | None = None
    covered_m2: float = 0.0
    line_density_per_m2: float | None = None
    line_spacing_m: float | None = None
    void_limit_m2: float | None = None
    voids: tuple[Void, ...] = ()
    voids_found: int = 0
    voids_unfilled: int = 0
    distribution: float | None = None
    distribution_cells: int = 0


@dataclass(frozen=True, kw_only=True)
class Duplicates:
    """Points stored twice: same coordinates, time, return and point source id.

    Attributes
    ----------
    surplus : float
        Points that could be left out: counted, or estimated where `sampled` is not 1.
    sampled : float
        Share of all points that was compared; equal points are always in or out together.
    surplus_error : float
        Standard error of the estimate; 0 where counted.
    """

    surplus: float
    sampled: float = 1.0
    surplus_error: float = 0.0


@dataclass(frozen=True, kw_only=True)
class FileOrder:
    """Order of points in one file. Files sorted by place are out of order in time by intent.

    Attributes
    ----------
    name : str
        Of the file.
    points : int
        All.
    steps_back : int
        Points whose time is before that of the point stored before them, same line.
    largest_back_s : float
        The largest such step.
    returns_out_of_order : int
        Points of one pulse stored after a later return of it.
    untimed : int
        Points without a time, or with zero.
    """

    name: str
    points: int
    steps_back: int = 0
    largest_back_s: float = 0.0
    returns_out_of_order: int = 0
    untimed: int = 0


@dataclass(frozen=True, eq=False, kw_only=True)
class Grids:
    """Rasters of the analysis, row 0 in the north; not part of the plain dictionary.

    Arrays have shape (rows, columns); they may be memory maps of temporary files, so write them window by
    window.

    Attributes
    ----------
    west, north : float
        Outer corner of the first cell, stored unit.
    cell : float
        Side of a cell, stored unit; `cell_m` in metres.
    difference_m : ndarray of float32
        Difference of the pair that differs most in the cell, later minus earlier, planes of last returns, not
        clipped; NaN without two lines.
    state : ndarray of uint8
        `NO_DATA`, `ONE_LINE`, `SHOWN` (a difference that is not assessed), `ASSESSED`.
    lines : ndarray of uint8
        Number of lines with points in the cell.
    first_returns : ndarray of uint32
        Of all lines.
    """

    west: float
    north: float
    cell: float
    cell_m: float
    difference_m: NDArray[np.float32]
    state: NDArray[np.uint8]
    lines: NDArray[np.uint8]
    first_returns: NDArray[np.uint32]


@dataclass(frozen=True, kw_only=True)
class LinesRecord:
    """All that was found.

    Attributes
    ----------
    cell_m : float
        Side of cells of planes and rasters.
    literal_cell_m : float or None
        ``CEILING(ANPS) x 2``, the ceiling in the files' own unit; None where it is not made of whole cells.
    horizontal_unit_m : float
        Metres per stored unit of places.
    points, withheld, noise, untimed : int
        Counts of all files.
    classes : mapping of int to int
        Class -> points, all points.
    differences, expected_rmsd_m, plain
        As in `PairRecord`, over all pairs.
    trends : SiteTrends
        Over all pairs.
    within : tuple of WithinPart
        All lines together: all, left, centre, right.
    """

    cell_m: float
    literal_cell_m: float | None
    horizontal_unit_m: float
    vertical_unit_m: float
    points: int
    withheld: int
    noise: int
    untimed: int
    classes: Mapping[int, int]
    how: How
    lines: tuple[LineRecord, ...]
    stray: tuple[Stray, ...]
    pairs: tuple[PairRecord, ...]
    differences: Differences
    expected_rmsd_m: float | None
    plain: Differences
    trends: SiteTrends
    within: tuple[WithinPart, ...]
    coverage: Coverage
    duplicates: Duplicates
    order: tuple[FileOrder, ...]
    gaps: tuple[TimeGap, ...]
    findings: tuple[Finding, ...] = ()
    grids: Grids | None = field(default=None, compare=False, repr=False)

    def to_dict(self) -> dict[str, Any]:
        """Give plain values for JSON, without the rasters."""
        from accuracy.flightlines.plain import to_plain

        return to_plain(self)

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> LinesRecord:
        """Read what `to_dict` gave; the record has no rasters."""
        from accuracy.flightlines.plain import from_plain

        return from_plain(cls, values)
