"""Reference systems of the sites, written out.

As WKT 1, the dialect that LAS 1.4 asks for, so that the bytes of a scenario do not depend on the version of
the EPSG data at hand; and as GeoKeys for LAS 1.2. A test compares them with PROJ.
"""

from __future__ import annotations

from collections.abc import Mapping

from accuracy.formats import GeoKeyValue
from accuracy.simulation.sites import Site

#: EPSG code of the projected system -> name, geographic system, datum, their codes.
_PLANE = {
    6341: (
        "NAD83(2011) / UTM zone 12N",
        "NAD83(2011)",
        "NAD83_National_Spatial_Reference_System_2011",
        6318,
        1116,
    ),
    25833: (
        "ETRS89 / UTM zone 33N",
        "ETRS89",
        "European_Terrestrial_Reference_System_1989",
        4258,
        6258,
    ),
    7856: ("GDA2020 / MGA zone 56", "GDA2020", "Geocentric_Datum_of_Australia_2020", 7844, 1168),
}
#: EPSG code of the height system -> name, datum, code of the datum.
_HEIGHTS = {
    5703: ("NAVD88 height", "North American Vertical Datum 1988", 5103),
    7837: ("DHHN2016 height", "Deutsches Haupthoehennetz 2016", 1170),
    5711: ("AHD height", "Australian Height Datum", 5111),
}


def codes_of(site: Site) -> tuple[int, int]:
    """EPSG codes of the projected system and of the heights."""
    plane, _, height = site.crs.removeprefix("EPSG:").partition("+")
    return int(plane), int(height)


def wkt_of(site: Site) -> str:
    """Write the compound system as WKT 1."""
    plane, height = codes_of(site)
    name, geographic, datum, geographic_code, datum_code = _PLANE[plane]
    height_name, height_datum, height_datum_code = _HEIGHTS[height]
    false_northing = 10_000_000 if site.zone.south else 0
    metre = 'UNIT["metre",1,AUTHORITY["EPSG","9001"]]'
    return (
        f'COMPD_CS["{name} + {height_name}",PROJCS["{name}",GEOGCS["{geographic}",DATUM["{datum}",'
        f'SPHEROID["GRS 1980",6378137,298.257222101,AUTHORITY["EPSG","7019"]],'
        f'AUTHORITY["EPSG","{datum_code}"]],PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],'
        f'UNIT["degree",0.0174532925199433,AUTHORITY["EPSG","9122"]],'
        f'AUTHORITY["EPSG","{geographic_code}"]],PROJECTION["Transverse_Mercator"],'
        f'PARAMETER["latitude_of_origin",0],'
        f'PARAMETER["central_meridian",{site.zone.meridian_deg:g}],'
        f'PARAMETER["scale_factor",0.9996],PARAMETER["false_easting",500000],'
        f'PARAMETER["false_northing",{false_northing}],{metre},AXIS["Easting",EAST],'
        f'AXIS["Northing",NORTH],AUTHORITY["EPSG","{plane}"]],VERT_CS["{height_name}",'
        f'VERT_DATUM["{height_datum}",2005,AUTHORITY["EPSG","{height_datum_code}"]],{metre},'
        f'AXIS["Gravity-related height",UP],AUTHORITY["EPSG","{height}"]]]'
    )


def geokeys_of(site: Site) -> Mapping[int, GeoKeyValue]:
    """Declare the same as GeoKeys: projected, heights, metres."""
    plane, height = codes_of(site)
    return {1024: 1, 1025: 1, 3072: plane, 3076: 9001, 4096: height, 4099: 9001}
