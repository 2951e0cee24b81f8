"""Records of the base checks: the station as everything handed in describes it, and what one check found."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType
from typing import Literal

import numpy as np

from accuracy.findings import Component, EvidenceValue, Finding, Severity
from accuracy.formats.antex import AntexAnswer
from accuracy.formats.rinex import RinexHeader
from accuracy.formats.rinex_epochs import Epochs
from accuracy.formats.site_log import SiteLog
from accuracy.georeferencing.geodetic import Points
from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.record import Reference
from accuracy.georeferencing.walkthrough import position

#: Parts of the way from the mark to the cloud; effects of different parts add up.
Part = Literal["coordinates", "height", "antenna"]
PARTS: tuple[Part, ...] = ("coordinates", "height", "antenna")


@dataclass(frozen=True)
class Vector:
    """Displacement in metres, at the base: east, north, up. None: not known."""

    east_m: float | None
    north_m: float | None
    up_m: float | None

    @property
    def size_m(self) -> float:
        """Length, of what is known."""
        return math.hypot(*(value or 0.0 for value in self.values))

    @property
    def horizontal_m(self) -> float:
        """Length of the horizontal part, of what is known."""
        return math.hypot(self.east_m or 0.0, self.north_m or 0.0)

    @property
    def values(self) -> tuple[float | None, float | None, float | None]:
        """The three numbers."""
        return self.east_m, self.north_m, self.up_m

    @property
    def complete(self) -> bool:
        """Whether all three are known."""
        return None not in self.values

    def plus(self, other: Vector) -> Vector:
        """Add, component by component; unknown stays unknown."""
        return Vector(
            *(
                None if a is None or b is None else a + b
                for a, b in zip(self.values, other.values, strict=True)
            )
        )


def upward(up_m: float) -> Vector:
    """Give a vertical displacement."""
    return Vector(0.0, 0.0, up_m)


@dataclass(frozen=True)
class Candidate:
    """A cause and the displacement it would give.

    Attributes
    ----------
    cause : str
        Name for programs, kebab case: ``slant-as-vertical``.
    what : str
        In words.
    effect : Vector
        Of the deliverable, or of held minus published, whichever is being explained.
    """

    cause: str
    what: str
    effect: Vector


@dataclass(frozen=True)
class BaseCheck:
    """What one check found.

    Attributes
    ----------
    code : str
        Code of the finding.
    cause : str
        Name of the cause where there is one, else of the check.
    severity : Severity
        ``blocking``: a mistake that moves the deliverable.
    what : str
        What was found.
    effect : Vector or None
        By how much it moves the deliverable; deliverable as it is minus as it should be.
    sigma : Vector or None
        One sigma of the effect, where it is known.
    consistent_with : tuple of Candidate
        Causes that explain it; several where they cannot be told apart.
    remedy : str
        What to do.
    part : str or None
        Part of the way that `effect` belongs to; None where the effect adds nothing to the others.
    """

    code: str
    cause: str
    severity: Severity
    what: str
    effect: Vector | None = None
    sigma: Vector | None = None
    consistent_with: tuple[Candidate, ...] = ()
    remedy: str = ""
    part: Part | None = None
    component: Component = "all"
    evidence: Mapping[str, EvidenceValue] = field(default_factory=lambda: MappingProxyType({}))

    def finding(self, *, relative: bool) -> Finding:
        """Give it as a finding of a verification.

        Parameters
        ----------
        relative : bool
            Checkpoints were surveyed from the same base: a mistake of the base cannot show in the test, so it
            blocks. Where they were not, the test itself shows it, and it is a warning.
        """
        severity = self.severity
        if severity is Severity.BLOCKING and not relative:
            severity = Severity.WARNING
        message = self.what if self.effect is None else f"{self.what}: {moves(self.effect)}"
        evidence = dict(self.evidence) | {"cause": self.cause}
        if self.effect is not None:
            evidence |= dict(zip(("east_m", "north_m", "up_m"), self.effect.values, strict=True))
        component = self.component
        if self.effect is not None and self.effect.complete and self.effect.horizontal_m < 0.0005:
            component = "vertical"
        return Finding(self.code, severity, message, None, component, evidence, self.remedy)


@dataclass(frozen=True)
class Side:
    """Coordinates of the mark as one source gives them, in stored units of their system.

    Attributes
    ----------
    who : str
        For messages: ``held``, ``published``, the name of a solution.
    origin : str or None
        Of held coordinates: ``published``, ``own-solution``, ``autonomous``, ``other``.
    solved_with : Height or None
        Antenna height that an own solution was computed with.
    """

    who: str
    reference: Reference
    x: float
    y: float
    z: float
    source: str | None = None
    accuracy_h_m: float | None = None
    accuracy_v_m: float | None = None
    origin: str | None = None
    solved_with: Height | None = None

    @property
    def points(self) -> Points | None:
        """Where it is on its own datum, in degrees and metres; None where that is not known."""
        found = position(self.reference, self.x, self.y, self.z)
        if found is None:
            return None
        return Points(found.lon_deg, found.lat_deg, np.nan_to_num(found.h_m, nan=0.0))


@dataclass(frozen=True)
class Height:
    """A height of the antenna as somebody gave it, in metres.

    Attributes
    ----------
    written : str
        As given, with its unit.
    kind, to : str
        ``vertical`` or ``slant``; to ``arp``, ``rim`` or ``phase-centre``.
    radius_m : float or None
        Horizontal distance of the rim mark from the axis.
    offset_m : float or None
        Rim mark above the antenna reference point.
    """

    value_m: float
    written: str
    kind: Literal["vertical", "slant"]
    to: Literal["arp", "rim", "phase-centre"]
    radius_m: float | None = None
    offset_m: float | None = None
    by: str | None = None


@dataclass(frozen=True)
class Antenna:
    """An antenna by its codes; an empty radome is not stated."""

    name: str
    radome: str
    serial: str = ""

    @property
    def full(self) -> str:
        """Both codes in 20 columns."""
        return f"{self.name:<15} {self.radome}".rstrip()


@dataclass(frozen=True)
class Span:
    """From when to when, in GPS time."""

    start: datetime
    end: datetime
    what: str
    interval_s: float | None = None


@dataclass(frozen=True)
class Solution:
    """An independent solution of the mark; figures as its report gives them, metres."""

    side: Side
    kind: Literal["static", "rapid-static"]
    hours: float | None = None
    observations: tuple[int, int] | None = None
    ambiguities: tuple[int, int] | None = None
    rms_m: float | None = None
    orbits: str | None = None
    peak_to_peak: Vector | None = None
    sigma: Vector | None = None


@dataclass(frozen=True)
class Site:
    """Where the work is: a point in the middle, height in metres and of what kind (None: not known)."""

    points: Points
    height_kind: str | None


@dataclass(frozen=True)
class Station:
    """The base as the job and its files describe it.

    Attributes
    ----------
    antenna : Antenna or None
        On the mark, as the crew says.
    height, second : Height or None
        Measured; at the begin and at the end.
    given : Height or None
        As the processing software was told; None: not stated.
    model : Antenna or None
        Whose calibration was applied at the base; an empty name: none was.
    antex, antex_model : AntexAnswer or None
        What the ANTEX file has for `antenna` and for `model`.
    same_base : bool or None
        Whether the checkpoints were surveyed from this base; None: not stated.
    deliverables : tuple of (str, Reference)
        Name and reference system of each dataset.
    """

    mark: str
    published: Side | None = None
    held: Side | None = None
    antenna: Antenna | None = None
    height: Height | None = None
    second: Height | None = None
    given: Height | None = None
    model: Antenna | None = None
    frequency: str | None = None
    occupations: tuple[Span, ...] = ()
    solutions: tuple[Solution, ...] = ()
    header: RinexHeader | None = None
    header_name: str = ""
    epochs: Epochs | None = None
    antex: AntexAnswer | None = None
    antex_model: AntexAnswer | None = None
    antex_name: str = ""
    site_log: SiteLog | None = None
    same_base: bool | None = None
    flight: Span | None = None
    site: Site | None = None
    deliverables: tuple[tuple[str, Reference], ...] = ()
    shelf: GridShelf = field(default_factory=GridShelf)


def length(value_m: float, *, sign: bool = True) -> str:
    """Write a length: tenths of a millimetre below a metre, millimetres above it."""
    form = "+" if sign else ""
    if abs(value_m) < 1.0:
        return f"{round(value_m * 1000.0, 1) + 0.0:{form}.1f} mm"
    return f"{value_m:{form}.3f} m" if abs(value_m) < 1e5 else f"{value_m:{form}.0f} m"


def shown(vector: Vector) -> str:
    """Write a vector for a sentence."""
    names = ("east", "north", "up")
    return ", ".join(
        f"{name} {'unknown' if value is None else length(value)}"
        for name, value in zip(names, vector.values, strict=True)
    )


def moves(vector: Vector) -> str:
    """Say what an effect does to the deliverable."""
    up = vector.up_m
    if vector.complete and vector.size_m < 0.00005:
        return "this does not move the deliverable"
    if up is not None and vector.horizontal_m < 0.00005:
        return f"this would {'raise' if up > 0 else 'lower'} the deliverable by {length(abs(up), sign=False)}"
    return f"this would move the deliverable by {shown(vector)}"
