"""The door to pyproj: reading a coordinate reference system, comparing and rewriting it.

pyproj is lenient where this trade is not; what it does today is written down in
``tests/georeferencing/test_library_behaviour.py``. Two rules here follow from it:

- A name must be written in full; the library takes the first that starts like it.
- Stored coordinates are easting first in every file format read here, so the order of declared axes is
  ignored in comparison. Axes that point south or west are not.
"""

from __future__ import annotations

import json
import re
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from accuracy.errors import ReferenceSystemError
from accuracy.units import LengthUnit

if TYPE_CHECKING:
    from pyproj import CRS
    from pyproj._crs import Datum

WRITE_A_CODE = (
    'write an EPSG code such as "EPSG:6345+5703" (horizontal + vertical), or paste the WKT'
)


def is_proj_string(text: str) -> bool:
    """Tell a PROJ string (``+proj=utm +zone=13 ...``) from other ways of writing a system."""
    return re.match(r"\s*\+?\w+=", text) is not None


def is_wkt(text: str) -> bool:
    """Tell WKT by its first keyword and bracket; ``NAD83(2011)`` is a name."""
    return re.match(r'\s*[A-Za-z]\w*\s*[\[(]\s*(?:"|[A-Za-z]\w*\s*[\[(])', text) is not None


def shown(text: str) -> str:
    """Shorten a declaration for a message."""
    one_line = " ".join(text.split())
    return f'"{one_line}"' if len(one_line) <= 70 else f'"{one_line[:67]}..."'


def parse(text: str, where: str) -> CRS:
    """Read any form of declaration, without epoch.

    Raises
    ------
    ReferenceSystemError
        Not a coordinate reference system.
    """
    remedy = WRITE_A_CODE
    if not text.strip(" \t\r\n\0"):
        raise ReferenceSystemError("the reference system is empty", where=where, remedy=remedy)
    if "init=" in text and is_proj_string(text):
        raise ReferenceSystemError(
            f"the old form {shown(text)} does not say in which order its axes are",
            where=where,
            remedy='write "EPSG:" and the number',
        )
    crs, reason = _parsed(text.strip(" \t\r\n\0").replace("\0", "?"))
    if crs is None:
        raise ReferenceSystemError(
            f"{shown(text)} is not a coordinate reference system that can be read"
            + (f" ({reason})" if reason else ""),
            where=where,
            remedy=remedy,
        )
    coded = re.match(r"(?:[A-Za-z]+:|\d+$|https?:)", text.strip()) or text.lstrip().startswith("{")
    by_name = not (coded or is_wkt(text) or is_proj_string(text))
    if by_name and crs.name.casefold() != text.strip().casefold():
        raise ReferenceSystemError(
            f'no reference system is called {shown(text)}; the nearest name is "{crs.name}"',
            where=where,
            remedy=remedy,
        )
    return crs


def unbound(crs: CRS) -> CRS:
    """Take off a transformation that an old WKT or PROJ string ties to a system (TOWGS84)."""
    while crs.is_bound and crs.source_crs is not None:
        crs = crs.source_crs
    return crs


def same(one: CRS, other: CRS) -> bool:
    """Whether PROJ holds two systems for equivalent, the order of their axes aside."""
    return bool(
        _east_first(unbound(one)).equals(_east_first(unbound(other)), ignore_axis_order=True)
    )


def same_horizontal(one_wkt: str, other_wkt: str) -> bool:
    """Whether two horizontal systems are the same: datum, projection, parameters and unit.

    Names may differ where the registry knows them as aliases; parameters agree to 1e-10 (PROJ's rule).
    """
    return same(parse(one_wkt, "comparison"), parse(other_wkt, "comparison"))


def same_vertical(one_wkt: str, other_wkt: str) -> bool:
    """Whether two vertical systems are the same: datum and unit. Geoid models are not compared."""
    return same(parse(one_wkt, "comparison"), parse(other_wkt, "comparison"))


