"""The header of a RINEX observation file, literally: versions 2.11, 3.0x and 4.0x, plain, gzip or Hatanaka.

Labels are taken from columns 61 to 80 (a label that is off by a few columns is found, too), in any order;
labels that are not known are ignored, records that the format demands and that are missing are told. In
Hatanaka-compressed files the header is plain text, and the version is in the third line. Nothing is
interpreted here: times stay in the time system of the file.

References
----------
RINEX 2.11, 3.05 and 4.00, tables of the observation file header (IGS / RTCM; columns from the extract in the
project's notes, the rest from memory).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import chain
from pathlib import Path
from types import MappingProxyType

from accuracy.errors import FormatError
from accuracy.formats.bounded_text import lines

WHAT = "a RINEX observation file"
#: A header larger than this is none; the largest seen has some thousand lines of satellite counts.
_HEADER_BYTES = 8 << 20
_COMMENTS_KEPT = 50

#: Labels whose records are read, and those that the format demands in 2.11 and in 3.0x / 4.0x.
_OBSERVATIONS_2, _OBSERVATIONS_3 = "# / TYPES OF OBSERV", "SYS / # / OBS TYPES"
DEMANDED = (
    "MARKER NAME",
    "ANT # / TYPE",
    "REC # / TYPE / VERS",
    "APPROX POSITION XYZ",
    "ANTENNA: DELTA H/E/N",
    "TIME OF FIRST OBS",
)
_READ = frozenset(
    {
        *DEMANDED,
        _OBSERVATIONS_2,
        _OBSERVATIONS_3,
        "RINEX VERSION / TYPE",
        "CRINEX VERS   / TYPE",
        "CRINEX PROG / DATE",
        "MARKER NUMBER",
        "MARKER TYPE",
        "ANTENNA: DELTA X/Y/Z",
        "ANTENNA: PHASECENTER",
        "ANTENNA: B.SIGHT XYZ",
        "ANTENNA: ZERODIR AZI",
        "ANTENNA: ZERODIR XYZ",
        "INTERVAL",
        "TIME OF LAST OBS",
        "LEAP SECONDS",
        "SIGNAL STRENGTH UNIT",
        "RCV CLOCK OFFS APPL",
        "# OF SATELLITES",
        "PRN / # OF OBS",
        "COMMENT",
        "END OF HEADER",
    }
)
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eEdD][+-]?\d+)?")

Triple = tuple[float, float, float]


@dataclass(frozen=True)
class Instant:
    """A time as the file writes it: date and time of day in a time system.

    `system` is the three letters of the file (``GPS``, ``GLO``, ``GAL``, ``BDT``, ``QZS``, ``IRN``); empty
    where the file does not say.
    """

    when: datetime
    system: str = ""


@dataclass(frozen=True)
class RinexHeader:
    """What the header says. None or empty: the record is missing or blank.

    Attributes
    ----------
    version : str
        Of RINEX as written (``3.05``); of a Hatanaka file that of its third line.
    hatanaka : str or None
        Version of the compression, where the file is compressed.
    system : str
        Letter of the satellite system; ``G`` GPS, ``M`` mixed.
    antenna_field : str
        The 20 columns of antenna and radome, as written, without trailing blanks.
    position_m : tuple or None
        X, Y, Z as written, also where they are zero.
    position_step_m : float or None
        What the last digit of the coarsest of the three is worth.
    delta_hen_m : tuple or None
        **Height, east, north** of the antenna reference point over the mark.
    delta_xyz_m : tuple or None
        Of a vehicle's antenna.
    phase_centres : tuple of (str, str, tuple)
        System, observation code and numbers of `ANTENNA: PHASECENTER` as written.
    observations : mapping of str to tuple of str
        Satellite system (empty in version 2) to observation codes.
    interval_s : float or None
    first, last : Instant or None
        Times of first and last observation.
    leap_seconds : int or None
        GPS minus UTC, as written.
    satellites : int or None
        As counted by the header.
    comments : tuple of str
        The first fifty.
    missing : tuple of str
        Labels that the format demands and that are not there.
    unreadable : tuple of str
        Records that are there and cannot be understood, in words.
    unknown : tuple of str
        Labels that were ignored.
    """

    version: str
    hatanaka: str | None = None
    system: str = ""
    marker_name: str = ""
    marker_number: str = ""
    marker_type: str = ""
    receiver_serial: str = ""
    receiver_type: str = ""
    receiver_firmware: str = ""
    antenna_serial: str = ""
    antenna_field: str = ""
    position_m: Triple | None = None
    position_step_m: float | None = None
    delta_hen_m: Triple | None = None
    delta_xyz_m: Triple | None = None
    phase_centres: tuple[tuple[str, str, tuple[float, ...]], ...] = ()
    observations: Mapping[str, tuple[str, ...]] = field(
        default_factory=lambda: MappingProxyType({})
    )
    interval_s: float | None = None
    first: Instant | None = None
    last: Instant | None = None
    leap_seconds: int | None = None
    signal_strength_unit: str = ""
    clock_offsets_applied: bool | None = None
    satellites: int | None = None
    comments: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    unreadable: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()

    @property
    def dual_frequency(self) -> bool | None:
        """Whether a system has carrier phase on two bands; None where no observations are listed."""
        if not self.observations:
            return None
        return any(
            len({code[1] for code in codes if len(code) > 1 and code[0] == "L"}) > 1
            for codes in self.observations.values()
        )


def number(text: str) -> float | None:
    """Read a number of a fixed-column record; None where it is none, or not finite."""
    text = text.strip()
    if not _NUMBER.fullmatch(text):
        return None
    value = float(text.replace("D", "E").replace("d", "e"))
    return value if math.isfinite(value) else None


def split_label(line: str) -> tuple[str, str]:
    """Split a header line into content and label.

    A label that is known is found as well where it starts a few columns off, as it does where someone edited
    the line, or counted bytes in place of characters.
    """
    label = line[60:80].strip()
    if label in _READ:
        return line[:60], label
    bare = line.rstrip()
    for known in _READ:
        start = len(bare) - len(known)
        if bare.endswith(known) and 52 <= start <= 68:
            return bare[:start], known
    return line[:60], label


def read_rinex_header(path: Path) -> RinexHeader:
    """Read the header of an observation file.

    Raises
    ------
    FormatError
        The file cannot be read, is no RINEX, is not an observation file, or its header has no end.
    """
    rows = lines(path, most_bytes=_HEADER_BYTES, what=WHAT)
    first = next(rows, None)
    content, label = split_label(first) if first is not None else ("", "")
    hatanaka = None
    if label == "CRINEX VERS   / TYPE":
        hatanaka = content[:20].strip()
        next(rows, None)
        content, label = split_label(next(rows, ""))
    if label != "RINEX VERSION / TYPE":
        raise FormatError(
            "is empty" if first is None else f"is not {WHAT}: its first line names no version",
            where=str(path),
            remedy=f"name {WHAT} (.26o, .rnx, .crx, also .gz)",
        )
    version, kind = content[:9].strip(), content[20:40].strip()
    value = number(version)
    if value is None or not 2.0 <= value < 5.0:
        raise FormatError(
            f"is RINEX version {version or '(blank)'}, which is not read",
            where=str(path),
            remedy="hand in version 2.11, 3.0x or 4.0x",
        )
    if not kind.upper().startswith("O"):
        raise FormatError(
            f"is a RINEX file of another type ({kind or 'blank'}), not of observations",
            where=str(path),
            remedy="name the observation file of the base",
        )
    reader = _Reader(version, hatanaka, content[40:60].strip()[:1].upper())
    for line in chain(rows):
        content, label = split_label(line)
        if label == "END OF HEADER":
            return reader.header(value)
        reader.take(content, label)
    raise FormatError(
        "the header has no end (END OF HEADER is missing)",
        where=str(path),
        remedy="copy the file again; it may be cut off",
    )


class _Reader:
    """Collects records; the first of a kind counts where it may stand only once."""

    def __init__(self, version: str, hatanaka: str | None, system: str) -> None:
        self.version, self.hatanaka, self.system = version, hatanaka, system
        self.found: dict[str, str] = {}
        self.observations: dict[str, list[str]] = {}
        self.current = ""
        self.phase_centres: list[tuple[str, str, tuple[float, ...]]] = []
        self.comments: list[str] = []
        self.unknown: dict[str, None] = {}
        self.unreadable: list[str] = []

    def take(self, content: str, label: str) -> None:
        """Note one record."""
        if label == "COMMENT":
            if len(self.comments) < _COMMENTS_KEPT:
                self.comments.append(content.strip())
        elif label == _OBSERVATIONS_3:
            if content[:1].strip():
                self.current = content[0]
            self.observations.setdefault(self.current, []).extend(content[6:].split())
        elif label == _OBSERVATIONS_2:
            self.observations.setdefault("", []).extend(content[6:].split())
        elif label == "ANTENNA: PHASECENTER":
            values = tuple(v for text in content[6:].split() if (v := number(text)) is not None)
            self.phase_centres.append((content[:1].strip(), content[2:5].strip(), values))
        elif label in _READ:
            self.found.setdefault(label, content)
        elif label and len(self.unknown) < _COMMENTS_KEPT:
            self.unknown[label] = None

    def header(self, version: float) -> RinexHeader:
        """Make the record of what was found."""
        three = "ANTENNA: DELTA H/E/N", "ANTENNA: DELTA X/Y/Z", "APPROX POSITION XYZ"
        hen, xyz, position = (self._triple(label) for label in three)
        observations = _OBSERVATIONS_2 if version < 3.0 else _OBSERVATIONS_3
        demanded = [label for label in DEMANDED if label not in self.found]
        if not self.observations:
            demanded.append(observations)
        receiver = self._text("REC # / TYPE / VERS")
        antenna = self._text("ANT # / TYPE")
        interval_s = self._value("INTERVAL")
        if interval_s is not None and interval_s <= 0.0:
            interval_s = None  # zero is written for "not known"
        leap, satellites = self._value("LEAP SECONDS", 6), self._value("# OF SATELLITES", 6)
        clock = self._value("RCV CLOCK OFFS APPL", 6)
        return RinexHeader(
            version=self.version,
            hatanaka=self.hatanaka,
            system=self.system,
            marker_name=self._text("MARKER NAME").strip(),
            marker_number=self._text("MARKER NUMBER")[:20].strip(),
            marker_type=self._text("MARKER TYPE")[:20].strip(),
            receiver_serial=receiver[:20].strip(),
            receiver_type=receiver[20:40].strip(),
            receiver_firmware=receiver[40:60].strip(),
            antenna_serial=antenna[:20].strip(),
            antenna_field=antenna[20:40].rstrip(),
            position_m=position,
            position_step_m=self._step_m("APPROX POSITION XYZ") if position else None,
            delta_hen_m=hen,
            delta_xyz_m=xyz,
            phase_centres=tuple(self.phase_centres),
            observations=MappingProxyType({k: tuple(v) for k, v in self.observations.items()}),
            interval_s=interval_s,
            first=self._instant("TIME OF FIRST OBS"),
            last=self._instant("TIME OF LAST OBS"),
            leap_seconds=None if leap is None else int(leap),
            signal_strength_unit=self._text("SIGNAL STRENGTH UNIT")[:20].strip(),
            clock_offsets_applied=None if clock is None else clock != 0.0,
            satellites=None if satellites is None else int(satellites),
            comments=tuple(self.comments),
            missing=tuple(demanded),
            unreadable=tuple(self.unreadable),
            unknown=tuple(self.unknown),
        )

    def _text(self, label: str) -> str:
        return self.found.get(label, "")

    def _refuse(self, label: str) -> None:
        shown = " ".join(self._text(label).split())
        self.unreadable.append(f"{label}: {shown!r}")

    def _value(self, label: str, width: int | None = None) -> float | None:
        """Give the first number of a record; in its first columns where others follow."""
        content = self._text(label)
        if not content.strip():
            return None
        value = number(content[:width] if width else content.split()[0])
        if value is None:
            self._refuse(label)
        return value

    def _triple(self, label: str) -> Triple | None:
        content = self._text(label)
        if not content.strip():
            return None
        parts = content.split()
        if len(parts) != 3:  # numbers that touch each other, or one that is blank
            parts = [content[start : start + 14] for start in (0, 14, 28)]
        values = [number(part) for part in parts]
        if None in values:
            self._refuse(label)
            return None
        x, y, z = (value for value in values if value is not None)
        return x, y, z

    def _step_m(self, label: str) -> float:
        decimals = [len(part.partition(".")[2]) for part in self._text(label).split()[:3]]
        return float(10.0 ** -min(decimals, default=0))

    def _instant(self, label: str) -> Instant | None:
        content = self._text(label)
        if not content.strip():
            return None
        parts = content.split()
        system = parts.pop() if parts and parts[-1].isalpha() else ""
        when = moment(parts)
        if when is None:
            self._refuse(label)
            return None
        return Instant(when, system.upper())


def moment(parts: list[str]) -> datetime | None:
    """Make a time of year, month, day, hour, minute, second; None where they are none."""
    values = [number(part) for part in parts]
    if len(values) != 6 or None in values:
        return None
    year, month, day, hour, minute, second = (value for value in values if value is not None)
    if year < 100:
        year += 1900 if year >= 80 else 2000
    if not (0 <= second < 61 and 0 <= hour <= 24 and 0 <= minute <= 60):
        return None
    try:
        day_start = datetime(int(year), int(month), int(day))
        return day_start + timedelta(hours=hour, minutes=minute, seconds=second)
    except (ValueError, OverflowError):
        return None
