"""Names of geoid models: found in the names of vertical systems, and compared."""

from __future__ import annotations

import re

#: Families of geoid models by the way their names are built (from memory; a model outside them is still
#: read where it stands behind " - ", the form of the USGS Lidar Base Specification).
_MODEL = re.compile(
    r"(?<![A-Za-z])("
    r"x?(?:US|PR|AUS|NZ)?GEOID[ _-]?\d{2,4}[A-Z]?"  # GEOID18, xGEOID20B, AUSGeoid2020
    r"|EGM[ _-]?\d{2,4}"
    r"|CGG\d{4}[A-Z]?|HTv?\d(?:[._]0)?"
    r"|GCG\d{4}|RAF\d{2}[A-Z]?|OSGM\d{2}|EGG\d{2,4}|JGEOID\d{4}"
    r")(?![A-Za-z0-9])",
    re.IGNORECASE,
)
_BEHIND_DASH = re.compile(r"\s-\s([A-Za-z][\w.]*\d[\w.]*)\s*(?:\([^)]*\))?\s*$")


def geoid_named_in(text: str) -> str | None:
    """Find the geoid model that the name of a vertical system carries.

    >>> geoid_named_in("NAVD88 height (ftUS) - GEOID18")
    'GEOID18'
    >>> geoid_named_in("NAVD88 height") is None
    True
    """
    found = _BEHIND_DASH.search(text) or _MODEL.search(text)
    return found[1] if found else None


def same_geoid(one: str, other: str) -> bool:
    """Whether two names mean one model: case and separators do not count."""
    return _bare(one) == _bare(other)


def _bare(name: str) -> str:
    return re.sub(r"[\W_]", "", name).casefold()
