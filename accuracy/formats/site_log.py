"""The site log of a permanent GNSS station (IGS form, versions 1 and 2): sections 1 to 4, literally.

References
----------
IGS site log instructions, versions 1 and 2: lines ``label : value`` under numbered sections; eccentricities
of section 4 are **up, north, east**, metres, from the mark to the antenna reference point.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from accuracy.errors import FormatError
from accuracy.formats.bounded_text import lines
from accuracy.formats.rinex import number

WHAT = "an IGS site log"
_MOST_BYTES = 4 << 20
_BLOCK = re.compile(r"\s{0,3}(\d{1,2})\.(\d{1,3}|x)?\s")
_ENTRY = re.compile(r"\s*(?:\d{1,2}\.(?:\d{1,3}|x)?\s+)?([A-Za-z][^:]*?)\s*:(.*)")
_DATE = re.compile(r"(\d{4})-(\d{2})-(\d{2})(?:T(\d{2}):(\d{2}))?")


@dataclass(frozen=True)
class Equipment:
    """One entry of the history of antennas; None or empty: not said.

    Attributes
    ----------
    antenna_field : str
        Antenna and radome, 20 columns.
    up_m, north_m, east_m : float or None
        From the mark to the antenna reference point.
    installed, removed : datetime or None
        UTC; `removed` is None for what is in place.
    """

    antenna_field: str
    radome: str = ""
    serial: str = ""
    reference_point: str = ""
    up_m: float | None = None
    north_m: float | None = None
    east_m: float | None = None
    installed: datetime | None = None
    removed: datetime | None = None


@dataclass(frozen=True)
class SiteLog:
    """What is used of a site log.

    Attributes
    ----------
    position_m : tuple or None
        Approximate X, Y, Z.
    receivers : tuple of str
        Types, oldest first.
    antennas : tuple of Equipment
        Oldest first, as written.
    unreadable : tuple of str
        Values that could not be understood.
    """

    station: str
    site_name: str = ""
    marker: str = ""
    position_m: tuple[float, float, float] | None = None
    receivers: tuple[str, ...] = ()
    antennas: tuple[Equipment, ...] = ()
    unreadable: tuple[str, ...] = field(default=())

    def at(self, when: datetime) -> Equipment | None:
        """Give the antenna that was in place at a time (UTC); None where the log names none."""
        fitting = [
            a
            for a in self.antennas
            if (a.installed is None or a.installed <= when)
            and (a.removed is None or when < a.removed)
        ]
        return fitting[-1] if fitting else None


def read_site_log(path: Path) -> SiteLog:
    """Read a site log.

    Raises
    ------
    FormatError
        The file cannot be read, or is no site log.
    """
    blocks: dict[tuple[str, str], dict[str, str]] = {}
    here = ("", "")
    for line in lines(path, most_bytes=_MOST_BYTES, what=WHAT):
        if found := _BLOCK.match(line):
            here = (found[1], found[2] or "")
        if (entry := _ENTRY.match(line)) and here[0]:
            blocks.setdefault(here, {}).setdefault(_key(entry[1]), entry[2])
    site = blocks.get(("1", ""), {})
    station = (site.get("nine character id") or site.get("four character id") or "").strip()
    if not station:
        raise FormatError(
            f"is not {WHAT}: section 1 names no station",
            where=str(path),
            remedy="name the site log of the station, a text file of numbered sections",
        )
    unreadable: list[str] = []
    place = blocks.get(("2", ""), {})
    x_m, y_m, z_m = (number(place.get(f"{axis} coordinate (m)", "")) for axis in "xyz")
    numbered = [
        (key, values) for key, values in blocks.items() if key[1].isdigit() and int(key[1]) > 0
    ]
    return SiteLog(
        station=station,
        site_name=site.get("site name", "").strip(),
        marker=site.get("marker description", "").strip(),
        position_m=None if x_m is None or y_m is None or z_m is None else (x_m, y_m, z_m),
        receivers=tuple(
            values.get("receiver type", "").strip()
            for (section, _), values in numbered
            if section == "3" and values.get("receiver type", "").strip()
        ),
        antennas=tuple(
            _equipment(f"4.{key[1]}", values, unreadable)
            for key, values in numbered
            if key[0] == "4" and values.get("antenna type", "").strip()
        ),
        unreadable=tuple(unreadable),
    )


def _key(label: str) -> str:
    """Fold a label; the forms differ in blanks and points: ``Marker->ARP North Ecc(m)``."""
    return " ".join(label.replace(".", "").replace("(m)", " (m)").split()).lower()


def _equipment(name: str, values: Mapping[str, str], unreadable: list[str]) -> Equipment:
    def metres(axis: str) -> float | None:
        text = values.get(f"marker->arp {axis} ecc (m)", "").strip()
        value = number(text)
        if value is None and text and not text.startswith("("):
            unreadable.append(f"{name}, {axis} eccentricity: {text!r}")
        return value

    def date(label: str) -> datetime | None:
        text = values.get(label, "").strip()
        found = _DATE.match(text)
        try:
            if found:
                return datetime(*(int(part or 0) for part in found.groups()))  # type: ignore[arg-type]  # five numbers, no zone
        except ValueError:
            found = None
        if text and not text.startswith("("):
            unreadable.append(f"{name}, {label}: {text!r}")
        return None

    return Equipment(
        antenna_field=values.get("antenna type", "")[1:21].rstrip(),
        radome=values.get("antenna radome type", "").strip()[:4].strip(),
        serial=values.get("serial number", "").strip(),
        reference_point=values.get("antenna reference point", "").strip(),
        up_m=metres("up"),
        north_m=metres("north"),
        east_m=metres("east"),
        installed=date("date installed"),
        removed=date("date removed"),
    )
