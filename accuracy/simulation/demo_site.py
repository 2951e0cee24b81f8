"""What the demo is made of: the invented site, its survey, its flight, and what was measured."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from accuracy.simulation import flight
from accuracy.simulation.terrain import Pad, Patch, Road, Terrain, Wave

FLOWN = datetime.date(2026, 5, 14)

SITE = Terrain(
    east_m=412_300.0,
    north_m=4_541_200.0,
    width_m=96.0,
    depth_m=60.0,
    height_0_m=1312.40,
    slope_east=0.008,
    slope_north=-0.012,
    waves=(
        Wave(0.40, 83.0, 70.0, 20.0),
        Wave(0.35, 57.0, 160.0, 110.0),
        Wave(0.12, 29.0, 20.0, 200.0),
    ),
    road=Road(0.0, 27.0, 1312.07, 86.0, grade=0.0115, half_width_m=2.5, blend_m=7.0),
    pads=(Pad(Patch(30.0, 42.0, 4.5), 1311.80, 5.5), Pad(Patch(66.0, 18.0, 4.5), 1312.35, 5.5)),
    vegetation=tuple(
        Patch(east, north, 6.0) for east, north in ((18, 54), (54, 42), (42, 6), (78, 6))
    ),
)
FLIGHT_HEIGHT_M = 1362.4  # about 50 m above the ground
SCANNER = flight.Scanner()
PLANTS = flight.Plants()
NOISE_POINTS, WITHHELD_POINTS = 40, 60  # per flight line, on and off the site

SURVEY_STD_H_M, SURVEY_STD_V_M = 0.008, 0.012  # horizontal is radial
PITCH_M = 12.0  # one checkpoint near the middle of every cell of this size,
STAGGER_M, WANDER_M = 1.2, 0.4  # columns in turn a little north and south, and a little at random
BLUNDER, BLUNDER_M = "CP17", 0.20
DISTURBED, DISTURBED_M = "CP31", 0.11
DEM_CELL_M, DEM_BIAS_M = 0.5, 0.07
ORTHO_STD_M = 0.015  # per axis

#: East, north and up of one place, metres.
Place = tuple[float, float, float]
#: Positions measured in an orthophoto: id to easting and northing.
Measured = Mapping[str, tuple[float, float]]


@dataclass(frozen=True)
class Mark:
    """One surveyed mark: where it truly is and what the survey's table says.

    Attributes
    ----------
    id, cover, description : str
        As in the table.
    use : {"test", "control", "excluded"}
        What the job does with it.
    true_m, surveyed_m : tuple of float
        East, north, up.
    """

    id: str
    cover: str
    use: str
    description: str
    true_m: Place
    surveyed_m: Place

    @property
    def error_m(self) -> NDArray[np.float64]:
        """Surveyed minus true: east, north, up."""
        return np.subtract(self.surveyed_m, self.true_m)


def survey(random: np.random.Generator) -> tuple[Mark, ...]:
    """Lay out the marks and survey them: open ground first, then vegetation, then control."""
    marks = []
    for number, (east, north) in enumerate(_open_places(random), start=1):
        name = f"CP{number:02d}"
        on_road = SITE.road.covers(np.array(east), np.array(north))
        what = f"painted target on {'the road' if on_road else 'gravel'}"
        use = "excluded" if name == DISTURBED else "test"
        marks.append(_surveyed(name, "non-vegetated", use, what, east, north, random))
    for number, (east, north) in enumerate(_vegetated_places(), start=1):
        name = f"VP{number:02d}"
        marks.append(_surveyed(name, "vegetated", "test", "grass and shrubs", east, north, random))
    for number, (east, north) in enumerate(((12, 12), (84, 12), (84, 48), (12, 48)), start=1):
        name = f"C{number}"
        marks.append(
            _surveyed(name, "non-vegetated", "control", "control target", east, north, random)
        )
    return tuple(marks)


def _open_places(random: np.random.Generator) -> list[tuple[float, float]]:
    """One place in every cell that is not a patch of vegetation, row by row from the south-west.

    The stagger keeps the middle row from straddling the border between quadrants.
    """
    green = {(patch.east_m, patch.north_m) for patch in SITE.vegetation}
    places = []
    for row in np.arange(PITCH_M / 2, SITE.depth_m, PITCH_M):
        for number, column in enumerate(np.arange(PITCH_M / 2, SITE.width_m, PITCH_M)):
            if (column, row) not in green:
                d_east, d_north = random.uniform(-WANDER_M, WANDER_M, 2)
                stagger = STAGGER_M if number % 2 else -STAGGER_M
                places.append((float(column + d_east), float(row + stagger + d_north)))
    return places


def _vegetated_places() -> list[tuple[float, float]]:
    """Three places in every patch, 3 m from its middle."""
    return [
        (patch.east_m + 3.0 * math.sin(bearing), patch.north_m + 3.0 * math.cos(bearing))
        for patch in SITE.vegetation
        for bearing in (math.radians(20.0), math.radians(140.0), math.radians(260.0))
    ]


def _surveyed(
    name: str,
    cover: str,
    use: str,
    what: str,
    east: float,
    north: float,
    random: np.random.Generator,
) -> Mark:
    """Survey one mark at a place relative to the site: noise for all, a mistake for two."""
    east_m, north_m = SITE.east_m + east, SITE.north_m + north
    up_m = float(SITE.height_m(np.array(east_m), np.array(north_m)))
    per_axis_m = SURVEY_STD_H_M / math.sqrt(2)
    error_m = random.normal(0.0, (per_axis_m, per_axis_m, SURVEY_STD_V_M))
    error_m[2] += {BLUNDER: BLUNDER_M, DISTURBED: DISTURBED_M}.get(name, 0.0)
    at_m = [
        round(true + float(error), 3)
        for true, error in zip((east_m, north_m, up_m), error_m, strict=True)
    ]
    return Mark(name, cover, use, what, (east_m, north_m, up_m), (at_m[0], at_m[1], at_m[2]))


def flight_plan() -> tuple[flight.FlightLine, flight.FlightLine]:
    """Plan two lines, out and back."""
    west_m, east_m = SITE.east_m - 1.0, SITE.east_m + SITE.width_m + 1.0
    south_m, north_m = SITE.north_m + SITE.depth_m / 4, SITE.north_m + SITE.depth_m * 3 / 4
    start_s = FLOWN.isoweekday() % 7 * 86_400.0 + 17 * 3600.0  # GPS week time: seconds since Sunday
    out = flight.FlightLine((west_m, south_m), (east_m, south_m), FLIGHT_HEIGHT_M, start_s, 11)
    back = flight.FlightLine(
        (east_m, north_m), (west_m, north_m), FLIGHT_HEIGHT_M, start_s + 40.0, 12
    )
    return out, back


def fly(random: np.random.Generator) -> dict[str, NDArray[Any]]:
    """Fly the planned lines and keep the points on the site, in the order of time."""
    flown = []
    for line in flight_plan():
        returns = flight.observe(SITE, flight.fire(line, SCANNER), SCANNER, PLANTS, random)
        returns = flight.spoil(returns, random, noise=NOISE_POINTS, withheld=WITHHELD_POINTS)
        points = flight.as_points(returns)
        inside = SITE.contains(points["x"], points["y"])
        flown.append({field: values[inside] for field, values in points.items()})
    return {field: np.concatenate([each[field] for each in flown]) for field in flown[0]}


def raster_heights_m() -> NDArray[np.float64]:
    """Heights at the cell centres, north row first, all too high by the same bias."""
    east_m = SITE.east_m + np.arange(DEM_CELL_M / 2, SITE.width_m, DEM_CELL_M)
    north_m = SITE.north_m + np.arange(DEM_CELL_M / 2, SITE.depth_m, DEM_CELL_M)[::-1]
    return SITE.height_m(*np.meshgrid(east_m, north_m)) + DEM_BIAS_M


def measure(marks: Sequence[Mark], count: int, random: np.random.Generator) -> Measured:
    """Measure some of the open targets in an orthophoto; in the order of the survey's table."""
    targets = [mark for mark in marks if (mark.cover, mark.use) == ("non-vegetated", "test")]
    measured = {}
    for index in sorted(random.choice(len(targets), count, replace=False)):
        error_m = random.normal(0.0, ORTHO_STD_M, 2)
        east_m, north_m, _ = targets[index].true_m
        measured[targets[index].id] = (
            round(east_m + float(error_m[0]), 3),
            round(north_m + float(error_m[1]), 3),
        )
    return measured