def same_datum(one_wkt: str, other_wkt: str) -> bool:
    """Whether two horizontal systems rest on the same datum, whatever the projection and unit."""
    one, other = (parse(wkt, "comparison").geodetic_crs for wkt in (one_wkt, other_wkt))
    return one is not None and other is not None and same(one, other)


def same_projection(one_wkt: str, other_wkt: str) -> bool:
    """Whether two systems differ in nothing but the datum."""
    one, other = (unbound(parse(wkt, "comparison")) for wkt in (one_wkt, other_wkt))
    if not (one.is_projected and other.is_projected):
        return bool(one.type_name == other.type_name)
    facts, its = json.loads(one.to_json()), json.loads(other.to_json())
    facts["base_crs"] = its["base_crs"]
    facts.pop("id", None)
    return same(_from_facts(facts), other)


def with_unit(wkt: str, unit: LengthUnit, where: str) -> str:
    """Replace the unit of all axes; the numbers of the projection's own parameters keep theirs."""
    facts: dict[str, Any] = json.loads(parse(wkt, where).to_json())
    for axis in facts["coordinate_system"]["axis"]:
        axis["unit"] = {
            "type": "LinearUnit",
            "name": "metre" if unit is LengthUnit.METRE else unit.print_name,
            "conversion_factor": float(unit.metres),
        }
    facts.pop("id", None)
    facts["name"] += f", axes in {unit.print_name}"
    return _from_facts(facts).to_wkt()


def compound_wkt(horizontal_wkt: str | None, vertical_wkt: str | None, name: str) -> str | None:
    """Join both parts; None where the parts cannot stand together."""
    if horizontal_wkt is None or vertical_wkt is None:
        return horizontal_wkt or vertical_wkt
    from pyproj.crs import CompoundCRS
    from pyproj.exceptions import CRSError

    try:
        return str(CompoundCRS(name, [horizontal_wkt, vertical_wkt]).to_wkt())
    except CRSError:
        return None


def datum_name(wkt: str | None) -> str | None:
    """Give the registry's name of the datum of a system, horizontal or vertical; its own if it has none."""
    if wkt is None:
        return None
    crs = parse(wkt, "comparison")
    if crs.datum is None:
        return None
    registered = find_datum(crs.datum.name)
    return str((registered or crs.datum).name).removesuffix(" ensemble")


def find_datum(name_or_code: str | int, authority: str = "EPSG") -> Datum | None:
    """Look a datum up in the registry, horizontal or vertical; None if there is none."""
    from pyproj import crs
    from pyproj.exceptions import CRSError

    kind = crs.Datum  # type: ignore[attr-defined]  # documented there; the type hints miss it
    try:
        if isinstance(name_or_code, int):
            return kind.from_authority(authority, name_or_code)
        return kind.from_name(name_or_code)
    except CRSError:
        return None


def name_of_datum(code: int) -> str | None:
    """Give the name of the datum with this EPSG code; None if there is none."""
    datum = find_datum(code)
    return None if datum is None else str(datum.name)


@lru_cache(maxsize=256)
def _parsed(text: str) -> tuple[CRS | None, str]:
    """Give (system, "") or (None, why not, shortened to one line)."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        return CRS.from_user_input(text), ""
    except (CRSError, ValueError) as error:  # ValueError: characters that no encoding holds
        told = " ".join(str(error).rsplit("Internal Proj Error:", 1)[-1].split()).strip("() ")
        told = told.removeprefix("proj_create: ")
        return None, told if len(told) <= 160 and text not in told else ""


def _east_first(crs: CRS) -> CRS:
    """Put the axes of a northing-first plane in the order in which files store them."""
    directions = [axis.direction for axis in crs.axis_info[:2]]
    if not crs.is_projected or directions != ["north", "east"]:
        return crs
    facts = json.loads(crs.to_json())
    axes = facts["coordinate_system"]["axis"]
    axes[0], axes[1] = axes[1], axes[0]
    facts.pop("id", None)
    return _from_facts(facts)


def _from_facts(facts: dict[str, Any]) -> CRS:
    from pyproj import CRS

    return CRS.from_json(json.dumps(facts))
