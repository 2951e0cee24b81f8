"""Which column of a trajectory means what, and in which unit."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from accuracy.errors import InputError, Problem
from accuracy.findings import Finding, Severity
from accuracy.formats.long_tables import Head
from accuracy.inputs.columns import UNIT_ENDINGS
from accuracy.job.trajectory_section import TrajectoryColumns
from accuracy.units import LengthUnit

#: Role -> names it is known by, lower case with ``_`` between words. Common practice, no source.
NAMES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "time": (
            "time",
            "gps_time",
            "gpstime",
            "gps_seconds",
            "gpsseconds",
            "seconds",
            "seconds_of_week",
            "gps_sow",
            "sow",
            "tow",
            "time_of_week",
            "utc",
            "utc_time",
            "timestamp",
            "epoch_time",
        ),
        "easting": ("easting", "east", "x", "e"),
        "northing": ("northing", "north", "y", "n"),
        "longitude": ("longitude", "lon", "long", "lng"),
        "latitude": ("latitude", "lat"),
        "height": (
            "height",
            "z",
            "h",
            "h_ell",
            "hell",
            "ellipsoidal_height",
            "ellipsoid_height",
            "orthometric_height",
            "elevation",
            "alt",
            "altitude",
            "up",
        ),
        "roll": ("roll",),
        "pitch": ("pitch",),
        "heading": ("heading", "yaw", "azimuth"),
        "fix": (
            "fix",
            "fixed",
            "fix_type",
            "quality",
            "q",
            "solution",
            "solution_type",
            "ambiguity",
            "ambiguity_status",
        ),
        "satellites": ("satellites", "num_satellites", "sats", "num_sats", "nsat", "nsats", "ns"),
        "pdop": ("pdop",),
        "separation_east": ("separation_east", "east_separation", "sep_east", "east_sep"),
        "separation_north": ("separation_north", "north_separation", "sep_north", "north_sep"),
        "separation_up": (
            "separation_up",
            "up_separation",
            "sep_up",
            "up_sep",
            "separation_vertical",
            "vertical_separation",
            "sep_v",
            "height_separation",
            "separation_height",
        ),
        "separation_horizontal": (
            "separation_horizontal",
            "horizontal_separation",
            "sep_h",
            "sep_horizontal",
        ),
        "sigma_east": (
            "sigma_east",
            "sd_east",
            "std_east",
            "east_sd",
            "east_std",
            "sde",
            "sigma_e",
        ),
        "sigma_north": (
            "sigma_north",
            "sd_north",
            "std_north",
            "north_sd",
            "north_std",
            "sdn",
            "sigma_n",
        ),
        "sigma_up": (
            "sigma_up",
            "sd_up",
            "std_up",
            "up_sd",
            "up_std",
            "sdu",
            "sigma_u",
            "sd_height",
            "sigma_height",
            "height_sd",
            "sigma_vertical",
        ),
        "sigma_horizontal": ("sigma_horizontal", "sd_horizontal", "std_horizontal", "sd_h"),
    }
)
NEEDED = ("time", "easting", "northing", "height")
ANGLES = frozenset({"roll", "pitch", "heading"})
_PLACE = frozenset({"easting", "northing", "height"})
_DEGREES = {"longitude": "easting", "latitude": "northing"}
_ANGLE_ENDINGS = {
    **dict.fromkeys(("deg", "degree", "degrees", "dd"), "degree"),
    **dict.fromkeys(("rad", "radian", "radians"), "radian"),
}
_TIME_ENDINGS = ("s", "sec", "secs", "seconds")
_ROLES = {name: role for role, names in NAMES.items() for name in names}


@dataclass(frozen=True)
class Columns:
    """What the columns of one trajectory mean.

    Attributes
    ----------
    at : mapping of str to int
        Role -> index. Longitude stands under ``easting``, latitude under ``northing``.
    units : mapping of str to str
        Role -> what its name or the row of units states: a `LengthUnit`, ``degree`` or ``radian``.
    geographic : bool
        Positions are longitude and latitude in degrees.
    findings : tuple of Finding
        What was assumed or ignored.
    """

    at: Mapping[str, int]
    units: Mapping[str, str]
    geographic: bool
    findings: tuple[Finding, ...]

    def length(self, role: str) -> LengthUnit | None:
        """Give the unit of length that a column states."""
        unit = self.units.get(role)
        return LengthUnit(unit) if unit in set(LengthUnit) else None


def plain(name: str) -> str:
    """Lower case, ``_`` between words: ``Height (m)`` -> ``height_m``."""
    return re.sub(r"[\W_]+", "_", name.lower()).strip("_")


def known_names(names: Sequence[str], given: TrajectoryColumns) -> int:
    """Count the names that are known, by the job or by practice; a line without time is no header."""
    wanted = {plain(name) for name in given.model_dump().values() if name}
    roles = [_meaning(name)[0] if plain(name) not in wanted else "given" for name in names]
    timed = given.time is not None and plain(given.time) in {plain(name) for name in names}
    return sum(role is not None for role in roles) if timed or "time" in roles else 0


def _meaning(name: str) -> tuple[str | None, str]:
    """Give role and unit of a column name; no role where it is not known."""
    text = plain(name)
    if role := _ROLES.get(text):
        return role, ""
    for ending in sorted((*UNIT_ENDINGS, *_ANGLE_ENDINGS, *_TIME_ENDINGS), key=len, reverse=True):
        role = _ROLES.get(text.removesuffix(f"_{ending}"))
        if role and text.endswith(f"_{ending}") and _fits(role, ending):
            return role, ending
    return None, ""


def _fits(role: str, ending: str) -> bool:
    if role == "time":
        return ending in _TIME_ENDINGS
    if role in ANGLES or role in _DEGREES:
        return ending in _ANGLE_ENDINGS
    lengths = role in _PLACE or role.startswith(("separation", "sigma"))
    return lengths and ending in UNIT_ENDINGS


def _unit(ending: str) -> str:
    return str(UNIT_ENDINGS.get(ending) or _ANGLE_ENDINGS.get(ending) or "")


def columns_of(head: Head, given: TrajectoryColumns) -> Columns:
    """Find out what the columns mean: as the job names them, else by the usual names.

    Raises
    ------
    InputError
        A column that the job names is not there, a needed one is missing, or two mean the same.
    """
    where = f"{head.path}, line {head.line}"
    simple = [plain(name) for name in head.names]
    problems: list[Problem] = []
    chosen: dict[str, int] = {}
    units: dict[str, str] = {}
    for role, name in given.model_dump().items():
        if name is None:
            continue
        here = [at for at, text in enumerate(simple) if text == plain(name)]
        if len(here) != 1:
            close = difflib.get_close_matches(plain(name), simple, 1)
            hint = f"; did you mean {head.names[simple.index(close[0])]!r}?" if close else ""
            found = f"{len(here)} columns are called {name!r}" if here else f"no column {name!r}"
            allowed = f"the columns are: {', '.join(head.names)}{hint}"
            problems.append(Problem(f"trajectory.columns.{role}", found, allowed))
            continue
        chosen[role] = here[0]
        units[role] = _unit(simple[here[0]].rpartition("_")[2])
    taken = set(chosen.values())
    for at, name in enumerate(head.names):
        found_role, ending = _meaning(name)
        if found_role is None or at in taken or found_role in chosen:
            continue
        same = [n for n in head.names if _meaning(n)[0] == found_role]
        if len(same) > 1:
            both = " and ".join(repr(n) for n in same)
            allowed = f"say which under [trajectory.columns]: {found_role} = {same[0]!r}"
            problems.append(Problem(where, f"columns {both} both mean {found_role}", allowed))
            taken |= {i for i, n in enumerate(head.names) if n in same}
            continue
        chosen[found_role], units[found_role] = at, _unit(ending)
    _from_unit_row(head, chosen, units)
    geographic = {"longitude", "latitude"} <= chosen.keys() and "easting" not in chosen
    if geographic:
        for role, other in _DEGREES.items():
            chosen[other], units[other] = chosen[role], ""
            if units.get(role) == "radian":
                told = f"column {head.names[chosen[role]]!r} is in radians"
                problems.append(Problem(where, told, "export longitude and latitude in degrees"))
    missing = [role for role in NEEDED if role not in chosen]
    if missing and not problems:
        names = ", ".join(missing)
        allowed = "name it under [trajectory.columns]; the columns are: " + ", ".join(head.names)
        problems.append(Problem(where, f"no column for {names}", allowed))
    if not problems and units.get("easting") != units.get("northing"):
        told = "easting and northing state different units"
        problems.append(Problem(where, told, "give both the same ending"))
    if problems:
        raise InputError(
            "the columns of the trajectory cannot be used", where=where, problems=tuple(problems)
        )
    for role in _DEGREES:
        chosen.pop(role, None)
    ignored = [name for at, name in enumerate(head.names) if at not in chosen.values() and name]
    return Columns(chosen, units, geographic, _told(head, ignored, chosen, simple))


def _from_unit_row(head: Head, chosen: Mapping[str, int], units: dict[str, str]) -> None:
    """Fill in what the row of units under the header states and no name does."""
    for role, at in chosen.items():
        if units.get(role) or at >= len(head.units):
            continue
        ending = plain(head.units[at])
        if ending and _fits(role, ending):
            units[role] = _unit(ending)


def _told(
    head: Head, ignored: Sequence[str], chosen: Mapping[str, int], simple: Sequence[str]
) -> tuple[Finding, ...]:
    findings = []

    def note(message: str) -> None:
        told = f"{head.path.name}: {message}"
        findings.append(Finding("trajectory-columns", Severity.NOTE, told))

    if ignored:
        note(f"{len(ignored)} columns are not used: {', '.join(ignored[:12])}")
    feet = [
        head.names[at]
        for role, at in chosen.items()
        if role in _PLACE and simple[at].rpartition("_")[2] in ("ft", "foot", "feet")
    ]
    if feet:
        note(f"{', '.join(feet)}: read in international feet; write ftus for US survey feet")
    return tuple(findings)
