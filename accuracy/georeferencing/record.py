"""The records of reference systems: what the coordinates of one side refer to, and whether two sides agree."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from accuracy.findings import Finding
from accuracy.units import LengthUnit

VerticalKind = Literal["none", "ellipsoidal", "orthometric", "unknown"]
HorizontalKind = Literal["projected", "geographic", "geocentric", "engineering", "unknown"]
Verdict = Literal["identity", "unknown", "differs"]


@dataclass(frozen=True)
class Reference:
    """What the coordinates of one side refer to. None means: not declared anywhere.

    Attributes
    ----------
    name : str
        For people: ``NAD83(2011) / UTM zone 16N + NAVD88 height``; ``unknown`` if nothing is declared.
    horizontal : str or None
        Code of the horizontal CRS such as ``EPSG:6345`` where an authority has one, else its name.
    horizontal_wkt : str or None
        WKT2 of the horizontal (two-dimensional) CRS: what comparison uses.
    horizontal_kind : {"projected", "geographic", "geocentric", "engineering", "unknown"}
        What kind of coordinates these are.
    horizontal_unit : LengthUnit or None
        None for degrees or when unknown.
    vertical_kind : {"none", "ellipsoidal", "orthometric", "unknown"}
        ``none``: the declaration is horizontal only. ``unknown``: nothing usable is declared at all.
        ``orthometric`` includes every height in a named vertical CRS.
    vertical : str or None
        Code or name of the vertical CRS.
    vertical_wkt : str or None
        WKT2 of the vertical CRS.
    vertical_unit : LengthUnit or None
        Unit of heights.
    geoid : str or None
        Geoid model named behind the heights.
    epoch_year : float or None
        Coordinate epoch, decimal year.
    dynamic : bool
        The frame moves: coordinates need an epoch.
    ensemble : bool
        The datum is an ensemble ("WGS 84" without realisation).
    sources : tuple of str
        Where each fact was read, for people.
    wkt : str or None
        WKT2 of the whole (compound) CRS, for exports.
    frame : str or None
        Name of the geodetic datum or frame realisation (of the local datum, for a local grid). None
        where the declaration names none: such coordinates never agree with anything.
    ensemble_accuracy_m : float or None
        How well the ensemble is known, by its registry.
    axes : tuple of str
        Directions of the horizontal axes as declared (``("north", "east")``). Stored coordinates are
        easting first whatever these say, and comparison ignores them.
    area_deg : tuple of float or None
        Area of use (west, south, east, north) in degrees, where an authority states one.
    findings : tuple of Finding
        What reading the declaration brought up and nobody has handed on yet. Every function that returns
        findings beside a reference hands these on and leaves the field empty.
    """

    name: str
    horizontal: str | None = None
    horizontal_wkt: str | None = None
    horizontal_kind: HorizontalKind = "unknown"
    horizontal_unit: LengthUnit | None = None
    vertical_kind: VerticalKind = "unknown"
    vertical: str | None = None
    vertical_wkt: str | None = None
    vertical_unit: LengthUnit | None = None
    geoid: str | None = None
    epoch_year: float | None = None
    dynamic: bool = False
    ensemble: bool = False
    sources: tuple[str, ...] = ()
    wkt: str | None = None
    frame: str | None = None
    ensemble_accuracy_m: float | None = None
    axes: tuple[str, ...] = ()
    area_deg: tuple[float, float, float, float] | None = None
    findings: tuple[Finding, ...] = ()

    @property
    def horizontal_known(self) -> bool:
        """Whether the horizontal system is declared with its datum, so that it can be compared."""
        return self.horizontal_wkt is not None and self.frame is not None

    @property
    def vertical_known(self) -> bool:
        """Whether it is declared what heights refer to."""
        return self.vertical_kind in ("ellipsoidal", "orthometric")


UNKNOWN = Reference(name="unknown")


@dataclass(frozen=True)
class Agreement:
    """Whether two sides may be compared as they are.

    Attributes
    ----------
    horizontal, vertical : {"identity", "unknown", "differs"}
        ``identity``: the same, compare. ``unknown``: not declared on a side; numbers may be looked at,
        no statement. ``differs``: not compared at all.
    findings : tuple of Finding
        Blocking ones name both sides; warnings stand in the statement.
    """

    horizontal: Verdict
    vertical: Verdict
    findings: tuple[Finding, ...] = ()
