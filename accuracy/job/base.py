"""The section ``[base]``: what the crew says of the GNSS base that the flight was processed from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PrivateAttr

from accuracy.errors import Problem
from accuracy.job.fields import Epoch, Length, Number, Rmse, Section, Text, Whole
from accuracy.job.files import JobFile
from accuracy.units import LengthUnit

Data = Mapping[str, Any]
TimeSystem = Literal["GPS", "UTC"]
#: What a base's coordinates may be given as, by the kind of their reference system.
TRIPLES: Mapping[str, tuple[str, str, str]] = {
    "projected": ("easting", "northing", "height"),
    "geographic": ("longitude_deg", "latitude_deg", "height"),
    "geocentric": ("x", "y", "z"),
}
FILE_KEYS = ("observation", "antex", "site_log")


def _time(value: object) -> object:
    if not isinstance(value, datetime):
        raise ValueError("must be a date and time without quotes, such as 2026-05-14T15:30:00")
    return value


Time = Annotated[datetime, BeforeValidator(_time)]
Place = Annotated[Number, Field(ge=-1e9, le=1e9)]
Share = Annotated[Whole, Field(ge=0)]


class BaseCoordinates(Section):
    """Coordinates of the mark, in a stated system."""

    crs: Text = Field(
        description='Reference system of these coordinates, with the heights: "EPSG:6319" (longitude, '
        'latitude, ellipsoidal height), "EPSG:6317" (X, Y, Z), "EPSG:6341+5703" (grid and NAVD88).'
    )
    epoch: Epoch | None = Field(default=None, description="Epoch as decimal year.")
    geoid: Text | None = Field(default=None, description="Geoid model behind orthometric heights.")
    realisation: Text | None = Field(
        default=None, description='Realisation where crs names an ensemble only: "WGS 84 (G2296)".'
    )
    easting: Place | None = Field(default=None, description="Easting in the unit of crs.")
    northing: Place | None = Field(default=None, description="Northing in the unit of crs.")
    longitude_deg: Annotated[Number, Field(ge=-360.0, le=360.0)] | None = Field(
        default=None, description="Longitude in decimal degrees, east positive."
    )
    latitude_deg: Annotated[Number, Field(ge=-90.0, le=90.0)] | None = Field(
        default=None, description="Latitude in decimal degrees, north positive."
    )
    x: Place | None = Field(default=None, description="Geocentric X in the unit of crs.")
    y: Place | None = Field(default=None, description="Geocentric Y in the unit of crs.")
    z: Place | None = Field(default=None, description="Geocentric Z in the unit of crs.")
    height: Place | None = Field(
        default=None, description="Height of the mark in the vertical unit of crs."
    )
    source: Text | None = Field(default=None, description="Where the coordinates come from.")
    accuracy_h_m: Rmse | None = Field(
        default=None, description="Accuracy that the source states, horizontal radial, in metres."
    )
    accuracy_v_m: Rmse | None = Field(default=None, description="The same, vertical, in metres.")


class HeightGiven(Section):
    """A height of the antenna as somebody gave it."""

    value: Annotated[Number, Field(ge=-1000.0, le=1000.0)] = Field(
        description="The number, in unit."
    )
    unit: LengthUnit = Field(
        description="Unit of value: metre, foot (international) or us-survey-foot."
    )
    kind: Literal["vertical", "slant"] = Field(description="vertical or slant.")
    to: Literal["arp", "rim", "phase-centre"] = Field(
        description="Where it ends: arp (antenna reference point, the bottom of the mount), rim (a mark on the "
        "antenna's rim), phase-centre."
    )
    radius_m: Length | None = Field(
        default=None,
        description="To the rim, slant: horizontal distance of the rim mark from the axis, in metres.",
    )
    offset_m: Annotated[Number, Field(ge=-1.0, le=1.0)] | None = Field(
        default=None,
        description="To the rim: height of the rim mark above the antenna reference point, in metres; "
        "negative below it.",
    )


class MeasuredHeight(HeightGiven):
    """The height as measured over the mark."""

    measured_by: Text | None = Field(default=None, description="Who measured it.")
    second_value: Annotated[Number, Field(ge=-1000.0, le=1000.0)] | None = Field(
        default=None,
        description="Second reading, at the end of the occupation: same unit, kind and point.",
    )
    second_measured_by: Text | None = Field(
        default=None, description="Who made the second reading."
    )


class HeldCoordinates(BaseCoordinates):
    """The coordinates held fixed in the processing."""

    origin: Literal["published", "own-solution", "autonomous", "other"] | None = Field(
        default=None,
        description="How they came about: published, own-solution (a static solution of this very set-up), "
        "autonomous (the receiver's own position), other.",
    )
    solved_with: HeightGiven | None = Field(
        default=None, description="For own-solution: the antenna height that it was computed with."
    )


class BaseAntenna(Section):
    """The antenna on the mark."""

    type: Text = Field(
        description="Antenna code of the IGS, 20 columns with the radome in columns 17-20: "
        '"TRM59800.00     SCIS".'
    )
    radome: Annotated[str, Field(min_length=4, max_length=4)] | None = Field(
        default=None, description='Radome code, where type does not hold it: "NONE", "SCIS".'
    )
    serial: Text | None = Field(default=None, description="Serial number; text.")


class BaseProcessing(Section):
    """What the processing software was given for the base."""

    height: HeightGiven | None = Field(
        default=None, description="The antenna height as the software was told."
    )
    antenna_model: Text | None = Field(
        default=None,
        description='Antenna and radome whose calibration was applied at the base, or "none".',
    )
    frequency: Literal["L1", "L2", "ionosphere-free"] | None = Field(
        default=None, description="On what the solution rests; the phase centre depends on it."
    )


class Occupation(Section):
    """One time on the mark."""

    start: Time = Field(description="Begin, a TOML date and time; with Z it is UTC.")
    end: Time = Field(description="End.")
    time_system: TimeSystem | None = Field(
        default=None, description="GPS or UTC; needed where the times carry no zone."
    )
    interval_s: Length | None = Field(default=None, description="Seconds between epochs.")


class BaseFlight(Section):
    """When was flown; taken from the trajectory or the clouds where it is not stated."""

    start: Time = Field(description="Begin, a TOML date and time; with Z it is UTC.")
    end: Time = Field(description="End.")
    time_system: TimeSystem | None = Field(
        default=None, description="GPS or UTC; needed where the times carry no zone."
    )


class BaseSolution(BaseCoordinates):
    """One independent solution of the mark, with what its report says of its quality."""

    name: Text = Field(description="Name of the solution, printed.")
    kind: Literal["static", "rapid-static"] = Field(
        description="static (reports peak-to-peak) or rapid-static (reports sigma)."
    )
    hours: Length | None = Field(default=None, description="Length of the occupation in hours.")
    observations_used: Share | None = Field(default=None, description="Observations used.")
    observations_total: Share | None = Field(default=None, description="Observations in all.")
    ambiguities_fixed: Share | None = Field(default=None, description="Ambiguities fixed.")
    ambiguities_total: Share | None = Field(default=None, description="Ambiguities in all.")
    rms_m: Rmse | None = Field(default=None, description="Overall RMS in metres.")
    orbits: Literal["broadcast", "ultra-rapid", "rapid", "precise"] | None = Field(
        default=None, description="Orbits used."
    )
    peak_to_peak_east_m: Rmse | None = Field(default=None, description="Peak-to-peak, east.")
    peak_to_peak_north_m: Rmse | None = Field(default=None, description="Peak-to-peak, north.")
    peak_to_peak_up_m: Rmse | None = Field(default=None, description="Peak-to-peak, up.")
    sigma_east_m: Rmse | None = Field(default=None, description="One sigma, east.")
    sigma_north_m: Rmse | None = Field(default=None, description="One sigma, north.")
    sigma_up_m: Rmse | None = Field(default=None, description="One sigma, up.")


class BaseSection(Section):
    """The GNSS base."""

    mark: Text = Field(description="Name of the mark, printed.")
    published: BaseCoordinates | None = Field(
        default=None, description="Coordinates of the mark that someone else vouches for."
    )
    held: HeldCoordinates | None = Field(
        default=None, description="Coordinates held fixed in the processing of the flight."
    )
    antenna: BaseAntenna | None = Field(default=None, description="The antenna on the mark.")
    height: MeasuredHeight | None = Field(
        default=None, description="Height of the antenna over the mark, as measured."
    )
    processing: BaseProcessing | None = Field(
        default=None, description="What the processing software was given."
    )
    occupation: tuple[Occupation, ...] = Field(default=(), description="Times on the mark.")
    solution: tuple[BaseSolution, ...] = Field(
        default=(), description="Independent solutions of the mark."
    )
    flight: BaseFlight | None = Field(default=None, description="When was flown.")
    observation: Text | None = Field(
        default=None, description="RINEX observation file of the base, relative to the job file."
    )
    antex: Text | None = Field(
        default=None, description="ANTEX file that the processing used, relative to the job file."
    )
    site_log: Text | None = Field(
        default=None, description="IGS site log of the station, relative to the job file."
    )
    survey_from_same_base: Annotated[bool, Field(strict=True)] | None = Field(
        default=None,
        description="True where the checkpoints were surveyed from this base, too: then the test is relative "
        "to it.",
    )

    _located: dict[str, JobFile] = PrivateAttr(default_factory=dict)

    @property
    def located(self) -> Mapping[str, JobFile]:
        """Its files on this machine, by key."""
        return self._located


def base_problems(data: Data) -> Iterator[Problem]:
    """Check the section against itself, on the job as parsed."""
    section = data.get("base")
    if not isinstance(section, dict):
        return
    for key in ("published", "held"):
        if isinstance(section.get(key), dict):
            yield from _coordinate_problems(section[key], f"base.{key}")
    for where, table in _entries(section, "solution"):
        yield from _coordinate_problems(table, where)
    held = section.get("held")
    processing = section.get("processing")
    heights: tuple[tuple[str, object], ...] = (
        ("base.height", section.get("height")),
        ("base.held.solved_with", held.get("solved_with") if isinstance(held, dict) else None),
        (
            "base.processing.height",
            processing.get("height") if isinstance(processing, dict) else None,
        ),
    )
    for where, given in heights:
        if isinstance(given, dict):
            yield from _height_problems(given, where)
    spans = list(_entries(section, "occupation"))
    if isinstance(section.get("flight"), dict):
        spans.append(("base.flight", section["flight"]))
    for where, table in spans:
        yield from _time_problems(table, where)


def _entries(section: Data, name: str) -> Iterator[tuple[str, Data]]:
    entries = section.get(name)
    for index, entry in enumerate(entries if isinstance(entries, list) else ()):
        if isinstance(entry, dict):
            yield f"base.{name}[{index}]", entry


def _coordinate_problems(table: Data, where: str) -> Iterator[Problem]:
    keys = {key for triple in TRIPLES.values() for key in triple}
    given = {key for key in keys if key in table}
    if given not in [set(triple) for triple in TRIPLES.values()]:
        ways = "; or ".join(", ".join(triple) for triple in TRIPLES.values())
        found = f"found {', '.join(sorted(given))}" if given else "coordinates are missing"
        yield Problem(where, found, f"give one set of three: {ways}")


def _height_problems(table: Data, where: str) -> Iterator[Problem]:
    kind, to = table.get("kind"), table.get("to")
    if kind == "slant" and to in ("arp", "phase-centre"):
        allowed = "a slant height ends at a mark on the rim: rim, with radius_m and offset_m"
        yield Problem(f"{where}.to", f'found "{to}" for a slant height', allowed)
    elif to == "rim":
        needed = ("radius_m", "offset_m") if kind == "slant" else ("offset_m",)
        for key in needed:
            if key not in table:
                yield Problem(f"{where}.{key}", "missing", "needed by a height to the rim")
    elif to in ("arp", "phase-centre"):
        for key in ("radius_m", "offset_m"):
            if key in table:
                yield Problem(f"{where}.{key}", f'given for to = "{to}"', "only for the rim")


def _time_problems(table: Data, where: str) -> Iterator[Problem]:
    times = [table.get("start"), table.get("end")]
    start, end = (value if isinstance(value, datetime) else None for value in times)
    if start is None or end is None:
        return
    zones = {value.tzinfo is not None for value in (start, end)}
    if len(zones) == 2:
        yield Problem(where, "one time has a zone, the other none", "write both alike")
        return
    if zones == {True} and table.get("time_system") == "GPS":
        allowed = "GPS time has no zone: leave Z out, or state UTC"
        yield Problem(f"{where}.time_system", "found GPS for times with a zone", allowed)
    elif zones == {False} and "time_system" not in table:
        allowed = "needed by times without a zone: GPS or UTC"
        yield Problem(f"{where}.time_system", "missing", allowed)
    if end <= start:
        yield Problem(f"{where}.end", f"found {end.isoformat()}", "must be later than start")
