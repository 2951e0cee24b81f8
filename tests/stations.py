"""A sound base with invented mark and antenna, to be made wrong by tests."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

import numpy as np

from accuracy.base_checks.record import Antenna, Height, Side, Site, Span, Station, Vector
from accuracy.formats.antex import AntexAnswer, AntexAntenna, Offset
from accuracy.formats.rinex import Instant, RinexHeader
from accuracy.georeferencing.geodetic import Points
from accuracy.georeferencing.reference import declared

LON, LAT, H_M = -112.055, 41.0226, 1298.512
NAD83 = declared("EPSG:6319")
#: Slant 1.8527 m, diameter 0.3810 m, rim 0.0350 m above the reference point: worked example of the UNAVCO
#: mailing list of 2019.
SLANT = Height(1.8527, "1.8527 m", "slant", "rim", 0.1905, 0.0350)
ARP_M = 1.8079
G01 = Offset("G01", 0.62, -0.41, 91.35)
G02 = Offset("G02", -0.20, 0.33, 118.72)
CALIBRATION = AntexAntenna("QUANTENNA_7     NONE", offsets=(G01, G02), announced=2)
OTHER = AntexAntenna(
    "QUANTENNA_9     DOME",
    offsets=(Offset("G01", 1.02, 0.19, 64.80), Offset("G02", 0.40, 0.10, 60.10)),
    announced=2,
)


def vertical(value_m: float, to: Any = "arp") -> Height:
    """Give a vertical height."""
    return Height(value_m, f"{value_m} m", "vertical", to)


def header(**changes: Any) -> RinexHeader:
    """Give the header of a good observation file."""
    good = RinexHeader(
        version="3.05",
        system="M",
        marker_name="HESSOWAY",
        antenna_field="QUANTENNA_7     NONE",
        position_m=(-1809868.1410, -4467218.9022, 4165169.3317),
        position_step_m=0.0001,
        delta_hen_m=(ARP_M, 0.0, 0.0),
        observations={"G": ("C1C", "L1C", "C2W", "L2W")},
        interval_s=1.0,
        first=Instant(datetime(2026, 5, 14, 15, 22), "GPS"),
        last=Instant(datetime(2026, 5, 14, 19, 8), "GPS"),
        leap_seconds=18,
    )
    return replace(good, **changes)


def side(who: str, **changes: Any) -> Side:
    """Give the mark's coordinates, NAD83(2011), ellipsoidal height."""
    return replace(
        Side(who, NAD83, LON, LAT, H_M, accuracy_h_m=0.01, accuracy_v_m=0.015), **changes
    )


def sound(**changes: Any) -> Station:
    """Give a base without any mistake."""
    good = Station(
        mark="Hessoway pillar",
        published=side("published"),
        held=side("held", origin="published"),
        antenna=Antenna("QUANTENNA_7", "NONE"),
        height=SLANT,
        second=replace(SLANT, value_m=1.8532, written="1.8532 m"),
        given=vertical(ARP_M + 0.0002),
        model=Antenna("QUANTENNA_7", "NONE"),
        frequency="L1",
        header=header(),
        header_name="base.26o",
        antex=AntexAnswer("1.4", "A", CALIBRATION),
        antex_name="antennas.atx",
        same_base=False,
        flight=Span(datetime(2026, 5, 14, 17), datetime(2026, 5, 14, 17, 40), "trajectory.csv"),
        site=Site(
            Points(np.array([LON + 0.01]), np.array([LAT]), np.array([H_M + 20.0])), "ellipsoidal"
        ),
        deliverables=(("cloud", NAD83),),
    )
    return replace(good, **changes)


def moved(who: str, east_m: float, north_m: float, up_m: float, **changes: Any) -> Side:
    """Move the mark by a small vector, by the radii of curvature of the GRS 80 ellipsoid."""
    a, e2 = 6378137.0, 0.00669438002290
    s = np.sin(np.radians(LAT))
    w = np.sqrt(1.0 - e2 * s * s)
    meridian = a * (1.0 - e2) / w**3 + H_M
    normal = (a / w + H_M) * np.cos(np.radians(LAT))
    return side(
        who,
        x=LON + float(np.degrees(east_m / normal)),
        y=LAT + float(np.degrees(north_m / meridian)),
        z=H_M + up_m,
        **changes,
    )


def numbers(vector: Vector) -> tuple[float, ...]:
    """Give the numbers of a vector, NaN where they are not known."""
    return tuple(np.nan if value is None else value for value in vector.values)
