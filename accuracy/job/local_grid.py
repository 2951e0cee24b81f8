"""The section ``[local_grid]``: a site grid, stated by its parameters or fitted to pairs of points."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import Field, PrivateAttr

from accuracy.errors import Problem
from accuracy.job.fields import Epoch, Length, Number, Section, Text
from accuracy.job.files import JobFile
from accuracy.units import LengthUnit

#: What a side writes as its crs where its coordinates are in the local grid.
LOCAL = "local"

Data = Mapping[str, Any]
Factor = Annotated[float, Field(strict=True, ge=0.5, le=2.0)]
Angle = Annotated[float, Field(strict=True, ge=-360.0, le=360.0)]
Slope = Annotated[float, Field(strict=True, ge=-0.1, le=0.1)]


class LocalGridPair(Section):
    """One point known in both grids."""

    id: Text = Field(description="Id of the point; text.")
    local_easting: Number = Field(description="Easting in the local grid, in local_unit.")
    local_northing: Number = Field(description="Northing in the local grid, in local_unit.")
    local_height: Number | None = Field(
        default=None, description="Height in the local grid, in local_height_unit."
    )
    easting: Number = Field(description="Easting in crs, in its unit.")
    northing: Number = Field(description="Northing in crs, in its unit.")
    height: Number | None = Field(default=None, description="Height in crs, in its vertical unit.")


class LocalGridSection(Section):
    """A local site grid. A side whose crs is "local" has its coordinates in it."""

    crs: Text = Field(
        description="Projected reference system that the local grid is tied to, with its vertical part where "
        'heights are tied, too, such as "EPSG:6345+5703".'
    )
    epoch: Epoch | None = Field(
        default=None, description="Epoch of the coordinates in crs as decimal year."
    )
    geoid: Text | None = Field(
        default=None, description="Geoid model behind the heights in crs, when known."
    )
    name: Text = Field(default="local site grid", description="Name of the local grid, printed.")
    local_unit: LengthUnit = Field(
        description="Unit of local eastings and northings: metre, foot (international) or us-survey-foot."
    )
    local_height_unit: LengthUnit | None = Field(
        default=None, description="Unit of local heights. Default: local_unit."
    )

    direction: Literal["grid-to-local", "local-to-grid"] | None = Field(
        default=None,
        description="Stated parameters: which way they go. The grid is crs. target = origin + translation + "
        "scale * turned(source - origin).",
    )
    origin_easting: Number | None = Field(
        default=None,
        description="Stated parameters: easting about which is scaled, turned and tilted, in coordinates and "
        "unit of the side that direction starts from.",
    )
    origin_northing: Number | None = Field(
        default=None, description="Stated parameters: northing of that origin."
    )
    scale: Factor | None = Field(
        default=None,
        description="Stated parameters: metres of the target for each metre of the source, in the direction "
        "stated. A change of unit is no part of it.",
    )
    combined_factor: Factor | None = Field(
        default=None,
        description="Instead of scale: distance in crs divided by distance on the ground, where local "
        "distances are ground distances.",
    )
    rotation_clockwise_deg: Angle | None = Field(
        default=None,
        description="Stated parameters: degrees by which points are turned clockwise about the origin, in "
        "the direction stated: 90 takes a point north of it to the east. Default: 0.",
    )
    rotation_counter_clockwise_deg: Angle | None = Field(
        default=None,
        description="Instead of rotation_clockwise_deg: the same turn counted counter-clockwise.",
    )
    translation_east_m: Number | None = Field(
        default=None,
        description="Stated parameters: added to eastings, in the direction stated, in metres. Default: 0.",
    )
    translation_north_m: Number | None = Field(
        default=None,
        description="Stated parameters: added to northings, in the direction stated, in metres. Default: 0.",
    )
    vertical_shift_m: Number | None = Field(
        default=None,
        description="Stated parameters: added to heights, in the direction stated, in metres; 0.0 where "
        "heights are the same. Without it heights are not tied, and nothing is said of them.",
    )
    tilt_north_m_per_m: Slope | None = Field(
        default=None,
        description="Stated parameters: added to heights for each metre north of the origin, seen in the "
        "side that direction starts from.",
    )
    tilt_east_m_per_m: Slope | None = Field(
        default=None, description="Stated parameters: likewise for each metre east of the origin."
    )

    pairs: Text | None = Field(
        default=None,
        description="Instead of stated parameters: table of points known in both grids, relative to the job "
        "file; columns id, local_easting, local_northing, local_height, easting, northing, height (heights "
        "optional).",
    )
    pair: tuple[LocalGridPair, ...] = Field(
        default=(), description="Instead of the table: the points known in both grids."
    )
    vertical_model: Literal["shift", "plane"] | None = Field(
        default=None,
        description="Pairs: how heights are fitted. Default: a plane with four heights or more, else a "
        "shift.",
    )
    tolerance_m: Length | None = Field(
        default=None,
        description="Pairs: largest residual of the fit that is accepted, horizontally (radial) and "
        "vertically, in metres.",
    )

    _located: JobFile | None = PrivateAttr(None)

    @property
    def located(self) -> JobFile | None:
        """The table of pairs as a file on this machine; None without one."""
        return self._located

    @property
    def height_unit(self) -> LengthUnit:
        """Unit of local heights."""
        return self.local_height_unit or self.local_unit

    @property
    def scale_stated(self) -> float:
        """Metres of the target for each metre of the source, in the direction stated."""
        if self.combined_factor is None:
            return 1.0 if self.scale is None else self.scale
        shrinks = self.direction == "local-to-grid"
        return self.combined_factor if shrinks else 1.0 / self.combined_factor

    @property
    def clockwise_deg(self) -> float:
        """The turn as stated, clockwise, in degrees."""
        if self.rotation_counter_clockwise_deg is not None:
            return -self.rotation_counter_clockwise_deg
        return self.rotation_clockwise_deg or 0.0


_ORIGIN = ("origin_easting", "origin_northing")
_SCALE = ("scale", "combined_factor")
_TURN = ("rotation_clockwise_deg", "rotation_counter_clockwise_deg")
_TILT = ("tilt_north_m_per_m", "tilt_east_m_per_m")
_STATED = (
    "direction",
    *_ORIGIN,
    *_SCALE,
    *_TURN,
    "translation_east_m",
    "translation_north_m",
    "vertical_shift_m",
    *_TILT,
)
_FITTED = ("vertical_model", "tolerance_m")


def local_grid_problems(data: Data) -> Iterator[Problem]:
    """Check the section against itself and against the sides that use it, on the job as parsed."""
    yield from _use_problems(data)
    section = data.get("local_grid")
    if not isinstance(section, dict):
        return
    if "pairs" in section or "pair" in section:
        yield from _pair_problems(section)
    else:
        yield from _parameter_problems(section)


def _sides(data: Data) -> Iterator[tuple[str, Data]]:
    points, datasets = data.get("checkpoints"), data.get("dataset")
    if isinstance(points, dict):
        yield "checkpoints", points
    for index, entry in enumerate(datasets if isinstance(datasets, list) else ()):
        if isinstance(entry, dict):
            yield f"dataset[{index}]", entry


def _use_problems(data: Data) -> Iterator[Problem]:
    used = False
    for where, side in _sides(data):
        crs = side.get("crs")
        if not isinstance(crs, str) or crs.strip().lower() != LOCAL:
            continue
        used = True
        if crs != LOCAL:
            yield Problem(
                f"{where}.crs", f'found "{crs}"', f'for the local grid write "{LOCAL}" exactly'
            )
        elif "local_grid" not in data:
            yield Problem(
                f"{where}.crs",
                f'found "{LOCAL}"',
                "needs a section [local_grid] that ties the local grid to a reference system",
            )
        for key in ("geoid", "epoch"):
            if key in side:
                yield Problem(
                    f"{where}.{key}",
                    f'given for crs = "{LOCAL}"',
                    "it belongs to the crs under [local_grid]: write it there",
                )
    if "local_grid" in data and not used:
        yield Problem(
            "local_grid",
            "no side is said to be in the local grid",
            f'write crs = "{LOCAL}" under [checkpoints] or a [[dataset]], or remove the section',
        )


def _parameter_problems(section: Data) -> Iterator[Problem]:
    given = [key for key in _STATED if key in section]
    if not given:
        yield Problem(
            "local_grid",
            "neither parameters nor pairs",
            "state direction, scale, rotation and translation, or name points known in both grids: "
            'pairs = "pairs.csv" or [[local_grid.pair]]',
        )
        return
    for key in _FITTED:
        if key in section:
            yield Problem(f"local_grid.{key}", "given for stated parameters", "only for pairs")
    if "direction" not in section:
        allowed = "must be stated: grid-to-local or local-to-grid (the grid is crs)"
        yield Problem("local_grid.direction", "missing", allowed)
    if not any(key in section for key in _SCALE):
        allowed = "state it, or combined_factor; 1.0 where distances are the same"
        yield Problem("local_grid.scale", "missing", allowed)
    for first, second in (_SCALE, _TURN):
        if first in section and second in section:
            yield Problem(f"local_grid.{second}", f"stands beside {first}", "keep one of the two")
    about = [
        key for key in (*_SCALE, *_TURN, *_TILT) if section.get(key, 0) not in (0, *_neutral(key))
    ]
    for key in _ORIGIN:
        if key not in section and (about or any(other in section for other in _ORIGIN)):
            reason = f"needed by {', '.join(about)}" if about else "the other half stands there"
            yield Problem(f"local_grid.{key}", "missing", f"{reason}: state both halves")
    tilted = [key for key in _TILT if key in section]
    if tilted and "vertical_shift_m" not in section:
        allowed = f"needed by {', '.join(tilted)}; 0.0 where heights agree at the origin"
        yield Problem("local_grid.vertical_shift_m", "missing", allowed)


def _neutral(key: str) -> tuple[int, ...]:
    """Values of a key that need no origin, beside 0."""
    return (1,) if key in _SCALE else ()


def _pair_problems(section: Data) -> Iterator[Problem]:
    for key in _STATED:
        if key in section:
            allowed = "it is fitted to the pairs: remove it, or remove the pairs"
            yield Problem(f"local_grid.{key}", "given beside pairs", allowed)
    if "pairs" in section and "pair" in section:
        allowed = "keep the table or the list"
        yield Problem("local_grid.pair", "given beside the table in pairs", allowed)
    entries = section.get("pair")
    if not isinstance(entries, list):
        return
    if len(entries) < 2:
        yield Problem("local_grid.pair", f"found {len(entries)}", "must be at least two pairs")
    first: dict[str, int] = {}
    for index, entry in enumerate(entries):
        if not isinstance(entry, dict):
            continue
        where, name = f"local_grid.pair[{index}]", entry.get("id")
        if isinstance(name, str) and first.setdefault(name, index) != index:
            yield Problem(
                f"{where}.id",
                f'found "{name}"',
                f"local_grid.pair[{first[name]}] has this id, too",
            )
        for has, lacks in (("local_height", "height"), ("height", "local_height")):
            if has in entry and lacks not in entry:
                allowed = f"{has} stands there: give both heights or none"
                yield Problem(f"{where}.{lacks}", "missing", allowed)
