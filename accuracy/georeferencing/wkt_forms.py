"""A reference system in the forms of text that other programs read."""

from __future__ import annotations

from dataclasses import dataclass

from accuracy.georeferencing.crs import parse, same


@dataclass(frozen=True)
class WktForms:
    """One system, written in several ways.

    Attributes
    ----------
    name : str
        As its text says.
    epsg : int or None
        Code of the whole system, where its text carries one.
    wkt1 : str or None
        OGC 01-009 form; None where the system cannot be said in it.
    wkt2 : str
        OGC 12-063 form (2015), or that of 2019 where the older one cannot say it.
    geographic : bool
        Longitude and latitude.
    """

    name: str
    epsg: int | None
    wkt1: str | None
    wkt2: str
    geographic: bool


def wkt_forms(wkt: str) -> WktForms:
    """Write a system in the forms that exports need.

    Raises
    ------
    ReferenceSystemError
        Not a coordinate reference system.
    """
    from pyproj.enums import WktVersion
    from pyproj.exceptions import CRSError

    crs = parse(wkt, "result")

    def text(version: WktVersion) -> str | None:
        try:
            return crs.to_wkt(version) or None
        except CRSError:
            return None

    id_ = crs.to_json_dict().get("id", {})
    coded = id_.get("authority") == "EPSG" and isinstance(id_.get("code"), int)
    return WktForms(
        name=crs.name,
        epsg=id_["code"] if coded else None,
        wkt1=text(WktVersion.WKT1_GDAL),
        wkt2=text(WktVersion.WKT2_2015) or crs.to_wkt(),
        geographic=crs.is_geographic,
    )


def same_system(one_wkt: str, other_wkt: str) -> bool:
    """Whether two texts say the same system, names of axes and remarks aside."""
    return same(parse(one_wkt, "result"), parse(other_wkt, "result"))
