"""Where invented flights take place: reference systems, geoid, base and antenna. All places are invented."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from accuracy.simulation.projection import UniversalZone, axes, geocentric_m

Array = NDArray[np.float64]
_MAS = math.radians(1.0 / 3_600_000.0)  # a thousandth of an arc second


@dataclass(frozen=True)
class FrameChange:
    """Seven parameters and their rates, from one frame to another; coordinate frame rotation.

    Metres, thousandths of an arc second, parts per billion, and the same per year.
    """

    translation_m: tuple[float, float, float]
    rotation_mas: tuple[float, float, float]
    scale_ppb: float
    translation_rate_m: tuple[float, float, float]
    rotation_rate_mas: tuple[float, float, float]
    scale_rate_ppb: float
    epoch_year: float

    def moved_m(self, place_m: Array, epoch_year: float) -> Array:
        """X, Y, Z in the second frame minus X, Y, Z in the first, metres."""
        years = epoch_year - self.epoch_year
        shift_m = np.add(self.translation_m, np.multiply(self.translation_rate_m, years))
        turn = _MAS * np.add(self.rotation_mas, np.multiply(self.rotation_rate_mas, years))
        scale = 1e-9 * (self.scale_ppb + self.scale_rate_ppb * years)
        # to first order; the neglected product is below 1e-15
        return np.asarray(shift_m + scale * place_m - np.cross(turn, place_m))


#: ITRF2020 to NAD83(2011), operation 10334 of the EPSG registry.
TO_NAD83 = FrameChange(
    (1.0039, -1.90961, -0.54117),
    (26.78138, -0.42027, 10.93206),
    -0.05109,
    (0.00079, -0.0007, -0.00124),
    (0.06667, -0.75744, -0.05133),
    -0.07201,
    2010.0,
)
#: ITRF2020 to ETRF2020, operation 10572 (a position vector change: rotations turned round here).
TO_ETRS89 = FrameChange(
    (0.0, 0.0, 0.0),
    (0.0, 0.0, 0.0),
    0.0,
    (0.0, 0.0, 0.0),
    (-0.086, -0.519, 0.753),
    0.0,
    1989.0,
)
#: ITRF2014 to GDA2020, operation 8049.
TO_GDA2020 = FrameChange(
    (0.0, 0.0, 0.0),
    (0.0, 0.0, 0.0),
    0.0,
    (0.0, 0.0, 0.0),
    (1.50379, 1.18346, 1.20716),
    0.0,
    2020.0,
)
#: GDA94 to GDA2020, operation 8048.
OLDER_GDA94 = FrameChange(
    (0.06155, -0.01087, -0.04019),
    (-39.4924, -32.7221, -32.8979),
    -9.994,
    (0.0, 0.0, 0.0),
    (0.0, 0.0, 0.0),
    0.0,
    2020.0,
)


@dataclass(frozen=True)
class Antenna:
    """The base's antenna on its tripod.

    Attributes
    ----------
    height_m : float
        Mark to antenna reference point, vertical: the true one.
    rim_radius_m : float
        Horizontal distance of the rim mark from the axis.
    phase_centre_up_m : float
        L1 phase centre over the antenna reference point.
    type, serial : str
        IGS name of 20 columns (invented), and a serial number.
    """

    height_m: float = 1.6253
    rim_radius_m: float = 0.095
    phase_centre_up_m: float = 0.09135
    type: str = "QUANTENNA_7     NONE"
    serial: str = "A0117"


@dataclass(frozen=True)
class Site:
    """A place on Earth with its systems.

    Attributes
    ----------
    name : str
        Printed.
    crs : str
        Horizontal and vertical EPSG codes, as a job declares them: metres throughout.
    crs_3d : str
        EPSG code of longitude, latitude and ellipsoidal height in the same frame.
    zone : UniversalZone
        Of the projected part.
    origin_m : tuple of float
        Easting and northing that the terrain is relative to.
    height_m : float
        A typical height of the ground, in the height system.
    geoid : str
        Model behind the heights.
    undulation_m, undulation_slope
        Ellipsoidal minus orthometric height at the origin (invented, of the right size) and its rise per
        metre to the east and to the north.
    to_frame, from_frame : FrameChange, str
        From the global frame named to the plate-fixed one of the site.
    older_frame, older : FrameChange or None, str
        From an older realisation to the site's, where there is one of note.
    base_m : tuple of float
        Easting, northing, height of the base's mark relative to the origin (height absolute).
    autonomous_m : tuple of float
        Position that the base's receiver computed by itself, minus the true one.
    flown : datetime.date
    """

    name: str
    crs: str
    crs_3d: str
    zone: UniversalZone
    origin_m: tuple[float, float]
    height_m: float
    geoid: str
    undulation_m: float
    undulation_slope: tuple[float, float]
    to_frame: FrameChange
    from_frame: str
    base_m: tuple[float, float, float]
    autonomous_m: tuple[float, float, float]
    older_frame: FrameChange | None = None
    older: str = ""
    flown: datetime.date = datetime.date(2026, 5, 14)
    antenna: Antenna = field(default_factory=Antenna)

    @property
    def epoch_year(self) -> float:
        """Date of the flight as decimal year."""
        return self.flown.year + (self.flown.timetuple().tm_yday - 0.5) / 365.0

    @property
    def place_deg(self) -> tuple[float, float]:
        """Longitude and latitude of the origin."""
        longitude, latitude = self.zone.inverse(*self.origin_m)
        return float(longitude), float(latitude)

    @property
    def normal(self) -> Array:
        """Unit vector up at the origin, geocentric."""
        return np.asarray(axes(*self.place_deg)[2])

    def geocentric_m(self, east_m: float, north_m: float, height_m: float) -> Array:
        """X, Y, Z of a place given in the site's systems (height orthometric)."""
        longitude, latitude = self.zone.inverse(east_m, north_m)
        above_m = height_m + float(self.undulation(np.array(east_m), np.array(north_m)))
        return geocentric_m(float(longitude), float(latitude), above_m)

    def undulation(self, east_m: Array, north_m: Array) -> Array:
        """Ellipsoidal minus orthometric height in metres."""
        by_east, by_north = self.undulation_slope
        return np.asarray(
            self.undulation_m
            + by_east * (east_m - self.origin_m[0])
            + by_north * (north_m - self.origin_m[1])
        )

    def frame_shift_m(self, change: FrameChange, epoch_year: float) -> Array:
        """First frame minus second of a change, in grid east, north and up, metres."""
        place_m = self.geocentric_m(*self.origin_m, self.height_m)
        east, north, up = axes(*self.place_deg) @ -change.moved_m(place_m, epoch_year)
        turn = math.radians(self.zone.convergence_deg(*self.place_deg))
        k = self.zone.scale(self.origin_m[0])
        return np.array(
            [
                k * (east * math.cos(turn) - north * math.sin(turn)),
                k * (east * math.sin(turn) + north * math.cos(turn)),
                up,
            ]
        )


