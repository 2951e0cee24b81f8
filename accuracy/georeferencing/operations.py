"""Named operations between frames: a short list of our own, the parameters from the registry at run time.

Only what stands in `OPERATIONS` is ever applied. The library is never asked to find a way from one system to
another: its answers contain null transformations and detours that nobody sees
(``tests/georeferencing/test_library_behaviour.py``).
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

#: Short name -> name of the datum in the EPSG dataset.
FRAMES: Mapping[str, str] = MappingProxyType(
    {
        "ITRF2000": "International Terrestrial Reference Frame 2000",
        "ITRF2005": "International Terrestrial Reference Frame 2005",
        "ITRF2008": "International Terrestrial Reference Frame 2008",
        "ITRF2014": "International Terrestrial Reference Frame 2014",
        "ITRF2020": "International Terrestrial Reference Frame 2020",
        "WGS 84 (G1674)": "World Geodetic System 1984 (G1674)",
        "WGS 84 (G1762)": "World Geodetic System 1984 (G1762)",
        "WGS 84 (G2139)": "World Geodetic System 1984 (G2139)",
        "WGS 84 (G2296)": "World Geodetic System 1984 (G2296)",
        "NAD83(CORS96)": "NAD83 (Continuously Operating Reference Station 1996)",
        "NAD83(2011)": "NAD83 (National Spatial Reference System 2011)",
        "NAD83(PA11)": "NAD83 (National Spatial Reference System PA11)",
        "NAD83(MA11)": "NAD83 (National Spatial Reference System MA11)",
        "NAD83(CSRS)v7": "North American Datum of 1983 (CSRS) version 7",
        "NAD83(CSRS)v8": "North American Datum of 1983 (CSRS) version 8",
        "ETRF2000": "European Terrestrial Reference Frame 2000",
        "ETRF2014": "European Terrestrial Reference Frame 2014",
        "ETRF2020": "European Terrestrial Reference Frame 2020",
        "GDA94": "Geocentric Datum of Australia 1994",
        "GDA2020": "Geocentric Datum of Australia 2020",
    }
)

#: EPSG code of each operation that may be applied, with the frames it links, in its own direction. A test
#: compares the frames with the registry. Where two ways are equally short the one listed first is taken.
OPERATIONS: tuple[tuple[int, str, str], ...] = (
    (8970, "ITRF2014", "NAD83(2011)"),
    (10334, "ITRF2020", "NAD83(2011)"),
    (7807, "ITRF2008", "NAD83(2011)"),
    (10335, "ITRF2014", "NAD83(PA11)"),
    (10336, "ITRF2020", "NAD83(PA11)"),
    (10337, "ITRF2014", "NAD83(MA11)"),
    (10338, "ITRF2020", "NAD83(MA11)"),
    (6866, "ITRF2000", "NAD83(CORS96)"),
    (8265, "ITRF2014", "NAD83(CSRS)v7"),
    (10415, "ITRF2020", "NAD83(CSRS)v8"),
    (10416, "NAD83(CSRS)v7", "NAD83(2011)"),
    (10419, "NAD83(CSRS)v8", "NAD83(2011)"),
    (8405, "ITRF2014", "ETRF2000"),
    (8366, "ITRF2014", "ETRF2014"),
    (10586, "ITRF2020", "ETRF2000"),
    (10587, "ITRF2020", "ETRF2014"),
    (10573, "ITRF2020", "ETRF2020"),
    (7941, "ITRF2000", "ETRF2000"),
    (7950, "ITRF2005", "ETRF2000"),
    (7951, "ITRF2008", "ETRF2000"),
    (8048, "GDA94", "GDA2020"),
    (8049, "ITRF2014", "GDA2020"),
    (6276, "ITRF2008", "GDA94"),
    (9991, "ITRF2014", "ITRF2020"),
    (7790, "ITRF2008", "ITRF2014"),
    (9992, "ITRF2008", "ITRF2020"),
    (8079, "ITRF2005", "ITRF2014"),
    (8078, "ITRF2000", "ITRF2014"),
    (9994, "ITRF2000", "ITRF2020"),
    (6300, "ITRF2000", "ITRF2008"),
    (7669, "WGS 84 (G1674)", "ITRF2008"),
    (7666, "WGS 84 (G1762)", "ITRF2008"),
    (9757, "WGS 84 (G2139)", "ITRF2014"),
    (10608, "WGS 84 (G2296)", "ITRF2020"),
    (9756, "WGS 84 (G1762)", "WGS 84 (G2139)"),
    (10607, "WGS 84 (G2139)", "WGS 84 (G2296)"),
)

#: For each kind of plate-fixed frame the operation whose rates tell how its plate moves.
_PLATES: tuple[tuple[int, str, str], ...] = (
    (8970, "ITRF2014", "NAD83(2011)"),
    (8366, "ITRF2014", "ETRF2014"),
    (8049, "ITRF2014", "GDA2020"),
)

_SHORT = {datum: short for short, datum in FRAMES.items()}


@dataclass(frozen=True)
class Operation:
    """One named operation, in the direction in which it is applied.

    Attributes
    ----------
    code : str
        ``EPSG:8970``.
    name : str
        Of the registry, in its own direction.
    source, target : str
        Short names of the frames, in the direction applied.
    inverse : bool
        Applied backwards.
    helmert : str
        PROJ text of the forward operation between geocentric coordinates; ``+proj=noop`` where the registry
        itself holds the two frames for the same.
    accuracy_m : float or None
        As the registry states it. None where it states 0: the parameters define the frame then, and
        nothing is said about coordinates.
    dynamic : bool
        The parameters depend on time: an epoch is needed.
    """

    code: str
    name: str
    source: str
    target: str
    inverse: bool
    helmert: str
    accuracy_m: float | None
    dynamic: bool


def short_name(frame: str | None) -> str | None:
    """Give the short name of a frame by the name of its datum; None where it is not in the list."""
    return None if frame is None else _SHORT.get(frame)


def plate_fixed(short: str) -> bool:
    """Whether a frame of the list moves with its plate, so that its coordinates hardly change with time."""
    return not short.startswith(("ITRF", "WGS"))


def way(source: str, target: str) -> tuple[Operation, ...] | None:
    """Find the fewest named operations from frame to frame (short names); None where there is no way."""
    came_from: dict[str, tuple[str, int, bool]] = {}
    queue = deque([source])
    while queue and target not in came_from:
        here = queue.popleft()
        for code, one, other in OPERATIONS:
            for start, end, inverse in ((one, other, False), (other, one, True)):
                if start == here and end != source and end not in came_from:
                    came_from[end] = (here, code, inverse)
                    queue.append(end)
    if source == target:
        return ()
    if target not in came_from:
        return None
    steps: list[Operation] = []
    while target != source:
        before, code, inverse = came_from[target]
        steps.append(_operation(code, before, target, inverse))
        target = before
    return tuple(reversed(steps))


def reachable(source: str) -> tuple[str, ...]:
    """Name the frames that can be reached, for messages."""
    return tuple(frame for frame in FRAMES if frame != source and way(source, frame) is not None)


def plate_here(lon_deg: float, lat_deg: float) -> Operation | None:
    """Give the operation that tells how the plate at a place moves; None where no listed one covers it."""
    for code, source, target in _PLATES:
        west, south, east, north = _area(code)
        inside = west <= lon_deg <= east if west <= east else lon_deg >= west or lon_deg <= east
        if inside and south <= lat_deg <= north:
            return _operation(code, source, target, False)
    return None


@lru_cache(maxsize=64)
def _operation(code: int, source: str, target: str, inverse: bool) -> Operation:
    from pyproj.crs import CoordinateOperation  # type: ignore[attr-defined]  # as in `crs`

    registered = CoordinateOperation.from_epsg(code)
    helmert = _helmert(registered.to_proj4())
    accuracy_m = registered.accuracy
    return Operation(
        code=f"EPSG:{code}",
        name=registered.name,
        source=source,
        target=target,
        inverse=inverse,
        helmert=helmert,
        accuracy_m=accuracy_m if accuracy_m > 0.0 else None,
        dynamic="+t_epoch=" in helmert,
    )


@lru_cache(maxsize=16)
def _area(code: int) -> tuple[float, float, float, float]:
    from pyproj.crs import CoordinateOperation  # type: ignore[attr-defined]  # as in `crs`

    area = CoordinateOperation.from_epsg(code).area_of_use
    return area.bounds if area is not None else (-180.0, -90.0, 180.0, 90.0)


def _helmert(text: str) -> str:
    """Take the part between geocentric coordinates out of the registry's operation."""
    if text == "+proj=noop":
        return text
    steps = re.findall(r"\+proj=helmert(?: \+(?!step\b)\S+)*", text)
    if len(steps) != 1:
        raise ValueError(f"not one Helmert step: {text}")
    return str(steps[0])
