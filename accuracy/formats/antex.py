"""ANTEX 1.4: where the phase centre of a receiver antenna lies above its reference point, by frequency.

The file is read line by line and reading stops at the antenna asked for: the IGS file has some ten thousand
lines for each megabyte, and tens of megabytes.

References
----------
ANTEX 1.4 (IGS, antex14.txt): offsets in **north, east, up**, millimetres, from the antenna reference point;
columns 1-20 antenna and radome, 21-40 serial number. For receiver antennas a blank serial number stands for
the mean of the type.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from accuracy.errors import FormatError
from accuracy.formats.bounded_text import lines
from accuracy.formats.rinex import number, split_label

WHAT = "an ANTEX file"
#: The largest file in use has about 50 MB (from memory).
_MOST_BYTES = 256 << 20
_MODELS_KEPT = 40
NO_RADOME = "NONE"


@dataclass(frozen=True)
class Offset:
    """Mean phase centre of one frequency, from the antenna reference point; millimetres."""

    frequency: str
    north_mm: float
    east_mm: float
    up_mm: float


@dataclass(frozen=True)
class AntexAntenna:
    """One calibration.

    Attributes
    ----------
    name : str
        Antenna and radome, 20 columns without trailing blanks.
    serial : str
        Empty for the mean of the type.
    method : str
        As written: ``ROBOT``, ``CHAMBER``, ``FIELD``, ``CONVERTED``, ``COPIED``.
    sinex_code : str
        Names the set of calibrations, such as ``IGS20_2270``.
    offsets : tuple of Offset
        Of the frequencies that were found.
    announced : int or None
        How many frequencies the record announces.
    unreadable : tuple of str
        Records that could not be understood.
    """

    name: str
    serial: str = ""
    method: str = ""
    sinex_code: str = ""
    offsets: tuple[Offset, ...] = ()
    announced: int | None = None
    unreadable: tuple[str, ...] = ()

    def offset(self, frequency: str) -> Offset | None:
        """Give the offset of a frequency such as ``G01``; None where it is not there."""
        return next((o for o in self.offsets if o.frequency == frequency), None)


@dataclass(frozen=True)
class AntexAnswer:
    """What a file has for one antenna.

    Attributes
    ----------
    version, pcv_type : str
        Of the file; type ``A`` is absolute, ``R`` relative.
    antenna : AntexAntenna or None
        All 20 columns match.
    without_radome : AntexAntenna or None
        The same antenna without radome, where the one asked for is not there.
    radomes : tuple of str
        With which radomes the antenna is there, where the one asked for is not.
    """

    version: str
    pcv_type: str
    antenna: AntexAntenna | None = None
    without_radome: AntexAntenna | None = None
    radomes: tuple[str, ...] = ()


def split_antenna(text: str) -> tuple[str, str]:
    """Split 20 columns into antenna (1-15) and radome (17-20), each without blanks around; radome may be empty.

    A name that is typed with single blanks ("TRM59800.00 SCIS") is understood where its last word has four
    characters and the columns say nothing.
    """
    text = text.strip("\r\n").rstrip()
    if len(text) > 16 and text[15:16] == " ":
        return text[:15].strip(), text[16:20].strip().upper()
    words = text.split()
    if len(words) > 1 and len(words[-1]) == 4 and words[-1].isalnum():
        return " ".join(words[:-1]), words[-1].upper()
    return " ".join(words), ""


def find_antenna(path: Path, antenna: str, radome: str, serial: str = "") -> AntexAnswer:
    """Look an antenna up.

    Parameters
    ----------
    antenna, radome : str
        Code of the antenna and of the radome; an empty radome is looked up as ``NONE``.
    serial : str
        An individual calibration of this serial number is taken where it comes first.

    Raises
    ------
    FormatError
        The file cannot be read, or is no ANTEX.
    """
    rows = lines(path, most_bytes=_MOST_BYTES, what=WHAT)
    first = next(rows, None)
    content, label = split_label(first) if first is not None else ("", "")
    if label != "ANTEX VERSION / SYST":
        raise FormatError(
            "is empty" if first is None else f"is not {WHAT}: its first line names no version",
            where=str(path),
            remedy="name the .atx file that the processing used",
        )
    version, pcv_type = content[:8].strip(), ""
    wanted = (antenna.upper(), radome.upper() or NO_RADOME)
    without: AntexAntenna | None = None
    radomes: dict[str, None] = {}
    block: list[tuple[str, str]] | None = None
    for line in rows:
        content, label = split_label(line)
        if label == "PCV TYPE / REFANT":
            pcv_type = content[:1].strip()
        elif label == "START OF ANTENNA":
            block = []
        elif label == "END OF ANTENNA" and block is not None:
            found = _antenna(block)
            block = None
            name, its = split_antenna(found.name)
            if name.upper() != wanted[0]:
                continue
            if (its or NO_RADOME) == wanted[1] and found.serial in ("", serial):
                return AntexAnswer(version, pcv_type, found)
            if found.serial == "":
                if len(radomes) < _MODELS_KEPT:
                    radomes[its or NO_RADOME] = None
                if its in ("", NO_RADOME):
                    without = found
        elif block is not None and label in _USED:
            block.append((label, content))
    return AntexAnswer(version, pcv_type, None, without, tuple(radomes))


_USED = frozenset(
    {
        "TYPE / SERIAL NO",
        "METH / BY / # / DATE",
        "# OF FREQUENCIES",
        "SINEX CODE",
        "START OF FREQUENCY",
        "NORTH / EAST / UP",
        "START OF FREQ RMS",
        "END OF FREQ RMS",
    }
)


def _antenna(block: list[tuple[str, str]]) -> AntexAntenna:
    """Make the record of one block; offsets inside a block of RMS values are none."""
    text: dict[str, str] = {}
    offsets: list[Offset] = []
    unreadable: list[str] = []
    frequency, of_rms = "", False
    for label, content in block:
        if label == "START OF FREQUENCY":
            frequency = content.strip()
        elif label in ("START OF FREQ RMS", "END OF FREQ RMS"):
            of_rms = label.startswith("START")
        elif label == "NORTH / EAST / UP":
            values = [number(part) for part in content.split()]
            if of_rms:
                continue
            if len(values) != 3 or None in values:
                unreadable.append(f"{frequency}: {' '.join(content.split())!r}")
                continue
            north, east, up = (value for value in values if value is not None)
            offsets.append(Offset(frequency, north, east, up))
        else:
            text.setdefault(label, content)
    announced = number(text.get("# OF FREQUENCIES", "")[:6])
    head = text.get("TYPE / SERIAL NO", "")
    return AntexAntenna(
        name=head[:20].rstrip(),
        serial=head[20:40].strip(),
        method=text.get("METH / BY / # / DATE", "")[:20].strip(),
        sinex_code=text.get("SINEX CODE", "")[:10].strip(),
        offsets=tuple(offsets),
        announced=None if announced is None else int(announced),
        unreadable=tuple(unreadable),
    )
