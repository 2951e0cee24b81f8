"""Reference systems as a person writes them, with coordinate epoch and geoid model."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from datetime import UTC, datetime

from accuracy.errors import ReferenceSystemError
from accuracy.georeferencing.crs import is_proj_string, is_wkt
from accuracy.georeferencing.geoids import same_geoid
from accuracy.georeferencing.record import Reference
from accuracy.georeferencing.systems import read_system

#: Before 1980 no coordinate of this trade was observed.
FIRST_EPOCH_YEAR = 1980.0
EPOCH_REMEDY = "write the epoch as a decimal year, for example 2024.5 for the middle of 2024"


def declared(
    text: str,
    *,
    geoid: str | None = None,
    epoch_year: float | None = None,
    where: str = "the job's crs",
) -> Reference:
    """Interpret a CRS as written in a job: ``EPSG:6345+5703``, WKT, PROJ JSON or the text of a .prj file.

    Parameters
    ----------
    text : str
        Code, WKT 1 or 2, ESRI WKT or PROJ JSON, each also with an epoch: ``EPSG:7912@2024.5``,
        ``COORDINATEMETADATA[...]``, ``{"type": "CoordinateMetadata", ...}``. PROJ strings are read, but
        can name no realisation: their datum is taken as unknown.
    geoid : str, optional
        Geoid model behind the heights.
    epoch_year : float, optional
        Coordinate epoch, decimal year.
    where : str, optional
        Where the text stands, for messages.

    Raises
    ------
    ReferenceSystemError
        Not a reference system; an impossible epoch; two epochs or two geoid models that contradict.
    """
    bare, written = _split_epoch(text, where)
    if epoch_year is not None:
        epoch_year = checked_epoch(epoch_year, where)
    if written is not None and epoch_year is not None and not math.isclose(written, epoch_year):
        raise ReferenceSystemError(
            f"the coordinate epoch is {written:g} in the reference system and {epoch_year:g} beside it",
            where=where,
            remedy="keep the right one and delete the other",
        )
    reference = read_system(bare, where)
    epoch_year = written if epoch_year is None else epoch_year
    if epoch_year is not None:
        reference = replace(
            reference,
            epoch_year=epoch_year,
            sources=(*reference.sources, f"epoch {epoch_year:g}: {where}"),
        )
    return reference if not geoid else _with_geoid(reference, geoid, where)


def checked_epoch(value: object, where: str) -> float:
    """Give a coordinate epoch as decimal year, or refuse it.

    The library checks no range: 25 puts points 3 m off in height, 20250101 puts them 11 km underground
    (measured with pyproj 3.7.2).
    """
    try:
        year = float(str(value))
    except ValueError:
        year = math.nan
    now = datetime.now(UTC)
    latest = now.year + now.timetuple().tm_yday / 366.0 + 1.0
    if FIRST_EPOCH_YEAR <= year <= latest:
        return year
    hint = ""
    if math.isfinite(year):
        if 0.0 <= year < 100.0:
            hint = "; a year has four digits"
        elif 19_000_000 < year < 21_000_000:
            hint = "; this looks like a date"
        elif year > 1e8:
            hint = "; this looks like seconds"
    raise ReferenceSystemError(
        f"{value} is not a coordinate epoch between {FIRST_EPOCH_YEAR:g} and {latest:.1f}{hint}",
        where=where,
        remedy=EPOCH_REMEDY,
    )


def _split_epoch(text: str, where: str) -> tuple[str, float | None]:
    """Take the epoch off; pyproj 3.7 does not carry it."""
    text = text.strip().removeprefix("\ufeff")
    if text.startswith("{"):
        try:
            facts = json.loads(text)
        except ValueError as error:
            raise ReferenceSystemError(
                f"not valid JSON: {error}", where=where, remedy="paste the PROJ JSON unchanged"
            ) from error
        if facts.get("type") == "CoordinateMetadata" and "crs" in facts:
            epoch = facts.get("coordinateEpoch")
            return json.dumps(facts["crs"]), None if epoch is None else checked_epoch(epoch, where)
        return text, None
    if is_wkt(text):
        metadata = re.match(r"COORDINATEMETADATA\s*\[(.*)\]\s*$", text, re.DOTALL | re.IGNORECASE)
        if metadata is None:
            return text, None
        inside = metadata[1].strip()
        epoch_node = re.search(r",\s*EPOCH\s*\[([^\]]*)\]\s*$", inside, re.IGNORECASE)
        if epoch_node is None:
            return inside, None
        return inside[: epoch_node.start()].strip(), checked_epoch(epoch_node[1].strip(), where)
    if "@" in text and not is_proj_string(text):
        bare, _, epoch = text.rpartition("@")
        return bare.strip(), checked_epoch(epoch.strip(), where)
    return text, None


def _with_geoid(reference: Reference, geoid: str, where: str) -> Reference:
    if reference.vertical_kind == "ellipsoidal":
        raise ReferenceSystemError(
            f"the geoid model {geoid} is named, but {reference.name} has ellipsoidal heights",
            where=where,
            remedy="delete the geoid, or write the vertical system in crs, for example EPSG:6345+5703",
        )
    if reference.geoid is not None and not same_geoid(reference.geoid, geoid):
        raise ReferenceSystemError(
            f"the geoid model is {reference.geoid} in the reference system and {geoid} beside it",
            where=where,
            remedy="keep the right one and delete the other",
        )
    if reference.geoid is not None:
        return reference
    return replace(reference, geoid=geoid, sources=(*reference.sources, f"geoid {geoid}: {where}"))
