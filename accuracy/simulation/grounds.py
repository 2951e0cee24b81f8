"""The grounds of the scenarios: what stands where, and how it is flown. All invented."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import count

import numpy as np

from accuracy.simulation.landscape import House, Landscape, Pattern, Slope, Target
from accuracy.simulation.scenario_record import Mark, Pass, Payload, Scenario
from accuracy.simulation.sites import BRANDENBURG, CUMBERLAND, UTAH, Site
from accuracy.simulation.terrain import Pad, Patch, Road, Terrain, Wave

CLEAR_M = 3.0  # marks stay so far from houses, plants and targets


def all_scenarios() -> tuple[Scenario, ...]:
    """Give all scenarios."""
    return (_flat(), _hills(), _two_heights(), _corridor(), _targets())


def _terrain(
    site: Site,
    size_m: tuple[float, float],
    waves: Sequence[Wave],
    road: tuple[float, float, float],
    patches: Iterable[tuple[float, float]],
    pads: Iterable[tuple[float, float]] = (),
    slopes: Iterable[tuple[float, float, float, float]] = (),
) -> Terrain:
    """Lay out a terrain; pads and slopes lie at the height of the hills there.

    `road`: north at the western end, azimuth, grade; `slopes`: east, north, azimuth of the fall, steepness.
    """
    north_m, azimuth_deg, grade = road
    bare = Terrain(
        *site.origin_m,
        *size_m,
        height_0_m=site.height_m,
        slope_east=0.006,
        slope_north=-0.009,
        waves=tuple(waves),
        road=Road(0.0, north_m, site.height_m - 0.2, azimuth_deg, grade, 2.5, 8.0),
        pads=(),
        vegetation=tuple(Patch(east, north, 5.0) for east, north in patches),
    )
    flat = [Pad(Patch(e, n, 5.0), _height(bare, e, n), 6.0) for e, n in pads]
    leaning = [
        Slope(
            Patch(e, n, 6.0),
            _height(bare, e, n),
            10.0,
            by_east=-steep * math.sin(math.radians(azimuth)),
            by_north=-steep * math.cos(math.radians(azimuth)),
        )
        for e, n, azimuth, steep in slopes
    ]
    return replace(bare, pads=(*flat, *leaning))


def _height(terrain: Terrain, east_m: float, north_m: float) -> float:
    return Landscape(terrain).ground_m(east_m, north_m)


def _house(
    terrain: Terrain, east: float, north: float, azimuth: float, size: tuple[float, float]
) -> House:
    ground_m = _height(terrain, east, north)
    return House(east, north, azimuth, *size, ground_m - 3.0, ground_m + 3.4, ground_m + 6.0)


def _marks(
    landscape: Landscape, pitch_m: tuple[float, float], control: Sequence[tuple[float, float]]
) -> tuple[Mark, ...]:
    """Lay out checkpoints on open ground in a staggered grid; three in every patch of plants; the targets."""
    terrain = landscape.terrain
    step_e, step_n = pitch_m
    numbers, marks = count(1), []
    for row, north in enumerate(np.arange(step_n / 2, terrain.depth_m, step_n).tolist()):
        for east in np.arange(step_e / 2, terrain.width_m, step_e).tolist():
            east_m = east + (0.11 if row % 2 else -0.13) * step_e
            if not _clear(landscape, east_m, north):
                continue
            on_road = bool(terrain.road.covers(np.array(east_m), np.array(north)))
            what = "road" if on_road else "gravel"
            marks.append(
                Mark(f"CP{next(numbers):02d}", round(east_m, 3), round(north, 3), what=what)
            )
    numbers = count(1)
    for patch in terrain.vegetation:
        for bearing in (20.0, 140.0, 260.0):
            east_m = patch.east_m + 3.0 * math.sin(math.radians(bearing))
            north_m = patch.north_m + 3.0 * math.cos(math.radians(bearing))
            name = f"VP{next(numbers):02d}"
            marks.append(Mark(name, east_m, north_m, "vegetated", "grass and shrubs"))
    for target in landscape.targets:
        what = f"{target.kind} target, {target.size_m:g} m"
        marks.append(Mark(target.id, target.east_m, target.north_m, what=what, target=target.id))
    for number, (east, north) in enumerate(control, start=1):
        marks.append(Mark(f"C{number}", east, north, what="control target", control=True))
    return tuple(marks)


def _clear(landscape: Landscape, east_m: float, north_m: float) -> bool:
    """Whether a mark at a place sees the sky and is on open ground."""
    e, n = np.array(east_m), np.array(north_m)
    green = (
        math.dist((east_m, north_m), (p.east_m, p.north_m)) < p.radius_m + CLEAR_M
        for p in landscape.terrain.vegetation
    )
    near = (
        math.dist((east_m, north_m), (t.east_m, t.north_m)) < CLEAR_M for t in landscape.targets
    )
    houses = (bool(house.covers(e, n, CLEAR_M + 3.0)) for house in landscape.houses)
    return not (any(green) or any(near) or any(houses))


def _targets_at(
    places: Iterable[tuple[float, float]], kinds: Sequence[Pattern] = ("checkerboard",)
) -> tuple[Target, ...]:
    """Paint targets, turned one against the other."""
    return tuple(
        Target(
            f"T{number + 1:02d}",
            east,
            north,
            kinds[number % len(kinds)],
            azimuth_deg=(17.0 + 23.0 * number) % 90.0,
        )
        for number, (east, north) in enumerate(places)
    )


def _flat() -> Scenario:
    site = UTAH
    waves = (Wave(0.25, 83.0, 70.0, 20.0), Wave(0.20, 57.0, 160.0, 110.0))
    terrain = _terrain(
        site,
        (120.0, 80.0),
        waves,
        (38.0, 88.0, 0.008),
        ((22, 70), (98, 12)),
        pads=((40.0, 60.0), (82.0, 22.0)),
    )
    targets = _targets_at(((12, 12), (108, 14), (106, 70), (14, 56), (60, 52), (62, 26)))
    landscape = Landscape(terrain, (), targets)
    passes = (
        Pass(11, (-6.0, 22.0), (126.0, 22.0)),
        Pass(12, (126.0, 58.0), (-6.0, 58.0)),
        Pass(13, (36.0, -6.0), (36.0, 86.0)),
        Pass(14, (84.0, 86.0), (84.0, -6.0)),
    )
    return Scenario(
        name="flat",
        about="small and nearly level, two lines to and fro and two across: what flat checkpoints can "
        "see, and what they cannot",
        site=site,
        landscape=landscape,
        passes=passes,
        marks=_marks(landscape, (17.0, 13.0), ((4.0, 30.0), (116.0, 40.0))),
        blunder="CP17",
    )


#: Hills of the scenarios with relief.
_HILLS = (
    Wave(3.2, 170.0, 65.0, 30.0),
    Wave(1.9, 95.0, 150.0, 110.0),
    Wave(0.5, 41.0, 20.0, 200.0),
)


def _hills() -> Scenario:
    site = BRANDENBURG
    terrain = _terrain(
        site,
        (240.0, 200.0),
        _HILLS,
        (92.0, 84.0, 0.02),
        ((30, 170), (120, 28), (206, 150)),
        pads=((52.0, 60.0), (150.0, 150.0)),
        slopes=(
            (30.0, 30.0, 0.0, 0.22),
            (90.0, 150.0, 60.0, 0.26),
            (170.0, 40.0, 120.0, 0.24),
            (215.0, 90.0, 180.0, 0.25),
            (120.0, 120.0, 240.0, 0.22),
            (60.0, 120.0, 300.0, 0.27),
        ),
    )
    houses = (
        _house(terrain, 140.0, 72.0, 84.0, (14.0, 9.0)),
        _house(terrain, 168.0, 76.0, 30.0, (11.0, 8.0)),
        _house(terrain, 96.0, 64.0, 130.0, (12.0, 8.0)),
    )
    targets = _targets_at(
        (
            (14, 14),
            (226, 16),
            (224, 186),
            (12, 184),
            (52, 60),
            (150, 150),
            (76, 96),
            (196, 112),
            (30, 30),
            (215, 90),
            (90, 150),
            (170, 40),
        )
    )
    landscape = Landscape(terrain, houses, targets)
    passes = (
        Pass(21, (-8.0, 25.0), (248.0, 25.0)),
        Pass(22, (248.0, 75.0), (-8.0, 75.0)),
        Pass(23, (-8.0, 125.0), (248.0, 125.0)),
        Pass(24, (248.0, 175.0), (-8.0, 175.0)),
        Pass(25, (60.0, -8.0), (60.0, 208.0)),
        Pass(26, (180.0, 208.0), (180.0, -8.0)),
    )
    return Scenario(
        name="hills",
        about="hills, slopes of six aspects, houses and plants, four lines to and fro and two across: "
        "horizontal causes show in heights",
        site=site,
        landscape=landscape,
        passes=passes,
        marks=_marks(landscape, (34.0, 29.0), ((6.0, 100.0), (234.0, 60.0), (120.0, 194.0))),
        blunder="CP09",
    )


def _two_heights() -> Scenario:
    site = UTAH
    site_ = replace(site, origin_m=(413_900.0, 4_542_500.0))
    terrain = _terrain(
        site_,
        (160.0, 120.0),
        _HILLS,
        (56.0, 95.0, -0.015),
        ((18, 102), (140, 22)),
        pads=((40.0, 84.0), (118.0, 40.0)),
        slopes=((24.0, 24.0, 45.0, 0.22), (80.0, 90.0, 165.0, 0.24), (132.0, 88.0, 285.0, 0.25)),
    )
    houses = (_house(terrain, 84.0, 34.0, 100.0, (12.0, 8.0)),)
    targets = _targets_at(
        (
            (10, 60),
            (150, 62),
            (40, 84),
            (118, 40),
            (60, 14),
            (100, 106),
            (24, 24),
            (80, 90),
            (132, 88),
            (58, 58),
            (106, 70),
            (78, 60),
        )
    )
    landscape = Landscape(terrain, houses, targets)
    low, high = {"above_m": 40.0, "speed_m_s": 4.0}, {"above_m": 80.0, "speed_m_s": 8.0}
    passes = (
        Pass(31, (-8.0, 20.0), (168.0, 20.0), **low),
        Pass(32, (168.0, 60.0), (-8.0, 60.0), **low),
        Pass(33, (-8.0, 100.0), (168.0, 100.0), **low),
        Pass(34, (168.0, 40.0), (-8.0, 40.0), **high),
        Pass(35, (-8.0, 80.0), (168.0, 80.0), **high),
        Pass(36, (50.0, -8.0), (50.0, 128.0), 80.0, 4.0),
        Pass(37, (110.0, 128.0), (110.0, -8.0), 40.0, 8.0),
    )
    return Scenario(
        name="two-heights",
        about="flown at 40 and 80 m and at 4 and 8 m/s, in both directions and across: pitch, lever arm "
        "and clock can be told apart",
        site=site_,
        landscape=landscape,
        passes=passes,
        marks=_marks(landscape, (24.0, 19.0), ((4.0, 114.0), (156.0, 6.0))),
        blunder="CP12",
    )


def _corridor() -> Scenario:
    site = CUMBERLAND
    waves = (Wave(2.4, 260.0, 80.0, 40.0), Wave(0.8, 90.0, 15.0, 10.0), Wave(0.3, 37.0, 70.0, 0.0))
    terrain = _terrain(
        site,
        (600.0, 60.0),
        waves,
        (31.0, 90.0, 0.004),
        ((90, 50), (330, 9), (520, 51)),
        pads=((200.0, 46.0), (440.0, 14.0)),
        slopes=(
            (60.0, 12.0, 0.0, 0.2),
            (260.0, 10.0, 90.0, 0.22),
            (380.0, 50.0, 180.0, 0.22),
            (560.0, 12.0, 270.0, 0.2),
        ),
    )
    targets = _targets_at(
        ((20, 45), (130, 15), (200, 46), (300, 45), (440, 14), (580, 46), (60, 12), (380, 50))
    )
    landscape = Landscape(terrain, (), targets)
    quick = {"above_m": 50.0, "speed_m_s": 6.0}
    passes = (
        Pass(41, (-8.0, 20.0), (608.0, 20.0), **quick),
        Pass(42, (608.0, 40.0), (-8.0, 40.0), **quick),
        Pass(43, (40.0, -10.0), (40.0, 70.0), **quick),
        Pass(44, (560.0, 70.0), (560.0, -10.0), **quick),
    )
    return Scenario(
        name="corridor",
        about="a long road, there and back with a short line across at either end: scale and rotation "
        "show, tilt across does not",
        site=site,
        landscape=landscape,
        passes=passes,
        marks=_marks(landscape, (44.0, 20.0), ((4.0, 8.0), (300.0, 55.0), (596.0, 52.0))),
        blunder="CP20",
    )


def _targets() -> Scenario:
    site = replace(UTAH, origin_m=(414_600.0, 4_540_300.0))
    terrain = _terrain(site, (40.0, 40.0), (Wave(0.15, 43.0, 70.0, 20.0),), (20.0, 92.0, 0.01), ())
    kinds: tuple[Pattern, ...] = ("checkerboard", "disc", "ring", "plate")
    places = [(e, n) for n in (6.0, 14.0, 26.0, 34.0) for e in (6.0, 15.0, 25.0, 34.0)]
    targets = tuple(
        replace(target, raised_m=0.6) if target.kind == "plate" else target
        for target in _targets_at(places, (*kinds, "checkerboard", *kinds[1:3]))
    )
    landscape = Landscape(terrain, (), targets)
    passes = (
        Pass(51, (-4.0, 14.0), (44.0, 14.0)),
        Pass(52, (44.0, 26.0), (-4.0, 26.0)),
        Pass(53, (20.0, -4.0), (20.0, 44.0)),
    )
    whole = Scenario(
        name="targets",
        about="sixteen painted targets and plates under a dense cloud: finding their centres",
        site=site,
        landscape=landscape,
        passes=passes,
        marks=_marks(landscape, (8.0, 7.0), ((2.0, 20.0), (38.0, 21.0))),
        blunder="CP05",
        payload=Payload(),
    )
    return whole.with_density(150.0)