UTAH = Site(
    name="Hessoway Flats",
    crs="EPSG:6341+5703",
    crs_3d="EPSG:6319",
    zone=UniversalZone(12),
    origin_m=(412_300.0, 4_541_200.0),
    height_m=1312.0,
    geoid="GEOID18",
    undulation_m=-16.92,
    undulation_slope=(1.1e-5, -1.6e-5),
    to_frame=TO_NAD83,
    from_frame="ITRF2020",
    base_m=(-310.215, 180.347, 1316.482),
    autonomous_m=(1.34, -1.87, 3.92),
)
BRANDENBURG = Site(
    name="Mollwinkel quarry",
    crs="EPSG:25833+7837",
    crs_3d="EPSG:4937",
    zone=UniversalZone(33),
    origin_m=(398_150.0, 5_812_400.0),
    height_m=62.0,
    geoid="GCG2016",
    undulation_m=39.31,
    undulation_slope=(-0.7e-5, 0.9e-5),
    to_frame=TO_ETRS89,
    from_frame="ITRF2020",
    base_m=(182.604, -240.118, 58.377),
    autonomous_m=(-0.92, 1.45, -2.61),
    flown=datetime.date(2026, 4, 21),
)
CUMBERLAND = Site(
    name="Yarrenup line",
    crs="EPSG:7856+5711",
    crs_3d="EPSG:7843",
    zone=UniversalZone(56, south=True),
    origin_m=(297_600.0, 6_252_900.0),
    height_m=84.0,
    geoid="AUSGeoid2020",
    undulation_m=22.94,
    undulation_slope=(1.4e-5, 0.4e-5),
    to_frame=TO_GDA2020,
    from_frame="ITRF2014",
    older_frame=OLDER_GDA94,
    older="GDA94",
    base_m=(-95.410, 322.786, 90.215),
    autonomous_m=(2.18, 0.66, 5.07),
    flown=datetime.date(2026, 3, 18),
)

SITES: Mapping[str, Site] = MappingProxyType(
    {"utah": UTAH, "brandenburg": BRANDENBURG, "cumberland": CUMBERLAND}
)
